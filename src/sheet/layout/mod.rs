//! Where everything stands on the sheets, millimetres: frame, plan, profile, title block, tables, dig pages.
//!
//! Paper is filled from a list of bodies (what stands inside the frame); numbers, cautions and title come with the
//! frame once it is known how many there are.

mod block;
mod dig;
pub(super) mod flow;
mod frame;
mod key;
mod plans;
mod profiles;
mod tables;

use super::Error;
use super::content::tables::all;
use super::content::{Table, head};
use super::draw::{Drawing, pt};
use super::font::Fonts;
use super::options::Paper;
use crate::record::AsBuilt;
use frame::Frame;

/// White between two parts of a sheet.
const GAP: f64 = 4.0;
/// From this height of the body on, the profile stands under the plan.
const TOGETHER: f64 = 175.0;

/// Every sheet of a record, in order; `dig` are the observations that get a dig page, by their place in the record.
pub fn sheets(
    record: &AsBuilt,
    paper: Paper,
    dig: &[usize],
    fonts: &Fonts,
) -> Result<Vec<Drawing>, Error> {
    let frame = Frame::new(record, paper, fonts)?;
    let mut bodies = drawings(record, &frame, fonts);
    for &camera in dig {
        bodies.extend(dig::pages(record, camera, frame.room(), fonts));
    }
    let total = bodies.len();
    Ok(bodies
        .into_iter()
        .enumerate()
        .map(|(i, body)| frame.dress(body, i + 1, total))
        .collect())
}

/// First sheet, further plans, profiles, tables.
fn drawings(record: &AsBuilt, frame: &Frame<'_>, fonts: &Fonts) -> Vec<Drawing> {
    let (width, height) = frame.room();
    let together = height >= TOGETHER;
    let column = if together { 96.0 } else { 78.0 };
    let left = width - column - GAP;
    let mut first = Drawing::new(width, height);
    let (beside, room) = if together {
        (left, 2.0 * height)
    } else {
        (width, height)
    };
    let (mut profiles, without) = profiles::panels(record, (beside, room), fonts);
    let beneath = (together && !profiles.is_empty()).then(|| profiles.remove(0));
    let plan_height = beneath.as_ref().map_or(height, |p| height - p.height - GAP);
    let plans = plans::draw(record, (left, plan_height), (width, height), fonts);
    let free = plan_height - plans.first.height - GAP;
    first.place(pt(0.0, 0.0), plans.first);
    if let Some(profile) = beneath {
        first.place(pt(0.0, plan_height + GAP), profile);
    }
    let tables = all(record);
    let source = block::Source {
        record,
        lacking: lacking(record, &tables, fonts),
        fonts,
    };
    let (title_block, mut over) = flow::column(block::pieces(&source, column), height);
    first.place(pt(left + GAP, 0.0), title_block);
    if free > 0.0 && !over.is_empty() {
        // A key leaves room beneath it.
        let rest = block::pieces_named(&source, left, &over);
        let (beneath_key, still) = flow::column(rest, free);
        first.place(pt(0.0, plan_height - free), beneath_key);
        over = still;
    }
    let mut bodies = vec![first];
    bodies.extend(plans.further);
    bodies.extend(flow::stack(profiles, (width, height)));
    // Lanes wide enough for the widest table but no wider, so that the eye keeps its row.
    let lanes = (width / 250.0).floor().max(1.0);
    let lane = (width - GAP * (lanes - 1.0)) / lanes;
    let mut pieces = if over.is_empty() {
        Vec::new()
    } else {
        block::pieces_named(&source, lane, &over)
    };
    pieces.extend(profiles::without(&without, lane, fonts));
    for table in tables.into_iter().filter(|table| table.paper) {
        pieces.extend(tables::pieces(&table.for_paper(), lane, fonts));
    }
    bodies.extend(flow::pages(pieces, (width, height), lanes as usize, lane));
    bodies
}

/// Whether the typeface lacks letters of what the drawing says of the job: its tables and the title block hold all of it.
fn lacking(record: &AsBuilt, tables: &[Table], fonts: &Fonts) -> bool {
    let paper = tables.iter().filter(|table| table.paper);
    let mut cells = paper.flat_map(|t| &t.rows).flat_map(|row| &row.cells);
    let facts = [head::particulars(record), head::frame(record)].concat();
    cells.any(|cell| fonts.lacks(cell)) || facts.iter().any(|(_, value)| fonts.lacks(value))
}
