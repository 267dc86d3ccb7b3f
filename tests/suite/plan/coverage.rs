//! Bounds of crossings, and of the pipe between marks, against known truth.

use aslaid::plan::crossing::crossings;
use aslaid::record::AsBuilt;
use aslaid::record::model::{Crossing, Ellipse, Joint, Mark, Meeting, Run, Separation, Vertex};
use aslaid::sheet::content::depths;

use super::support::{Corner, Random, folder, lines, read, record, run};

const CRS: &str = "EPSG:26917";
const START: (f64, f64) = (515_000.0, 3_898_000.0);
const ELLIPSE: f64 = 2.447_746_830_680_816;
const NORMAL: f64 = 1.959_963_984_540_054;
const ONE_SIDED: f64 = 1.644_853_626_951_472_7;

/// A leg whose true ends, depths and inverts are known, and the leg as measured.
struct Leg {
    truth: [(f64, f64); 2],
    depths: [f64; 2],
    inverts: [f64; 2],
    /// How pipe and ground depart from the straight, as parts of the one-sigma that the record takes (1 % of the way to the nearer end for
    /// the pipe, 2.24 % for the depth).
    uneven: [f64; 2],
    /// Sideways, as part of the ellipse of the bulge.
    bow: f64,
    bulge: f64,
    measured: [Corner; 2],
}

/// Places with a part of their error in common, and one their own, along an axis of its own.
fn leg(random: &mut Random, joined: bool) -> Leg {
    let heading = random.within(0.0, std::f64::consts::TAU);
    let length = random.within(4.0, 12.0);
    let truth = [
        START,
        (
            START.0 + length * heading.cos(),
            START.1 + length * heading.sin(),
        ),
    ];
    let depths = [random.within(1.0, 3.0), random.within(1.0, 3.0)];
    let inverts = [random.within(90.0, 92.0), random.within(90.0, 92.0)];
    let (common, depth_common) = (random.within(0.0, 0.15), random.within(0.0, 0.1));
    let shift = (common * random.normal(), common * random.normal());
    let depth_shift = depth_common * random.normal();
    let bulge = if random.below(2) == 0 {
        0.0
    } else {
        random.within(0.0, 0.3)
    };
    let corner = |random: &mut Random, end: usize| {
        let (major, minor, azimuth) = (
            random.within(0.05, 0.2),
            random.within(0.02, 0.05),
            random.within(0.0, std::f64::consts::PI),
        );
        let (one, other) = (major * random.normal(), minor * random.normal());
        let (sin, cos) = azimuth.sin_cos();
        let at = (
            truth[end].0 + shift.0 + one * sin + other * cos,
            truth[end].1 + shift.1 + one * cos - other * sin,
        );
        // The common part is round, so it adds to both axes.
        let axes = |own: f64| ELLIPSE * own.hypot(common);
        let ellipse = Ellipse {
            semi_major_95: axes(major),
            semi_minor_95: axes(minor),
            azimuth_95: azimuth.to_degrees(),
        };
        let (own_depth, own_invert) = (random.within(0.02, 0.12), random.within(0.01, 0.08));
        let joint = Joint {
            place: Some([[common * common, 0.0], [0.0, common * common]]),
            depth: Some(depth_common * depth_common),
            invert: Some(depth_common * depth_common),
            bulge: Some(bulge),
        };
        let depth = depths[end] + depth_shift + own_depth * random.normal();
        Corner {
            at,
            ellipse: Some(ellipse),
            depth: Some((depth, own_depth.hypot(depth_common))),
            cover: Some(depth - 0.1),
            invert: Some((
                inverts[end] - depth_shift + own_invert * random.normal(),
                own_invert.hypot(depth_common),
            )),
            joint: (joined && end == 0).then_some(joint),
        }
    };
    let measured = [corner(random, 0), corner(random, 1)];
    Leg {
        truth,
        depths,
        inverts,
        uneven: [random.normal(), random.normal()],
        bow: random.normal(),
        bulge,
        measured,
    }
}

