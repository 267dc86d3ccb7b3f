//! Horizontal length of a run, with its bound.
//!
//! **The length** is that of the line as drawn: stations are counted along it. A grade is reckoned along [`Way`], which is as long as the
//! pipe on the average; along the drawn line it would come out too flat. **The length's bound** is of how far the pipe's own length lies from
//! that, and three things are in it:
//!
//! 1. what the marks' errors along the line do to it, to first order ([`variance`]);
//! 2. that scatter makes a drawn line longer, never shorter. Across a leg of length d it adds σ²/2d on the average, σ that of the one mark
//!    across the line less the other. Marks that lie within 3.29 sigma of each other (one spot found again) are no leg: the line as drawn
//!    goes to and fro between them. What it is longer than the way past them ([`Way`]) is taken for scatter, and the first two points
//!    are reckoned along that way;
//! 3. that a bend which nothing located makes it shorter than the pipe ([`crate::run::Hidden`]).
//!
//! So the pipe's length less the drawn one is taken as normal, with the mean of points 2 and 3 and the variance of 1 and 3: but for the
//! bend that is most in doubt, which is there or not. Stated is the symmetric bound that holds 95 % of this mixture.

use super::Figure;
use super::inverts::unit;
use crate::math::block::{self, Block};
use crate::math::stats::{ALARM, NORMAL_95, normal_within};
use crate::run::{Hidden, Inputs, Rests, Traced, Vertex, VertexKind};

/// Up to this many vertices, the covariance of every pair counts; beyond, that of near neighbours and of the two ends.
const PAIRS: usize = 64;
const NEAR: usize = 4;
/// Metres; a bound is looked for no closer.
const EXACT: f64 = 1e-9;

/// Horizontal length, and its 95 % bound as a one-sigma.
pub(super) fn plan(inputs: Inputs<'_>, traced: &Traced, way: &Way) -> Option<Figure> {
    let last = traced.vertices.len().checked_sub(1)?;
    (last > 0).then(|| {
        let length = traced.length();
        let kept: Vec<&Vertex> = way
            .kept
            .iter()
            .filter_map(|&vertex| traced.vertices.get(vertex))
            .collect();
        let off = Off {
            mean: way.length - length,
            variance: variance_of(inputs, traced, &kept),
        };
        Figure {
            value: length,
            sigma: off.with(&traced.hidden) / NORMAL_95,
        }
    })
}

/// One-sigma of a grade over a way of so many metres, with the bends that may be there: as much longer as the way is, as much flatter is the
/// grade. Its 95 % bound over 1.96, as for a length.
pub(super) fn flatter<'a>(
    grade: Figure,
    length: f64,
    hidden: impl Iterator<Item = &'a Hidden>,
) -> f64 {
    let rate = grade.value.abs() / length;
    let scaled = hidden.map(|one| Hidden {
        adds: one.adds * rate,
        sigma: one.sigma * rate,
        ..*one
    });
    let scaled: Vec<Hidden> = scaled.filter(|one| one.adds > 0.0).collect();
    if scaled.is_empty() {
        return grade.sigma;
    }
    let own = Off {
        mean: 0.0,
        variance: grade.sigma.powi(2),
    };
    own.with(&scaled) / NORMAL_95
}

/// The pipe's length less the drawn one, metres.
#[derive(Clone, Copy)]
struct Off {
    mean: f64,
    variance: f64,
}

impl Off {
    /// 95 % bound with the bends that may be there: the one most in doubt as there or not, the others by mean and variance.
    fn with(self, hidden: &[Hidden]) -> f64 {
        let doubt = |one: &Hidden| {
            let spread = one.adds.powi(2) * (1.0 - one.chance) + one.sigma.powi(2);
            one.chance * spread
        };
        let most = hidden
            .iter()
            .enumerate()
            .max_by(|(_, a), (_, b)| doubt(a).total_cmp(&doubt(b)));
        let mut straight = self;
        for (index, one) in hidden.iter().enumerate() {
            if most.is_some_and(|(most, _)| index != most) {
                straight.mean += one.chance * one.adds;
                straight.variance += doubt(one);
            }
        }
        let (chance, bent) = most.map_or((0.0, straight), |(_, one)| {
            let bent = Self {
                mean: straight.mean + one.adds,
                variance: straight.variance + one.sigma.powi(2),
            };
            (one.chance, bent)
        });
        bound(straight, bent, chance)
    }

