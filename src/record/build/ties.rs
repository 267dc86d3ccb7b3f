//! Ties for the sheet: the two or three permanent references from which a place is best set out again with a tape.
//!
//! *Best* is the smallest 95 % ellipse of a place set out from them with the job's tape sigmas; none is farther than a tape
//! reaches where nearer ones serve ([`crate::sources::Source::OurChoice`]: 30 m or 100 ft, the tapes that crews carry).
//! Distances are on the ground.

use super::scale::Scale;
use crate::limits::Accuracy;
use crate::math::ellipse::Ellipse;
use crate::math::stats::ELLIPSE_95;
use crate::record::model::{Camera, Mark, Reference, Tie, TieDistance};
use crate::units::{feet_inches, round_to};

/// So many of the nearest references are tried in threes.
const TRIED: usize = 8;

/// What ties are made with.
pub(super) struct Tying<'a> {
    pub(super) accuracy: &'a Accuracy,
    pub(super) scale: Scale,
    /// Grid distance over ground distance.
    pub(super) ground_to_grid: f64,
}

/// A permanent reference, metres on the grid.
struct Station<'a> {
    name: &'a str,
    at: (f64, f64),
}

/// A reference seen from a place: ground distance, and direction to it.
struct Sight<'a> {
    name: &'a str,
    ground: f64,
    unit: (f64, f64),
}

/// Ties of every mark and of every camera observation with a place.
pub(super) fn ties(
    tying: &Tying<'_>,
    marks: &[Mark],
    camera: &[Camera],
    references: &[Reference],
) -> Vec<Tie> {
    let metres = |value: f64| value * tying.scale.crs_unit;
    let mut stations: Vec<Station<'_>> = references
        .iter()
        .filter(|reference| reference.permanent)
        .map(|reference| Station {
            name: &reference.point,
            at: (metres(reference.easting), metres(reference.northing)),
        })
        .collect();
    stations.sort_by(|a, b| a.at.0.total_cmp(&b.at.0));
    let of_marks = marks.iter().filter_map(|mark| {
        let at = (metres(mark.easting), metres(mark.northing));
        let best = tying.best(at, &stations)?;
        Some(tying.tie("mark", &mark.id, &mark.run, &mark.mark, best))
    });
    let of_camera = camera.iter().filter_map(|seen| {
        let at = (metres(seen.easting?), metres(seen.northing?));
        let best = tying.best(at, &stations)?;
        Some(tying.tie("camera", &seen.id, &seen.run, &seen.what, best))
    });
    of_marks.chain(of_camera).collect()
}

