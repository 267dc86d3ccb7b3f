//! `path-too-long` from an opening: a mark farther from the place that its push started at than the cable paid out allows.
//!
//! *Why*: nothing else holds `counter_at_start`, `lens_to_transmitter` and the opening's coordinates against the marks; what the camera saw
//! is placed by them. Only this way round: a cable that goes down a riser first is longer than the way in plan. *Limit*: 3.29 of
//! the difference's one-sigma ([`crate::sources::Source::Baarda1968`]). *Example*: 20 m from the opening on 12 m of cable.

use std::collections::HashMap;

use super::pipe::Pipe;
use crate::findings::{Code, Finding};
use crate::math::block;
use crate::observe::PointId;
use crate::run::{Located, Traced};

pub(super) fn find(pipe: &Pipe<'_>) -> Vec<Finding> {
    let (job, observations) = (pipe.inputs.job, pipe.inputs.observations);
    if job.pushes.iter().all(|push| push.start.is_none()) {
        return Vec::new();
    }
    let points = observations.points.iter().enumerate();
    let named: HashMap<&str, usize> = points.map(|(i, point)| (&*point.name, i)).collect();
    // The mark nearest to each push's opening by the counter.
    let mut first: Vec<Option<(f64, &Traced, &Located)>> = vec![None; job.pushes.len()];
    for (traced, located, seen) in pipe.located() {
        let (Some(push), Some(counter)) = (seen.row.push, seen.row.counter) else {
            continue;
        };
        if let Some(slot) = first.get_mut(push)
            && slot.is_none_or(|(least, ..)| counter < least)
        {
            *slot = Some((counter, traced, located));
        }
    }
    let pushes = job.pushes.iter().zip(&first);
    pushes
        .filter_map(|(push, first)| {
            let (counter, traced, located) = (*first)?;
            let start = push.start.as_deref()?;
            let point = PointId(*named.get(start)? as u32);
            let opening = pipe.inputs.places.place(point)?;
            let (e, n) = (located.e - opening.e, located.n - opening.n);
            let away = e.hypot(n) / pipe.inputs.ground_to_grid();
            let cable = counter - push.counter_at_start - job.equipment.lens_to_transmitter.unwrap_or(0.0);
            let joint = pipe.inputs.places.covariance(located.point, point);
            let c = block::difference(located.covariance(), opening.covariance, joint);
            let far = e.hypot(n).max(1e-9);
            let along = block::along(c, [e / far, n / far]);
            let sigma = along.max(0.0).sqrt().hypot(job.accuracy.cable(cable));
            let allowed = job.limits.alarm * sigma;
            if away - cable <= allowed {
                return None;
            }
            let name = pipe.inputs.mark_name(located.mark);
            let message = format!(
                "{} lies {} from {start}, where push {} started, on {} of cable: a difference of {}, where {} is allowed. Check `counter_at_start` and \
                 `start` of the push, the counter, and `lens_to_transmitter`.",
                super::called(name),
                pipe.length(away),
                push.id,
                pipe.length(cable),
                pipe.length(away - cable),
                pipe.length(allowed),
            );
            let finding = Finding::new(Code::PathTooLong, message)
                .at(&push.source)
                .run(pipe.run_name(traced.run))
                .mark(name)
                .column("counter_at_start");
            Some(pipe.figures(finding, away - cable, Some(allowed)))
        })
        .collect()
}
