//! Collects every height of a job, decides which are used at a point, and adjusts them.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::iter;
use std::sync::Arc;

use smallvec::smallvec;

use super::book::{Book, Known, reduce};
use super::network::{End, HeightNetwork, HeightRow};
use super::{GroundFrom, HeightCheck, HeightResidual, HeightSuspect, Heights, Names};
use crate::job::model::{Control, Job, MarkRow, MeasureKind, Role, Source, Use};
use crate::limits::Limits;
use crate::math::adjust::{Model, Row, Values, adjust};
use crate::math::solution::Solution;
use crate::observe::{Observations, PointId, PointRole, window};

/// A height given for one point.
struct Direct {
    point: PointId,
    z: f64,
    /// `None` is exact.
    sigma: Option<f64>,
    from: GroundFrom,
    usage: Use,
    source: Source,
}

/// A height difference.
struct Difference {
    from: Arc<str>,
    to: Arc<str>,
    value: f64,
    sigma: f64,
    usage: Use,
    source: Source,
    what: &'static str,
}

/// Names of points, of marks (their centre first), and of points that only heights name.
struct Nodes<'a> {
    observations: &'a Observations,
    /// Made when the first name is asked for: where no heights join points, none is.
    by_name: OnceCell<HashMap<Arc<str>, usize>>,
    /// For each plane point, then each further name: its end.
    ends: Vec<Option<End>>,
    names: Vec<Arc<str>>,
    count: u32,
}

impl<'a> Nodes<'a> {
    fn new(observations: &'a Observations) -> Self {
        let ends = vec![None; observations.points.len()];
        Self {
            observations,
            by_name: OnceCell::new(),
            ends,
            names: Vec::new(),
            count: 0,
        }
    }

    fn by_name(&self) -> &HashMap<Arc<str>, usize> {
        self.by_name.get_or_init(|| {
            let mut by_name = HashMap::new();
            for (i, point) in self.observations.points.iter().enumerate() {
                by_name.entry(Arc::clone(&point.name)).or_insert(i);
            }
            for mark in &self.observations.marks {
                if let Some((_, id)) = mark.centre.or(mark.exposed) {
                    let name = by_name.entry(Arc::clone(&mark.name));
                    name.or_insert(id.0 as usize);
                }
            }
            by_name
        })
    }

    /// Index of a name's point; further names come after the plane's points.
    fn index(&mut self, name: &Arc<str>) -> usize {
        if let Some(&index) = self.by_name().get(name) {
            return index;
        }
        let index = self.ends.len();
        self.ends.push(None);
        self.names.push(Arc::clone(name));
        if let Some(by_name) = self.by_name.get_mut() {
            by_name.insert(Arc::clone(name), index);
        }
        index
    }

    fn end(&mut self, index: usize) -> End {
        let count = &mut self.count;
        *self.ends[index].get_or_insert_with(|| {
            *count += 1;
            End::Node(*count - 1)
        })
    }

    fn name(&self, index: usize) -> Arc<str> {
        match self.observations.points.get(index) {
            Some(point) => Arc::clone(&point.name),
            None => Arc::clone(&self.names[index - self.observations.points.len()]),
        }
    }
}

/// Ground height of a row by its GNSS height: less the antenna's height above the ground, less the separation.
pub(super) fn by_gnss(job: &Job, row: &MarkRow) -> Option<(f64, f64)> {
    let a = &job.accuracy;
    if let (Some(gnss), Some(separation)) = (&row.placing.gnss, job.grid.geoid_separation)
        && let Some(height) = gnss.height
    {
        let usual = window::usual_sigma(gnss, a);
        let horizontal = row.placing.sigma.unwrap_or(usual);
        let sigma = row.placing.sigma_v.unwrap_or(a.vertical_ratio * horizontal);
        return Some((height - window::antenna(job, row) - separation, sigma));
    }
    let mean = window::mean(job, row.placing.window?)?;
    let separation = job.grid.geoid_separation.or(mean.separation)?;
    Some((
        mean.height? - window::antenna(job, row) - separation,
        row.placing.sigma_v.unwrap_or(mean.sigma.2),
    ))
}

