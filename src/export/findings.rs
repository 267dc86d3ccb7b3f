//! `findings.csv`, `findings.json`: what the checks say. They are always written, also where there is no record.

use std::io::{self, Write};

use super::append::{self, Appending};
use super::table::{self, Item, Row, Table};
use super::{csv, draft};
use crate::findings::Finding;
use crate::record::model::Draft;

/// The table.
pub const CSV: &str = "findings.csv";
/// The same as a JSON array.
pub const JSON: &str = "findings.json";

/// Writes the table.
pub fn write_csv(
    findings: &[Finding],
    draft: Option<&Draft>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let Some(table) = declared(draft) else {
        return Ok(());
    };
    csv::write_table(&table, rows(findings), out)
}

fn rows(findings: &[Finding]) -> impl Iterator<Item = Row<'_>> {
    findings.iter().map(|finding| Row {
        record: None,
        item: Item::Finding(finding),
    })
}

fn declared(draft: Option<&Draft>) -> Option<Table> {
    let mut table = table::declared()
        .into_iter()
        .find(|table| table.name == "findings")?;
    table.columns.extend(draft::column(draft));
    Some(table)
}

/// Appends rows of the table.
pub(super) fn append_csv(findings: &[Finding], out: &mut Vec<u8>) {
    let Some(table) = declared(None) else {
        return;
    };
    csv::append_rows(&table, rows(findings), out);
}

/// Appends entries of the array, each after a comma; in a draft each says so.
pub(super) fn append_json(findings: &[Finding], draft: Option<&str>, out: &mut Vec<u8>) {
    for finding in findings {
        out.push(b',');
        let mut first = true;
        let mut member = |name: &str, append: Appending<'_>| {
            out.extend_from_slice(if first { b"\n  {\n    " } else { b",\n    " });
            first = false;
            append::json_text(name, out);
            out.extend_from_slice(b": ");
            append(out);
        };
        member("code", &|out| append::json_text(finding.code.word(), out));
        member("level", &|out| append::json_text(finding.level.word(), out));
        member("job", &|out| append::json_text(&finding.job, out));
        let places = [
            ("run", &finding.run),
            ("mark", &finding.mark),
            ("source", &finding.source),
        ];
        for (name, text) in places {
            if let Some(text) = text {
                member(name, &|out| append::json_text(text, out));
            }
        }
        for (name, value) in [("value", finding.value), ("limit", finding.limit)] {
            if let Some(value) = value {
                member(name, &|out| append::json(&value, out));
            }
        }
        member("message", &|out| append::json_text(&finding.message, out));
        if let Some(words) = draft {
            member("draft", &|out| append::json_text(words, out));
        }
        out.extend_from_slice(b"\n  }");
    }
}

/// Findings made into bytes at once.
const BUNDLE: usize = 1024;

/// Writes the array.
pub fn write_json(
    findings: &[Finding],
    draft: Option<&Draft>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let words = draft.map(Draft::words);
    out.write_all(b"[")?;
    let mut bytes = Vec::new();
    for (at, some) in findings.chunks(BUNDLE).enumerate() {
        bytes.clear();
        append_json(some, words.as_deref(), &mut bytes);
        // No comma before the first.
        out.write_all(bytes.get(usize::from(at == 0)..).unwrap_or_default())?;
    }
    out.write_all(if findings.is_empty() {
        b"]\n"
    } else {
        b"\n]\n"
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::Code;

    #[test]
    fn the_array_is_what_the_derived_form_gives() {
        let bare = Finding::new(Code::Unchecked, "");
        let full = Finding::new(Code::LowGrade, "a \"b\"\nc é")
            .run("R 1")
            .mark("\\")
            .column("depth_1")
            .figures(0.1 + 0.2, Some(2.0));
        let source = Finding {
            source: Some("marks.csv:3".to_owned()),
            ..full.clone()
        };
        for findings in [vec![], vec![bare.clone()], vec![bare, full, source]] {
            let mut out = Vec::new();
            write_json(&findings, None, &mut out).unwrap();
            let mut derived = serde_json::to_vec_pretty(&findings).unwrap();
            derived.push(b'\n');
            assert_eq!(String::from_utf8(out), String::from_utf8(derived));
        }
    }
}
