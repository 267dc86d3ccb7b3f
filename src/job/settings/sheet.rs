//! The `job` sheet of a workbook: `question, answer, example`, with the key beside the question.

use super::{Entry, Section, spec};
use crate::findings::{Code, Finding};
use crate::job::row::{Tally, quoted};
use crate::job::schema::{TableSpec, sections};
use crate::job::table::{Kind, Layout, Table, lay_out, normal};

mod columns {
    use crate::job::schema::{Form, table};

    table! { "job", "Who, where, when, and how it was measured.", key ANSWER, numbered &[];
        QUESTION "question" Form::Text, optional, "what is asked", "";
        ANSWER "answer" Form::Text, required, "the answer", "";
        EXAMPLE "example" Form::Text, optional, "an answer that would do", "";
        KEY "key" Form::Text, optional, "name of the setting", "";
    }
}

/// The sheet's columns.
static SHEET: &TableSpec = &columns::TABLE;

/// The answered keys by section. Questions and keys count as used, examples as kept; the answers are counted where they
/// are read.
pub fn read(table: &Table, tally: &mut Tally) -> Vec<Section> {
    let (layout, findings) = lay_out(table, SHEET, false);
    tally.findings.extend(findings);
    let Some(heading) = layout.heading else {
        return Vec::new();
    };
    let asked = Asked {
        table,
        layout: &layout,
    };
    let mut list: Vec<Section> = sections()
        .iter()
        .map(|spec| Section {
            name: spec.name.to_owned(),
            line: table.line(heading),
            entries: Vec::new(),
        })
        .collect();
    for row in 0..table.height() {
        let answer = if row > heading {
            asked.cell(row, columns::ANSWER)
        } else {
            ""
        };
        let rest = table.filled(row).count() - usize::from(!answer.is_empty());
        let examples = usize::from(row > heading && !asked.cell(row, columns::EXAMPLE).is_empty());
        tally.cells.kept += examples;
        tally.cells.used += rest - examples;
        if answer.is_empty() {
            continue;
        }
        let (key, question) = (
            asked.cell(row, columns::KEY),
            asked.cell(row, columns::QUESTION),
        );
        let Some((section, key)) = resolve(key, question) else {
            let source = table.source(row);
            let (answer, about) = (
                quoted(answer),
                quoted(if key.is_empty() { question } else { key }),
            );
            let message =
                format!("{source}: the answer {answer} belongs to no setting: {about} is none");
            let finding = Finding::new(Code::UnusedColumn, message)
                .at(&source)
                .column("answer");
            tally.findings.push(finding);
            tally.cells.named += 1;
            continue;
        };
        let Some(of) = list.iter_mut().find(|of| of.name == section) else {
            continue;
        };
        if let Some(first) = of.entries.iter().find(|entry| entry.key == key) {
            let source = table.source(row);
            let message = format!(
                "{source}: {section}.{key} is answered twice: {} here, {} in row {}. Keep one of them",
                quoted(answer),
                quoted(&first.text),
                first.line
            );
            let finding = Finding::new(Code::Duplicate, message)
                .at(&source)
                .column("answer");
            tally.findings.push(finding);
            tally.cells.named += 1;
        } else {
            of.entries.push(Entry {
                key,
                text: answer.to_owned(),
                kind: asked.answer_kind(row),
                line: table.line(row),
            });
        }
    }
    list.retain(|section| !section.entries.is_empty());
    list
}

/// The sheet with its columns.
struct Asked<'a> {
    table: &'a Table,
    layout: &'a Layout,
}

impl<'a> Asked<'a> {
    fn place(&self, column: usize) -> Option<usize> {
        self.layout.places.get(column).copied().flatten()
    }

    fn cell(&self, row: usize, column: usize) -> &'a str {
        self.place(column)
            .map_or("", |place| self.table.cell(row, place))
    }

    fn answer_kind(&self, row: usize) -> Kind {
        self.place(columns::ANSWER)
            .map_or_else(Kind::default, |place| self.table.kind(row, place))
    }
}

