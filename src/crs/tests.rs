use super::*;

fn crs(code: &str) -> Crs {
    Crs::new(code, LengthUnit::Metre).unwrap()
}

fn named(name: &str) -> Datum {
    Datum::Named(name.to_owned())
}

fn degrees(longitude: f64, latitude: f64) -> (f64, f64) {
    (longitude.to_radians(), latitude.to_radians())
}

#[test]
fn a_code_is_taken_in_any_case_and_a_compound_gives_its_horizontal_part() {
    for code in ["EPSG:2264", "epsg:2264", " EPSG:2264 ", "EPSG:2264+5703"] {
        let crs = crs(code);
        assert_eq!(
            (crs.code(), crs.name()),
            ("EPSG:2264", "NAD83 / North Carolina (ftUS)"),
            "{code}"
        );
        assert_eq!(crs.unit_name(), "US survey foot");
        assert!(!crs.is_local() && !crs.is_deprecated());
    }
}

#[test]
fn both_feet_are_exact() {
    assert_eq!(
        crs("EPSG:2264").unit_metres().to_bits(),
        (1200.0_f64 / 3937.0).to_bits()
    );
    assert_eq!(
        crs("EPSG:2921").unit_metres().to_bits(),
        0.3048_f64.to_bits()
    );
    assert_eq!(crs("EPSG:32617").unit_metres().to_bits(), 1.0_f64.to_bits());
}

#[test]
fn what_is_no_projected_system_is_refused_in_words() {
    let says = |code: &str, words: &str| {
        let error = Crs::new(code, LengthUnit::Metre).unwrap_err().to_string();
        assert!(error.contains(words), "{code}: {error}");
    };
    says("EPSG:4326", "geographic, in degrees");
    says("EPSG:4979", "geographic, in degrees");
    says("EPSG:4978", "Earth-centred");
    says("EPSG:5703", "a height system");
    says("EPSG:9518", "geographic, in degrees"); // compound, of a geographic system and heights
    says("EPSG:999999", "not in the EPSG registry");
    says("EPSG:2049", "west and south");
    says("EPSG:5513", "south and west");
    says("EPSG:32661", "south and south");
    for code in [
        "",
        "2264",
        "EPSG",
        "EPSG:",
        ":2264",
        "EPSG:22 64",
        "EPSG:1+2+3",
        "+proj=utm +zone=15 +type=crs",
        "urn:ogc:def:crs:EPSG::2264",
        "/etc/passwd",
        "EPSG:2264\0",
        "WGS 84 / UTM zone 15N",
        "{\"type\": \"x\"}",
    ] {
        says(code, "is not the code of a coordinate system");
    }
    says(
        &format!("EPSG:{}", "9".repeat(1_000_000)),
        "is not the code",
    );
}

#[test]
fn a_site_grid_has_a_unit_and_no_place() {
    let local = Crs::new("Local", LengthUnit::UsSurveyFoot).unwrap();
    assert!(
        local.is_local()
            && local.area().is_none()
            && local.projjson().is_none()
            && local.wkt().is_none()
    );
    assert_eq!(
        (local.code(), local.unit_name()),
        ("local", "US survey foot")
    );
    assert_eq!(
        local.unit_metres().to_bits(),
        (1200.0_f64 / 3937.0).to_bits()
    );
    let factors = local.factors(1e7, -1e7).unwrap();
    assert_eq!(
        (
            factors.scale,
            factors.convergence,
            factors.ground_to_grid(3000.0)
        ),
        (1.0, 0.0, 1.0)
    );
    let utm = crs("EPSG:32617");
    assert_eq!(
        local.to_grid(&Datum::Wgs84, &[(0.0, 0.0)]).unwrap_err(),
        CrsError::Local
    );
    assert_eq!(local.to_wgs84(&[(0.0, 0.0)]).unwrap_err(), CrsError::Local);
    assert_eq!(
        local.to_other(&utm, &[(0.0, 0.0)]).unwrap_err(),
        CrsError::Local
    );
    assert_eq!(
        utm.to_other(&local, &[(0.0, 0.0)]).unwrap_err(),
        CrsError::Local
    );
}

