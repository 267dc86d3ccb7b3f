//! Where two lines of position meet, or how they miss.

use crate::observe::kinds::{Locus, Plane, unit};

/// The meeting of two loci.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Meeting {
    /// Places common to both, at most two.
    pub(super) places: Vec<Plane>,
    /// Where they touch or come nearest, unless they are two lines.
    pub(super) touch: Option<Nearest>,
}

/// The nearest approach of two loci.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Nearest {
    /// Place between them.
    pub(super) place: Plane,
    /// Distance by which they miss; negative where they cross.
    pub(super) gap: f64,
    /// Grid azimuth along which a point can slide at the touch.
    pub(super) along: f64,
    /// Sliding by t changes the gap by t²/(2·bend), metres.
    pub(super) bend: f64,
    /// Sliding by t leaves the straight line by t²/2 of this, 1/metres: the mean curvature of both.
    pub(super) curve: f64,
}

/// Intersects two loci.
pub(super) fn meet(a: &Locus, b: &Locus) -> Meeting {
    match (*a, *b) {
        (
            Locus::Circle {
                centre: p,
                radius: r,
            },
            Locus::Circle {
                centre: q,
                radius: s,
            },
        ) => circles((p, r), (q, s)),
        (
            Locus::Circle { centre, radius },
            Locus::Line {
                through, azimuth, ..
            },
        )
        | (
            Locus::Line {
                through, azimuth, ..
            },
            Locus::Circle { centre, radius },
        ) => circle_line((centre, radius), (through, azimuth)),
        (
            Locus::Line {
                through: p,
                azimuth: a,
                ..
            },
            Locus::Line {
                through: q,
                azimuth: b,
                ..
            },
        ) => lines((p, a), (q, b)),
    }
}

fn circles((p, r): (Plane, f64), (q, s): (Plane, f64)) -> Meeting {
    let (e, n) = (q.0 - p.0, q.1 - p.1);
    let d = e.hypot(n);
    if d <= 1e-9 || r <= 0.0 || s <= 0.0 {
        return Meeting::default();
    }
    let (ue, un) = (e / d, n / d);
    // Crossing: distance from p along p → q, and square off it.
    let along = (d * d + r * r - s * s) / (2.0 * d);
    let square = r * r - along * along;
    let mut places = Vec::new();
    if square >= 0.0 {
        let h = square.sqrt();
        places.push((p.0 + along * ue + h * un, p.1 + along * un - h * ue));
        places.push((p.0 + along * ue - h * un, p.1 + along * un + h * ue));
    }
    let outside = d - (r + s);
    let inside = (r - s).abs() - d;
    let (gap, reach, bend, curve) = if outside >= inside {
        let curve = 0.5 * (r.recip() - s.recip()).abs();
        (outside, r * d / (r + s), r * s / (r + s), curve)
    } else {
        // One circle within the other: they touch beyond the smaller one's centre.
        let reach = if r > s {
            0.5 * (r + d + s)
        } else {
            -0.5 * (r + s - d)
        };
        let curve = 0.5 * (r.recip() + s.recip());
        (inside, reach, r * s / (r - s).abs().max(1e-9), curve)
    };
    let place = (p.0 + reach * ue, p.1 + reach * un);
    Meeting {
        places,
        touch: Some(Nearest {
            place,
            gap,
            along: (-un).atan2(ue),
            bend,
            curve,
        }),
    }
}

fn circle_line((centre, radius): (Plane, f64), (through, azimuth): (Plane, f64)) -> Meeting {
    let (s, c) = unit(azimuth);
    let (e, n) = (centre.0 - through.0, centre.1 - through.1);
    let along = e * s + n * c;
    let foot = (through.0 + along * s, through.1 + along * c);
    let d = (centre.0 - foot.0).hypot(centre.1 - foot.1);
    let square = radius * radius - d * d;
    let mut places = Vec::new();
    if square >= 0.0 {
        let h = square.sqrt();
        places.push((foot.0 + h * s, foot.1 + h * c));
        places.push((foot.0 - h * s, foot.1 - h * c));
    }
    Meeting {
        places,
        touch: Some(Nearest {
            place: foot,
            gap: d - radius,
            along: azimuth,
            bend: radius,
            curve: 0.5 / radius,
        }),
    }
}

fn lines((p, a): (Plane, f64), (q, b): (Plane, f64)) -> Meeting {
    let ((s, c), (t, d)) = (unit(a), unit(b));
    let cross = s * d - c * t;
    if cross.abs() < 1e-6 {
        return Meeting::default();
    }
    let (e, n) = (q.0 - p.0, q.1 - p.1);
    let along = (e * d - n * t) / cross;
    Meeting {
        places: vec![(p.0 + along * s, p.1 + along * c)],
        touch: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circle(e: f64, n: f64, radius: f64) -> Locus {
        Locus::Circle {
            centre: (e, n),
            radius,
        }
    }

    fn near(a: Plane, b: Plane) -> bool {
        (a.0 - b.0).hypot(a.1 - b.1) < 1e-6
    }

    #[test]
    fn two_tapes_cross_at_both_sides() {
        let meeting = meet(&circle(0.0, 0.0, 6.0), &circle(10.0, 0.0, 8.0));
        assert!(near(meeting.places[0], (3.6, -4.8)) && near(meeting.places[1], (3.6, 4.8)));
        // Worked with numpy from self-made figures.
        let meeting = meet(
            &circle(1000.0, 5000.0, 25.30),
            &circle(1018.40, 5007.25, 19.85),
        );
        assert!(near(meeting.places[1], (1_007.836_449_4, 5_024.055_769_8)));
        assert!(near(meeting.places[0], (1_022.139_570_9, 4_987.755_433_9)));
    }

    #[test]
    fn circles_that_miss_say_by_how_much() {
        let outside = meet(&circle(0.0, 0.0, 4.0), &circle(0.0, 10.0, 5.0));
        let touch = outside.touch.expect("nearest");
        assert!(outside.places.is_empty() && (touch.gap - 1.0).abs() < 1e-12);
        assert!(near(touch.place, (0.0, 40.0 / 9.0)) && (touch.bend - 20.0 / 9.0).abs() < 1e-12);
        for (a, b) in [
            (circle(0.0, 0.0, 10.0), circle(3.0, 0.0, 6.0)),
            (circle(3.0, 0.0, 6.0), circle(0.0, 0.0, 10.0)),
        ] {
            let touch = meet(&a, &b).touch.expect("nearest");
            assert!(
                (touch.gap - 1.0).abs() < 1e-12 && near(touch.place, (9.5, 0.0)),
                "{touch:?}"
            );
            assert!((touch.bend - 15.0).abs() < 1e-12);
        }
    }

    #[test]
    fn lines_and_circles() {
        let line = |e, n, azimuth: f64| Locus::Line {
            through: (e, n),
            azimuth: azimuth.to_radians(),
            ray: false,
        };
        let meeting = meet(&line(0.0, 0.0, 90.0), &line(5.0, 5.0, 0.0));
        assert!(near(meeting.places[0], (5.0, 0.0)));
        assert!(
            meet(&line(0.0, 0.0, 45.0), &line(1.0, 0.0, 225.0))
                .places
                .is_empty()
        );
        let meeting = meet(&circle(0.0, 0.0, 5.0), &line(0.0, 3.0, 90.0));
        assert!(near(meeting.places[0], (4.0, 3.0)) && near(meeting.places[1], (-4.0, 3.0)));
        assert!((meeting.touch.expect("nearest").gap + 2.0).abs() < 1e-12);
    }
}
