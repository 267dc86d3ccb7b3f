//! From rows to equations: scale, north, datums, names, sides, site grids, logs, and what is found wrong with them.

use crate::levelling::job;

use aslaid::crs::Crs;
use aslaid::findings::rules::survey::{Survey, find};
use aslaid::findings::{Code, Finding, Level};
use aslaid::height::{Grounds, heights};
use aslaid::job::model::*;
use aslaid::math::ellipse::Ellipse;
use aslaid::math::stats::ELLIPSE_95;
use aslaid::observe::{Kind, Observed, PointId, observe, observe_in};
use aslaid::position::{Adjusted, Places, adjust};
use job::{control, empty, level, mark, measure};

const NO: f64 = f64::NAN;

struct Solved {
    observed: Observed,
    adjusted: Adjusted,
    findings: Vec<Finding>,
}

fn solve(job: &Job) -> Solved {
    let crs = Crs::new(&job.grid.crs, job.grid.unit).expect("a CRS");
    let observed = observe(job, &crs);
    let adjusted = adjust(&observed.observations, &job.limits);
    let heights = heights(job, &observed.observations, &job.limits);
    let semi_major = |i: usize| {
        let (_, point) = observed.observations.marks[i].centre?;
        Some(ELLIPSE_95 * Ellipse::of(adjusted.place(point)?.covariance).major)
    };
    let survey = Survey {
        job,
        crs: &crs,
        observed: &observed,
        adjusted: &adjusted,
        heights: &heights,
        semi_major: &semi_major,
        unit: job.grid.unit,
    };
    let findings = find(&survey);
    Solved {
        observed,
        adjusted,
        findings,
    }
}

impl Solved {
    fn place(&self, name: &str) -> (f64, f64) {
        let points = &self.observed.observations.points;
        let index = points
            .iter()
            .position(|point| &*point.name == name)
            .expect("a point");
        self.adjusted
            .coordinates(PointId(index as u32))
            .unwrap_or_else(|| panic!("{name}: {:?}", self.findings))
    }
    fn codes(&self) -> Vec<Code> {
        let mut codes: Vec<Code> = self.findings.iter().map(|finding| finding.code).collect();
        codes.sort_unstable();
        codes.dedup();
        codes
    }
    fn of(&self, code: Code) -> &Finding {
        self.findings
            .iter()
            .find(|finding| finding.code == code)
            .unwrap_or_else(|| panic!("no {code}: {:?}", self.findings))
    }
}

fn tie(from: &str, length: f64, number: u16) -> Tie {
    Tie {
        from: from.into(),
        length,
        number,
    }
}

fn corners(job: &mut Job, e: f64, n: f64) {
    for (name, de, dn) in [
        ("P1", 0.0, 0.0),
        ("P2", 30.0, 0.0),
        ("P3", 30.0, 25.0),
        ("P4", 0.0, 25.0),
    ] {
        control(job, name).grid = Some((e + de, n + dn));
    }
}

fn degrees(d: f64, m: f64, s: f64) -> f64 {
    (d + m / 60.0 + s / 3600.0).to_radians()
}

/// GDA2020 Technical Manual, version 1.6: the line from Flinders Peak to Buninyong, azimuth and grid bearing as printed.
#[test]
fn a_true_bearing_becomes_the_printed_grid_bearing() {
    let mut job = empty("EPSG:7855");
    control(&mut job, "Flinders Peak").grid = Some((273_741.297, 5_796_489.777));
    let north = North::True;
    measure(
        &mut job,
        MeasureKind::Bearing { north },
        "Flinders Peak",
        "Buninyong",
        degrees(306.0, 52.0, 5.37),
        None,
    );
    let observed = observe(&job, &Crs::new("EPSG:7855", job.grid.unit).expect("a CRS"));
    let got = observed.observations.plane[0]
        .value
        .to_degrees()
        .rem_euclid(360.0);
    let want = degrees(305.0, 17.0, 1.72).to_degrees();
    assert!((got - want).abs() < 0.02 / 3600.0, "{got} {want}");
    let k = observed.frame.grid_scale.expect("a scale");
    assert!((k - 1.000_230_558_6).abs() < 1e-9, "{k}");
}

