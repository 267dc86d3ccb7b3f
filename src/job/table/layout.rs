//! Which column of a table is where: found from its heading, whatever the order, case and titles above it.

use std::sync::Arc;

use super::heading::{lookalike, normal, numbered, recognised};
use super::{Kind, Source, Table};
use crate::findings::{Code, Finding, Level};
use crate::job::schema::{Form, TableSpec, Typing};
use crate::units::plain_unit;

/// How many filled rows are searched for the heading.
pub const TOP: usize = 10;

/// What a column of the file is.
#[derive(Clone, Debug, PartialEq)]
pub enum Heading {
    /// A column of ours, by index.
    Known(usize),
    /// A numbered column of ours: index in `numbered`, and its number.
    Numbered(usize, u16),
    /// A column that is kept as an attribute.
    Other,
    /// A column that can't be used: what is wrong was said in a finding.
    Refused,
    /// No heading.
    Blank,
}

/// Which column is where.
#[derive(Clone, Debug, Default)]
pub struct Layout {
    /// Row of the heading; `None` if the table has no rows.
    pub heading: Option<usize>,
    /// By column of the file.
    pub headings: Vec<Heading>,
    /// Name of each column of the file, in our spelling.
    pub names: Vec<Arc<str>>,
    /// Unit that the heading names, by column of the file.
    pub units: Vec<Option<String>>,
    /// Whether the heading says degrees, minutes, seconds, by column of the file.
    pub dms: Vec<bool>,
    /// By index of our column: column of the file.
    pub places: Vec<Option<usize>>,
    /// Numbered columns: number, then by index in `numbered` the column of the file; in order of number.
    pub groups: Vec<(u16, Vec<Option<usize>>)>,
    /// Whether each heading was named in a finding.
    pub named: Vec<bool>,
    /// A required column is missing: no row can be used.
    pub unusable: bool,
}

/// Finds the heading and says what is wrong with it. `strict` names every unknown column, for settings.
pub fn lay_out(table: &Table, spec: &TableSpec, strict: bool) -> (Layout, Vec<Finding>) {
    let mut layout = Layout {
        places: vec![None; spec.columns.len()],
        ..Layout::default()
    };
    let mut findings = Vec::new();
    let top = table.height().min(if strict { 1 } else { TOP });
    let score = |row: usize| recognised(table, row, spec);
    // Of rows that know as many names the first; comments are no headings.
    let candidates = (0..top).filter(|row| strict || !table.cell(*row, 0).starts_with('#'));
    let Some(heading) = candidates.max_by_key(|row| (score(*row), usize::MAX - row)) else {
        return (layout, findings);
    };
    layout.heading = Some(heading);
    let below = if table.delimited {
        0
    } else {
        (heading..table.height())
            .map(|row| table.width(row))
            .max()
            .unwrap_or(0)
    };
    for column in 0..table.width(heading).max(below) {
        place(table, spec, strict, column, &mut layout, &mut findings);
    }
    layout.groups.sort_by_key(|(number, _)| *number);
    if !strict {
        missing(table, spec, &mut layout, &mut findings);
    }
    (layout, findings)
}

/// Decides what one column is.
fn place(
    table: &Table,
    spec: &TableSpec,
    strict: bool,
    column: usize,
    layout: &mut Layout,
    findings: &mut Vec<Finding>,
) {
    let row = layout.heading.unwrap_or(0);
    let typed = table.cell(row, column);
    let parsed = normal(typed);
    let mut heading = meaning(typed, &parsed.name, spec);
    let form = form(&heading, spec);
    let wrong = wrong(typed, &heading, form, parsed.bracket.as_deref(), layout)
        .or_else(|| misspelt(typed, &parsed.name, &heading, strict, spec));
    let named = wrong.is_some();
    if let Some((code, why)) = wrong {
        if code.level() == Level::Error {
            heading = Heading::Refused;
        }
        let source = Source {
            row: table.cell_line(row, column),
            ..table.source(row)
        };
        findings.push(
            Finding::new(code, format!("{source}: {why}"))
                .at(&source)
                .column(parsed.name.as_str()),
        );
    }
    match heading {
        Heading::Known(at) => {
            if let Some(slot) = layout.places.get_mut(at) {
                *slot = Some(column);
            }
        }
        Heading::Numbered(part, number) => put_grouped(layout, spec, number, part, column),
        Heading::Other | Heading::Refused | Heading::Blank => {}
    }
    let name = if typed.is_empty() {
        format!("column_{}", column + 1)
    } else {
        parsed.name
    };
    layout.names.push(Arc::from(name));
    let says_dms = parsed.bracket.as_deref().is_some_and(says_dms);
    layout.dms.push(says_dms);
    layout.units.push(
        parsed
            .bracket
            .filter(|word| form.is_some_and(Form::takes_unit) && plain_unit(word).is_some()),
    );
    layout.headings.push(heading);
    layout.named.push(named);
}

