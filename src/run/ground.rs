//! Ground elevations along a run; between marks that have one, interpolated and flagged.

use super::Inputs;
use super::order::Entry;
use crate::height::{GroundFrom, Grounds};
use crate::observe::PointId;

/// Where a mark's ground elevation came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GroundOrigin {
    /// Known at the mark.
    Known(GroundFrom),
    /// Interpolated along the run.
    Interpolated,
}

impl GroundOrigin {
    /// The word of the record.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Known(GroundFrom::Given) => "ground",
            Self::Known(GroundFrom::Levelled) => "levelled",
            Self::Known(GroundFrom::Elevation) => "elevation",
            Self::Known(GroundFrom::Gnss) => "gnss",
            Self::Interpolated => "interpolated",
        }
    }
}

/// A ground elevation as a weighted mean of known ones; metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundAt {
    /// Elevation.
    pub z: f64,
    /// The known grounds that it rests on, and their weights.
    pub terms: [(PointId, f64); 2],
    /// Variance beyond theirs: how ground departs from a straight line.
    pub own: f64,
    /// Origin.
    pub from: GroundOrigin,
}

impl GroundAt {
    /// Covariance of what two elevations rest on.
    #[must_use]
    pub fn covariance(&self, other: &Self, grounds: &dyn Grounds) -> f64 {
        let mut sum = 0.0;
        for (a, wa) in self.terms.iter().filter(|(_, weight)| *weight != 0.0) {
            for (b, wb) in other.terms.iter().filter(|(_, weight)| *weight != 0.0) {
                let c = if a == b {
                    grounds.ground(*a).map_or(0.0, |ground| ground.variance)
                } else {
                    grounds.covariance(*a, *b)
                };
                sum += wa * wb * c;
            }
        }
        sum
    }

    /// Variance with everything in it.
    #[must_use]
    pub fn variance(&self, grounds: &dyn Grounds) -> f64 {
        self.covariance(self, grounds).max(0.0) + self.own
    }
}

/// How ground departs from the straight line between known elevations: one-sigma, part of the distance to the nearer one (our
/// choice: 2 cm a metre, a lawn or a kerb; no source).
const ROUGHNESS: f64 = 0.02;

/// Grounds at the marks of a run, in the direction of flow; `stations` along it.
pub(super) fn grounds(
    inputs: Inputs<'_>,
    entries: &[Entry<'_>],
    stations: &[f64],
) -> Vec<Option<GroundAt>> {
    let mut found: Vec<Option<GroundAt>> =
        entries.iter().map(|entry| known(inputs, entry)).collect();
    let known: Vec<usize> = (0..found.len())
        .filter(|&index| found.get(index).is_some_and(Option::is_some))
        .collect();
    for pair in known.windows(2) {
        let &[a, b] = pair else { continue };
        let (Some(Some(before)), Some(Some(after))) =
            (found.get(a).copied(), found.get(b).copied())
        else {
            continue;
        };
        for index in a + 1..b {
            let between = interpolated(&before, &after, stations, [a, index, b]);
            if let Some(slot) = found.get_mut(index) {
                *slot = between;
            }
        }
    }
    found
}

fn known(inputs: Inputs<'_>, entry: &Entry<'_>) -> Option<GroundAt> {
    // An exposure's own ground goes with its measured depth.
    let points = [entry.seen.filter(|_| entry.exposed.is_some()), entry.paint];
    let (id, ground) = points
        .into_iter()
        .flatten()
        .find_map(|(id, _)| Some((id, inputs.grounds.ground(id)?)))?;
    Some(GroundAt {
        z: ground.z,
        terms: [(id, 1.0), (id, 0.0)],
        own: 0.0,
        from: GroundOrigin::Known(ground.from),
    })
}

fn interpolated(
    before: &GroundAt,
    after: &GroundAt,
    stations: &[f64],
    at: [usize; 3],
) -> Option<GroundAt> {
    let [Some(&a), Some(&here), Some(&b)] = at.map(|index| stations.get(index)) else {
        return None;
    };
    let u = if b > a {
        ((here - a) / (b - a)).clamp(0.0, 1.0)
    } else {
        0.5
    };
    let off = ROUGHNESS * (here - a).min(b - here).max(0.0);
    Some(GroundAt {
        z: before.z + u * (after.z - before.z),
        terms: [(before.terms[0].0, 1.0 - u), (after.terms[0].0, u)],
        own: off * off,
        from: GroundOrigin::Interpolated,
    })
}
