//! The plane network as a least-squares problem: points that are free become nodes, shifts and the site grid's
//! parameters are shared unknowns.

use super::Touch;
use crate::math::adjust::{Effort, Model, Row, Values, adjust_with};
use crate::math::similarity::Similarity;
use crate::math::solution::Solution;
use crate::observe::kinds::{Plane, State, around, unit};
use crate::observe::{Kind, Observations, Point, PointId, ShiftId};

/// How a point takes part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Slot {
    /// Exact place, metres from the network's origin.
    Fixed(Plane),
    /// Node of the problem.
    Node(u32),
    /// Exact place on the site grid.
    Site(Plane),
    /// Not determined.
    Out,
}

/// What an equation of the problem is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Equation {
    /// Index into the observations.
    Observed(u32),
    /// Index into the touches.
    Touch(u32),
    /// Zero shift with its sigma: component 2·shift or 2·shift + 1.
    Prior(u32),
}

/// A network, or a part of one. Coordinates inside are less `origin`, so that rounding stays far below the tape.
pub(super) struct Network<'a> {
    observations: &'a Observations,
    touches: &'a [Touch],
    pub(super) slots: Vec<Slot>,
    nodes: usize,
    shared: usize,
    pub(super) origin: Plane,
    site_origin: Plane,
    equations: Vec<Equation>,
    /// Number of equations that are observations; they come first.
    pub(super) observed: usize,
}

/// How each point takes part, and the number of nodes.
fn slots(
    observations: &Observations,
    rows: &[u32],
    places: &[Option<Plane>],
    (origin, has_site): (Plane, bool),
) -> (Vec<Slot>, usize) {
    let mut named = vec![false; observations.points.len()];
    for &i in rows {
        let points = observations.plane[i as usize].kind.points();
        for point in points.into_iter().flatten() {
            named[point.0 as usize] = true;
        }
    }
    let mut nodes = 0;
    let slot = |(i, point): (usize, &Point)| match (point.fixed, point.site, places[i]) {
        (Some(place), ..) => Slot::Fixed((place.0 - origin.0, place.1 - origin.1)),
        (None, Some(xy), Some(_)) if has_site => Slot::Site(xy),
        (None, None, Some(_)) if named[i] => {
            nodes += 1;
            Slot::Node(nodes - 1)
        }
        _ => Slot::Out,
    };
    let slots = observations.points.iter().enumerate().map(slot).collect();
    (slots, nodes as usize)
}

/// Some observations by themselves, with or without the shared unknowns, solved from where their points are.
pub(super) fn solved<'a>(
    observations: &'a Observations,
    rows: &[u32],
    (places, touches, site): (&[Option<Plane>], &'a [Touch], Option<&Similarity>),
    (shared, effort): (bool, Effort),
) -> (Network<'a>, Solution) {
    let network = Network::new(observations, touches, rows, places, site, shared);
    let start = network.start(places, site);
    let solution = adjust_with(&network, &start, &|_| false, effort);
    (network, solution)
}

impl<'a> Network<'a> {
    /// The network of the given observations; `places` holds the approximate places of the points that take part, and
    /// with `shared` the shared unknowns take part too.
    pub(super) fn new(
        observations: &'a Observations,
        touches: &'a [Touch],
        rows: &[u32],
        places: &[Option<Plane>],
        site: Option<&Similarity>,
        shared: bool,
    ) -> Self {
        let origin = places.iter().flatten().next().copied().unwrap_or_default();
        let (slots, nodes) = slots(observations, rows, places, (origin, site.is_some()));
        let takes_part = |i: &&u32| {
            let kind = observations.plane[**i as usize].kind;
            let gridless =
                matches!(kind, Kind::SiteX { .. } | Kind::SiteY { .. }) && site.is_none();
            !gridless
                && kind
                    .points()
                    .into_iter()
                    .flatten()
                    .all(|point| slots[point.0 as usize] != Slot::Out)
        };
        let mut equations: Vec<Equation> = rows
            .iter()
            .filter(takes_part)
            .map(|i| Equation::Observed(*i))
            .collect();
        let observed = equations.len();
        let touching = |touch: &Touch| matches!(slots[touch.at.0 as usize], Slot::Node(_));
        equations.extend(
            (0..touches.len() as u32)
                .filter(|i| touching(&touches[*i as usize]))
                .map(Equation::Touch),
        );
        let shifts = if shared {
            2 * observations.shifts.len()
        } else {
            0
        };
        equations.extend((0..shifts as u32).map(Equation::Prior));
        Self {
            observations,
            touches,
            slots,
            nodes,
            shared: shifts + if shared && site.is_some() { 4 } else { 0 },
            origin,
            site_origin: site.map_or((0.0, 0.0), |site| site.origin),
            equations,
            observed,
        }
    }

