//! 200 random plans: the same crossings, stations and distances as shapely finds.

use aslaid::plan::crossing::crossings;
use serde_json::{Value, json};

use super::support::{Corner, Random, US_FOOT, folder, python, read, record, run};

const PLANS: usize = 200;
const NEAR: f64 = 4.0;

/// The run's grid and the plan's, each with its unit in metres. EPSG:2264 and EPSG:32119 are one projection in two units; EPSG:26917 is
/// another projection of the same datum.
const SYSTEMS: [(u32, f64, u32, f64); 4] = [
    (2264, US_FOOT, 2264, US_FOOT),
    (2264, US_FOOT, 32119, 1.0),
    (32119, 1.0, 2264, US_FOOT),
    (26917, 1.0, 26917, 1.0),
];

/// A run of 1 to 7 legs that never turns by more than 60°, from a place in North Carolina.
fn corners(random: &mut Random, start: (f64, f64)) -> Vec<(f64, f64)> {
    let mut heading = random.within(0.0, std::f64::consts::TAU);
    let mut at = start;
    let mut all = vec![at];
    for _ in 0..=random.below(7) {
        let length = random.within(0.5, 9.0);
        at = (at.0 + length * heading.cos(), at.1 + length * heading.sin());
        all.push(at);
        heading += random.within(-1.0, 1.0);
    }
    all
}

fn shape(random: &mut Random, about: (f64, f64)) -> Value {
    let spread = random.within(1.0, 25.0);
    let (x0, y0) = (
        about.0 + random.within(-15.0, 15.0),
        about.1 + random.within(-15.0, 15.0),
    );
    let somewhere = |random: &mut Random| {
        [
            x0 + random.within(-spread, spread),
            y0 + random.within(-spread, spread),
        ]
    };
    let ring = |random: &mut Random, x: f64, y: f64, size: f64| {
        let corners = 3 + random.below(6);
        let mut ring: Vec<_> = (0..corners)
            .map(|corner| {
                let (turn, far) = (
                    corner as f64 / corners as f64 * std::f64::consts::TAU,
                    size * random.within(0.5, 1.0),
                );
                [x + far * turn.cos(), y + far * turn.sin()]
            })
            .collect();
        ring.push(ring[0]);
        ring
    };
    match random.below(6) {
        0 => json!({"type": "Point", "coordinates": somewhere(random)}),
        1 => {
            json!({"type": "MultiPoint", "coordinates": [somewhere(random), somewhere(random), somewhere(random)]})
        }
        2 | 3 => {
            let points: Vec<_> = (0..2 + random.below(6))
                .map(|_| somewhere(random))
                .collect();
            json!({"type": "LineString", "coordinates": points})
        }
        4 => {
            let outer = ring(random, x0, y0, spread);
            // A hole well inside the least radius of the outer ring's chords.
            let hole = ring(random, x0, y0, spread * 0.2);
            json!({"type": "Polygon", "coordinates": [outer, hole]})
        }
        _ => {
            let (one, other) = (
                ring(random, x0, y0, spread * 0.4),
                ring(random, x0 + spread, y0, spread * 0.4),
            );
            json!({"type": "MultiPolygon", "coordinates": [[one], [other]]})
        }
    }
}

fn scaled(value: &Value, by: f64) -> Value {
    match value {
        Value::Array(items) => items.iter().map(|item| scaled(item, by)).collect(),
        Value::Number(number) => json!(number.as_f64().unwrap() * by),
        other => other.clone(),
    }
}

#[test]
fn two_hundred_random_plans_as_shapely_has_them() {
    let folder = folder();
    let mut random = Random(6);
    let mut ours = Vec::new();
    for number in 0..PLANS {
        let (crs, grid, plan_crs, plan_metres) = SYSTEMS[number % SYSTEMS.len()];
        // The same neighbourhood in each system, metres.
        let start = if crs == 26917 {
            (515_000.0, 3_898_000.0)
        } else {
            (440_000.0, 165_000.0)
        };
        let corners = corners(&mut random, start);
        let features: Vec<_> = (0..12)
            .map(|_| {
                let mut shape = shape(&mut random, corners[corners.len() / 2]);
                shape["coordinates"] = scaled(&shape["coordinates"], 1.0 / plan_metres);
                json!({"type": "Feature", "properties": {"layer": "0"}, "geometry": shape})
            })
            .collect();
        let plan = json!({"type": "FeatureCollection", "features": features,
            "crs": {"type": "name", "properties": {"name": format!("urn:ogc:def:crs:EPSG::{plan_crs}")}}});
        let path = folder.path().join(format!("plan-{number}.geojson"));
        std::fs::write(&path, plan.to_string()).unwrap();
        let about = json!({"corners": corners, "grid_metres": grid, "near": NEAR, "crs": crs});
        std::fs::write(
            folder.path().join(format!("run-{number}.json")),
            about.to_string(),
        )
        .unwrap();

        let mut record = record(
            &format!("EPSG:{crs}"),
            grid,
            if number % 3 == 0 { "ft" } else { "m" },
        );
        let corners: Vec<_> = corners
            .into_iter()
            .map(|at| Corner {
                at,
                ..Corner::default()
            })
            .collect();
        record.runs = vec![run(&record, "A", &corners)];
        let (plan, site) = read(&record, &[path], &format!("near = \"{NEAR} m\""), None).unwrap();
        let unit = record.frame.unit.metres();
        let rows = crossings(&record, &plan, &site)
            .unwrap()
            .into_iter()
            .map(|row| {
                let feature: usize = row.source.rsplit(':').next().unwrap().parse().unwrap();
                (
                    feature,
                    row.meeting.word().to_owned(),
                    row.station * unit,
                    row.distance * unit,
                )
            });
        ours.push(rows.collect::<Vec<_>>());
    }
    let theirs: Vec<Vec<(usize, String, f64, f64)>> =
        serde_json::from_str(&python("crossings.py", &[folder.path()])).unwrap();
    compare(ours, theirs);
}

fn compare(ours: Vec<Vec<(usize, String, f64, f64)>>, theirs: Vec<Vec<(usize, String, f64, f64)>>) {
    assert_eq!((ours.len(), theirs.len()), (PLANS, PLANS));
    let (mut crosses, mut near, mut within, mut worst) = (0, 0, 0, 0.0_f64);
    for (number, (mut ours, mut theirs)) in ours.into_iter().zip(theirs).enumerate() {
        let order = |a: &(usize, String, f64, f64), b: &(usize, String, f64, f64)| {
            a.0.cmp(&b.0).then(a.2.total_cmp(&b.2))
        };
        ours.sort_by(order);
        theirs.sort_by(order);
        let kinds = |rows: &[(usize, String, f64, f64)]| {
            rows.iter()
                .map(|row| (row.0, row.1.clone()))
                .collect::<Vec<_>>()
        };
        assert_eq!(
            kinds(&ours),
            kinds(&theirs),
            "plan {number}:\n{ours:?}\n{theirs:?}"
        );
        for (own, other) in ours.iter().zip(&theirs) {
            let off = (own.2 - other.2).abs().max((own.3 - other.3).abs());
            assert!(off < 1e-3, "plan {number}: {own:?} {other:?}");
            worst = worst.max(off);
            match own.1.as_str() {
                "crosses" => crosses += 1,
                "near" => near += 1,
                _ => within += 1,
            }
        }
    }
    println!(
        "{PLANS} plans: {crosses} crossings, {near} near, {within} within; largest difference {worst:.1e} m"
    );
    assert!(
        crosses > 600 && near > 500 && within > 20,
        "too little to compare: {crosses} {near} {within}"
    );
}
