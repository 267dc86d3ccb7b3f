//! Published positions: `fixtures/reference/projections`.

use std::f64::consts::TAU;

use aslaid::crs::Datum;

use crate::projections::support::{angle, crs, table};

/// One way of saying how far a longitude and latitude are apart, in metres.
fn metres_apart(a: (f64, f64), b: (f64, f64)) -> f64 {
    let east = (a.0 - b.0 + TAU / 2.0).rem_euclid(TAU) - TAU / 2.0;
    6_378_137.0 * (east * a.1.cos()).hypot(a.1 - b.1)
}

#[test]
fn published_positions_come_out_to_the_printed_digit() {
    let rows = table("projections/published.txt", ';');
    assert_eq!(rows.len(), 15);
    for row in rows {
        let [
            code,
            latitude,
            longitude,
            easting,
            northing,
            tolerance,
            convergence,
            scale,
            source,
        ] = &row[..]
        else {
            panic!("{row:?}");
        };
        let crs = crs(code);
        let [easting, northing, tolerance] =
            [easting, northing, tolerance].map(|cell| cell.parse::<f64>().unwrap());
        let place = (angle(longitude).to_radians(), angle(latitude).to_radians());
        let (en, operation) = crs.to_grid(&Datum::OfCrs, &[place]).unwrap();
        let found = (en[0].0 / crs.unit_metres(), en[0].1 / crs.unit_metres());
        println!(
            "{code} {:+.6} {:+.6} of {tolerance} {source}",
            found.0 - easting,
            found.1 - northing
        );
        assert!(
            (found.0 - easting).abs() <= tolerance && (found.1 - northing).abs() <= tolerance,
            "{code} {found:?}"
        );
        assert_eq!(
            (operation.accuracy_m, operation.ballpark),
            (Some(0.0), false),
            "{code}"
        );
        let (back, _) = crs.to_geographic(&Datum::OfCrs, &en).unwrap();
        assert!(metres_apart(back[0], place) < 1e-5, "{code} {back:?}");
        if convergence.is_empty() {
            continue;
        }
        let factors = crs.factors(en[0].0, en[0].1).unwrap();
        // Printed to 0.001" and to ten decimals.
        let difference = factors.convergence.to_degrees() - angle(convergence);
        assert!(
            difference.abs() * 3600.0 <= 0.0006,
            "{code}: convergence {difference}°"
        );
        let difference = factors.scale - scale.parse::<f64>().unwrap();
        assert!(difference.abs() <= 1e-10, "{code}: scale {difference:e}");
    }
}

#[test]
fn true_azimuth_is_grid_azimuth_plus_convergence() {
    // GDA2020 Technical Manual 1.6, Flinders Peak and Buninyong: azimuths 306°52'05.37" and 127°10'25.07"; grid
    // bearings 305°17'01.72" and 125°17'41.86"; plane distance 54992.279, plane bearing 305.28922° (computed).
    let rows = table("projections/published.txt", ';');
    let zone = crs("EPSG:7855");
    let points: Vec<(f64, f64)> = rows
        .iter()
        .filter(|row| row[0] == "EPSG:7855")
        .map(|row| (angle(&row[2]).to_radians(), angle(&row[1]).to_radians()))
        .collect();
    let (en, _) = zone.to_grid(&Datum::OfCrs, &points).unwrap();
    let [flinders, buninyong] = en[..] else {
        panic!("{en:?}")
    };
    let (east, north) = (buninyong.0 - flinders.0, buninyong.1 - flinders.1);
    assert!((east.hypot(north) - 54_992.279).abs() < 0.0006);
    assert!((east.atan2(north).to_degrees() + 360.0 - 305.289_217_27).abs() < 1e-6);
    let seconds = |degrees: f64| degrees * 3600.0;
    for (at, azimuth, bearing) in [
        (flinders, "306 52 05.37", "305 17 01.72"),
        (buninyong, "127 10 25.07", "125 17 41.86"),
    ] {
        let convergence = zone.factors(at.0, at.1).unwrap().convergence.to_degrees();
        assert!(
            convergence > 1.0,
            "west of the central meridian in the south it is positive"
        );
        assert!(
            seconds(angle(bearing) + convergence - angle(azimuth)).abs() < 0.02,
            "{bearing}"
        );
    }
}

