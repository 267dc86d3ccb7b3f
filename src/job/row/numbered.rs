//! Cells of numbered columns: `tie_1_ref`, `tie_1`, `tie_2_ref`, …

use super::Row;
use crate::job::schema::{Form, name as checked_name};

impl<'a> Row<'a> {
    /// A cell of a numbered column, as a name.
    pub fn numbered_name(
        &mut self,
        part: usize,
        number: u16,
        place: Option<usize>,
    ) -> Option<&'a str> {
        let (place, cell) = self.filled_at(place?)?;
        let (name, form) = self.numbered_column(part, number)?;
        self.take_at(place, cell, name.into(), form, |cell, _, _| {
            checked_name(cell)
        })
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
        self.take_at(place, cell, name.into(), form, |cell, form, typing| {
            form.value(cell, typing)
        })
    }

    pub(super) fn numbered_column(&self, part: usize, number: u16) -> Option<(String, Form)> {
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
}
