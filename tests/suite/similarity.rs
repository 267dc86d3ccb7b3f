//! The site grid's similarity against published figures: `fixtures/reference/similarity`.

use std::fs;
use std::path::{Path, PathBuf};

use aslaid::limits::Limits;
use aslaid::observe::{Kind, PointId};
use aslaid::pipeline::{Options, run};
use aslaid::position::{Adjusted, Places, adjust};

use crate::networks::build::{Net, as_json};
use crate::networks::python;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/reference/similarity")
}

/// Rows of a table of the folder that belong to an example, without its name.
fn rows(file: &str, example: &str) -> Vec<Vec<String>> {
    let text = fs::read_to_string(folder().join(file)).expect("the fixture");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let all = reader.records().map(|row| row.expect("a row"));
    let own = all.filter(|row| &row[0] == example);
    own.map(|row| row.iter().skip(1).map(str::to_owned).collect())
        .collect()
}

fn number(text: &str) -> f64 {
    text.parse().expect("a number")
}

/// A printed quantity: its figures, and how far a result may be from them.
struct Printed {
    quantity: String,
    figures: Vec<f64>,
    tolerance: f64,
}

fn printed(example: &str) -> Vec<Printed> {
    let rows = rows("printed.csv", example);
    assert!(rows.len() >= 4, "{example}: hardly anything printed");
    rows.iter()
        .map(|row| Printed {
            quantity: row[0].clone(),
            figures: row[1].split(' ').map(number).collect(),
            tolerance: number(&row[2]),
        })
        .collect()
}

/// The points of an example as points of a site grid: name, x, y, east, north, one-sigma.
fn common(example: &str) -> Vec<(String, [f64; 5])> {
    let rows = rows("common_points.csv", example);
    rows.iter()
        .map(|row| (row[0].clone(), [1, 2, 3, 4, 5].map(|i| number(&row[i]))))
        .collect()
}

/// Images wanted, besides that of the origin: as printed, `image of x y`.
fn wanted(example: &str) -> Vec<(f64, f64)> {
    let of = |quantity: &str| {
        let (x, y) = quantity.strip_prefix("image of ")?.split_once(' ')?;
        Some((number(x), number(y)))
    };
    let all = printed(example);
    all.iter()
        .filter_map(|printed| of(&printed.quantity))
        .collect()
}

/// The network of an example: common points first, then the origin, then the images wanted.
fn network(example: &str) -> Net {
    let mut net = Net::new();
    let points = common(example);
    for (_, [x, y, east, north, sigma]) in &points {
        let at = net.free(*east, *north);
        net.out.points[at.0 as usize].site = Some((*x, *y));
        net.measure(Kind::East { at, shift: None }, *sigma, 0.0);
        net.measure(Kind::North { at, shift: None }, *sigma, 0.0);
    }
    for (x, y) in [(0.0, 0.0)].into_iter().chain(wanted(example)) {
        let [_, _, east, north, _] = points[0].1;
        let at = net.free(east, north);
        net.out.points[at.0 as usize].site = Some((x, y));
    }
    net
}

/// East, north and the one-sigma of either, from the residuals' own spread as a textbook has it.
fn image(adjusted: &Adjusted, point: usize) -> [f64; 3] {
    let place = adjusted
        .place(PointId(point as u32))
        .expect("a place on the grid");
    let factor = adjusted.summary.fit.factor().expect("redundancy");
    let [[ee, _], [_, nn]] = place.covariance;
    assert!((ee - nn).abs() < 1e-9 * ee, "as sure either way");
    [place.e, place.n, (ee * factor).sqrt()]
}

fn residual(adjusted: &Adjusted, example: &str, name: &str) -> Vec<f64> {
    let at = common(example)
        .iter()
        .position(|(point, _)| point == name)
        .expect("a point");
    let site = adjusted.site.as_ref().expect("a site grid");
    let of = |(point, ..): &&(PointId, f64, f64)| point.0 as usize == at;
    let (_, east, north) = site.residuals.iter().find(of).expect("a residual");
    vec![*east, *north]
}

/// What the adjustment gives for a printed quantity.
fn found(adjusted: &Adjusted, example: &str, quantity: &str) -> Vec<f64> {
    let site = adjusted.site.as_ref().expect("a site grid");
    let [a, b, ..] = site.similarity.parameters;
    let factor = adjusted.summary.fit.factor().expect("redundancy").sqrt();
    let points = common(example);
    let (given, origin) = (points[0].1[4], points.len());
    let [east, north, sigma] = image(adjusted, origin);
    let clockwise = site.similarity.rotation().to_degrees();
    if let Some(name) = quantity.strip_prefix("residual of ") {
        return residual(adjusted, example, name);
    }
    if quantity.starts_with("image of ") {
        let images: Vec<String> = wanted(example)
            .iter()
            .map(|(x, y)| format!("{x:.3} {y:.3}"))
            .collect();
        let at = images
            .iter()
            .position(|image| quantity.ends_with(image.as_str()))
            .expect("an image");
        return image(adjusted, origin + 1 + at).to_vec();
    }
    vec![match quantity {
        "a" => a,
        // The crate turns clockwise, the textbook anticlockwise.
        "b" => -b,
        "east shift" => east,
        "north shift" => north,
        "scale" => site.similarity.scale(),
        "rotation anticlockwise" => (-clockwise).rem_euclid(360.0),
        "rotation clockwise" => clockwise,
        "sigma of a" => site.scale_sigma * factor,
        "sigma of shift" => sigma,
        "reference sigma" => given * factor,
        other => panic!("{other}: not known"),
    }]
}