impl Leg {
    /// Depth and invert at a fraction, in truth.
    fn levels(&self, u: f64) -> [f64; 2] {
        let [a, b] = self.truth;
        let way = u.min(1.0 - u) * (b.0 - a.0).hypot(b.1 - a.1);
        let between = |ends: [f64; 2]| ends[0] + u * (ends[1] - ends[0]);
        [
            between(self.depths) + 0.0224 * way * self.uneven[0],
            between(self.inverts) + 0.01 * way * self.uneven[1],
        ]
    }
}

#[derive(Default)]
struct Tally {
    name: &'static str,
    inside: usize,
    of: usize,
}

impl Tally {
    fn count(&mut self, error: f64, bound: f64) {
        self.of += 1;
        self.inside += usize::from(error.abs() <= bound);
    }

    fn share(&self) -> f64 {
        let share = self.inside as f64 / self.of as f64;
        println!(
            "{:28} {} of {}: {:.3}",
            self.name, self.inside, self.of, share
        );
        share
    }
}

/// Where the infinite line through the true leg meets the line through `q` along `tau`: the fraction on the leg and the length along tau.
fn meet(leg: &Leg, q: (f64, f64), tau: (f64, f64)) -> (f64, f64) {
    let [a, b] = leg.truth;
    let d = (b.0 - a.0, b.1 - a.1);
    let cross = |one: (f64, f64), other: (f64, f64)| one.0 * other.1 - one.1 * other.0;
    let away = (q.0 - a.0, q.1 - a.1);
    let u = cross(away, tau) / cross(d, tau);
    let along = cross(away, d) / cross(d, tau);
    // The bow moves the pipe sideways where it crosses.
    let side = leg.bulge * 2.0 * (u * (1.0 - u)).max(0.0).sqrt() / NORMAL * leg.bow;
    let length = d.0.hypot(d.1);
    let square = (-d.1 / length, d.0 / length);
    (u, along + side / (square.0 * tau.0 + square.1 * tau.1))
}

fn one(
    record: &mut AsBuilt,
    leg: &Leg,
    feature: Vec<(f64, f64)>,
    layers: &str,
    path: &std::path::Path,
) -> Option<Crossing> {
    lines(path, Some(26917), &[("w", feature)]);
    only(record, leg, layers, path)
}

/// The crossing of a plan that is written, if there is one and no more.
fn only(record: &mut AsBuilt, leg: &Leg, layers: &str, path: &std::path::Path) -> Option<Crossing> {
    record.runs = vec![run(record, "A", &leg.measured)];
    record.runs[0].diameter = Some(0.1);
    record.runs[0].wall = Some(0.005);
    let (plan, site) = read(record, &[path.to_owned()], layers, None).unwrap();
    let mut rows = crossings(record, &plan, &site).unwrap();
    (rows.len() == 1).then(|| rows.remove(0))
}

const LAYERS: &str = r#"
near = "8 m"
[[layer]]
name = "w"
role = "utility"
sigma = "0.05 m"
depth = { value = "0.5 m", to = "bottom", sigma = "0.06 m" }
"#;

