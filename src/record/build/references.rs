//! Reference points of the record.

use super::View;
use crate::observe::{PointId, PointRole};
use crate::record::model::Reference;

/// Control in the order of its file, then points that only measurements know.
pub(super) fn references(view: &View<'_>) -> Vec<Reference> {
    let mut control: Vec<(usize, Reference)> = Vec::new();
    let mut auxiliary = Vec::new();
    for (index, point) in view.inputs.observations.points.iter().enumerate() {
        let id = PointId(index as u32);
        match point.role {
            PointRole::Control(row) => {
                control.extend(of_control(view, id, row).map(|reference| (row, reference)));
            }
            PointRole::Auxiliary => auxiliary.extend(bare(view, id, &point.name)),
            PointRole::Mark(_) => {}
        }
    }
    control.sort_by_key(|(row, _)| *row);
    control
        .into_iter()
        .map(|(_, reference)| reference)
        .chain(auxiliary)
        .collect()
}

fn of_control(view: &View<'_>, id: PointId, row: usize) -> Option<Reference> {
    let control = view.inputs.job.control.get(row)?;
    let mut reference = bare(view, id, &control.point)?;
    reference.elevation = reference.elevation.or(control
        .elevation
        .map(|elevation| view.scale.length(elevation)));
    reference.sigma_v = control.sigma_v.map(|sigma| view.scale.length(sigma));
    reference.description.clone_from(&control.description);
    reference.solved =
        control.grid.is_none() && control.geographic.is_none() && control.site.is_none();
    reference.permanent = control.permanent;
    reference.source = Some(control.source.to_string());
    reference.attributes = control
        .attributes
        .iter()
        .map(|(name, text)| (name.to_string(), text.clone()))
        .collect();
    Some(reference)
}

/// A point as the adjustment has it. One that no file lists is an instrument's stand or a corner: not for the tie sheet.
fn bare(view: &View<'_>, id: PointId, name: &str) -> Option<Reference> {
    let (place, scale) = (view.inputs.places.place(id)?, view.scale);
    // A run of that name has the id.
    let told = if view.run_ids.contains(name) {
        format!("{name} (reference)")
    } else {
        name.to_owned()
    };
    Some(Reference {
        id: view.id(&[&told]),
        point: name.to_owned(),
        easting: scale.grid(place.e),
        northing: scale.grid(place.n),
        geographic: None,
        ellipse: scale.ellipse(place.covariance),
        elevation: view
            .inputs
            .grounds
            .ground(id)
            .map(|ground| scale.length(ground.z)),
        sigma_v: None,
        description: None,
        solved: true,
        permanent: false,
        source: None,
        attributes: std::collections::BTreeMap::new(),
    })
}