#[test]
fn ground_lengths_are_brought_to_the_grid() {
    let mut job = empty("EPSG:26910");
    job.grid.height = Some(500.0);
    job.grid.geoid_separation = Some(-20.0);
    corners(&mut job, 567_900.0, 5_250_000.0);
    mark(&mut job, "A1").placing.ties =
        vec![tie("P1", 20.0, 1), tie("P2", 20.0, 2), tie("P3", 18.0, 3)];
    let solved = solve(&job);
    let frame = &solved.observed.frame;
    let (k, h) = (
        frame.grid_scale.expect("scale"),
        frame.height_factor.expect("factor"),
    );
    // 480 m above the ellipsoid: R/(R + h) with R near 6.38 million metres.
    assert!((h - 1.0 / (1.0 + 480.0 / 6.38e6)).abs() < 2e-7, "{h}");
    assert!((solved.observed.observations.plane[0].value - 20.0 * k * h).abs() < 1e-12);
    job.grid.distances_on_grid = true;
    assert_eq!(solve(&job).observed.observations.plane[0].value, 20.0);
}

#[test]
fn slope_tapes_are_levelled_where_both_heights_are_known() {
    let mut job = empty("local");
    job.grid.taped_on_slope = true;
    corners(&mut job, 0.0, 0.0);
    job.control[0].elevation = Some(10.0);
    let row = mark(&mut job, "A1");
    row.ground = Some(11.0);
    row.placing.ties = vec![tie("P1", 20.025, 1), tie("P2", 20.0, 2), tie("P3", 18.0, 3)];
    let observed = levelled(&job);
    let plane = &observed.observations.plane;
    assert!((plane[0].value - 20.0).abs() < 1e-4, "20 m on 5 %: 25 mm");
    assert_eq!(plane[1].value, 20.0);
    assert!(says(&observed, "2 lengths taped along the slope"));
}

/// A job's equations with its slopes made level, by the heights that its rows give.
fn levelled(job: &Job) -> Observed {
    let crs = Crs::new(&job.grid.crs, job.grid.unit).expect("a CRS");
    let heights = heights(job, &observe(job, &crs).observations, &job.limits);
    let height_of = |point| heights.ground(point).map(|ground| ground.z);
    observe_in(job, &crs, None, Some(&height_of))
}

fn says(observed: &Observed, text: &str) -> bool {
    observed.notes.iter().any(|note| note.text.contains(text))
}

/// Heights of a slope's ends count wherever they come from: here one by levels, and none by a row that is only compared.
#[test]
fn slopes_are_made_level_with_levelled_heights() {
    let mut job = empty("local");
    job.grid.taped_on_slope = true;
    corners(&mut job, 0.0, 0.0);
    job.control[0].elevation = Some(10.0);
    mark(&mut job, "A1").placing.ties = vec![tie("P1", 20.025, 1)];
    let check = mark(&mut job, "A1");
    (check.usage, check.ground) = (Use::Check, Some(13.0));
    level(&mut job, "P1", 2.0, NO, NO, NO);
    level(&mut job, "A1", NO, NO, 1.0, NO);
    let observed = levelled(&job);
    let plane = &observed.observations.plane;
    assert!((plane[0].value - 20.0).abs() < 1e-4, "{}", plane[0].value);
    assert!(!says(&observed, "taped along the slope"));
}

/// P1 lies 2 m under P2, 30 m off: 10.0222 m along the line are 10 level, and 5.385 m off it up 2 m more are 5. A tape shorter than its ends'
/// heights differ is told.
#[test]
fn stations_and_offsets_along_a_slope() {
    let mut job = empty("local");
    job.grid.taped_on_slope = true;
    corners(&mut job, 0.0, 0.0);
    (job.control[0].elevation, job.control[1].elevation) = (Some(10.0), Some(12.0));
    let row = mark(&mut job, "A1");
    row.ground = Some(10.0 + 2.0 / 3.0 + 2.0);
    row.placing.baseline = Some(Box::new(BaselineOffset {
        from: "P1".into(),
        to: "P2".into(),
        station: 10.0 * f64::hypot(30.0, 2.0) / 30.0,
        offset: -f64::hypot(5.0, 2.0),
    }));
    let observed = levelled(&job);
    let values: Vec<f64> = observed
        .observations
        .plane
        .iter()
        .map(|o| o.value)
        .collect();
    assert!(
        (values[0] - 10.0).abs() < 1e-9 && (values[1] + 5.0).abs() < 1e-9,
        "{values:?}"
    );
    assert!(!says(&observed, "slope"));
    mark(&mut job, "A2").placing.ties = vec![tie("P1", 1.5, 1)];
    job.marks[1].ground = Some(12.0);
    let short = levelled(&job);
    assert!(
        says(&short, "shorter here than the heights"),
        "{:?}",
        short.notes
    );
}

