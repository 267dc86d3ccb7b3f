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
use std::f64::consts::FRAC_PI_2;

use super::construct::{Incidence, TELLS_APART, sides};
use super::refine::{Sight, held, once, share, shortest, squares};
use super::{Adjusted, Block, Places, Touch};
use crate::math::block;
use crate::math::similarity::Similarity;
use crate::math::stats::ELLIPSE_95;
use crate::observe::kinds::{Plane, unit};
use crate::observe::{Kind, Observation, Observations, PointId, SideHint};

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

    /// Leaves what lies on the sides that the field book says; `known` gives a point's place and covariance.
    pub(super) fn cut<'h>(
        &mut self,
        sides: impl Iterator<Item = &'h SideHint>,
        known: impl Fn(PointId) -> Option<(Plane, Block)>,
    ) {
        for hint in sides {
            if let (Some(from), Some(to)) = (known(hint.from), known(hint.to)) {
                self.cut_by([from, to], hint.right);
            }
        }
    }

    /// Leaves what lies on one side of a line, and what is beyond the line by no more than its ends are known to.
    fn cut_by(&mut self, [(p, a), (q, b)]: [(Plane, Block); 2], right: bool) {
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

/// A touch of all values that hold a point which straight equations leave free, or bring to no end, from about a place of it; all others held
/// where they are. `None` where its lengths hold it no better.
pub(super) fn touch<'o>(
    values: impl Iterator<Item = &'o Observation>,
    (point, place): (PointId, Plane),
    places: &[Option<Plane>],
    site: Option<Similarity>,
) -> Option<Touch> {
    let exact = |_| block::ZERO;
    let sights = values.map(|value| Sight::new(value, None, point, exact));
    let sights = once(sights.collect());
    let known = |other: PointId| places.get(other.0 as usize).copied().flatten();
    let shortest = shortest(&sights, 2)?;
    let squares = |at: Plane| squares((point, at), &sights, &known, (site, &[]));
    let (strong, weak, azimuth) = block::axes(held((point, place), &sights, &known, site));
    // The weakest direction is square to the strongest; its width does not matter, but that it is wide.
    let wide = block::lying(
        azimuth + FRAC_PI_2,
        weak.recip().min(shortest),
        strong.recip(),
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
    let far = by_lengths(observations, adjusted);
    if far.is_empty() {
        return BTreeMap::new();
    }
    let rows: Vec<u32> = (0..observations.plane.len() as u32)
        .filter(|i| adjusted.residuals[*i as usize].residual.is_some())
        .collect();
    let (incidence, sides) = (Incidence::new(observations, &rows), sides(observations));
    let further = |point: PointId| {
        let rows = incidence.of(point).iter();
        let values = rows.map(|i| &observations.plane[*i as usize]);
        let sides = sides.get(&point).map_or(&[][..], Vec::as_slice);
        Some((point, of_point(adjusted, point, values, sides)?))
    };
    far.into_iter().filter_map(further).collect()
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

/// That of one point by the values at it.
fn of_point<'o>(
    adjusted: &Adjusted,
    point: PointId,
    values: impl Iterator<Item = &'o Observation>,
    sides: &[SideHint],
) -> Option<Block> {
    let place = adjusted.place(point)?;
    let here = (place.e, place.n);
    let known = |other: PointId| adjusted.coordinates(other);
    let doubt = |other: PointId| adjusted.covariance(other, other);
    let sights = values.map(|value| Sight::new(value, None, point, doubt));
    let sights = share(once(sights.collect()));
    let site = adjusted.site.as_ref().map(|site| site.similarity);
    let squares = |at: Plane| squares((point, at), &sights, &known, (site, &adjusted.shifts));
    let mut valley = follow(&squares, here, place.covariance, shortest(&sights, 1)?)?;
    valley.cut(sides.iter(), |at| Some((known(at)?, doubt(at))));
    let (e, n) = unit(valley.along);
    let straight = if adjusted.touches.iter().any(|touch| touch.at == point) {
        block::along(place.covariance, [e, n])
    } else {
        // The same lengths from the same points, taken for straight: what all points share is in neither.
        let held = held((point, here), &sights, &known, site);
        let own = block::along(held, [n, -e]) / block::determinant(held);
        Some(own)
            .filter(|own| own.is_finite() && *own > 0.0)
            .unwrap_or(f64::INFINITY)
    };
    let reach = valley.high.max(-valley.low) / ELLIPSE_95;
    let more = reach * reach - straight;
    let along = if more > SLIGHT * straight {
        more.sqrt()
    } else {
        0.0
    };
    let off = valley.off / ELLIPSE_95;
    (along > LEAST || off > LEAST).then(|| block::lying(valley.along, along, off))
}