/// What a crossing says against the truth.
fn crossing_figures(joined: bool, seed: u64) -> [Tally; 4] {
    let folder = folder();
    let path = folder.path().join("plan.geojson");
    let mut random = Random(seed);
    let mut record = record(CRS, 1.0, "m");
    let mut tallies =
        ["along the feature", "depth", "invert", "vertical clearance"].map(|name| Tally {
            name,
            ..Tally::default()
        });
    for _ in 0..4000 {
        let leg = leg(&mut random, joined);
        let (u, turn) = (random.within(0.2, 0.8), random.within(0.5, 2.6));
        let heading =
            (leg.truth[1].1 - leg.truth[0].1).atan2(leg.truth[1].0 - leg.truth[0].0) + turn;
        let tau = (heading.cos(), heading.sin());
        let q = (
            leg.truth[0].0 + u * (leg.truth[1].0 - leg.truth[0].0),
            leg.truth[0].1 + u * (leg.truth[1].1 - leg.truth[0].1),
        );
        // The feature truly lies off its drawing by the one-sigma that the layers file states.
        let drawn = (q.0 + 0.05 * random.normal(), q.1 + 0.05 * random.normal());
        let feature = vec![
            (drawn.0 - 9.0 * tau.0, drawn.1 - 9.0 * tau.1),
            (drawn.0 + 9.0 * tau.0, drawn.1 + 9.0 * tau.1),
        ];
        let Some(row) = one(&mut record, &leg, feature, LAYERS, &path) else {
            continue;
        };
        // Measured so that it falls short of the line: less than one in fifty.
        if row.meeting != Meeting::Crosses {
            continue;
        }
        let (u, along) = meet(&leg, q, tau);
        // As seen from the drawn line: the truth's place along the feature, less the drawing's.
        let said = (row.easting - drawn.0) * tau.0 + (row.northing - drawn.1) * tau.1;
        tallies[0].count(said - along, row.along_95.unwrap());
        let [depth, invert] = leg.levels(u);
        tallies[1].count(
            row.transmitter_depth.unwrap() - depth,
            row.depth_95.unwrap(),
        );
        tallies[2].count(row.invert.unwrap() - invert, row.invert_95.unwrap());
        let other = 0.5 + 0.06 * random.normal();
        assert_eq!(row.passes.as_deref(), Some("under"));
        tallies[3].count(
            row.vertical_clearance.unwrap() - (depth - 0.1 - other),
            row.vertical_clearance_95.unwrap(),
        );
    }
    tallies
}

const SLOPING: &str = r#"
near = "8 m"
[[layer]]
name = "w"
role = "utility"
sigma = "0.05 m"
elevation = { drawn = true, to = "bottom", sigma = "0.06 m" }
"#;

/// A feature above the pipe that rises by up to 1 : 2, drawn with its heights: where the pipe crosses it is in doubt, and so is how
/// high it lies there.
#[test]
fn clearance_from_a_feature_that_slopes_as_drawn_holds_the_truth_in_93_to_97_percent() {
    let folder = folder();
    let path = folder.path().join("plan.geojson");
    let mut random = Random(64);
    let mut record = record(CRS, 1.0, "m");
    let mut tally = Tally {
        name: "from a sloping feature",
        ..Tally::default()
    };
    for _ in 0..4000 {
        let leg = leg(&mut random, true);
        let (u, turn) = (random.within(0.2, 0.8), random.within(0.5, 2.6));
        let [a, b] = leg.truth;
        let heading = (b.1 - a.1).atan2(b.0 - a.0) + turn;
        let tau = (heading.cos(), heading.sin());
        let q = (a.0 + u * (b.0 - a.0), a.1 + u * (b.1 - a.1));
        let (slope, level) = (random.within(-0.5, 0.5), random.within(93.0, 95.0));
        // Shape and heights lie off their drawing by the one-sigmas that the layers file states.
        let drawn = (q.0 + 0.05 * random.normal(), q.1 + 0.05 * random.normal());
        let drawn_level = level + 0.06 * random.normal();
        let end = |s: f64| {
            let place = (drawn.0 + s * tau.0, drawn.1 + s * tau.1);
            serde_json::json!([place.0, place.1, drawn_level + s * slope])
        };
        let shape = serde_json::json!({"type": "FeatureCollection",
            "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26917"}},
            "features": [{"type": "Feature", "properties": {"layer": "w"},
                "geometry": {"type": "LineString", "coordinates": [end(-9.0), end(2.0), end(9.0)]}}]});
        std::fs::write(&path, shape.to_string()).unwrap();
        let row = only(&mut record, &leg, SLOPING, &path);
        let Some(row) = row.filter(|row| row.meeting == Meeting::Crosses) else {
            continue;
        };
        let (u, along) = meet(&leg, q, tau);
        let [_, invert] = leg.levels(u);
        let truth = level + along * slope - (invert + 0.105);
        assert_eq!(row.passes.as_deref(), Some("under"));
        tally.count(
            row.vertical_clearance.unwrap() - truth,
            row.vertical_clearance_95.unwrap(),
        );
    }
    let share = tally.share();
    assert!(tally.of > 3900 && (0.93..=0.97).contains(&share), "{share}");
}

