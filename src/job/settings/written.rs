//! `job.toml` as written: every key with its line.

use std::sync::Arc;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{Entry, Section, spec};
use crate::findings::{Code, Finding};
use crate::job::model::Source;
use crate::job::row::quoted;
use crate::job::table::Kind;

/// The sections of the file, and what is wrong with its form: all of it, not the first only.
pub fn read(file: &Arc<str>, text: &str) -> (Vec<Section>, Vec<Finding>) {
    let (document, errors) = DeTable::parse_recoverable(text);
    let mut writing = Writing {
        file,
        text,
        starts: std::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at + 1))
            .collect(),
        sections: Vec::new(),
        findings: Vec::new(),
    };
    for error in errors {
        let line = error.span().map_or(0, |span| writing.line(span.start));
        let message = writing.broken(line, error.message());
        writing.say(Code::Unreadable, line, &message);
    }
    for (name, value) in document.get_ref() {
        let line = writing.line(name.span().start);
        writing.section(name.get_ref(), line, value);
    }
    (writing.sections, writing.findings)
}

struct Writing<'a> {
    file: &'a Arc<str>,
    text: &'a str,
    /// Where each line begins.
    starts: Vec<usize>,
    sections: Vec<Section>,
    findings: Vec<Finding>,
}

impl Writing<'_> {
    fn line(&self, offset: usize) -> u32 {
        let begun = self.starts.partition_point(|start| *start <= offset);
        u32::try_from(begun).unwrap_or(u32::MAX)
    }

    /// What to say of a line that is no TOML, by the looks of it: the parser's own words help only who knows TOML.
    fn broken(&self, line: u32, why: &str) -> String {
        let typed = (line as usize)
            .checked_sub(1)
            .and_then(|at| self.text.get(*self.starts.get(at)?..))
            .and_then(|rest| rest.lines().next())
            .unwrap_or_default()
            .trim();
        let value = typed.split_once('=').map(|(_, value)| value.trim());
        let decimal_comma = |value: &str| {
            let figures =
                |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
            value
                .split_once(',')
                .is_some_and(|(whole, part)| figures(whole) && figures(part))
        };
        let advice = match value {
            _ if why.contains("duplicate") => "the key stands there twice; keep one".to_owned(),
            Some("") => "nothing stands behind the =; write a value, or delete the line".to_owned(),
            Some(value) if decimal_comma(value) => {
                "write a decimal point in place of the comma".to_owned()
            }
            Some(value) if is_dated(value) => {
                "there is no such day; a date is written as 2026-05-14".to_owned()
            }
            Some(value) if !value.contains('"') => {
                format!("text and dates other than 2026-05-14 stand in quotation marks: {value:?}")
            }
            Some(_) => format!(
                "a value is a number, or text between two quotation marks; a quotation mark inside it has a \\ before it ({})",
                why.replace('\n', ", ")
            ),
            None => "a line is a section such as [grid], or key = value".to_owned(),
        };
        format!("{} can't be read: {advice}", quoted(typed))
    }

    fn say(&mut self, code: Code, line: u32, message: &str) {
        let source = Source {
            file: Arc::clone(self.file),
            row: line,
        };
        self.findings
            .push(Finding::new(code, format!("{source}: {message}")).at(&source));
    }

    fn section(&mut self, name: &str, line: u32, value: &Spanned<DeValue<'_>>) {
        if spec(name).is_none() || name == "runs" {
            let known =
                "job, grid, equipment, accuracy, limits, publish, points, layers, run_default, run";
            self.say(
                Code::UnusedColumn,
                line,
                &format!("{} is not used; sections are {known}", quoted(name)),
            );
            return;
        }
        match value.get_ref() {
            DeValue::Table(table) => self.entries(name, line, table),
            DeValue::Array(array) if name == "run" => {
                for item in array {
                    match item.get_ref() {
                        DeValue::Table(table) => self.entries(name, line, table),
                        _ => self.say(Code::Unreadable, line, "run: each run is a section [[run]]"),
                    }
                }
            }
            _ => self.say(
                Code::Unreadable,
                line,
                &format!("{name} is a section, [{name}], with keys below it"),
            ),
        }
    }

    fn entries(&mut self, name: &str, line: u32, table: &DeTable<'_>) {
        let mut entries = Vec::new();
        for (key, value) in table {
            let at = self.line(key.span().start);
            match plain(value.get_ref()) {
                Some((text, kind)) => entries.push(Entry {
                    key: key.get_ref().to_string(),
                    text,
                    kind,
                    line: at,
                }),
                None => self.say(
                    Code::Unreadable,
                    at,
                    &format!(
                        "{name}.{} is a single value, not a table or list of other things",
                        key.get_ref()
                    ),
                ),
            }
        }
        let line = entries.iter().map(|entry| entry.line).min().unwrap_or(line);
        self.sections.push(Section {
            name: name.to_owned(),
            line,
            entries,
        });
    }
}

