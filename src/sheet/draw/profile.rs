//! The profile of a run: ground, top of pipe, invert with its 95 % band, grades, camera observations, by station.

use std::collections::BTreeMap;

use super::geometry::{Pt, Rect, pt};
use super::labels::{Obstacles, Wanted, place};
use super::plan::{LABEL, camera_name, circles, lettered, text_box, thinned};
use super::scale::{Scale, round_step};
use super::symbols;
use super::{Anchor, Drawing, Feature, Item, Node, Pen, Role};
use crate::record::model::{AsBuilt, Run, VertexKind};
use crate::sheet::content::figures;
use crate::sheet::font::Fonts;

/// How a profile is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Width and height of the whole panel, millimetres.
    pub size: (f64, f64),
    /// Standard scales and a table of figures beneath, for paper; otherwise the room is filled.
    pub paper: bool,
}

/// A profile, drawn.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The drawing.
    pub drawing: Drawing,
    /// Scales and exaggeration in words.
    pub scales: String,
    /// Marks whose figures or names found no room.
    pub left_out: usize,
}

/// A vertex as the profile needs it; heights in the result unit.
struct Point {
    station: f64,
    mark: Option<usize>,
    kind: VertexKind,
    ground: Option<f64>,
    crown: Option<f64>,
    axis: Option<f64>,
    invert: Option<f64>,
    bound: Option<f64>,
    cover: Option<f64>,
    grade: Option<(f64, Option<f64>)>,
}

/// Left margin for the height axis and the heads of the figures' rows; the others.
const LEFT: f64 = 15.0;
const RIGHT: f64 = 4.0;
const TOP: f64 = 8.0;
/// Rows of figures beneath, their heights.
const ROWS: [(&str, f64); 4] = [
    ("Station", 14.0),
    ("Ground", 11.0),
    ("Top of pipe", 10.5),
    ("Invert", 11.0),
];
const PLAIN_FOOT: f64 = 6.0;
/// Least distance between two columns of figures set upright.
const COLUMN: f64 = 2.9;

/// Draws a run's profile; `None` if no depth and no height is known along it.
#[must_use]
pub fn draw(record: &AsBuilt, run: &Run, look: &Look, fonts: &Fonts) -> Option<Profile> {
    let heights = run
        .vertices
        .iter()
        .any(|v| v.invert.is_some() || v.ground.is_some());
    let points = points(record, run, heights);
    let known = points
        .iter()
        .any(|p| p.invert.is_some() || p.crown.is_some() || p.axis.is_some());
    if points.len() < 2 || !known {
        return None;
    }
    let panel = Panel::new(record, run, points, heights, *look, fonts);
    Some(panel.draw())
}

/// Vertices by station. Without heights the ground is level at 0 and depths hang from it.
fn points(record: &AsBuilt, run: &Run, heights: bool) -> Vec<Point> {
    let marks: BTreeMap<&str, usize> = record
        .marks
        .iter()
        .enumerate()
        .filter(|(_, m)| m.run == run.run)
        .map(|(i, m)| (m.mark.as_str(), i))
        .collect();
    let mut points: Vec<Point> = run
        .vertices
        .iter()
        .map(|v| {
            let index = v
                .mark
                .as_deref()
                .filter(|_| v.kind == VertexKind::Mark)
                .and_then(|m| marks.get(m))
                .copied();
            let mark = index.and_then(|i| record.marks.get(i));
            let ground = if heights { v.ground } else { Some(0.0) };
            let below = |depth: Option<f64>| Some(ground? - depth?);
            let invert = if heights {
                v.invert
            } else {
                below(mark.and_then(|m| m.invert_depth))
            };
            let bound = if heights {
                v.invert_95
            } else {
                mark.and_then(|m| m.depth_95)
            };
            Point {
                station: v.station,
                mark: index,
                kind: v.kind,
                ground,
                crown: below(v.cover),
                axis: below(v.transmitter_depth),
                invert,
                bound,
                cover: v.cover,
                grade: v.grade.map(|g| (g, v.grade_95)),
            }
        })
        .collect();
    points.sort_by(|a, b| a.station.total_cmp(&b.station));
    points
}