    /// A network that holds no equations, to write further ones against an adjustment.
    pub(super) fn at(
        observations: &'a Observations,
        slots: &[Slot],
        origin: Plane,
        site: Option<&(usize, Similarity)>,
    ) -> Self {
        let nodes = slots
            .iter()
            .filter(|slot| matches!(slot, Slot::Node(_)))
            .count();
        let shifts = 2 * observations.shifts.len();
        Self {
            observations,
            touches: &[],
            slots: slots.to_vec(),
            nodes,
            shared: shifts + if site.is_some() { 4 } else { 0 },
            origin,
            site_origin: site.map_or((0.0, 0.0), |(_, site)| site.origin),
            equations: Vec::new(),
            observed: 0,
        }
    }

    /// Whether shared unknowns take part.
    pub(super) fn has_shared(&self) -> bool {
        self.shared > 0
    }

    /// The site grid at the given values, in metres on the grid.
    pub(super) fn similarity_on_grid(&self, values: &Values<'_>) -> Similarity {
        let mut site = self.similarity(values);
        site.parameters[2] += self.origin.0;
        site.parameters[3] += self.origin.1;
        site
    }

    /// Starting values for [`crate::math::adjust::adjust`].
    pub(super) fn start(&self, places: &[Option<Plane>], site: Option<&Similarity>) -> Vec<f64> {
        let mut values = vec![0.0; 2 * self.nodes + self.shared];
        for (slot, place) in self.slots.iter().zip(places) {
            if let (Slot::Node(node), Some((e, n))) = (slot, place) {
                values[2 * *node as usize] = e - self.origin.0;
                values[2 * *node as usize + 1] = n - self.origin.1;
            }
        }
        if let (Some(site), Some(at)) = (site, self.site_at()) {
            let [a, b, e, n] = site.parameters;
            values[at..at + 4].copy_from_slice(&[a, b, e - self.origin.0, n - self.origin.1]);
        }
        values
    }

    /// Puts the places of the points that are unknowns where a solution has them.
    pub(super) fn adjusted(&self, solution: &Solution, places: &mut [Option<Plane>]) {
        for (slot, place) in self.slots.iter().zip(places) {
            if let Slot::Node(node) = slot {
                let at = 2 * *node as usize;
                if let Some([e, n]) = solution.values.get(at..at + 2) {
                    *place = Some((e + self.origin.0, n + self.origin.1));
                }
            }
        }
    }

    /// First of the site grid's four unknowns.
    pub(super) fn site_at(&self) -> Option<usize> {
        let shifts = 2 * self.observations.shifts.len();
        (self.shared == shifts + 4).then_some(2 * self.nodes + shifts)
    }

    /// First unknown of a shift.
    pub(super) fn shift_at(&self, shift: usize) -> usize {
        2 * self.nodes + 2 * shift
    }

    /// The observation that an equation is.
    pub(super) fn observation(&self, equation: usize) -> Option<u32> {
        match self.equations.get(equation) {
            Some(Equation::Observed(i)) => Some(*i),
            _ => None,
        }
    }

    /// Number of unknowns.
    pub(super) fn unknowns(&self) -> usize {
        2 * self.nodes + self.shared
    }

    /// A point's east and north as linear forms of the unknowns.
    pub(super) fn forms(
        slot: Slot,
        site: Option<(usize, &Similarity)>,
    ) -> Option<[Vec<(u32, f64)>; 2]> {
        match slot {
            Slot::Fixed(_) => Some([vec![], vec![]]),
            Slot::Node(node) => Some([vec![(2 * node, 1.0)], vec![(2 * node + 1, 1.0)]]),
            Slot::Site(xy) => {
                let (at, site) = site?;
                let rows = site.partials(xy);
                Some(rows.map(|row| (0..4).map(|i| ((at + i) as u32, row[i])).collect()))
            }
            Slot::Out => None,
        }
    }

    /// The site grid at the given values.
    pub(super) fn similarity(&self, values: &Values<'_>) -> Similarity {
        let parameters = match self.site_at() {
            Some(at) => [0, 1, 2, 3].map(|i| values.get((at + i) as u32)),
            None => [1.0, 0.0, 0.0, 0.0],
        };
        Similarity {
            origin: self.site_origin,
            parameters,
        }
    }

