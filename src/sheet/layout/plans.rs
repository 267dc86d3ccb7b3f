//! The plan on paper: the largest standard scale that fits; where even the coarsest does not, a key on the first sheet and
//! further sheets with match lines.

use super::flow::{LEADING, SMALL};
use super::key;
use crate::record::AsBuilt;
use crate::sheet::content::figures;
use crate::sheet::draw::plan::{self, Extent, Plan, View};
use crate::sheet::draw::scale::{Scale, coarsest, largest, round_step};
use crate::sheet::draw::{Anchor, Drawing, Item, Pen, Pt, Rect, pt, symbols};
use crate::sheet::font::Fonts;

/// Caption beneath a plan: north arrow, scale bar, words.
const CAPTION: f64 = 10.5;
/// Kept free around what is shown, for labels and ellipses.
const AROUND: f64 = 24.0;
/// White around a plan with match lines, for their words, and the strip shown beyond a match line.
const EDGE: f64 = 4.5;
const BEYOND: f64 = 10.0;
/// References are shown where that costs no more than this in scale and no label (our choice).
const WORTH: f64 = 2.5;

/// The plan on the first sheet, and whole sheets of plan that follow.
pub struct Plans {
    /// For the first sheet.
    pub first: Drawing,
    /// Bodies of the sheets after it.
    pub further: Vec<Drawing>,
}

/// Draws the plans: `first` is the room on the first sheet, `whole` that of a sheet.
pub fn draw(record: &AsBuilt, first: (f64, f64), whole: (f64, f64), fonts: &Fonts) -> Plans {
    let Some(runs) = Extent::of(plan::places(record)) else {
        let mut none = Drawing::new(first.0, first.1);
        none.push(Item::text(
            pt(0.0, 6.0),
            SMALL,
            Anchor::Start,
            "No place was computed, so there is no plan.",
        ));
        return Plans {
            first: none,
            further: Vec::new(),
        };
    };
    let unit = record.frame.unit;
    let size = (first.0, first.1 - CAPTION);
    let fit = |extent: Extent, room: (f64, f64)| {
        let (w, h) = extent.metres(record);
        largest(unit, w, h, (room.0 - AROUND, room.1 - AROUND))
    };
    let alone = fit(runs, size);
    if alone.ratio > coarsest(unit).ratio {
        return cut(record, runs, first, whole, fonts);
    }
    let all = Extent::of(
        plan::places(record).chain(record.references.iter().map(|r| (r.easting, r.northing))),
    );
    let all = all.unwrap_or(runs);
    let with = fit(all, size);
    let figure =
        |extent: Extent, scale| figure(record, &view(record, extent.centre(), size, scale), fonts);
    let close = figure(runs, alone);
    let wide = (with.ratio <= alone.ratio * WORTH && with.ratio <= coarsest(unit).ratio)
        .then(|| figure(all, with));
    let first = wide
        .filter(|wide| wide.unlabelled <= close.unlabelled)
        .unwrap_or(close);
    Plans {
        first: first.drawing,
        further: Vec::new(),
    }
}

/// A view at a scale.
pub fn view(record: &AsBuilt, centre: (f64, f64), size: (f64, f64), scale: Scale) -> View {
    let exaggeration = plan::exaggeration(record, scale);
    View {
        centre,
        size,
        scale,
        exaggeration,
        paper: true,
        ties_of: None,
    }
}

/// A plan with its border and caption.
pub fn figure(record: &AsBuilt, view: &View, fonts: &Fonts) -> Plan {
    let plan = plan::draw(record, view, fonts);
    let (width, height) = view.size;
    let mut figure = Drawing::new(width, height + CAPTION);
    figure.place(pt(0.0, 0.0), plan.drawing);
    figure.push(Item::rect(Pen::Rule, Rect::new(0.0, 0.0, width, height)));
    caption(record, view, plan.unlabelled, &mut figure, fonts);
    Plan {
        drawing: figure,
        unlabelled: plan.unlabelled,
    }
}

