//! What is drawn of the record: ellipses, runs, symbols.

use super::{Sketch, item};
use crate::record::model::{Ellipse, Evidence, Run, Vertex, VertexKind};
use crate::sheet::draw::geometry::{Pt, pt};
use crate::sheet::draw::{Feature, Item, Node, Pen, Role, Shape, symbols};

impl Sketch<'_> {
    pub(super) fn ellipse(&self, at: Pt, ellipse: Option<Ellipse>) -> Option<Item> {
        let ellipse = ellipse?;
        let k = self.per_length() * self.view.exaggeration;
        let (a, b) = (ellipse.semi_major_95 * k, ellipse.semi_minor_95 * k);
        // The azimuth runs from north (up), the turn from x (right); both clockwise.
        let turn = ellipse.azimuth_95 - 90.0;
        Some(Item {
            pen: Pen::Bound,
            shape: Shape::Ellipse {
                centre: at,
                a,
                b,
                turn,
            },
        })
    }

    pub(super) fn bounds(&self, out: &mut Vec<Node>) {
        for v in self
            .record
            .runs
            .iter()
            .flat_map(|run| &run.vertices)
            .filter(|v| v.kind == VertexKind::Bend)
        {
            out.extend(
                self.ellipse(self.at(v.easting, v.northing), v.ellipse)
                    .map(item),
            );
        }
        for (i, c) in self.record.camera.iter().enumerate() {
            if let (Some(e), Some(n)) = (c.easting, c.northing) {
                let shape = self.ellipse(self.at(e, n), c.ellipse);
                out.extend(shape.map(|shape| Node::Item(shape, Some(Feature::Camera(i)))));
            }
        }
        for (i, m) in self.record.marks.iter().enumerate() {
            let shape = self.ellipse(self.at(m.easting, m.northing), m.ellipse);
            out.extend(shape.map(|shape| Node::Item(shape, Some(Feature::Mark(i)))));
        }
    }

    /// Lines from an observation to the references of its ties.
    pub(super) fn ties(&self) -> Vec<(Pt, Pt)> {
        let chosen = self.view.ties_of.and_then(|i| self.record.camera.get(i));
        let Some((id, e, n)) = chosen.and_then(|c| Some((&c.id, c.easting?, c.northing?))) else {
            return Vec::new();
        };
        let ties = self.record.ties.iter().filter(|tie| tie.id == *id);
        let names: Vec<&str> = ties
            .flat_map(|tie| &tie.distances)
            .map(|d| d.reference.as_str())
            .collect();
        let references = self.record.references.iter();
        references
            .filter(|r| names.contains(&r.point.as_str()))
            .map(|r| (self.at(e, n), self.at(r.easting, r.northing)))
            .collect()
    }

    /// Legs of one kind in one line each, arrows on the long ones.
    pub(super) fn run(&self, run: &Run, out: &mut Vec<Node>) {
        let mut line: Vec<Pt> = Vec::new();
        let mut pen = Pen::Run;
        for (from, to) in run.vertices.iter().zip(run.vertices.iter().skip(1)) {
            let leg = (
                self.at(from.easting, from.northing),
                self.at(to.easting, to.northing),
            );
            let next = leg_pen(from, to);
            if next != pen && line.len() > 1 {
                out.push(item(Item::path(pen, std::mem::take(&mut line))));
            }
            if line.is_empty() {
                line.push(leg.0);
            }
            pen = next;
            line.push(leg.1);
        }
        if line.len() > 1 {
            out.push(item(Item::path(pen, line)));
        }
        out.extend(
            arrows(&self.path(run))
                .into_iter()
                .map(|(at, along)| Node::Anchored {
                    at,
                    role: Role::Symbol,
                    feature: None,
                    items: vec![symbols::arrow(pt(0.0, 0.0), along, 1.5)],
                }),
        );
    }

    pub(super) fn path(&self, run: &Run) -> Vec<Pt> {
        run.vertices
            .iter()
            .map(|v| self.at(v.easting, v.northing))
            .collect()
    }

    pub(super) fn symbols(&self, out: &mut Vec<Node>) {
        let mut add = |at: Pt, feature: Option<Feature>, items: Vec<Item>| {
            out.push(Node::Anchored {
                at,
                role: Role::Symbol,
                feature,
                items,
            });
        };
        for (i, r) in self.record.references.iter().enumerate() {
            add(
                self.at(r.easting, r.northing),
                Some(Feature::Reference(i)),
                symbols::reference(r.solved),
            );
        }
        for v in self
            .record
            .runs
            .iter()
            .flat_map(|run| &run.vertices)
            .filter(|v| v.kind != VertexKind::Mark)
        {
            add(
                self.at(v.easting, v.northing),
                None,
                symbols::vertex(v.kind),
            );
        }
        for (i, c) in self.record.crossings.iter().enumerate() {
            let what = symbols::crossing(c.meeting);
            add(
                self.at(c.easting, c.northing),
                Some(Feature::Crossing(i)),
                what,
            );
        }
        for (i, c) in self.record.camera.iter().enumerate() {
            if let (Some(e), Some(n)) = (c.easting, c.northing) {
                add(self.at(e, n), Some(Feature::Camera(i)), symbols::camera());
            }
        }
        for (i, m) in self.record.marks.iter().enumerate() {
            add(
                self.at(m.easting, m.northing),
                Some(Feature::Mark(i)),
                symbols::mark(m.evidence, m.fitting.is_some()),
            );
        }
    }
}

/// Where arrows show the flow: the middle of legs long enough, at least 25 mm apart along the run.
pub(super) fn arrows(path: &[Pt]) -> Vec<(Pt, Pt)> {
    let mut found = Vec::new();
    let mut since = 18.0;
    for (a, b) in path.iter().copied().zip(path.iter().copied().skip(1)) {
        let leg = b - a;
        let length = leg.length();
        since += length;
        if length > 5.0 && since > 25.0 {
            found.push((a + leg * 0.5, leg * (1.0 / length)));
            since = 0.0;
        }
    }
    found
}

fn leg_pen(from: &Vertex, to: &Vertex) -> Pen {
    let weak = |v: &Vertex| matches!(v.evidence, Evidence::Inferred | Evidence::Records);
    if weak(from) || weak(to) {
        Pen::Inferred
    } else {
        Pen::Run
    }
}