#[test]
fn an_area_can_cross_the_antimeridian() {
    // EPSG:3832 lies around 150° E and reaches past 180°; its bounds come west 98.69° E, east 68° W.
    let pacific = crs("EPSG:3832");
    let area = pacific.area().unwrap();
    assert!(area.west > area.east, "{area:?}");
    for (longitude, inside) in [
        (179.9, true),
        (180.0, true),
        (-180.0, true),
        (-179.9, true),
        (190.0, true),
        (0.0, false),
    ] {
        let (lon, lat) = degrees(longitude, -20.0);
        assert_eq!(pacific.contains(lon, lat), inside, "{longitude}");
    }
    // An area whose edge is the antimeridian: EPSG:32660 is 174° E to 180°, EPSG:32601 is 180° to 174° W.
    for (code, east) in [("EPSG:32660", false), ("EPSG:32601", true)] {
        let zone = crs(code);
        for edge in [180.0, -180.0] {
            let (lon, lat) = degrees(edge, 10.0);
            assert!(zone.contains(lon, lat), "{code} {edge}");
        }
        let (lon, lat) = degrees(if east { -177.0 } else { 177.0 }, 10.0);
        assert!(
            zone.contains(lon, lat) && !zone.contains(-lon, lat) && !zone.contains(lon, -lat),
            "{code}"
        );
    }
    let (lon, lat) = degrees(-81.0, 35.2);
    let carolina = crs("EPSG:2264");
    assert!(
        carolina.contains(lon, lat)
            && carolina.contains(lon + TAU, lat)
            && !carolina.contains(lon, -lat)
    );
    assert!(!carolina.contains(f64::NAN, lat) && !carolina.contains(lon, f64::NAN));
}

#[test]
fn northing_first_systems_still_give_easting_first() {
    // Axes of EPSG:2393 and EPSG:31467 are northing, easting.
    for (code, lon, lat, false_easting) in [
        ("EPSG:2393", 27.0, 61.0, 3.5e6),
        ("EPSG:31467", 9.0, 53.0, 3.5e6),
    ] {
        let (en, _) = crs(code)
            .to_grid(&Datum::OfCrs, &[degrees(lon, lat)])
            .unwrap();
        assert!(
            (en[0].0 - false_easting).abs() < 1e-3 && en[0].1 > 5e6,
            "{code}: {en:?}"
        );
    }
}

#[test]
fn a_datum_goes_by_its_name_or_code() {
    let grid = crs("EPSG:6543"); // NAD83(2011) / North Carolina (ftUS)
    let place = [degrees(-80.8, 35.2)];
    let (own, operation) = grid.to_grid(&Datum::OfCrs, &place).unwrap();
    assert_eq!(
        (operation.accuracy_m, operation.ballpark),
        (Some(0.0), false)
    );
    for name in [
        "NAD83(2011)",
        "nad83(2011)",
        "NAD 83 (2011)",
        "EPSG:6318",
        "EPSG:6319",
        "EPSG:6543",
        " NAD83(2011) ",
    ] {
        let (en, operation) = grid.to_grid(&named(name), &place).unwrap();
        assert_eq!(operation.from, "NAD83(2011)", "{name}");
        assert_eq!(en, own, "{name}");
    }
    for name in ["WGS 84", "WGS84", "wgs-84", "EPSG:4326"] {
        let (_, operation) = grid.to_grid(&named(name), &place).unwrap();
        assert_eq!(
            operation,
            grid.to_grid(&Datum::Wgs84, &place).unwrap().1,
            "{name}"
        );
        assert!(
            operation.accuracy_m.is_some_and(|a| a > 0.5) && !operation.ballpark,
            "{operation:?}"
        );
    }
    for name in [
        "",
        "NAD84",
        "NAD",
        "the usual",
        "EPSG:5703",
        "EPSG:4978",
        "WGS 84\0",
        "+proj=longlat",
    ] {
        let error = grid.to_grid(&named(name), &place).unwrap_err();
        assert!(matches!(error, CrsError::Datum { .. }), "{name}: {error}");
    }
    let error = grid
        .to_grid(&named("NAD83(CSRS98"), &place)
        .unwrap_err()
        .to_string();
    assert!(error.contains("did you mean NAD83(CSRS)"), "{error}");
}

#[test]
fn a_datum_without_an_operation_is_ballpark_and_says_so() {
    // NAD83(2011) to NAD83 needs grid files in the United States; none are read.
    let (_, operation) = crs("EPSG:2264")
        .to_grid(&named("NAD83(2011)"), &[degrees(-80.8, 35.2)])
        .unwrap();
    assert!(
        operation.ballpark && operation.accuracy_m.is_none(),
        "{operation:?}"
    );
    let (_, operation) = crs("EPSG:2264")
        .to_grid(&named("NAD27"), &[degrees(-80.8, 35.2)])
        .unwrap();
    assert!(
        !operation.ballpark && operation.accuracy_m.is_some_and(|a| a > 5.0),
        "{operation:?}"
    );
}

