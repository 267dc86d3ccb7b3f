//! Places labels beside their points so that no two of them touch, with leaders where there is no room close by.
//!
//! Candidates in rings and directions around each point, the most crowded point first; then chains in which labels make
//! room for one that found none, then rounds in which each label looks for a better place: the discrete local search of
//! Christensen, Marks and Shieber ([`crate::sources::Source::Christensen1995`]) with hard instead of weighted overlaps
//! and with chains instead of chance. The same drawing gets the same places.
//!
//! Guaranteed: boxes that are placed lie inside the area, do not overlap and cover neither a symbol nor a wall; no leader
//! crosses another or runs through a box or a symbol. A label that finds no room is not placed (`None`); the caller says how many.

mod candidates;
mod grid;
mod search;

use super::geometry::{Pt, Rect};

/// A label wanted.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// Its point.
    pub at: Pt,
    /// Its box.
    pub size: (f64, f64),
    /// A smaller box that will do where the whole label finds no room near by.
    pub short: Option<(f64, f64)>,
    /// Radius of its point's symbol, kept clear.
    pub clear: f64,
}

/// What labels should keep off.
#[derive(Clone, Debug, Default)]
pub struct Obstacles {
    /// Lines that may be covered and crossed at a cost.
    pub lines: Vec<(Pt, Pt)>,
    /// Lines that are never covered; leaders may cross them at a cost.
    pub walls: Vec<(Pt, Pt)>,
    /// Symbols: never covered.
    pub symbols: Vec<(Pt, f64)>,
}

/// White between a box and a wall's middle line, millimetres: half of the thickest line and a little.
const WALL: f64 = 0.6;

/// Where a label went.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// Its box.
    pub rect: Rect,
    /// A leader from the symbol's edge to the box, if it is not right beside it.
    pub leader: Option<(Pt, Pt)>,
    /// It is the smaller box.
    pub short: bool,
}

/// Places labels inside `area`, no farther than `far` millimetres from their symbols. The result has one entry for each
/// label wanted.
#[must_use]
pub fn place(
    wanted: &[Wanted],
    obstacles: &Obstacles,
    area: Rect,
    far: f64,
) -> Vec<Option<Placed>> {
    search::run(wanted, obstacles, area, far)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sheet::draw::geometry::{cross, pt};

    /// A small generator of our own, so that a failure can be repeated from its seed.
    struct Lcg(u64);
    impl Lcg {
        fn next(&mut self) -> f64 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 11) as f64 / (1u64 << 53) as f64
        }
    }

    fn layout(seed: u64) -> (Vec<Wanted>, Obstacles, Rect) {
        let mut random = Lcg(seed);
        let area = Rect::new(0.0, 0.0, 200.0, 100.0);
        let mut at = pt(10.0 + 20.0 * random.next(), 20.0 + 60.0 * random.next());
        let mut heading = random.next() - 0.5;
        let count = 5 + (seed as usize % 10) * 5;
        let mut points = vec![at];
        for _ in 1..count {
            heading += (random.next() - 0.5) * 0.8;
            let step = 0.5 + 7.0 * random.next();
            let next = at + pt(heading.cos(), heading.sin()) * step;
            if !area.grown(-8.0).contains(next) {
                heading += 2.2;
                continue;
            }
            at = next;
            points.push(at);
        }
        let wanted = points
            .iter()
            .map(|&at| Wanted {
                at,
                size: (6.0 + 10.0 * random.next(), 2.6),
                short: None,
                clear: 1.0,
            })
            .collect();
        let walls = points.windows(2).map(|p| (p[0], p[1])).collect();
        (
            wanted,
            Obstacles {
                lines: Vec::new(),
                walls,
                symbols: points.iter().map(|&p| (p, 1.0)).collect(),
            },
            area,
        )
    }

    /// What [`place`] guarantees, for every pair.
    fn holds(name: &str, obstacles: &Obstacles, area: Rect, placed: &[Option<Placed>]) {
        let placed: Vec<&Placed> = placed.iter().flatten().collect();
        for (i, a) in placed.iter().enumerate() {
            assert!(area.holds(a.rect), "{name}");
            let covered = |(at, r): &(Pt, f64)| (a.rect.nearest(*at) - *at).length() < *r - 1e-9;
            assert!(
                !obstacles.symbols.iter().any(covered),
                "{name}: a symbol is covered"
            );
            let under = |(p, q): &(Pt, Pt)| a.rect.clip(*p, *q).is_some();
            assert!(
                !obstacles.walls.iter().any(under),
                "{name}: a wall is covered"
            );
            for b in placed.iter().skip(i + 1) {
                assert!(!a.rect.overlaps(b.rect), "{name}, label {i}");
                let through = |x: &Placed, y: &Placed| {
                    x.leader.is_some_and(|(p, q)| y.rect.clip(p, q).is_some())
                };
                assert!(!through(a, b) && !through(b, a), "{name}, label {i}");
                if let (Some(p), Some(q)) = (a.leader, b.leader) {
                    assert!(!cross(p, q), "{name}, label {i}: leaders cross");
                }
            }
        }
    }

    #[test]
    fn on_fifty_layouts_nothing_overlaps_and_199_in_200_find_room() {
        let (mut all, mut missing, mut led) = (0, 0, 0.0);
        for seed in 0..50 {
            let (wanted, obstacles, area) = layout(seed);
            let placed = place(&wanted, &obstacles, area, 60.0);
            assert_eq!(placed.len(), wanted.len());
            holds(&format!("seed {seed}"), &obstacles, area, &placed);
            all += wanted.len();
            missing += placed.iter().filter(|p| p.is_none()).count();
            let leaders = placed.iter().flatten().filter_map(|p| p.leader);
            led += leaders.map(|(a, b)| (b - a).length()).sum::<f64>();
        }
        assert!(all > 800, "{all}");
        println!(
            "{missing} of {all} found no room; leaders {:.1} mm a label",
            led / all as f64
        );
        assert!(missing * 200 < all, "{missing} of {all} found no room");
    }

    #[test]
    fn two_points_at_one_place_both_get_a_label() {
        let wanted = [Wanted {
            at: pt(50.0, 50.0),
            size: (10.0, 3.0),
            short: None,
            clear: 1.0,
        }; 2];
        let placed = place(
            &wanted,
            &Obstacles::default(),
            Rect::new(0.0, 0.0, 100.0, 100.0),
            60.0,
        );
        let [Some(a), Some(b)] = placed[..] else {
            panic!("{placed:?}")
        };
        assert!(!a.rect.overlaps(b.rect));
    }

    #[test]
    fn a_label_larger_than_the_area_is_not_placed() {
        let wanted = [Wanted {
            at: pt(5.0, 5.0),
            size: (30.0, 3.0),
            short: None,
            clear: 1.0,
        }];
        assert_eq!(
            place(
                &wanted,
                &Obstacles::default(),
                Rect::new(0.0, 0.0, 10.0, 10.0),
                60.0
            ),
            vec![None]
        );
    }

    #[test]
    fn the_same_drawing_gets_the_same_places() {
        let (wanted, obstacles, area) = layout(7);
        assert_eq!(
            place(&wanted, &obstacles, area, 60.0),
            place(&wanted, &obstacles, area, 60.0)
        );
    }
}