/// Whether a text has the form of a date.
fn is_dated(text: &str) -> bool {
    let form = |(at, byte): (usize, u8)| {
        if at == 4 || at == 7 {
            byte == b'-'
        } else {
            byte.is_ascii_digit()
        }
    };
    text.len() == 10 && text.bytes().enumerate().all(form)
}

/// A value as the text of a cell; lists of texts are parted by commas.
fn plain(value: &DeValue<'_>) -> Option<(String, Kind)> {
    Some(match value {
        DeValue::String(text) => (text.to_string(), Kind::Text),
        DeValue::Integer(number) if number.radix() == 10 => {
            (number.as_str().to_owned(), Kind::Number)
        }
        DeValue::Integer(number) => (
            format!("base {} {}", number.radix(), number.as_str()),
            Kind::Text,
        ),
        DeValue::Float(number) => match number.as_str().parse::<f64>() {
            Ok(value) if value.is_finite() => (value.to_string(), Kind::Number),
            _ => (number.as_str().to_owned(), Kind::Text),
        },
        DeValue::Boolean(yes) => (if *yes { "yes" } else { "no" }.to_owned(), Kind::Bool),
        DeValue::Datetime(time) => (time.to_string(), Kind::Date),
        DeValue::Array(items) => {
            let texts: Option<Vec<&str>> =
                items.iter().map(|item| item.get_ref().as_str()).collect();
            (texts?.join(", "), Kind::Text)
        }
        DeValue::Table(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_has_its_line() {
        let text = "# note\n[job]\nid = \"A\"\n\nlocated_on = 2026-05-14\n[publish]\ncolumns = [\"a\", \"b\"]\n[[run]]\nid = \"R\"\n[[run]]\nid = \"S\"\ndiameter = 0.1\n";
        let (sections, findings) = read(&Arc::from("job.toml"), text);
        assert!(findings.is_empty(), "{findings:?}");
        let lines: Vec<(String, String, String, u32)> = sections
            .iter()
            .flat_map(|section| {
                section
                    .entries
                    .iter()
                    .map(|e| (section.name.clone(), e.key.clone(), e.text.clone(), e.line))
            })
            .collect();
        let expect = [
            ("job", "id", "A", 3),
            ("job", "located_on", "2026-05-14", 5),
            ("publish", "columns", "a, b", 7),
            ("run", "id", "R", 9),
            ("run", "id", "S", 11),
            ("run", "diameter", "0.1", 12),
        ];
        assert_eq!(
            lines,
            expect.map(|(a, b, c, d)| (a.to_owned(), b.to_owned(), c.to_owned(), d))
        );
    }

    #[test]
    fn all_that_is_wrong_is_said() {
        let (_, findings) = read(
            &Arc::from("job.toml"),
            "[job]\nid = A\n[grdi]\nx = 1\n[grid]\nunit = { a = 1 }\ncrs = \n",
        );
        let sources: Vec<&str> = findings
            .iter()
            .filter_map(|finding| finding.source.as_deref())
            .collect();
        for source in ["job.toml:2", "job.toml:3", "job.toml:6", "job.toml:7"] {
            assert!(sources.contains(&source), "{source} in {findings:#?}");
        }
    }
}
