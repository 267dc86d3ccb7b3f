//! Approximate coordinates by construction: each point from two measured values to points that are known by then,
//! the rest deciding between the places that they allow.

use std::collections::{BTreeMap, VecDeque};

use super::meet::{Meeting, Nearest, meet};
use super::refine::{Sight, misfits, refine};
use super::{Touch, Why};
use crate::math::similarity::Similarity;
use crate::math::stats::ALARM;
use crate::observe::kinds::{Locus, Plane};
use crate::observe::{CableHint, Kind, Observation, Observations, PointId, SideHint};

/// Two places are told apart when their sums of squares differ by more than this (one value at 3.29 σ).
const TELLS_APART: f64 = ALARM * ALARM;
/// Half way between two places the sum of squares is higher than at the worse of them by no more than this: then they lie in one valley,
/// and half a sigma apart across it (our choice).
const BARRIER: f64 = 0.25;
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
}

/// The equations that hold each point.
struct Incidence {
    start: Vec<u32>,
    rows: Vec<u32>,
}

impl Incidence {
    fn new(observations: &Observations, rows: &[u32]) -> Self {
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

    fn of(&self, point: PointId) -> &[u32] {
        &self.rows[self.start[point.0 as usize] as usize..self.start[point.0 as usize + 1] as usize]
    }
}

/// What is known of a point's place at the moment.
enum Found {
    Place(Plane),
    /// Place, and the touch that holds it.
    Touching(Plane, Touch),
    /// Places that nothing tells apart yet.
    Open(Vec<Plane>),
    Not(Why),
}

struct Construction<'a> {
    observations: &'a Observations,
    incidence: Incidence,
    places: Vec<Option<Plane>>,
    site: Option<Similarity>,
    sides: BTreeMap<PointId, Vec<SideHint>>,
    /// Neighbour and the cable to it, by point.
    cables: BTreeMap<PointId, Vec<(PointId, CableHint)>>,
}

/// Mean of the eastings or northings measured at a point.
fn measured(rows: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = rows.fold((0.0, 0_u32), |(sum, count), value| (sum + value, count + 1));
    (count > 0).then(|| sum / f64::from(count))
}

impl<'a> Construction<'a> {
    fn rows(&self, point: PointId) -> impl Iterator<Item = &'a Observation> + '_ {
        let plane = &self.observations.plane;
        self.incidence.of(point).iter().map(|&i| &plane[i as usize])
    }

