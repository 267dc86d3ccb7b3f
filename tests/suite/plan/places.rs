//! Plans in other systems, in the wrong place, or without a word about it.

use aslaid::crs::Crs;
use aslaid::plan::crossing::crossings;
use aslaid::plan::role::{Role, RoleFrom};
use aslaid::record::AsBuilt;
use aslaid::units::LengthUnit;

use super::support::{Corner, US_FOOT, folder, lines, read, record, run};

/// A job in EPSG:2264 (US survey feet) near Charlotte, with a run of 20 m due east; metres of its first end.
const START: (f64, f64) = (440_000.0, 165_000.0);

fn job() -> AsBuilt {
    let mut record = record("EPSG:2264", US_FOOT, "us-ft");
    let corner = |east: f64| Corner {
        at: (START.0 + east, START.1),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    record
}

/// A line square across the run, 8 m along it; metres.
fn across() -> Vec<(f64, f64)> {
    vec![
        (START.0 + 8.0, START.1 - 5.0),
        (START.0 + 8.0, START.1 + 5.0),
    ]
}

fn in_feet(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    points
        .iter()
        .map(|(x, y)| (x / US_FOOT, y / US_FOOT))
        .collect()
}

/// The same places in another system, in its own unit.
fn in_system(points: &[(f64, f64)], code: &str) -> Vec<(f64, f64)> {
    let from = Crs::new("EPSG:2264", LengthUnit::Metre).unwrap();
    let to = Crs::new(code, LengthUnit::Metre).unwrap();
    let (places, _) = from.to_other(&to, points).unwrap();
    places
        .into_iter()
        .map(|(x, y)| (x / to.unit_metres(), y / to.unit_metres()))
        .collect()
}

fn station(points: Vec<(f64, f64)>, crs: Option<u32>, layers: &str) -> Result<f64, String> {
    let (folder, record) = (folder(), job());
    let path = folder.path().join("site.geojson");
    lines(&path, crs, &[("boundary", points)]);
    let (plan, site) = read(&record, &[path], layers, None)?;
    let rows = crossings(&record, &plan, &site).unwrap();
    assert_eq!(rows.len(), 1, "{rows:?}");
    assert!(rows[0].geographic.is_some());
    Ok(rows[0].station * US_FOOT)
}

fn near_eight(found: Result<f64, String>) {
    let found = found.unwrap();
    assert!((found - 8.0).abs() < 1e-3, "{found}");
}

#[test]
fn a_plan_in_another_system_or_unit_comes_to_the_same_station() {
    near_eight(station(in_feet(&across()), Some(2264), ""));
    near_eight(station(in_system(&across(), "EPSG:32119"), Some(32119), ""));
    near_eight(station(in_system(&across(), "EPSG:26917"), Some(26917), ""));
    near_eight(station(in_feet(&across()), None, "crs = \"EPSG:2264\""));
    near_eight(station(in_feet(&across()), None, "crs = \"job\""));
    near_eight(station(across(), None, "unit = \"m\""));
    let millimetres: Vec<_> = across()
        .iter()
        .map(|(x, y)| (x * 1000.0, y * 1000.0))
        .collect();
    near_eight(station(millimetres, None, "unit = \"mm\""));
    // A file that names the wrong system is overruled by name.
    near_eight(station(
        in_feet(&across()),
        Some(2256),
        "[[file]]\nname = \"site.geojson\"\ncrs = \"EPSG:2264\"",
    ));
    let degrees: Vec<_> = Crs::new("EPSG:2264", LengthUnit::Metre)
        .unwrap()
        .to_wgs84(&across())
        .unwrap()
        .0
        .iter()
        .map(|(longitude, latitude)| (longitude.to_degrees(), latitude.to_degrees()))
        .collect();
    near_eight(station(degrees, None, ""));
}

#[test]
fn a_plan_that_lies_far_is_an_error_that_says_what_would_fit() {
    let error = |points: Vec<(f64, f64)>, crs: Option<u32>, layers: &str, says: &[&str]| {
        let error = station(points, crs, layers).unwrap_err();
        println!("{error}");
        for word in says {
            assert!(error.contains(word), "{word}: {error}");
        }
    };
    // Nothing said: the error asks, and names what fits.
    error(
        in_feet(&across()),
        None,
        "",
        &[
            "does not say its coordinate system",
            "us-ft",
            "--plan-layers",
        ],
    );
    error(across(), None, "", &["unit = \"m\"", "EPSG:32119"]);
    // Metres read as feet, and the reverse.
    error(
        across(),
        Some(2264),
        "",
        &["lies", "km from the job", "unit = \"m\""],
    );
    error(in_feet(&across()), Some(32119), "", &["EPSG:2264 in us-ft"]);
    // Millimetres.
    let millimetres = across()
        .iter()
        .map(|(x, y)| (x * 1000.0, y * 1000.0))
        .collect();
    error(millimetres, Some(2264), "", &["unit = \"mm\""]);
    // The neighbouring zone's coordinates under this zone's name, and this zone's under the neighbour's.
    error(
        in_system(&across(), "EPSG:26917"),
        Some(26916),
        "",
        &["EPSG:26917"],
    );
    error(
        in_system(&across(), "EPSG:26917"),
        None,
        "crs = \"EPSG:26918\"",
        &["EPSG:26917"],
    );
    error(
        in_system(&across(), "EPSG:26916"),
        Some(26917),
        "",
        &["EPSG:26916"],
    );
    // Axes swapped.
    let swapped = in_feet(&across()).iter().map(|(x, y)| (*y, *x)).collect();
    error(swapped, Some(2264), "", &["axes swapped"]);
    // Nothing fits.
    error(
        vec![(1.0e9, 5.0), (1.0e9, 6.0)],
        Some(2264),
        "",
        &["--plan-tie"],
    );
    // A figure that can't be converted at all.
    error(
        vec![(1.0e30, 5.0), (1.0e30, 6.0)],
        Some(26917),
        "",
        &["can't be converted"],
    );
    error(
        in_feet(&across()),
        Some(999_999),
        "",
        &["not in the EPSG registry"],
    );
}

#[test]
fn a_plan_within_the_limit_passes_and_just_beyond_it_does_not() {
    let line = |east: f64| {
        vec![
            (START.0 + 20.0 + east, START.1),
            (START.0 + 20.0 + east, START.1 + 5.0),
        ]
    };
    let (folder, record) = (folder(), job());
    let path = folder.path().join("site.geojson");
    for (east, near) in [(999.0, true), (1001.0, false)] {
        lines(&path, Some(2264), &[("trees", in_feet(&line(east)))]);
        assert_eq!(
            read(&record, std::slice::from_ref(&path), "", None).is_ok(),
            near,
            "{east}"
        );
    }
}

#[test]
fn guesses_are_noted_and_layers_can_be_left_out() {
    let (folder, record) = (folder(), job());
    let path = folder.path().join("site.geojson");
    let points = in_feet(&across());
    lines(
        &path,
        Some(2264),
        &[
            ("C-BLDG", points.clone()),
            ("0", points.clone()),
            ("notes", points),
        ],
    );
    let layers =
        "[[layer]]\nname = \"NOTES\"\nuse = false\n[[layer]]\nname = \"0\"\nrole = \"pavement\"";
    let (plan, site) = read(&record, &[path], layers, None).unwrap();
    let roles: Vec<_> = plan
        .layers
        .iter()
        .map(|layer| (layer.role, layer.role_from, layer.used))
        .collect();
    assert_eq!(
        roles,
        [
            (Role::Building, RoleFrom::Guessed, true),
            (Role::Pavement, RoleFrom::Given, true),
            (Role::Other, RoleFrom::Unknown, false)
        ]
    );
    let notes: Vec<_> = plan.notes.iter().map(|note| note.text.as_str()).collect();
    assert!(
        notes[0].contains("taken as building by its name") && notes[1].contains("left out"),
        "{notes:?}"
    );
    assert_eq!(crossings(&record, &plan, &site).unwrap().len(), 2);
    assert_eq!(plan.inputs.len(), 1);
}

#[test]
fn a_site_grid_takes_plans_of_its_own_figures_only() {
    let mut record = record("local", 0.3048, "ft");
    let corner = |east: f64| Corner {
        at: (east, 0.0),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    let folder = folder();
    let path = folder.path().join("site.geojson");
    lines(&path, Some(2264), &[("lot", vec![(8.0, -1.0), (8.0, 1.0)])]);
    let error = read(&record, std::slice::from_ref(&path), "", None).unwrap_err();
    assert!(error.contains("site grid of its own"), "{error}");
    let own = "[[file]]\nname = \"site.geojson\"\ncrs = \"job\"";
    let (plan, site) = read(&record, std::slice::from_ref(&path), own, None).unwrap();
    let rows = crossings(&record, &plan, &site).unwrap();
    assert!((rows[0].station - 8.0).abs() < 1e-9 && rows[0].geographic.is_none());
}
