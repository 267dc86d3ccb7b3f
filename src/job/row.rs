//! One row of a table while it is read: every cell ends up used, kept, or named in a finding.

use std::rc::Rc;
use std::sync::Arc;

use super::caps;
use super::model::{CellCount, LeftOut, Note, Source};
use super::schema::{Cell, Column, Form, Typing, name as checked_name, yes_no};
use super::table::{Heading, Kind, Layout, Sheet, normal};
use crate::findings::{Code, Finding, Level};
use crate::units::Plain;

/// What reading has to say besides the job itself.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Findings, in the order of the files.
    pub findings: Vec<Finding>,
    /// Remarks.
    pub notes: Vec<Note>,
    /// Rows that take no part.
    pub left_out: Vec<LeftOut>,
    /// What became of every filled cell.
    pub cells: CellCount,
    /// Rows that can't be used.
    pub dropped: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Untouched,
    Used,
    Named,
}

/// A row being read.
pub struct Row<'a> {
    sheet: &'a Sheet,
    row: usize,
    typings: Rc<[Typing]>,
    states: Vec<State>,
    findings: Vec<Finding>,
    failed: bool,
    usage: Option<&'static str>,
}

impl<'a> Row<'a> {
    /// The word in the row's `use`.
    pub fn usage(&self) -> Option<&'static str> {
        self.usage
    }

    /// Where the column's cell is: the row, but for settings.
    pub fn source_of(&self, column: usize) -> Source {
        self.filled(column)
            .map_or_else(|| self.source(), |(place, _)| self.cell_source(place))
    }

    /// Where the row is.
    pub fn source(&self) -> Source {
        self.sheet.table.source(self.row)
    }

    /// Whether a finding has made the row unusable.
    pub fn failed(&self) -> bool {
        self.failed
    }

    /// The filled cell of one of our columns, with its place in the file.
    fn filled(&self, column: usize) -> Option<(usize, Cell<'a>)> {
        self.filled_at(self.sheet.layout.places.get(column).copied().flatten()?)
    }

    fn filled_at(&self, place: usize) -> Option<(usize, Cell<'a>)> {
        let table = &self.sheet.table;
        let text = table.cell(self.row, place);
        (!text.is_empty()).then(|| {
            (
                place,
                Cell {
                    text,
                    kind: table.kind(self.row, place),
                },
            )
        })
    }

    /// Whether the column's cell holds something.
    pub fn has(&self, column: usize) -> bool {
        self.filled(column).is_some()
    }

    fn column(&self, column: usize) -> Column {
        // Indices come from the constants of the same table.
        self.sheet
            .spec
            .columns
            .get(column)
            .copied()
            .unwrap_or(Column {
                name: "",
                form: Form::Text,
                required: false,
                meaning: "",
                example: "",
            })
    }

    fn set(&mut self, place: usize, state: State) {
        if let Some(slot) = self.states.get_mut(place) {
            *slot = state;
        }
    }

    /// Reads a filled cell by `read`; a failure becomes a finding, and the row is lost.
    fn take<T>(
        &mut self,
        column: usize,
        form: Option<Form>,
        read: impl FnOnce(Cell<'a>, Form, &Typing) -> Result<T, String>,
    ) -> Option<T> {
        let (place, cell) = self.filled(column)?;
        let about = self.column(column);
        self.take_at(
            place,
            cell,
            about.name.to_owned(),
            form.unwrap_or(about.form),
            read,
        )
    }

    fn take_at<T>(
        &mut self,
        place: usize,
        cell: Cell<'a>,
        name: String,
        form: Form,
        read: impl FnOnce(Cell<'a>, Form, &Typing) -> Result<T, String>,
    ) -> Option<T> {
        let typing = *self.typings.get(place)?;
        match read(cell, form, &typing) {
            Ok(value) => {
                self.set(place, State::Used);
                Some(value)
            }
            Err(why) => {
                let message = format!(
                    "{}: {name}: {} can't be read as {}: {why}. Accepted: {}",
                    self.cell_source(place),
                    quoted(cell.text),
                    form.noun(),
                    form.accepted(),
                );
                self.set(place, State::Named);
                let source = self.cell_source(place);
                self.report(
                    Finding::new(Code::Unreadable, message)
                        .at(&source)
                        .column(name),
                );
                None
            }
        }
    }

    fn cell_source(&self, place: usize) -> Source {
        Source {
            row: self.sheet.table.cell_line(self.row, place),
            ..self.source()
        }
    }

    /// A number in the column's own form.
    pub fn number(&mut self, column: usize) -> Option<f64> {
        self.take(column, None, |cell, form, typing| form.value(cell, typing))
    }

    /// A number in a form that depends on another cell.
    pub fn number_as(&mut self, column: usize, form: Form) -> Option<f64> {
        self.take(column, Some(form), |cell, form, typing| {
            form.value(cell, typing)
        })
    }

    /// A name.
    pub fn name(&mut self, column: usize) -> Option<&'a str> {
        self.take(column, None, |cell, _, _| checked_name(cell))
    }

    /// Text of any kind.
    pub fn text(&mut self, column: usize) -> Option<String> {
        self.take(column, None, |cell, _, _| match cell.kind {
            Kind::Error => Err("it is a spreadsheet's error value".to_owned()),
            _ => Ok(cell.text.to_owned()),
        })
    }

    /// Anything that `read` makes of the text.
    pub fn read<T>(
        &mut self,
        column: usize,
        read: impl FnOnce(Cell<'a>) -> Result<T, String>,
    ) -> Option<T> {
        self.take(column, None, |cell, _, _| read(cell))
    }

    /// Like [`Row::read`], with how plain figures are meant.
    pub fn read_typed<T>(
        &mut self,
        column: usize,
        read: impl FnOnce(Cell<'a>, &Typing) -> Result<T, String>,
    ) -> Option<T> {
        self.take(column, None, |cell, _, typing| read(cell, typing))
    }

    /// One of the column's words.
    pub fn word(&mut self, column: usize) -> Option<&'static str> {
        self.take(column, None, |cell, form, _| {
            let Form::Word(words) = form else {
                return Err("the column has no fixed words".to_owned());
            };
            let plain = |text: &str| text.trim().to_lowercase().replace(['-', ' '], "_");
            let typed = plain(cell.text);
            words
                .iter()
                .find(|word| plain(word) == typed)
                .copied()
                .ok_or_else(|| "it is none of the words".to_owned())
        })
    }

    /// yes or no.
    pub fn flag(&mut self, column: usize) -> Option<bool> {
        self.take(column, None, |cell, _, _| {
            yes_no(cell.text).ok_or_else(|| "it is neither".to_owned())
        })
    }

    /// A cell of a numbered column, as a name.
    pub fn numbered_name(
        &mut self,
        part: usize,
        number: u16,
        place: Option<usize>,
    ) -> Option<&'a str> {
        let (place, cell) = self.filled_at(place?)?;
        let (name, form) = self.numbered_column(part, number)?;
        self.take_at(place, cell, name, form, |cell, _, _| checked_name(cell))
    }

    /// A cell of a numbered column, as a number.
    pub fn numbered_number(
        &mut self,
        part: usize,
        number: u16,
        place: Option<usize>,
    ) -> Option<f64> {
        let (place, cell) = self.filled_at(place?)?;
        let (name, form) = self.numbered_column(part, number)?;
        self.take_at(place, cell, name, form, |cell, form, typing| {
            form.value(cell, typing)
        })
    }

    fn numbered_column(&self, part: usize, number: u16) -> Option<(String, Form)> {
        let column = self.sheet.spec.numbered.get(part)?;
        Some((
            column.name.replacen('N', &number.to_string(), 1),
            column.form,
        ))
    }

    /// The numbered columns of the table: number and places.
    pub fn groups(&self) -> &'a [(u16, Vec<Option<usize>>)] {
        &self.sheet.layout.groups
    }

    /// How many of these places of the file are filled.
    pub fn filled_places(&self, places: &[Option<usize>]) -> usize {
        places
            .iter()
            .flatten()
            .filter(|place| self.filled_at(**place).is_some())
            .count()
    }

    /// Says that a required cell is blank.
    pub fn lacks(&mut self, column: usize, why: &str) {
        let about = self.column(column);
        let message = format!(
            "{}: {} is blank: {why}. Accepted: {}",
            self.source(),
            about.name,
            about.form.accepted()
        );
        let source = self.source();
        self.report(
            Finding::new(Code::Unreadable, message)
                .at(&source)
                .column(about.name),
        );
    }

    /// Says that cells which can be read do not make sense together; the row is lost.
    pub fn refuse(&mut self, code: Code, columns: &[usize], message: &str) {
        let source = columns
            .first()
            .map_or_else(|| self.source(), |column| self.source_of(*column));
        let mut finding = Finding::new(code, format!("{source}: {message}")).at(&source);
        for column in columns {
            finding = finding.column(self.column(*column).name);
            if let Some((place, _)) = self.filled(*column) {
                self.set(place, State::Named);
            }
        }
        self.report(finding);
    }

    /// Says that a numbered cell lacks its partner.
    pub fn refuse_numbered(&mut self, number: u16, places: &[Option<usize>], message: &str) {
        let mut finding = Finding::new(Code::Unreadable, format!("{}: {message}", self.source()))
            .at(&self.source());
        for (part, place) in places.iter().enumerate() {
            finding = finding.column(
                self.numbered_column(part, number)
                    .map_or(String::new(), |(name, _)| name),
            );
            if let Some((place, _)) = place.and_then(|place| self.filled_at(place)) {
                self.set(place, State::Named);
            }
        }
        self.report(finding);
    }

    /// Adds a finding; an error loses the row.
    fn report(&mut self, finding: Finding) {
        self.failed |= finding.level == Level::Error;
        self.findings.push(finding);
    }

    /// Filled cells of columns that are not ours: name and text.
    pub fn attributes(&self) -> Vec<(Arc<str>, String)> {
        let mut kept = Vec::new();
        for (place, (heading, name)) in self
            .sheet
            .layout
            .headings
            .iter()
            .zip(&self.sheet.layout.names)
            .enumerate()
        {
            if matches!(heading, Heading::Other | Heading::Blank) {
                if let Some((_, cell)) = self.filled_at(place) {
                    kept.push((Arc::clone(name), cell.text.to_owned()));
                }
            }
        }
        kept
    }

    /// Keeps cells for the record in a table whose rows have no place for them.
    pub fn keep_rest(&self, extra: &[usize], tally: &mut Tally) {
        let mut cells: Vec<(String, String)> = self
            .attributes()
            .into_iter()
            .map(|(name, text)| (name.to_string(), text))
            .collect();
        for column in extra {
            if let Some((_, cell)) = self.filled(*column) {
                cells.push((self.column(*column).name.to_owned(), cell.text.to_owned()));
            }
        }
        if !cells.is_empty() {
            tally.left_out.push(LeftOut {
                source: self.source(),
                reason: "kept for the record".to_owned(),
                cells,
            });
        }
    }

    /// Names what is wrong with the row as a whole.
    fn inspect(&mut self) {
        let table = &self.sheet.table;
        let headings = self.sheet.layout.headings.len();
        if let Some(why) = table.spoilt(table.line(self.row)) {
            let message = format!("{}: {why}", self.source());
            let source = self.source();
            self.report(Finding::new(Code::Unreadable, message).at(&source));
        }
        let beyond: Vec<usize> = table
            .filled(self.row)
            .map(|(place, _)| place)
            .filter(|place| *place >= headings)
            .collect();
        if !beyond.is_empty() {
            let message = format!(
                "{}: there are {} cells under {headings} headings. A comma inside a cell, or a decimal comma, needs quotation marks around \
                 the cell or another separator",
                self.source(),
                table.width(self.row),
            );
            beyond
                .into_iter()
                .for_each(|place| self.set(place, State::Named));
            let source = self.source();
            self.report(Finding::new(Code::Unreadable, message).at(&source));
        }
        for place in 0..headings {
            if self.sheet.layout.headings.get(place) == Some(&Heading::Refused)
                && self.filled_at(place).is_some()
            {
                self.set(place, State::Named);
            }
        }
    }

    /// Puts the row's count and findings into the tally.
    fn finish(self, tally: &mut Tally) {
        let table = &self.sheet.table;
        if self.failed {
            tally.dropped += 1;
            tally
                .left_out
                .push(left_out(self.sheet, self.row, "can't be used"));
        }
        if self.sheet.counted {
            for (place, _) in table.filled(self.row) {
                match self.states.get(place) {
                    Some(State::Named) => tally.cells.named += 1,
                    Some(State::Used) if !self.failed => tally.cells.used += 1,
                    _ => tally.cells.kept += 1,
                }
            }
        }
        tally.findings.extend(self.findings);
    }
}

