//! Every datum operation that a result went by is named in its record, and said where it counts: out of the grid to the map, between a
//! site plan and the job, from the system that the job's files are in.

use std::fs;
use std::path::Path;

use aslaid::crs::Crs;
use aslaid::error::Error;
use aslaid::export::{FORMATS, View};
use aslaid::findings::{Code, Level};
use aslaid::pipeline::{Options, Outcome, run};
use aslaid::record::AsBuilt;
use aslaid::record::model::{Crossing, Separation};
use aslaid::units::LengthUnit;
use serde_json::Value;

use crate::cli::site::Site;
use crate::plan::support;

/// A job of two marks 10 m apart, due east, taped from two points that stand where the grid has `at`.
fn job(folder: &Path, crs: &str, at: (f64, f64)) {
    let (e, n) = at;
    fs::create_dir_all(folder).unwrap();
    let write = |name: &str, text: String| fs::write(folder.join(name), text).unwrap();
    write(
        "job.toml",
        format!(
            "[job]\nid = \"J\"\n[grid]\ncrs = \"{crs}\"\nunit = \"m\"\nheight = \"30 m\"\n[[run]]\nid = \"A\"\n"
        ),
    );
    write(
        "control.csv",
        format!("point,easting,northing\nP1,{e},{n}\nP2,{},{n}\n", e + 30.0),
    );
    write(
        "marks.csv",
        "run,mark,counter,baseline,station,offset\nA,A1,1,P1>P2,5,0\nA,A2,11,P1>P2,15,0\n"
            .to_owned(),
    );
}

fn built(folder: &Path, crs: Option<&str>) -> Result<Outcome, Error> {
    let options = Options {
        crs: crs.map(str::to_owned),
        ..Options::default()
    };
    run(folder, &options)
}

fn record(folder: &Path, crs: Option<&str>) -> AsBuilt {
    built(folder, crs).unwrap().record.unwrap()
}

