//! The levelling book: out from a reference with an elevation, a few marks from each set-up, and back to it.

use super::book::{Cell, Row};
use super::frame::Ground;
use super::locate::Locator;
use crate::row;

/// Marks read from one set-up.
const SIGHTS: usize = 3;
/// Line of sight above the ground: a tripod's height.
const SIGHT: f64 = 1.5;

/// Levels every mark and closes on the reference; one row a sight, a turning point's two sights on one row.
pub fn book(locator: &mut Locator) {
    let surface = locator.means.site.surface;
    let reference = locator.means.site.references[0].clone();
    let elevation = surface.at(reference.at);
    locator.book.control[0].set("elevation", Cell::Length(elevation));
    let marks: Vec<(String, Ground)> = locator
        .paints
        .iter()
        .map(|p| (p.mark.clone(), p.at))
        .collect();
    let mut backsight = (reference.name.clone(), elevation);
    let mut turning = Row::default();
    for (i, sights) in marks.chunks(SIGHTS).enumerate() {
        let last = sights[sights.len() - 1].1;
        let instrument = surface.at(last) + SIGHT;
        let mut staff = |elevation: f64| Cell::Staff(locator.crew.staff(instrument - elevation));
        turning.set("point", backsight.0.as_str());
        turning.set("backsight", staff(backsight.1));
        locator.book.levels.push(std::mem::take(&mut turning));
        for (name, at) in sights {
            let row = row!["point" => name.as_str(), "intermediate" => staff(surface.at(*at))];
            locator.book.levels.push(row);
        }
        backsight = if (i + 1) * SIGHTS >= marks.len() {
            (reference.name.clone(), elevation)
        } else {
            (format!("T{}", i + 1), surface.at(last) + 0.1)
        };
        turning = row!["point" => backsight.0.as_str(), "foresight" => staff(backsight.1)];
    }
    locator.book.levels.push(turning);
}
