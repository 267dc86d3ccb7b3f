//! The typed cells of one row.

use std::borrow::Cow;
use std::rc::Rc;
use std::sync::Arc;

use super::walk::left_out;
use super::{Tally, quoted};
use crate::findings::{Code, Finding, Level};
use crate::job::model::{LeftOut, Source};
use crate::job::schema::{Cell, Column, Form, Typing, name as checked_name, yes_no};
use crate::job::table::{Heading, Kind, Sheet};
use crate::units::Plain;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    Untouched,
    Used,
    Named,
}

/// A row being read.
pub struct Row<'a> {
    pub(super) sheet: &'a Sheet,
    pub(super) index: usize,
    typings: Rc<[Typing]>,
    states: Vec<State>,
    pub(super) findings: Vec<Finding>,
    pub(super) failed: bool,
    /// Something of it can't be taken at all, and that has been said.
    pub(super) maimed: bool,
    usage: Option<&'static str>,
}

impl<'a> Row<'a> {
    /// The row, nothing of it read yet but `use`.
    pub(super) fn new(
        sheet: &'a Sheet,
        row: usize,
        typings: Rc<[Typing]>,
        usage: Option<usize>,
    ) -> Self {
        let states = vec![State::Untouched; sheet.table.width(row)];
        let mut row = Self {
            sheet,
            index: row,
            typings,
            states,
            findings: Vec::new(),
            failed: false,
            maimed: false,
            usage: None,
        };
        row.inspect();
        row.usage = usage.and_then(|column| row.word(column));
        row
    }

    /// Forgets its findings; how many they were, and the worst of their levels.
    pub(super) fn hush(&mut self) -> (usize, Option<Level>) {
        let hidden = std::mem::take(&mut self.findings);
        (
            hidden.len(),
            hidden.iter().map(|finding| finding.level).max(),
        )
    }

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
        self.sheet.table.source(self.index)
    }

    /// Whether something of it can't be taken at all.
    pub fn maimed(&self) -> bool {
        self.maimed
    }

    /// Whether a finding has made the row unusable.
    pub fn failed(&self) -> bool {
        self.failed
    }

    /// The filled cell of one of our columns, with its place in the file.
    pub(super) fn filled(&self, column: usize) -> Option<(usize, Cell<'a>)> {
        self.filled_at(self.sheet.layout.places.get(column).copied().flatten()?)
    }

    pub(super) fn filled_at(&self, place: usize) -> Option<(usize, Cell<'a>)> {
        let table = &self.sheet.table;
        let text = table.cell(self.index, place);
        (!text.is_empty()).then(|| {
            (
                place,
                Cell {
                    text,
                    kind: table.kind(self.index, place),
                },
            )
        })
    }

    /// How plain figures of a column of the file are meant.
    pub(super) fn plain(&self, place: usize) -> Option<Plain> {
        self.typings.get(place).map(|typing| typing.plain)
    }

    /// Whether the column's cell holds something.
    pub fn has(&self, column: usize) -> bool {
        self.filled(column).is_some()
    }

    pub(super) fn column(&self, column: usize) -> Column {
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

    /// What became of a cell. One that a finding names stays so, whatever it is read for besides.
    pub(super) fn set(&mut self, place: usize, state: State) {
        if let Some(slot) = self.states.get_mut(place)
            && *slot != State::Named
        {
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
            Cow::Borrowed(about.name),
            form.unwrap_or(about.form),
            read,
        )
    }

    pub(super) fn take_at<T>(
        &mut self,
        place: usize,
        cell: Cell<'a>,
        name: Cow<'static, str>,
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
                let refused = form.refusal(&quoted(cell.text), &why);
                let message = format!("{}: {name}: {refused}", self.cell_source(place));
                self.set(place, State::Named);
                let source = self.cell_source(place);
                self.report(
                    Finding::new(Code::Unreadable, message)
                        .at(&source)
                        .column(name.into_owned()),
                );
                None
            }
        }
    }

    fn cell_source(&self, place: usize) -> Source {
        Source {
            row: self.sheet.table.cell_line(self.index, place),
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
            if let Some(word) = words.iter().find(|word| **word == cell.text) {
                return Ok(*word);
            }
            let plain = |text: &str| text.trim().to_lowercase().replace(['-', ' '], "_");
            let typed = plain(cell.text);
            // The other spelling of a word, and the letters that people put for two of them.
            let typed = match typed.as_str() {
                "center" => "centre",
                "l" => "left",
                "r" => "right",
                "y" => "yes",
                "n" => "no",
                "fix" | "rtk_fix" | "rtk_fixed" => "fixed",
                "rtk_float" => "float",
                "dgps" => "dgnss",
                other => other,
            };
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
            if matches!(heading, Heading::Other | Heading::Blank)
                && let Some((_, cell)) = self.filled_at(place)
            {
                kept.push((Arc::clone(name), cell.text.to_owned()));
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

    /// Puts the row's count and findings into the tally.
    pub(super) fn finish(self, tally: &mut Tally) {
        let table = &self.sheet.table;
        if self.failed {
            tally.dropped += 1;
            tally
                .left_out
                .push(left_out(self.sheet, self.index, "can't be used"));
        }
        if self.sheet.counted {
            for (place, _) in table.filled(self.index) {
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
