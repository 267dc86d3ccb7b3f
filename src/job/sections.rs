//! A large table of marks whose runs share nothing, read some runs at a time.
//!
//! A job of a million marks need not be held as a whole where no row of it speaks of another run's: every mark is placed by a
//! position of its own, and nothing else is measured. [`Sections::open`] looks at every line once and says whether that is so;
//! [`Sections::read`] then reads some runs, by the same rules as a whole job, as a job that holds those runs alone.
//!
//! Where anything is otherwise (a tie, control, levels, a run defined by itself, a name that comes twice, a quoted cell, a run in
//! two places of the table), there are no sections, and the job is read whole.

use std::collections::HashSet;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;

use super::caps;
use super::files::{Raw, ends_in, file_names, is_log};
use super::read::{Reading, understand};
use super::row::{Tally, is_total};
use super::schema::{Cell, Typing, marks, name};
use super::settings::{self, CrsUnit, Section};
use super::table::{Heading, Kind, Layout, decode, lay_out, plain, read_rows, trim};
use crate::units::Plain;

/// A line holds a mark in no fewer bytes: what is smaller need not be looked at.
const LINE: u64 = 8;

/// Marks of a section, or those of one run if that has more: few enough that a section's data stay near the processor, enough that
/// what a section costs by itself is nothing beside (measured).
const MARKS: usize = 1_000;

/// Columns that say nothing of another row or point.
const OWN: &[usize] = &[
    marks::RUN,
    marks::MARK,
    marks::COUNTER,
    marks::LATITUDE,
    marks::LONGITUDE,
    marks::HEIGHT,
    marks::FIX,
    marks::SIGMA,
    marks::SIGMA_V,
    marks::POLE,
    marks::EASTING,
    marks::NORTHING,
    marks::ELEVATION,
    marks::GROUND,
    marks::DEPTH_1,
    marks::DEPTH_2,
    marks::DEPTH_3,
    marks::DEPTH_4,
    marks::READ_BY,
    marks::LIFT,
    marks::ATTITUDE,
    marks::FOUND_BY,
    marks::END_AHEAD,
    marks::END_BEHIND,
    marks::SIGNAL,
    marks::SIGNAL_AHEAD,
    marks::SIGNAL_BEHIND,
    marks::SIGNAL_LEFT,
    marks::SIGNAL_RIGHT,
    marks::SIGNAL_STEP,
    marks::PEAK_CHECKED,
    marks::TILT,
    marks::FITTING,
    marks::QUALITY_LEVEL,
    marks::QUALITY_BY,
    marks::PHOTO,
    marks::NOTE,
];

/// Where a mark lies, as its row says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Radians.
    Geographic {
        /// North positive.
        latitude: f64,
        /// East positive.
        longitude: f64,
        /// Through a correction service.
        corrected: bool,
    },
    /// Easting, northing in metres.
    Grid(f64, f64),
}

/// A job that is read some runs at a time.
#[derive(Debug)]
pub struct Sections {
    settings_file: Arc<str>,
    settings: Vec<Section>,
    file: Arc<str>,
    text: String,
    /// Length of the heading's line.
    heading: usize,
    separator: u8,
    spans: Vec<Span>,
    places: Vec<Place>,
}

/// The lines of some runs.
#[derive(Clone, Debug)]
struct Span {
    bytes: Range<usize>,
    line: u32,
}

