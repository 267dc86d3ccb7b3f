//! The strongest signal, where it was marked beside the crossline.

use super::locate::Work;
use super::order::Entry;
use super::{Beside, Direction};
use crate::job::model::{FoundBy, MarkRow, Use};
use crate::math::block;

impl Work<'_> {
    /// The peak of a mark that was found by its crossline, over a transmitter `sensing` below the sensing point.
    pub(super) fn beside(
        &self,
        entry: &Entry<'_>,
        row: &MarkRow,
        direction: Option<Direction>,
        sensing: f64,
    ) -> Option<Beside> {
        let points = self.inputs.observations.marks.get(entry.mark)?;
        let (peak_row, peak_id) = points.peak?;
        let rows = &self.inputs.job.marks;
        rows.get(peak_row).filter(|row| row.usage == Use::Yes)?;
        if row.found_by != FoundBy::Crossline {
            return None;
        }
        let (peak, (id, mark)) = (self.inputs.places.place(peak_id)?, entry.paint?);
        let along = direction?.unit();
        let across = [along[1], -along[0]];
        let k = self.inputs.ground_to_grid();
        let off = |unit: [f64; 2]| ((peak.e - mark.e) * unit[0] + (peak.n - mark.n) * unit[1]) / k;
        let covariance = block::difference(
            peak.covariance,
            mark.covariance,
            self.inputs.places.covariance(peak_id, id),
        );
        let placed = 2.0 * self.inputs.job.accuracy.placing(sensing).powi(2);
        let sigma = |unit| (block::along(covariance, unit) + placed).sqrt();
        // A wrong direction swings what lies along the pipe to the side.
        let swing = off(along) * direction?.sigma.min(1.0);
        Some(Beside {
            place: peak,
            row: peak_row,
            sensing,
            along: (off(along), sigma(along)),
            across: (off(across), sigma(across).hypot(swing)),
        })
    }
}