#[test]
fn published_fits_come_out_to_the_last_printed_figure() {
    for example in ["textbook", "catalonia"] {
        let adjusted = adjust(&network(example).out, &Limits::default());
        assert!(adjusted.undetermined.is_empty() && !adjusted.site_loose);
        for printed in printed(example) {
            let found = found(&adjusted, example, &printed.quantity);
            assert_eq!(
                found.len(),
                printed.figures.len(),
                "{example}: {}",
                printed.quantity
            );
            for (found, figure) in found.iter().zip(&printed.figures) {
                // Printed figures are rounded: half a unit and the rounding of the subtraction itself.
                assert!(
                    (found - figure).abs() <= printed.tolerance + 1e-9,
                    "{example}: {}: {found}, printed {figure} ± {}",
                    printed.quantity,
                    printed.tolerance
                );
            }
            println!("{example}: {}: {found:?}", printed.quantity);
        }
    }
}

#[test]
fn an_independent_program_fits_the_textbook_the_same() {
    let mut net = network("textbook");
    // Written about the middle of its points, near what it is: the other program starts there.
    net.site.origin = (146.0, 65.0);
    net.site.parameters = [-4.5, 0.25, 1_049_360.0, 50_210.0];
    let answers = python(
        "networks/solve.py",
        &serde_json::Value::Array(vec![as_json(&net)]),
    );
    let adjusted = adjust(&net.out, &Limits::default());
    let figure = |at: usize, what: &str, i: usize| answers[0][what][at][i].as_f64().expect(what);
    for at in 0..net.out.points.len() {
        let place = adjusted.place(PointId(at as u32)).expect("a place");
        let pairs = [
            (place.e, figure(at, "places", 0)),
            (place.n, figure(at, "places", 1)),
            (place.covariance[0][0].sqrt(), figure(at, "sigmas", 0)),
            (place.covariance[1][1].sqrt(), figure(at, "sigmas", 1)),
        ];
        for (ours, theirs) in pairs {
            assert!((ours - theirs).abs() < 1e-6, "{at}: {ours}, {theirs}");
        }
    }
}

/// A whole job: the agency's points as a site grid of one CRS, told in the tables of a job.
#[test]
fn a_job_with_the_published_points_states_the_official_parameters() {
    let job = tempfile::tempdir().expect("a folder");
    let write = |name: &str, text: &str| fs::write(job.path().join(name), text).expect("written");
    write(
        "job.toml",
        "[job]\nid = \"published\"\nsupplier = \"tests\"\ntitle = \"Published points\"\nlocated_on = 2026-05-14\n\
         [grid]\ncrs = \"EPSG:25831\"\nunit = \"m\"\nvertical = \"local\"\n[[run]]\nid = \"A\"\ndiameter = \"100 mm\"\n\
         material = \"PVC\"\npushed = \"downstream\"\nsystem = \"sanitary\"\n",
    );
    let mut control = String::from("point,x,y,easting,northing,sigma\n");
    for (name, [x, y, east, north, sigma]) in common("catalonia") {
        control.push_str(&format!(
            "P{name},{x:.3},{y:.3},{east:.3},{north:.3},{sigma}\n"
        ));
    }
    write("control.csv", &control);
    write(
        "marks.csv",
        "run,mark,counter,easting,northing,ground,depth_1,depth_2\n\
         A,A1,1.00,420000.00,4600000.00,50.00,1.20,1.21\nA,A2,7.00,420006.00,4600000.00,49.90,1.20,1.21\n",
    );
    let outcome = run(job.path(), &Options::default()).expect("the job is computed");
    assert!(!outcome.blocked(), "{:?}", outcome.findings);
    let record = outcome.record.expect("a record");
    let site = record.frame.site_grid.expect("a site grid");
    let stated = [
        ("scale", site.scale),
        ("rotation clockwise", site.rotation),
        ("east shift", site.easting),
        ("north shift", site.northing),
    ];
    let printed = printed("catalonia");
    for (quantity, value) in stated {
        let expected = printed
            .iter()
            .find(|printed| printed.quantity == quantity)
            .expect(quantity);
        let off = (value - expected.figures[0]).abs();
        assert!(off <= expected.tolerance, "{quantity}: {value}");
    }
    assert_eq!(site.residuals.len(), 8);
    for (point, east, north) in &site.residuals {
        assert!(east.hypot(*north) < 0.001, "{point}: {east} {north}");
    }
}
