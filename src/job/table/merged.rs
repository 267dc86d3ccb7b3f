//! A sheet on its way into a table, with its merged cells: what stands over several rows counts in each of them.
//!
//! Over several columns a value counts in the first only: a reading over `depth_1` and `depth_2` is one reading, not two that agree.
//! Both are noted. A row that has no more of its own than a cell to the right of merged ones is the second line of the row above:
//! filled, it would be the same row again, and a measurement would count twice.

use std::collections::BTreeMap;

use rust_xlsxwriter::utility::cell_range;

use super::{Kind, Table, caps};
use crate::units::listed;

/// No more regions are named in a note.
const NAMED: usize = 6;

/// A cell's row and column, from 0.
type Corner = (u32, u32);

/// A merged region: its corners, and what its first cell holds.
pub struct Region {
    first: Corner,
    last: Corner,
    value: Option<(String, Kind)>,
    /// It has been noted.
    noted: bool,
}

impl Region {
    /// A region between its corners.
    pub fn new(first: Corner, last: Corner) -> Self {
        Self {
            first,
            last,
            value: None,
            noted: false,
        }
    }

    /// `I2:I7`.
    fn name(&self) -> String {
        // What is beyond a sheet's last column is a damaged file's.
        let column = |column: u32| u16::try_from(column).unwrap_or(u16::MAX);
        let ((top, left), (bottom, right)) = (self.first, self.last);
        let bottom = bottom.min(u32::MAX - 1);
        cell_range(top, column(left), bottom, column(right))
    }
}

/// A table being filled, row by row.
pub struct Filling<'a> {
    table: &'a mut Table,
    /// Regions below the row, the nearest last.
    ahead: Vec<Region>,
    /// Regions that the row lies in, by their first column.
    here: BTreeMap<u32, Region>,
    /// The row, from 0.
    at: u32,
    cells: Vec<(u32, String, Kind)>,
    full: bool,
    /// Bytes that merged cells have repeated: a small file could fill the memory by them.
    repeated: u64,
    /// Regions whose value was taken for further rows, and for their first column only.
    down: Vec<String>,
    across: Vec<String>,
}

impl<'a> Filling<'a> {
    /// A table without rows, and the merged regions of its sheet.
    pub fn new(table: &'a mut Table, mut regions: Vec<Region>) -> Self {
        regions.retain(|region| (region.first.1 as usize) < caps::COLUMNS);
        regions.sort_by_key(|region| std::cmp::Reverse(region.first));
        let mut filling = Self {
            table,
            ahead: regions,
            here: BTreeMap::new(),
            at: 0,
            cells: Vec::new(),
            full: false,
            repeated: 0,
            down: Vec::new(),
            across: Vec::new(),
        };
        filling.enter(0);
        filling
    }

    /// Takes the next cell, which holds something; false if the table is full.
    pub fn cell(&mut self, at: u32, column: u32, text: String, kind: Kind) -> bool {
        if at != self.at {
            self.end();
            self.enter(at);
        }
        let after = self.cells.last().is_none_or(|(last, ..)| *last < column);
        if column as usize >= caps::COLUMNS || text.len() > caps::CELL || !after {
            let why = format!(
                "a cell is beyond column {}, longer than {} bytes, or out of order",
                caps::COLUMNS,
                caps::CELL
            );
            self.table.spoil(at.saturating_add(1), why);
            return true;
        }
        let region = self.here.range_mut(..=column).next_back();
        match region.filter(|(_, region)| column <= region.last.1) {
            Some((_, region)) if region.first != (at, column) => return !self.full, // nobody sees it
            Some((_, region)) => region.value = Some((text.clone(), kind)),
            None => {}
        }
        self.cells.push((column, text, kind));
        !self.full
    }

    /// Ends the sheet.
    pub fn finish(mut self) {
        self.end();
        for (regions, how) in [
            (
                self.down,
                "count in each of their rows: what stands in the first is taken for all",
            ),
            (self.across, "count in their first column only"),
        ] {
            if !regions.is_empty() {
                let named = listed(&regions, NAMED);
                self.table
                    .notes
                    .push(format!("merged cells ({named}) {how}"));
            }
        }
    }

    /// Goes on to a row.
    fn enter(&mut self, at: u32) {
        self.at = at;
        self.here.retain(|_, region| at <= region.last.0);
        while let Some(region) = self.ahead.pop_if(|region| region.first.0 <= at) {
            self.here.insert(region.first.1, region);
        }
    }

    /// Ends the row.
    fn end(&mut self) {
        let mut cells = std::mem::take(&mut self.cells);
        if self.full {
            return;
        }
        let own = cells.iter().filter(|(_, text, _)| !text.trim().is_empty());
        let own: Vec<u32> = own.map(|(column, ..)| *column).collect();
        let shared = self.shared();
        match own.as_slice() {
            [] => {}
            [only] if shared.len() > 1 && shared.iter().any(|(column, ..)| column < only) => {
                let why = "all but one of its cells are merged with the row above: what belongs to one row of the table stands in one row \
                           of the sheet";
                self.table.spoil(self.at.saturating_add(1), why.to_owned());
            }
            own => {
                let repeated = shared.iter().map(|(_, text, _)| text.len() as u64);
                self.repeated += repeated.sum::<u64>();
                if self.repeated > caps::UNPACKED {
                    self.stop("merged cells repeat too much text");
                    return;
                }
                cells.extend(shared);
                cells.sort_by_key(|(column, ..)| *column);
                self.note(own);
            }
        }
        self.put(cells);
    }

