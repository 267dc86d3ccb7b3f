//! The measurements that could still place a mark: a tape from each reference in reach, a GNSS position.

use super::Known;
use crate::job::model::Fix;
use crate::observe::{Kind, PointId, PointRole, ShiftId};
use crate::position::trial::Trial;
use crate::run::Located;

/// Closer than this a tape's direction is as unsure as the two spots, metres (our choice).
const TOO_NEAR: f64 = 0.3;
/// No more than this many references are tried, the nearest first: who stands at a mark chooses among few.
const REFERENCES: usize = 32;

/// A measurement that could still be taken.
pub(super) struct Candidate {
    /// As the subject of a sentence.
    pub what: String,
    /// Its equations.
    pub trials: Vec<Trial>,
}

/// Everything that could still be measured to place the mark, each with its default one-sigma.
pub(super) fn candidates(known: &Known<'_>, mark: &Located) -> Vec<Candidate> {
    let tapes = tapes(known, mark);
    // Who has tapes and never used a receiver has none to send for, unless no tape reaches.
    let receiver = has_rtk(known) || tapes.is_empty();
    let gnss = receiver.then(|| gnss(known, mark)).flatten();
    tapes.into_iter().chain(gnss).collect()
}

fn tapes(known: &Known<'_>, mark: &Located) -> Vec<Candidate> {
    let (k, accuracy) = (known.inputs.ground_to_grid(), &known.job().accuracy);
    let (taped, reach) = (taped(known, mark.point), known.job().grid.unit.tape());
    let mut near: Vec<(f64, PointId)> = Vec::new();
    for (index, point) in known.observations().points.iter().enumerate() {
        let id = PointId(index as u32);
        if matches!(point.role, PointRole::Mark(_)) || taped.contains(&id) {
            continue;
        }
        let Some((e, n)) = known.adjusted.coordinates(id) else {
            continue;
        };
        let length = f64::hypot(e - mark.paint.e, n - mark.paint.n) / k;
        if (TOO_NEAR..=reach).contains(&length) {
            near.push((length, id));
        }
    }
    near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    near.truncate(REFERENCES);
    let candidate = |(length, from): (f64, PointId)| Candidate {
        what: format!(
            "A tape from {} to {}",
            known.point_name(from),
            known.name(mark)
        ),
        trials: vec![Trial {
            kind: Kind::Distance {
                from,
                to: mark.point,
            },
            sigma: k * f64::hypot(accuracy.tape, accuracy.tape_fraction * length),
        }],
    };
    near.into_iter().map(candidate).collect()
}

/// Points from which the point is taped already: once more from there repeats the same mistakes.
fn taped(known: &Known<'_>, point: PointId) -> Vec<PointId> {
    let other = |kind: Kind| match kind {
        Kind::Distance { from, to } if to == point => Some(from),
        Kind::Distance { from, to } if from == point => Some(to),
        _ => None,
    };
    let plane = known.observations().plane.iter();
    plane.filter_map(|row| other(row.kind)).collect()
}

fn has_rtk(known: &Known<'_>) -> bool {
    known.job().marks.iter().any(|row| {
        let fix = row.placing.gnss.as_ref().and_then(|gnss| gnss.fix);
        fix == Some(Fix::Rtk) || row.placing.window.is_some()
    })
}

/// A GNSS position, unless the mark has one as good.
fn gnss(known: &Known<'_>, mark: &Located) -> Option<Candidate> {
    let accuracy = &known.job().accuracy;
    let at = mark.point;
    let has = known.observations().plane.iter().any(|row| {
        let good = row.sigma <= 2.0 * accuracy.rtk;
        good && matches!(row.kind, Kind::East { at: of, .. } if of == at)
    });
    if has || known.job().grid.crs == "local" {
        return None;
    }
    let service = |name: &str| name == "correction service";
    let names = &known.observations().shift_names;
    let shift = names.iter().position(|name| service(name));
    // The first position of its kind has the whole of its service's shift to itself.
    let alone = if shift.is_some() {
        0.0
    } else {
        accuracy.correction_service
    };
    let (shift, sigma) = (
        shift.map(|index| ShiftId(index as u16)),
        f64::hypot(accuracy.rtk, alone),
    );
    let kinds = [Kind::East { at, shift }, Kind::North { at, shift }];
    Some(Candidate {
        what: format!("A GNSS position of {} (fix rtk)", known.name(mark)),
        trials: kinds.map(|kind| Trial { kind, sigma }).to_vec(),
    })
}