/// The heights that a mark's row gives by itself, each with its one-sigma: the best first, and no further one looked for than is taken.
pub(super) fn given(job: &Job, row: &MarkRow) -> impl Iterator<Item = (f64, f64, GroundFrom)> {
    let usual = job.accuracy.ground;
    let ground = row.ground.map(|z| (z, usual, GroundFrom::Given));
    let elevation = row.placing.elevation.map(|z| {
        let sigma = row.placing.sigma_v.unwrap_or(usual);
        (z, sigma, GroundFrom::Elevation)
    });
    let gnss = iter::once_with(|| by_gnss(job, row)).flatten();
    let gnss = gnss.map(|(z, sigma)| (z, sigma, GroundFrom::Gnss));
    ground.into_iter().chain(elevation).chain(gnss)
}

/// The best of them.
fn of_mark(job: &Job, row: &MarkRow, point: PointId) -> Option<Direct> {
    let (z, sigma, from) = given(job, row).next()?;
    Some(Direct {
        point,
        z,
        sigma: Some(sigma),
        from,
        usage: row.usage,
        source: row.source.clone(),
    })
}

/// The height that a reference's row gives: its elevation, or what its height above the ellipsoid comes to.
fn of_control(job: &Job, control: &Control, point: PointId) -> Option<Direct> {
    let a = &job.accuracy;
    let (z, sigma, from) = if let Some(z) = control.elevation {
        (z, control.sigma_v, GroundFrom::Elevation)
    } else {
        let height = control.geographic.as_ref()?.height?;
        let usual = a.vertical_ratio * control.sigma.unwrap_or(a.rtk);
        let sigma = control.sigma_v.unwrap_or(usual);
        (
            height - job.grid.geoid_separation?,
            Some(sigma),
            GroundFrom::Gnss,
        )
    };
    Some(Direct {
        point,
        z,
        sigma,
        from,
        usage: control.usage,
        source: control.source.clone(),
    })
}

fn direct(job: &Job, observations: &Observations, nodes: &Nodes<'_>) -> Vec<Direct> {
    let mut all = Vec::new();
    for (i, point) in observations.points.iter().enumerate() {
        let id = PointId(i as u32);
        match point.role {
            PointRole::Mark(row) => {
                all.extend(job.marks.get(row).and_then(|row| of_mark(job, row, id)));
            }
            PointRole::Control(row) => {
                let control = job.control.get(row);
                all.extend(control.and_then(|control| of_control(job, control, id)));
            }
            PointRole::Auxiliary => {}
        }
    }
    // Rows kept out have no point of their own, but for a reference that only they know.
    for (row, mark) in &observations.compared {
        let row = job.marks.get(*row);
        let Some(row) = row.filter(|row| matches!(row.role, Role::Centre | Role::Exposed)) else {
            continue;
        };
        let points = observations.marks.get(*mark);
        let point = points.and_then(|points| points.centre.or(points.exposed));
        all.extend(point.and_then(|(_, point)| of_mark(job, row, point)));
    }
    let control = job.control.iter().enumerate();
    for (row, control) in control.filter(|(_, control)| control.usage == Use::Check) {
        let point = nodes.by_name().get(&control.point);
        let role = |point: usize| observations.points.get(point).map(|point| point.role);
        if let Some(&point) = point.filter(|&&point| role(point) != Some(PointRole::Control(row))) {
            all.extend(of_control(job, control, PointId(point as u32)));
        }
    }
    all
}

/// Begins the names of instruments: no point's does, for reading lets no such character into a name.
const INSTRUMENT: char = '\u{1}';

/// The instrument of a set-up, as a point of its own.
fn instrument(setup: usize) -> Arc<str> {
    Arc::from(format!("{INSTRUMENT}{setup}"))
}

