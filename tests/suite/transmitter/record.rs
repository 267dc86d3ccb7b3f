//! The record built from traced runs: units, ends, hash.

use super::build::{Site, row, run};
use aslaid::export::record::seal;
use aslaid::findings::{Code, Finding};
use aslaid::job::model::{Role, Stream};
use aslaid::record::model::{Adjustment, Check, Evidence, Frame};
use aslaid::record::{AsBuilt, Parts, PointQuality, build, verify_hash};
use aslaid::units::LengthUnit;
use aslaid::{profile, run as trace, transmitter};

fn frame(unit: LengthUnit, crs_unit_metres: f64) -> Frame {
    serde_json::from_value(serde_json::json!({
        "crs": "EPSG:2264", "crs_name": "a grid", "local": false, "crs_unit": "US survey foot",
        "crs_unit_metres": crs_unit_metres, "unit": unit.symbol(), "operations": [],
    }))
    .unwrap()
}

pub fn record(
    site: &Site,
    unit: LengthUnit,
    findings: Vec<Finding>,
    checks: Vec<Check>,
) -> AsBuilt {
    let sensed = transmitter::sense(&site.job, &site.observations, site);
    let traced = trace::trace(site.inputs(), &sensed);
    let profiles = profile::profiles(site.inputs(), &traced);
    seal(build(Parts {
        inputs: site.inputs(),
        sensed: &sensed,
        traced: &traced,
        profiles: &profiles,
        unit,
        frame: frame(unit, aslaid::units::US_SURVEY_FOOT),
        to_wgs84: &|points| Some(points.iter().map(|&(e, n)| (e * 1e-7, n * 1e-7)).collect()),
        adjustment: Adjustment::default(),
        measurements: Vec::new(),
        quality: &|_| {
            Some(PointQuality {
                redundancy: 1.5,
                largest_residual: Some(0.7),
            })
        },
        checks,
        advice: Vec::new(),
        findings,
        notes: Vec::new(),
        draft: None,
    }))
    .unwrap()
}

fn site() -> Site {
    let mut site = Site::new(vec![run("A", Stream::Down)]);
    site.job.grid.geoid_separation = Some(-30.0);
    for (index, at) in [0.0, 4.0, 9.0].into_iter().enumerate() {
        let mut mark = row(&format!("A{index}"), Role::Centre);
        mark.counter = Some(at + 0.25);
        if index != 1 {
            mark.readings = [Some(1.5), Some(1.5), None, None];
        }
        site.add(
            mark,
            (600_000.0 + at, 200_000.0),
            0.02,
            Some(100.0 - 0.02 * at),
        );
    }
    site
}

#[test]
fn figures_in_their_units() {
    let site = site();
    let metres = record(&site, LengthUnit::Metre, Vec::new(), Vec::new());
    let feet = record(&site, LengthUnit::Foot, Vec::new(), Vec::new());
    let (m, f) = (&metres.marks[2], &feet.marks[2]);
    assert!((m.easting - 600_009.0 / aslaid::units::US_SURVEY_FOOT).abs() < 1.0);
    assert!(
        (m.easting - f.easting).abs() < 1e-9,
        "coordinates stay in the CRS's unit"
    );
    for (m, f) in [
        (m.station, f.station),
        (m.invert, f.invert),
        (m.cover, f.cover),
        (m.invert_95, f.invert_95),
    ] {
        assert!((m.unwrap() / 0.3048 - f.unwrap()).abs() < 1e-9);
    }
    // Worked by hand: reading 1.5, axis 0.04 above the invert, inside diameter 0.1016, wall 0.006.
    assert!((m.transmitter_depth.unwrap() - 1.5).abs() < 1e-12);
    assert!((m.invert_depth.unwrap() - 1.54).abs() < 1e-12);
    assert!((m.cover.unwrap() - (1.5 - 0.0616 - 0.006)).abs() < 1e-12);
    let sigma = (0.03_f64.powi(2) + 0.06_f64.powi(2) + 0.03_f64.powi(2)).sqrt();
    assert!((m.depth_95.unwrap() - 1.96 * sigma).abs() < 1e-4);
    assert!((m.cover.unwrap() - m.cover_least.unwrap() - 1.645 * sigma).abs() < 1e-4);
    assert!((m.invert.unwrap() - (100.0 - 0.18 - 1.54)).abs() < 1e-9);
    let height = m.geographic.unwrap().ellipsoidal_height.unwrap();
    assert!((height - (m.invert.unwrap() - 30.0)).abs() < 1e-9);
    assert_eq!(m.id, "S/J/A/A2");
}

#[test]
fn a_mark_without_depth_has_an_interpolated_invert() {
    let record = record(&site(), LengthUnit::Metre, Vec::new(), Vec::new());
    let mark = &record.marks[1];
    assert!(mark.transmitter_depth.is_none() && mark.depth_basis.word() == "none");
    // How deep it lies follows from the ground there.
    let depth = mark.ground.unwrap() - mark.invert.unwrap();
    assert!((mark.invert_depth.unwrap() - depth).abs() < 1e-9);
    assert!(mark.cover_least.unwrap() < mark.cover.unwrap() && mark.cover.unwrap() < depth);
    let (a, b) = (
        record.marks[0].invert.unwrap(),
        record.marks[2].invert.unwrap(),
    );
    assert!(mark.invert.unwrap() < a && mark.invert.unwrap() > b);
    assert_eq!(mark.evidence, Evidence::Located);
}

#[test]
fn stations_from_the_other_end() {
    let mut site = site();
    site.job.runs[0].station_from = Stream::Down;
    let record = record(&site, LengthUnit::Metre, Vec::new(), Vec::new());
    let run = &record.runs[0];
    assert_eq!(
        run.vertices.first().unwrap().mark.as_deref(),
        Some("A0"),
        "drawn in the direction of flow"
    );
    assert!(run.vertices.last().unwrap().station.abs() < 1e-9);
    assert_eq!(record.marks[0].mark, "A2", "marks by station");
    let along = run.vertices[0].along_pipe.unwrap();
    assert!((along - run.length.unwrap()).abs() < 1e-9 && along > run.length_plan.unwrap());
}

#[test]
fn hash_survives_the_file_and_shows_a_changed_digit() {
    let finding = Finding::new(Code::DepthSingle, "one reading").mark("A2");
    let made = record(&site(), LengthUnit::UsSurveyFoot, vec![finding], Vec::new());
    assert_eq!(made.marks[2].findings.as_deref(), Some("depth-single"));
    let text = serde_json::to_string_pretty(&made).unwrap();
    let mut read: AsBuilt = serde_json::from_str(&text).unwrap();
    assert!(verify_hash(&made) && verify_hash(&read));
    read.marks[1].easting = f64::from_bits(read.marks[1].easting.to_bits() + 1);
    assert!(!verify_hash(&read));
}

#[test]
fn cautions_are_complete() {
    let record = record(&site(), LengthUnit::Metre, Vec::new(), Vec::new());
    let text = record.cautions.join("\n");
    for word in [
        "NOT EXPOSED",
        "811",
        "private laterals",
        "beyond a meter",
        "no locate mark",
        "outside edges",
        "vacuum",
        "jetting",
        "rodding",
        "gas",
        "1926.652",
        "confined-space",
        "seal",
        "Local codes",
    ] {
        assert!(text.contains(word), "{word}");
    }
    let again = self::record(&site(), LengthUnit::Metre, Vec::new(), Vec::new());
    assert_eq!(record.hash, again.hash);
}