#[test]
fn the_first_place_in_an_operations_area_decides_for_all() {
    let grid = crs("EPSG:2264");
    let (good, silly) = (degrees(-80.8, 35.2), degrees(5.7, 45.8));
    let (alone, operation) = grid.to_grid(&Datum::Wgs84, &[good]).unwrap();
    let (both, same) = grid.to_grid(&Datum::Wgs84, &[silly, good]).unwrap();
    assert_eq!((both[1], same), (alone[0], operation));
    let (places, _) = grid.to_wgs84(&both).unwrap();
    assert!((places[1].0 - good.0).abs() < 1e-12 && (places[1].1 - good.1).abs() < 1e-12);
    assert!(matches!(
        grid.to_grid(&Datum::Wgs84, &[silly]),
        Err(CrsError::NoOperation { .. })
    ));
}

#[test]
fn a_place_that_cannot_be_converted_is_named() {
    let grid = crs("EPSG:26917");
    let good = degrees(-81.0, 35.0);
    for bad in [
        (f64::NAN, 0.6),
        (0.1, f64::INFINITY),
        degrees(-81.0, 97.0),
        degrees(-81.0, -1e300),
    ] {
        match grid.to_grid(&Datum::OfCrs, &[good, good, bad, good]) {
            Err(CrsError::Place {
                index: 2, count: 4, ..
            }) => {}
            other => panic!("{bad:?}: {other:?}"),
        }
    }
    for bad in [(f64::NAN, 4e6), (5e5, f64::NEG_INFINITY), (1e300, 4e6)] {
        assert!(
            matches!(grid.to_wgs84(&[bad]), Err(CrsError::Place { index: 0, .. })),
            "{bad:?}"
        );
        assert!(grid.factors(bad.0, bad.1).is_err(), "{bad:?}");
    }
    assert_eq!(grid.to_grid(&Datum::OfCrs, &[]).unwrap().0, []);
    assert_eq!(grid.to_wgs84(&[]).unwrap().0, []);
}

#[test]
fn a_moving_datum_needs_the_date() {
    let grid = crs("EPSG:7855");
    let place = [degrees(145.0, -37.9)];
    let error = grid.to_grid(&named("ITRF2014"), &place).unwrap_err();
    assert!(matches!(error, CrsError::NoEpoch { .. }), "{error}");
    let at = |epoch| {
        grid.to_grid_at(&named("ITRF2014"), Some(epoch), &place)
            .unwrap()
    };
    let ((then, operation), (now, _)) = (at(2020.0), at(2026.0));
    assert_eq!(operation.epoch, Some(2020.0));
    // Australia moves about 7 cm a year to the north-east: GDA2020 coordinates of a fixed ITRF place go the other way.
    let moved = (now[0].0 - then[0].0).hypot(now[0].1 - then[0].1);
    assert!(
        (0.3..0.5).contains(&moved) && now[0].1 < then[0].1,
        "{moved}"
    );
    // A date does no harm, and is not claimed, where nothing moves.
    let (en, operation) = grid
        .to_grid_at(&Datum::OfCrs, Some(2026.0), &place)
        .unwrap();
    assert_eq!(
        (en, operation.epoch),
        (grid.to_grid(&Datum::OfCrs, &place).unwrap().0, None)
    );
}

#[test]
fn projjson_and_wkt_name_the_system() {
    let json = crs("EPSG:2264").projjson().unwrap();
    assert_eq!(
        (json["type"].as_str(), json["id"]["code"].as_u64()),
        (Some("ProjectedCRS"), Some(2264))
    );
    let wkt = crs("EPSG:2264").wkt().unwrap();
    assert!(
        wkt.starts_with("PROJCRS[\"NAD83 / North Carolina (ftUS)\"")
            && wkt.ends_with("ID[\"EPSG\",2264]]")
    );
}

#[test]
fn more_systems_than_a_thread_keeps_are_met_without_harm() {
    let place = [degrees(-81.0, 35.0)];
    let first = crs("EPSG:32617").to_grid(&Datum::OfCrs, &place).unwrap();
    for zone in 1..=60 {
        for half in [326, 327] {
            crs(&format!("EPSG:{half}{zone:02}"))
                .to_grid(&Datum::OfCrs, &[degrees(f64::from(6 * zone - 183), 10.0)])
                .unwrap();
        }
    }
    assert_eq!(
        crs("EPSG:32617").to_grid(&Datum::OfCrs, &place).unwrap(),
        first
    );
}