impl Sections {
    /// The job in a folder, if it has at least so many marks and its runs share nothing.
    ///
    /// `None` also where a file can't be read: reading the job whole says why.
    #[must_use]
    pub fn open(folder: &Path, least: usize, crs_unit: CrsUnit<'_>) -> Option<Self> {
        let file = only_marks(folder, least as u64 * LINE)?;
        let settings_file: Arc<str> = Arc::from("job.toml");
        let text = self::text(&folder.join(&*settings_file), caps::SETTINGS)?;
        let (settings, found) = settings::read_toml(&settings_file, &text);
        if !found.is_empty() || settings.iter().any(|section| section.name == "run") {
            return None;
        }
        let (sheets, found) = settings::to_sheets(&settings_file, &settings, false);
        let mut tally = Tally::default();
        let said = settings::read(&sheets, &settings_file, crs_unit, &mut tally);
        if !found.is_empty() || !said.usable || !said.points.files.is_empty() {
            return None;
        }
        let text = self::text(&folder.join(&*file), caps::FILE)?;
        let (separator, heading) = plain(&text, &file, &marks::TABLE)?;
        let top = read_rows(Arc::clone(&file), (text.get(..heading)?, ""), separator, 2);
        let (layout, _) = lay_out(&top, &marks::TABLE, false);
        let columns = Columns::of(&layout, top.cell(0, 0), said.typing, separator)?;
        // Without a height of the site it is the mean of what the rows say of theirs.
        let levelled = said.grid.height.is_some() || said.grid.distances_on_grid;
        if !levelled
            && [marks::GROUND, marks::ELEVATION, marks::HEIGHT]
                .iter()
                .any(|c| Columns::has(&layout, *c))
        {
            return None;
        }
        let looked = look(&text, heading, &columns)?;
        if looked.marks() < least {
            return None;
        }
        Some(Self {
            settings_file,
            settings,
            file,
            heading,
            separator,
            // A job of fewer marks than a section has, which only tests ask for, has several all the same.
            spans: looked.spans(text.len(), MARKS.min(least)),
            places: looked
                .parts
                .into_iter()
                .flat_map(|part| part.places)
                .collect(),
            text,
        })
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.spans.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.spans.is_empty()
    }

    /// Where the marks of the whole job lie, in the order of the table.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// The same without the places, which are only needed once.
    #[must_use]
    pub fn without_places(self) -> Self {
        Self {
            places: Vec::new(),
            ..self
        }
    }

    /// Reads a section: the job with its runs alone. `None` past the last.
    #[must_use]
    pub fn read(&self, section: usize, crs_unit: CrsUnit<'_>) -> Option<Reading> {
        let span = self.spans.get(section)?;
        let rows = (
            self.text.get(..self.heading)?,
            self.text.get(span.bytes.clone())?,
        );
        let table = read_rows(Arc::clone(&self.file), rows, self.separator, span.line);
        let raw = Raw {
            settings_file: Arc::clone(&self.settings_file),
            sections: self.settings.clone(),
            counted: false,
            tables: vec![(&marks::TABLE, table)],
            logs: Vec::new(),
            inputs: Vec::new(),
            marks_file: Arc::clone(&self.file),
        };
        Some(understand(raw, Path::new(""), crs_unit, Tally::default()))
    }
}

/// The text of a file of which reading has nothing to say.
fn text(path: &Path, limit: u64) -> Option<String> {
    let mut notes = Vec::new();
    let text = decode(caps::read_file(path, limit).ok()?, &mut notes).ok()?;
    notes.is_empty().then_some(text)
}

/// The table of marks of a folder that holds no further table or log, if it has at least so many bytes.
fn only_marks(folder: &Path, bytes: u64) -> Option<Arc<str>> {
    let names = file_names(folder).ok()?;
    let further = |name: &&String| ends_in(name, "csv") || is_log(name);
    let mut tables = names.iter().filter(further);
    let (marks, more) = (tables.next()?, tables.next());
    let large = folder.join(marks).symlink_metadata().ok()?.len() >= bytes;
    (large && more.is_none() && marks.eq_ignore_ascii_case("marks.csv"))
        .then(|| Arc::from(marks.as_str()))
}

/// The columns that a line is looked at for.
struct Columns {
    separator: u8,
    /// Text of the heading's first cell.
    first: String,
    run: usize,
    mark: usize,
    fix: Option<usize>,
    /// Both columns of a place, with how their figures are meant.
    geographic: Option<[(usize, usize, Typing); 2]>,
    grid: Option<[(usize, usize, Typing); 2]>,
    /// Columns that speak of other rows or points: nothing may stand in them.
    foreign: Vec<usize>,
    /// How many cells the heading has.
    width: usize,
}

