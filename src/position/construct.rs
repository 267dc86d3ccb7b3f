//! Approximate coordinates by construction: each point from two measured values to points that are known by then,
//! the rest deciding between the places that they allow.

use std::collections::{BTreeMap, VecDeque};

use super::meet::{Meeting, Nearest, meet};
use super::refine::{
    Sight, Spot, distinct, misfits, once, refine, share, shortest, squares, variance,
};
use super::{Block, Touch, Why, valley};
use crate::math::block;
use crate::math::similarity::Similarity;
use crate::math::stats::{ALARM, ELLIPSE_95};
use crate::observe::kinds::{Locus, Plane, unit};
use crate::observe::{CableHint, Kind, Observation, Observations, PointId, SideHint};

/// Two places are told apart when their sums of squares differ by more than this (one value at 3.29 σ).
pub(super) const TELLS_APART: f64 = ALARM * ALARM;
/// Told apart by less than this, they are tried again with all that they share: our choice.
const BY_LITTLE: f64 = 3.0 * TELLS_APART;
/// A mirror image that by straight equations makes for so much more than its original is not followed: far above what the bends of the
/// equations can take off (our choice).
const HOPELESS: f64 = 100.0 * TELLS_APART;
/// Half way between two places the sum of squares is higher than at the worse of them by no more than this: then they lie in one valley,
/// and half a sigma apart across it (our choice).
const BARRIER: f64 = 0.25;
/// An ellipse by straight equations that reaches so many times as far as the valley that the place lies in says nothing: our choice.
const TOO_WIDE: f64 = 2.0;
/// Places nearer to each other than this, metres, are one: the adjustment finds its way from either.
const SAME: f64 = 0.1;
/// More measured values than this are not needed to find a place, only to adjust it.
const LOCI: usize = 5;
/// So many of the places where they meet are looked at closely: those that all values like best.
const CLOSELY: usize = 4;

/// What construction found.
pub(super) struct Approximate {
    pub(super) places: Vec<Option<Plane>>,
    pub(super) site: Option<Similarity>,
    pub(super) touches: Vec<Touch>,
    pub(super) why: BTreeMap<PointId, Why>,
    /// Points that were told from another place by little, or hang on such.
    pub(super) others: Vec<Other>,
}

/// Another place that a point may have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Other {
    pub(super) point: PointId,
    pub(super) place: Plane,
    /// The point that was told by little: itself, or the one that it hangs on.
    pub(super) root: PointId,
}

/// The equations that hold each point.
pub(super) struct Incidence {
    start: Vec<u32>,
    rows: Vec<u32>,
}

impl Incidence {
    pub(super) fn new(observations: &Observations, rows: &[u32]) -> Self {
        let mut start = vec![0_u32; observations.points.len() + 1];
        let all = || {
            rows.iter().flat_map(|&i| {
                let points = observations.plane[i as usize].kind.points();
                points
                    .into_iter()
                    .flatten()
                    .map(move |point| (i, point.0 as usize))
            })
        };
        all().for_each(|(_, point)| start[point + 1] += 1);
        for i in 1..start.len() {
            start[i] += start[i - 1];
        }
        let mut next = start.clone();
        let mut rows = vec![0; start.last().map_or(0, |end| *end as usize)];
        for (i, point) in all() {
            rows[next[point] as usize] = i;
            next[point] += 1;
        }
        Self { start, rows }
    }

    pub(super) fn of(&self, point: PointId) -> &[u32] {
        &self.rows[self.start[point.0 as usize] as usize..self.start[point.0 as usize + 1] as usize]
    }
}

/// What the field book says of sides, by point.
pub(super) fn sides(observations: &Observations) -> BTreeMap<PointId, Vec<SideHint>> {
    let mut sides: BTreeMap<PointId, Vec<SideHint>> = BTreeMap::new();
    for hint in &observations.sides {
        sides.entry(hint.at).or_default().push(*hint);
    }
    sides
}

