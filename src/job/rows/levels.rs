//! `levels.csv`.

use super::Names;
use crate::findings::Code;
use crate::job::model::LevelRow;
use crate::job::row::{Tally, rows};
use crate::job::schema::{Typing, levels};
use crate::job::table::Sheet;

/// The levelling book, in its order.
pub fn read(sheet: &Sheet, typing: Typing, tally: &mut Tally, names: &mut Names) -> Vec<LevelRow> {
    let mut list = Vec::new();
    rows(sheet, typing, tally, |row, tally| {
        let point = row.name(levels::POINT).map(|name| names.share(name));
        if point.is_none() && !row.failed() {
            row.lacks(levels::POINT, "the staff stood on a point");
        }
        let [backsight, intermediate, foresight] =
            [levels::BACKSIGHT, levels::INTERMEDIATE, levels::FORESIGHT]
                .map(|column| row.number(column));
        let distance = row.number(levels::DISTANCE);
        if [backsight, intermediate, foresight]
            .iter()
            .all(Option::is_none)
            && !row.failed()
        {
            row.lacks(
                levels::BACKSIGHT,
                "a line of the book has a backsight, an intermediate sight or a foresight",
            );
        }
        if intermediate.is_some() && (backsight.is_some() || foresight.is_some()) {
            let message = "an intermediate sight stands alone in its line; a turning point has a foresight and a backsight";
            row.refuse(Code::Unreadable, &[levels::INTERMEDIATE], message);
        }
        row.keep_rest(&[levels::NOTE], tally);
        let (Some(point), false) = (point, row.failed()) else {
            return;
        };
        list.push(LevelRow {
            point,
            backsight,
            intermediate,
            foresight,
            distance,
            source: row.source(),
        });
    });
    list
}
