//! The page's sections of words and tables.

use super::svg::key;
use super::write::Html;
use crate::findings::{Finding, Level, groups};
use crate::record::AsBuilt;
use crate::sheet::content::{Align, Table, depths as deep, figures as f, head};
use crate::sheet::draw::Feature;

/// Title, identity, verdict.
pub fn banner(page: &mut Html, record: &AsBuilt) {
    page.raw("<header class=\"banner\">");
    page.element("p", &[("class", "what")], head::WHAT_IT_IS);
    page.element("h1", &[], &head::title(record));
    let date = record
        .job
        .located_on
        .as_deref()
        .map(|d| format!(", located {d}"))
        .unwrap_or_default();
    page.element(
        "p",
        &[("class", "id")],
        &format!("{}{date}", head::identity(record)),
    );
    if let Some(draft) = head::draft(record) {
        page.element("p", &[("class", "draft")], &draft);
    }
    page.close("header");
}

/// Findings, most serious first, each with what to do.
pub fn findings(page: &mut Html, record: &AsBuilt) {
    page.raw("<section aria-labelledby=\"findings\">");
    page.element(
        "h2",
        &[("id", "findings"), ("tabindex", "-1")],
        &format!("Findings: {}", head::findings(record)),
    );
    if record.findings.is_empty() {
        page.raw("<p class=\"good\">Every check passed.</p>");
    }
    page.raw("<ol class=\"findings\">");
    for group in groups::alike(&record.findings) {
        let Some((first, others)) = group.split_first() else {
            continue;
        };
        page.open("li", &[("class", first.level.word())]);
        page.element("span", &[("class", "level")], first.level.word());
        where_and_what(page, first);
        alike(page, others, groups::says_the_same(&group));
        page.close("li");
    }
    page.raw("</ol>");
    if !record.advice.is_empty() {
        page.raw("<h3>What to measure next</h3><ul class=\"advice\">");
        for advice in &record.advice {
            page.element("li", &[], &advice.text);
        }
        page.raw("</ul>");
    }
    page.close("section");
}

fn where_and_what(page: &mut Html, finding: &Finding) {
    page.raw("<p class=\"where\">")
        .element("strong", &[], &groups::place(finding));
    page.text(" ").element("code", &[], finding.code.word());
    if let Some(source) = &finding.source {
        page.text(" ").element("span", &[("class", "row")], source);
    }
    page.raw("</p>")
        .element("p", &[("class", "say")], &finding.message);
}

/// The other findings of a group: names where they say the very same, else each in its own figures, folded.
fn alike(page: &mut Html, others: &[&Finding], same: bool) {
    if others.is_empty() {
        return;
    }
    let listed = groups::listed(others);
    if same && others.len() <= groups::NAMED {
        page.element("p", &[("class", "same")], &format!("The same of {listed}."));
        return;
    }
    page.raw("<details class=\"same\">");
    if same {
        page.element("summary", &[], &format!("The same of {listed}"));
        page.element("p", &[], &groups::names(others).join(", "));
    } else {
        let text = format!("The same with other figures of {listed}");
        page.element("summary", &[], &text).raw("<ul>");
        for finding in others {
            page.raw("<li>");
            where_and_what(page, finding);
            page.raw("</li>");
        }
        page.raw("</ul>");
    }
    page.raw("</details>");
}

/// Shallowest and deepest, accuracy, cautions.
pub fn depths(page: &mut Html, record: &AsBuilt) {
    page.raw("<section class=\"key\" aria-labelledby=\"key-h\"><h2 id=\"key-h\">Before anyone digs</h2><ul class=\"depths\">");
    for sentence in deep::sentences(record) {
        page.element("li", &[], &sentence);
    }
    page.raw("</ul>");
    page.element("p", &[("class", "accuracy")], &head::accuracy(record));
    page.raw("<ul class=\"cautions\">");
    for caution in &record.cautions {
        page.element("li", &[], caution);
    }
    page.raw("</ul></section>");
}

/// All tables but the findings, which stand above.
pub fn tables(page: &mut Html, all: &[Table]) {
    for table in all
        .iter()
        .filter(|t| !matches!(t.key, "findings" | "advice"))
    {
        let id = format!("t-{}", table.key);
        let head = format!("{id}-h");
        page.raw("<section class=\"tabled\">");
        if table.folded {
            page.raw("<details><summary>")
                .element("h2", &[("id", &head)], &table.title)
                .raw("</summary>");
        } else {
            page.element("h2", &[("id", &head)], &table.title);
        }
        if let Some(note) = &table.note {
            page.element("p", &[("class", "remark")], note);
        }
        write_table(page, table, &id, &head);
        if table.folded {
            page.close("details");
        }
        page.close("section");
    }
}