impl Tying<'_> {
    /// The references within reach; if fewer than two, the nearest ones; nearest first.
    fn near<'s>(&self, at: (f64, f64), stations: &'s [Station<'s>]) -> Vec<Sight<'s>> {
        let tape = self.scale.unit.tape();
        let reach = tape * self.ground_to_grid;
        let from = stations.partition_point(|station| station.at.0 < at.0 - reach);
        let to = stations.partition_point(|station| station.at.0 <= at.0 + reach);
        let sight = |station: &'s Station<'s>| {
            let (e, n) = (station.at.0 - at.0, station.at.1 - at.1);
            let grid = e.hypot(n);
            // A place on the reference itself has no direction to it.
            (grid > 0.01).then(|| Sight {
                name: station.name,
                ground: grid / self.ground_to_grid,
                unit: (e / grid, n / grid),
            })
        };
        let window = stations.get(from..to).unwrap_or_default();
        let mut sights: Vec<Sight<'s>> = window.iter().filter_map(sight).collect();
        sights.retain(|sight| sight.ground <= tape);
        if sights.len() < 2 {
            sights = stations.iter().filter_map(sight).collect();
        }
        sights.sort_by(|a, b| a.ground.total_cmp(&b.ground).then(a.name.cmp(b.name)));
        sights.truncate(TRIED);
        sights
    }

    /// Semi-major axis of the 95 % ellipse of a place set out from these, metres; infinite where they don't cut.
    fn semi_major(&self, sights: &[&Sight<'_>]) -> f64 {
        let mut normal = [[0.0; 2]; 2];
        for sight in sights {
            let sigma = self
                .accuracy
                .tape
                .hypot(self.accuracy.tape_fraction * sight.ground);
            let (u, w) = (sight.unit, 1.0 / (sigma * sigma));
            normal[0][0] += w * u.0 * u.0;
            normal[0][1] += w * u.0 * u.1;
            normal[1][1] += w * u.1 * u.1;
        }
        let [[a, b], [_, d]] = normal;
        let determinant = a * d - b * b;
        if determinant <= 1e-9 * a * d {
            return f64::INFINITY;
        }
        let inverse = [
            [d / determinant, -b / determinant],
            [-b / determinant, a / determinant],
        ];
        Ellipse::of(inverse).major * ELLIPSE_95
    }

    /// The best three, or two where there are no more; with the ellipse's semi-major axis.
    fn best<'s>(
        &self,
        at: (f64, f64),
        stations: &'s [Station<'s>],
    ) -> Option<(Vec<Sight<'s>>, f64)> {
        let sights = self.near(at, stations);
        let mut best: Option<(f64, Vec<usize>)> = None;
        let mut offer = |chosen: Vec<usize>| {
            let picked: Vec<&Sight<'_>> = chosen.iter().filter_map(|&i| sights.get(i)).collect();
            let axis = self.semi_major(&picked);
            if axis.is_finite() && best.as_ref().is_none_or(|(least, _)| axis < *least) {
                best = Some((axis, chosen));
            }
        };
        for i in 0..sights.len() {
            for j in i + 1..sights.len() {
                offer(vec![i, j]);
                for k in j + 1..sights.len() {
                    offer(vec![i, j, k]);
                }
            }
        }
        let (axis, chosen) = best?;
        let kept = sights
            .into_iter()
            .enumerate()
            .filter(|(i, _)| chosen.contains(i))
            .map(|(_, sight)| sight)
            .collect();
        Some((kept, axis))
    }

    fn tie(
        &self,
        feature: &str,
        id: &str,
        run: &str,
        name: &str,
        (sights, axis): (Vec<Sight<'_>>, f64),
    ) -> Tie {
        Tie {
            feature: feature.to_owned(),
            id: id.to_owned(),
            run: run.to_owned(),
            name: name.to_owned(),
            distances: sights
                .into_iter()
                .map(|sight| TieDistance {
                    reference: sight.name.to_owned(),
                    distance: self.scale.length(sight.ground),
                    text: self.text(sight.ground),
                })
                .collect(),
            semi_major_95: Some(self.scale.length(axis)),
        }
    }

    /// As the sheet prints it: to a centimetre, or a quarter of an inch.
    fn text(&self, ground: f64) -> String {
        if self.scale.unit.is_foot() {
            feet_inches(ground, self.scale.unit.metres(), 4)
        } else {
            format!("{:.2} m", round_to(ground, 0.01))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::LengthUnit;

    fn tying(accuracy: &Accuracy) -> Tying<'_> {
        let scale = Scale {
            unit: LengthUnit::Metre,
            crs_unit: 1.0,
        };
        Tying {
            accuracy,
            scale,
            ground_to_grid: 1.0,
        }
    }

    fn station(name: &str, e: f64, n: f64) -> Station<'_> {
        Station { name, at: (e, n) }
    }

    #[test]
    fn references_that_cut_well_are_taken_and_the_far_one_is_not() {
        let accuracy = Accuracy::default();
        let stations = [
            station("far", -200.0, 0.0),
            station("west", -10.0, 0.0),
            station("beside west", -10.0, 0.5),
            station("north", 0.0, 10.0),
            station("east", 12.0, -12.0),
        ];
        let (sights, axis) = tying(&accuracy).best((0.0, 0.0), &stations).expect("ties");
        let names: Vec<&str> = sights.iter().map(|sight| sight.name).collect();
        assert!(
            names.contains(&"north") && !names.contains(&"far"),
            "{names:?}"
        );
        assert!(axis > 0.02 && axis < 0.06, "{axis}");
    }

    #[test]
    fn two_square_to_each_other_have_the_tape_s_own_bound() {
        let accuracy = Accuracy {
            tape_fraction: 0.0,
            ..Accuracy::default()
        };
        let stations = [station("a", 5.0, 0.0), station("b", 0.0, 5.0)];
        let (_, axis) = tying(&accuracy).best((0.0, 0.0), &stations).expect("ties");
        assert!((axis - ELLIPSE_95 * accuracy.tape).abs() < 1e-9);
    }

    #[test]
    fn references_in_one_line_with_the_place_tie_nothing() {
        let accuracy = Accuracy::default();
        let stations = [station("a", 5.0, 0.0), station("b", -5.0, 0.0)];
        assert!(tying(&accuracy).best((0.0, 0.0), &stations).is_none());
    }
}
