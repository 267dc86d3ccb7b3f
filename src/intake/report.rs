//! The report of an intake: a row a delivery.

use std::io::{self, Write};

use serde::Serialize;

use super::mains::Tap;
use super::read::{Delivery, Refusal};
use crate::export::csv::guard;
use crate::units::{LengthUnit, fixed};

/// What became of a delivery.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Put on file.
    Accepted,
    /// The very same was on file.
    Unchanged,
    /// Not judged: a higher revision of its job is on file, or `build` has withdrawn it.
    Superseded,
    /// Not taken.
    Refused,
    /// Good, and could not be put on file.
    Failed,
}

impl Status {
    /// The word in the report.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Unchanged => "unchanged",
            Self::Superseded => "superseded",
            Self::Refused => "refused",
            Self::Failed => "failed",
        }
    }
}

/// Why a delivery was not taken, and how to mend it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reason {
    /// Code of the check.
    pub code: &'static str,
    /// What is wrong and what to do.
    pub message: String,
}

impl Reason {
    /// A reason whose message ends as a sentence does.
    #[must_use]
    pub fn new(code: &'static str, mut message: String) -> Self {
        if !message.ends_with(['.', '?']) {
            message.push('.');
        }
        Self { code, message }
    }
}

/// One delivery; metres.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// File, and supplier's job in it where a file has several.
    pub source: String,
    /// Supplier.
    pub supplier: Option<String>,
    /// Job.
    pub job: Option<String>,
    /// What became of it.
    pub status: Status,
    /// Why not, of what is not on file.
    pub reasons: Vec<Reason>,
    /// Where its laterals meet mains.
    pub taps: Vec<Tap>,
}

impl Row {
    /// A delivery that was judged.
    #[must_use]
    pub fn of(delivery: &Delivery, status: Status, reasons: Vec<Reason>, taps: Vec<Tap>) -> Self {
        let job = &delivery.record.job;
        Self {
            source: delivery.source.clone(),
            supplier: job.supplier.clone(),
            job: Some(job.id.clone()),
            status,
            reasons,
            taps,
        }
    }

    /// One that could not be read, or was withdrawn.
    #[must_use]
    pub fn unread(refusal: Refusal) -> Self {
        let reasons = vec![Reason::new(refusal.code, refusal.message)];
        Self {
            source: refusal.source,
            supplier: refusal.supplier,
            job: refusal.job,
            status: refusal.status,
            reasons,
            taps: Vec::new(),
        }
    }
}

/// Columns of the report.
const COLUMNS: [&str; 13] = [
    "delivery",
    "supplier",
    "job",
    "status",
    "reasons",
    "message",
    "run",
    "main",
    "tap_station",
    "from",
    "distance",
    "above_main",
    "above_main_95",
];

/// Writes the report as CSV; several reasons, and several laterals, are separated by semicolons. Lengths in `unit`, rounded to 0.1 mm.
pub fn write(rows: &[Row], unit: LengthUnit, out: &mut dyn Write) -> io::Result<()> {
    let mut table = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(out);
    let heads = COLUMNS.map(|name| match name {
        "tap_station" | "distance" | "above_main" | "above_main_95" => format!("{name} ({unit})"),
        name => name.to_owned(),
    });
    table.write_record(heads)?;
    let length = |metres: Option<f64>| {
        metres
            .map(|metres| fixed(unit.of(metres), 4))
            .unwrap_or_default()
    };
    for row in rows {
        let taps = |cell: &dyn Fn(&Tap) -> String| {
            row.taps.iter().map(cell).collect::<Vec<_>>().join("; ")
        };
        let reasons =
            |cell: &dyn Fn(&Reason) -> String| row.reasons.iter().map(cell).collect::<Vec<_>>();
        let cells = [
            row.source.clone(),
            row.supplier.clone().unwrap_or_default(),
            row.job.clone().unwrap_or_default(),
            row.status.word().to_owned(),
            reasons(&|reason| reason.code.to_owned()).join("; "),
            reasons(&|reason| reason.message.clone()).join(" "),
            taps(&|tap| tap.run.clone()),
            taps(&|tap| {
                tap.or
                    .as_ref()
                    .map_or_else(|| tap.main.clone(), |or| format!("{} or {or}", tap.main))
            }),
            taps(&|tap| length(Some(tap.station))),
            taps(&|tap| tap.from.clone().unwrap_or_default()),
            taps(&|tap| length(Some(tap.distance))),
            taps(&|tap| length(tap.above)),
            taps(&|tap| length(tap.above_95)),
        ];
        // Numbers keep their minus sign; texts can't become formulas.
        let guarded = cells.iter().enumerate().map(|(index, cell)| {
            if index < 8 || index == 9 {
                guard(cell)
            } else {
                cell.as_str().into()
            }
        });
        table.write_record(guarded.map(std::borrow::Cow::into_owned))?;
    }
    table.flush()
}