fn differences(job: &Job, known: &dyn Fn(&str) -> Option<Known>) -> (Vec<Difference>, Book) {
    let book = reduce(&job.levels, known);
    let mut all: Vec<Difference> = book
        .sights
        .iter()
        .map(|sight| Difference {
            from: Arc::clone(&sight.point),
            to: instrument(sight.setup),
            value: sight.reading,
            // Two of them make the set-up's difference.
            sigma: job.accuracy.level * std::f64::consts::FRAC_1_SQRT_2,
            usage: Use::Yes,
            source: sight.source.clone(),
            what: if sight.back { "backsight" } else { "sight" },
        })
        .collect();
    for measure in job
        .measures
        .iter()
        .filter(|m| m.kind == MeasureKind::HeightDifference)
    {
        all.push(Difference {
            from: Arc::clone(&measure.from),
            to: Arc::clone(&measure.to),
            value: measure.value,
            sigma: measure.sigma.unwrap_or(job.accuracy.height_difference),
            usage: measure.usage,
            source: measure.source.clone(),
            what: "height_difference",
        });
    }
    (all, book)
}

fn root(group: &mut [usize], mut i: usize) -> usize {
    while group[i] != i {
        group[i] = group[group[i]];
        i = group[i];
    }
    i
}

/// Points joined by height differences to a height that was given for the ground or a reference.
fn anchored(
    pairs: &[(usize, usize)],
    count: usize,
    anchors: impl Iterator<Item = usize>,
) -> Vec<bool> {
    let mut group: Vec<usize> = (0..count).collect();
    for &(a, b) in pairs {
        let (a, b) = (root(&mut group, a), root(&mut group, b));
        group[a.max(b)] = a.min(b);
    }
    let roots: BTreeSet<usize> = anchors.map(|i| root(&mut group, i)).collect();
    (0..count)
        .map(|i| roots.contains(&root(&mut group, i)))
        .collect()
}

/// Rows for the adjustment, rows to be compared, and where each plane point's ground comes from.
struct Gathered {
    rows: Vec<HeightRow>,
    checks: Vec<HeightRow>,
    /// Rows to be compared whose points have no height.
    lonely: Vec<(String, Source)>,
    from: Vec<Option<GroundFrom>>,
}

fn gather(nodes: &mut Nodes<'_>, directs: &[Direct], differences: &[Difference]) -> Gathered {
    let pairs: Vec<(usize, usize)> = differences
        .iter()
        .map(|d| (nodes.index(&d.from), nodes.index(&d.to)))
        .collect();
    let used: Vec<(usize, usize)> = pairs
        .iter()
        .zip(differences)
        .filter(|(_, d)| d.usage == Use::Yes)
        .map(|(p, _)| *p)
        .collect();
    let mut levelled = vec![false; nodes.ends.len()];
    for (a, b) in &used {
        levelled[*a] = true;
        levelled[*b] = true;
    }
    let in_use = || directs.iter().filter(|d| d.usage == Use::Yes);
    let given = |d: &&Direct| d.from == GroundFrom::Given || is_benchmark(nodes.observations, d);
    let anchored = anchored(
        &used,
        nodes.ends.len(),
        in_use().filter(given).map(|d| d.point.0 as usize),
    );
    let mut out = Gathered {
        rows: vec![],
        checks: vec![],
        lonely: vec![],
        from: vec![None; nodes.observations.points.len()],
    };
    let beaten = |index: usize| levelled[index] && anchored[index];
    out.directs(nodes, directs, &beaten);
    out.differences(nodes, &pairs, differences);
    out.compare(nodes, directs, &pairs, differences);
    out
}

