//! `depth-disagrees`: depth readings that differ too much: half a turn from each other, or a quarter turn on from a pair that agrees.
//!
//! *Why*: a receiver turned half round that disagrees with itself is disturbed or not over the transmitter. *Limit*: `pair`,
//! 10 % of their mean ([`crate::sources::Source::CommonPractice`]); a mean above the ground is `above-ground` and not told here. *Example*: 4.42 ft, half a turn on 3.73 ft, no second
//! pair.

use super::pipe::{Pipe, Seen, percent};
use crate::findings::{Code, Finding};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    pipe.seen()
        .filter_map(|seen| finding(pipe, &seen))
        .collect()
}

fn finding(pipe: &Pipe<'_>, seen: &Seen<'_>) -> Option<Finding> {
    // A depth of nothing or less is `above-ground`, and part of such a mean tells nothing.
    let readings = seen
        .sensed
        .readings
        .filter(|readings| readings.disagree && readings.depth > 0.0)?;
    let figures: Vec<String> = readings
        .depths
        .iter()
        .flatten()
        .map(|depth| pipe.length(*depth))
        .collect();
    let turned = readings.depths.iter().flatten().count() > 2;
    let way_out = if turned {
        "Look for metal or another signal nearby, and read again from a little to each side; the bound is widened to hold all \
         of them."
    } else {
        "Turn the receiver a quarter round and take a second pair; until then the bound is widened to hold both."
    };
    let spread = readings.spread.unwrap_or(0.0);
    let limit = pipe.inputs.job.limits.pair;
    let above = readings.depths.iter().flatten().any(|depth| *depth < 0.0);
    let how = if above {
        "disagree, and one of them lies above the ground: check it, and `lift`, which is subtracted from it.".to_owned()
    } else {
        format!(
            "spread over {} of their mean; {} is allowed.",
            percent(spread),
            percent(limit)
        )
    };
    let message = format!(
        "The depth readings of {} ({}) {how} {way_out}",
        seen.called(),
        figures.join(", "),
    );
    let mut finding = pipe.of_mark(Code::DepthDisagrees, seen, message);
    for (i, _) in readings
        .depths
        .iter()
        .enumerate()
        .filter(|(_, depth)| depth.is_some())
    {
        finding = finding.column(format!("depth_{}", i + 1));
    }
    Some(match above {
        true => finding,
        false => finding.figures(100.0 * spread, Some(100.0 * limit)),
    })
}
