//! Who and with what; sigmas and limits in force.

use super::scale::Scale;
use crate::job::model::Job;
use crate::limits::{Accuracy, Limits, Quantity, Setting as Known};
use crate::record::model::{Equipment, JobHead, Setting};
use crate::units::LengthUnit;

pub(super) fn head(job: &Job) -> JobHead {
    JobHead {
        id: job.head.id.clone(),
        supplier: job.head.supplier.clone(),
        title: job.head.title.clone(),
        located_on: job.head.located_on.clone(),
        revision: job.head.revision,
        texts: job.head.texts.clone(),
    }
}

pub(super) fn equipment(job: &Job, scale: Scale) -> Equipment {
    Equipment {
        lens_to_transmitter: scale.length(job.equipment.lens_to_transmitter.unwrap_or(0.0)),
        axis_above_invert: job
            .equipment
            .axis_above_invert
            .map(|axis| scale.length(axis)),
        sensor_height: given(job.equipment.sensor_height, scale),
        antenna_height: given(job.equipment.antenna_height, scale),
        signal_is_linear: job.equipment.signal_is_linear,
        texts: job.equipment.texts.clone(),
    }
}

/// A length whose default is 0, where it is another.
pub(super) fn given(metres: f64, scale: Scale) -> Option<f64> {
    (metres != 0.0).then(|| scale.length(metres))
}

pub(super) fn sigmas(job: &Job, unit: LengthUnit) -> Vec<Setting> {
    let default = Accuracy::default();
    settings(
        Accuracy::SETTINGS,
        unit,
        &|name| job.accuracy.get(name),
        &|name| default.get(name),
    )
}

pub(super) fn limits(job: &Job, unit: LengthUnit) -> Vec<Setting> {
    let default = Limits::default();
    settings(
        Limits::SETTINGS,
        unit,
        &|name| job.limits.get(name),
        &|name| default.get(name),
    )
}

/// The source of a figure that the job gives.
const THE_JOB: &str = "the job";

type Get<'a> = dyn Fn(&str) -> Option<f64> + 'a;

fn settings(known: &[Known], unit: LengthUnit, get: &Get<'_>, default: &Get<'_>) -> Vec<Setting> {
    let setting = |known: &Known| {
        let value = get(known.name);
        let given = value != default(known.name);
        let (value_in, unit) = match known.quantity {
            Quantity::Length => (value.map(|value| unit.of(value)), unit.symbol()),
            Quantity::Angle => (value.map(f64::to_degrees), "degree"),
            Quantity::Number => (value, "1"),
        };
        Setting {
            name: known.name.to_owned(),
            value: value_in.filter(|value| value.is_finite()),
            unit: unit.to_owned(),
            given,
            source: if given { THE_JOB } else { known.source.cite() }.to_owned(),
        }
    };
    known.iter().map(setting).collect()
}
