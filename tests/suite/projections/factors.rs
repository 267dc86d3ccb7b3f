//! Scale, convergence and radius against the shape of the grid itself, by finite differences over the ellipsoid.

use aslaid::crs::{Crs, Datum};

use crate::projections::support::{Numbers, crs};

/// Code, semi-major axis, reciprocal flattening (EPSG registry).
const SYSTEMS: [(&str, f64, f64); 10] = [
    ("EPSG:2264", 6_378_137.0, 298.257_222_101),
    ("EPSG:2278", 6_378_137.0, 298.257_222_101),
    ("EPSG:26915", 6_378_137.0, 298.257_222_101),
    ("EPSG:7855", 6_378_137.0, 298.257_222_101),
    ("EPSG:27700", 6_377_563.396, 299.324_964_6),
    ("EPSG:28992", 6_377_397.155, 299.152_812_8),
    ("EPSG:31370", 6_378_388.0, 297.0),
    // Meridian of Paris, degrees as grads.
    ("EPSG:27572", 6_378_249.2, 293.466_021_293_626_5),
    // Northing first.
    ("EPSG:31467", 6_377_397.155, 299.152_812_8),
    ("EPSG:2193", 6_378_137.0, 298.257_222_101),
];

/// Grid vector, over ground metres, of a small step towards a true azimuth.
fn step(
    crs: &Crs,
    (a, reciprocal): (f64, f64),
    (lon, lat): (f64, f64),
    azimuth: f64,
) -> (f64, f64) {
    let e2 = (2.0 - 1.0 / reciprocal) / reciprocal;
    let w2 = 1.0 - e2 * lat.sin().powi(2);
    let (m, n) = (a * (1.0 - e2) / w2.powf(1.5), a / w2.sqrt());
    let length = 100.0;
    let (dlon, dlat) = (
        length * azimuth.sin() / (n * lat.cos()),
        length * azimuth.cos() / m,
    );
    let ends = [(lon - dlon, lat - dlat), (lon + dlon, lat + dlat)];
    let (en, _) = crs.to_grid(&Datum::OfCrs, &ends).unwrap();
    (
        (en[1].0 - en[0].0) / (2.0 * length),
        (en[1].1 - en[0].1) / (2.0 * length),
    )
}

#[test]
fn factors_describe_the_grid_as_it_lies() {
    for (code, a, reciprocal) in SYSTEMS {
        let crs = crs(code);
        let area = crs.area().unwrap();
        let mut numbers = Numbers(3);
        for _ in 0..50 {
            let place = (
                numbers.between(area.west, area.east),
                numbers.between(area.south, area.north),
            );
            let en = crs.to_grid(&Datum::OfCrs, &[place]).unwrap().0[0];
            let factors = crs.factors(en.0, en.1).unwrap();
            for azimuth in [0.0_f64, 40.0, 90.0, 200.0].map(f64::to_radians) {
                let (east, north) = step(&crs, (a, reciprocal), place, azimuth);
                assert!(
                    (east.hypot(north) - factors.scale).abs() < 1e-8,
                    "{code} {place:?}: scale {factors:?}"
                );
                // True azimuth = grid azimuth + convergence.
                let turn = azimuth - east.atan2(north) - factors.convergence;
                assert!(
                    turn.sin().abs() < 1e-7 && turn.cos() > 0.0,
                    "{code} {place:?}: convergence {factors:?}"
                );
            }
            let e2 = (2.0 - 1.0 / reciprocal) / reciprocal;
            let radius = a * (1.0 - e2).sqrt() / (1.0 - e2 * place.1.sin().powi(2));
            assert!(
                (factors.radius - radius).abs() < 1e-3,
                "{code}: radius {factors:?}"
            );
        }
    }
}

#[test]
fn height_shortens_the_grid() {
    // 705 ft above the ellipsoid at a scale of 1: R/(R + h) with R = 6 371 km is 1 − 33.7 ppm.
    let carolina = crs("EPSG:2264");
    let en = carolina
        .to_grid(
            &Datum::OfCrs,
            &[((-80.8_f64).to_radians(), 35.2_f64.to_radians())],
        )
        .unwrap()
        .0[0];
    let factors = carolina.factors(en.0, en.1).unwrap();
    let ppm = (factors.ground_to_grid(705.0 * 0.3048) / factors.scale - 1.0) * 1e6;
    assert!((-33.8..-33.7).contains(&ppm), "{ppm}");
    assert_eq!(
        factors.ground_to_grid(0.0).to_bits(),
        factors.scale.to_bits()
    );
}