impl Columns {
    /// `None` where reading has something to say of the heading, or a mark can't be placed by its own row.
    fn of(layout: &Layout, first: &str, typing: Typing, separator: u8) -> Option<Self> {
        if layout.unusable || layout.named.contains(&true) {
            return None;
        }
        let at = |column: usize| layout.places.get(column).copied().flatten();
        let typed = |column: usize| {
            let place = at(column)?;
            let plain = Plain {
                decimal_comma: separator != b',',
                ..typing.plain
            };
            let typing = layout.typing(place, Typing { plain, ..typing });
            Some((place, column, typing))
        };
        let both = |a, b| Some([typed(a)?, typed(b)?]);
        let foreign = |(place, heading): (usize, &Heading)| match heading {
            Heading::Known(column) if OWN.contains(column) => None,
            Heading::Other | Heading::Blank => None,
            _ => Some(place),
        };
        Some(Self {
            separator,
            first: first.to_owned(),
            run: at(marks::RUN)?,
            mark: at(marks::MARK)?,
            fix: at(marks::FIX),
            geographic: both(marks::LATITUDE, marks::LONGITUDE),
            grid: both(marks::EASTING, marks::NORTHING),
            width: layout.headings.len(),
            foreign: layout
                .headings
                .iter()
                .enumerate()
                .filter_map(foreign)
                .collect(),
        })
    }

    fn has(layout: &Layout, column: usize) -> bool {
        layout.places.get(column).copied().flatten().is_some()
    }

    /// One line that holds a mark. `None` if it is anything but a plain row.
    fn line<'t>(&self, line: &'t str, cells: &mut Vec<&'t str>) -> Option<Seen> {
        cells.clear();
        let mut start = 0;
        for at in memchr::memchr_iter(self.separator, line.as_bytes()) {
            cells.push(trim(line.get(start..at)?));
            start = at + 1;
        }
        cells.push(trim(line.get(start..)?));
        let first = *cells.first()?;
        if cells.len() > self.width
            || first.starts_with('#')
            || first.eq_ignore_ascii_case(&self.first)
        {
            return None;
        }
        let cell = |at: usize| cells.get(at).copied().unwrap_or_default();
        let named = |at: usize| {
            let text = cell(at);
            let cell = Cell {
                text,
                kind: Kind::Text,
            };
            (!text.is_empty() && !is_total(text) && name(cell).is_ok()).then(|| hash(text))
        };
        if self.foreign.iter().any(|at| !cell(*at).is_empty()) {
            return None;
        }
        Some(Seen {
            run: named(self.run)?,
            mark: named(self.mark)?,
            place: self.place(cell)?,
        })
    }

    /// The place in a line, which must be given in one way.
    fn place<'t>(&self, cell: impl Fn(usize) -> &'t str) -> Option<Place> {
        let blank = |pair: &Option<[(usize, usize, Typing); 2]>| {
            let places = pair.iter().flatten();
            places.into_iter().all(|(at, ..)| cell(*at).is_empty())
        };
        let figure = |(at, column, typing): &(usize, usize, Typing)| {
            let form = marks::TABLE.columns.get(*column)?.form;
            let cell = Cell {
                text: cell(*at),
                kind: Kind::Text,
            };
            form.value(cell, typing).ok()
        };
        if blank(&self.geographic) {
            let [east, north] = self.grid.as_ref()?;
            return Some(Place::Grid(figure(east)?, figure(north)?));
        }
        let [latitude, longitude] = self.geographic.as_ref()?;
        if !blank(&self.grid) {
            return None;
        }
        let fix = self.fix.map_or("", &cell);
        let is = |words: &[&str]| words.iter().any(|word| fix.eq_ignore_ascii_case(word));
        let corrected = is(&["rtk", "fixed", "float"]);
        (corrected || is(&["", "dgnss", "single"])).then_some(())?;
        Some(Place::Geographic {
            latitude: figure(latitude)?,
            longitude: figure(longitude)?,
            corrected,
        })
    }
}

