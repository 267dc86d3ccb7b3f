//! Points and rectangles on the page, millimetres, y down.

use std::ops::{Add, Mul, Sub};

/// A point, or a vector.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pt {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

/// A point.
#[must_use]
pub const fn pt(x: f64, y: f64) -> Pt {
    Pt { x, y }
}

impl Pt {
    /// Length of the vector.
    #[must_use]
    pub fn length(self) -> f64 {
        self.x.hypot(self.y)
    }

    /// Square of its length: enough to compare, and many times faster.
    #[must_use]
    pub fn square(self) -> f64 {
        self.x * self.x + self.y * self.y
    }
}

impl Add for Pt {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        pt(self.x + o.x, self.y + o.y)
    }
}

impl Sub for Pt {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        pt(self.x - o.x, self.y - o.y)
    }
}

impl Mul<f64> for Pt {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        pt(self.x * k, self.y * k)
    }
}

/// A rectangle by its edges.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Rect {
    /// Left.
    pub x0: f64,
    /// Top.
    pub y0: f64,
    /// Right.
    pub x1: f64,
    /// Bottom.
    pub y1: f64,
}

impl Rect {
    /// By its upper left corner and size.
    #[must_use]
    pub fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self {
            x0: x,
            y0: y,
            x1: x + width,
            y1: y + height,
        }
    }

    /// A point as a rectangle without area.
    #[must_use]
    pub const fn spot(p: Pt) -> Self {
        Self {
            x0: p.x,
            y0: p.y,
            x1: p.x,
            y1: p.y,
        }
    }

    /// The smallest one that holds the points; `None` without points.
    #[must_use]
    pub fn around(points: impl IntoIterator<Item = Pt>) -> Option<Self> {
        points
            .into_iter()
            .map(|p| Self {
                x0: p.x,
                y0: p.y,
                x1: p.x,
                y1: p.y,
            })
            .reduce(Self::union)
    }

    /// The smallest one that holds both.
    #[must_use]
    pub fn union(self, o: Self) -> Self {
        Self {
            x0: self.x0.min(o.x0),
            y0: self.y0.min(o.y0),
            x1: self.x1.max(o.x1),
            y1: self.y1.max(o.y1),
        }
    }

    /// Width.
    #[must_use]
    pub fn width(self) -> f64 {
        self.x1 - self.x0
    }

    /// Height.
    #[must_use]
    pub fn height(self) -> f64 {
        self.y1 - self.y0
    }

    /// Middle.
    #[must_use]
    pub fn centre(self) -> Pt {
        pt(
            f64::midpoint(self.x0, self.x1),
            f64::midpoint(self.y0, self.y1),
        )
    }

    /// Corners, clockwise from the upper left.
    #[must_use]
    pub fn corners(self) -> [Pt; 4] {
        [
            pt(self.x0, self.y0),
            pt(self.x1, self.y0),
            pt(self.x1, self.y1),
            pt(self.x0, self.y1),
        ]
    }

    /// Larger by a margin on every side.
    #[must_use]
    pub fn grown(self, by: f64) -> Self {
        Self {
            x0: self.x0 - by,
            y0: self.y0 - by,
            x1: self.x1 + by,
            y1: self.y1 + by,
        }
    }

    /// Moved by a vector.
    #[must_use]
    pub fn moved(self, by: Pt) -> Self {
        Self {
            x0: self.x0 + by.x,
            y0: self.y0 + by.y,
            x1: self.x1 + by.x,
            y1: self.y1 + by.y,
        }
    }

    /// Whether the insides meet.
    #[must_use]
    pub fn overlaps(self, o: Self) -> bool {
        self.x0 < o.x1 && o.x0 < self.x1 && self.y0 < o.y1 && o.y0 < self.y1
    }

    /// Whether the other lies wholly inside.
    #[must_use]
    pub fn holds(self, o: Self) -> bool {
        self.x0 <= o.x0 && self.y0 <= o.y0 && self.x1 >= o.x1 && self.y1 >= o.y1
    }

    /// Whether the point lies inside.
    #[must_use]
    pub fn contains(self, p: Pt) -> bool {
        self.x0 <= p.x && p.x <= self.x1 && self.y0 <= p.y && p.y <= self.y1
    }

    /// The point of the rectangle nearest to another.
    #[must_use]
    pub fn nearest(self, p: Pt) -> Pt {
        pt(p.x.clamp(self.x0, self.x1), p.y.clamp(self.y0, self.y1))
    }

    /// The piece of a segment inside (Liang and Barsky 1984), or `None`.
    #[must_use]
    pub fn clip(self, a: Pt, b: Pt) -> Option<(Pt, Pt)> {
        let d = b - a;
        let (mut t0, mut t1) = (0.0_f64, 1.0_f64);
        for (p, q) in [
            (-d.x, a.x - self.x0),
            (d.x, self.x1 - a.x),
            (-d.y, a.y - self.y0),
            (d.y, self.y1 - a.y),
        ] {
            if p.abs() < f64::EPSILON {
                if q < 0.0 {
                    return None;
                }
            } else if p < 0.0 {
                t0 = t0.max(q / p);
            } else {
                t1 = t1.min(q / p);
            }
        }
        (t0 <= t1).then(|| (a + d * t0, a + d * t1))
    }
}

/// Whether two segments cross.
#[must_use]
pub fn cross(a: (Pt, Pt), b: (Pt, Pt)) -> bool {
    let side = |p: Pt, q: Pt, r: Pt| (q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x);
    side(a.0, a.1, b.0) * side(a.0, a.1, b.1) < 0.0
        && side(b.0, b.1, a.0) * side(b.0, b.1, a.1) < 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_segment_is_clipped_to_its_inside() {
        let rect = Rect::new(0.0, 0.0, 10.0, 10.0);
        assert_eq!(
            rect.clip(pt(-5.0, 5.0), pt(15.0, 5.0)),
            Some((pt(0.0, 5.0), pt(10.0, 5.0)))
        );
        assert_eq!(rect.clip(pt(-5.0, 5.0), pt(-1.0, 5.0)), None);
        assert_eq!(
            rect.clip(pt(2.0, 2.0), pt(3.0, 3.0)),
            Some((pt(2.0, 2.0), pt(3.0, 3.0)))
        );
        assert_eq!(rect.clip(pt(-5.0, 12.0), pt(15.0, 12.0)), None);
    }

    #[test]
    fn touching_rectangles_do_not_overlap() {
        let a = Rect::new(0.0, 0.0, 2.0, 2.0);
        assert!(!a.overlaps(Rect::new(2.0, 0.0, 2.0, 2.0)));
        assert!(a.overlaps(Rect::new(1.9, 0.0, 2.0, 2.0)));
    }

    #[test]
    fn segments_cross_only_when_they_do() {
        assert!(cross(
            (pt(0.0, 0.0), pt(2.0, 2.0)),
            (pt(0.0, 2.0), pt(2.0, 0.0))
        ));
        assert!(!cross(
            (pt(0.0, 0.0), pt(2.0, 2.0)),
            (pt(3.0, 0.0), pt(3.0, 9.0))
        ));
    }
}