/// The sections that say what is of the job as a whole.
const OF_THE_JOB: [&str; 3] = ["job", "grid", "equipment"];

/// Section and key that a row asks for: `grid.unit` in the key's column, else the question itself, else what stands in
/// brackets behind it. A bare key that several sections have is the job's as a whole: a run's own stands in the table of runs.
fn resolve(key: &str, question: &str) -> Option<(String, String)> {
    let bracket = normal(question).bracket.unwrap_or_default();
    for candidate in [key, question, bracket.as_str()] {
        let candidate = candidate.trim();
        if let Some((section, key)) = candidate.split_once('.') {
            let key = normal(key).name;
            if spec(section.trim()).is_some_and(|spec| spec.position(&key).is_some()) {
                return Some((section.trim().to_owned(), key));
            }
        }
        let bare = normal(candidate).name;
        let owners = sections().into_iter().filter(|spec| {
            spec.position(&bare).is_some()
                || spec
                    .columns
                    .iter()
                    .any(|column| column.meaning.eq_ignore_ascii_case(candidate))
        });
        let owners: Vec<&TableSpec> = owners.collect();
        let whole = || owners.iter().find(|spec| OF_THE_JOB.contains(&spec.name));
        let owner = match owners.as_slice() {
            [one] => Some(one),
            _ => whole(),
        };
        if let Some(spec) = owner {
            let by_meaning = spec
                .columns
                .iter()
                .find(|column| column.meaning.eq_ignore_ascii_case(candidate));
            return Some((
                spec.name.to_owned(),
                by_meaning.map_or(bare, |column| column.name.to_owned()),
            ));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_is_answered_once() {
        let answers = |second: &str| {
            let mut table = Table::new(std::sync::Arc::from("book.xlsx!job"));
            let rows = [
                "question,answer,key",
                ",m,grid.unit",
                "How long?,0.3 m,accuracy.tape",
                second,
            ];
            for (row, line) in (1..).zip(rows) {
                line.split(',').for_each(|cell| {
                    table.push(cell);
                });
                table.end_row(row);
            }
            let mut tally = Tally::default();
            let sections = read(&table, &mut tally);
            let texts: Vec<String> = sections
                .iter()
                .flat_map(|section| &section.entries)
                .map(|entry| format!("{} {}", entry.key, entry.text))
                .collect();
            (texts, tally)
        };
        let (texts, tally) = answers("Which unit? (grid.unit),us-ft,");
        assert_eq!(texts, ["unit m", "tape 0.3 m"]);
        let [finding] = tally.findings.as_slice() else {
            panic!("{:#?}", tally.findings)
        };
        assert_eq!(finding.code, Code::Duplicate);
        assert_eq!(finding.source.as_deref(), Some("book.xlsx!job:4"));
        assert!(
            finding.message.contains("\"us-ft\" here, \"m\" in row 2"),
            "{}",
            finding.message
        );
        assert_eq!(tally.cells.named, 1);
        let (texts, tally) = answers(",local,grid.crs");
        assert_eq!((texts.len(), tally.findings.len()), (3, 0));
    }

    #[test]
    fn keys_however_they_are_given() {
        for (key, question, section, name) in [
            ("grid.unit", "", "grid", "unit"),
            ("", "grid.crs", "grid", "crs"),
            ("", "Which unit? (grid.unit)", "grid", "unit"),
            ("located_on", "", "job", "located_on"),
            (
                "",
                "On which day was the pipe located?",
                "job",
                "located_on",
            ),
            ("run_default.diameter", "", "run_default", "diameter"),
            ("accuracy.tape", "", "accuracy", "tape"),
        ] {
            assert_eq!(
                resolve(key, question),
                Some((section.to_owned(), name.to_owned())),
                "{key} {question}"
            );
        }
        assert_eq!(resolve("colour", "Which colour?"), None);
        // Both the job and a run have these: a setting is the job's.
        for (key, section) in [
            ("parcel", "job"),
            ("id", "job"),
            ("axis_above_invert", "equipment"),
        ] {
            assert_eq!(resolve(key, ""), Some((section.to_owned(), key.to_owned())));
        }
    }
}
