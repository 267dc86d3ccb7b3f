//! `camera.csv`.

use std::borrow::Cow;

use super::Refers;
use crate::findings::Code;
use crate::job::model::CameraRow;
use crate::job::row::{Tally, rows};
use crate::job::schema::{Typing, camera, clock};
use crate::job::table::Sheet;

/// What the camera saw.
pub fn read(sheet: &Sheet, typing: Typing, tally: &mut Tally, refers: &Refers) -> Vec<CameraRow> {
    let mut list = Vec::new();
    rows(sheet, typing, tally, |row, _| {
        let place = refers.place(row, (camera::RUN, camera::PUSH), true);
        for column in [camera::COUNTER, camera::WHAT] {
            if !row.has(column) {
                row.lacks(
                    column,
                    "an observation has a counter and says what was seen",
                );
            }
        }
        let (counter, what) = (row.number(camera::COUNTER), row.text(camera::WHAT));
        let until = row.number(camera::UNTIL);
        let position = row
            .read(camera::CLOCK, |cell| clock(cell.text))
            .map(Cow::into_owned);
        let (note, photo) = (row.text(camera::NOTE), row.text(camera::PHOTO));
        let dig = row.flag(camera::DIG).unwrap_or(false);
        if until
            .zip(counter)
            .is_some_and(|(until, counter)| until <= counter)
        {
            row.refuse(
                Code::Unreadable,
                &[camera::COUNTER, camera::UNTIL],
                "until is the counter at the end of a stretch, so it is more than the counter at its beginning; leave it blank for a \
                 spot",
            );
        }
        let (Some((run, push)), Some(counter), Some(what), false) =
            (place, counter, what, row.failed())
        else {
            return;
        };
        list.push(CameraRow {
            run,
            push,
            counter,
            until,
            what,
            clock: position,
            note,
            photo,
            dig,
            source: row.source(),
            attributes: row.attributes(),
        });
    });
    list
}
