//! Pens and shapes in the PDF writer's terms.

use krilla::color::luma;
use krilla::geom::{Path, PathBuilder};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, LineCap, LineJoin, Stroke, StrokeDash};

use crate::sheet::draw::pen::Grey;
use crate::sheet::draw::{Pen, Pt, pt};

fn grey(value: Grey) -> luma::Color {
    luma::Color::new((value.clamp(0.0, 1.0) * 255.0).round() as u8)
}

/// The fill of a pen.
pub fn fill(pen: Pen) -> Option<Fill> {
    pen.fill().map(|value| Fill {
        paint: grey(value).into(),
        ..Fill::default()
    })
}

/// The line of a pen, millimetres.
pub fn stroke(pen: Pen) -> Option<Stroke> {
    let (width, value) = pen.stroke()?;
    let dash = pen.dash();
    Some(Stroke {
        paint: grey(value).into(),
        width: width as f32,
        miter_limit: 4.0,
        line_cap: LineCap::Butt,
        line_join: LineJoin::Miter,
        opacity: NormalizedF32::ONE,
        dash: (!dash.is_empty()).then(|| StrokeDash {
            array: dash.iter().map(|d| *d as f32).collect(),
            offset: 0.0,
        }),
    })
}

/// Straight lines through points; `None` where they are no line.
pub fn lines(points: &[Pt], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for (i, p) in points.iter().enumerate() {
        if i == 0 {
            builder.move_to(p.x as f32, p.y as f32);
        } else {
            builder.line_to(p.x as f32, p.y as f32);
        }
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

/// An ellipse of four cubic arcs, off by 0.03 % of the radius at most.
pub fn ellipse(centre: Pt, a: f64, b: f64, turn: f64) -> Option<Path> {
    // 4/3 (√2 − 1): the handle of a quarter circle.
    const HANDLE: f64 = 0.552_284_749_830_793_6;
    let (sin, cos) = turn.to_radians().sin_cos();
    let at = |x: f64, y: f64| centre + pt(x * a * cos - y * b * sin, x * a * sin + y * b * cos);
    let mut builder = PathBuilder::new();
    let start = at(1.0, 0.0);
    builder.move_to(start.x as f32, start.y as f32);
    for quarter in 0..4 {
        let (s, c) = (f64::from(quarter) * std::f64::consts::FRAC_PI_2).sin_cos();
        let round = |x: f64, y: f64| at(x * c - y * s, x * s + y * c);
        let (p, q, r) = (round(1.0, HANDLE), round(HANDLE, 1.0), round(0.0, 1.0));
        builder.cubic_to(
            p.x as f32, p.y as f32, q.x as f32, q.y as f32, r.x as f32, r.y as f32,
        );
    }
    builder.close();
    builder.finish()
}
