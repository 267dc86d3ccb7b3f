//! Against a second library that shares no code with the first (`proj4rs`, a rewrite, with the parameters of
//! `crs-definitions`).

use aslaid::crs::Datum;
use proj4rs::Proj;
use proj4rs::transform::transform;

use crate::projections::support::{Numbers, crs};

/// Transverse Mercator, Lambert with one and two parallels, oblique stereographic, Hotine, Cassini; both feet.
const CODES: [u16; 16] = [
    2264, 2278, 26915, 26993, 2227, 2263, 3435, 2921, 3568, 27700, 25832, 2193, 28992, 31370, 3376,
    28354,
];

/// The same ellipsoid on both sides and no datum: what is compared is the projection.
fn without_datum(definition: &str) -> String {
    let left_out = ["+towgs84", "+nadgrids", "+datum", "+geoidgrids"];
    let keep = |word: &&str| !left_out.iter().any(|key| word.starts_with(key));
    let mut words: Vec<String> = definition
        .split_whitespace()
        .filter(keep)
        .map(str::to_owned)
        .collect();
    for (datum, ellipsoid) in [
        ("NAD83", "GRS80"),
        ("OSGB36", "airy"),
        ("NAD27", "clrk66"),
        ("WGS84", "WGS84"),
    ] {
        if definition.contains(&format!("+datum={datum}")) {
            words.push(format!("+ellps={ellipsoid}"));
        }
    }
    words.join(" ")
}

#[test]
fn a_second_library_agrees_to_a_micrometre_near_home() {
    let mut worst_of_all = 0.0_f64;
    for code in CODES {
        let definition = without_datum(crs_definitions::from_code(code).unwrap().proj4);
        let target = Proj::from_proj_string(&definition)
            .unwrap_or_else(|error| panic!("{definition}: {error}"));
        let ellipsoid = definition.split_whitespace().filter(|word| {
            ["+ellps=", "+a=", "+b=", "+rf="]
                .iter()
                .any(|key| word.starts_with(key))
        });
        assert!(ellipsoid.clone().count() > 0, "{definition}");
        let source = format!(
            "+proj=longlat {} +no_defs",
            ellipsoid.collect::<Vec<_>>().join(" ")
        );
        let source =
            Proj::from_proj_string(&source).unwrap_or_else(|error| panic!("{source}: {error}"));
        let crs = crs(&format!("EPSG:{code}"));
        let area = crs.area().unwrap();
        let mut numbers = Numbers(u64::from(code));
        let places: Vec<(f64, f64)> = (0..500)
            .map(|_| {
                (
                    numbers.between(area.west, area.east),
                    numbers.between(area.south, area.north),
                )
            })
            .collect();
        let (en, _) = crs.to_grid(&Datum::OfCrs, &places).unwrap();
        let mut worst = 0.0_f64;
        for (&(lon, lat), &(east, north)) in places.iter().zip(&en) {
            let mut point = (lon, lat, 0.0);
            transform(&source, &target, &mut point).unwrap();
            let unit = crs.unit_metres();
            worst = worst.max((point.0 * unit - east).hypot(point.1 * unit - north));
        }
        println!("EPSG:{code} {}: {worst:.1e} m over 500 places", crs.name());
        assert!(worst < 1e-6, "EPSG:{code}: {worst} m");
        worst_of_all = worst_of_all.max(worst);
    }
    println!("worst: {worst_of_all:.1e} m");
}