impl Gathered {
    /// Heights of single points. A levelled height goes before one from elsewhere, if the levels hang on something:
    /// `beaten`.
    fn directs(
        &mut self,
        nodes: &mut Nodes<'_>,
        directs: &[Direct],
        beaten: &dyn Fn(usize) -> bool,
    ) {
        let used = || directs.iter().filter(|d| d.usage == Use::Yes);
        for direct in used().filter(|d| d.sigma.is_none()) {
            nodes.ends[direct.point.0 as usize] = Some(End::Fixed(direct.z));
            self.from[direct.point.0 as usize] = Some(direct.from);
        }
        for direct in used() {
            let index = direct.point.0 as usize;
            let Some(sigma) = direct.sigma else {
                continue;
            };
            let anchor =
                direct.from == GroundFrom::Given || is_benchmark(nodes.observations, direct);
            if !anchor && beaten(index) {
                continue;
            }
            self.from[index].get_or_insert(direct.from);
            let (to, name) = (nodes.end(index), nodes.name(index));
            self.rows.push(direct.row(to, sigma, name));
        }
    }

    fn differences(
        &mut self,
        nodes: &mut Nodes<'_>,
        pairs: &[(usize, usize)],
        differences: &[Difference],
    ) {
        let used = pairs.iter().zip(differences);
        for (&(a, b), d) in used.filter(|(_, d)| d.usage == Use::Yes) {
            let (from, to) = (nodes.end(a), nodes.end(b));
            let ends = [a, b].map(|index| nodes.name(index)).into_iter();
            let names = ends.filter(|name| !name.starts_with(INSTRUMENT)).collect();
            for index in [a, b] {
                if let Some(slot) = self.from.get_mut(index) {
                    slot.get_or_insert(GroundFrom::Levelled);
                }
            }
            self.rows.push(d.row((from, to), names));
        }
    }

    /// What is kept out: it makes no unknown of a point that nothing else gives a height.
    fn compare(
        &mut self,
        nodes: &Nodes<'_>,
        directs: &[Direct],
        pairs: &[(usize, usize)],
        differences: &[Difference],
    ) {
        let end = |index: usize| nodes.ends.get(index).copied().flatten();
        for direct in directs.iter().filter(|d| d.usage == Use::Check) {
            let index = direct.point.0 as usize;
            let name = nodes.name(index);
            match end(index) {
                Some(to) => {
                    let sigma = direct.sigma.unwrap_or(0.0);
                    self.checks.push(direct.row(to, sigma, name));
                }
                None => self.lonely.push((name.to_string(), direct.source.clone())),
            }
        }
        let kept_out = pairs.iter().zip(differences);
        for (&(a, b), d) in kept_out.filter(|(_, d)| d.usage == Use::Check) {
            let names: Names = smallvec![nodes.name(a), nodes.name(b)];
            match end(a).zip(end(b)) {
                Some(ends) => self.checks.push(d.row(ends, names)),
                None => self.lonely.push((names.join("–"), d.source.clone())),
            }
        }
    }
}

impl Direct {
    fn row(&self, to: End, sigma: f64, name: Arc<str>) -> HeightRow {
        HeightRow {
            from: None,
            to,
            value: self.z,
            sigma,
            source: self.source.clone(),
            what: self.from.column(),
            names: smallvec![name],
        }
    }
}

impl Difference {
    fn row(&self, (from, to): (End, End), names: Names) -> HeightRow {
        HeightRow {
            from: Some(from),
            to,
            value: self.value,
            sigma: self.sigma,
            source: self.source.clone(),
            what: self.what,
            names,
        }
    }
}

/// A reference point whose elevation was given: levels may begin and close on it.
fn is_benchmark(observations: &Observations, direct: &Direct) -> bool {
    let role = observations
        .points
        .get(direct.point.0 as usize)
        .map(|point| point.role);
    matches!(role, Some(PointRole::Control(_))) && direct.from == GroundFrom::Elevation
}

/// Below this a redundancy number is rounding: as in the plane.
const LEAST_REDUNDANCY: f64 = 1e-5;
/// Rounds of the search for blunders: more than a book of levels ever needs.
const ROUNDS: usize = 50;