/// What a line says.
struct Seen {
    run: u64,
    mark: u64,
    place: Place,
}

fn hash(text: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    hasher.finish()
}

/// What some lines say.
#[derive(Default)]
struct Part {
    /// Where a run begins: byte, line from this part's first, mark from this part's first, the run.
    runs: Vec<Begin>,
    marks: Vec<u64>,
    places: Vec<Place>,
    lines: u32,
}

#[derive(Clone, Copy)]
struct Begin {
    byte: usize,
    line: u32,
    mark: usize,
    run: u64,
}

fn look_at(text: &str, range: Range<usize>, columns: &Columns) -> Option<Part> {
    let mut part = Part::default();
    let mut cells = Vec::new();
    let mut at = range.start;
    let mut run = None;
    while at < range.end {
        let rest = text.as_bytes().get(at..range.end)?;
        let length = memchr::memchr(b'\n', rest).map_or(rest.len(), |end| end + 1);
        let line = text.get(at..at + length)?;
        if !line
            .bytes()
            .all(|byte| byte == columns.separator || byte.is_ascii_whitespace())
        {
            let seen = columns.line(line, &mut cells)?;
            if run != Some(seen.run) {
                run = Some(seen.run);
                part.runs.push(Begin {
                    byte: at,
                    line: part.lines,
                    mark: part.marks.len(),
                    run: seen.run,
                });
            }
            part.marks.push(seen.mark);
            part.places.push(seen.place);
        }
        part.lines += 1;
        at += length;
    }
    Some(part)
}

/// What every line of the text says.
struct Looked {
    parts: Vec<Part>,
    /// Where a run begins, in the whole text.
    runs: Vec<Begin>,
}

/// Looks at every line below the heading, on all threads. `None` if a line is no plain row, if a mark's name comes twice, or a run's
/// rows don't follow each other.
fn look(text: &str, heading: usize, columns: &Columns) -> Option<Looked> {
    let size = (text.len() - heading) / (4 * rayon::current_num_threads()).max(1) + 1;
    let mut ranges = Vec::new();
    let mut start = heading;
    while start < text.len() {
        let about = (start + size).min(text.len());
        let end = memchr::memchr(b'\n', text.as_bytes().get(about..)?)
            .map_or(text.len(), |length| about + length + 1);
        ranges.push(start..end);
        start = end;
    }
    let parts: Option<Vec<Part>> = ranges
        .into_par_iter()
        .map(|range| look_at(text, range, columns))
        .collect();
    let parts = parts?;
    let mut runs: Vec<Begin> = Vec::new();
    let (mut line, mut mark) = (2, 0);
    for part in &parts {
        for begin in &part.runs {
            if runs.last().is_none_or(|last| last.run != begin.run) {
                runs.push(Begin {
                    line: line + begin.line,
                    mark: mark + begin.mark,
                    ..*begin
                });
            }
        }
        line += part.lines;
        mark += part.marks.len();
    }
    let mut seen = HashSet::with_capacity(runs.len());
    let mut names: Vec<u64> = parts
        .iter()
        .flat_map(|part| part.marks.iter().copied())
        .collect();
    names.par_sort_unstable();
    let once = names.windows(2).all(|pair| pair[0] != pair[1]);
    (once && runs.iter().all(|begin| seen.insert(begin.run))).then_some(Looked { parts, runs })
}

impl Looked {
    fn marks(&self) -> usize {
        self.parts.iter().map(|part| part.marks.len()).sum()
    }

    /// Runs taken together until there are enough marks.
    fn spans(&self, end: usize, marks: usize) -> Vec<Span> {
        let mut spans: Vec<Span> = Vec::new();
        let mut first: Option<&Begin> = None;
        for begin in &self.runs {
            let from = *first.get_or_insert(begin);
            if begin.mark - from.mark >= marks {
                spans.push(Span {
                    bytes: from.byte..begin.byte,
                    line: from.line,
                });
                first = Some(begin);
            }
        }
        spans.extend(first.map(|from| Span {
            bytes: from.byte..end,
            line: from.line,
        }));
        spans
    }
}