#[test]
fn every_way_of_placing_gives_the_same_place() {
    let mut job = empty("local");
    corners(&mut job, 1000.0, 2000.0);
    let (e, n) = (12.0_f64, 9.0_f64);
    mark(&mut job, "A1").placing.ties = vec![
        tie("P1", e.hypot(n), 1),
        tie("P2", (30.0 - e).hypot(n), 2),
        tie("P4", e.hypot(25.0 - n), 3),
    ];
    mark(&mut job, "A2").placing.baseline = Some(Box::new(BaselineOffset {
        from: "P1".into(),
        to: "P2".into(),
        station: e,
        offset: -n,
    }));
    let direction = PolarDirection::Angle {
        backsight: "P2".into(),
        angle: -n.atan2(e),
    };
    mark(&mut job, "A3").placing.polar = Some(Box::new(Polar {
        setup: "P1".into(),
        direction: Some(direction),
        distance: Some(e.hypot(n)),
    }));
    let direction = PolarDirection::Bearing {
        north: North::Grid,
        bearing: e.atan2(n),
    };
    mark(&mut job, "A4").placing.polar = Some(Box::new(Polar {
        setup: "P1".into(),
        direction: Some(direction),
        distance: Some(e.hypot(n)),
    }));
    mark(&mut job, "A5").placing.grid = Some((1000.0 + e, 2000.0 + n));
    let row = mark(&mut job, "A6");
    row.placing.ties = vec![tie("P1", e.hypot(n), 1), tie("P2", (30.0 - e).hypot(n), 2)];
    row.placing.side = Some(Side::Left);
    let solved = solve(&job);
    for name in ["A1", "A2", "A3", "A4", "A5", "A6"] {
        let place = solved.place(name);
        assert!(
            (place.0 - 1000.0 - e).hypot(place.1 - 2000.0 - n) < 1e-6,
            "{name}: {place:?}"
        );
    }
    // A square set by eye, 1.5° off 9 m, is no better than 0.58 m at 95 %; the rest is.
    assert_eq!(
        solved.codes(),
        [Code::Unchecked, Code::Weak],
        "{:?}",
        solved.findings
    );
    assert_eq!(solved.of(Code::Weak).mark.as_deref(), Some("A2"));
    assert_eq!(
        solved
            .findings
            .iter()
            .filter(|finding| finding.code == Code::Weak)
            .count(),
        1
    );
}

#[test]
fn house_corners_known_only_by_tape_are_solved_with_the_marks() {
    let mut job = empty("local");
    corners(&mut job, 0.0, 0.0);
    let k = (14.0_f64, 11.0_f64);
    for (name, (e, n)) in [
        ("P1", (0.0, 0.0)),
        ("P2", (30.0, 0.0)),
        ("P3", (30.0, 25.0)),
    ] {
        measure(
            &mut job,
            MeasureKind::Distance,
            "K1",
            name,
            (k.0 - e).hypot(k.1 - n),
            None,
        );
    }
    mark(&mut job, "A1").placing.ties = vec![
        tie("K1", (k.0 - 9.0).hypot(k.1 - 3.0), 1),
        tie("P1", 9.0_f64.hypot(3.0), 2),
        tie("P2", 21.0_f64.hypot(3.0), 3),
    ];
    let solved = solve(&job);
    let (corner, a1) = (solved.place("K1"), solved.place("A1"));
    assert!((corner.0 - k.0).hypot(corner.1 - k.1) < 1e-6 && (a1.0 - 9.0).hypot(a1.1 - 3.0) < 1e-6);
    assert!(solved.findings.is_empty(), "{:?}", solved.findings);
}

