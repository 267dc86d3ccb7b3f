//! `report.html`: one file, nothing fetched, what a digger must know first, then findings, plan and profile linked with the tables.

mod figures;
mod inspect;
mod sections;
mod svg;
mod write;

use sha2::{Digest, Sha256};

use crate::record::AsBuilt;
use crate::sheet::content::{head, tables};
use crate::sheet::font::Fonts;
use write::{Html, base64, script_json};

const STYLE: &str = include_str!("../../../assets/report.css");
const SCRIPT: &str = include_str!("../../../assets/report.js");

/// Writes the page.
#[must_use]
pub fn page(record: &AsBuilt, fonts: &Fonts) -> String {
    let mut page = Html::default();
    page.raw("<!doctype html>\n")
        .open("html", &[("lang", "en")])
        .raw("<head><meta charset=\"utf-8\">");
    page.open(
        "meta",
        &[
            ("http-equiv", "Content-Security-Policy"),
            ("content", &policy()),
        ],
    );
    page.raw("<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
    page.raw("<meta name=\"color-scheme\" content=\"light dark\"><meta name=\"referrer\" content=\"no-referrer\">");
    page.element(
        "title",
        &[],
        &format!("{}: {}", head::WHAT_IT_IS, head::title(record)),
    );
    page.raw("<style>")
        .raw(STYLE)
        .raw("</style></head>\n<body>");
    page.raw("<a class=\"skip\" href=\"#findings\">Skip to the findings</a>");
    sections::banner(&mut page, record);
    page.raw("<main>");
    let all = tables::all(record);
    sections::depths(&mut page, record);
    sections::findings(&mut page, record);
    figures::drawings(&mut page, record, fonts);
    sections::tables(&mut page, &all);
    sections::facts(&mut page, record);
    page.raw("</main>");
    sections::footer(&mut page, record);
    page.open("script", &[("type", "application/json"), ("id", "data")])
        .raw(&script_json(&inspect::data(record)));
    page.close("script")
        .raw("<script>")
        .raw(SCRIPT)
        .raw("</script></body></html>\n");
    page.finish()
}

/// Nothing may load and nothing may run but the page's own style and script, by their hashes.
fn policy() -> String {
    let hash = |text: &str| format!("'sha256-{}'", base64(&Sha256::digest(text.as_bytes())));
    format!(
        "default-src 'none'; script-src {}; style-src {}; base-uri 'none'; form-action 'none'",
        hash(SCRIPT),
        hash(STYLE)
    )
}
