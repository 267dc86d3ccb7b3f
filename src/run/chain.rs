//! A place on the way between two vertices of a run, and how far the pipe may bulge off it.

use super::rests::Rests;
use super::{Traced, Vertex, VertexKind};
use crate::math::block;
use crate::math::stats::{NORMAL_90_ONE_SIDED, NORMAL_95};

/// A place on the way; metres on the grid.
#[derive(Clone, Debug)]
pub(super) struct OnWay {
    pub e: f64,
    pub n: f64,
    pub station: f64,
    /// What it rests on.
    pub rests: Rests,
    /// Direction of flow there.
    pub unit: [f64; 2],
    /// Length of the straight leg that it lies on, and the part of it that lies before.
    pub leg: f64,
    pub part: f64,
    /// Length of the whole way.
    pub whole: f64,
    /// A bend was inferred on the way.
    pub bent: bool,
}

/// The place at a fraction `u` of the length from the vertex `from` to the vertex `to`.
pub(super) fn at(traced: &Traced, from: usize, to: usize, u: f64) -> Option<OnWay> {
    let way = Way::of(traced.vertices.get(from..=to)?);
    let target = u.clamp(0.0, 1.0) * way.whole();
    let m = way.leg_at(target);
    let (unit, leg, before) = (
        way.units.get(m).copied().unwrap_or_default(),
        way.lengths.get(m).copied().unwrap_or(0.0),
        way.lengths.iter().take(m).sum::<f64>(),
    );
    let (start, rest) = (way.vertices.get(m)?, target - before);
    let mut rests = Rests::default();
    for (j, vertex) in way.vertices.iter().enumerate() {
        if let Some(theirs) = traced.rests(vertex.kind) {
            rests.add(way.rate(j, m, u, rest), &theirs);
        }
    }
    Some(OnWay {
        e: start.e + rest * unit[0],
        n: start.n + rest * unit[1],
        station: start.station + rest,
        rests,
        unit,
        leg,
        part: if leg > 0.0 { rest / leg } else { 0.0 },
        whole: way.whole(),
        bent: way
            .vertices
            .iter()
            .any(|vertex| matches!(vertex.kind, VertexKind::Bend(_))),
    })
}

/// Some vertices in a row, with the legs between them.
struct Way<'a> {
    vertices: &'a [Vertex],
    units: Vec<[f64; 2]>,
    lengths: Vec<f64>,
}

impl<'a> Way<'a> {
    fn of(vertices: &'a [Vertex]) -> Self {
        let leg = |pair: &[Vertex]| {
            let (e, n) = (pair[1].e - pair[0].e, pair[1].n - pair[0].n);
            let length = f64::hypot(e, n);
            if length > 0.0 {
                ([e / length, n / length], length)
            } else {
                ([0.0; 2], 0.0)
            }
        };
        let (units, lengths) = vertices.windows(2).map(leg).unzip();
        Self {
            vertices,
            units,
            lengths,
        }
    }

    fn whole(&self) -> f64 {
        self.lengths.iter().sum()
    }

    /// The leg that so much of the way ends on.
    fn leg_at(&self, target: f64) -> usize {
        let mut sum = 0.0;
        let on = self.lengths.iter().position(|length| {
            sum += length;
            sum >= target
        });
        on.unwrap_or(self.lengths.len().saturating_sub(1))
    }

    /// How the place on leg `m`, `rest` beyond its start, moves with vertex `j`: with the leg's start, with the leg's
    /// direction, and along it by the share `u` of what the whole way grows less what the way before the leg does.
    fn rate(&self, j: usize, m: usize, u: f64, rest: f64) -> block::Block {
        let unit = |leg: Option<usize>| {
            leg.and_then(|leg| self.units.get(leg))
                .copied()
                .unwrap_or_default()
        };
        let (before, after) = (unit(j.checked_sub(1)), unit(Some(j)));
        let grows = [before[0] - after[0], before[1] - after[1]];
        let passed = match j.cmp(&m) {
            std::cmp::Ordering::Less => grows,
            std::cmp::Ordering::Equal => before,
            std::cmp::Ordering::Greater => [0.0; 2],
        };
        let along = [u * grows[0] - passed[0], u * grows[1] - passed[1]];
        let way = unit(Some(m));
        let mut rate = block::outer(way, along);
        if j == m {
            rate = block::add(rate, block::IDENTITY);
        }
        let leg = self.lengths.get(m).copied().unwrap_or(0.0);
        if leg > 0.0 && (j == m || j == m + 1) {
            let square = block::add(block::IDENTITY, block::scale(block::outer(way, way), -1.0));
            let swing = if j == m { -rest / leg } else { rest / leg };
            rate = block::add(rate, block::scale(square, swing));
        }
        rate
    }
}

/// As long as a cable, with its one-sigma, may be beside a straight way with this one: at the 90 % upper bound of what it has to spare.
pub fn longest((cable, sigma): (f64, f64), straight_sigma: f64) -> f64 {
    cable + NORMAL_90_ONE_SIDED * f64::hypot(sigma, straight_sigma)
}

