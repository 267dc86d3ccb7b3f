//! Places that lengths hardly hold: how far they can slide.
//!
//! Lengths from points nearly in line with a place say where it lies along that line. Across it they say little, and not in proportion:
//! sliding by t changes a length r by t²/2r. By straight equations the place is free on the line and too well known a little beside it. So the
//! sum of squares is followed as it is: along its valley to both sides, as far as it grows by what a 95 % ellipse allows (the likelihood
//! ratio, which asks for no straight equations). Simulated marks 0.2 to 3 m beside a wall of three corners are then within their
//! ellipses in at least 94 of 100 cases; by straight equations it was 79 to 90 at 0.2 m, and two of five had no place at all.
//!
//! It is the same with a poor fix beside a good tape: the place lies on an arc about the tape's other end, not on its tangent.

use std::collections::BTreeMap;

use super::construct::TELLS_APART;
use super::refine::{Sight, misfits, once, share};
use super::{Adjusted, Block, Places, Touch};
use crate::math::block;
use crate::math::similarity::Similarity;
use crate::math::stats::ELLIPSE_95;
use crate::observe::kinds::{Plane, State, unit};
use crate::observe::{Kind, Observation, Observations, PointId, ShiftId, SideHint};

/// What the sum of squares may grow by within a 95 % ellipse.
const MOST: f64 = ELLIPSE_95 * ELLIPSE_95;
/// An ellipse that reaches less than this share of the shortest length feels no bend: a hundredth of itself at most. Our choice.
const BENT: f64 = 0.02;
/// A variance that comes out greater by less than this part feels no bend: our choice.
const SLIGHT: f64 = 0.1;
/// Added to an axis only beyond this, metres: less is nothing beside any tape. Our choice.
const LEAST: f64 = 0.001;

/// A valley in the sum of squares, followed from a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Valley {
    /// Grid azimuth of its axis, radians.
    pub(super) along: f64,
    /// One end, metres along the axis from the place: mostly below zero.
    pub(super) low: f64,
    /// The other end.
    pub(super) high: f64,
    /// The bottom half way between the ends.
    pub(super) middle: Plane,
    /// The bottom at both ends.
    ends: [Plane; 2],
    /// How far the bottom leaves the axis at most, metres.
    off: f64,
}

/// The sum of squares about a place, by distances along an axis and off it.
struct About<'a> {
    squares: &'a dyn Fn(Plane) -> f64,
    from: Plane,
    axis: Plane,
    /// Width over which the bottom is looked for.
    width: f64,
}

/// A point of the bottom: along the axis, off it, the sum of squares.
#[derive(Clone, Copy)]
struct Bottom {
    t: f64,
    s: f64,
    squares: f64,
}

impl About<'_> {
    fn place(&self, t: f64, s: f64) -> Plane {
        let (e, n) = self.axis;
        (self.from.0 + t * e + s * n, self.from.1 + t * n - s * e)
    }

    /// The bottom so far along the axis, from a guess of how far off it is.
    fn bottom(&self, t: f64, guess: f64) -> Bottom {
        let squares = |s: f64| (self.squares)(self.place(t, s));
        let (mut s, mut here) = (guess, squares(guess));
        for _ in 0..8 {
            let (before, after) = (squares(s - self.width), squares(s + self.width));
            let bend = before - 2.0 * here + after;
            let step = 0.5 * self.width * (before - after) / bend;
            if !(bend > 0.0 && step.is_finite()) {
                break;
            }
            let there = squares(s + step);
            if there >= here {
                break;
            }
            (s, here) = (s + step, there);
            if step.abs() < 0.01 * self.width {
                break;
            }
        }
        Bottom {
            t,
            s,
            squares: here,
        }
    }

    /// Where the bottom comes to a height between two of its points, of which the first is below it.
    fn rim(&self, mut below: Bottom, mut above: Bottom, height: f64) -> Bottom {
        for _ in 0..40 {
            let half = self.bottom(f64::midpoint(below.t, above.t), below.s);
            if half.squares > height {
                above = half;
            } else {
                below = half;
            }
        }
        below
    }
}