#[test]
fn the_two_feet_are_told_apart() {
    // IOGP GIGS 2.1.0: 49° N 110° W in Utah North is 4.0 ft and 12.9 ft away from itself in the other foot.
    let place = [((-110.0_f64).to_radians(), 49.0_f64.to_radians())];
    let [feet, survey_feet] = ["EPSG:2921", "EPSG:3568"].map(|code| {
        let crs = crs(code);
        let en = crs.to_grid(&Datum::OfCrs, &place).unwrap().0[0];
        (
            crs.unit_name().to_owned(),
            en,
            (en.0 / crs.unit_metres(), en.1 / crs.unit_metres()),
        )
    });
    assert_eq!(
        (feet.0.as_str(), survey_feet.0.as_str()),
        ("foot", "US survey foot")
    );
    assert!(
        (feet.2.0 - survey_feet.2.0 - 4.008).abs() < 0.001
            && (feet.2.1 - survey_feet.2.1 - 12.905).abs() < 0.001
    );
    // In metres they are the same place, but for the false origin, which the registry rounds in feet.
    let apart = (feet.1.0 - survey_feet.1.0).hypot(feet.1.1 - survey_feet.1.1);
    println!("{apart:.6} m apart");
    assert!(apart < 0.0005);
}

#[test]
fn points_computed_with_an_earlier_proj_come_out_again() {
    // Made with PROJ 9.5.1, whose projections are those used here: this pins units, axes and signs, not formulas.
    let rows = table("projections/projected_points.csv", ',');
    assert_eq!(rows.len(), 19);
    for row in rows {
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let crs = crs(&format!("EPSG:{}", row[0]));
        assert_eq!(
            (crs.name(), crs.unit_name()),
            (row[1].as_str(), row[2].as_str())
        );
        let (lon, lat) = (number(3).to_radians(), number(4).to_radians());
        assert!(crs.contains(lon, lat), "{}", crs.name());
        let en = crs.to_grid(&Datum::OfCrs, &[(lon, lat)]).unwrap().0[0];
        let (east, north) = (
            en.0 / crs.unit_metres() - number(5),
            en.1 / crs.unit_metres() - number(6),
        );
        assert!(
            east.abs() < 1.1e-5 && north.abs() < 1.1e-5,
            "{}: {east} {north}",
            crs.name()
        );
        let factors = crs.factors(en.0, en.1).unwrap();
        assert!(
            (factors.convergence.to_degrees() - number(7)).abs() < 2e-9,
            "{}: {factors:?}",
            crs.name()
        );
        // The row of Pseudo-Mercator has the scale on a sphere; ours is that on the ellipsoid, in the mean of all
        // directions (by hand: h = 1.41607, k = 1.41130, √(hk) = 1.41368).
        let conformal = row[0] != "3857";
        let (scale, tolerance) = if conformal {
            (number(8), 2e-10)
        } else {
            (1.413_68, 1e-5)
        };
        assert!(
            (factors.scale - scale).abs() < tolerance,
            "{}: {factors:?}",
            crs.name()
        );
        assert_eq!(
            factors.anisotropy < 1e-6,
            conformal,
            "{}: {factors:?}",
            crs.name()
        );
    }
}

#[test]
fn a_moving_datum_arrives_where_the_manual_says() {
    // GDA2020 Technical Manual 1.0, Alice Springs, as in the test data of PROJ (gie/GDA.gie): ITRF2014 at 2018.0
    // −4052052.6588 4212835.9938 −2545104.6946 is GDA2020 −4052052.7373 4212835.9835 −2545104.5867.
    let itrf = geographic(-4_052_052.658_8, 4_212_835.993_8, -2_545_104.694_6);
    let gda = geographic(-4_052_052.737_3, 4_212_835.983_5, -2_545_104.586_7);
    let zone = crs("EPSG:7853");
    let moved = zone
        .to_grid_at(&Datum::Named("ITRF2014".to_owned()), Some(2018.0), &[itrf])
        .unwrap()
        .0[0];
    let own = zone.to_grid(&Datum::OfCrs, &[gda]).unwrap().0[0];
    let unmoved = zone.to_grid(&Datum::OfCrs, &[itrf]).unwrap().0[0];
    assert!(
        (moved.0 - own.0).hypot(moved.1 - own.1) < 0.001,
        "{moved:?} {own:?}"
    );
    assert!(
        (unmoved.0 - own.0).hypot(unmoved.1 - own.1) > 0.1,
        "the difference is there to be seen"
    );
}

/// Longitude and latitude on GRS 80 from Earth-centred coordinates, by fixed-point iteration (Bowring's start is not
/// needed at this height).
fn geographic(x: f64, y: f64, z: f64) -> (f64, f64) {
    let (a, f) = (6_378_137.0_f64, 1.0 / 298.257_222_101);
    let e2 = f * (2.0 - f);
    let p = x.hypot(y);
    let mut latitude = z.atan2(p * (1.0 - e2));
    for _ in 0..20 {
        let n = a / (1.0 - e2 * latitude.sin().powi(2)).sqrt();
        latitude = (z + e2 * n * latitude.sin()).atan2(p);
    }
    (y.atan2(x), latitude)
}
