//! From row to row of a table: what takes part, and what is set aside.

use std::rc::Rc;
use std::sync::Arc;

use super::{Row, Tally};
use crate::findings::{Code, Finding, Level};
use crate::job::caps;
use crate::job::model::{CellCount, LEFT_OUT, LeftOut, Note, Source};
use crate::job::schema::{Cell, Form, Typing};
use crate::job::table::{Heading, Layout, Sheet, normal};
use crate::units::{Plain, listed};

pub(super) fn left_out(sheet: &Sheet, row: usize, reason: &str) -> LeftOut {
    let name = |place: usize| {
        sheet
            .layout
            .names
            .get(place)
            .map_or_else(|| format!("column_{}", place + 1), ToString::to_string)
    };
    LeftOut {
        source: sheet.table.source(row),
        reason: reason.to_owned(),
        cells: sheet
            .table
            .filled(row)
            .map(|(place, text)| (name(place), text.to_owned()))
            .collect(),
    }
}

/// Reads every row of a sheet that takes part: `each` puts it where it belongs, unless the row has failed by then.
///
/// Titles, comments, repeated headings, totals and rows with `use = no` are left out and kept for the record.
pub fn rows<'a>(
    sheet: &'a Sheet,
    typing: Typing,
    tally: &mut Tally,
    mut each: impl FnMut(&mut Row<'a>, &mut Tally),
) {
    let Some(heading) = above(sheet, tally) else {
        return;
    };
    let mut plain = typing;
    plain.plain = Plain {
        decimal_comma: sheet.table.decimal_comma,
        ..typing.plain
    };
    let columns = sheet.layout.headings.len().max(1);
    let typings: Rc<[Typing]> = (0..columns)
        .map(|column| sheet.layout.typing(column, plain))
        .collect();
    let usage = sheet.spec.position("use");
    let listed = tally.findings.len();
    let (mut hidden, mut worst, mut silenced) = (0, None, Vec::new());
    for index in heading + 1..sheet.table.height() {
        if let Some(reason) = aside(sheet, index, heading).filter(|_| !sheet.settings) {
            if Layout::is_comment(&sheet.table, index) && is_full(sheet, index, &typings) {
                silenced.push(index);
            }
            set_aside(sheet, index, reason, tally);
            continue;
        }
        let mut row = Row::new(sheet, index, Rc::clone(&typings), usage);
        if row.usage() == Some("no") {
            set_aside(sheet, index, LEFT_OUT, tally);
            continue;
        }
        each(&mut row, tally);
        if tally.findings.len() - listed > caps::FINDINGS {
            let (more, level) = row.hush();
            hidden += more;
            worst = worst.max(level);
        }
        row.finish(tally);
    }
    silent(sheet, &silenced, tally);
    if hidden > 0 {
        let message = format!(
            "{}: {hidden} more findings are not listed; mend the listed ones first",
            sheet.table.file
        );
        let source = Source {
            file: Arc::clone(&sheet.table.file),
            row: 0,
        };
        let finding = Finding::new(Code::Unreadable, message).at(&source);
        let level = worst.unwrap_or(finding.level);
        tally.findings.push(finding.level(level));
    }
}

/// Deals with the rows above and in the heading, and with a table that lacks a required column; the heading's row if
/// there are rows to read.
fn above(sheet: &Sheet, tally: &mut Tally) -> Option<usize> {
    let (table, layout) = (&sheet.table, &sheet.layout);
    for (line, why) in table.broken() {
        let source = Source {
            file: Arc::clone(&table.file),
            row: *line,
        };
        tally
            .findings
            .push(Finding::new(Code::Unreadable, format!("{source}: {why}")).at(&source));
    }
    let heading = layout.heading?;
    // Rows below look at themselves.
    for row in 0..=heading {
        if let Some(why) = table.spoilt(table.line(row)) {
            let source = table.source(row);
            tally
                .findings
                .push(Finding::new(Code::Unreadable, format!("{source}: {why}")).at(&source));
        }
    }
    for row in 0..heading {
        if Layout::is_comment(table, row) {
            set_aside(sheet, row, "comment", tally);
        } else {
            let title: Vec<&str> = table.filled(row).map(|(_, text)| text).collect();
            tally.notes.push(Note {
                source: Some(table.source(row)),
                text: format!("title above the heading: {}", title.join(" | ")),
            });
            count(sheet, tally, |cells| &mut cells.kept, title.len());
        }
    }
    for (place, _) in table.filled(heading).filter(|_| !sheet.settings) {
        let named = layout.named.get(place).copied().unwrap_or(false);
        let ours = matches!(
            layout.headings.get(place),
            Some(Heading::Known(_) | Heading::Numbered(..))
        );
        count(
            sheet,
            tally,
            |cells| match (named, ours) {
                (true, _) => &mut cells.named,
                (false, true) => &mut cells.used,
                (false, false) => &mut cells.kept,
            },
            1,
        );
    }
    if !layout.unusable {
        return Some(heading);
    }
    for row in heading + 1..table.height() {
        tally
            .left_out
            .push(left_out(sheet, row, "a required column is missing"));
        tally.dropped += 1;
        count(
            sheet,
            tally,
            |cells| &mut cells.named,
            table.filled(row).count(),
        );
    }
    None
}