#[test]
fn the_cable_decides_between_two_places() {
    let mut job = empty("local");
    corners(&mut job, 0.0, 0.0);
    let known = mark(&mut job, "A1");
    known.counter = Some(1.0);
    known.placing.grid = Some((15.0, 8.0));
    let open = mark(&mut job, "A2");
    open.counter = Some(5.0);
    open.placing.ties = vec![
        tie("P1", 17.0_f64.hypot(11.0), 1),
        tie("P2", 13.0_f64.hypot(11.0), 2),
    ];
    let solved = solve(&job);
    let place = solved.place("A2");
    assert!(
        (place.0 - 17.0).hypot(place.1 - 11.0) < 1e-6,
        "the other place is 19 m off: {place:?}"
    );
    job.marks[1].counter = None;
    let solved = solve(&job);
    assert!(solved.of(Code::Undetermined).message.contains("`side`"));
}

#[test]
fn names_that_nothing_defines() {
    let mut job = empty("local");
    corners(&mut job, 0.0, 0.0);
    mark(&mut job, "A1").placing.ties =
        vec![tie("P1", 10.0, 1), tie("P22", 25.0, 2), tie("P4", 18.0, 3)];
    mark(&mut job, "P3").placing.grid = Some((1.0, 1.0));
    job.runs[0].joins = Some("B".into());
    let solved = solve(&job);
    let finding = solved
        .findings
        .iter()
        .find(|f| f.code == Code::UnknownReference && f.message.contains("P22"));
    let finding = finding.expect("P22 is unknown");
    assert!(
        finding.message.contains("Did you mean \"P2\"?"),
        "{}",
        finding.message
    );
    assert_eq!(
        (finding.source.as_deref(), finding.columns.as_slice()),
        (Some("marks.csv:2"), &["tie_2_ref".to_owned()][..])
    );
    assert_eq!(
        solved.of(Code::Duplicate).source.as_deref(),
        Some("marks.csv:3")
    );
    assert!(
        solved
            .findings
            .iter()
            .any(|f| f.code == Code::UnknownReference && f.message.contains("\"B\""))
    );
}

fn gnss(latitude: f64, longitude: f64, fix: Fix) -> Geographic {
    Geographic {
        latitude: latitude.to_radians(),
        longitude: longitude.to_radians(),
        height: None,
        datum: None,
        surveyed: false,
        fix: Some(fix),
    }
}

#[test]
fn places_outside_the_area_are_explained() {
    let cases = [
        (35.2, 80.85, "other sign of the longitude"),
        (-80.85, 35.2, "With the two exchanged"),
        (-35.2, -80.85, "other sign of the latitude"),
        (10.0, 10.0, "Check the figures"),
    ];
    for (latitude, longitude, words) in cases {
        let mut job = empty("EPSG:2264");
        mark(&mut job, "A1").placing.gnss = Some(Box::new(gnss(latitude, longitude, Fix::Rtk)));
        let solved = solve(&job);
        let message = &solved.of(Code::OutsideCrs).message;
        assert!(message.contains(words), "{message}");
    }
    let mut job = empty("EPSG:2264");
    mark(&mut job, "A1").placing.gnss = Some(Box::new(gnss(35.2, -80.85, Fix::Rtk)));
    assert_eq!(solve(&job).codes(), [Code::Unchecked]);
    // 28.5° N, 96° W in Texas South Central, typed in metres and read as US survey feet; the other way round.
    let (e, n, foot) = (893_670.897, 4_077_653.755, 1200.0 / 3937.0);
    let mut job = empty("EPSG:2278");
    control(&mut job, "P1").grid = Some((e * foot, n * foot));
    assert!(
        solve(&job)
            .of(Code::OutsideCrs)
            .message
            .contains("Read as metres")
    );
    job.control[0].grid = Some((e, n));
    assert!(!solve(&job).codes().contains(&Code::OutsideCrs));
    let mut job = empty("EPSG:32140");
    control(&mut job, "P1").grid = Some((e / foot, n / foot));
    assert!(
        solve(&job)
            .of(Code::OutsideCrs)
            .message
            .contains("Read as feet")
    );
}

