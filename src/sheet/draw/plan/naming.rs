//! Which labels the plan wants, and what they keep off.

use std::collections::BTreeSet;

use super::{MARGIN, Sketch, arrows, full_name, places};
use crate::record::model::{Crossing, Run, Vertex};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Pt, Rect, pt};
use crate::sheet::draw::labels::Obstacles;
use crate::sheet::draw::lettering::{LABEL, Label, Lettering, circles, letter, thinned};
use crate::sheet::draw::{Feature, symbols};

/// How far a label may go from its point, millimetres: on paper there is no second look (our choice).
const FAR: f64 = 60.0;
/// Radius that labels keep from a flow arrow's middle.
const ARROW: f64 = 1.2;
/// Ellipses larger than this (semi-major axis, millimetres) have an outline that labels keep off.
const OUTLINED: f64 = 1.6;
/// Widest line of a label, millimetres: a name, and what is said of it.
pub(super) const NAME: f64 = 24.0;
const SAID: f64 = 30.0;
/// With more camera observations than this the plan has their numbers alone.
const FEW: usize = 15;

impl Sketch<'_> {
    pub(super) fn lettering(&self, mut obstacles: Obstacles, taken: &[Rect]) -> Lettering {
        let boxes = taken.iter().flat_map(|rect| circles(*rect));
        obstacles.symbols.extend(boxes);
        let area = self.frame.grown(-MARGIN);
        letter(&self.wanted(), &obstacles, area, FAR, self.view.paper)
    }

    /// Runs, ellipses, symbols and flow arrows in the frame.
    pub(super) fn obstacles(&self) -> Obstacles {
        let paths: Vec<Vec<Pt>> = self.record.runs.iter().map(|run| self.path(run)).collect();
        let walls = paths.iter().flat_map(|path| {
            let path = thinned(path.clone(), 0.8);
            path.windows(2)
                .filter_map(|leg| Some((*leg.first()?, *leg.last()?)))
                .collect::<Vec<_>>()
        });
        let record = self.record;
        let others = record.references.iter().map(|r| (r.easting, r.northing));
        let crossings = record.crossings.iter().map(|c| (c.easting, c.northing));
        let seen = places(record)
            .chain(others)
            .chain(crossings)
            .map(|(e, n)| self.at(e, n))
            .filter(|p| self.frame.contains(*p));
        // Vertices and marks share their places: one circle for all within a third of a millimetre.
        let mut known = BTreeSet::new();
        let cell = |v: f64| (v * 3.0).floor() as i64;
        let spots: Vec<Pt> = seen
            .filter(|p| known.insert((cell(p.x), cell(p.y))))
            .collect();
        let symbols = spots.into_iter().map(|p| (p, symbols::CLEAR));
        let flow = paths.iter().flat_map(|path| arrows(path));
        Obstacles {
            lines: [self.outlines(), self.ties()].concat(),
            walls: walls.collect(),
            symbols: symbols.chain(flow.map(|(at, _)| (at, ARROW))).collect(),
        }
    }

    /// Outlines of the larger ellipses, as polygons.
    fn outlines(&self) -> Vec<(Pt, Pt)> {
        let marks = self.record.marks.iter();
        let marks = marks.filter_map(|m| Some((m.easting, m.northing, m.ellipse?)));
        let camera = self.record.camera.iter();
        let camera = camera.filter_map(|c| Some((c.easting?, c.northing?, c.ellipse?)));
        let k = self.per_length() * self.view.exaggeration;
        let mut lines = Vec::new();
        for (e, n, ellipse) in marks.chain(camera) {
            let (a, b) = (ellipse.semi_major_95 * k, ellipse.semi_minor_95 * k);
            let centre = self.at(e, n);
            if a < OUTLINED || !self.frame.grown(a).contains(centre) {
                continue;
            }
            let (sin, cos) = (ellipse.azimuth_95 - 90.0).to_radians().sin_cos();
            let at = |i: i32| {
                let (s, c) = (f64::from(i) * std::f64::consts::TAU / 12.0).sin_cos();
                centre + pt(a * c * cos - b * s * sin, a * c * sin + b * s * cos)
            };
            lines.extend((0..12).map(|i| (at(i), at(i + 1))));
        }
        lines
    }

    fn wanted(&self) -> Vec<Label> {
        let record = self.record;
        let few = record.camera.len() <= FEW;
        // What a dig page is about.
        let own = self.view.ties_of.map(Feature::Camera);
        let mut labels = Vec::new();
        let mut want = |e: f64, n: f64, feature: Option<Feature>, lines: Vec<String>| {
            let at = self.at(e, n);
            if self.frame.grown(-MARGIN).contains(at) {
                let clear = symbols::CLEAR;
                let label = Label::new(at, clear, feature, lines, self.fonts);
                labels.push(if feature.is_some() && feature == own {
                    label.needed()
                } else {
                    label
                });
            }
        };
        for (i, m) in record.marks.iter().enumerate() {
            let lines = self.mark_lines(i);
            want(m.easting, m.northing, Some(Feature::Mark(i)), lines);
        }
        for (i, r) in record.references.iter().enumerate() {
            let lines = vec![self.names.of(&r.point)];
            want(r.easting, r.northing, Some(Feature::Reference(i)), lines);
        }
        for (i, c) in record.camera.iter().enumerate() {
            if let (Some(e), Some(n)) = (c.easting, c.northing) {
                let mut lines = vec![full_name(record, &c.id, &c.run)];
                let told = few || own == Some(Feature::Camera(i));
                lines.extend(told.then(|| self.plain(&c.what)));
                want(e, n, Some(Feature::Camera(i)), lines);
            }
        }
        for (i, c) in record.crossings.iter().enumerate() {
            let name = full_name(record, &c.id, &c.run);
            let lines = vec![name, self.plain(&what(c))];
            want(c.easting, c.northing, Some(Feature::Crossing(i)), lines);
        }
        for run in record.runs.iter().filter(|_| record.runs.len() > 1) {
            if let Some((e, n)) = middle(run) {
                let lines = vec![format!("Run {}", self.names.of(&run.run))];
                want(e, n, None, lines);
            }
        }
        labels
    }

    fn plain(&self, text: &str) -> String {
        self.fonts.fit(text, SAID, LABEL, false)
    }

    fn mark_lines(&self, i: usize) -> Vec<String> {
        let Some(m) = self.record.marks.get(i) else {
            return Vec::new();
        };
        let mut lines = vec![self.names.of(&m.mark)];
        if self.view.paper {
            lines.extend(m.fitting.as_deref().map(|f| self.plain(f)));
            let top = |cover| format!("top {}", figures::fixed(cover, 2));
            lines.extend(m.cover.map(top));
        }
        lines
    }
}

/// What a run crosses: kind or role, and its name.
#[must_use]
pub fn what(c: &Crossing) -> String {
    let kind = c.kind.as_deref().unwrap_or(&c.role);
    match c.name.as_deref() {
        Some(name) => format!("{kind} {name}"),
        None => kind.to_owned(),
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