/// What is known of a point's place at the moment.
enum Found {
    Place(Spot),
    /// Place, and another that it was told from by little.
    Told(Spot, Plane),
    /// Place, and the touch that holds it.
    Touching(Spot, Touch),
    /// Places that nothing tells apart yet.
    Open(Vec<Spot>),
    Not(Why),
}

struct Construction<'a> {
    observations: &'a Observations,
    incidence: Incidence,
    places: Vec<Option<Plane>>,
    /// Covariance of each place by what led there: nothing for an exact one. What all share, a shift or the site grid, is not in it, for it
    /// moves both places of a point alike.
    doubts: Vec<Block>,
    others: BTreeMap<PointId, Other>,
    site: Option<Similarity>,
    sides: BTreeMap<PointId, Vec<SideHint>>,
    /// Neighbour and the cable to it, by point.
    cables: BTreeMap<PointId, Vec<(PointId, CableHint)>>,
}

/// Mean of the eastings or northings measured at a point, and its variance.
fn measured<'a>(rows: impl Iterator<Item = &'a Observation>) -> Option<(f64, f64)> {
    let (sum, variance, count) = rows.fold((0.0, 0.0, 0_u32), |(sum, variance, count), row| {
        (sum + row.value, variance + row.sigma * row.sigma, count + 1)
    });
    let count = (count > 0).then(|| f64::from(count))?;
    Some((sum / count, variance / (count * count)))
}

impl<'a> Construction<'a> {
    fn rows(&self, point: PointId) -> impl Iterator<Item = &'a Observation> + '_ {
        let plane = &self.observations.plane;
        self.incidence.of(point).iter().map(|&i| &plane[i as usize])
    }

    /// East and north as measured directly.
    fn direct(&self, point: PointId) -> Option<Spot> {
        let (east, by_east) = measured(
            self.rows(point)
                .filter(|o| matches!(o.kind, Kind::East { at, .. } if at == point)),
        )?;
        let (north, by_north) = measured(
            self.rows(point)
                .filter(|o| matches!(o.kind, Kind::North { at, .. } if at == point)),
        )?;
        Some(Spot {
            place: (east, north),
            doubt: [[by_east, 0.0], [0.0, by_north]],
            squares: 0.0,
        })
    }

    /// x and y as measured.
    fn on_site(&self, point: PointId) -> Option<Plane> {
        let x = self
            .rows(point)
            .find(|o| matches!(o.kind, Kind::SiteX { at } if at == point))?;
        let y = self
            .rows(point)
            .find(|o| matches!(o.kind, Kind::SiteY { at } if at == point))?;
        Some((x.value, y.value))
    }

    fn fit_site(&mut self) {
        let mut pairs = Vec::new();
        for (i, point) in self.observations.points.iter().enumerate() {
            let id = PointId(i as u32);
            let Some(site) = point.site.or_else(|| self.on_site(id)) else {
                continue;
            };
            let direct = || self.direct(id).map(|spot| spot.place);
            if let Some(place) = point.fixed.or_else(direct) {
                pairs.push((site, place));
            }
        }
        self.site = Similarity::fit(&pairs);
    }

    fn known(&self, point: PointId) -> Option<Plane> {
        self.places[point.0 as usize]
    }

