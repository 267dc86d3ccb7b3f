//! How stations and heights fall on the panel, and the order in which it is drawn.

use super::crossings::across;
use super::figures::{Left, rows};
use super::naming::{Grades, VAGUE};
use super::{LEFT, Look, PLAIN_FOOT, Point, Profile, RIGHT, ROWS, TOP, between, seen};
use crate::record::model::{AsBuilt, Run};
use crate::sheet::content::figures;
use crate::sheet::draw::geometry::{Rect, pt};
use crate::sheet::draw::scale::{Scale, largest};
use crate::sheet::draw::{Drawing, Item, Node, Pen};
use crate::sheet::font::Fonts;

/// A profile being drawn: where stations and heights fall.
pub(super) struct Panel<'a> {
    pub(super) record: &'a AsBuilt,
    pub(super) run: &'a Run,
    pub(super) points: Vec<Point>,
    /// The invert and its bound between them: station, height, bound.
    pub(super) between: Vec<(f64, f64, f64)>,
    pub(super) heights: bool,
    pub(super) look: Look,
    pub(super) fonts: &'a Fonts,
    pub(super) graph: Rect,
    /// Heights of the rows of figures beneath, on paper.
    pub(super) rows: [f64; ROWS.len()],
    pub(super) horizontal: Scale,
    pub(super) vertical: Scale,
    /// Station and height at the graph's lower left corner.
    pub(super) origin: (f64, f64),
}

impl<'a> Panel<'a> {
    pub(super) fn new(
        record: &'a AsBuilt,
        run: &'a Run,
        points: Vec<Point>,
        heights: bool,
        look: Look,
        fonts: &'a Fonts,
    ) -> Self {
        let rows = rows(&points, heights, record.frame.unit, fonts);
        let foot = if look.paper {
            rows.iter().sum()
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
        let seen = seen(record, run, heights);
        let between = between(record, run, heights);
        let across = || across(record, run, heights).filter_map(|(.., z)| z);
        let stations = points.iter().map(|p| p.station);
        let (s0, s1) = span(&mut stations.chain(seen.iter().map(|(_, s, _)| *s)));
        let known = points.iter().flat_map(Point::heights);
        let known = known.chain(between.iter().flat_map(|(_, z, b)| [z - b, z + b]));
        let (z0, z1) = span(&mut known.chain(seen.iter().map(|(.., z)| *z)).chain(across()));
        let width = ((s1 - s0) * metres).max(0.5);
        let height = ((z1 - z0) * metres).max(0.3);
        let room = (graph.width() - 6.0, graph.height() - 3.0);
        let (horizontal, vertical) = if look.paper {
            let unit = record.frame.unit;
            (
                largest(unit, width, 0.0, room),
                largest(unit, 0.0, height, room),
            )
        } else {
            (
                Scale::free(width * 1000.0 / room.0),
                Scale::free(height * 1000.0 / room.1),
            )
        };
        // Heights are never drawn smaller than lengths: where they need a coarser scale, lengths take it as well.
        let horizontal = if vertical.ratio > horizontal.ratio {
            vertical
        } else {
            horizontal
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
            between,
            heights,
            look,
            fonts,
            graph,
            rows,
            horizontal,
            vertical,
            origin: (s0 - left, z0 - below),
        }
    }

    pub(super) fn x(&self, station: f64) -> f64 {
        let k = self.record.frame.unit.metres() * self.horizontal.per_metre();
        self.graph.x0 + (station - self.origin.0) * k
    }

    pub(super) fn y(&self, height: f64) -> f64 {
        let k = self.record.frame.unit.metres() * self.vertical.per_metre();
        self.graph.y1 - (height - self.origin.1) * k
    }

    pub(super) fn draw(&self) -> Profile {
        let mut drawing = Drawing::new(self.look.size.0, self.look.size.1);
        self.axis(&mut drawing);
        let left = if self.look.paper {
            self.figures(&mut drawing)
        } else {
            self.stations(&mut drawing);
            Left::default()
        };
        let (mut band, mut lines, mut symbols) = (Vec::new(), Vec::new(), Vec::new());
        self.band(&mut band);
        let obstacles = self.lines(&mut lines);
        self.crossing_marks(&mut symbols);
        self.symbols(&mut symbols);
        let grades = self.grades(&mut symbols);
        let lettering = self.lettering(obstacles, &grades.boxes);
        // White under letters interrupts the fine lines across, nothing else.
        let grounds = grades.boxes.iter().filter(|_| self.look.paper);
        let grounds = grounds.map(|rect| Node::Item(Item::rect(Pen::Halo, *rect), None));
        let grounds: Vec<Node> = grounds.chain(lettering.grounds).collect();
        let inside = [grounds, band, lines, symbols, lettering.letters].concat();
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
            words: self.words(&left, &grades),
            left_out: left.columns + lettering.left_out,
            grades_left_out: grades.left_out,
        }
    }