fn caption(record: &AsBuilt, view: &View, unlabelled: usize, figure: &mut Drawing, fonts: &Fonts) {
    let y = view.size.1;
    let at = pt(4.0, y + 6.4);
    figure.push(Item::path(Pen::Line, vec![at + pt(0.0, 3.4), at]));
    figure.push(symbols::arrow(at - pt(0.0, 0.8), pt(0.0, -1.0), 2.2));
    figure.push(Item::text(at + pt(2.0, 2.6), SMALL, Anchor::Start, "N").bold());
    let right = bar(record, view.scale, pt(14.0, y + 5.6), figure);
    let x = right + 4.0;
    let ellipses = if view.exaggeration > 1.0 {
        format!(
            "95 % ellipses drawn {} times as large",
            figures::plain(view.exaggeration)
        )
    } else {
        "95 % ellipses to scale".to_owned()
    };
    let labels = match unlabelled {
        0 => String::new(),
        1 => "; one label found no room: see the tables".to_owned(),
        n => format!("; {n} labels found no room: see the tables"),
    };
    let scale = view.scale.text();
    let [up, declination] = north(record);
    let said = [
        format!("Plan {scale} at full size; {ellipses}{labels}."),
        up,
        declination,
    ];
    let (lines, leading) = words(&said, view.size.0 - x, fonts);
    for (i, text) in lines.into_iter().enumerate() {
        let y = y + leading * (i as f64 + 1.0) + 0.5;
        figure.push(Item::text(pt(x, y), SMALL, Anchor::Start, text));
    }
}

/// A caption's lines and how far apart they stand: a sentence a line where each has room for its own, else one after the other, and
/// closer where it takes a fourth line. None is cut: they say what the plan leaves out.
fn words(said: &[String; 3], width: f64, fonts: &Fonts) -> (Vec<String>, f64) {
    let apart = |text: &String| fonts.width(text, SMALL, false) <= width;
    if said.iter().all(apart) {
        return (said.to_vec(), LEADING);
    }
    let lines = fonts.wrap(&said.join(" "), width, SMALL, false);
    let leading = LEADING.min((CAPTION - 0.9) / lines.len() as f64);
    (lines, leading)
}

/// Which way is up, and what a compass shows there.
fn north(record: &AsBuilt) -> [String; 2] {
    let frame = &record.frame;
    let (north, ticks) = if frame.local {
        ("Site north up", "Ticks: site grid.")
    } else {
        ("Grid north up", "Ticks: the grid.")
    };
    let lies = frame.convergence.map(figures::of_true_north);
    let lies = lies.map(|text| format!("; it {text}"));
    let declination = figures::declination_of(frame);
    let declination = declination.map(|text| format!("Magnetic declination {text}. "));
    [
        format!("{north}{}.", lies.unwrap_or_default()),
        format!("{}{ticks}", declination.unwrap_or_default()),
    ]
}

/// The scale bar from `at` to the right, with its length on the ground and on paper; says where it ends.
fn bar(record: &AsBuilt, scale: Scale, at: Pt, figure: &mut Drawing) -> f64 {
    let unit = record.frame.unit;
    let per = unit.metres() * scale.per_metre();
    let length = round_step(52.0 / per);
    let paper = length * per;
    for i in 0..4 {
        let rect = Rect::new(at.x + paper * f64::from(i) / 4.0, at.y, paper / 4.0, 1.4);
        figure.push(Item::rect(
            if i % 2 == 0 { Pen::Module } else { Pen::Halo },
            rect,
        ));
        figure.push(Item::path(
            Pen::Rule,
            vec![pt(rect.x0, at.y + 0.09), pt(rect.x1, at.y + 0.09)],
        ));
        figure.push(Item::path(
            Pen::Rule,
            vec![pt(rect.x0, at.y + 1.31), pt(rect.x1, at.y + 1.31)],
        ));
    }
    figure.push(Item::rect(
        Pen::Module,
        Rect::new(at.x + paper - 0.18, at.y, 0.18, 1.4),
    ));
    let text = |x: f64, anchor, text: String| Item::text(pt(x, at.y - 0.9), SMALL, anchor, text);
    figure.push(text(at.x, Anchor::Start, "0".to_owned()));
    figure.push(text(
        at.x + paper,
        Anchor::End,
        format!("{} {unit}", figures::plain(length)),
    ));
    let true_length = format!("bar {} mm long on paper", figures::fixed(paper, 1));
    figure.push(Item::text(
        pt(at.x, at.y + 4.2),
        SMALL,
        Anchor::Start,
        true_length,
    ));
    at.x + paper.max(40.0)
}

