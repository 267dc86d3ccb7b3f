//! `control.csv`.

use std::collections::HashMap;
use std::sync::Arc;

use super::{Names, once, usage};
use crate::findings::Code;
use crate::job::model::{Control, Geographic, Use};
use crate::job::row::{Row, Tally, quoted, rows};
use crate::job::schema::{Typing, control};
use crate::job::table::Sheet;

/// The reference points of the job, from all of its tables of them.
pub fn read(
    sheets: &[&Sheet],
    typing: Typing,
    tally: &mut Tally,
    names: &mut Names,
) -> Vec<Control> {
    let mut list = Vec::new();
    let mut seen = HashMap::new();
    let mut each = |row: &mut Row<'_>, _: &mut Tally| {
        let point = row.name(control::POINT).map(|name| names.share(name));
        if point.is_none() && !row.failed() {
            row.lacks(control::POINT, "a reference point has a name");
        }
        let found = read_point(row, point.clone().unwrap_or_else(|| Arc::from("")));
        if found.usage == Use::Yes && point.is_some() {
            once(
                &mut seen,
                Arc::clone(&found.point),
                row,
                control::POINT,
                &format!("point {}", quoted(&found.point)),
            );
        }
        if row.failed() {
            names.lost.extend(point);
        } else {
            list.push(found);
        }
    };
    for sheet in sheets {
        rows(sheet, typing, tally, &mut each);
    }
    list
}

fn read_point(row: &mut Row<'_>, point: Arc<str>) -> Control {
    let grid = pair(
        row,
        control::EASTING,
        control::NORTHING,
        "easting and northing",
    );
    let geographic = pair(
        row,
        control::LATITUDE,
        control::LONGITUDE,
        "latitude and longitude",
    );
    let (height, datum) = (row.number(control::HEIGHT), row.text(control::DATUM));
    if height.is_some() && geographic.is_none() && !row.failed() {
        row.refuse(
            Code::Unreadable,
            &[control::HEIGHT],
            "height is above the ellipsoid and goes with latitude and longitude; an elevation goes into elevation",
        );
    }
    Control {
        point,
        grid,
        geographic: geographic.map(|(latitude, longitude)| Geographic {
            latitude,
            longitude,
            height,
            datum,
            fix: None,
            surveyed: false,
        }),
        site: pair(row, control::X, control::Y, "x and y"),
        elevation: row.number(control::ELEVATION),
        // A sigma of nothing is how people write that a point is exact.
        sigma: row.number(control::SIGMA).filter(|sigma| *sigma > 0.0),
        sigma_v: row.number(control::SIGMA_V).filter(|sigma| *sigma > 0.0),
        description: row.text(control::DESCRIPTION),
        permanent: row.flag(control::PERMANENT).unwrap_or(true),
        usage: usage(row),
        source: row.source(),
        attributes: row.attributes(),
    }
}

/// Two numbers that go together.
pub fn pair(row: &mut Row<'_>, first: usize, second: usize, what: &str) -> Option<(f64, f64)> {
    let (one, other) = (row.has(first), row.has(second));
    let values = (row.number(first), row.number(second));
    if one != other {
        row.refuse(
            Code::Unreadable,
            &[first, second],
            &format!("{what} go together: one of them is blank"),
        );
    }
    match values {
        (Some(first), Some(second)) => Some((first, second)),
        _ => None,
    }
}