/// Whether a row would read as one of the table: what it must have is there, and its figures are some.
fn is_full(sheet: &Sheet, row: usize, typings: &[Typing]) -> bool {
    let (table, layout) = (&sheet.table, &sheet.layout);
    let columns = sheet.spec.columns.iter().zip(&layout.places);
    let mut needed = columns
        .filter(|(column, _)| column.required)
        .filter_map(|(_, place)| *place);
    let mut figures = 0;
    let fits = |(place, text): (usize, &str)| {
        let form = match layout.headings.get(place) {
            Some(Heading::Known(at)) => sheet.spec.columns.get(*at).map(|column| column.form),
            Some(Heading::Numbered(at, _)) => sheet.spec.numbered.get(*at).map(|of| of.form),
            _ => None,
        };
        let kind = table.kind(row, place);
        let typing = typings.get(place);
        match form
            .zip(typing)
            .map(|(form, typing)| form.is_figure(Cell { text, kind }, typing))
        {
            Some(Some(figure)) => {
                figures += usize::from(figure);
                figure
            }
            _ => true,
        }
    };
    needed.all(|place| !table.cell(row, place).is_empty())
        && table.filled(row).all(fits)
        && figures > 0
}

/// No more rows are named in a message.
const NAMED: usize = 6;

/// Says which rows of the table are taken as comments, if any are.
fn silent(sheet: &Sheet, rows: &[usize], tally: &mut Tally) {
    let Some(first) = rows.first() else { return };
    let source = sheet.table.source(*first);
    let lines = rows.iter().map(|row| sheet.table.line(*row).to_string());
    let lines = listed(&lines.collect::<Vec<_>>(), NAMED);
    let what = "where the rest reads as";
    let said = if rows.len() > 1 {
        format!(
            "rows {lines} begin with # {what} rows of the table, and are taken as comments: nothing of them is used"
        )
    } else {
        format!(
            "row {lines} begins with # {what} a row of the table, and is taken as a comment: nothing of it is used"
        )
    };
    let message = format!(
        "{source}: {said}. A name begins with another sign; a row that is to be left out says so by `use` = no"
    );
    let warning = Finding::new(Code::Unreadable, message).level(Level::Warning);
    tally.findings.push(warning.at(&source));
}

fn count(
    sheet: &Sheet,
    tally: &mut Tally,
    which: impl Fn(&mut CellCount) -> &mut usize,
    cells: usize,
) {
    if sheet.counted {
        *which(&mut tally.cells) += cells;
    }
}

fn set_aside(sheet: &Sheet, row: usize, reason: &str, tally: &mut Tally) {
    tally.left_out.push(left_out(sheet, row, reason));
    count(
        sheet,
        tally,
        |cells| &mut cells.kept,
        sheet.table.filled(row).count(),
    );
}

/// Why a row takes no part whatever its `use` says, if it takes none.
pub(in crate::job) fn aside(sheet: &Sheet, row: usize, heading: usize) -> Option<&'static str> {
    let table = &sheet.table;
    if Layout::is_comment(table, row) {
        return Some("comment");
    }
    let (first, title) = (table.cell(row, 0), table.cell(heading, 0));
    if first.eq_ignore_ascii_case(title) && !first.is_empty() {
        let same =
            |(place, text): (usize, &str)| normal(text) == normal(table.cell(heading, place));
        if table.filled(row).count() > 1 && table.filled(row).all(same) {
            return Some("heading repeated");
        }
    }
    let key = sheet
        .layout
        .places
        .get(sheet.spec.key)
        .copied()
        .flatten()
        .map_or("", |place| table.cell(row, place));
    let word = |text: &str| {
        text.split(|c: char| !c.is_alphabetic())
            .next()
            .is_some_and(is_total)
    };
    // A remark may begin with such a word; a line of totals has it where a name or a figure would be.
    let remark = |place: usize| match sheet.layout.headings.get(place) {
        Some(Heading::Known(at)) => sheet
            .spec
            .columns
            .get(*at)
            .is_some_and(|column| column.form == Form::Text),
        _ => false,
    };
    let says_total = |(place, text): (usize, &str)| word(text) && !remark(place);
    if is_total(key) || (key.is_empty() && table.filled(row).any(says_total)) {
        return Some("totals row");
    }
    None
}

pub(in crate::job) fn is_total(word: &str) -> bool {
    const WORDS: [&str; 10] = [
        "total", "totals", "sum", "subtotal", "average", "mean", "summe", "gesamt", "somme", "suma",
    ];
    WORDS.iter().any(|total| word.eq_ignore_ascii_case(total))
}