#[test]
fn poor_fixes_are_said() {
    let mut job = empty("EPSG:26910");
    mark(&mut job, "A1").placing.gnss = Some(Box::new(gnss(47.4, -122.1, Fix::Single)));
    let solved = solve(&job);
    let finding = solved.of(Code::GnssFix);
    assert_eq!(
        (finding.value, finding.limit, finding.level),
        (Some(2.5), Some(0.1), Level::Warning)
    );
    assert!(solved.codes().contains(&Code::Weak));
    // A single fix is in WGS 84, whose shift to the CRS's datum all such positions share.
    assert!(
        !solved.observed.observations.shifts.is_empty(),
        "{:?}",
        solved.observed.frame.operations
    );
}

/// Exact x, y at four points, three of them with coordinates: the fourth and a mark taped from it follow.
#[test]
fn a_site_grid() {
    let mut job = empty("local");
    let (s, c) = 30.0_f64.to_radians().sin_cos();
    let image = |x: f64, y: f64| (5000.0 + c * x + s * y, 7000.0 - s * x + c * y);
    for (name, x, y, both) in [
        ("P1", 0.0, 0.0, true),
        ("P2", 40.0, 0.0, true),
        ("P3", 40.0, 30.0, true),
        ("P4", 0.0, 30.0, false),
    ] {
        let row = control(&mut job, name);
        row.site = Some((x, y));
        if both {
            row.grid = Some(image(x, y));
            row.sigma = Some(0.02);
        }
    }
    let (x, y) = (18.0_f64, 12.0_f64);
    mark(&mut job, "A1").placing.ties = vec![
        tie("P4", x.hypot(30.0 - y), 1),
        tie("P1", x.hypot(y), 2),
        tie("P3", (40.0 - x).hypot(30.0 - y), 3),
    ];
    let solved = solve(&job);
    let (p4, a1) = (solved.place("P4"), solved.place("A1"));
    let (want4, want1) = (image(0.0, 30.0), image(x, y));
    assert!(
        (p4.0 - want4.0).hypot(p4.1 - want4.1) < 1e-6
            && (a1.0 - want1.0).hypot(a1.1 - want1.1) < 1e-6
    );
    let site = solved.adjusted.site.as_ref().expect("a site grid");
    assert!((site.similarity.scale() - 1.0).abs() < 1e-9);
    assert!((site.similarity.rotation().to_degrees() - 30.0).abs() < 1e-9);
    assert_eq!(site.residuals.len(), 3);
    assert!(solved.findings.is_empty(), "{:?}", solved.findings);
    // Closed form: for points with equal sigmas the scale's sigma is σ/√Σ(distance from the centroid)².
    let centre = (80.0 / 3.0, 10.0);
    let size: f64 = [(0.0, 0.0), (40.0, 0.0), (40.0, 30.0)]
        .iter()
        .map(|(x, y): &(f64, f64)| (x - centre.0).powi(2) + (y - centre.1).powi(2))
        .sum();
    // The tapes between points of exact x, y add to it: never worse.
    let alone = 0.02 / size.sqrt();
    assert!(
        site.scale_sigma < alone && site.scale_sigma > 0.5 * alone,
        "{} {alone}",
        site.scale_sigma
    );

    job.control[2].grid = job.control[2].grid.map(|(e, n)| (e, n + 0.30));
    assert!(solve(&job).codes().contains(&Code::GridFitResidual));

    let mut feet = job.clone();
    for row in &mut feet.control {
        row.site = row.site.map(|(x, y)| (x / 0.3048, y / 0.3048));
    }
    assert!(solve(&feet).codes().contains(&Code::ScaleSuspect));

    for row in &mut job.control[1..] {
        row.grid = None;
        row.sigma = None;
    }
    let solved = solve(&job);
    assert!(
        solved.codes().contains(&Code::NoDatum),
        "{:?}",
        solved.findings
    );
}

#[test]
fn a_job_that_hangs_on_nothing() {
    let mut job = empty("EPSG:2264");
    mark(&mut job, "A1");
    measure(&mut job, MeasureKind::Distance, "K1", "K2", 10.0, None);
    let solved = solve(&job);
    assert_eq!(solved.codes(), [Code::Undetermined, Code::NoDatum]);
}