/// Follows the valley about a place with the given covariance, as far as the shortest length; `None` if it goes on beyond.
pub(super) fn follow(
    squares: &dyn Fn(Plane) -> f64,
    from: Plane,
    doubt: Block,
    shortest: f64,
) -> Option<Valley> {
    // A length of nothing has no bend to follow.
    if !(shortest > LEAST && shortest.is_finite()) {
        return None;
    }
    let (major, minor, along) = block::axes(doubt);
    let about = About {
        squares,
        from,
        axis: unit(along),
        width: minor.clamp(0.01 * LEAST, 0.1 * shortest),
    };
    let step = (0.125 * ELLIPSE_95 * major).clamp(0.1 * BENT * shortest, BENT * shortest);
    let mut bottoms = vec![about.bottom(0.0, 0.0)];
    let mut least = bottoms[0].squares;
    for way in [-step, step] {
        let mut last = bottoms.iter().copied().find(|bottom| bottom.t == 0.0)?;
        while last.squares - least <= MOST {
            if !last.squares.is_finite() || last.t.abs() > shortest {
                return None;
            }
            last = about.bottom(last.t + way, last.s);
            least = least.min(last.squares);
            bottoms.push(last);
        }
    }
    bottoms.sort_by(|a, b| a.t.total_cmp(&b.t));
    let best =
        (0..bottoms.len()).min_by(|a, b| bottoms[*a].squares.total_cmp(&bottoms[*b].squares))?;
    let (before, after) = bottoms.split_at(best);
    let height = least + MOST;
    let out = |bottom: &&Bottom| bottom.squares > height;
    let rim = |inner: Bottom, outer: Option<&Bottom>| Some(about.rim(inner, *outer?, height));
    let beyond = after.iter().position(|bottom| out(&bottom))?;
    let high = rim(*after.get(beyond.checked_sub(1)?)?, after.get(beyond))?;
    let first = before.iter().rposition(|bottom| out(&bottom))?;
    let low = rim(*bottoms.get(first + 1)?, before.get(first))?;
    let middle = about.bottom(f64::midpoint(low.t, high.t), 0.5 * (low.s + high.s));
    Some(Valley {
        along,
        low: low.t,
        high: high.t,
        middle: about.place(middle.t, middle.s),
        ends: [about.place(low.t, low.s), about.place(high.t, high.s)],
        off: low.s.abs().max(high.s.abs()).max(middle.s.abs()),
    })
}

impl Valley {
    /// The touch that holds a point in it.
    pub(super) fn touch(&self, at: PointId, values: usize) -> Touch {
        Touch {
            at,
            place: self.middle,
            along: self.along,
            sigma: self.half() / ELLIPSE_95,
            across: 0.0,
            misfit: 0.0,
            gap: 0.0,
            values,
        }
    }

    /// Half its length.
    pub(super) fn half(&self) -> f64 {
        0.5 * (self.high - self.low)
    }

    /// Whether a place lies in it, seen along its axis from where it was followed.
    pub(super) fn holds(&self, from: Plane, place: Plane) -> bool {
        let (e, n) = unit(self.along);
        let t = (place.0 - from.0) * e + (place.1 - from.1) * n;
        (self.low..=self.high).contains(&t)
    }

    /// Leaves what lies on the side of a line that the field book says, and what is beyond the line by no more than its ends are known to.
    pub(super) fn cut(&mut self, [(p, a), (q, b)]: [(Plane, Block); 2], right: bool) {
        let margin = ELLIPSE_95 * block::axes(a).0.max(block::axes(b).0);
        let beyond = margin * (q.0 - p.0).hypot(q.1 - p.1);
        let side = |(e, n): Plane| {
            let side = (e - p.0) * (q.1 - p.1) - (n - p.1) * (q.0 - p.0);
            beyond + if right { side } else { -side }
        };
        let [low, high] = self.ends.map(side);
        if (low > 0.0) == (high > 0.0) {
            return;
        }
        let part = low / (low - high);
        let between = |a: f64, b: f64| a + part * (b - a);
        let [a, b] = self.ends;
        let line = (between(a.0, b.0), between(a.1, b.1));
        let edge = between(self.low, self.high);
        if low > 0.0 {
            (self.high, self.ends[1]) = (edge, line);
        } else {
            (self.low, self.ends[0]) = (edge, line);
        }
        let [a, b] = self.ends;
        self.middle = (f64::midpoint(a.0, b.0), f64::midpoint(a.1, b.1));
    }
}

