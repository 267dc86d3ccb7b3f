//! Grades under the legs, names above the marks.

use super::{Panel, Point};
use crate::record::model::VertexKind;
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Pt, Rect, pt};
use crate::sheet::draw::labels::Obstacles;
use crate::sheet::draw::lettering::{LABEL, Label, Lettering, circles, letter};
use crate::sheet::draw::plan::{short_name, what};
use crate::sheet::draw::{Anchor, Feature, Item, Node, Role, symbols};
use crate::sheet::font::Names;

/// Height of a line of lettering with a little white.
const HIGH: f64 = 3.0;

/// How far a name may go from its point, millimetres: names stand in the rows beneath as well.
const FAR: f64 = 12.0;
/// A grade whose bound is wider than this, percent, says nothing of a short leg and is not lettered (our choice).
pub(super) const VAGUE: f64 = 10.0;

/// Widest name of a mark above the ground, millimetres.
const NAME: f64 = 20.0;

/// Grades that are lettered, and those that aren't.
#[derive(Default)]
pub(super) struct Grades {
    /// Boxes of those that are.
    pub(super) boxes: Vec<Rect>,
    /// How many found no room.
    pub(super) left_out: usize,
    /// How many have too wide a bound.
    pub(super) vague: usize,
}

impl Panel<'_> {
    /// Names of the run's marks, cut to a width.
    pub(super) fn names(&self, width: f64) -> Names {
        let marks = self
            .points
            .iter()
            .filter_map(|p| self.record.marks.get(p.mark?));
        let names = marks.map(|mark| mark.mark.as_str());
        Names::new(names, self.fonts, width, LABEL, true)
    }

    /// Grades under the legs that are long enough for the words.
    pub(super) fn grades(&self, out: &mut Vec<Node>) -> Grades {
        let mut grades = Grades::default();
        let ends = self.ends();
        for (a, b) in ends.iter().zip(ends.iter().skip(1)) {
            // The grade stands at the upstream vertex, which has the larger station where stations run upstream.
            let upstream = if self.run.station_from == "downstream" {
                b
            } else {
                a
            };
            let Some(grade) = upstream.grade else {
                continue;
            };
            if grade.1.is_some_and(|bound| bound > VAGUE) {
                grades.vague += 1;
                continue;
            }
            let text = lettered(grade);
            let Some((rect, upright)) = self.room(&text, a, b) else {
                grades.left_out += 1;
                continue;
            };
            grades.boxes.push(rect);
            // Hung by its upper edge: where the page sets it larger, it grows away from the band.
            let at = pt(rect.centre().x, rect.y0);
            let middle = rect.height() / 2.0;
            let text = if upright {
                Item::text(pt(0.85, middle), LABEL, Anchor::Middle, text).turned(-90.0)
            } else {
                Item::text(pt(0.0, middle + 0.85), LABEL, Anchor::Middle, text)
            };
            out.push(Node::Anchored {
                at,
                role: Role::Label(rect.moved(at * -1.0)),
                feature: None,
                items: vec![text],
            });
        }
        grades
    }

    /// Ends of legs: a branch that joins one on its way doesn't part it, both parts have its grade.
    fn ends(&self) -> Vec<&Point> {
        let joins = |i: usize, p: &Point| {
            let before = i.checked_sub(1).and_then(|i| self.points.get(i));
            let grade = |other: Option<&Point>| other.map(|other| other.grade);
            let beside = [grade(before), grade(self.points.get(i + 1))];
            let inside = beside.iter().all(Option::is_some);
            p.kind == VertexKind::Junction && inside && beside.contains(&Some(p.grade))
        };
        let points = self.points.iter().enumerate();
        points
            .filter(|(i, p)| !joins(*i, p))
            .map(|(_, p)| p)
            .collect()
    }

    /// The place of a leg's grade under the band: level where the leg is long enough, else upright (`true`), or `None` where
    /// there is no room for either.
    fn room(&self, text: &str, a: &Point, b: &Point) -> Option<(Rect, bool)> {
        let long = self.fonts.width(text, LABEL, false);
        let low = |p: &Point| Some(self.y(p.invert? - p.bound.unwrap_or(0.0)));
        let ((xa, ya), (xb, yb)) = ((self.x(a.station), low(a)?), (self.x(b.station), low(b)?));
        let upright = xb - xa < long + 2.0;
        if upright && xb - xa < HIGH {
            return None;
        }
        let (width, height) = if upright { (HIGH, long) } else { (long, HIGH) };
        let middle = f64::midpoint(xa, xb);
        let edge = |x: f64| ya + (yb - ya) * ((x - xa) / (xb - xa)).clamp(0.0, 1.0);
        let sides = [middle - width / 2.0, middle + width / 2.0];
        let lower = self.between.iter();
        let lower = lower.map(|&(station, z, bound)| (self.x(station), self.y(z - bound)));
        let above = lower.filter(|(x, _)| (sides[0]..sides[1]).contains(x));
        let y = above.map(|(_, y)| y).chain(sides.map(edge));
        let y = y.fold(f64::NEG_INFINITY, f64::max) + 0.6;
        let y = if upright {
            y
        } else {
            y.min(self.graph.y1 - HIGH)
        };
        let rect = Rect::new(middle - width / 2.0, y, width, height);
        let mut lines = self.crossings().map(|(_, c, _)| self.x(c.station));
        let crossed = lines.any(|x| (rect.x0 - 0.4..rect.x1 + 0.4).contains(&x));
        (rect.y1 <= self.graph.y1 && !crossed).then_some((rect, upright))
    }

    /// Names of marks, camera observations and crossings.
    pub(super) fn lettering(&self, mut obstacles: Obstacles, grades: &[Rect]) -> Lettering {
        let mut labels: Vec<Label> = Vec::new();
        let names = self.names(NAME);
        for p in &self.points {
            let Some((i, mark)) = p.mark.and_then(|i| Some((i, self.record.marks.get(i)?))) else {
                continue;
            };
            let Some(z) = p.ground.or(p.axis).or(p.invert).or(p.crown) else {
                continue;
            };
            let name = names.of(&mark.mark);
            let at = pt(self.x(p.station), self.y(z));
            let label = Label::new(at, 0.4, Some(Feature::Mark(i)), vec![name], self.fonts);
            labels.push(label.elsewhere());
            let symbol = p.axis.or(p.invert).map(|z| pt(at.x, self.y(z)));
            obstacles
                .symbols
                .extend(symbol.map(|at| (at, symbols::CLEAR)));
        }
        let mut want = |at: Pt, clear: f64, feature: Feature, lines: Vec<String>| {
            labels.push(Label::new(at, clear, Some(feature), lines, self.fonts));
        };
        for (i, at) in self.camera() {
            let name = self.record.camera.get(i).map_or("", |c| short_name(&c.id));
            want(
                at,
                symbols::CLEAR,
                Feature::Camera(i),
                vec![name.to_owned()],
            );
            obstacles.symbols.push((at, symbols::CLEAR));
        }
        for (i, c, other) in self.crossings() {
            let name = format!("{} {}", short_name(&c.id), what(c));
            let name = self.fonts.fit(&name, 30.0, LABEL, true);
            let at = pt(
                self.x(c.station),
                other.map_or(self.graph.y0 - 0.5, |z| self.y(z)),
            );
            want(at, symbols::CLEAR, Feature::Crossing(i), vec![name]);
            obstacles.symbols.push((at, symbols::CLEAR));
        }
        // Grades are already there: circles along their boxes keep labels off them.
        obstacles
            .symbols
            .extend(grades.iter().flat_map(|rect| circles(*rect)));
        let area = Rect {
            y0: 3.8,
            y1: self.graph.y1 - 0.3,
            x0: self.graph.x0 + 0.3,
            x1: self.graph.x1,
        };
        letter(&labels, &obstacles, area, FAR, self.look.paper)
    }
}

/// The words of a leg's grade.
fn lettered((grade, bound): (f64, Option<f64>)) -> String {
    let bound = bound.map(|bound| format!(" ± {}", figures::fixed(bound, 1)));
    format!(
        "{} %{}",
        figures::fixed(grade, 1),
        bound.unwrap_or_default()
    )
}