    fn normal(self) -> (f64, f64) {
        (self.mean, self.variance.max(0.0).sqrt().max(1e-9))
    }
}

/// The symmetric bound that holds 95 % of one distribution or, with so much chance, the other: by Newton's method, within what the
/// steps before have left.
fn bound(straight: Off, bent: Off, chance: f64) -> f64 {
    let reach = |(mean, sigma): (f64, f64)| mean.abs() + NORMAL_95 * sigma;
    let (one, other) = (straight.normal(), bent.normal());
    // At 1.96 sigma beyond the farther mean, both hold more than 95 %.
    let (mut low, mut high) = (0.0, reach(one).max(reach(other)));
    let mut bound = high;
    // Halving alone would do it in so many.
    for _ in 0..60 {
        let (a, b) = (normal_within(bound, one), normal_within(bound, other));
        let mixed = |one: f64, other: f64| (1.0 - chance) * one + chance * other;
        let over = mixed(a.0, b.0) - 0.95;
        if over < 0.0 {
            low = bound;
        } else {
            high = bound;
        }
        let next = bound - over / mixed(a.1, b.1);
        let next = if low < next && next < high {
            next
        } else {
            f64::midpoint(low, high)
        };
        let done = (next - bound).abs() < EXACT;
        bound = next;
        if done {
            break;
        }
    }
    bound
}

/// The way past marks on one spot, less what scatter across it adds to its legs on the average: as long as the pipe, where that does not
/// bend between its marks.
pub(super) struct Way {
    /// Its vertices, indices into [`Traced::vertices`].
    kept: Vec<usize>,
    /// Length of the pipe along it, on the average; metres.
    length: f64,
    /// Each vertex' place along it, metres: a vertex that it passes has its foot on the leg. Such feet may go back.
    stations: Vec<f64>,
    /// Its direction at each vertex.
    units: Vec<[f64; 2]>,
}

impl Way {
    pub fn of(inputs: Inputs<'_>, traced: &Traced) -> Self {
        let kept = apart(inputs, traced);
        let vertices = &traced.vertices;
        let mut way = Self {
            stations: vec![0.0; vertices.len()],
            units: vec![[0.0, 1.0]; vertices.len()],
            length: 0.0,
            kept,
        };
        let mut begin = 0.0;
        for (number, pair) in way.kept.windows(2).enumerate() {
            let &[from, to] = pair else { continue };
            let (Some(a), Some(b)) = (vertices.get(from), vertices.get(to)) else {
                continue;
            };
            let drawn = f64::hypot(b.e - a.e, b.n - a.n);
            let ahead = unit([b.e - a.e, b.n - a.n]);
            let [along, across] = scatter(inputs, traced, (a, b));
            // A leg no longer than its scatter, at a run's end, is not made longer by more than that.
            let leg = drawn - across.powi(2) / (2.0 * drawn.max(across).max(along).max(1e-9));
            way.length += leg;
            // Of a leg within its scatter, half at least stays: it leads where it leads.
            let share = if drawn > 0.0 {
                (leg / drawn).max(0.5)
            } else {
                0.0
            };
            let foot = |vertex: &Vertex| {
                share * ((vertex.e - a.e) * ahead[0] + (vertex.n - a.n) * ahead[1])
            };
            // Before and after a vertex of the way, half and half.
            if let Some(at) = way.units.get_mut(from) {
                let before = if number > 0 { *at } else { ahead };
                *at = unit([before[0] + ahead[0], before[1] + ahead[1]]);
            }
            for vertex in from + 1..=to {
                let (station, at) = (way.stations.get_mut(vertex), way.units.get_mut(vertex));
                if let (Some(station), Some(at), Some(place)) = (station, at, vertices.get(vertex))
                {
                    *station = begin + foot(place);
                    *at = ahead;
                }
            }
            begin += share * drawn;
        }
        way
    }

    /// A vertex' place along it, metres, and its direction there.
    pub fn at(&self, vertex: usize) -> Option<(f64, [f64; 2])> {
        let unit = self.units.get(vertex)?;
        self.stations.get(vertex).map(|&station| (station, *unit))
    }
}

