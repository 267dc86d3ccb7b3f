//! The plan: runs, marks with their 95 % ellipses, camera observations and references on grid north.

use std::collections::BTreeSet;

use super::geometry::{Pt, Rect, pt};
use super::labels::{Obstacles, Placed, Wanted, place};
use super::scale::{Scale, round_step};
use super::{Anchor, Drawing, Feature, Item, Node, Pen, Role, Shape};
use super::{symbols, underlay};
use crate::record::model::{AsBuilt, Ellipse, Evidence, Run, Vertex, VertexKind};
use crate::sheet::content::figures;
use crate::sheet::font::{Fonts, em};

/// Height of label capitals: 1.8 mm, the smallest of ISO 3098 ([`crate::sources::Source::Iso3098`]).
pub const LABEL: f64 = em(1.8);
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
    /// Labels carry the cover as well as the name.
    pub cover: bool,
    /// Grid ticks and figures.
    pub grid: bool,
}

/// What was drawn.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The drawing, with the view's size.
    pub drawing: Drawing,
    /// Labels that found no room.
    pub unlabelled: usize,
}

/// Draws the plan.
#[must_use]
pub fn draw(record: &AsBuilt, view: &View, fonts: &Fonts) -> Plan {
    let sketch = Sketch {
        record,
        view,
        fonts,
        frame: Rect::new(0.0, 0.0, view.size.0, view.size.1),
    };
    let mut inside = Vec::new();
    let mut edge = Vec::new();
    let (arrows, boxes) = sketch.beyond();
    inside.extend(underlay::draw(record, sketch.frame, &|e, n| {
        sketch.at(e, n)
    }));
    if view.grid {
        sketch.grid(&boxes, &mut inside, &mut edge);
    }
    sketch.bounds(&mut inside);
    for run in &record.runs {
        sketch.run(run, &mut inside);
    }
    sketch.symbols(&mut inside);
    let unlabelled = sketch.labels(&boxes, &mut inside);
    edge.extend(arrows);
    let mut drawing = Drawing::new(view.size.0, view.size.1);
    drawing.nodes.push(Node::Clip(sketch.frame, inside));
    drawing.nodes.extend(edge);
    Plan {
        drawing,
        unlabelled,
    }
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

/// Name of a camera observation: the last part of its id.
#[must_use]
pub fn camera_name(id: &str) -> &str {
    id.rsplit('/').next().unwrap_or(id)
}

struct Sketch<'a> {
    record: &'a AsBuilt,
    view: &'a View,
    fonts: &'a Fonts,
    frame: Rect,
}

/// A label wanted, with its lines of text.
struct Label {
    wanted: Wanted,
    feature: Option<Feature>,
    lines: Vec<String>,
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

    fn grid(&self, taken: &[Rect], inside: &mut Vec<Node>, edge: &mut Vec<Node>) {
        let k = self.per_grid();
        // A tick each 25 to 62 mm: two of them are always in sight.
        let step = round_step(62.0 / k);
        let (east, north) = (self.view.size.0 / 2.0 / k, self.view.size.1 / 2.0 / k);
        let lines = |centre: f64, half: f64| {
            let first = ((centre - half) / step).ceil();
            let count = (((centre + half) / step).floor() - first).clamp(-1.0, 200.0) as i64;
            (0..=count)
                .map(move |i| (first + i as f64) * step)
                .collect::<Vec<_>>()
        };
        let (eastings, northings) = (
            lines(self.view.centre.0, east),
            lines(self.view.centre.1, north),
        );
        for &e in &eastings {
            for &n in &northings {
                let p = self.at(e, n);
                // The figures at the border need their room.
                if !self.frame.grown(-5.0).contains(p) {
                    continue;
                }
                inside.push(item(Item::path(
                    Pen::Grid,
                    vec![p - pt(1.5, 0.0), p + pt(1.5, 0.0)],
                )));
                inside.push(item(Item::path(
                    Pen::Grid,
                    vec![p - pt(0.0, 1.5), p + pt(0.0, 1.5)],
                )));
            }
        }
        self.grid_figures(
            (&eastings, &northings),
            usize::from(step < 1.0),
            taken,
            edge,
        );
    }

