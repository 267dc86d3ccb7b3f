//! The blank field form: the columns of `marks.csv` for pen and clipboard, with the rule for depth readings on it.
//!
//! The same mark stands on the same line of every sheet. Columns are told by the names that the file has, so that
//! copying the form out needs no translation.

use super::content::figures;
use super::draw::{Anchor, Drawing, Item, Pen, Rect, pt};
use super::font::{Fonts, em};
use super::layout::flow::{LARGE, LEADING, SMALL};
use super::options::Paper;
use super::{Error, pdf};
use crate::limits::Limits;

/// A part of the form: columns that are filled in together, each with its share of the width.
struct Part {
    title: &'static str,
    columns: &'static [(&'static str, f64)],
    notes: &'static [&'static str],
    /// Whether the rule for depth readings stands on it.
    depths: bool,
}

/// The acceptance rule for depth readings, with the limit in force ([`crate::transmitter`]).
fn depth_rule() -> String {
    let limit = figures::plain(Limits::default().pair * 100.0);
    format!(
        "Depth pairs: read depth_1, turn the receiver half a turn, read depth_2. They agree if they differ by no more than {limit} % of their \
         mean: the depth is the mean. If not, turn a quarter and read depth_3, half a turn on depth_4, by the same rule. If neither pair \
         agrees, look for what disturbs the field and read again: the mean of all would be taken, with a wide bound."
    )
}

const PARTS: &[Part] = &[
    Part {
        title: "Where: cable and tapes",
        depths: false,
        columns: &[
            ("run", 1.0),
            ("mark", 1.3),
            ("push", 1.0),
            ("counter", 1.7),
            ("role", 1.7),
            ("tie_1_ref", 1.7),
            ("tie_1", 2.0),
            ("tie_2_ref", 1.7),
            ("tie_2", 2.0),
            ("tie_3_ref", 1.7),
            ("tie_3", 2.0),
            ("side", 1.3),
            ("baseline", 2.0),
            ("station", 1.8),
            ("offset", 1.7),
        ],
        notes: &[
            "One line a located point, in the order of the push. Write the unit once here: ______. Ties are level ground distances; a third tape checks the other two. With two tapes only, side is left or right of \
             the line from the first reference to the second.",
            "role: centre if blank, else end_ahead, end_behind, peak, exposed. baseline P>Q: station along it from P, offset square off it, right \
             positive looking from P to Q.",
        ],
    },
    Part {
        title: "How deep: readings at the same marks",
        depths: true,
        columns: &[
            ("mark", 1.3),
            ("depth_1", 1.5),
            ("depth_2", 1.5),
            ("depth_3", 1.5),
            ("depth_4", 1.5),
            ("read_by", 1.6),
            ("lift", 1.2),
            ("attitude", 1.5),
            ("found_by", 1.6),
            ("peak_checked", 2.1),
            ("end_ahead", 1.7),
            ("end_behind", 1.7),
            ("invert_depth", 1.9),
            ("ground", 1.7),
            ("fitting", 2.2),
        ],
        notes: &[
            "Over a tilted or vertical transmitter read at the peak and by hand: read_by = manual. lift: the receiver's lowest point above the ground. \
             end_ahead, end_behind: taped from the mark to the points where the field is vertical.",
        ],
    },
    Part {
        title: "Angles, receiver, signals: the rest of the same marks",
        depths: false,
        columns: &[
            ("mark", 1.3),
            ("setup", 1.2),
            ("backsight", 1.5),
            ("angle", 1.5),
            ("bearing", 1.4),
            ("bearing_from", 1.9),
            ("distance", 1.5),
            ("fix", 1.0),
            ("pole", 1.1),
            ("from_time", 1.6),
            ("to_time", 1.6),
            ("signal", 1.1),
            ("signal_ahead", 1.9),
            ("signal_behind", 2.0),
            ("signal_left", 1.7),
            ("signal_right", 1.8),
            ("signal_step", 1.8),
            ("tilt", 1.0),
        ],
        notes: &[
            "angle: clockwise at setup from backsight. bearing: magnetic unless bearing_from says true or grid. Times are UTC.",
        ],
    },
    Part {
        title: "Heights, coordinates, remarks: the rest of the same marks",
        depths: false,
        columns: &[
            ("mark", 1.3),
            ("latitude", 2.0),
            ("longitude", 2.0),
            ("height", 1.4),
            ("datum", 1.3),
            ("easting", 1.9),
            ("northing", 1.9),
            ("elevation", 1.6),
            ("sigma", 1.1),
            ("sigma_v", 1.2),
            ("quality_level", 1.8),
            ("quality_by", 1.8),
            ("photo", 1.7),
            ("use", 0.9),
            ("note", 4.0),
        ],
        notes: &[
            "quality_level: only as a named professional assigned it (quality_by). use: no leaves the row out, check only compares it.",
        ],
    },
];