/// A touch of all that holds a point which straight equations leave free, or bring to no end, from about a place of it; all others held where
/// they are. `None` where its lengths hold it no better.
pub(super) fn touch(
    observations: &Observations,
    rows: &[u32],
    (point, place): (PointId, Plane),
    places: &[Option<Plane>],
    site: Option<Similarity>,
) -> Option<Touch> {
    let exact = |_| block::ZERO;
    let named = |observation: &&Observation| {
        let mut points = observation.kind.points().into_iter().flatten();
        points.any(|other| other == point)
    };
    let all = rows.iter().map(|i| &observations.plane[*i as usize]);
    let sights: Vec<Sight<'_>> = once(
        all.filter(named)
            .map(|observation| Sight::new(observation, None, point, exact))
            .collect(),
    );
    let known = |other: PointId| places.get(other.0 as usize).copied().flatten();
    let lengths = || sights.iter().filter_map(Sight::length);
    if lengths().count() < 2 || sights.iter().any(Sight::is_angular) {
        return None;
    }
    let shortest = lengths().fold(f64::INFINITY, f64::min);
    let squares = |at: Plane| {
        let misfits = misfits(point, at, &sights, &known, site);
        misfits.map(|misfit| misfit * misfit).sum::<f64>()
    };
    let holds = sights
        .iter()
        .map(|sight| sight.hold_at(point, place, &known, site));
    let held = holds.fold(block::ZERO, block::add);
    let (strong, weak, azimuth) = block::axes(held);
    // The weakest direction is square to the strongest; its width does not matter, but that it is wide.
    let square = unit(azimuth).into();
    let axis = unit(azimuth + std::f64::consts::FRAC_PI_2).into();
    let wide = block::add(
        block::scale(
            block::outer(axis, axis),
            weak.powi(-2).min(shortest * shortest),
        ),
        block::scale(block::outer(square, square), strong.powi(-2)),
    );
    let valley = follow(&squares, place, wide, shortest)?;
    // What gross errors leave is no valley to lie in.
    let sound = squares(valley.middle) <= TELLS_APART * sights.len() as f64;
    sound.then(|| valley.touch(point, sights.len()))
}

/// Whether an ellipse reaches so far that lengths feel the bend.
pub(super) fn bent(doubt: Block, shortest: f64) -> bool {
    ELLIPSE_95 * block::axes(doubt).0 > BENT * shortest
}

/// What comes on top of the covariance of each point that lengths hold, so that its ellipse holds its valley.
pub(super) fn valleys(
    observations: &Observations,
    adjusted: &Adjusted,
) -> BTreeMap<PointId, Block> {
    let mut rows: BTreeMap<PointId, Vec<usize>> = BTreeMap::new();
    for point in by_lengths(observations, adjusted) {
        rows.insert(point, Vec::new());
    }
    if rows.is_empty() {
        return BTreeMap::new();
    }
    for (i, observation) in observations.plane.iter().enumerate() {
        for point in observation.kind.points().into_iter().flatten() {
            if let Some(rows) = rows.get_mut(&point) {
                rows.push(i);
            }
        }
    }
    let mut sides: BTreeMap<PointId, Vec<SideHint>> = BTreeMap::new();
    for hint in &observations.sides {
        sides.entry(hint.at).or_default().push(*hint);
    }
    let further = |(point, rows): (PointId, Vec<usize>)| {
        let sides = sides.get(&point).map_or(&[][..], Vec::as_slice);
        Some((
            point,
            of_point(observations, adjusted, point, (&rows, sides))?,
        ))
    };
    rows.into_iter().filter_map(further).collect()
}

/// A point somewhere, all else where it was adjusted to.
struct At<'a> {
    adjusted: &'a Adjusted,
    point: PointId,
    place: Plane,
}