    /// What a reader must know of the drawing.
    fn words(&self, left: &Left, grades: &Grades) -> String {
        let known = |value: &dyn Fn(&Point) -> bool| {
            let marks = self.points.iter().filter(|p| p.mark.is_some());
            marks.filter(|p| value(p)).count()
        };
        let marks = known(&|_| true);
        let mut words = vec![self.scales()];
        if self.points.iter().any(|p| p.invert.is_some()) {
            let figures = if self.look.paper {
                "; figures under the line are grades with their 95 % bound"
            } else {
                ""
            };
            words.push(format!("Grey: 95 % band of the invert{figures}."));
        }
        if !self.heights {
            let ground = match known(&|p| p.level.is_some()) {
                0 => "no ground height is known".to_owned(),
                n => format!("ground heights are known at {n} of {marks} marks only"),
            };
            words.push(format!(
                "Drawn by depth, the ground as if it were level: {ground}."
            ));
        }
        match known(&|p| p.pipe().is_some()) {
            0 if self.heights => words.push(
                "No depth and no height of the pipe is known along it: only the ground is drawn."
                    .to_owned(),
            ),
            n if n < marks => words.push(format!(
                "Of the pipe something is known at {n} of {marks} marks: elsewhere it isn't drawn."
            )),
            _ => {}
        }
        let vague = figures::plain(VAGUE);
        match grades.vague {
            0 => {}
            1 => words.push(format!(
                "One grade has a bound wider than {vague} % and isn't lettered: it is in profile.csv."
            )),
            n => words.push(format!(
                "{n} grades have a bound wider than {vague} % and aren't lettered: they are in profile.csv."
            )),
        }
        if left.numbered {
            words.push(
                "A mark with a number (no.) is the one in that row of the table of marks."
                    .to_owned(),
            );
        }
        words.join(" ")
    }

    fn scales(&self) -> String {
        let exaggeration = self.horizontal.ratio / self.vertical.ratio;
        if self.look.paper {
            let (h, v) = (self.horizontal.text(), self.vertical.text());
            let heights = enlarged((exaggeration * 100.0).round() / 100.0);
            format!("Horizontal {h}, vertical {v}: heights {heights}.")
        } else {
            let heights = as_large((exaggeration * 10.0).round() / 10.0);
            format!("Heights are drawn {heights} as lengths.")
        }
    }
}

fn enlarged(factor: f64) -> String {
    if factor == 1.0 {
        "not enlarged".to_owned()
    } else {
        format!("{} times enlarged", figures::plain(factor))
    }
}

fn as_large(factor: f64) -> String {
    if factor == 1.0 {
        "as large".to_owned()
    } else {
        format!("{} times as large", figures::plain(factor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn heights_as_large_as_lengths_are_not_enlarged_once() {
        assert_eq!(
            (enlarged(1.0), as_large(1.0)),
            ("not enlarged".into(), "as large".into())
        );
        assert_eq!(enlarged(2.5), "2.5 times enlarged");
        assert_eq!(as_large(10.0), "10 times as large");
    }
}
