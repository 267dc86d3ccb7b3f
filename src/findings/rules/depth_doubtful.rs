//! `depth-doubtful`: an automatic reading over a tilted transmitter.
//!
//! *Why*: a receiver works out depth as if the transmitter lay level; over a tilted one it reads deep (by the field about 2, 8
//! and 19 % at 10, 20 and 30°). *Limit*: the operator says tilted or vertical, or a tilt known at the mark itself exceeds 10°
//! ([`crate::sources::Source::OurChoice`]: where the error reaches the 2 % of the shared depth scale). *Example*:
//! `attitude = tilted`, `read_by` blank.

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::job::model::ReadBy;
use crate::transmitter::depth::STEEP;
use crate::transmitter::tilt::{Tilt, lies_tilted};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.located()
        .filter_map(|(_, located, seen)| {
            seen.sensed.readings?;
            let known = located.shift.map(|shift| shift.tilt);
            let tilted = lies_tilted(seen.row, known.as_ref());
            let known = known.filter(Tilt::known_steep);
            (tilted && seen.row.read_by == ReadBy::Automatic).then(|| {
                let by = known.map_or_else(String::new, |tilt| {
                    format!(" by {:.0}°", tilt.angle.to_degrees().abs())
                });
                let or = if seen.sensed.ends.is_some() {
                    ""
                } else {
                    ", or give the end points"
                };
                let message = format!(
                    "The depth of {} was read automatically over a transmitter tilted{by}: it comes out deep. Read it again \
                     by hand at the strongest signal and say `read_by = manual`{or}.",
                    seen.called(),
                );
                let finding = pipe.of_mark(Code::DepthDoubtful, &seen, message).column("read_by");
                match known {
                    Some(tilt) => finding.figures(
                        tilt.angle.to_degrees().abs(),
                        Some(STEEP.to_degrees()),
                    ),
                    None => finding,
                }
            })
        })
        .collect()
}