    /// The values that reach from known points to this one.
    fn sights(&self, point: PointId) -> Vec<Sight<'a>> {
        let known = |other: PointId| self.known(other);
        let doubt = |other: PointId| self.doubts[other.0 as usize];
        let sights = self
            .rows(point)
            .filter(|o| {
                o.kind
                    .points()
                    .into_iter()
                    .flatten()
                    .all(|p| p == point || self.known(p).is_some())
            })
            .filter_map(|o| {
                let locus = o.kind.locus(o.value, point, &known, self.site.as_ref());
                let grid = matches!(o.kind, Kind::SiteX { .. } | Kind::SiteY { .. })
                    && self.site.is_none();
                (!grid).then(|| Sight::new(o, locus, point, doubt))
            });
        share(once(sights.collect()))
    }

    /// How many values name a point; a tape pulled twice is one.
    fn measured(&self, point: PointId) -> usize {
        distinct(self.rows(point), |row| *row).len()
    }

    fn find(&self, point: PointId) -> Found {
        if let Some(spot) = self.direct(point) {
            return Found::Place(spot);
        }
        let sights = self.sights(point);
        let loci: Vec<(Locus, &Sight<'_>)> = sights
            .iter()
            .filter_map(|s| s.locus.map(|l| (l, s)))
            .take(LOCI)
            .collect();
        if loci.len() < 2 {
            let from = loci.iter().map(|(_, s)| s.observation.source.clone());
            return Found::Not(Why::TooFew {
                usable: from.collect(),
                measured: self.measured(point),
            });
        }
        let mut nearest: Option<(Nearest, f64)> = None;
        let mut candidates = Vec::new();
        for (i, (a, first)) in loci.iter().enumerate() {
            for (b, second) in &loci[i + 1..] {
                let Meeting { places, touch } = meet(a, b);
                candidates.extend(places);
                if let Some(touch) = touch {
                    let variance = |sight| self.variance(point, touch.place, sight);
                    let sigma = (variance(first) + variance(second)).sqrt();
                    // Between two places where two values meet beyond doubt, where they touch is no third.
                    if touch.gap > -ALARM * sigma || sights.len() > 2 {
                        candidates.push(touch.place);
                    }
                    let angular = |sight: &Sight<'_>| sight.observation.kind.is_angular();
                    if sights.len() == 2 && !angular(first) && !angular(second) {
                        nearest = Some((touch, sigma));
                    }
                }
            }
        }
        self.decide(point, &sights, candidates, nearest)
    }

    fn decide(
        &self,
        point: PointId,
        sights: &[Sight<'_>],
        candidates: Vec<Plane>,
        nearest: Option<(Nearest, f64)>,
    ) -> Found {
        if let Some((touch, sigma)) = nearest
            && touch.gap > ALARM * sigma
        {
            return Found::Not(Why::Gap {
                gap: touch.gap,
                sigma,
                sources: sources(sights),
            });
        }
        let known = |other: PointId| self.known(other);
        let mut spots: Vec<Spot> = Vec::new();
        for candidate in best(point, candidates, sights, &known, self.site) {
            self.look(point, (candidate, f64::INFINITY), sights, &mut spots);
        }
        keep_likely(&mut spots, BY_LITTLE);
        // Those that all values like best may lie on one side, all of them.
        for Spot { place, squares, .. } in spots.clone() {
            if let (3.., Some(other)) = (sights.len(), reflected(place, sights)) {
                self.look(point, (other, squares + HOPELESS), sights, &mut spots);
            }
        }
        keep_likely(&mut spots, BY_LITTLE);
        // Where the field book says the side, the other is none to be told from.
        let mut likely = spots.clone();
        self.by_side(point, &mut likely);
        keep_likely(&mut spots, TELLS_APART);
        let other = match spots.as_slice() {
            [spot] if sights.iter().any(Sight::is_shared) => {
                let mut others = likely.iter().filter(|other| *other != spot);
                others.next().map(|other| other.place)
            }
            _ => None,
        };
        if spots.len() > 1 {
            let all = spots.clone();
            self.by_side(point, &mut spots);
            // A place a hair beyond the line, where the values don't feel it, is on either side.
            if spots.is_empty() {
                spots = all;
            }
        }
        if sights.len() > 2 {
            let squares = |place: Plane| squares((point, place), sights, &known, (self.site, &[]));
            one_valley(&mut spots, squares);
            if let Some(found) = self.in_valley(point, sights, &spots, &squares) {
                return found;
            }
        }
        match (spots.as_slice(), nearest) {
            (_, Some((touch, sigma))) if touch.gap > -ALARM * sigma && spots.len() != 1 => {
                touching(point, &touch, sigma)
            }
            (_, Some((touch, sigma))) if touch.gap >= 0.0 => touching(point, &touch, sigma),
            ([spot], _) => other.map_or(Found::Place(*spot), |other| Found::Told(*spot, other)),
            ([], _) => Found::Not(Why::TooFew {
                usable: sources(sights),
                measured: self.measured(point),
            }),
            _ => Found::Open(spots),
        }
    }

    /// Where lengths run side by side, so that straight equations leave the place free, or far wider than the valley that it lies in: a touch of
    /// all of them. Several places in one valley are one.
    fn in_valley(
        &self,
        point: PointId,
        sights: &[Sight<'_>],
        spots: &[Spot],
        squares: &dyn Fn(Plane) -> f64,
    ) -> Option<Found> {
        let best = spots.first()?;
        let shortest = shortest(sights, 2)?;
        if !valley::bent(best.doubt, shortest) {
            return None;
        }
        let mut valley = valley::follow(squares, best.place, best.doubt, shortest)?;
        let sides = self.sides.get(&point).into_iter().flatten();
        let doubt = |at: PointId| self.doubts[at.0 as usize];
        valley.cut(sides, |at| Some((self.known(at)?, doubt(at))));
        let (major, minor, _) = block::axes(best.doubt);
        let one = spots.len() == 1 && TOO_WIDE * valley.half() >= ELLIPSE_95 * major;
        if one
            || !spots
                .iter()
                .all(|spot| valley.holds(best.place, spot.place))
        {
            return None;
        }
        let touch = valley.touch(point, sights.len());
        let spot = Spot {
            place: touch.place,
            doubt: block::lying(touch.along, touch.sigma, minor),
            squares: best.squares,
        };
        Some(Found::Touching(spot, touch))
    }

    /// Looks for the best place around a candidate, if it is a new one and its sum of squares does not make for more than so much.
    fn look(
        &self,
        point: PointId,
        (candidate, most): (Plane, f64),
        sights: &[Sight<'_>],
        spots: &mut Vec<Spot>,
    ) {
        let known = |other: PointId| self.known(other);
        let found = |place: Plane| spots.iter().any(|spot| near(place, spot.place));
        let refined = refine(point, candidate, (&found, most), sights, &known, self.site);
        // The best place of a path may lie before its last.
        let new = refined.filter(|spot| !found(spot.place));
        spots.extend(new);
    }

    fn variance(&self, point: PointId, place: Plane, sight: &Sight<'_>) -> f64 {
        let known = |other: PointId| self.known(other);
        variance(point, place, sight, &known, self.site)
    }

    /// Keeps the places on the side that the field book says.
    fn by_side(&self, point: PointId, spots: &mut Vec<Spot>) {
        for hint in self.sides.get(&point).into_iter().flatten() {
            if let (Some(p), Some(q)) = (self.known(hint.from), self.known(hint.to)) {
                spots.retain(|spot| {
                    let (e, n) = spot.place;
                    let right = (e - p.0) * (q.1 - p.1) - (n - p.1) * (q.0 - p.0) > 0.0;
                    right == hint.right
                });
            }
        }
    }

    /// The place that the cable to known neighbours on the run likes best, by as much as tells places apart: the one that it
    /// reaches; if it reaches several, the one to which the pipe would run straight.
    fn by_cable(&self, point: PointId, spots: &[Spot]) -> Option<Spot> {
        let hints = self.cables.get(&point).into_iter().flatten();
        let known: Vec<(Spot, CableHint)> = hints
            .filter_map(|&(other, hint)| {
                let doubt = self.doubts[other.0 as usize];
                let (place, squares) = (self.known(other)?, 0.0);
                Some((
                    Spot {
                        place,
                        doubt,
                        squares,
                    },
                    hint,
                ))
            })
            .collect();
        let best = |squares: &dyn Fn(f64, &CableHint) -> f64| -> Option<Spot> {
            let mut scored: Vec<(f64, Spot)> = spots
                .iter()
                .map(|&spot| {
                    let each = known.iter().map(|(other, hint)| {
                        let (e, n) = (spot.place.0 - other.place.0, spot.place.1 - other.place.1);
                        let chord = e.hypot(n).max(f64::MIN_POSITIVE);
                        let apart = block::add(spot.doubt, other.doubt);
                        let variance = block::along(apart, [e / chord, n / chord]);
                        let sigma = (hint.sigma * hint.sigma + variance).sqrt();
                        squares((chord - hint.length) / sigma, hint)
                    });
                    (each.sum(), spot)
                })
                .collect();
            scored.sort_by(|a, b| a.0.total_cmp(&b.0));
            match scored.as_slice() {
                [(least, spot), (next, _), ..] if next - least > TELLS_APART => Some(*spot),
                _ => None,
            }
        };
        let beyond = |excess: f64, _: &CableHint| excess.max(0.0).powi(2);
        let bent = |excess: f64, hint: &CableHint| {
            if hint.along {
                excess * excess
            } else {
                beyond(excess, hint)
            }
        };
        best(&beyond).or_else(|| best(&bent))
    }
}

/// Keeps the places that are worse than the best by less than so much; the best comes first.
fn keep_likely(spots: &mut Vec<Spot>, most: f64) {
    spots.sort_by(|a, b| a.squares.total_cmp(&b.squares));
    let least = spots.first().map_or(f64::INFINITY, |best| best.squares);
    spots.retain(|spot| spot.squares - least < most);
}

/// Where a place comes out in the line along which the points lie that lengths were measured from: there the lengths are the same but for
/// what these points are off the line. `None` where there are not two of them.
fn reflected(place: Plane, sights: &[Sight<'_>]) -> Option<Plane> {
    let centres = || {
        sights.iter().filter_map(|sight| match sight.locus {
            Some(Locus::Circle { centre, .. }) => Some(centre),
            _ => None,
        })
    };
    let count = centres().count() as f64;
    let (e, n) = centres().fold((0.0, 0.0), |sum, centre| {
        (sum.0 + centre.0, sum.1 + centre.1)
    });
    let middle = (e / count, n / count);
    let spread = centres().fold(block::ZERO, |sum, (e, n)| {
        let off = [e - middle.0, n - middle.1];
        block::add(sum, block::outer(off, off))
    });
    let (length, _, azimuth) = block::axes(spread);
    if length.is_nan() || length <= SAME {
        return None;
    }
    let (s, c) = unit(azimuth);
    let (e, n) = (place.0 - middle.0, place.1 - middle.1);
    let along = 2.0 * (e * s + n * c);
    Some((middle.0 + along * s - e, middle.1 + along * c - n))
}

/// Keeps the best of places between which the values hardly tell: half way from one to the other they fit about as well.
fn one_valley(spots: &mut Vec<Spot>, squares: impl Fn(Plane) -> f64) {
    let Some(best) = spots.first().map(|spot| spot.place) else {
        return;
    };
    let half_way = |place: Plane| {
        (
            f64::midpoint(best.0, place.0),
            f64::midpoint(best.1, place.1),
        )
    };
    let mut first = true;
    spots.retain(|spot| {
        std::mem::take(&mut first) || squares(half_way(spot.place)) - spot.squares > BARRIER
    });
}

/// The few distinct candidates with the least sum of |residual|/σ, which one gross error does not decide.
fn best(
    point: PointId,
    candidates: Vec<Plane>,
    sights: &[Sight<'_>],
    known: &impl Fn(PointId) -> Option<Plane>,
    site: Option<Similarity>,
) -> Vec<Plane> {
    if candidates.len() <= CLOSELY {
        return candidates;
    }
    let mut scored: Vec<(f64, Plane)> = candidates
        .into_iter()
        .map(|place| (misfits(point, place, sights, known, site).sum(), place))
        .collect();
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut kept: Vec<Plane> = Vec::with_capacity(CLOSELY);
    for (_, place) in scored {
        if kept.len() < CLOSELY && !kept.iter().any(|other| near(place, *other)) {
            kept.push(place);
        }
    }
    kept
}

/// Whether two places are one.
pub(super) fn near(a: Plane, b: Plane) -> bool {
    let (e, n) = (a.0 - b.0, a.1 - b.1);
    e * e + n * n < SAME * SAME
}

fn sources(sights: &[Sight<'_>]) -> Vec<crate::job::model::Source> {
    sights
        .iter()
        .map(|s| s.observation.source.clone())
        .collect()
}

/// A place where two values touch: along the touch it can slide by t at the cost of t²/(2·bend) in the gap, so that a
/// gap known to σ leaves t known to about √(2·bend·(σ + what they overlap)).
fn touching(point: PointId, touch: &Nearest, sigma: f64) -> Found {
    let slide = (2.0 * touch.bend * (sigma + (-touch.gap).max(0.0))).sqrt();
    // t²/2R, with t of no mean and this one-sigma: √3 of its mean, about nought.
    let across = 3f64.sqrt() * slide * slide * 0.5 * touch.curve;
    let touch = Touch {
        at: point,
        place: touch.place,
        along: touch.along,
        sigma: slide,
        across,
        misfit: (touch.gap / sigma).powi(2),
        gap: touch.gap,
        values: 2,
    };
    let spot = Spot {
        place: touch.place,
        doubt: block::lying(touch.along, slide, sigma),
        squares: touch.misfit,
    };
    Found::Touching(spot, touch)
}

/// Points that wait to be looked at, and those that were looked at in vain.
#[derive(Default)]
struct Agenda {
    queue: VecDeque<PointId>,
    waiting: Vec<bool>,
    open: BTreeMap<PointId, Found>,
}

/// Finds approximate places for all points that can be constructed from some observations. The points that these don't name stay where
/// they were `before`; so does a named one that can't be constructed, and one with several places is put at the nearest to there.
pub(super) fn construct(
    observations: &Observations,
    rows: &[u32],
    before: &[Option<Plane>],
) -> Approximate {
    let mut this = Construction::new(observations, rows, before);
    let mut agenda = Agenda {
        waiting: vec![false; observations.points.len()],
        ..Agenda::default()
    };
    for (i, point) in observations.points.iter().enumerate() {
        if point.site.is_none() && this.places[i].is_none() {
            agenda.waiting[i] = true;
            agenda.queue.push_back(PointId(i as u32));
        }
    }
    let mut touches = Vec::new();
    loop {
        while let Some(point) = agenda.queue.pop_front() {
            agenda.waiting[point.0 as usize] = false;
            match this.find(point) {
                Found::Place(spot) => this.accept(point, spot, &mut agenda),
                Found::Told(spot, place) => {
                    let root = point;
                    this.others.insert(point, Other { point, place, root });
                    this.accept(point, spot, &mut agenda);
                }
                // A touch is only accepted when nothing else can come: other points may still add a value.
                found => {
                    agenda.open.insert(point, found);
                }
            }
        }
        if !this.settle(&mut agenda, &mut touches) && !this.as_before(&mut agenda, before) {
            break;
        }
    }
    for (place, before) in this.places.iter_mut().zip(before) {
        *place = place.or(*before);
    }
    let why = agenda
        .open
        .into_iter()
        .map(|(point, found)| match found {
            Found::Open(spots) => {
                let places = spots.into_iter().map(|spot| spot.place).collect();
                (point, Why::SeveralPlaces { places })
            }
            Found::Not(why) => (point, why),
            Found::Place(_) | Found::Told(..) | Found::Touching(..) => (point, Why::Loose),
        })
        .collect();
    Approximate {
        places: this.places,
        site: this.site,
        touches,
        why,
        others: this.others.into_values().collect(),
    }
}

impl<'a> Construction<'a> {
    fn new(observations: &'a Observations, rows: &[u32], before: &[Option<Plane>]) -> Self {
        let incidence = Incidence::new(observations, rows);
        let points = observations.points.iter().enumerate();
        let places = points.map(|(i, point)| {
            let unnamed = || incidence.of(PointId(i as u32)).is_empty();
            let before = before.get(i).copied().flatten();
            point.fixed.or_else(|| before.filter(|_| unnamed()))
        });
        let mut this = Self {
            observations,
            places: places.collect(),
            doubts: vec![block::ZERO; observations.points.len()],
            others: BTreeMap::new(),
            incidence,
            site: None,
            sides: sides(observations),
            cables: BTreeMap::new(),
        };
        for hint in observations.cables.iter().copied() {
            this.cables.entry(hint.a).or_default().push((hint.b, hint));
            this.cables.entry(hint.b).or_default().push((hint.a, hint));
        }
        this.fit_site();
        if let Some(site) = this.site {
            for (i, point) in observations.points.iter().enumerate() {
                if let (Some(xy), None) = (point.site, point.fixed) {
                    this.places[i] = Some(site.apply(xy));
                }
            }
        }
        this
    }

    /// Takes a touch, or what the cable says, where nothing else came; false if there was nothing to take.
    fn settle(&mut self, agenda: &mut Agenda, touches: &mut Vec<Touch>) -> bool {
        let before = agenda.open.len();
        for point in agenda.open.keys().copied().collect::<Vec<_>>() {
            let (spot, touch) = match agenda.open.get(&point) {
                Some(Found::Touching(spot, touch)) => (*spot, Some(*touch)),
                Some(Found::Open(spots)) => match self.by_cable(point, spots) {
                    Some(spot) => {
                        let other = spots.iter().find(|other| **other != spot);
                        let hangs = other.and_then(|other| self.hanging(point, other.place));
                        self.others.extend(hangs.map(|other| (point, other)));
                        (spot, None)
                    }
                    None => continue,
                },
                _ => continue,
            };
            touches.extend(touch);
            self.accept(point, spot, agenda);
        }
        agenda.open.len() != before
    }

    /// Another place of a point that the cable told, if a neighbour on it was told by little itself.
    fn hanging(&self, point: PointId, place: Plane) -> Option<Other> {
        let hints = self.cables.get(&point).into_iter().flatten();
        let mut told = hints.filter_map(|(neighbour, _)| self.others.get(neighbour));
        told.next().map(|Other { root, .. }| Other {
            point,
            place,
            root: *root,
        })
    }

    /// Takes, of one point's places that nothing else tells apart, the nearest to where it was; false if there was no such point.
    fn as_before(&mut self, agenda: &mut Agenda, before: &[Option<Plane>]) -> bool {
        let nearest = agenda.open.iter().find_map(|(&point, found)| {
            let (Found::Open(spots), Some(was)) = (found, *before.get(point.0 as usize)?) else {
                return None;
            };
            let far = |spot: &Spot| (spot.place.0 - was.0).hypot(spot.place.1 - was.1);
            let nearest = spots.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
            Some((point, *nearest))
        });
        if let Some((point, spot)) = nearest {
            self.accept(point, spot, agenda);
        }
        nearest.is_some()
    }

    /// Takes a place, and looks again at the points that it may help.
    fn accept(&mut self, point: PointId, spot: Spot, agenda: &mut Agenda) {
        self.places[point.0 as usize] = Some(spot.place);
        self.doubts[point.0 as usize] = spot.doubt;
        agenda.open.remove(&point);
        for i in self.incidence.of(point) {
            for other in self.observations.plane[*i as usize]
                .kind
                .points()
                .into_iter()
                .flatten()
            {
                let at = other.0 as usize;
                if self.places[at].is_none()
                    && !agenda.waiting[at]
                    && self.observations.points[at].site.is_none()
                {
                    agenda.waiting[at] = true;
                    agenda.queue.push_back(other);
                }
            }
        }
    }
}