    /// Eastings along the top, northings along the left, where nothing else stands.
    fn grid_figures(
        &self,
        (eastings, northings): (&[f64], &[f64]),
        decimals: usize,
        taken: &[Rect],
        edge: &mut Vec<Node>,
    ) {
        let free = |rect: Rect| !taken.iter().any(|other| other.overlaps(rect));
        for &e in eastings {
            let x = self.at(e, 0.0).x;
            if self.frame.grown(-18.0).x0 < x && x < self.frame.grown(-18.0).x1 {
                edge.push(item(Item::path(Pen::Rule, vec![pt(x, 0.0), pt(x, 1.5)])));
                let text = format!("E {}", figures::fixed(e, decimals));
                let wide = self.fonts.width(&text, LABEL, false);
                if free(Rect::new(x + 1.0, 0.0, wide, 3.0)) {
                    edge.push(fixed(
                        pt(x, 0.0),
                        Item::text(pt(1.0, 2.4), LABEL, Anchor::Start, text).with(Pen::Muted),
                    ));
                }
            }
        }
        for &n in northings {
            let y = self.at(0.0, n).y;
            if self.frame.grown(-18.0).y0 < y && y < self.frame.grown(-18.0).y1 {
                edge.push(item(Item::path(Pen::Rule, vec![pt(0.0, y), pt(1.5, y)])));
                let text = format!("N {}", figures::fixed(n, decimals));
                let wide = self.fonts.width(&text, LABEL, false);
                if free(Rect::new(0.0, y - 1.0 - wide, 3.0, wide)) {
                    let label = Item::text(pt(2.4, -1.0), LABEL, Anchor::Start, text)
                        .turned(-90.0)
                        .with(Pen::Muted);
                    edge.push(fixed(pt(0.0, y), label));
                }
            }
        }
    }

