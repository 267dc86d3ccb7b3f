//! The ways in which a row of `marks.csv` gives its place.

use super::control::pair;
use super::{Names, POLE, north};
use crate::findings::Code;
use crate::job::model::{
    BaselineOffset, Fix, Geographic, Placing, Polar, PolarDirection, Side, Tie,
};
use crate::job::row::Row;
use crate::job::schema::{baseline, marks};

/// Everything that the row says of its place.
pub fn read(row: &mut Row<'_>, names: &mut Names) -> Placing {
    Placing {
        baseline: read_baseline(row, names).map(Box::new),
        ties: read_ties(row, names),
        side: row.word(marks::SIDE).map(|word| {
            if word == "left" {
                Side::Left
            } else {
                Side::Right
            }
        }),
        polar: read_polar(row, names).map(Box::new),
        gnss: read_gnss(row).map(Box::new),
        pole: row.small(marks::POLE, POLE),
        window: read_window(row),
        grid: pair(row, marks::EASTING, marks::NORTHING, "easting and northing"),
        sigma: row.number(marks::SIGMA),
        sigma_v: row.number(marks::SIGMA_V),
        elevation: row.number(marks::ELEVATION),
    }
}

fn read_baseline(row: &mut Row<'_>, names: &mut Names) -> Option<BaselineOffset> {
    let cells = [marks::BASELINE, marks::STATION, marks::OFFSET];
    let filled = cells.iter().filter(|column| row.has(**column)).count();
    let line = row.read(marks::BASELINE, |cell| baseline(cell.text));
    let (station, offset) = (row.number(marks::STATION), row.number(marks::OFFSET));
    if filled > 0 && filled < 3 {
        row.refuse(
            Code::Unreadable,
            &cells,
            "baseline, station and offset go together (offset 0 for a mark on the line)",
        );
    }
    let (from, to) = line?;
    Some(BaselineOffset {
        from: names.share(from),
        to: names.share(to),
        station: station?,
        offset: offset?,
    })
}

fn read_ties(row: &mut Row<'_>, names: &mut Names) -> Vec<Tie> {
    let mut ties = Vec::new();
    for (number, places) in row.groups() {
        let place = |part: usize| places.get(part).copied().flatten();
        let (from, length) = (place(marks::TIE_REF), place(marks::TIE));
        let filled = row.filled_places(&[from, length]);
        let from = row.numbered_name(marks::TIE_REF, *number, from);
        let length = row.numbered_number(marks::TIE, *number, length);
        if filled == 1 {
            row.refuse_numbered(
                *number,
                places,
                &format!("tie_{number}_ref and tie_{number} go together: one of them is blank"),
            );
        }
        if let (Some(from), Some(length)) = (from, length) {
            ties.push(Tie {
                from: names.share(from),
                length,
                number: *number,
            });
        }
    }
    ties
}

fn read_polar(row: &mut Row<'_>, names: &mut Names) -> Option<Polar> {
    let measured = [
        marks::BACKSIGHT,
        marks::ANGLE,
        marks::BEARING,
        marks::DISTANCE,
    ];
    let any = measured.iter().any(|column| row.has(*column));
    let setup = row.name(marks::SETUP);
    let backsight = row.name(marks::BACKSIGHT);
    let angle = row.number(marks::ANGLE);
    let bearing = row.number(marks::BEARING);
    let distance = row.number(marks::DISTANCE);
    let north = north(row, marks::BEARING_FROM);
    if row.has(marks::ANGLE) != row.has(marks::BACKSIGHT) {
        row.refuse(
            Code::Unreadable,
            &[marks::BACKSIGHT, marks::ANGLE],
            "angle and backsight go together: one of them is blank",
        );
    }
    if row.has(marks::ANGLE) && row.has(marks::BEARING) {
        let message = "an angle and a bearing in one row: put one of them into measures.csv, so that both are used";
        row.refuse(Code::Unreadable, &[marks::ANGLE, marks::BEARING], message);
    }
    if setup.is_some() && setup == backsight {
        row.refuse(
            Code::Unreadable,
            &[marks::SETUP, marks::BACKSIGHT],
            "setup and backsight are the same point: an angle is turned from another one",
        );
    }
    if any && !row.has(marks::SETUP) {
        row.refuse(
            Code::Unreadable,
            &measured,
            "setup is blank: name the point that was measured from",
        );
    }
    if row.has(marks::SETUP) && !any {
        row.refuse(
            Code::Unreadable,
            &[marks::SETUP],
            "setup without a measurement: give angle and backsight, or bearing, or distance",
        );
    }
    let direction = match (backsight, angle, bearing) {
        (Some(backsight), Some(angle), _) => Some(PolarDirection::Angle {
            backsight: names.share(backsight),
            angle: turn(angle),
        }),
        (_, _, Some(bearing)) => Some(PolarDirection::Bearing {
            north,
            bearing: turn(bearing),
        }),
        _ => None,
    };
    Some(Polar {
        setup: names.share(setup?),
        direction,
        distance,
    })
}

/// An angle between 0 and one turn.
pub fn turn(angle: f64) -> f64 {
    angle.rem_euclid(std::f64::consts::TAU)
}

fn read_gnss(row: &mut Row<'_>) -> Option<Geographic> {
    let place = pair(
        row,
        marks::LATITUDE,
        marks::LONGITUDE,
        "latitude and longitude",
    );
    let (height, datum) = (row.number(marks::HEIGHT), row.text(marks::DATUM));
    let fix = row.word(marks::FIX).map(|word| match word {
        "rtk" | "fixed" => Fix::Rtk,
        "float" => Fix::Float,
        "dgnss" => Fix::Dgnss,
        _ => Fix::Single,
    });
    if place.is_none() && height.is_some() && !row.failed() {
        row.refuse(
            Code::Unreadable,
            &[marks::HEIGHT],
            "height is above the ellipsoid and goes with latitude and longitude; an elevation goes into elevation or ground",
        );
    }
    place.map(|(latitude, longitude)| Geographic {
        latitude,
        longitude,
        height,
        datum,
        fix,
        surveyed: false,
    })
}

fn read_window(row: &mut Row<'_>) -> Option<(f64, f64)> {
    const DAY: f64 = 86_400.0;
    let (from, mut to) = pair(
        row,
        marks::FROM_TIME,
        marks::TO_TIME,
        "from_time and to_time",
    )?;
    if to < from && to + DAY - from < DAY / 2.0 {
        // Times of day across midnight.
        to += DAY;
    }
    if to < from {
        row.refuse(
            Code::Unreadable,
            &[marks::FROM_TIME, marks::TO_TIME],
            "to_time lies before from_time",
        );
        return None;
    }
    Some((from, to))
}
