//! A drawing as SVG: a class for each pen, a key for what a part stands for.

use super::write::Html;
use crate::sheet::content::figures::fixed;
use crate::sheet::draw::{Anchor, Drawing, Feature, Item, Node, Pt, Role, Shape, pt};

/// Key of a feature in the page: `m12`, `c3`, `r0`, `x1`.
#[must_use]
pub fn key(feature: Feature) -> String {
    match feature {
        Feature::Mark(i) => format!("m{i}"),
        Feature::Camera(i) => format!("c{i}"),
        Feature::Reference(i) => format!("r{i}"),
        Feature::Crossing(i) => format!("x{i}"),
    }
}

/// Writes the drawing as an `svg` element; its unit is the drawing's millimetre.
pub fn write(page: &mut Html, drawing: &Drawing) {
    let view = format!("0 0 {} {}", number(drawing.width), number(drawing.height));
    page.open(
        "svg",
        &[
            ("viewBox", &view),
            ("aria-hidden", "true"),
            ("focusable", "false"),
        ],
    );
    for node in &drawing.nodes {
        write_node(page, node);
    }
    page.close("svg");
}

fn write_node(page: &mut Html, node: &Node) {
    match node {
        Node::Item(item, feature) => match feature {
            Some(feature) => {
                page.open("g", &[("data-f", &key(*feature))]);
                write_item(page, item);
                page.close("g");
            }
            None => write_item(page, item),
        },
        Node::Anchored {
            at,
            role,
            feature,
            items,
        } => {
            let place = format!("translate({} {})", number(at.x), number(at.y));
            let key = feature.map(key).unwrap_or_default();
            let mut attributes = vec![("transform", place.as_str())];
            let boxed;
            match role {
                Role::Symbol => attributes.push(("class", "sy")),
                Role::Label(r) | Role::Spare(r) => {
                    boxed = [r.x0, r.y0, r.x1, r.y1].map(number).join(" ");
                    let class = if matches!(role, Role::Label(_)) {
                        "lb"
                    } else {
                        "lb sp"
                    };
                    attributes.extend([("class", class), ("data-b", boxed.as_str())]);
                }
            }
            if !key.is_empty() {
                attributes.push(("data-f", &key));
            }
            page.open("g", &attributes);
            for item in items {
                write_item(page, item);
            }
            page.raw("</g>");
        }
        // The page is panned past the border, so nothing is cut off there.
        Node::Clip(_, nodes) => nodes.iter().for_each(|node| write_node(page, node)),
    }
}

fn write_item(page: &mut Html, item: &Item) {
    let class = item.pen.class();
    match &item.shape {
        Shape::Path { points, closed } => {
            let mut d = String::new();
            for (i, p) in points.iter().enumerate() {
                d.push(if i == 0 { 'M' } else { 'L' });
                d.push_str(&pair(*p));
            }
            if *closed {
                d.push('Z');
            }
            page.open("path", &[("class", class), ("d", &d)])
                .close("path");
        }
        Shape::Ellipse { centre, a, b, turn } => {
            let (x, y) = (number(centre.x), number(centre.y));
            let (rx, ry) = (fine(*a), fine(*b));
            if a == b {
                let attributes = [("class", class), ("cx", &x), ("cy", &y), ("r", &rx)];
                page.open("circle", &attributes).close("circle");
                return;
            }
            // Two arcs instead of a turned ellipse: thousands of transforms make a browser slow.
            let (sin, cos) = turn.to_radians().sin_cos();
            let end = pt(a * cos, a * sin);
            let turn = number(*turn);
            let arc = |to: Pt| format!("A{rx} {ry} {turn} 0 1 {}", pair(to));
            let (from, to) = (*centre - end, *centre + end);
            let d = format!("M{}{}{}Z", pair(from), arc(to), arc(from));
            page.open("path", &[("class", class), ("d", &d)])
                .close("path");
        }
        Shape::Text {
            at,
            size,
            anchor,
            turn,
            bold,
            text,
        } => {
            let (x, y, size) = (number(at.x), number(at.y), number(*size));
            let turned = format!("rotate({} {x} {y})", number(*turn));
            let anchor = match anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            let mut attributes = vec![
                ("class", class),
                ("x", &x),
                ("y", &y),
                ("font-size", &size),
                ("text-anchor", anchor),
            ];
            if *bold {
                attributes.push(("font-weight", "600"));
            }
            if *turn != 0.0 {
                attributes.push(("transform", &turned));
            }
            page.element("text", &attributes, text);
        }
    }
}

/// To a hundredth of a drawing unit, as short as it is.
fn number(value: f64) -> String {
    short(value, 2)
}

/// To a thousandth: small ellipses are zoomed into.
fn fine(value: f64) -> String {
    short(value, 4)
}

fn short(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn pair(p: Pt) -> String {
    format!("{} {}", short(p.x, 3), short(p.y, 3))
}
