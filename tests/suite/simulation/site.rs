//! The site: its grid, its ground, its references, and which of them a crew would measure from.

use super::frame::{Frame, Ground};
use super::pipe::{Plan, Surface};
use super::rng::Rng;

/// A point that measurements go from.
#[derive(Clone, Debug)]
pub struct Point {
    /// Name.
    pub name: String,
    /// Place.
    pub at: Ground,
}

/// A site.
pub struct Site {
    /// Its grid.
    pub frame: Frame,
    /// Its ground.
    pub surface: Surface,
    /// Points of `control.csv` with a place.
    pub references: Vec<Point>,
    /// House corners, known by tapes alone.
    pub corners: Vec<Point>,
}

/// Longest tape.
const REACH: f64 = 30.0;

/// Distance between two places.
pub fn distance(a: Ground, b: Ground) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}

/// Grid azimuth from one place to another.
pub fn azimuth(from: Ground, to: Ground) -> f64 {
    (to[0] - from[0]).atan2(to[1] - from[1])
}

/// A place so far along and to the right of a line.
fn beside(from: Ground, azimuth: f64, along: f64, right: f64) -> Ground {
    let (s, c) = azimuth.sin_cos();
    [
        from[0] + along * s + right * c,
        from[1] + along * c - right * s,
    ]
}

/// References to either side of the pipe, as corners of houses and kerbs would be.
pub fn references(plan: &Plan, rng: &mut Rng) -> Vec<Point> {
    let mut points = Vec::new();
    let (mut station, mut side) = (-3.0, rng.sign());
    while station < plan.length() + 3.0 || points.len() < 5 {
        let at = beside(
            plan.at(station),
            plan.azimuth(station),
            0.0,
            side * rng.between((5.0, 11.0)),
        );
        points.push(Point {
            name: format!("P{}", points.len() + 1),
            at,
        });
        station += rng.between((4.0, 7.0));
        side = -side;
    }
    points
}

/// Corners of two houses, one to either side, near enough for short tapes.
pub fn corners(plan: &Plan, rng: &mut Rng) -> Vec<Point> {
    let middle = 0.5 * plan.length();
    let spread = (0.35 * plan.length()).max(3.0);
    let places = [(-spread, -1.0), (0.0, 1.0), (spread, -1.0), (0.0, -1.0)];
    let corner = |(i, (along, side)): (usize, (f64, f64)), rng: &mut Rng| {
        let at = beside(
            plan.at(middle),
            plan.azimuth(middle),
            along,
            side * rng.between((3.0, 7.0)),
        );
        Point {
            name: format!("K{}", i + 1),
            at,
        }
    };
    places
        .into_iter()
        .enumerate()
        .map(|place| corner(place, rng))
        .collect()
}

/// Station and offset of a place from a line.
pub fn station_offset(from: Ground, to: Ground, at: Ground) -> [f64; 2] {
    let turn = azimuth(from, at) - azimuth(from, to);
    let length = distance(from, at);
    [length * turn.cos(), length * turn.sin()]
}

/// The references that fix a place best by tapes, `count` of them: the largest least eigenvalue of the directions' sum.
pub fn best_ties(points: &[Point], at: Ground, count: usize) -> Vec<&Point> {
    let mut near: Vec<&Point> = points
        .iter()
        .filter(|p| (1.0..REACH).contains(&distance(p.at, at)))
        .collect();
    near.sort_by(|a, b| distance(a.at, at).total_cmp(&distance(b.at, at)));
    near.truncate(7);
    let mut best = (f64::NEG_INFINITY, Vec::new());
    for set in 0_u32..1 << near.len() {
        if set.count_ones() as usize != count {
            continue;
        }
        let chosen: Vec<&Point> = near
            .iter()
            .enumerate()
            .filter(|(i, _)| set >> i & 1 == 1)
            .map(|(_, point)| *point)
            .collect();
        let strength = strength(&chosen, at);
        if strength > best.0 {
            best = (strength, chosen);
        }
    }
    best.1
}

fn strength(points: &[&Point], at: Ground) -> f64 {
    let (mut ee, mut en, mut nn) = (0.0, 0.0, 0.0);
    for point in points {
        let (s, c) = azimuth(point.at, at).sin_cos();
        (ee, en, nn) = (ee + s * s, en + s * c, nn + c * c);
    }
    // With two tapes the mark must be well to one side of the line, for the side to be plain.
    if let [p, q] = points
        && station_offset(p.at, q.at, at)[1].abs() < 2.0
    {
        return f64::NEG_INFINITY;
    }
    0.5 * (ee + nn) - (0.5 * (ee - nn)).hypot(en)
}

/// The line of two references from which a place lies least far off.
pub fn best_baseline(points: &[Point], at: Ground) -> [&Point; 2] {
    let cost = |p: &Point, q: &Point| {
        let [station, offset] = station_offset(p.at, q.at, at);
        let outside = (-station).max(station - distance(p.at, q.at)).max(0.0);
        if distance(p.at, q.at) < 5.0 {
            f64::INFINITY
        } else {
            offset.abs() + 2.0 * outside
        }
    };
    let pairs = points
        .iter()
        .flat_map(|p| points.iter().map(move |q| [p, q]));
    pairs
        .min_by(|[p, q], [r, s]| cost(p, q).total_cmp(&cost(r, s)))
        .expect("a site has references")
}

/// The nearest reference that an instrument at it could see the place from, and the farthest other one.
pub fn set_up(points: &[Point], at: Ground) -> [&Point; 2] {
    let near = points.iter().filter(|p| distance(p.at, at) > 2.5);
    let setup = near
        .min_by(|p, q| distance(p.at, at).total_cmp(&distance(q.at, at)))
        .expect("references");
    let far = points
        .iter()
        .max_by(|p, q| distance(p.at, setup.at).total_cmp(&distance(q.at, setup.at)));
    [setup, far.expect("references")]
}

#[cfg(test)]
mod tests {
    use super::{Point, best_baseline, best_ties, station_offset};

    fn point(name: &str, at: [f64; 2]) -> Point {
        Point {
            name: name.to_owned(),
            at,
        }
    }

    #[test]
    fn offsets_are_right_positive() {
        let [station, offset] = station_offset([0.0, 0.0], [0.0, 10.0], [3.0, 4.0]);
        assert!((station - 4.0).abs() < 1e-12 && (offset - 3.0).abs() < 1e-12);
    }

    #[test]
    fn crews_choose_what_cuts_well() {
        let points = [
            point("N", [0.0, 9.0]),
            point("S", [0.0, -9.0]),
            point("E", [9.0, 0.0]),
            point("X", [0.5, 8.0]),
        ];
        let chosen = best_ties(&points, [2.5, 0.0], 2);
        let names: Vec<&str> = chosen.iter().map(|point| point.name.as_str()).collect();
        // From the east and from north or south the tapes cross squarely; north and south are nearly in line.
        assert!(names.contains(&"E") && names.len() == 2, "{names:?}");
        let [p, q] = best_baseline(&points, [1.0, 2.0]);
        let offset = station_offset(p.at, q.at, [1.0, 2.0])[1].abs();
        assert!(offset < 1.01, "{offset} off {} {}", p.name, q.name);
    }
}