pub(super) fn heights(job: &Job, observations: &Observations, limits: &Limits) -> Heights {
    let mut nodes = Nodes::new(observations);
    let directs = direct(job, observations, &nodes);
    let fixed: HashMap<Arc<str>, Known> = directs
        .iter()
        .filter(|d| d.usage == Use::Yes && is_benchmark(observations, d))
        .map(|d| {
            let (z, sigma) = (d.z, d.sigma.unwrap_or(0.0));
            (nodes.name(d.point.0 as usize), Known { z, sigma })
        })
        .collect();
    let (differences, book) = differences(job, &|name| fixed.get(name).copied());
    let Gathered {
        rows,
        checks,
        lonely,
        from,
    } = gather(&mut nodes, &directs, &differences);
    let network = HeightNetwork {
        nodes: nodes.count as usize,
        rows: &rows,
    };
    let mean = directs.iter().map(|d| d.z).sum::<f64>() / directs.len().max(1) as f64;
    let start = vec![mean; network.nodes];
    let solution = adjust(&network, &start, &|_| false);
    let mut linear = Row::default();
    let residuals: Vec<HeightResidual> = (0..rows.len())
        .map(|i| residual(&network, &solution, i, &mut linear))
        .collect();
    let suspects = search(&rows, &residuals, &solution, (mean, limits.alarm));
    let checks = compare(&checks, network.nodes, &solution);
    let loose =
        |end: &End| matches!(end, End::Node(node) if solution.loose.binary_search(node).is_ok());
    let undetermined = (0..nodes.ends.len())
        .filter(|&i| nodes.ends[i].as_ref().is_some_and(loose))
        .map(|i| nodes.name(i))
        .filter(|name| !name.starts_with(INSTRUMENT))
        .collect();
    let ends = nodes
        .ends
        .iter()
        .zip(&from)
        .map(|(end, from)| Some(((*end)?, (*from)?)).filter(|(end, _)| !loose(end)))
        .collect();
    Heights {
        book,
        residuals,
        suspects,
        checks,
        lonely,
        doubts: Vec::new(),
        undetermined,
        ends,
        solution,
    }
}

/// Rows kept out against the adjusted heights; those of a point that is not determined are left out.
fn compare(checks: &[HeightRow], nodes: usize, solution: &Solution) -> Vec<HeightCheck> {
    let values = Values::whole(&solution.values, nodes);
    let network = HeightNetwork {
        nodes,
        rows: checks,
    };
    (0..checks.len())
        .filter_map(|i| {
            let mut row = Row::default();
            network.row(i, &values, &mut row);
            let loose = row
                .terms
                .iter()
                .any(|(node, _)| solution.loose.binary_search(node).is_ok());
            let names: Vec<&str> = checks[i].names.iter().map(|name| &**name).collect();
            (!loose).then(|| HeightCheck {
                point: names.join("–"),
                difference: row.misclosure,
                sigma: (solution.variance(&row.terms) + row.sigma * row.sigma)
                    .max(0.0)
                    .sqrt(),
                source: checks[i].source.clone(),
            })
        })
        .collect()
}

fn residual(
    network: &HeightNetwork<'_>,
    solution: &Solution,
    i: usize,
    linear: &mut Row,
) -> HeightResidual {
    linear.clear();
    network.row(i, &Values::whole(&solution.values, network.nodes), linear);
    let row = network.rows[i].clone();
    let redundancy =
        (1.0 - solution.variance(&linear.terms) / (row.sigma * row.sigma)).clamp(0.0, 1.0);
    let residual = -linear.misclosure;
    let standardised =
        (redundancy > LEAST_REDUNDANCY).then(|| residual / (row.sigma * redundancy.sqrt()));
    let HeightRow {
        value,
        sigma,
        source,
        what,
        names,
        ..
    } = row;
    HeightResidual {
        what,
        points: names,
        value,
        sigma,
        residual,
        redundancy,
        standardised,
        source,
    }
}

/// Residuals whose sizes differ by less than this part are of one size: in a linear problem only rounding keeps them apart.
const EQUAL: f64 = 1e-6;