impl State for At<'_> {
    fn place(&self, point: PointId) -> Plane {
        if point == self.point {
            return self.place;
        }
        self.adjusted.coordinates(point).unwrap_or(self.place)
    }

    fn shift(&self, shift: ShiftId) -> Plane {
        let shifts = &self.adjusted.shifts;
        shifts
            .get(usize::from(shift.0))
            .copied()
            .unwrap_or_default()
    }

    fn site(&self) -> Similarity {
        let site = self.adjusted.site.as_ref().map(|site| site.similarity);
        site.unwrap_or(Similarity {
            origin: (0.0, 0.0),
            parameters: [1.0, 0.0, 0.0, 0.0],
        })
    }
}

/// Points with a length at least and no directions, whose ellipses reach far.
fn by_lengths(observations: &Observations, adjusted: &Adjusted) -> Vec<PointId> {
    let mut lengths = vec![(0_u32, f64::INFINITY); observations.points.len()];
    for observation in &observations.plane {
        for point in observation.kind.points().into_iter().flatten() {
            let Some((count, shortest)) = lengths.get_mut(point.0 as usize) else {
                continue;
            };
            match observation.kind {
                Kind::Distance { .. } => {
                    *count = count.saturating_add(1);
                    *shortest = shortest.min(observation.value);
                }
                // Those have their arcs already.
                Kind::Angle { .. } | Kind::Azimuth { .. } => *shortest = f64::NAN,
                _ => {}
            }
        }
    }
    let far = |(at, (count, shortest)): (usize, (u32, f64))| {
        let point = PointId(at as u32);
        let named = count > 0 && shortest.is_finite() && shortest > 0.0;
        let free = named && adjusted.is_free(point);
        (free && bent(adjusted.place(point)?.covariance, shortest)).then_some(point)
    };
    lengths.into_iter().enumerate().filter_map(far).collect()
}

fn of_point(
    observations: &Observations,
    adjusted: &Adjusted,
    point: PointId,
    (rows, sides): (&[usize], &[SideHint]),
) -> Option<Block> {
    let place = adjusted.place(point)?;
    let known = |other: PointId| adjusted.coordinates(other);
    let doubt = |other: PointId| adjusted.covariance(other, other);
    let used = |i: &&usize| {
        let residual = adjusted.residuals.get(**i);
        residual.is_some_and(|residual| residual.residual.is_some())
    };
    let sights = rows.iter().filter(used).map(|i| {
        let observation = &observations.plane[*i];
        Sight::new(observation, None, point, doubt)
    });
    let sights = share(once(sights.collect()));
    let squares = |place: Plane| {
        let at = At {
            adjusted,
            point,
            place,
        };
        sights.iter().map(|sight| sight.square(&at)).sum::<f64>()
    };
    let lengths = sights.iter().filter_map(Sight::length);
    let shortest = lengths.fold(f64::INFINITY, f64::min);
    let mut valley = follow(&squares, (place.e, place.n), place.covariance, shortest)?;
    for hint in sides {
        if let (Some(p), Some(q)) = (known(hint.from), known(hint.to)) {
            valley.cut([(p, doubt(hint.from)), (q, doubt(hint.to))], hint.right);
        }
    }
    let axis: [f64; 2] = unit(valley.along).into();
    let reach = valley.high.max(-valley.low) / ELLIPSE_95;
    let straight = if adjusted.touches.iter().any(|touch| touch.at == point) {
        block::along(place.covariance, axis)
    } else {
        // The same lengths from the same points, taken for straight: what all points share is in neither.
        let at = At {
            adjusted,
            point,
            place: (place.e, place.n),
        };
        let holds = sights.iter().map(|sight| sight.hold(&at, point));
        let square = [axis[1], -axis[0]];
        let held = holds.fold(block::ZERO, block::add);
        let own = block::along(held, square) / block::determinant(held);
        if own.is_finite() && own > 0.0 {
            own
        } else {
            f64::INFINITY
        }
    };
    let along = reach * reach - straight;
    let along = if along > SLIGHT * straight {
        along
    } else {
        0.0
    };
    let off = valley.off / ELLIPSE_95;
    let square = [axis[1], -axis[0]];
    let further = block::add(
        block::scale(block::outer(axis, axis), along),
        block::scale(block::outer(square, square), off * off),
    );
    (along.sqrt() > LEAST || off > LEAST).then_some(further)
}