fn write_table(page: &mut Html, table: &Table, id: &str, head: &str) {
    page.open(
        "div",
        &[
            ("class", "scroll"),
            ("tabindex", "0"),
            ("role", "region"),
            ("aria-labelledby", head),
        ],
    );
    page.open("table", &[("id", id)]).raw("<thead><tr>");
    for column in &table.columns {
        page.element("th", &[("scope", "col")], &column.head);
    }
    page.raw("</tr></thead><tbody>");
    for row in &table.rows {
        match row.feature {
            Some(feature) => page.open("tr", &[("data-f", &key(feature))]),
            None => page.open("tr", &[]),
        };
        for (i, (cell, column)) in row.cells.iter().zip(&table.columns).enumerate() {
            match class(cell, column.align) {
                Some(class) => page.open("td", &[("class", class)]),
                None => page.open("td", &[]),
            };
            if i == 0 && linked(table.key, row.feature) {
                page.element("button", &[("type", "button"), ("class", "go")], cell);
            } else {
                text(page, cell);
            }
            page.close("td");
        }
        page.close("tr");
    }
    page.raw("</tbody></table>").close("div");
}

/// The longest word, letters, that is kept whole in a table; a longer one would push the rest off a printed page (our choice).
const LONGEST: usize = 24;

/// How a cell may be broken: figures, and a name or a code alone, never; words only between them, but where one is very long.
fn class(cell: &str, align: Align) -> Option<&'static str> {
    let longest = cell
        .split_whitespace()
        .map(|word| word.chars().count())
        .max();
    match align {
        Align::Figures => Some("n"),
        Align::Words if longest.is_some_and(|letters| letters > LONGEST) => Some("long"),
        Align::Words if !cell.contains(char::is_whitespace) => Some("w"),
        Align::Words => None,
    }
}

/// A cell's text; a browser would break a number or a code with hyphens (`SW-2026-0388`) after each of them.
fn text(page: &mut Html, cell: &str) {
    for word in cell.split_inclusive(char::is_whitespace) {
        let kept = word.trim_end();
        if kept.len() < cell.len() && kept.contains('-') && kept.chars().count() <= LONGEST {
            page.element("span", &[("class", "w")], kept);
            page.text(word.get(kept.len()..).unwrap_or_default());
        } else {
            page.text(word);
        }
    }
}

/// Tables whose first cell names the feature itself.
fn linked(key: &str, feature: Option<Feature>) -> bool {
    feature.is_some()
        && matches!(
            key,
            "marks" | "noted" | "camera" | "references" | "ties" | "crossings"
        )
}

/// Particulars, frame, method, equipment.
pub fn facts(page: &mut Html, record: &AsBuilt) {
    let equipment = {
        let unit = record.frame.unit;
        let mut facts = vec![(
            "Lens to transmitter".to_owned(),
            format!(
                "{} {unit}",
                f::fixed(record.equipment.lens_to_transmitter, 3)
            ),
        )];
        facts.extend(record.equipment.axis_above_invert.map(|v| {
            (
                "Axis above invert".to_owned(),
                format!("{} {unit}", f::fixed(v, 3)),
            )
        }));
        facts.extend(
            record
                .equipment
                .texts
                .iter()
                .map(|(k, v)| (k.replace('_', " "), v.clone())),
        );
        facts
    };
    page.raw("<section aria-labelledby=\"facts-h\"><h2 id=\"facts-h\">About this record</h2><div class=\"facts\">");
    for (title, facts) in [
        ("Job", head::particulars(record)),
        ("Coordinates, heights, units", head::frame(record)),
        ("Equipment, as entered", equipment),
    ] {
        page.raw("<div>").element("h3", &[], title).raw("<dl>");
        for (name, value) in facts {
            page.element("dt", &[], &name).element("dd", &[], &value);
        }
        page.raw("</dl></div>");
    }
    page.raw("</div>")
        .element("h3", &[], "Method")
        .element("p", &[], &head::method(record))
        .close("section");
}

/// Hash and maker.
pub fn footer(page: &mut Html, record: &AsBuilt) {
    page.raw("<footer>");
    page.element(
        "p",
        &[],
        &format!(
            "{}. {}. Record hash (SHA-256):",
            record.generator,
            head::identity(record)
        ),
    );
    page.element("p", &[("class", "hash")], head::hash(record));
    if record.findings.iter().any(|f| f.level == Level::Error) {
        page.raw("<p>This job has errors: it is not a finished record.</p>");
    }
    page.close("footer");
}