/// Sheets side by side at the coarsest scale, and the key to them.
fn cut(
    record: &AsBuilt,
    runs: Extent,
    first: (f64, f64),
    whole: (f64, f64),
    fonts: &Fonts,
) -> Plans {
    let scale = coarsest(record.frame.unit);
    let k = record.frame.crs_unit_metres * scale.per_metre();
    let size = (whole.0 - 2.0 * EDGE, whole.1 - CAPTION - 2.0 * EDGE);
    let cell = ((size.0 - 2.0 * BEYOND) / k, (size.1 - 2.0 * BEYOND) / k);
    let cells = key::cells(record, runs, cell);
    let further = cells.iter().map(|c| {
        let view = view(record, c.centre(), size, scale);
        let mut sheet = Drawing::new(whole.0, whole.1);
        // Beneath the plan, so that a label's white ground interrupts the line.
        matches(&cells, c, size, &mut sheet);
        sheet.place(pt(EDGE, EDGE), figure(record, &view, fonts).drawing);
        sheet
    });
    Plans {
        further: further.collect(),
        first: key::draw(record, runs, &cells, first, fonts),
    }
}

/// Match lines towards the neighbours that have a sheet.
fn matches(cells: &[key::Cell], cell: &key::Cell, size: (f64, f64), sheet: &mut Drawing) {
    let frame = Rect::new(EDGE, EDGE, size.0, size.1);
    let line = frame.grown(-BEYOND);
    let middle = frame.centre();
    let sides = [
        (
            (0, 1),
            pt(line.x0, line.y0),
            pt(line.x1, line.y0),
            pt(middle.x, frame.y0 - 1.4),
            0.0,
        ),
        (
            (0, -1),
            pt(line.x0, line.y1),
            pt(line.x1, line.y1),
            pt(frame.x1 - 30.0, frame.y1 - 1.4),
            0.0,
        ),
        (
            (-1, 0),
            pt(line.x0, line.y0),
            pt(line.x0, line.y1),
            pt(frame.x0 - 1.4, middle.y),
            -90.0,
        ),
        (
            (1, 0),
            pt(line.x1, line.y0),
            pt(line.x1, line.y1),
            pt(frame.x1 + 1.4, middle.y),
            90.0,
        ),
    ];
    for ((east, north), a, b, at, turn) in sides {
        let Some(next) = cells
            .iter()
            .find(|c| c.column == cell.column + east && c.row == cell.row + north)
        else {
            continue;
        };
        sheet.push(Item::path(Pen::Match, vec![a, b]));
        let text = format!("Match line: sheet {}", next.sheet);
        // Below the plan stands its caption; the words for that side stand at its right end.
        let at = if north < 0 {
            pt(at.x, frame.y1 + 3.4)
        } else {
            at
        };
        sheet.push(
            Item::text(at, SMALL, Anchor::Middle, text)
                .bold()
                .turned(turn),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_caption_is_wrapped_not_cut() {
        let fonts = Fonts::new().unwrap();
        let said = [
            "Plan 1:50 at full size; 95 % ellipses drawn 50 times as large; 112 labels found no room: see the tables.",
            "Grid north up; it lies 1° 03′ 33″ west of true north.",
            "Magnetic declination 8.1° west. Ticks: the grid.",
        ]
        .map(str::to_owned);
        for width in [78.0, 90.0, 110.0] {
            let (lines, leading) = words(&said, width, &fonts);
            assert_eq!(lines.join(" "), said.join(" "));
            assert!(
                lines
                    .iter()
                    .all(|line| fonts.width(line, SMALL, false) <= width)
            );
            assert!(leading >= 2.4, "{leading}: lines would touch");
            assert!(leading * lines.len() as f64 + 0.5 <= CAPTION);
        }
        assert_eq!(words(&said, 160.0, &fonts), (said.to_vec(), LEADING));
    }
}