const FILING: f64 = 20.0;
const MARGIN: f64 = 10.0;
/// Height of a line to write on.
const LINE: f64 = 8.5;

/// The form on a paper, a part a page.
pub fn form(paper: Paper) -> Result<Vec<u8>, Error> {
    let fonts = Fonts::new()?;
    let pages: Vec<Drawing> = PARTS
        .iter()
        .enumerate()
        .map(|(i, part)| page(part, i + 1, paper, &fonts))
        .collect();
    let about = pdf::About {
        title: "Field form for located points".to_owned(),
        creator: "aslaid".to_owned(),
        keywords: Vec::new(),
    };
    pdf::write(&pages, about, &fonts)
}

fn page(part: &Part, number: usize, paper: Paper, fonts: &Fonts) -> Drawing {
    let (width, height) = paper.size();
    let mut page = Drawing::new(width, height);
    let (left, right) = (FILING, width - MARGIN);
    let head = format!("Field form {number} of {}. {}", PARTS.len(), part.title);
    page.push(Item::text(pt(left, 15.0), LARGE, Anchor::Start, head).bold());
    let blanks = "Job ______________________   Date ____________   By ______________________   Page ____ of ____";
    page.push(Item::text(pt(right, 15.0), SMALL, Anchor::End, blanks));
    let mut y = 20.5;
    let rule = part.depths.then(depth_rule);
    let notes = rule
        .as_deref()
        .into_iter()
        .chain(part.notes.iter().copied());
    for line in notes.flat_map(|note| fonts.wrap(note, right - left, SMALL, false)) {
        page.push(Item::text(pt(left, y), SMALL, Anchor::Start, line));
        y += LEADING;
    }
    ruled(
        part,
        Rect {
            x0: left,
            y0: y,
            x1: right,
            y1: height - MARGIN,
        },
        fonts,
        &mut page,
    );
    page
}

/// Column heads and lines to write on.
fn ruled(part: &Part, room: Rect, fonts: &Fonts, page: &mut Drawing) {
    let shares: f64 = part.columns.iter().map(|c| c.1).sum();
    let top = room.y0 + 6.0;
    let lines = ((room.y1 - top) / LINE).floor();
    let bottom = top + lines * LINE;
    page.push(Item::rect(Pen::Tint, Rect { y1: top, ..room }));
    let mut x = room.x0;
    for (name, share) in part.columns {
        let width = room.width() * share / shares;
        // A long name is set smaller rather than cut: it is what the file calls the column.
        let size = (SMALL * (width - 1.0) / fonts.width(name, SMALL, true)).clamp(em(1.2), SMALL);
        page.push(Item::text(pt(x + 0.6, top - 1.8), size, Anchor::Start, *name).bold());
        page.push(Item::path(Pen::Rule, vec![pt(x, room.y0), pt(x, bottom)]));
        x += width;
    }
    for i in 0..=lines as usize {
        let y = top + i as f64 * LINE;
        page.push(Item::path(Pen::Rule, vec![pt(room.x0, y), pt(room.x1, y)]));
    }
    page.push(Item::rect(Pen::Line, Rect { y1: bottom, ..room }));
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::job::template;

    #[test]
    fn the_form_has_every_column_of_the_file_and_no_other() {
        let files = template::folder();
        let (_, marks) = files.iter().find(|(name, _)| name == "marks.csv").unwrap();
        let file: BTreeSet<&str> = marks.lines().next().unwrap().split(',').collect();
        let form: BTreeSet<&str> = PARTS
            .iter()
            .flat_map(|part| part.columns)
            .map(|c| c.0)
            .collect();
        assert_eq!(form, file);
    }

    #[test]
    fn every_column_name_fits_its_column_on_the_narrowest_paper() {
        let fonts = Fonts::new().unwrap();
        let room = Paper::Letter.size().0 - FILING - MARGIN;
        for part in PARTS {
            let shares: f64 = part.columns.iter().map(|c| c.1).sum();
            for (name, share) in part.columns {
                assert!(
                    fonts.width(name, em(1.2), true) <= room * share / shares - 1.0,
                    "{name}"
                );
            }
        }
    }
}