#[test]
fn a_row_kept_out_is_compared_not_used() {
    let mut job = empty("local");
    corners(&mut job, 0.0, 0.0);
    mark(&mut job, "A1").placing.grid = Some((10.0, 10.0));
    let check = mark(&mut job, "A1");
    check.usage = Use::Check;
    check.placing.grid = Some((10.03, 10.0));
    let solved = solve(&job);
    assert!((solved.place("A1").0 - 10.0).abs() < 1e-9);
    let finding = solved.of(Code::CheckShot);
    // √2·0.02 m·2.4477 = 0.069 m.
    assert_eq!(finding.level, Level::Note);
    assert!((finding.value.expect("a figure") - 0.03).abs() < 1e-9);
    assert!((finding.limit.expect("a bound") - 0.069_23).abs() < 1e-4);
    // Outside the bound, where one in twenty lies; beyond chance from √2·0.02 m·3.7169 = 0.105 m on.
    job.marks[1].placing.grid = Some((10.1, 10.0));
    let solved = solve(&job);
    let finding = solved.of(Code::CheckShot);
    assert!(finding.level == Level::Warning && finding.message.contains("as one in twenty is"));
    job.marks[1].placing.grid = Some((10.11, 10.0));
    let solved = solve(&job);
    let finding = solved.of(Code::CheckShot);
    assert!(finding.level == Level::Warning && finding.message.contains("Look for a gross error"));
}

#[test]
fn a_receiver_log_is_averaged_in_its_window() {
    use aslaid::job::nmea::{Epoch, Log};
    let mut job = empty("EPSG:26910");
    let day = 20_587.0 * 86_400.0;
    let epoch = |i: f64, fix: Fix, north: f64| Epoch {
        time: day + 36_000.0 + i,
        dated: true,
        latitude: 47.4_f64.to_radians() + north / 6_371_000.0,
        longitude: (-122.1_f64).to_radians(),
        height: Some(50.0),
        separation: Some(-22.0),
        fix,
        sigma: Some((0.012, 0.009, 0.02)),
    };
    let mut epochs: Vec<Epoch> = (0..10)
        .map(|i| epoch(f64::from(i), Fix::Rtk, 0.001 * f64::from(i % 2)))
        .collect();
    epochs.push(epoch(4.5, Fix::Float, 30.0));
    job.logs.push(Log {
        file: "day.nmea".to_owned(),
        epochs,
        broken: vec![],
    });
    job.grid.height = Some(72.0);
    // As a time of the day, dated by the job.
    mark(&mut job, "A1").placing.window = Some((36_000.0, 36_020.0));
    let solved = solve(&job);
    let plane = &solved.observed.observations.plane;
    let north = plane
        .iter()
        .find(|o| matches!(o.kind, Kind::North { .. }))
        .expect("a northing");
    assert!(
        (north.sigma - 0.012).abs() < 1e-12,
        "GST's, not divided by the root of the epochs"
    );
    assert_eq!(solved.codes(), [Code::Unchecked], "{:?}", solved.findings);
    job.marks[0].placing.window = Some((36_008.0, 36_020.0));
    assert!(
        solve(&job)
            .of(Code::GnssFix)
            .message
            .contains("2 usable epochs")
    );
}

#[test]
fn a_misread_tape_is_reported_in_the_field_books_own_figures() {
    let mut job = empty("local");
    corners(&mut job, 0.0, 0.0);
    let (e, n) = (12.0_f64, 9.0_f64);
    mark(&mut job, "A1").placing.ties = vec![
        tie("P1", e.hypot(n), 1),
        tie("P2", (30.0 - e).hypot(n) + 1.0, 2),
        tie("P3", (30.0 - e).hypot(25.0 - n), 3),
        tie("P4", e.hypot(25.0 - n), 4),
    ];
    let solved = solve(&job);
    let finding = solved.of(Code::Blunder);
    assert_eq!(finding.source.as_deref(), Some("marks.csv:2"));
    assert_eq!(
        (finding.run.as_deref(), finding.mark.as_deref()),
        (Some("A"), Some("A1"))
    );
    assert!(
        finding.message.contains("reads 21.125 m") && finding.message.contains("say 20.1"),
        "{}",
        finding.message
    );
    assert!(solved.codes().contains(&Code::Misfit));
}
