//! Whether a sheet and a record belong together.
//!
//! The sheet's file carries, besides the code on the paper, the hash of its record and what it was asked for. A record
//! that is what its hash says is drawn again in the same way: the same bytes mean the same sheet, to the last line.

use std::fmt;

use super::options::{Dig, Paper, SheetOptions};
use super::{Error, pdf_of};
use crate::record::{self, AsBuilt};

/// First of the words by which a sheet is recognised.
const MARK: &str = "aslaid sheet 1";

/// What became of the comparison.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// The sheet is drawn from this record, byte for byte.
    Same,
    /// The sheet names this record, but its pages are not what this version draws from it.
    Redrawn,
    /// The sheet names another record.
    Other {
        /// Hash on the sheet.
        sheet: String,
        /// Hash of the record.
        record: String,
    },
    /// The record is not what its own hash says: it was changed after it was made.
    Changed {
        /// Hash that it states.
        stated: String,
        /// Hash of what it holds.
        found: String,
    },
    /// The file is not a sheet of this program.
    NoSheet,
    /// The file is not a record, and why.
    NoRecord(String),
}

impl Verdict {
    /// Paper and record belong together without a doubt.
    #[must_use]
    pub fn holds(&self) -> bool {
        *self == Self::Same
    }

    /// There was nothing to compare.
    #[must_use]
    pub fn unread(&self) -> bool {
        matches!(self, Self::NoSheet | Self::NoRecord(_))
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Same => write!(
                f,
                "sheet and record belong together: drawn again from the record, the sheet is the same to the last byte"
            ),
            Self::Redrawn => write!(
                f,
                "the sheet names this record, but it is not what this version draws from it: another version made it, or it was \
                 changed; draw it again with `aslaid build`"
            ),
            Self::Other { sheet, record } => {
                write!(
                    f,
                    "sheet and record do not belong together: the sheet is of record {sheet}, this is record {record}"
                )
            }
            Self::Changed { stated, found } => write!(
                f,
                "the record was changed after it was made: it says that its hash is {stated}, but what it holds has the hash {found}; \
                 take the file as it was delivered"
            ),
            Self::NoRecord(why) => {
                write!(f, "the file is not a record.json of this program: {why}")
            }
            Self::NoSheet => write!(
                f,
                "the file is not a sheet.pdf of this program: it does not name a record"
            ),
        }
    }
}

/// The words that a sheet's file carries. `chosen` are the dig pages, by their place in the record.
pub fn keywords(record: &AsBuilt, paper: Paper, chosen: &[usize]) -> Vec<String> {
    let dig: Vec<String> = chosen.iter().map(usize::to_string).collect();
    vec![
        MARK.to_owned(),
        format!("record {}", record.hash.as_deref().unwrap_or("none")),
        format!("paper {}", paper.word()),
        format!("dig {}", dig.join(" ")),
    ]
}

/// Compares the file of a sheet with that of a record.
pub fn verify(sheet: &[u8], record: &[u8]) -> Result<Verdict, Error> {
    let Some(named) = Named::read(sheet) else {
        return Ok(Verdict::NoSheet);
    };
    let found = record::file_hash(record);
    let record: AsBuilt = match serde_json::from_slice(record) {
        Ok(record) => record,
        Err(why) => return Ok(Verdict::NoRecord(why.to_string())),
    };
    let stated = record.hash.clone().unwrap_or_else(|| "none".to_owned());
    if stated != found {
        return Ok(Verdict::Changed { stated, found });
    }
    if named.hash != found {
        return Ok(Verdict::Other {
            sheet: named.hash,
            record: found,
        });
    }
    let options = SheetOptions {
        size: Some(named.paper),
        dig: Dig::Marked,
    };
    let again = pdf_of(&record, &options, &named.chosen)?;
    Ok(if again == sheet {
        Verdict::Same
    } else {
        Verdict::Redrawn
    })
}

struct Named {
    hash: String,
    paper: Paper,
    chosen: Vec<usize>,
}

impl Named {
    /// The words of the file's information dictionary, which is not compressed. `None` unless there is exactly one set of them.
    fn read(sheet: &[u8]) -> Option<Self> {
        let key = b"/Keywords(";
        let mut places = sheet
            .windows(key.len())
            .enumerate()
            .filter(|(_, window)| window == key)
            .map(|(i, _)| i);
        let (start, None) = (places.next()? + key.len(), places.next()) else {
            return None;
        };
        let text = sheet.get(start..)?.split(|byte| *byte == b')').next()?;
        let text = std::str::from_utf8(text).ok()?;
        let mut words = text.split(", ");
        if words.next()? != MARK {
            return None;
        }
        let hash = words.next()?.strip_prefix("record ")?.to_owned();
        let paper = Paper::from_word(words.next()?.strip_prefix("paper ")?)?;
        let dig = words.next()?.strip_prefix("dig")?;
        let chosen = dig
            .split_whitespace()
            .map(|n| n.parse().ok())
            .collect::<Option<Vec<usize>>>()?;
        Some(Self {
            hash,
            paper,
            chosen,
        })
    }
}