/// The text in quotation marks, shortened.
pub fn quoted(text: &str) -> String {
    match text.char_indices().nth(60) {
        Some((at, _)) => format!("{:?}\u{2026}", text.get(..at).unwrap_or_default()),
        None => format!("{text:?}"),
    }
}

fn left_out(sheet: &Sheet, row: usize, reason: &str) -> LeftOut {
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
        .map(|column| Typing {
            plain: sheet.layout.plain(column, plain.plain),
            ..plain
        })
        .collect();
    let usage = sheet.spec.position("use");
    let listed = tally.findings.len();
    let mut hidden = 0;
    for row in heading + 1..sheet.table.height() {
        if let Some(reason) = aside(sheet, row, heading).filter(|_| !sheet.settings) {
            set_aside(sheet, row, reason, tally);
            continue;
        }
        let states = vec![State::Untouched; sheet.table.width(row)];
        let mut row = Row {
            sheet,
            row,
            typings: Rc::clone(&typings),
            states,
            findings: Vec::new(),
            failed: false,
            usage: None,
        };
        row.inspect();
        row.usage = usage.and_then(|column| row.word(column));
        if row.usage == Some("no") {
            set_aside(sheet, row.row, "use = no", tally);
            continue;
        }
        each(&mut row, tally);
        if tally.findings.len() - listed > caps::FINDINGS {
            hidden += row.findings.len();
            row.findings.clear();
        }
        row.finish(tally);
    }
    if hidden > 0 {
        let message = format!(
            "{}: {hidden} more findings are not listed; mend the listed ones first",
            sheet.table.file
        );
        let source = Source {
            file: Arc::clone(&sheet.table.file),
            row: 0,
        };
        tally
            .findings
            .push(Finding::new(Code::Unreadable, message).at(&source));
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

/// Why a row takes no part, if it takes none.
fn aside(sheet: &Sheet, row: usize, heading: usize) -> Option<&'static str> {
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
            .is_some_and(|word| is_total(word))
    };
    if is_total(key) || (key.is_empty() && table.filled(row).any(|(_, text)| word(text))) {
        return Some("totals row");
    }
    None
}

fn is_total(word: &str) -> bool {
    ["total", "totals", "sum", "subtotal", "average", "mean"]
        .iter()
        .any(|total| word.eq_ignore_ascii_case(total))
}
