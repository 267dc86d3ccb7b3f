//! Stretches that rise with the flow.

use super::Figure;
use super::inverts::Levels;
use crate::math::stats::NORMAL_95;
use crate::run::Inputs;

/// A stretch whose lower end lies upstream.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Vertex at its low end, upstream.
    pub from: usize,
    /// Vertex at its high end, downstream.
    pub to: usize,
    /// How much it rises, metres.
    pub rise: Figure,
    /// Water stands at `from`: some invert upstream of it is higher.
    pub low_point: bool,
}

/// Farther apart than this many inverts, two are not compared: a belly is local, and pairs grow with the square.
const REACH: usize = 200;

/// Significant rises that do not overlap, the surest first. Called only where a uniform grade is rejected.
pub(super) fn rises(inputs: Inputs<'_>, levels: &Levels) -> Vec<Rise> {
    let mut found: Vec<(f64, usize, usize, Figure)> = Vec::new();
    for i in 0..levels.known.len() {
        for j in i + 1..levels.known.len().min(i + REACH) {
            let Some(fall) = levels.fall(inputs, i, j) else {
                continue;
            };
            let rise = Figure {
                value: -fall.value,
                sigma: fall.sigma,
            };
            if rise.value > NORMAL_95 * rise.sigma {
                found.push((rise.value / rise.sigma, i, j, rise));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut taken = vec![false; levels.known.len()];
    let mut rises = Vec::new();
    for (_, i, j, rise) in found {
        let Some(stretch) = taken.get_mut(i..=j) else {
            continue;
        };
        if stretch.iter().any(|&taken| taken) {
            continue;
        }
        stretch.fill(true);
        let (Some(&(from, _)), Some(&(to, _)), Some(low)) =
            (levels.at.get(i), levels.at.get(j), levels.known.get(i))
        else {
            continue;
        };
        let low_point = levels.known.iter().take(i).any(|level| level.z > low.z);
        rises.push(Rise {
            from,
            to,
            rise,
            low_point,
        });
    }
    rises
}
