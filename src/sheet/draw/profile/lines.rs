//! Ground, top of pipe, invert with its band; marks and camera observations on them.

use super::{Panel, Point, seen, symbol};
use crate::sheet::draw::geometry::{Pt, pt};
use crate::sheet::draw::labels::Obstacles;
use crate::sheet::draw::lettering::thinned;
use crate::sheet::draw::{Feature, Item, Node, Pen, symbols};

impl Panel<'_> {
    /// The invert give or take its 95 % bound, over stretches where both are known; wider between vertices, as pipes are no straights.
    pub(super) fn band(&self, out: &mut Vec<Node>) {
        for mut stretch in stretches(&self.points, |p| Some((p.station, p.invert?, p.bound?))) {
            if let [(first, ..), .., (last, ..)] = stretch[..] {
                let inside = |at: &&(f64, f64, f64)| first < at.0 && at.0 < last;
                stretch.extend(self.between.iter().filter(inside));
                stretch.sort_by(|a, b| a.0.total_cmp(&b.0));
            }
            let side = |side: f64| {
                let edge = stretch.iter();
                line(edge.map(|&(s, z, b)| pt(self.x(s), self.y(z + side * b))))
            };
            let (upper, mut lower) = (side(1.0), side(-1.0));
            lower.reverse();
            let band = Item::polygon(Pen::Band, [upper, lower].concat());
            out.push(Node::Item(band, None));
        }
    }

    /// Ground, top and invert, lines down from the ground and down at crossings: letters cover none of them.
    pub(super) fn lines(&self, out: &mut Vec<Node>) -> Obstacles {
        let mut obstacles = Obstacles::default();
        let mut draw = |pen: Pen, value: &dyn Fn(&Point) -> Option<f64>| {
            let at = |p: &Point| Some(pt(self.x(p.station), self.y(value(p)?)));
            for stretch in stretches(&self.points, at) {
                let path = line(stretch.into_iter());
                let coarse = thinned(path.clone(), 0.8);
                let legs = coarse.iter().copied().zip(coarse.iter().copied().skip(1));
                obstacles.walls.extend(legs);
                out.push(Node::Item(Item::path(pen, path), None));
            }
        };
        draw(Pen::Ground, &|p| p.ground);
        draw(Pen::Crown, &|p| p.crown);
        draw(Pen::Invert, &|p| p.invert);
        let drops = self.points.iter().filter_map(|p| self.drop(p));
        obstacles.walls.extend(drops);
        let down = |x: f64| (pt(x, self.graph.y0), pt(x, self.graph.y1));
        let crossings = self.crossings().map(|(_, c, _)| down(self.x(c.station)));
        obstacles.walls.extend(crossings);
        obstacles
    }

    /// From the ground down to the transmitter, or to what of the pipe is known.
    fn drop(&self, p: &Point) -> Option<(Pt, Pt)> {
        let z = p.pipe()?;
        let x = self.x(p.station);
        Some((pt(x, self.y(p.ground?)), pt(x, self.y(z))))
    }

    pub(super) fn symbols(&self, out: &mut Vec<Node>) {
        for p in &self.points {
            let Some(z) = p.pipe() else {
                continue;
            };
            let at = pt(self.x(p.station), self.y(z));
            let evidence = p
                .mark
                .and_then(|i| self.record.marks.get(i))
                .map(|m| m.evidence);
            if let Some((a, b)) = self.drop(p) {
                let line = Item::path(Pen::Drop, vec![a, b]);
                out.push(Node::Item(line, p.mark.map(Feature::Mark)));
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
    pub(super) fn camera(&self) -> Vec<(usize, Pt)> {
        let seen = seen(self.record, self.run, self.heights).into_iter();
        seen.map(|(i, station, z)| (i, pt(self.x(station), self.y(z))))
            .collect()
    }
}

/// Half the length of the stroke for what is known at a single spot, millimetres.
const LONE: f64 = 1.5;
/// What reaches no farther along the run than this stands on one spot, millimetres.
const SPOT: f64 = 0.5;

/// Points as a line; what stands on one spot as a short level stroke, since a line without length shows nothing.
fn line(points: impl Iterator<Item = Pt>) -> Vec<Pt> {
    let mut points: Vec<Pt> = points.collect();
    if let Some((first, last)) = points.first().copied().zip(points.last().copied())
        && last.x - first.x < SPOT
    {
        points.insert(0, first - pt(LONE, 0.0));
        points.push(last + pt(LONE, 0.0));
    }
    points
}

/// Neighbouring points for which `value` is known. A vertex that no mark stands on need not be
/// known: what joins its neighbours passes it.
fn stretches<T>(points: &[Point], value: impl Fn(&Point) -> Option<T>) -> Vec<Vec<T>> {
    let mut all = vec![Vec::new()];
    for p in points {
        match (value(p), all.last_mut()) {
            (Some(v), Some(last)) => last.push(v),
            _ if p.mark.is_none() => {}
            _ => all.push(Vec::new()),
        }
    }
    all.retain(|stretch| !stretch.is_empty());
    all
}