    /// What the row has of regions that begin above it.
    fn shared(&self) -> Vec<(u32, String, Kind)> {
        let below = |region: &&Region| region.first.0 < self.at && self.at <= region.last.0;
        let regions = self.here.values().filter(below);
        regions
            .filter_map(|region| {
                let (text, kind) = region.value.clone()?;
                Some((region.first.1, text, kind))
            })
            .collect()
    }

    /// Remembers which regions were taken how. A title that has its row for itself is none of them.
    fn note(&mut self, own: &[u32]) {
        let regions = self.here.values_mut();
        for region in regions.filter(|region| region.value.is_some() && !region.noted) {
            let within = |column: &&u32| (region.first.1..=region.last.1).contains(*column);
            let beside = own.iter().filter(|column| !within(column)).count();
            if self.at > region.first.0 {
                self.down.push(region.name());
            } else if region.last.1 > region.first.1 && beside > 0 {
                self.across.push(region.name());
            } else {
                continue;
            }
            region.noted = true;
        }
    }

    /// Puts the row into the table.
    fn put(&mut self, cells: Vec<(u32, String, Kind)>) {
        let mut next = 0;
        for (column, text, kind) in cells {
            let blanks = (next..column).all(|_| self.table.push_kind("", Kind::Text));
            if !blanks || !self.table.push_kind(&text, kind) {
                self.stop(&format!("there are more than {} cells", caps::CELLS));
                break;
            }
            next = column + 1;
        }
        self.table.end_row(self.at.saturating_add(1));
    }

    /// Takes no more of the sheet, and says so.
    fn stop(&mut self, why: &str) {
        let line = self.at.saturating_add(1);
        self.table
            .spoil(line, format!("{why}; the sheet is read up to here"));
        self.full = true;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;

    /// A sheet's rows, with their merged regions.
    fn table(rows: &[&[&str]], regions: &[(Corner, Corner)]) -> Table {
        let mut table = Table::new(Arc::from("book.xlsx!marks"));
        let regions = regions
            .iter()
            .map(|(first, last)| Region::new(*first, *last));
        let mut filling = Filling::new(&mut table, regions.collect());
        for (at, row) in (0..).zip(rows) {
            for (column, text) in (0..).zip(*row).filter(|(_, text)| !text.is_empty()) {
                filling.cell(at, column, (*text).to_owned(), Kind::Text);
            }
        }
        filling.finish();
        table
    }

    fn row(table: &Table, row: usize) -> Vec<&str> {
        (0..table.width(row))
            .map(|column| table.cell(row, column))
            .collect()
    }

    #[test]
    fn a_value_over_several_rows_counts_in_each() {
        let rows: &[&[&str]] = &[
            &["mark", "depth_1", "lift"],
            &["A1", "1.5", "0.3"],
            &["A2", "1.6", "", "x"],
            &["A3", "1.7"],
            &["A4", "1.8"],
        ];
        let filled = table(rows, &[((1, 2), (3, 2))]);
        assert_eq!(row(&filled, 2), ["A2", "1.6", "0.3", "x"]);
        assert_eq!(row(&filled, 3), ["A3", "1.7", "0.3"]);
        assert_eq!(row(&filled, 4), ["A4", "1.8"]);
        assert!(
            filled.notes[0].contains("(C2:C4) count in each"),
            "{:?}",
            filled.notes
        );
        let plain = table(rows, &[]);
        assert_eq!(row(&plain, 2), ["A2", "1.6", "", "x"]);
        assert!(plain.notes.is_empty());
    }

    #[test]
    fn a_reading_over_two_columns_is_one_reading() {
        let rows: &[&[&str]] = &[
            &["Laterals"],
            &["mark", "depth_1", "depth_2"],
            &["A1", "1.5", "1.9"],
        ];
        let found = table(rows, &[((0, 0), (0, 2)), ((2, 1), (2, 2))]);
        assert_eq!(row(&found, 2), ["A1", "1.5"]);
        let notes = ["merged cells (B3:C3) count in their first column only"];
        assert_eq!(found.notes, notes);
    }

    #[test]
    fn a_second_line_of_a_row_is_no_row() {
        let rows: &[&[&str]] = &[
            &["kind", "from", "to", "value", "note"],
            &["distance", "P1", "A1", "12.3", "along the fence,"],
            &["", "", "", "", "chain 2"],
            &["distance", "P2", "A1", "9.1"],
        ];
        let regions: Vec<_> = (0..4).map(|column| ((1, column), (2, column))).collect();
        let found = table(rows, &regions);
        assert!(
            found
                .spoilt(3)
                .is_some_and(|why| why.contains("merged with the row above"))
        );
        assert_eq!(row(&found, 2), ["", "", "", "", "chain 2"]);
        // A row that is merged as a whole stays one.
        let whole = table(&[rows[0], rows[1], &[], rows[3]], &regions);
        assert_eq!((whole.height(), whole.spoilt(3)), (3, None));
        // What follows a name of its own may be shared.
        let runs: &[&[&str]] = &[&["id", "diameter", "wall"], &["A", "0.1", "0.003"], &["B"]];
        let shared = table(runs, &[((1, 1), (2, 1)), ((1, 2), (2, 2))]);
        assert_eq!(row(&shared, 2), ["B", "0.1", "0.003"]);
    }

    #[test]
    fn a_region_is_named_as_sheets_do() {
        for (column, name) in [(0, "A"), (25, "Z"), (26, "AA"), (701, "ZZ"), (702, "AAA")] {
            let region = Region::new((1, column), (6, column));
            assert_eq!(region.name(), format!("{name}2:{name}7"));
        }
        let damaged = Region::new((0, 0), (u32::MAX, u32::MAX));
        assert!(damaged.name().starts_with("A1:"));
    }
}
