//! What is said of a row beyond its single cells, and what that does to it.

use super::cells::State;
use super::{Row, quoted};
use crate::findings::{Code, Finding, Level};
use crate::job::schema::Form;
use crate::job::table::Heading;
use crate::units::{Plain, parse_number};

/// Digits before and after the point of a figure that was parted (our choice).
const DIGITS: usize = 3;
const DECIMALS: usize = 3;
/// So many rows tell how a table's rows are (our choice).
const FIRST: usize = 64;

/// The small units in which a figure would come to no more than `most` metres: inches, which pipes are named by everywhere, and
/// millimetres, which nobody means who counts in feet unless inches are too much.
fn meant(figure: f64, most: f64, plain: &Plain) -> Vec<&'static str> {
    let fits = |metres: f64| figure * metres <= most;
    let inches = fits(plain.foot / 12.0);
    let millimetres = fits(0.001) && !(plain.feet && inches);
    let units = [("mm", millimetres), ("in", inches)].into_iter();
    units
        .filter(|(_, fits)| *fits)
        .map(|(unit, _)| unit)
        .collect()
}

impl Row<'_> {
    /// Says that a required cell is blank.
    pub fn lacks(&mut self, column: usize, why: &str) {
        let about = self.column(column);
        let mut message = format!("{}: {} is blank: {why}", self.source(), about.name);
        // That a name is any text helps nobody to find it.
        if about.form != Form::Name {
            message.push_str(&format!(". Accepted: {}", about.form.accepted()));
        }
        let source = self.source();
        self.report(
            Finding::new(Code::Unreadable, message)
                .at(&source)
                .column(about.name),
        );
    }

    /// Says that cells which can be read do not make sense together; the row is lost.
    ///
    /// Not said of a row of which something can't be taken at all: what is missing then stands in that.
    pub fn refuse(&mut self, code: Code, columns: &[usize], message: &str) {
        if self.maimed {
            return self.forgo();
        }
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
        if self.maimed {
            return self.forgo();
        }
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

    /// A length that is small by its nature. Over `most` metres, as a plain number, it is doubted: it is probably in inches or
    /// millimetres, and the message offers what fits.
    pub fn small(&mut self, column: usize, most: f64) -> Option<f64> {
        self.small_ever(column, most, f64::INFINITY)
    }

    /// As [`Self::small`]; over `ever` metres it is doubted whatever unit stands with it.
    pub fn small_ever(&mut self, column: usize, most: f64, ever: f64) -> Option<f64> {
        let value = self.number(column)?;
        let (place, cell) = self.filled(column)?;
        let plain = self.plain(place)?;
        let bare = !plain.named && parse_number(cell.text, plain.decimal_comma).is_ok();
        if value > most && bare {
            let (source, name, text) =
                (self.source_of(column), self.column(column).name, cell.text);
            let read = if plain.feet { "ft" } else { "m" };
            let meant: String = meant(value / plain.metres, most, &plain)
                .into_iter()
                .map(|unit| format!("If {text} {unit} is meant, write \"{text} {unit}\". "))
                .collect();
            let message = format!(
                "{source}: {name}: {text} is taken as {text} {read}, the job's unit, and that is too much for it. {meant}If it is \
                 right, write \"{text} {read}\""
            );
            let doubt = Finding::new(Code::Implausible, message)
                .at(&source)
                .column(name);
            self.report(doubt.figures(value / plain.metres, Some(most / plain.metres)));
        } else if value > ever {
            let why = format!(
                "{} is too much for it. Check the figure and its unit",
                quoted(cell.text)
            );
            self.doubt(column, &why);
        }
        Some(value)
    }

    /// Says that a cell's value is not believed; it is used as it stands.
    pub fn doubt(&mut self, column: usize, why: &str) {
        let (source, name) = (self.source_of(column), self.column(column).name);
        let doubt = Finding::new(Code::Implausible, format!("{source}: {name}: {why}"));
        self.report(doubt.at(&source).column(name));
    }

    /// Loses the row without a word: it hangs on another row that can't be used, and that row's finding says why.
    pub fn forgo(&mut self) {
        self.failed = true;
    }

    /// Adds a finding; an error loses the row.
    pub(super) fn report(&mut self, finding: Finding) {
        self.failed |= finding.level == Level::Error;
        self.findings.push(finding);
    }

    /// Whether two cells side by side may be a figure and its decimals.
    fn has_parted_figure(&self) -> bool {
        let table = &self.sheet.table;
        let cells = (0..table.width(self.index)).map(|column| table.cell(self.index, column));
        let cells: Vec<&str> = cells.collect();
        let figure = |text: &str, most: usize| {
            (1..=most).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())
        };
        cells
            .windows(2)
            .any(|pair| figure(pair[0], DIGITS) && figure(pair[1], DECIMALS))
    }

    /// Whether the row is whole so far, and most of the first rows of its table are no longer than the heading.
    fn is_longer_than_others(&self) -> bool {
        let table = &self.sheet.table;
        let headings = self.sheet.layout.headings.len();
        let first = self.sheet.layout.heading.map_or(0, |heading| heading + 1);
        let rows = first..table.height().min(first + FIRST);
        let longer = rows.clone().filter(|row| table.width(*row) > headings);
        !self.maimed && 2 * longer.count() < rows.len().max(2)
    }

    /// Names what is wrong with the row as a whole.
    pub(super) fn inspect(&mut self) {
        let table = &self.sheet.table;
        let headings = self.sheet.layout.headings.len();
        if let Some(why) = table.spoilt(table.line(self.index)) {
            let message = format!("{}: {why}", self.source());
            let source = self.source();
            self.report(Finding::new(Code::Unreadable, message).at(&source));
            self.maimed = true;
        }
        let beyond: Vec<usize> = table
            .filled(self.index)
            .map(|(place, _)| place)
            .filter(|place| *place >= headings)
            .collect();
        if !beyond.is_empty() {
            let message = format!(
                "{}: there are {} cells under {headings} headings. A comma inside a cell, or a decimal comma, needs quotation marks around \
                 the cell or another separator",
                self.source(),
                table.width(self.index),
            );
            self.maimed = true;
            for place in beyond {
                self.set(place, State::Named);
            }
            let source = self.source();
            self.report(Finding::new(Code::Unreadable, message).at(&source));
        }
        let more = table.width(self.index).saturating_sub(headings);
        if (1..=2).contains(&more) && self.has_parted_figure() && self.is_longer_than_others() {
            let message = format!(
                "{}: there are {} cells under {headings} headings, the last of them blank. Where a comma inside a cell, or a decimal comma, has \
                 parted a cell, all that follow stand one column too far on: then put quotation marks around it; else take the last \
                 separator away",
                self.source(),
                table.width(self.index),
            );
            let source = self.source();
            self.report(Finding::new(Code::Implausible, message).at(&source));
        }
        for place in 0..headings {
            if self.sheet.layout.headings.get(place) == Some(&Heading::Refused)
                && self.filled_at(place).is_some()
            {
                self.maimed = true;
                self.set(place, State::Named);
            }
        }
    }
}
