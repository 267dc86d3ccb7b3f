//! What a plain delivery says of itself, held against how the field file has it read.

use std::collections::BTreeMap;

use super::fields::Fields;
use super::plain::Wrong;
use crate::crs::Crs;
use crate::units::LengthUnit;

/// What the rows say of themselves in columns of just these names, which our own tables have in every row: each text with the first row
/// of it. A field file that reads them otherwise is the wrong one.
pub(super) struct Said {
    units: BTreeMap<String, u64>,
    systems: BTreeMap<String, u64>,
    datums: BTreeMap<String, u64>,
}

impl Said {
    /// Of rows, each by its number and its cells.
    pub(super) fn of<'a>(
        rows: impl Iterator<Item = (u64, &'a BTreeMap<String, String>)> + Clone,
        fields: &Fields,
    ) -> Self {
        let texts = |name: &str| {
            let mut all = BTreeMap::new();
            for (number, cells) in rows.clone() {
                // A column that the field file takes for something else says nothing of this.
                let own = cells.iter().filter(|(head, text)| {
                    head.eq_ignore_ascii_case(name)
                        && !text.trim().is_empty()
                        && fields.columns().all(|(_, column)| column != *head)
                });
                for (_, text) in own {
                    all.entry(text.trim().to_owned()).or_insert(number);
                }
            }
            all
        };
        Self {
            units: texts("unit"),
            systems: texts("crs"),
            datums: texts("vertical"),
        }
    }

    /// The unit in which plain lengths would be read.
    pub(super) fn unit(&self, taken: LengthUnit) -> Result<(), Wrong> {
        let is_other = |text: &str| LengthUnit::from_word(text).is_some_and(|own| own != taken);
        otherwise("unit", taken.symbol(), first(&self.units, is_other))
    }

    /// The system in which coordinates would be read.
    pub(super) fn crs(&self, taken: &Crs) -> Result<(), Wrong> {
        let is_other = |text: &str| {
            Crs::new(text, LengthUnit::Metre).is_ok_and(|own| own.code() != taken.code())
        };
        otherwise("crs", taken.code(), first(&self.systems, is_other))
    }

    /// The height datum: the field file's, or else the rows' own.
    pub(super) fn vertical(&self, named: Option<&str>) -> Result<Option<String>, Wrong> {
        let own = self.datums.keys().next().map(String::as_str);
        let Some(taken) = named.or(own) else {
            return Ok(None);
        };
        let is_other = |text: &str| !text.eq_ignore_ascii_case(taken);
        otherwise("vertical", taken, first(&self.datums, is_other))?;
        Ok(Some(taken.to_owned()))
    }
}

fn first(said: &BTreeMap<String, u64>, is_other: impl Fn(&str) -> bool) -> Option<(&str, u64)> {
    let others = said.iter().filter(|(text, _)| is_other(text));
    others
        .min_by_key(|(_, number)| **number)
        .map(|(text, number)| (text.as_str(), *number))
}

fn otherwise(name: &str, taken: &str, said: Option<(&str, u64)>) -> Result<(), Wrong> {
    let Some((text, number)) = said else {
        return Ok(());
    };
    Err((
        "columns",
        format!(
            "Its column \"{name}\" says {text} in row {number}, and it would be read in {taken}. Deliver all of it in {taken}, or have `{name}` \
             under [delivery] in the field file changed."
        ),
    ))
}
