//! A single point's place, improved from a first guess with the other points held.

use crate::math::similarity::Similarity;
use crate::observe::kinds::{Locus, Plane, State, around};
use crate::observe::{Observation, PointId, ShiftId};

/// A measured value that reaches from known points to the one in question.
pub(super) struct Sight<'a> {
    pub(super) observation: &'a Observation,
    pub(super) locus: Option<Locus>,
}

struct Here<'a, K> {
    point: PointId,
    place: Plane,
    known: &'a K,
    site: Similarity,
}

impl<K: Fn(PointId) -> Option<Plane>> State for Here<'_, K> {
    fn place(&self, point: PointId) -> Plane {
        if point == self.point {
            self.place
        } else {
            (self.known)(point).unwrap_or(self.place)
        }
    }
    fn shift(&self, _: ShiftId) -> Plane {
        (0.0, 0.0)
    }
    fn site(&self) -> Similarity {
        self.site
    }
}

fn observer<K: Fn(PointId) -> Option<Plane>>(
    point: PointId,
    place: Plane,
    known: &K,
    site: Option<Similarity>,
) -> Here<'_, K> {
    let site = site.unwrap_or(Similarity {
        origin: (0.0, 0.0),
        parameters: [1.0, 0.0, 0.0, 0.0],
    });
    Here {
        point,
        place,
        known,
        site,
    }
}

/// |residual|/σ of each value at a place.
pub(super) fn misfits<'s>(
    point: PointId,
    place: Plane,
    sights: &'s [Sight<'_>],
    known: &'s impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> impl Iterator<Item = f64> + 's {
    let here = observer(point, place, known, site);
    sights.iter().map(move |sight| {
        let equation = sight.observation.kind.equation(&here);
        let raw = sight.observation.value - equation.computed;
        (if equation.angular { around(raw) } else { raw }).abs() / sight.observation.sigma
    })
}

/// Steps of Gauss–Newton from `start`; the place and its weighted sum of squares. `None` if it runs away, or comes to a place that is
/// `found` already.
pub(super) fn refine(
    point: PointId,
    start: Plane,
    found: &dyn Fn(Plane) -> bool,
    sights: &[Sight<'_>],
    known: &impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> Option<(Plane, f64)> {
    let mut here = observer(point, start, known, site);
    let mut best: Option<(Plane, f64)> = None;
    for _ in 0..12 {
        if found(here.place) {
            return None;
        }
        let (mut ee, mut en, mut nn, mut be, mut bn, mut squares) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for sight in sights {
            let equation = sight.observation.kind.equation(&here);
            let raw = sight.observation.value - equation.computed;
            let misclosure = if equation.angular { around(raw) } else { raw };
            let weight = sight.observation.sigma.powi(-2);
            squares += misclosure * misclosure * weight;
            for (_, e, n) in equation
                .points
                .iter()
                .flatten()
                .filter(|(p, ..)| *p == point)
            {
                ee += e * e * weight;
                en += e * n * weight;
                nn += n * n * weight;
                be += e * misclosure * weight;
                bn += n * misclosure * weight;
            }
        }
        if best.is_some_and(|(_, least)| squares > least) {
            break;
        }
        best = Some((here.place, squares));
        let determinant = ee * nn - en * en;
        let (e, n) = (
            (nn * be - en * bn) / determinant,
            (ee * bn - en * be) / determinant,
        );
        if determinant <= 1e-9 * ee * nn || !e.is_finite() || !n.is_finite() || e.hypot(n) < 1e-6 {
            break;
        }
        here.place = (here.place.0 + e, here.place.1 + n);
    }
    best.filter(|(_, squares)| squares.is_finite())
}