    /// Writes any observation, in the network or not, as an equation; false if a point of it is not determined.
    pub(super) fn write(
        &self,
        kind: &Kind,
        value: f64,
        sigma: f64,
        values: &Values<'_>,
        row: &mut Row,
    ) -> bool {
        if kind
            .points()
            .into_iter()
            .flatten()
            .any(|point| self.slots[point.0 as usize] == Slot::Out)
        {
            return false;
        }
        let view = View {
            network: self,
            values: *values,
        };
        let equation = kind.equation(&view);
        let value = match kind {
            Kind::East { .. } => value - self.origin.0,
            Kind::North { .. } => value - self.origin.1,
            _ => value,
        };
        let misclosure = value - equation.computed;
        row.misclosure = if equation.angular {
            around(misclosure)
        } else {
            misclosure
        };
        row.sigma = sigma;
        for &(point, e, n) in equation.points.iter().flatten() {
            self.push(point, e, n, &view, &mut row.terms);
        }
        if let Some((shift, e, n)) = equation.shift
            && self.shared > 0
        {
            let at = self.shift_at(shift.0 as usize) as u32;
            row.terms.extend(
                [(at, e), (at + 1, n)]
                    .into_iter()
                    .filter(|(_, a)| *a != 0.0),
            );
        }
        if let (Some(partials), Some(at)) = (equation.site, self.site_at()) {
            row.terms.extend(
                partials
                    .iter()
                    .enumerate()
                    .map(|(i, a)| ((at + i) as u32, *a)),
            );
        }
        true
    }

    fn push(
        &self,
        point: PointId,
        e: f64,
        n: f64,
        view: &View<'_, '_>,
        terms: &mut Vec<(u32, f64)>,
    ) {
        match self.slots[point.0 as usize] {
            Slot::Node(node) => {
                // An axis that an equation never feels is left out: it would join nothing.
                terms.extend([(2 * node, e), (2 * node + 1, n)]);
            }
            Slot::Site(xy) => {
                if let Some(at) = self.site_at() {
                    let [by_e, by_n] = view.site().partials(xy);
                    terms.extend((0..4).map(|i| ((at + i) as u32, e * by_e[i] + n * by_n[i])));
                }
            }
            Slot::Fixed(_) | Slot::Out => {}
        }
    }
}

/// The network at given values.
struct View<'n, 'v> {
    network: &'n Network<'n>,
    values: Values<'v>,
}

impl State for View<'_, '_> {
    fn place(&self, point: PointId) -> Plane {
        match self.network.slots[point.0 as usize] {
            Slot::Fixed(place) => place,
            Slot::Node(node) => (self.values.get(2 * node), self.values.get(2 * node + 1)),
            Slot::Site(xy) => self.site().apply(xy),
            Slot::Out => (0.0, 0.0),
        }
    }

    fn shift(&self, shift: ShiftId) -> Plane {
        if self.network.shared == 0 {
            return (0.0, 0.0);
        }
        let at = self.network.shift_at(shift.0 as usize) as u32;
        (self.values.get(at), self.values.get(at + 1))
    }

    fn site(&self) -> Similarity {
        self.network.similarity(&self.values)
    }
}

impl Model for Network<'_> {
    fn nodes(&self) -> usize {
        self.nodes
    }

    fn width(&self) -> usize {
        2
    }

    fn shared(&self) -> usize {
        self.shared
    }

    fn rows(&self) -> usize {
        self.equations.len()
    }

    fn row(&self, i: usize, values: &Values<'_>, row: &mut Row) {
        match self.equations[i] {
            Equation::Observed(index) => {
                let observation = &self.observations.plane[index as usize];
                self.write(
                    &observation.kind,
                    observation.value,
                    observation.sigma,
                    values,
                    row,
                );
            }
            Equation::Touch(index) => {
                let touch = &self.touches[index as usize];
                let (s, c) = unit(touch.along);
                let place = View {
                    network: self,
                    values: *values,
                }
                .place(touch.at);
                let (e, n) = (
                    touch.place.0 - self.origin.0 - place.0,
                    touch.place.1 - self.origin.1 - place.1,
                );
                row.misclosure = e * s + n * c;
                row.sigma = touch.sigma;
                if let Slot::Node(node) = self.slots[touch.at.0 as usize] {
                    row.terms.extend([(2 * node, s), (2 * node + 1, c)]);
                }
            }
            Equation::Prior(component) => {
                let at = 2 * self.nodes as u32 + component;
                row.misclosure = -values.get(at);
                row.sigma = self.observations.shifts[component as usize / 2];
                row.terms.push((at, 1.0));
            }
        }
    }
}