    fn ellipse(&self, at: Pt, ellipse: Option<Ellipse>) -> Option<Item> {
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

    fn bounds(&self, out: &mut Vec<Node>) {
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

    /// Legs of one kind in one line each, arrows on the long ones.
    fn run(&self, run: &Run, out: &mut Vec<Node>) {
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

    fn path(&self, run: &Run) -> Vec<Pt> {
        run.vertices
            .iter()
            .map(|v| self.at(v.easting, v.northing))
            .collect()
    }

    fn symbols(&self, out: &mut Vec<Node>) {
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
                symbols::reference(r),
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

    fn labels(&self, taken: &[Rect], out: &mut Vec<Node>) -> usize {
        let labels = self.wanted();
        let wanted: Vec<Wanted> = labels.iter().map(|l| l.wanted).collect();
        let placed = place(&wanted, &self.obstacles(taken), self.frame.grown(-MARGIN));
        for (label, placed) in labels.iter().zip(&placed) {
            if let Some(placed) = placed {
                out.push(lettered(
                    label.wanted.at,
                    label.feature,
                    &label.lines,
                    placed,
                ));
            }
        }
        placed.iter().filter(|p| p.is_none()).count()
    }

    fn obstacles(&self, taken: &[Rect]) -> Obstacles {
        let legs = |run: &Run| {
            let path = thinned(self.path(run), 0.8);
            path.iter()
                .copied()
                .zip(path.iter().copied().skip(1))
                .collect::<Vec<_>>()
        };
        let lines = self.record.runs.iter().flat_map(legs).collect();
        let places = places(self.record).chain(
            self.record
                .references
                .iter()
                .map(|r| (r.easting, r.northing)),
        );
        let seen = places
            .map(|(e, n)| self.at(e, n))
            .filter(|p| self.frame.contains(*p))
            .collect();
        let symbols = thinned(seen, 0.3).into_iter().map(|p| (p, symbols::CLEAR));
        let symbols = symbols
            .chain(taken.iter().flat_map(|rect| circles(*rect)))
            .collect();
        Obstacles { lines, symbols }
    }

    fn wanted(&self) -> Vec<Label> {
        let mut labels = Vec::new();
        let mut want = |e: f64, n: f64, feature: Option<Feature>, lines: Vec<String>| {
            let at = self.at(e, n);
            if self.frame.grown(-MARGIN).contains(at) {
                let size = text_box(self.fonts, &lines);
                labels.push(Label {
                    wanted: Wanted {
                        at,
                        size,
                        clear: symbols::CLEAR,
                    },
                    feature,
                    lines,
                });
            }
        };
        for (i, m) in self.record.marks.iter().enumerate() {
            want(
                m.easting,
                m.northing,
                Some(Feature::Mark(i)),
                self.mark_lines(i),
            );
        }
        for (i, r) in self.record.references.iter().enumerate() {
            want(
                r.easting,
                r.northing,
                Some(Feature::Reference(i)),
                vec![self.fonts.fit(&r.point, 24.0, LABEL, true)],
            );
        }
        let few = self.record.camera.len() <= 15;
        for (i, c) in self.record.camera.iter().enumerate() {
            if let (Some(e), Some(n)) = (c.easting, c.northing) {
                let mut lines = vec![camera_name(&c.id).to_owned()];
                if few {
                    lines.push(self.fonts.fit(&c.what, 30.0, LABEL, false));
                }
                want(e, n, Some(Feature::Camera(i)), lines);
            }
        }
        if self.record.runs.len() > 1 {
            for run in &self.record.runs {
                if let Some((e, n)) = middle(run) {
                    want(
                        e,
                        n,
                        None,
                        vec![
                            self.fonts
                                .fit(&format!("Run {}", run.run), 30.0, LABEL, true),
                        ],
                    );
                }
            }
        }
        labels
    }

    fn mark_lines(&self, i: usize) -> Vec<String> {
        let Some(m) = self.record.marks.get(i) else {
            return Vec::new();
        };
        let mut lines = vec![self.fonts.fit(&m.mark, 24.0, LABEL, true)];
        if self.view.cover {
            lines.extend(
                m.fitting
                    .as_deref()
                    .map(|f| self.fonts.fit(f, 30.0, LABEL, false)),
            );
            lines.extend(
                m.cover
                    .map(|cover| format!("top {}", figures::fixed(cover, 2))),
            );
        }
        lines
    }

    /// References outside the plan that ties of what is in it use: an arrow at the border with name and distance. Nodes, and
    /// the boxes of words and arrows.
    fn beyond(&self) -> (Vec<Node>, Vec<Rect>) {
        let used = self.used();
        let border = self.frame.grown(-2.2);
        let (mut nodes, mut taken, mut arrows): (Vec<Node>, Vec<Rect>, Vec<Rect>) =
            (Vec::new(), Vec::new(), Vec::new());
        for (i, r) in self.record.references.iter().enumerate() {
            let p = self.at(r.easting, r.northing);
            if self.frame.contains(p) || !used.contains(r.point.as_str()) {
                continue;
            }
            let Some((_, edge)) = border.clip(self.frame.centre(), p) else {
                continue;
            };
            let away = p - edge;
            let along = away * (1.0 / away.length().max(1e-9));
            let lengths = figures::fixed(away.length() / self.per_length(), 1);
            let text = format!(
                "{} {lengths} {} off",
                self.fonts.fit(&r.point, 24.0, LABEL, true),
                self.record.frame.unit
            );
            let Some(rect) = self.beside(
                edge,
                text_box(self.fonts, std::slice::from_ref(&text)),
                &taken,
            ) else {
                continue;
            };
            taken.push(rect);
            let mut items = vec![
                symbols::arrow(pt(0.0, 0.0), along, 1.4),
                Item::rect(Pen::Halo, rect.moved(edge * -1.0)),
            ];
            items.push(Item::text(
                pt(rect.x0 + 0.4, rect.y1 - 0.75) - edge,
                LABEL,
                Anchor::Start,
                text,
            ));
            nodes.push(Node::Anchored {
                at: edge,
                role: Role::Symbol,
                feature: Some(Feature::Reference(i)),
                items,
            });
            arrows.push(
                Rect {
                    x0: edge.x,
                    y0: edge.y,
                    x1: edge.x,
                    y1: edge.y,
                }
                .grown(1.6),
            );
        }
        taken.extend(arrows);
        (nodes, taken)
    }

    /// A free box just inside the border near a point of it, or a little along the border.
    fn beside(&self, edge: Pt, size: (f64, f64), taken: &[Rect]) -> Option<Rect> {
        let inside = self.frame.grown(-MARGIN);
        let within = |v: f64, lo: f64, hi: f64| v.clamp(lo, hi.max(lo));
        let x = within(edge.x - size.0 / 2.0, inside.x0, inside.x1 - size.0);
        [0.0, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0]
            .into_iter()
            .find_map(|step| {
                let y = within(
                    edge.y - size.1 / 2.0 + step * 3.2,
                    inside.y0,
                    inside.y1 - size.1,
                );
                let rect = Rect::new(x, y, size.0, size.1);
                (!taken.iter().any(|other| other.overlaps(rect))).then_some(rect)
            })
    }

    /// References that the ties of what is in the frame use.
    fn used(&self) -> BTreeSet<&str> {
        let seen = |e: f64, n: f64| self.frame.contains(self.at(e, n));
        let marks = self
            .record
            .marks
            .iter()
            .filter(|m| seen(m.easting, m.northing))
            .map(|m| m.id.as_str());
        let camera = self
            .record
            .camera
            .iter()
            .filter(|c| matches!((c.easting, c.northing), (Some(e), Some(n)) if seen(e, n)));
        let shown: BTreeSet<&str> = marks.chain(camera.map(|c| c.id.as_str())).collect();
        let ties = self
            .record
            .ties
            .iter()
            .filter(|tie| shown.contains(tie.id.as_str()));
        ties.flat_map(|tie| &tie.distances)
            .map(|d| d.reference.as_str())
            .collect()
    }
}

/// Where arrows show the flow: the middle of legs long enough, at least 25 mm apart along the run.
fn arrows(path: &[Pt]) -> Vec<(Pt, Pt)> {
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

/// Circles along a box of one line of text: labels keep off symbols.
pub fn circles(rect: Rect) -> impl Iterator<Item = (Pt, f64)> {
    let count = (rect.width() / 2.0).ceil().max(1.0);
    let radius = rect.height() / 2.0;
    (0..=count as usize).map(move |i| {
        (
            pt(rect.x0 + rect.width() * i as f64 / count, rect.centre().y),
            radius,
        )
    })
}

/// Points without those nearer than `least` to the one kept before: label search need not see every one of thousands.
#[must_use]
pub fn thinned(points: Vec<Pt>, least: f64) -> Vec<Pt> {
    let mut kept: Vec<Pt> = Vec::new();
    for p in points {
        if kept.last().is_none_or(|last| (p - *last).length() >= least) {
            kept.push(p);
        }
    }
    kept
}

fn leg_pen(from: &Vertex, to: &Vertex) -> Pen {
    let weak = |v: &Vertex| matches!(v.evidence, Evidence::Inferred | Evidence::Records);
    if weak(from) || weak(to) {
        Pen::Inferred
    } else {
        Pen::Run
    }
}

/// The middle of a run's longest leg.
fn middle(run: &Run) -> Option<(f64, f64)> {
    let legs = run.vertices.iter().zip(run.vertices.iter().skip(1));
    let length = |a: &Vertex, b: &Vertex| (a.easting - b.easting).hypot(a.northing - b.northing);
    let (a, b) = legs.max_by(|(a, b), (c, d)| length(a, b).total_cmp(&length(c, d)))?;
    Some((
        f64::midpoint(a.easting, b.easting),
        f64::midpoint(a.northing, b.northing),
    ))
}

fn item(item: Item) -> Node {
    Node::Item(item, None)
}

fn fixed(at: Pt, item: Item) -> Node {
    Node::Anchored {
        at,
        role: Role::Symbol,
        feature: None,
        items: vec![item],
    }
}

/// Height of a line of label text.
const LINE: f64 = 2.75;

/// Box of a label's lines: the first is bold.
#[must_use]
pub fn text_box(fonts: &Fonts, lines: &[String]) -> (f64, f64) {
    let width = lines
        .iter()
        .enumerate()
        .map(|(i, line)| fonts.width(line, LABEL, i == 0))
        .fold(0.0, f64::max);
    (width + 0.8, LINE * lines.len() as f64 + 0.3)
}

/// A placed label: leader, white ground, lines of text.
#[must_use]
pub fn lettered(at: Pt, feature: Option<Feature>, lines: &[String], placed: &Placed) -> Node {
    let rect = placed.rect.moved(at * -1.0);
    let mut items = Vec::new();
    if let Some((a, b)) = placed.leader {
        items.push(Item::path(Pen::Leader, vec![a - at, b - at]));
    }
    items.push(Item::rect(Pen::Halo, rect));
    for (i, line) in lines.iter().enumerate() {
        let base = pt(rect.x0 + 0.4, rect.y0 + LINE * (i as f64 + 1.0) - 0.6);
        let text = Item::text(base, LABEL, Anchor::Start, line.clone());
        items.push(if i == 0 { text.bold() } else { text });
    }
    Node::Anchored {
        at,
        role: Role::Label(rect),
        feature,
        items,
    }
}
