//! The plan: runs, marks with their 95 % ellipses, camera observations and references on grid north.

mod beyond;
mod extent;
mod grid;
mod naming;
mod parts;

pub use extent::Extent;
pub use naming::what;
use parts::arrows;

use super::geometry::{Pt, Rect, pt};
use super::scale::Scale;
use super::{Drawing, Item, Node, Pen, underlay};
use crate::record::model::AsBuilt;
use crate::sheet::draw::lettering::LABEL;
use crate::sheet::font::{Fonts, Names};

/// Margin inside the plan's border kept for grid figures.
const MARGIN: f64 = 4.0;

/// Which part of the ground is drawn, how large.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// Easting and northing of the middle, CRS unit.
    pub centre: (f64, f64),
    /// Width and height, millimetres.
    pub size: (f64, f64),
    /// Scale.
    pub scale: Scale,
    /// Ellipses are drawn so many times their size.
    pub exaggeration: f64,
    /// For paper: labels carry the depth as well as the name, and stay where they are put.
    pub paper: bool,
    /// Draws the ties of `camera[i]` as lines.
    pub ties_of: Option<usize>,
}

/// What was drawn.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The drawing, with the view's size.
    pub drawing: Drawing,
    /// Labels that found no room.
    pub unlabelled: usize,
}

/// The plan's parts, the lowest first.
#[derive(Default)]
struct Layers {
    /// What lies there already: site plans, the grid's ticks, ties.
    ground: Vec<Node>,
    /// 95 % ellipses.
    bounds: Vec<Node>,
    /// White under letters: over what lies there and its bounds, never over the pipe.
    grounds: Vec<Node>,
    runs: Vec<Node>,
    symbols: Vec<Node>,
    letters: Vec<Node>,
    /// At the border, not cut off by it.
    edge: Vec<Node>,
}

/// Draws the plan.
#[must_use]
pub fn draw(record: &AsBuilt, view: &View, fonts: &Fonts) -> Plan {
    let sketch = Sketch {
        record,
        view,
        fonts,
        names: names(record, fonts),
        frame: Rect::new(0.0, 0.0, view.size.0, view.size.1),
    };
    let mut layers = Layers::default();
    let obstacles = sketch.obstacles();
    let beyond = sketch.beyond(&obstacles);
    layers.ground = underlay::draw(record, sketch.frame, &|e, n| sketch.at(e, n));
    sketch.grid(&beyond.taken, &mut layers.ground, &mut layers.edge);
    let ties = sketch.ties().into_iter();
    let tie = |(a, b)| item(Item::path(Pen::Drop, vec![a, b]));
    layers.ground.extend(ties.map(tie));
    sketch.bounds(&mut layers.bounds);
    for run in &record.runs {
        sketch.run(run, &mut layers.runs);
    }
    sketch.symbols(&mut layers.symbols);
    let lettering = sketch.lettering(obstacles, &beyond.taken);
    layers.grounds = lettering.grounds;
    layers.letters = lettering.letters;
    layers.edge.extend(beyond.nodes);
    let inside = [
        layers.ground,
        layers.bounds,
        layers.grounds,
        layers.runs,
        layers.symbols,
        layers.letters,
    ];
    // On paper what lies outside is never seen, and a large job has a hundred sheets.
    let seen = |node: &Node| !view.paper || node.reaches(sketch.frame);
    let inside = inside.into_iter().flatten().filter(seen).collect();
    let mut drawing = Drawing::new(view.size.0, view.size.1);
    drawing.nodes.push(Node::Clip(sketch.frame, inside));
    drawing.nodes.extend(layers.edge);
    Plan {
        drawing,
        unlabelled: lettering.left_out + beyond.left_out,
    }
}

fn names(record: &AsBuilt, fonts: &Fonts) -> Names {
    let marks = record.marks.iter().map(|m| m.mark.as_str());
    let references = record.references.iter().map(|r| r.point.as_str());
    let runs = record.runs.iter().map(|run| run.run.as_str());
    let all = marks.chain(references).chain(runs);
    Names::new(all, fonts, naming::NAME, LABEL, true)
}

/// Easting, northing of everything along the runs: vertices, marks, camera observations.
pub fn places(record: &AsBuilt) -> impl Iterator<Item = (f64, f64)> {
    let vertices = record
        .runs
        .iter()
        .flat_map(|run| &run.vertices)
        .map(|v| (v.easting, v.northing));
    let marks = record.marks.iter().map(|m| (m.easting, m.northing));
    vertices.chain(marks).chain(
        record
            .camera
            .iter()
            .filter_map(|c| Some((c.easting?, c.northing?))),
    )
}

/// How many times ellipses are enlarged at a scale so that the middle one is seen (at least 0.8 mm); 1 where it is anyway.
#[must_use]
pub fn exaggeration(record: &AsBuilt, scale: Scale) -> f64 {
    let per = record.frame.unit.metres() * scale.per_metre();
    let mut axes: Vec<f64> = record
        .marks
        .iter()
        .filter_map(|m| m.ellipse)
        .map(|e| e.semi_major_95 * per)
        .collect();
    axes.sort_by(f64::total_cmp);
    match axes.get(axes.len() / 2) {
        Some(&middle) if middle > 0.0 && middle < 0.5 => [2.0, 5.0, 10.0, 20.0, 50.0]
            .into_iter()
            .find(|k| middle * k >= 0.8)
            .unwrap_or(50.0),
        _ => 1.0,
    }
}

/// Name of a camera observation or a crossing where several runs stand together: with its run, if another run has one of
/// the same name (`A/c12.4`).
#[must_use]
pub fn full_name(record: &AsBuilt, id: &str, run: &str) -> String {
    let name = short_name(id);
    let ids = record.camera.iter().map(|c| (&c.id, &c.run));
    let mut all = ids.chain(record.crossings.iter().map(|c| (&c.id, &c.run)));
    if all.any(|(other, r)| r != run && short_name(other) == name) {
        format!("{run}/{name}")
    } else {
        name.to_owned()
    }
}

/// Name of a camera observation or a crossing: the last part of its id.
#[must_use]
pub fn short_name(id: &str) -> &str {
    id.rsplit('/').next().unwrap_or(id)
}

struct Sketch<'a> {
    record: &'a AsBuilt,
    view: &'a View,
    fonts: &'a Fonts,
    /// Of marks, references and runs.
    names: Names,
    frame: Rect,
}

impl Sketch<'_> {
    /// Millimetres for one CRS unit.
    fn per_grid(&self) -> f64 {
        self.record.frame.crs_unit_metres * self.view.scale.per_metre()
    }

    /// Millimetres for one result unit.
    fn per_length(&self) -> f64 {
        self.record.frame.unit.metres() * self.view.scale.per_metre()
    }

    /// The origin is subtracted in f64: a page's numbers stay small whatever the false easting.
    fn at(&self, easting: f64, northing: f64) -> Pt {
        let k = self.per_grid();
        let middle = self.frame.centre();
        pt(
            middle.x + (easting - self.view.centre.0) * k,
            middle.y - (northing - self.view.centre.1) * k,
        )
    }
}

fn item(item: Item) -> Node {
    Node::Item(item, None)
}