/// The vertices that are certainly apart, between the run's two ends: of those within 3.29 sigma of each other the first, at the
/// downstream end the last. Junctions lie on the line and are left out.
fn apart(inputs: Inputs<'_>, traced: &Traced) -> Vec<usize> {
    let vertices = &traced.vertices;
    let told_apart = |a: usize, b: usize| {
        let (Some(a), Some(b)) = (vertices.get(a), vertices.get(b)) else {
            return false;
        };
        let [along, _] = scatter(inputs, traced, (a, b));
        f64::hypot(b.e - a.e, b.n - a.n) > ALARM * along
    };
    let own = vertices.iter().enumerate();
    let mut own: Vec<usize> = own
        .filter(|(_, vertex)| is_own(vertex))
        .map(|(index, _)| index)
        .collect();
    let last = own.pop();
    let mut kept: Vec<usize> = Vec::new();
    for vertex in own {
        if kept.last().is_none_or(|&before| told_apart(before, vertex)) {
            kept.push(vertex);
        }
    }
    if let Some(last) = last {
        while kept.len() > 1 && kept.last().is_some_and(|&before| !told_apart(before, last)) {
            kept.pop();
        }
        kept.push(last);
    }
    kept
}

/// The run's own vertex, not another's junction.
fn is_own(vertex: &Vertex) -> bool {
    !matches!(vertex.kind, VertexKind::Junction(_))
}

/// One-sigma of the way from one vertex to another, along it and across it.
fn scatter(inputs: Inputs<'_>, traced: &Traced, (a, b): (&Vertex, &Vertex)) -> [f64; 2] {
    let joint = match (traced.rests(a.kind), traced.rests(b.kind)) {
        (Some(one), Some(other)) => joint(inputs, traced, &one, &other),
        _ => block::ZERO,
    };
    let c = block::difference(a.covariance, b.covariance, joint);
    let [e, n] = unit([b.e - a.e, b.n - a.n]);
    [[e, n], [n, -e]].map(|way| block::along(c, way).max(0.0).sqrt())
}

fn joint(inputs: Inputs<'_>, traced: &Traced, one: &Rests, other: &Rests) -> Block {
    one.covariance(other, &|i, j| traced.covariance(inputs.places, i, j))
}

/// Variance of the horizontal length from one vertex to another.
pub(super) fn variance(inputs: Inputs<'_>, traced: &Traced, from: usize, to: usize) -> f64 {
    let way = traced.vertices.get(from..=to).unwrap_or_default();
    let own: Vec<&Vertex> = way.iter().filter(|vertex| is_own(vertex)).collect();
    variance_of(inputs, traced, &own)
}

/// Variance of the length of the line through these vertices. Each moves it by the difference of the directions before and after it: on a
/// straight line only the ends do.
fn variance_of(inputs: Inputs<'_>, traced: &Traced, vertices: &[&Vertex]) -> f64 {
    let ways: Vec<[f64; 2]> = vertices
        .windows(2)
        .map(|pair| unit([pair[1].e - pair[0].e, pair[1].n - pair[0].n]))
        .collect();
    let pull = |index: usize| {
        let before = index
            .checked_sub(1)
            .and_then(|index| ways.get(index))
            .copied()
            .unwrap_or_default();
        let after = ways.get(index).copied().unwrap_or_default();
        [before[0] - after[0], before[1] - after[1]]
    };
    let pulls: Vec<[f64; 2]> = (0..vertices.len()).map(pull).collect();
    let rests: Vec<Option<Rests>> = vertices
        .iter()
        .map(|vertex| traced.rests(vertex.kind))
        .collect();
    let last = vertices.len().saturating_sub(1);
    let mut variance = 0.0;
    for (i, (vertex, &a)) in vertices.iter().zip(&pulls).enumerate() {
        variance += block::along(vertex.covariance, a);
        let reach = if vertices.len() <= PAIRS {
            last
        } else {
            (i + NEAR).min(last)
        };
        let near = (i + 1..=reach).chain((i == 0 && reach < last).then_some(last));
        for j in near {
            if let (Some(Some(one)), Some(Some(other)), Some(&b)) =
                (rests.get(i), rests.get(j), pulls.get(j))
            {
                variance += 2.0 * block::between(joint(inputs, traced, one, other), a, b);
            }
        }
    }
    variance.max(0.0)
}