/// One at a time: the largest over the alarm is left out, and the rest looked at again. Heights that share no point
/// with it are as they were, so only its own part is solved anew.
fn search(
    rows: &[HeightRow],
    residuals: &[HeightResidual],
    solution: &Solution,
    (mean, alarm): (f64, f64),
) -> Vec<HeightSuspect> {
    let size = |r: &HeightResidual| r.standardised.map_or(0.0, f64::abs);
    let part = |i: usize| node(rows.get(i)?).map(|node| solution.part_of(node));
    let loud = (0..rows.len()).filter(|&i| residuals.get(i).is_some_and(|r| size(r) > alarm));
    let mut members: BTreeMap<Option<u32>, Vec<usize>> = BTreeMap::new();
    let parts: BTreeSet<Option<u32>> = loud.map(part).collect();
    for i in (0..rows.len()).filter(|_| !parts.is_empty()) {
        let part = part(i);
        if parts.contains(&part) {
            members.entry(part).or_default().push(i);
        }
    }
    let mut fits: BTreeMap<usize, HeightResidual> = members
        .values()
        .flatten()
        .filter_map(|&i| Some((i, residuals.get(i)?.clone())))
        .collect();
    let mut out: Vec<HeightSuspect> = Vec::new();
    while let Some((&worst, fit)) = fits
        .iter()
        .filter(|(_, fit)| size(fit) > alarm)
        .max_by(|a, b| size(a.1).total_cmp(&size(b.1)).then(b.0.cmp(a.0)))
        && out.len() < ROUNDS
    {
        let part = part(worst);
        // What is in no part meets fixed points only: nothing else can be wrong in its stead.
        let others = members.get(&part).filter(|_| part.is_some());
        let others = others.map_or(&[][..], Vec::as_slice);
        let least = size(fit) * (1.0 - EQUAL);
        let as_loud = |i: &usize| *i != worst && fits.get(i).is_some_and(|fit| size(fit) >= least);
        out.push(HeightSuspect {
            row: worst,
            standardised: size(fit),
            predicted: fit.value + fit.residual / fit.redundancy,
            equals: others.iter().copied().filter(as_loud).collect(),
        });
        fits.remove(&worst);
        if others.is_empty() {
            continue;
        }
        let is_out = |i| out.iter().any(|suspect| suspect.row == i);
        for (i, fit) in again(rows, others, mean, &is_out) {
            match out.iter_mut().find(|suspect| suspect.row == i) {
                Some(suspect) => suspect.predicted = fit.value + fit.residual,
                None => drop(fits.insert(i, fit)),
            }
        }
    }
    out
}

/// A node of a row, if it has one.
fn node(row: &HeightRow) -> Option<u32> {
    [Some(row.to), row.from]
        .into_iter()
        .flatten()
        .find_map(|end| match end {
            End::Node(node) => Some(node),
            End::Fixed(_) => None,
        })
}

/// The residuals of some rows, adjusted by themselves without those that are out.
fn again(
    rows: &[HeightRow],
    members: &[usize],
    mean: f64,
    out: &dyn Fn(usize) -> bool,
) -> Vec<(usize, HeightResidual)> {
    let mut numbers: HashMap<u32, u32> = HashMap::new();
    let mut renumber = |end: End| match end {
        End::Fixed(z) => End::Fixed(z),
        End::Node(node) => {
            let next = numbers.len() as u32;
            End::Node(*numbers.entry(node).or_insert(next))
        }
    };
    let some: Vec<HeightRow> = members
        .iter()
        .filter_map(|&i| rows.get(i))
        .map(|row| HeightRow {
            from: row.from.map(&mut renumber),
            to: renumber(row.to),
            ..row.clone()
        })
        .collect();
    let network = HeightNetwork {
        nodes: numbers.len(),
        rows: &some,
    };
    let is_out: Vec<bool> = members.iter().map(|&row| out(row)).collect();
    let solution = adjust(&network, &vec![mean; network.nodes], &|i| is_out[i]);
    let mut linear = Row::default();
    members
        .iter()
        .enumerate()
        .map(|(i, &row)| (row, residual(&network, &solution, i, &mut linear)))
        .collect()
}