#[test]
fn crossings_hold_the_truth_in_93_to_97_percent() {
    for tally in crossing_figures(true, 61) {
        let share = tally.share();
        assert!(
            tally.of > 3900 && (0.93..=0.97).contains(&share),
            "{} {share}",
            tally.name
        );
    }
}

#[test]
fn without_the_joint_covariance_the_bounds_are_wider_never_narrower() {
    for tally in crossing_figures(false, 62) {
        let share = tally.share();
        // The bow is part of what the record without a joint does not know: only small ones are hidden by the wider bound.
        let least = if tally.name == "along the feature" {
            0.90
        } else {
            0.95
        };
        assert!(tally.of > 3900 && share >= least, "{} {share}", tally.name);
    }
}

/// A line along a run of many marks: the mark that came out nearest is too near more often than not, and "not met" is no chance's word.
#[test]
fn a_line_beside_many_marks_has_its_clearance_within_its_bound() {
    let folder = folder();
    let path = folder.path().join("plan.geojson");
    let at = |east: f64, north: f64| (START.0 + east, START.1 + north);
    lines(
        &path,
        Some(26917),
        &[("w", vec![at(-20.0, 3.0), at(80.0, 3.0)])],
    );
    let layers = "near = \"9 m\"\n[[layer]]\nname = \"w\"\nrequired = { horizontal = \"3 m\" }";
    let mut record = record(CRS, 1.0, "m");
    let mut random = Random(65);
    for marks in [2, 6, 12, 25] {
        let (jobs, mut inside, mut blamed) = (400, 0, 0);
        for _ in 0..jobs {
            let corner = |random: &mut Random, mark: usize| Corner {
                at: at(
                    60.0 * mark as f64 / (marks - 1) as f64,
                    0.1 * random.normal(),
                ),
                ellipse: Some(Ellipse {
                    semi_major_95: 0.1 * ELLIPSE,
                    semi_minor_95: 0.1 * ELLIPSE,
                    azimuth_95: 0.0,
                }),
                ..Corner::default()
            };
            let corners: Vec<Corner> = (0..marks).map(|mark| corner(&mut random, mark)).collect();
            record.runs = vec![run(&record, "A", &corners)];
            let (plan, site) = read(&record, std::slice::from_ref(&path), layers, None).unwrap();
            let rows = crossings(&record, &plan, &site).unwrap();
            assert_eq!(rows.len(), 1);
            inside += usize::from((rows[0].distance - 3.0).abs() <= rows[0].clearance_95.unwrap());
            // The separation is kept to the millimetre: "not met" is false.
            let verdict = rows[0].requirement.as_ref().unwrap().verdict;
            blamed += usize::from(verdict == Separation::NotMet);
        }
        println!("{marks} marks: {inside} of {jobs} inside, {blamed} blamed");
        // 95 and 2.5 %, less and more than chance does with one in a thousand.
        assert!(inside * 1000 >= jobs * 915, "{marks} {inside}");
        assert!(blamed * 1000 <= jobs * 50, "{marks} {blamed}");
    }
}