    /// East and north as measured directly.
    fn direct(&self, point: PointId) -> Option<Plane> {
        let east = measured(
            self.rows(point)
                .filter(|o| matches!(o.kind, Kind::East { at, .. } if at == point))
                .map(|o| o.value),
        )?;
        let north = measured(
            self.rows(point)
                .filter(|o| matches!(o.kind, Kind::North { at, .. } if at == point))
                .map(|o| o.value),
        )?;
        Some((east, north))
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
            if let Some(place) = point.fixed.or_else(|| self.direct(id)) {
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
        self.rows(point)
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
                (!grid).then_some(Sight {
                    observation: o,
                    locus,
                })
            })
            .collect()
    }

    fn find(&self, point: PointId) -> Found {
        if let Some(place) = self.direct(point) {
            return Found::Place(place);
        }
        let sights = self.sights(point);
        let loci: Vec<(Locus, &Observation)> = sights
            .iter()
            .filter_map(|s| s.locus.map(|l| (l, s.observation)))
            .take(LOCI)
            .collect();
        if loci.len() < 2 {
            let from = loci.iter().map(|(_, o)| o.source.clone()).collect();
            return Found::Not(Why::TooFew {
                usable: from,
                measured: self.rows(point).count(),
            });
        }
        let mut nearest: Option<(Nearest, f64)> = None;
        let mut candidates = Vec::new();
        for (i, (a, first)) in loci.iter().enumerate() {
            for (b, second) in &loci[i + 1..] {
                let Meeting { places, touch } = meet(a, b);
                candidates.extend(places);
                if let Some(touch) = touch {
                    let sigma = first.sigma.hypot(second.sigma);
                    // Between two places where two values meet beyond doubt, where they touch is no third.
                    if touch.gap > -ALARM * sigma || sights.len() > 2 {
                        candidates.push(touch.place);
                    }
                    if sights.len() == 2 && !first.kind.is_angular() && !second.kind.is_angular() {
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
        let mut places: Vec<(Plane, f64)> = Vec::new();
        for candidate in best(point, candidates, sights, &known, self.site) {
            let found = |place: Plane| places.iter().any(|(other, _)| near(place, *other));
            let refined = refine(point, candidate, &found, sights, &known, self.site);
            // The best place of a path may lie before its last.
            places.extend(refined.filter(|(place, _)| !found(*place)));
        }
        places.sort_by(|a, b| a.1.total_cmp(&b.1));
        let least = places
            .first()
            .map_or(f64::INFINITY, |(_, squares)| *squares);
        places.retain(|(_, squares)| squares - least < TELLS_APART);
        if places.len() > 1 {
            self.by_side(point, &mut places);
        }
        if sights.len() > 2 {
            let squares = |place: Plane| {
                let misfits = misfits(point, place, sights, &known, self.site);
                misfits.map(|misfit| misfit * misfit).sum::<f64>()
            };
            one_valley(&mut places, squares);
        }
        match (places.as_slice(), nearest) {
            (_, Some((touch, sigma))) if touch.gap > -ALARM * sigma && places.len() != 1 => {
                touching(point, &touch, sigma)
            }
            (_, Some((touch, sigma))) if touch.gap >= 0.0 => touching(point, &touch, sigma),
            ([(place, _)], _) => Found::Place(*place),
            ([], _) => Found::Not(Why::TooFew {
                usable: sources(sights),
                measured: self.rows(point).count(),
            }),
            _ => Found::Open(places.into_iter().map(|(place, _)| place).collect()),
        }
    }

    /// Keeps the places on the side that the field book says.
    fn by_side(&self, point: PointId, places: &mut Vec<(Plane, f64)>) {
        for hint in self.sides.get(&point).into_iter().flatten() {
            if let (Some(p), Some(q)) = (self.known(hint.from), self.known(hint.to)) {
                places.retain(|((e, n), _)| {
                    let right = (e - p.0) * (q.1 - p.1) - (n - p.1) * (q.0 - p.0) > 0.0;
                    right == hint.right
                });
            }
        }
    }

    /// The place that the cable to known neighbours on the run likes best, by as much as tells places apart: the one that it
    /// reaches; if it reaches several, the one to which the pipe would run straight.
    fn by_cable(&self, point: PointId, places: &[Plane]) -> Option<Plane> {
        let hints = self.cables.get(&point).into_iter().flatten();
        let known: Vec<(Plane, CableHint)> = hints
            .filter_map(|&(other, hint)| Some((self.known(other)?, hint)))
            .collect();
        let best = |squares: &dyn Fn(f64, &CableHint) -> f64| -> Option<Plane> {
            let mut scored: Vec<(f64, Plane)> = places
                .iter()
                .map(|&place| {
                    let each = known.iter().map(|(p, hint)| {
                        let chord = (place.0 - p.0).hypot(place.1 - p.1);
                        squares((chord - hint.length) / hint.sigma, hint)
                    });
                    (each.sum(), place)
                })
                .collect();
            scored.sort_by(|a, b| a.0.total_cmp(&b.0));
            match scored.as_slice() {
                [(least, place), (next, _), ..] if next - least > TELLS_APART => Some(*place),
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

/// Keeps the best of places between which the values hardly tell: half way from one to the other they fit about as well.
fn one_valley(places: &mut Vec<(Plane, f64)>, squares: impl Fn(Plane) -> f64) {
    let Some(&(best, _)) = places.first() else {
        return;
    };
    let half_way = |place: Plane| {
        (
            f64::midpoint(best.0, place.0),
            f64::midpoint(best.1, place.1),
        )
    };
    let mut first = true;
    places.retain(|&(place, own)| {
        std::mem::take(&mut first) || squares(half_way(place)) - own > BARRIER
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
fn near(a: Plane, b: Plane) -> bool {
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
    };
    Found::Touching(touch.place, touch)
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
                Found::Place(place) => this.accept(point, place, &mut agenda),
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
            Found::Open(places) => (point, Why::SeveralPlaces { places }),
            Found::Not(why) => (point, why),
            Found::Place(_) | Found::Touching(..) => (point, Why::Loose),
        })
        .collect();
    Approximate {
        places: this.places,
        site: this.site,
        touches,
        why,
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
            incidence,
            site: None,
            sides: BTreeMap::new(),
            cables: BTreeMap::new(),
        };
        for hint in &observations.sides {
            this.sides.entry(hint.at).or_default().push(*hint);
        }
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
            let (place, touch) = match agenda.open.get(&point) {
                Some(Found::Touching(place, touch)) => (*place, Some(*touch)),
                Some(Found::Open(places)) => match self.by_cable(point, places) {
                    Some(place) => (place, None),
                    None => continue,
                },
                _ => continue,
            };
            touches.extend(touch);
            self.accept(point, place, agenda);
        }
        agenda.open.len() != before
    }

    /// Takes, of one point's places that nothing else tells apart, the nearest to where it was; false if there was no such point.
    fn as_before(&mut self, agenda: &mut Agenda, before: &[Option<Plane>]) -> bool {
        let nearest = agenda.open.iter().find_map(|(&point, found)| {
            let (Found::Open(places), Some(was)) = (found, *before.get(point.0 as usize)?) else {
                return None;
            };
            let far = |place: &Plane| (place.0 - was.0).hypot(place.1 - was.1);
            let nearest = places.iter().min_by(|a, b| far(a).total_cmp(&far(b)))?;
            Some((point, *nearest))
        });
        if let Some((point, place)) = nearest {
            self.accept(point, place, agenda);
        }
        nearest.is_some()
    }

    /// Takes a place, and looks again at the points that it may help.
    fn accept(&mut self, point: PointId, place: Plane, agenda: &mut Agenda) {
        self.places[point.0 as usize] = Some(place);
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