fn written(record: &AsBuilt, name: &str) -> String {
    let format = FORMATS.iter().find(|format| format.name() == name).unwrap();
    let mut out = Vec::new();
    format.write(&View::new(record), &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// Near London, where the best operation without grid files is good to 2 m.
const LONDON: (f64, f64) = (530_000.0, 180_000.0);

#[test]
fn the_way_from_the_grid_to_the_map_is_named_and_what_it_leaves_in_doubt_is_said() {
    let site = Site::new();
    job(&site.at("job"), "EPSG:27700", LONDON);
    let record = record(&site.at("job"), None);
    let [by] = &record.frame.operations[..] else {
        panic!("{:?}", record.frame.operations)
    };
    assert_eq!(
        (by.to.as_str(), by.accuracy_m, by.ballpark),
        ("WGS 84", Some(2.0), false)
    );
    assert!(
        by.from == record.frame.crs_name && by.area.is_some(),
        "{by:?}"
    );
    let said = "good to 2 m: not in the ellipses";
    let map: Value = serde_json::from_str(&written(&record, "geojson")).unwrap();
    assert!(map["accuracy"].as_str().unwrap().contains(said), "{map}");
    assert!(written(&record, "kml").contains(said));
    assert!(
        !record
            .findings
            .iter()
            .any(|finding| finding.code == Code::GnssFix)
    );
    // The places are by that very operation.
    let own = Crs::new("EPSG:27700", LengthUnit::Metre).unwrap();
    let (mark, at) = (&record.marks[0], record.marks[0].geographic.unwrap());
    let (places, used) = own.to_wgs84(&[(mark.easting, mark.northing)]).unwrap();
    assert_eq!(&used, by);
    assert!((places[0].0.to_degrees() - at.longitude).abs() < 1e-12);
}

#[test]
fn a_system_on_wgs_84_itself_has_nothing_to_say_of_its_map() {
    let site = Site::new();
    job(&site.at("job"), "EPSG:32632", (500_000.0, 5_700_000.0));
    let record = record(&site.at("job"), None);
    assert_eq!(record.frame.operations[0].accuracy_m, Some(0.0));
    assert!(!written(&record, "geojson").contains("\"accuracy\""));
    assert!(!written(&record, "kml").contains("good to"));
}

#[test]
fn a_map_that_only_a_ballpark_operation_leads_to_is_a_finding() {
    let site = Site::new();
    job(&site.at("job"), "EPSG:2220", (500_000.0, 4_950_000.0));
    let record = record(&site.at("job"), None);
    assert!(
        record
            .frame
            .operations
            .iter()
            .any(|by| by.ballpark && by.to == "WGS 84")
    );
    let found: Vec<_> = record
        .findings
        .iter()
        .filter(|finding| finding.code == Code::GnssFix)
        .collect();
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(
        found[0].message.contains("asbuilt.geojson"),
        "{}",
        found[0].message
    );
    // Average Terrestrial System 1977: its ellipsoid is none of today's.
    assert_eq!(found[0].value, Some(250.0));
}

#[test]
fn results_in_another_system_name_the_operation_that_led_there() {
    let site = Site::new();
    job(&site.at("grid"), "EPSG:27700", LONDON);
    let other = record(&site.at("grid"), Some("EPSG:32630"));
    let there = other.frame.operations.first().unwrap();
    assert_eq!(
        (there.from.as_str(), there.to.as_str(), there.accuracy_m),
        (
            "OSGB36 / British National Grid",
            "WGS 84 / UTM zone 30N",
            Some(2.0)
        )
    );
    // Positions in the system's own datum alone go the same way.
    job(&site.at("positions"), "EPSG:27700", LONDON);
    fs::write(
        site.at("positions/control.csv"),
        "point,latitude,longitude\nP1,51.5,-0.12\nP2,51.5,-0.1196\n",
    )
    .unwrap();
    let other = record(&site.at("positions"), Some("EPSG:32630"));
    assert_eq!(other.frame.operations.first(), Some(there));
}

#[test]
fn a_system_that_was_asked_for_and_does_not_fit_is_named_as_such() {
    let site = Site::new();
    job(&site.at("job"), "EPSG:25832", (500_000.0, 5_700_000.0));
    let error = |crs: &str| built(&site.at("job"), Some(crs)).unwrap_err().to_string();
    let local = error("local");
    assert!(
        local.contains("--crs local")
            && local.contains("the job is in EPSG:25832")
            && !local.contains("own system is a local"),
        "{local}"
    );
    let far = error("EPSG:2264");
    for part in [
        "--crs EPSG:2264",
        "control.csv:2",
        "latitude 51.4",
        "longitude 9.0000",
        "North Carolina",
    ] {
        assert!(far.contains(part), "{part}: {far}");
    }
    // One that is used there is taken.
    record(&site.at("job"), Some("EPSG:32632"));
}

/// A run of 20 m due east near London with a line of a plan that it comes near, 2.6 m to the north; the plan in WGS 84, or in the
/// job's own system.
fn beside(crs: &str, at: (f64, f64), plan_crs: Option<u32>) -> (AsBuilt, Crossing) {
    let folder = support::folder();
    let mut record = support::record(crs, 1.0, "m");
    let own = Crs::new(crs, LengthUnit::Metre).unwrap();
    own.name().clone_into(&mut record.frame.crs_name);
    let ellipse = aslaid::record::model::Ellipse {
        semi_major_95: 0.1,
        semi_minor_95: 0.1,
        azimuth_95: 0.0,
    };
    let corner = |east: f64| support::Corner {
        at: (at.0 + east, at.1),
        ellipse: Some(ellipse),
        ..support::Corner::default()
    };
    record.runs = vec![support::run(&record, "A", &[corner(0.0), corner(20.0)])];
    let line = [(at.0, at.1 + 2.6), (at.0 + 20.0, at.1 + 2.6)];
    let datum = match plan_crs {
        Some(6318) => aslaid::crs::Datum::Named("EPSG:6318".to_owned()),
        _ => aslaid::crs::Datum::Wgs84,
    };
    let line = match plan_crs {
        Some(code) if format!("EPSG:{code}") == crs => line.to_vec(),
        _ => {
            let (lonlat, _) = own.to_geographic(&datum, &line).unwrap();
            lonlat
                .iter()
                .map(|(x, y)| (x.to_degrees(), y.to_degrees()))
                .collect()
        }
    };
    let path = folder.path().join("site.geojson");
    support::lines(&path, plan_crs, &[("water", line)]);
    let layers = "[[layer]]\nname = \"water\"\nrole = \"utility\"\nnear = \"5 m\"\nrequired = {horizontal = \"2 m\"}\n";
    let (plan, site) = support::read(&record, &[path], layers, None).unwrap();
    aslaid::plan::attach(&mut record, &plan, &site).unwrap();
    let row = record.crossings.first().unwrap().clone();
    (record, row)
}

#[test]
fn the_operation_of_a_site_plan_is_named_and_in_the_bounds() {
    let (record, row) = beside("EPSG:27700", LONDON, None);
    assert_eq!(row.requirement.unwrap().verdict, Separation::CannotBeTold);
    assert!((row.clearance - 2.6).abs() < 1e-3, "{}", row.clearance);
    // One-sigma of 2 m each axis beside the pipe's own.
    let own = 0.1 / 2.447_746_830_680_816;
    let bound = 1.959_963_984_540_054 * 2.0_f64.hypot(own);
    assert!(
        (row.clearance_95.unwrap() - bound).abs() < 1e-6,
        "{:?}",
        row.clearance_95
    );
    let [by] = &record.frame.operations[..] else {
        panic!("{:?}", record.frame.operations)
    };
    assert_eq!(
        (by.from.as_str(), by.to.as_str(), by.accuracy_m),
        ("WGS 84", "OSGB36 / British National Grid", Some(2.0))
    );
    assert!(by.area.is_some());
    let said = |note: &aslaid::record::model::Note| {
        note.source.as_deref() == Some("site.geojson!water") && note.text.contains("good to 2 m")
    };
    assert!(record.notes.iter().any(said), "{:?}", record.notes);

    // In the job's own system nothing is in doubt.
    let (record, row) = beside("EPSG:27700", LONDON, Some(27700));
    assert_eq!(row.requirement.unwrap().verdict, Separation::Met);
    assert!(row.clearance_95.unwrap() < 0.1);
    assert!(record.frame.operations.is_empty() && !record.notes.iter().any(said));
}

#[test]
fn a_crossing_with_a_site_plan_of_another_datum_may_lie_as_far_along_as_the_shift() {
    let folder = support::folder();
    let mut record = support::record("EPSG:27700", 1.0, "m");
    let corner = |east: f64| support::Corner {
        at: (LONDON.0 + east, LONDON.1),
        ellipse: Some(aslaid::record::model::Ellipse {
            semi_major_95: 0.1,
            semi_minor_95: 0.1,
            azimuth_95: 0.0,
        }),
        ..support::Corner::default()
    };
    record.runs = vec![support::run(&record, "A", &[corner(0.0), corner(20.0)])];
    let line = [
        (LONDON.0 + 8.0, LONDON.1 - 5.0),
        (LONDON.0 + 8.0, LONDON.1 + 5.0),
    ];
    let own = Crs::new("EPSG:27700", LengthUnit::Metre).unwrap();
    let (lonlat, _) = own.to_wgs84(&line).unwrap();
    let degrees = lonlat.iter().map(|(x, y)| (x.to_degrees(), y.to_degrees()));
    let path = folder.path().join("site.geojson");
    support::lines(&path, None, &[("water", degrees.collect())]);
    let (plan, site) = support::read(&record, &[path], "", None).unwrap();
    aslaid::plan::attach(&mut record, &plan, &site).unwrap();
    assert!(record.crossings[0].along_95.unwrap() > 3.9);
    // The pipe's own place is as well known as before.
    assert!(record.crossings[0].ellipse.unwrap().semi_major_95 < 0.11);
}

#[test]
fn a_site_plan_that_only_a_ballpark_operation_brings_over_says_so() {
    let (record, row) = beside("EPSG:32119", (440_000.0, 165_000.0), Some(6318));
    assert!(record.frame.operations.iter().any(|by| by.ballpark));
    assert!(row.clearance_95.unwrap() > 3.9);
    let ballpark = |note: &aslaid::record::model::Note| note.text.contains("a ballpark operation");
    assert!(record.notes.iter().any(ballpark), "{:?}", record.notes);
}

#[test]
fn a_job_in_site_coordinates_says_in_its_record_and_when_checked_why_it_has_no_map() {
    let site = Site::new();
    job(&site.at("job"), "local", (0.0, 0.0));
    fs::write(site.at("job/control.csv"), "point,x,y\nP1,0,0\nP2,30,0\n").unwrap();
    let said = "No asbuilt.geojson and asbuilt.kml: the job is in site coordinates";
    let notes = record(&site.at("job"), None).notes;
    let note = notes
        .iter()
        .find(|note| note.text.starts_with(said))
        .unwrap();
    assert!(note.text.contains("give [grid] crs"), "{note:?}");
    assert!(site.ends(0, &["check", "job"]).contains(said));
    // A job on the Earth has no such note.
    job(&site.at("other"), "EPSG:27700", LONDON);
    assert!(!site.ends(0, &["check", "other"]).contains("No asbuilt"));
}

/// A direct operation may be of another part of the country: then the way leads through a third system. AGD66 lies 200 m off GDA2020 in
/// Sydney (some 206 m by "AGD66 to GDA94 (9)" and on, PROJ 9.4's `projinfo`), not 0.
#[test]
fn the_way_may_lead_through_a_third_system() {
    let crs = Crs::new("EPSG:7856", LengthUnit::Metre).unwrap();
    let sydney = (151.21_f64.to_radians(), (-33.87_f64).to_radians());
    let named = aslaid::crs::Datum::Named("AGD66".to_owned());
    let (there, by) = crs.to_grid(&named, &[sydney]).unwrap();
    let (null, _) = crs.to_grid(&aslaid::crs::Datum::OfCrs, &[sydney]).unwrap();
    let off = (there[0].0 - null[0].0).hypot(there[0].1 - null[0].1);
    assert!(
        !by.ballpark && (200.0..212.0).contains(&off),
        "{by:?} {off}"
    );
}

/// No correction network works in a datum of old times; where nothing tells how far that lies from WGS 84, this is no zero.
#[test]
fn rtk_in_an_old_datum_without_an_operation() {
    let folder = tempfile::tempdir().unwrap();
    let of = |crs: &str, lon: f64| {
        let settings = format!(
            "[job]\nid = \"J\"\n[grid]\ncrs = \"{crs}\"\nunit = \"m\"\n[[run]]\nid = \"A\"\n"
        );
        fs::write(folder.path().join("job.toml"), settings).unwrap();
        let marks = format!(
            "run,mark,latitude,longitude,fix\nA,A1,30.3,{lon},rtk\nA,A2,30.30004,{lon},rtk\n"
        );
        fs::write(folder.path().join("marks.csv"), marks).unwrap();
        let outcome = built(folder.path(), None).unwrap();
        let reach = outcome.record.as_ref().unwrap().marks[0]
            .ellipse
            .unwrap()
            .semi_major_95;
        let told = outcome
            .findings
            .iter()
            .any(|f| f.code == Code::GnssFix && f.message.contains("before satellites"));
        (reach, told)
    };
    let (beijing, told) = of("EPSG:2437", 120.2);
    assert!(beijing > 500.0 && told, "{beijing}");
    let (today, told) = of("EPSG:4549", 120.2);
    assert!(today < 1.0 && !told, "{today}");
}

/// A job at the edge of a zone stays in one system: told, and used. One far outside is an error as before.
#[test]
fn a_place_a_little_outside_the_area_is_used() {
    let folder = tempfile::tempdir().unwrap();
    for (lon, level) in [(12.0004, Level::Warning), (13.2, Level::Error)] {
        let settings =
            "[job]\nid = \"J\"\n[grid]\ncrs = \"EPSG:32632\"\nunit = \"m\"\n[[run]]\nid = \"A\"\n";
        fs::write(folder.path().join("job.toml"), settings).unwrap();
        let marks = format!(
            "run,mark,latitude,longitude,fix\nA,A1,52.0,11.9999,rtk\nA,A2,52.0,{lon},rtk\n"
        );
        fs::write(folder.path().join("marks.csv"), marks).unwrap();
        let outcome = built(folder.path(), None).unwrap();
        let of: Vec<_> = outcome
            .findings
            .iter()
            .filter(|f| f.code == Code::OutsideCrs)
            .collect();
        assert_eq!((of.len(), of[0].level), (1, level), "{of:?}");
        let placed = outcome.record.map_or(0, |record| record.marks.len());
        assert_eq!(placed, if level == Level::Warning { 2 } else { 1 });
    }
}