/// What a heading means by its name alone.
fn meaning(typed: &str, name: &str, spec: &TableSpec) -> Heading {
    match (spec.position(name), numbered(name, spec)) {
        _ if typed.is_empty() => Heading::Blank,
        (Some(at), _) => Heading::Known(at),
        (None, Some((part, number))) => Heading::Numbered(part, number),
        (None, None) => Heading::Other,
    }
}

fn form(heading: &Heading, spec: &TableSpec) -> Option<Form> {
    match heading {
        Heading::Known(at) => spec.columns.get(*at).map(|column| column.form),
        Heading::Numbered(part, _) => spec.numbered.get(*part).map(|column| column.form),
        _ => None,
    }
}

/// Why a heading of ours can't be used.
fn wrong(
    typed: &str,
    heading: &Heading,
    form: Option<Form>,
    unit: Option<&str>,
    layout: &Layout,
) -> Option<(Code, String)> {
    let taken = match heading {
        Heading::Known(at) => layout.places.get(*at).copied().flatten().is_some(),
        Heading::Numbered(part, number) => grouped(layout, *number, *part).is_some(),
        _ => false,
    };
    if taken {
        let why = format!(
            "the heading {typed:?} stands twice; keep one of the columns and rename or remove the other"
        );
        return Some((Code::Duplicate, why));
    }
    let word = unit?;
    let why = match form? {
        form if form.takes_unit() && plain_unit(word).is_some() => return None,
        Form::LengthOrAngle if is_degrees(word) => return None,
        Form::LengthOrAngle => format!(
            "the heading {typed:?} names no unit that is read here ({word:?}); write m, cm, mm, ft, us-ft or in for lengths, and leave \
             it out for angles, which are in degrees"
        ),
        form if form.takes_unit() => format!(
            "the heading {typed:?} names no unit that is known ({word:?}); write m, cm, mm, ft, us-ft or in"
        ),
        form if form.is_angle() && (plain_unit(word).is_some() || is_other_angle(word)) => format!(
            "the heading {typed:?} names a unit that is not read here ({word:?}): angles are in degrees"
        ),
        _ => return None,
    };
    Some((Code::Unreadable, why))
}

/// What a heading that is not ours may have been meant as.
fn misspelt(
    typed: &str,
    name: &str,
    heading: &Heading,
    strict: bool,
    spec: &TableSpec,
) -> Option<(Code, String)> {
    if *heading != Heading::Other {
        return None;
    }
    let like = lookalike(name, spec);
    if !(strict || like.is_some()) {
        return None;
    }
    // Of numbered columns, the one with its number.
    let digits: String = name.chars().filter(char::is_ascii_digit).collect();
    let number = if digits.is_empty() { "1" } else { &digits };
    let like = like.map(|known| known.replace('N', number));
    let advice = like.map_or(String::new(), |known| format!(" Did you mean {known:?}?"));
    Some((
        Code::UnusedColumn,
        format!("{typed:?} is not used.{advice}"),
    ))
}

/// Whether a word names the unit that angles are in.
fn is_degrees(word: &str) -> bool {
    matches!(
        lower(word).as_str(),
        "deg" | "degree" | "degrees" | "\u{b0}" | "decimal degrees"
    ) || says_dms(word)
}