/// One-sigma across a straight leg of length `leg` (metres on the grid) at the fraction `part` of it, where `cable` lies on a way of the
/// length `straight`; both with their one-sigma.
///
/// A cable longer than the straight way lies within an ellipse about its ends, of semi-minor axis b = ½√(l² − c²); at the
/// cable's [longest](super::Gap::longest), b is taken as a 95 % bound: for one to either side (our choice: simulated camera observations on straight pipes
/// are within their bounds in 98 of 100 cases, in a gap with a bend of 11¼ or 22½° that nothing located in 95). The way's own error
/// counts: marks that came out too far apart hide a bend as well as a cable that came out too short.
#[must_use]
pub fn bulge(cable: (f64, f64), (straight, sigma): (f64, f64), leg: f64, part: f64) -> f64 {
    let longest = longest(cable, sigma);
    if straight <= 0.0 || longest <= straight {
        return 0.0;
    }
    let b = 0.5 * leg * ((longest / straight).powi(2) - 1.0).sqrt();
    2.0 * b * (part * (1.0 - part)).max(0.0).sqrt() / NORMAL_95
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::run::Bend;

    fn vertex(kind: VertexKind, e: f64, n: f64, station: f64) -> Vertex {
        Vertex {
            kind,
            e,
            n,
            covariance: block::ZERO,
            station,
        }
    }

    /// North 3 m, a bend, east 4 m; the bend rests on nothing but itself.
    fn traced(bend: [f64; 2], first: [f64; 2], last: [f64; 2]) -> Traced {
        let one = f64::hypot(bend[0] - first[0], bend[1] - first[1]);
        let two = f64::hypot(last[0] - bend[0], last[1] - bend[1]);
        Traced {
            bends: vec![Bend {
                after: 0,
                e: bend[0],
                n: bend[1],
                turn: 1.57,
                turn_sigma: 0.1,
                rests: Rests::on(7),
            }],
            vertices: vec![
                vertex(VertexKind::Mark(0), first[0], first[1], 0.0),
                vertex(VertexKind::Bend(0), bend[0], bend[1], one),
                vertex(VertexKind::Mark(1), last[0], last[1], one + two),
            ],
            ..Traced::default()
        }
    }

    const BEND: [f64; 2] = [0.0, 3.0];
    const FIRST: [f64; 2] = [0.0, 0.0];
    const LAST: [f64; 2] = [4.0, 3.0];

    #[test]
    fn half_way_round_a_bend() {
        let way = at(&traced(BEND, FIRST, LAST), 0, 2, 0.5).unwrap();
        assert!(
            (way.e - 0.5).abs() < 1e-12 && (way.n - 3.0).abs() < 1e-12,
            "{way:?}"
        );
        assert!((way.station - 3.5).abs() < 1e-12 && way.bent && (way.part - 0.125).abs() < 1e-12);
    }

    /// Rates against small moves of each vertex.
    #[test]
    fn rates_are_what_small_moves_do() {
        for u in [0.1, 0.4, 0.5, 0.9] {
            let way = at(&traced(BEND, FIRST, LAST), 0, 2, u).unwrap();
            for (mark, which) in [(0, 0), (7, 1), (1, 2)] {
                let rate = way.rests.marks.iter().find(|(known, _)| *known == mark);
                for axis in 0..2 {
                    let moved = |by: f64| {
                        let mut places = [FIRST, BEND, LAST];
                        places[which][axis] += by;
                        let way = at(&traced(places[1], places[0], places[2]), 0, 2, u).unwrap();
                        [way.e, way.n]
                    };
                    let (low, high) = (moved(-1e-6), moved(1e-6));
                    for row in 0..2 {
                        let expected = (high[row] - low[row]) / 2e-6;
                        let found = rate.map_or(0.0, |(_, rate)| rate[row][axis]);
                        assert!(
                            (found - expected).abs() < 1e-8,
                            "{u} {mark} {axis} {row}: {found} {expected}"
                        );
                    }
                }
            }
        }
    }

    /// 5 m of cable on a 4 m chord reach 1.5 m off it in the middle, as a 95 % bound; taut cable none.
    #[test]
    fn slack_cable_bulges() {
        assert!((bulge((5.0, 0.0), (4.0, 0.0), 4.0, 0.5) * NORMAL_95 - 1.5).abs() < 1e-12);
        assert!(bulge((5.0, 0.0), (4.0, 0.0), 4.0, 1.0).abs() < f64::EPSILON);
        assert!(bulge((3.9, 0.04), (4.0, 0.0), 4.0, 0.5).abs() < f64::EPSILON);
        // Marks that may lie 0.15 m nearer leave it room.
        assert!(bulge((3.9, 0.04), (4.0, 0.09), 4.0, 0.5) > 0.1);
    }
}
