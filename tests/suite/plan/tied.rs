//! A plan in ground coordinates of its own, tied by common points.

use aslaid::plan::crossing::crossings;
use aslaid::plan::tie::{Common, Tie};
use aslaid::units::FOOT;

use super::support::{Corner, Random, US_FOOT, folder, lines, read, record, run};

const START: (f64, f64) = (440_000.0, 165_000.0);

/// From the job's grid (metres) to a plan in feet, turned by 37° and scaled by 0.99985 about a point of its own.
fn to_plan((e, n): (f64, f64)) -> (f64, f64) {
    let (sin, cos) = 37.0_f64.to_radians().sin_cos();
    let (x, y) = (e - START.0, n - START.1);
    let scale = 1.0 / (0.99985 * FOOT);
    (
        5000.0 + scale * (cos * x - sin * y),
        10_000.0 + scale * (sin * x + cos * y),
    )
}

/// Common points of different worth: each weighs as much as it is worth, none is called wrong, and places come over within what is said.
#[test]
fn coarse_and_fine_points_together_tie_a_plan_to_what_they_are_worth() {
    let mut random = Random(71);
    let (jobs, mut refused, mut blamed, mut inside) = (400, 0, 0, 0);
    for _ in 0..jobs {
        let sigmas = [0.01, 0.01, 0.01, 0.01, 0.3];
        let points: Vec<Common> = sigmas
            .into_iter()
            .enumerate()
            .map(|(number, sigma)| {
                let grid = (
                    START.0 + random.within(-60.0, 60.0),
                    START.1 + random.within(-60.0, 60.0),
                );
                Common {
                    point: format!("T{number}"),
                    plan: to_plan(grid),
                    grid: (
                        grid.0 + sigma * random.normal(),
                        grid.1 + sigma * random.normal(),
                    ),
                    sigma,
                    source: String::new(),
                }
            })
            .collect();
        let Ok(tie) = Tie::fit(&points) else {
            refused += 1;
            continue;
        };
        blamed += usize::from(tie.used() < points.len());
        let grid = (START.0 + 10.0, START.1 - 5.0);
        let plan = to_plan(grid);
        let found = tie.similarity.apply(plan);
        inside += usize::from((found.0 - grid.0).abs() <= 1.96 * tie.sigma_at(plan));
    }
    println!("of {jobs}: {refused} refused, {blamed} with a point left out, {inside} inside");
    // Five tests of one in a thousand each; 95 %.
    assert!(refused <= 1 && blamed <= 8, "{refused} {blamed}");
    assert!((370..=392).contains(&inside), "{inside}");
}

#[test]
fn a_turned_plan_with_one_wrong_point_of_five_comes_right_and_names_it() {
    let folder = folder();
    let mut record = record("EPSG:2264", US_FOOT, "us-ft");
    let corner = |east: f64| Corner {
        at: (START.0 + east, START.1),
        ..Corner::default()
    };
    record.runs = vec![run(&record, "A", &[corner(0.0), corner(20.0)])];
    let places = [
        (-10.0, -12.0),
        (45.0, -8.0),
        (50.0, 40.0),
        (-5.0, 38.0),
        (20.0, 15.0),
    ];
    let mut table = String::from("Point,Plan X,Plan Y,Easting,Northing\n");
    for (number, (east, north)) in places.into_iter().enumerate() {
        let grid = (START.0 + east, START.1 + north);
        let plan = to_plan(grid);
        let wrong = if number == 3 { 0.3 * FOOT } else { 0.0 };
        table += &format!(
            "T{number},{:.6},{:.6},{:.6},{:.6}\n",
            plan.0,
            plan.1,
            (grid.0 + wrong) / US_FOOT,
            grid.1 / US_FOOT
        );
    }
    let tie = Tie::parse(&table, "tie.csv", &record).unwrap();
    let wrong: Vec<_> = tie.points.iter().filter(|point| !point.used).collect();
    assert_eq!(wrong.len(), 1);
    assert_eq!(
        (
            wrong[0].common.point.as_str(),
            wrong[0].common.source.as_str()
        ),
        ("T3", "tie.csv:5")
    );
    assert!(
        (wrong[0].residual.0 + 0.3 * FOOT).abs() < 1e-3,
        "{:?}",
        wrong[0].residual
    );
    assert!((tie.similarity.scale() - 0.99985 * FOOT).abs() < 1e-8);
    assert!(
        (tie.similarity.rotation().to_degrees() - 37.0).abs() < 1e-4,
        "{}",
        tie.words()
    );
    assert!(
        tie.words().contains("T3 0.091 m (wrong: left out)"),
        "{}",
        tie.words()
    );

    let path = folder.path().join("plan.geojson");
    let across = [
        (START.0 + 8.0, START.1 - 5.0),
        (START.0 + 8.0, START.1 + 5.0),
    ];
    lines(&path, None, &[("boundary", across.map(to_plan).to_vec())]);
    let (plan, site) = read(&record, &[path], "", Some(&tie)).unwrap();
    let rows = crossings(&record, &plan, &site).unwrap();
    assert!(
        (rows[0].station * US_FOOT - 8.0).abs() < 1e-3,
        "{}",
        rows[0].station
    );
    // One centimetre a point and coordinate, four points: half of that at their middle, more away from it.
    assert!(
        (0.005..0.0075).contains(&plan.features[0].sigma_at((START.0 + 8.0, START.1))),
        "{}",
        plan.features[0].sigma_at((START.0 + 8.0, START.1))
    );
    let away = plan.features[0].sigma_at((START.0 + 508.0, START.1));
    assert!(away > 0.05, "{away}");
    let (x, y) = tie.back((START.0 + 8.0, START.1));
    let own = to_plan((START.0 + 8.0, START.1));
    assert!((x - own.0).hypot(y - own.1) < 1e-3);
}

#[test]
fn points_can_be_the_jobs_own_by_name_and_errors_name_the_row() {
    let mut record = record("EPSG:2264", US_FOOT, "us-ft");
    record.references = ["A", "B", "C"]
        .iter()
        .zip([(0.0, 0.0), (30.0, 0.0), (0.0, 40.0)])
        .map(|(name, (x, y))| {
            serde_json::from_value(serde_json::json!({"id": name, "point": name, "easting": 1000.0 + x, "northing": 2000.0 + y,
                "solved": false, "permanent": true}))
            .unwrap()
        })
        .collect();
    let tie = Tie::parse(
        "point,plan_x,plan_y\nA,0,0\nB,30,0\nC,0,40\n",
        "t.csv",
        &record,
    )
    .unwrap();
    assert!((tie.similarity.scale() - US_FOOT).abs() < 1e-12);
    for (text, says) in [
        ("point,x,y\n", "`plan_x` is missing"),
        (
            "point,plan_x,plan_y\nA,0,0\nD,1,1\n",
            "row 3: D has no easting",
        ),
        ("point,plan_x,plan_y\nA,0,north\n", "row 2: `plan_y`"),
        (
            "point,plan_x,plan_y,easting,northing\nA,0,0,5,\n",
            "go together",
        ),
        ("point,plan_x,plan_y,sigma\nA,0,0,0\n", "more than 0"),
        ("point,plan_x,plan_y\nA,0,0\nB,30,0\n", "three or more"),
        (
            "point,plan_x,plan_y\nA,0,0\nB,30,0\nC,0,44\n",
            "which of them is wrong",
        ),
    ] {
        let error = Tie::parse(text, "t.csv", &record).unwrap_err().to_string();
        assert!(
            error.contains(says) && error.contains("t.csv"),
            "{text}: {error}"
        );
    }
}