#[test]
fn clearances_hold_the_truth_in_93_to_97_percent() {
    let folder = folder();
    let path = folder.path().join("plan.geojson");
    let mut random = Random(63);
    let mut record = record(CRS, 1.0, "m");
    let mut tally = Tally {
        name: "horizontal clearance",
        ..Tally::default()
    };
    while tally.of < 4000 {
        let mut leg = leg(&mut random, true);
        leg.bulge = 0.0;
        for corner in &mut leg.measured {
            if let Some(joint) = &mut corner.joint {
                joint.bulge = None;
            }
        }
        // A short line that points away from the leg: its first end is nearest.
        let [a, b] = leg.truth;
        let length = (b.0 - a.0).hypot(b.1 - a.1);
        let t = ((b.0 - a.0) / length, (b.1 - a.1) / length);
        let (station, off) = (random.within(-0.3, 1.3) * length, random.within(1.0, 5.0));
        let q = (
            a.0 + station * t.0 - off * t.1,
            a.1 + station * t.1 + off * t.0,
        );
        let drawn = (q.0 + 0.05 * random.normal(), q.1 + 0.05 * random.normal());
        let feature = vec![drawn, (drawn.0 - 3.0 * t.1, drawn.1 + 3.0 * t.0)];
        let Some(row) = one(&mut record, &leg, feature, LAYERS, &path) else {
            continue;
        };
        assert_eq!(row.meeting, Meeting::Near);
        let beyond = (station - station.clamp(0.0, length)).abs();
        let truth = off.hypot(beyond);
        tally.count(row.distance - truth, row.clearance_95.unwrap());
        assert!((row.clearance - (row.distance - 0.055)).abs() < 1e-9);
    }
    let share = tally.share();
    assert!((0.93..=0.97).contains(&share), "{share}");
}

/// The earliest that a digger meets the pipe anywhere between two marks, against what the sheets say of all of it. Where the pipe goes along
/// with the ground, marks alone say too much: nobody has read a depth between them.
#[test]
fn nowhere_along_a_leg_is_the_pipe_shallower_than_is_said() {
    let mut random = Random(66);
    let mut record = record(CRS, 1.0, "m");
    for level in [false, true] {
        let (jobs, mut above, mut above_marks) = (4000, 0, 0);
        for _ in 0..jobs {
            let mut leg = leg(&mut random, true);
            if level {
                along_the_ground(&mut leg);
            }
            record.runs = vec![run(&record, "A", &leg.measured)];
            record.marks = marks(&record.runs[0]);
            let said = depths::shallowest(&record).unwrap().depth;
            let at_marks = record.marks.iter().filter_map(|mark| mark.cover_least);
            let at_marks = at_marks.fold(f64::INFINITY, f64::min);
            let tops = (0..=100).map(|part| leg.levels(f64::from(part) / 100.0)[0] - 0.1);
            let top = tops.fold(f64::INFINITY, f64::min);
            assert!(said <= at_marks);
            above += usize::from(top < said);
            above_marks += usize::from(top < at_marks);
        }
        println!(
            "level {level}: shallower than said {above} of {jobs}; than said of marks alone {above_marks}"
        );
        // One-sided 95 %; less than chance does with one in a thousand.
        assert!(above * 1000 <= jobs * 61, "{above}");
        assert!(!level || above_marks * 1000 > jobs * 61, "{above_marks}");
    }
}

/// The same leg, with the second end as deep as the first.
fn along_the_ground(leg: &mut Leg) {
    let deeper = leg.depths[0] - leg.depths[1];
    leg.depths[1] += deeper;
    let end = &mut leg.measured[1];
    end.depth = end.depth.map(|(depth, sigma)| (depth + deeper, sigma));
    end.cover = end.cover.map(|cover| cover + deeper);
}

/// The marks of a run made up of vertices, with what a digger asks of them.
fn marks(run: &Run) -> Vec<Mark> {
    let vertices = run.vertices.iter();
    let mark = |vertex: &Vertex| {
        let sigma = vertex.depth_95.unwrap() / NORMAL;
        serde_json::from_value(serde_json::json!({
            "id": format!("S/T-1/{}", vertex.mark.as_ref().unwrap()), "run": run.run, "mark": vertex.mark, "station": vertex.station,
            "easting": vertex.easting, "northing": vertex.northing, "transmitter_depth": vertex.transmitter_depth, "cover": vertex.cover,
            "cover_least": vertex.cover.unwrap() - ONE_SIDED * sigma, "depth_95": vertex.depth_95, "evidence": "located",
            "depth_basis": "readings", "accuracy_basis": "modelled", "source": "marks.csv:2",
            "paint": { "easting": vertex.easting, "northing": vertex.northing }
        }))
    };
    vertices.map(|vertex| mark(vertex).unwrap()).collect()
}