struct Panel<'a> {
    record: &'a AsBuilt,
    run: &'a Run,
    points: Vec<Point>,
    heights: bool,
    look: Look,
    fonts: &'a Fonts,
    graph: Rect,
    horizontal: Scale,
    vertical: Scale,
    /// Station and height at the graph's lower left corner.
    origin: (f64, f64),
}

impl<'a> Panel<'a> {
    fn new(
        record: &'a AsBuilt,
        run: &'a Run,
        points: Vec<Point>,
        heights: bool,
        look: Look,
        fonts: &'a Fonts,
    ) -> Self {
        let foot = if look.paper {
            ROWS.iter().map(|row| row.1).sum()
        } else {
            PLAIN_FOOT
        };
        let graph = Rect {
            x0: LEFT,
            y0: TOP,
            x1: look.size.0 - RIGHT,
            y1: (look.size.1 - foot).max(TOP + 10.0),
        };
        let metres = record.frame.unit.metres();
        let span = |values: &mut dyn Iterator<Item = f64>| {
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| {
                (lo.min(v), hi.max(v))
            })
        };
        let (s0, s1) = span(&mut points.iter().map(|p| p.station));
        let (z0, z1) = span(&mut points.iter().flat_map(Point::heights));
        let width = ((s1 - s0) * metres).max(0.5);
        let height = ((z1 - z0) * metres).max(0.3);
        let room = (graph.width() - 6.0, graph.height() - 3.0);
        let (horizontal, vertical) = if look.paper {
            let unit = record.frame.unit;
            let h = super::scale::largest(unit, width, 0.0, room);
            let v = super::scale::largest(unit, 0.0, height, room);
            // Heights are never drawn smaller than lengths.
            (h, if v.ratio > h.ratio { h } else { v })
        } else {
            (
                Scale::free(width * 1000.0 / room.0),
                Scale::free(height * 1000.0 / room.1),
            )
        };
        let spare = |scale: Scale, length: f64, room: f64| {
            ((room - length * scale.per_metre()) / 2.0).max(0.0)
        };
        let left = spare(horizontal, width, graph.width()) / (horizontal.per_metre() * metres);
        let below = spare(vertical, height, graph.height()) / (vertical.per_metre() * metres);
        Self {
            record,
            run,
            points,
            heights,
            look,
            fonts,
            graph,
            horizontal,
            vertical,
            origin: (s0 - left, z0 - below),
        }
    }

    fn x(&self, station: f64) -> f64 {
        let k = self.record.frame.unit.metres() * self.horizontal.per_metre();
        self.graph.x0 + (station - self.origin.0) * k
    }

    fn y(&self, height: f64) -> f64 {
        let k = self.record.frame.unit.metres() * self.vertical.per_metre();
        self.graph.y1 - (height - self.origin.1) * k
    }

    fn draw(&self) -> Profile {
        let mut drawing = Drawing::new(self.look.size.0, self.look.size.1);
        self.axis(&mut drawing);
        let mut left_out = 0;
        if self.look.paper {
            left_out += self.figures(&mut drawing);
        } else {
            self.stations(&mut drawing);
        }
        let mut inside = Vec::new();
        self.band(&mut inside);
        let lines = self.lines(&mut inside);
        self.symbols(&mut inside);
        let grades = self.grades(&mut inside);
        left_out += self.labels(lines, &grades, &mut inside);
        drawing.nodes.push(Node::Clip(
            Rect {
                y0: 0.0,
                ..self.graph
            },
            inside,
        ));
        drawing.push(Item::path(
            Pen::Rule,
            vec![
                pt(self.graph.x0, self.graph.y0),
                pt(self.graph.x0, self.graph.y1),
            ],
        ));
        drawing.push(Item::path(
            Pen::Rule,
            vec![
                pt(self.graph.x0, self.graph.y1),
                pt(self.graph.x1, self.graph.y1),
            ],
        ));
        Profile {
            drawing,
            scales: self.scales(),
            left_out,
        }
    }

    fn scales(&self) -> String {
        let exaggeration = self.horizontal.ratio / self.vertical.ratio;
        let factor = figures::plain((exaggeration * 100.0).round() / 100.0);
        if self.look.paper {
            let (h, v) = (self.horizontal.text(), self.vertical.text());
            format!("Horizontal {h}, vertical {v}: heights {factor} times enlarged.")
        } else {
            format!(
                "Heights are drawn {} times as large as lengths.",
                figures::plain((exaggeration * 10.0).round() / 10.0)
            )
        }
    }

    /// Heights at round steps, with fine lines across.
    fn axis(&self, drawing: &mut Drawing) {
        let k = self.record.frame.unit.metres() * self.vertical.per_metre();
        let step = round_step(self.graph.height() / 2.5 / k);
        let first = (self.origin.1 / step).ceil();
        let decimals = if step < 0.1 {
            2
        } else {
            usize::from(step < 1.0)
        };
        for i in 0..40 {
            let height = (first + f64::from(i)) * step;
            let y = self.y(height);
            if y < self.graph.y0 {
                break;
            }
            drawing.push(Item::path(
                Pen::Hair,
                vec![pt(self.graph.x0, y), pt(self.graph.x1, y)],
            ));
            let text = Item::text(
                pt(-1.2, 0.8),
                LABEL,
                Anchor::End,
                figures::fixed(height, decimals),
            )
            .with(Pen::Muted);
            drawing
                .nodes
                .push(symbol(pt(self.graph.x0, y), None, vec![text]));
        }
        let what = match (self.heights, &self.record.frame.vertical) {
            (true, Some(datum)) => format!("Height, {}, {datum}", self.record.frame.unit),
            (true, None) => format!("Height, {}", self.record.frame.unit),
            (false, _) => format!(
                "Depth below ground, {} (no ground height known)",
                self.record.frame.unit
            ),
        };
        let what = self
            .fonts
            .fit(&what, self.graph.width() * 0.7, LABEL, false);
        let text = Item::text(pt(0.0, 0.0), LABEL, Anchor::Start, what).with(Pen::Muted);
        drawing.nodes.push(symbol(pt(0.0, 3.2), None, vec![text]));
    }

    /// Stations at round steps, for the page.
    fn stations(&self, drawing: &mut Drawing) {
        let k = self.record.frame.unit.metres() * self.horizontal.per_metre();
        let step = round_step(48.0 / k);
        let first = (self.origin.0 / step).ceil();
        for i in 0..60 {
            let station = (first + f64::from(i)) * step;
            let x = self.x(station);
            if x > self.graph.x1 {
                break;
            }
            drawing.push(Item::path(
                Pen::Rule,
                vec![pt(x, self.graph.y1), pt(x, self.graph.y1 + 1.2)],
            ));
            let text = figures::station(Some(station), self.record.frame.unit);
            let text = Item::text(pt(0.0, 3.8), LABEL, Anchor::Middle, text).with(Pen::Muted);
            drawing
                .nodes
                .push(symbol(pt(x, self.graph.y1), None, vec![text]));
        }
    }

    /// The invert give or take its 95 % bound, over stretches where both are known.
    fn band(&self, out: &mut Vec<Node>) {
        for stretch in stretches(&self.points, |p| Some((p.station, p.invert?, p.bound?))) {
            let upper = stretch
                .iter()
                .map(|&(s, z, b)| pt(self.x(s), self.y(z + b)));
            let lower = stretch
                .iter()
                .rev()
                .map(|&(s, z, b)| pt(self.x(s), self.y(z - b)));
            out.push(Node::Item(
                Item::polygon(Pen::Band, upper.chain(lower).collect()),
                None,
            ));
        }
    }

    fn lines(&self, out: &mut Vec<Node>) -> Vec<(Pt, Pt)> {
        let mut segments = Vec::new();
        let mut line = |pen: Pen, value: &dyn Fn(&Point) -> Option<f64>| {
            for stretch in stretches(&self.points, |p| {
                Some(pt(self.x(p.station), self.y(value(p)?)))
            }) {
                let coarse = thinned(stretch.clone(), 0.8);
                segments.extend(coarse.iter().copied().zip(coarse.iter().copied().skip(1)));
                out.push(Node::Item(Item::path(pen, stretch), None));
            }
        };
        line(Pen::Ground, &|p| p.ground);
        line(Pen::Crown, &|p| p.crown);
        line(Pen::Invert, &|p| p.invert);
        segments
    }

    fn symbols(&self, out: &mut Vec<Node>) {
        for p in &self.points {
            let Some(z) = p.axis.or(p.invert).or(p.crown) else {
                continue;
            };
            let at = pt(self.x(p.station), self.y(z));
            let evidence = p
                .mark
                .and_then(|i| self.record.marks.get(i))
                .map(|m| m.evidence);
            if let Some(ground) = p.ground {
                out.push(Node::Item(
                    Item::path(Pen::Drop, vec![pt(at.x, self.y(ground)), at]),
                    p.mark.map(Feature::Mark),
                ));
            }
            match (p.mark, evidence) {
                (Some(i), Some(evidence)) => {
                    out.push(symbol(
                        at,
                        Some(Feature::Mark(i)),
                        symbols::mark(evidence, false),
                    ));
                }
                _ => out.push(symbol(at, None, symbols::vertex(p.kind))),
            }
        }
        for (i, at) in self.camera() {
            out.push(symbol(at, Some(Feature::Camera(i)), symbols::camera()));
        }
    }

    /// Camera observations of this run that have a height, or a depth.
    fn camera(&self) -> Vec<(usize, Pt)> {
        let on_run = self
            .record
            .camera
            .iter()
            .enumerate()
            .filter(|(_, c)| c.run == self.run.run);
        on_run
            .filter_map(|(i, c)| {
                let z = if self.heights {
                    c.invert?
                } else {
                    -c.invert_depth.or(c.transmitter_depth)?
                };
                Some((i, pt(self.x(c.station?), self.y(z))))
            })
            .collect()
    }

    /// Grades under the legs that are long enough for the words.
    fn grades(&self, out: &mut Vec<Node>) -> Vec<Rect> {
        let mut boxes: Vec<Rect> = Vec::new();
        for (a, b) in self.points.iter().zip(self.points.iter().skip(1)) {
            // The grade stands at the upstream vertex, which has the larger station where stations run upstream.
            let upstream = if self.run.station_from == "downstream" {
                b
            } else {
                a
            };
            let Some((grade, bound)) = upstream.grade else {
                continue;
            };
            let (Some(za), Some(zb)) = (a.invert, b.invert) else {
                continue;
            };
            let text = match bound {
                Some(bound) => format!(
                    "{} % ± {}",
                    figures::fixed(grade, 1),
                    figures::fixed(bound, 1)
                ),
                None => format!("{} %", figures::fixed(grade, 1)),
            };
            let width = self.fonts.width(&text, LABEL, false);
            let (xa, xb) = (self.x(a.station), self.x(b.station));
            if xb - xa < width + 2.0 {
                continue;
            }
            let lowest = |p: &Point, z: f64| self.y(z - p.bound.unwrap_or(0.0));
            let y = f64::midpoint(lowest(a, za), lowest(b, zb)).max(self.y(f64::midpoint(za, zb)))
                + 3.4;
            let at = pt(f64::midpoint(xa, xb), y.min(self.graph.y1 - 0.8));
            boxes.push(Rect::new(at.x - width / 2.0, at.y - 2.3, width, 3.0));
            let text = Item::text(pt(0.0, 0.0), LABEL, Anchor::Middle, text);
            out.push(Node::Anchored {
                at,
                role: Role::Label(Rect::new(-width / 2.0, -2.3, width, 3.0)),
                feature: None,
                items: vec![text],
            });
        }
        boxes
    }

    fn labels(&self, lines: Vec<(Pt, Pt)>, grades: &[Rect], out: &mut Vec<Node>) -> usize {
        let mut labels: Vec<(Wanted, Feature, Vec<String>)> = Vec::new();
        let mut symbols = Vec::new();
        let mut want = |at: Pt, clear: f64, feature: Feature, name: &str| {
            let text = vec![self.fonts.fit(name, 20.0, LABEL, true)];
            labels.push((
                Wanted {
                    at,
                    size: text_box(self.fonts, &text),
                    clear,
                },
                feature,
                text,
            ));
        };
        for p in &self.points {
            let Some((i, mark)) = p.mark.and_then(|i| Some((i, self.record.marks.get(i)?))) else {
                continue;
            };
            let Some(z) = p.ground.or(p.axis).or(p.invert).or(p.crown) else {
                continue;
            };
            want(
                pt(self.x(p.station), self.y(z)),
                0.4,
                Feature::Mark(i),
                &mark.mark,
            );
            symbols.extend(
                p.axis
                    .or(p.invert)
                    .map(|z| (pt(self.x(p.station), self.y(z)), symbols::CLEAR)),
            );
        }
        for (i, at) in self.camera() {
            let name = self.record.camera.get(i).map_or("", |c| camera_name(&c.id));
            want(at, symbols::CLEAR, Feature::Camera(i), name);
            symbols.push((at, symbols::CLEAR));
        }
        // Grades are already there: circles along their boxes keep labels off them.
        symbols.extend(grades.iter().flat_map(|rect| circles(*rect)));
        let wanted: Vec<Wanted> = labels.iter().map(|l| l.0).collect();
        let area = Rect {
            y0: 3.8,
            y1: self.graph.y1 - 0.3,
            x0: self.graph.x0 + 0.3,
            x1: self.graph.x1,
        };
        let placed = place(&wanted, &Obstacles { lines, symbols }, area);
        for ((wanted, feature, text), placed) in labels.iter().zip(&placed) {
            if let Some(placed) = placed {
                out.push(lettered(wanted.at, Some(*feature), text, placed));
            }
        }
        placed.iter().filter(|p| p.is_none()).count()
    }

    /// Rows of figures beneath the graph, upright, one column a vertex where there is room.
    fn figures(&self, drawing: &mut Drawing) -> usize {
        let bottom = self.graph.y1 + ROWS.iter().map(|row| row.1).sum::<f64>();
        let mut y = self.graph.y1;
        for (name, height) in ROWS {
            let text = self.fonts.fit(name, LEFT - 1.0, LABEL, false);
            drawing.push(Item::text(
                pt(0.5, y + height / 2.0 + 0.9),
                LABEL,
                Anchor::Start,
                text,
            ));
            y += height;
            drawing.push(Item::path(
                Pen::Hair,
                vec![pt(0.0, y), pt(self.graph.x1, y)],
            ));
        }
        let (mut last, mut left_out) = (f64::NEG_INFINITY, 0);
        for p in &self.points {
            let x = self.x(p.station);
            if x - last < COLUMN {
                left_out += 1;
                continue;
            }
            last = x;
            drawing.push(Item::path(
                Pen::Drop,
                vec![pt(x, self.graph.y1), pt(x, self.graph.y1 + 1.0)],
            ));
            let unit = self.record.frame.unit;
            let ground = p.ground.filter(|_| self.heights);
            let cells = [
                figures::station(Some(p.station), unit),
                figures::length(ground),
                figures::length(p.cover),
                figures::length(p.invert),
            ];
            let mut y = self.graph.y1;
            for ((_, height), cell) in ROWS.iter().zip(cells) {
                y += height;
                drawing.push(
                    Item::text(pt(x + 0.8, y - 0.8), LABEL, Anchor::Start, cell).turned(-90.0),
                );
            }
        }
        drawing.push(Item::path(
            Pen::Rule,
            vec![pt(0.0, bottom), pt(self.graph.x1, bottom)],
        ));
        left_out
    }
}

impl Point {
    fn heights(&self) -> impl Iterator<Item = f64> + use<> {
        let bound = self.bound.unwrap_or(0.0);
        let invert = self
            .invert
            .map(|z| [z - bound, z + bound])
            .into_iter()
            .flatten();
        [self.ground, self.crown, self.axis]
            .into_iter()
            .flatten()
            .chain(invert)
    }
}

fn symbol(at: Pt, feature: Option<Feature>, items: Vec<Item>) -> Node {
    Node::Anchored {
        at,
        role: Role::Symbol,
        feature,
        items,
    }
}

/// Neighbouring points for which `value` is known, two or more together.
fn stretches<T>(points: &[Point], value: impl Fn(&Point) -> Option<T>) -> Vec<Vec<T>> {
    let mut all = vec![Vec::new()];
    for p in points {
        match (value(p), all.last_mut()) {
            (Some(v), Some(last)) => last.push(v),
            _ => all.push(Vec::new()),
        }
    }
    all.retain(|stretch| stretch.len() > 1);
    all
}
