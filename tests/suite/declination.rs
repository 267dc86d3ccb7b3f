//! Declination against the official test values of the World Magnetic Model.
#![expect(
    clippy::unwrap_used,
    reason = "a test fails by panicking, in its helpers too"
)]

use std::path::Path;

use aslaid::observe::declination::declination;

/// Year, altitude in km, latitude, longitude, declination in degrees.
fn rows(file: &str) -> Vec<[f64; 5]> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/reference/wmm")
        .join(file);
    let text = std::fs::read_to_string(path).unwrap();
    let rows = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    rows.map(|line| {
        let mut cells = line
            .split_whitespace()
            .map(|cell| cell.parse::<f64>().unwrap());
        std::array::from_fn(|_| cells.next().unwrap())
    })
    .collect()
}

/// The files have years and half years: 1 January and 2 July (day 182.5 of 365 is noon of that day).
fn date(year: f64) -> (i32, u8, u8) {
    let whole = year.floor();
    let half = year - whole;
    assert!(half.abs() < 1e-9 || (half - 0.5).abs() < 1e-9, "{year}");
    if half < 0.25 {
        (whole as i32, 1, 1)
    } else {
        (whole as i32, 7, 2)
    }
}

#[test]
fn every_official_row_comes_out_to_a_hundredth_of_a_degree() {
    for file in ["WMM2025_TEST_VALUES.txt", "WMM2020_TEST_VALUES.txt"] {
        let rows = rows(file);
        assert_eq!(rows.len(), 100, "{file}");
        let mut worst = 0.0_f64;
        for row in rows {
            let [year, altitude, latitude, longitude, expected] = row;
            let found = declination(
                latitude.to_radians(),
                longitude.to_radians(),
                altitude * 1000.0,
                date(year),
            )
            .unwrap();
            let miss = (found.to_degrees() - expected + 180.0).rem_euclid(360.0) - 180.0;
            worst = worst.max(miss.abs());
            assert!(miss.abs() <= 0.01, "{file} {row:?}: {miss}");
        }
        println!("{file}: worst {worst:.4} degrees over 100 rows");
    }
}

#[test]
fn ground_level_values_of_another_program_come_out() {
    // Computed with pygeomag (WMM2025), 2026.5 and 2025.0.
    for (latitude, longitude, day, expected) in [
        (45.0_f64, -93.0_f64, (2026, 7, 2), -0.344_424),
        (37.75, -122.42, (2026, 7, 2), 12.851_412),
        (41.9, -87.7, (2025, 1, 1), -4.082_830),
        (53.63, 9.96, (2026, 7, 2), 4.261_446),
    ] {
        let found = declination(latitude.to_radians(), longitude.to_radians(), 0.0, day)
            .unwrap()
            .to_degrees();
        assert!(
            (found - expected).abs() < 0.001,
            "{latitude} {longitude}: {found}"
        );
    }
}