/// Whether a word says degrees, minutes and seconds, parted or packed into one number: `dms`, `DDD.MMSS`, `deg min sec`.
fn says_dms(word: &str) -> bool {
    let lower = word.to_lowercase();
    let words = lower.split(|letter: char| !letter.is_alphabetic());
    let short = |word| match word {
        "deg" | "degs" | "degree" | "degrees" => "d",
        "min" | "mins" | "minute" | "minutes" => "m",
        "sec" | "secs" | "second" | "seconds" => "s",
        other => other,
    };
    let mut letters: Vec<char> = words.flat_map(|word| short(word).chars()).collect();
    letters.dedup();
    letters == ['d', 'm', 's']
}

/// Whether a word names a unit of angles or slopes that people write and that nothing is read in here.
fn is_other_angle(word: &str) -> bool {
    matches!(
        lower(word).as_str(),
        "gon"
            | "gons"
            | "grad"
            | "grads"
            | "rad"
            | "radian"
            | "radians"
            | "mil"
            | "mils"
            | "%"
            | "percent"
            | "\u{2030}"
    )
}

fn lower(word: &str) -> String {
    word.trim().trim_end_matches('.').to_lowercase()
}

fn grouped(layout: &Layout, number: u16, part: usize) -> Option<usize> {
    layout
        .groups
        .iter()
        .find(|(of, _)| *of == number)
        .and_then(|(_, parts)| parts.get(part).copied().flatten())
}

fn put_grouped(layout: &mut Layout, spec: &TableSpec, number: u16, part: usize, column: usize) {
    let at = layout
        .groups
        .iter()
        .position(|(of, _)| *of == number)
        .unwrap_or_else(|| {
            layout
                .groups
                .push((number, vec![None; spec.numbered.len()]));
            layout.groups.len() - 1
        });
    if let Some(slot) = layout
        .groups
        .get_mut(at)
        .and_then(|(_, parts)| parts.get_mut(part))
    {
        *slot = Some(column);
    }
}

/// One finding for all required columns that are missing.
fn missing(table: &Table, spec: &TableSpec, layout: &mut Layout, findings: &mut Vec<Finding>) {
    let lacking: Vec<&str> = spec
        .columns
        .iter()
        .zip(&layout.places)
        .filter(|(column, place)| column.required && place.is_none())
        .map(|(column, _)| column.name)
        .collect();
    if lacking.is_empty() {
        return;
    }
    layout.unusable = true;
    let row = layout.heading.unwrap_or(0);
    let source = table.source(row);
    let found: Vec<&str> = table.filled(row).map(|(_, text)| text).take(40).collect();
    let message = format!(
        "{source}: no column {}; found {}. Name the column in the heading; none of the rows can be used without it",
        lacking.join(", "),
        if found.is_empty() {
            "nothing".to_owned()
        } else {
            found.join(", ")
        },
    );
    findings.push(
        Finding::new(Code::Unreadable, message)
            .level(Level::Error)
            .at(&source),
    );
}

impl Layout {
    /// How the plain figures of a column are meant.
    pub fn typing(&self, column: usize, job: Typing) -> Typing {
        let unit = self.units.get(column).and_then(Option::as_deref);
        let named = unit.and_then(|word| job.plain.named(word));
        Typing {
            plain: named.unwrap_or(job.plain),
            dms: self.dms.get(column).copied().unwrap_or(false),
            ..job
        }
    }

    /// Whether a cell of the table is text that begins a comment.
    pub fn is_comment(table: &Table, row: usize) -> bool {
        table.kind(row, 0) == Kind::Text && table.cell(row, 0).starts_with('#')
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_that_say_degrees_minutes_seconds() {
        for word in [
            "dms",
            "DMS",
            "d.ms",
            "DDD.MMSS",
            "dd mm ss",
            "deg min sec",
            "degrees, minutes, seconds",
            "d m s",
        ] {
            assert!(says_dms(word), "{word}");
        }
        for word in [
            "deg",
            "degrees",
            "decimal degrees",
            "m",
            "mm",
            "ms",
            "right",
            "in",
        ] {
            assert!(!says_dms(word), "{word}");
        }
    }
}
