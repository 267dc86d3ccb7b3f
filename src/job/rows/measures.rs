//! `measures.csv`.

use super::placing::turn;
use super::{Names, north, usage};
use crate::findings::Code;
use crate::job::model::{Measure, MeasureKind};
use crate::job::row::{Row, Tally, rows};
use crate::job::schema::{Typing, measures};
use crate::job::table::Sheet;

/// The further measurements of the job.
pub fn read(sheet: &Sheet, typing: Typing, tally: &mut Tally, names: &mut Names) -> Vec<Measure> {
    let mut list = Vec::new();
    rows(sheet, typing, tally, |row, tally| {
        let found = read_measure(row, names);
        row.keep_rest(&[], tally);
        if !row.failed() {
            list.extend(found);
        }
    });
    list
}

fn read_measure(row: &mut Row<'_>, names: &mut Names) -> Option<Measure> {
    let word = row.word(measures::KIND);
    if !row.has(measures::KIND) {
        row.lacks(measures::KIND, "a measurement has a kind");
    }
    let at = row.name(measures::AT);
    let (from, to) = (row.name(measures::FROM), row.name(measures::TO));
    for column in [measures::FROM, measures::TO, measures::VALUE]
        .into_iter()
        .filter(|column| !row.has(*column))
        .collect::<Vec<_>>()
    {
        row.lacks(column, "a measurement needs it");
    }
    let north = north(row, measures::BEARING_FROM);
    let note = row.text(measures::NOTE);
    let usage = usage(row);
    let word = word?;
    let form = measures::value_form(word);
    let value = row.number_as(measures::VALUE, form);
    let sigma = row.number_as(measures::SIGMA, measures::sigma_form(word));
    if sigma.is_some_and(|sigma| sigma <= 0.0) {
        row.refuse(
            Code::Unreadable,
            &[measures::SIGMA],
            "a one-sigma is greater than 0",
        );
    }
    check_at(row, word == "angle", at.is_some());
    let (from, to) = (from?, to?);
    if from == to || at == Some(from) || at == Some(to) {
        let columns = [measures::AT, measures::FROM, measures::TO];
        row.refuse(
            Code::Unreadable,
            &columns,
            "a measurement joins different points",
        );
    }
    let (kind, value) = match word {
        "distance" => (MeasureKind::Distance, value?),
        "angle" => (
            MeasureKind::Angle {
                at: names.share(at?),
            },
            turn(value?),
        ),
        "bearing" => (MeasureKind::Bearing { north }, turn(value?)),
        _ => (MeasureKind::HeightDifference, value?),
    };
    Some(Measure {
        kind,
        from: names.share(from),
        to: names.share(to),
        value,
        sigma,
        note,
        usage,
        source: row.source(),
    })
}

/// An angle, and only an angle, is measured at a point.
fn check_at(row: &mut Row<'_>, angle: bool, at: bool) {
    if angle && !at {
        row.lacks(measures::AT, "an angle has a point that it was measured at");
    }
    if at && !angle {
        let message =
            "at belongs to an angle; a distance, bearing or height_difference has from and to";
        row.refuse(Code::Unreadable, &[measures::AT], message);
    }
}
