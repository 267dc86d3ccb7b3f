//! What a job gives is found again in its record, whether or not a figure rests on it.

use std::fs;
use std::path::Path;

use aslaid::pipeline::{Options, run};
use aslaid::record::AsBuilt;
use aslaid::record::model::Fix;
use serde_json::{Value, json};

const HEADING: &str = "run,push,mark,role,counter,baseline,station,offset,latitude,longitude,fix,sigma_v,pole,depth_1,depth_2,lift,attitude,found_by,\
signal,signal_ahead,signal_behind,signal_left,signal_right,signal_step,peak_checked\n";

fn record(
    folder: &Path,
    settings: &str,
    run_keys: &str,
    rows: &str,
    further: &[(&str, &str)],
) -> AsBuilt {
    let write = |name: &str, text: &str| fs::write(folder.join(name), text).unwrap();
    write(
        "job.toml",
        &format!(
            "[job]\nid = \"L\"\n[grid]\ncrs = \"EPSG:25832\"\nunit = \"m\"\nheight = \"30 m\"\n{settings}[[run]]\nid = \"A\"\ndiameter = \"100 mm\"\n{run_keys}"
        ),
    );
    write(
        "control.csv",
        "point,easting,northing,elevation,sigma_v\nP1,690000,5700000,30,0.004\nP2,690030,5700000,,\n",
    );
    write("marks.csv", &format!("{HEADING}{rows}"));
    for (name, text) in further {
        write(name, text);
    }
    let outcome = run(folder, &Options::default()).unwrap();
    let record = outcome.record.unwrap();
    let errors: Vec<_> = outcome
        .findings
        .iter()
        .filter(|finding| finding.level == aslaid::findings::Level::Error)
        .collect();
    assert!(errors.is_empty(), "{errors:?}");
    // Written, read and written again it is the same.
    let text = serde_json::to_string(&record).unwrap();
    let again: AsBuilt = serde_json::from_str(&text).unwrap();
    assert_eq!(serde_json::to_string(&again).unwrap(), text);
    record
}

const PLAIN: &str =
    "A,,A1,,1,P1>P2,5,0,,,,,,1.2,1.2,,,,,,,,,,\nA,,A2,,11,P1>P2,15,0,,,,,,1.3,1.3,,,,,,,,,,\n";

#[test]
fn what_is_given_beside_the_figures_is_in_the_record() {
    let folder = tempfile::tempdir().unwrap();
    let rows = "A,U,A1,,1,P1>P2,5,0,51.419321,11.732729,rtk,0.03,1.8,1.4,1.4,0.2,tilted,peak,60,40,41,50,51,0.5,yes\n\
                A,U,A1,end_ahead,,P1>P2,6,0,51.419321,11.732744,float,,1.9,,,,,,,,,,,,\n\
                A,U,A2,,11,P1>P2,15,0,,,,,,1.3,1.3,,,,,,,,,,\n";
    let record = record(
        folder.path(),
        "taped = \"slope\"\ndistances = \"grid\"\n[equipment]\nsensor_height = \"50 mm\"\nantenna_height = \"2 m\"\nsignal_is_linear = true\n",
        "min_grade = \"2 %\"\naxis_above_invert = \"40 mm\"\n",
        rows,
        &[
            (
                "pushes.csv",
                "push,run,pushed,counter_at_start,start,note\nU,A,downstream,0.4,A1,rod slipped once\n",
            ),
            (
                "measures.csv",
                "kind,from,to,value,note\ndistance,P1,A2,15,taped over a hedge\n",
            ),
        ],
    );
    let value = serde_json::to_value(&record).unwrap();
    assert_eq!(
        (&value["frame"]["taped"], &value["frame"]["distances"]),
        (&json!("slope"), &json!("grid"))
    );
    let equipment = &value["equipment"];
    assert_eq!(
        [
            &equipment["sensor_height"],
            &equipment["antenna_height"],
            &equipment["signal_is_linear"]
        ],
        [&json!(0.05), &json!(2.0), &json!(true)]
    );
    let of_run = &value["runs"][0];
    assert_eq!(
        [&of_run["min_grade"], &of_run["axis_above_invert"]],
        [&json!(2.0), &json!(0.04)]
    );
    assert!(of_run.get("min_grade_from").is_none());
    assert_eq!(
        value["pushes"],
        json!([{"push": "U", "run": "A", "pushed": "downstream", "counter_at_start": 0.4, "start": "A1", "source": "pushes.csv:2"}])
    );
    for (source, text) in [
        ("pushes.csv:2", "rod slipped once"),
        ("measures.csv:2", "taped over a hedge"),
    ] {
        let noted = record
            .notes
            .iter()
            .any(|note| note.source.as_deref() == Some(source) && note.text == text);
        assert!(noted, "{source}: {:?}", record.notes);
    }
    let mark = record.marks.iter().find(|mark| mark.mark == "A1").unwrap();
    assert_eq!(mark.fix, Some(Fix::Rtk));
    assert_eq!(
        serde_json::to_value(&mark.entered).unwrap(),
        json!({
            "sigma_v": 0.03, "pole": 1.8, "lift": 0.2, "attitude": "tilted", "found_by": "peak", "peak_checked": true, "signal": 60.0,
            "signal_ahead": 40.0, "signal_behind": 41.0, "signal_left": 50.0, "signal_right": 51.0, "signal_step": 0.5
        })
    );
    assert_eq!(
        serde_json::to_value(&mark.further).unwrap(),
        json!([{"source": "marks.csv:3", "fix": "float", "entered": {"pole": 1.9}}])
    );
    assert_eq!(record.references[0].sigma_v, Some(0.004));
}

#[test]
fn what_is_not_given_leaves_no_trace() {
    let folder = tempfile::tempdir().unwrap();
    let record = record(folder.path(), "", "", PLAIN, &[]);
    let text = serde_json::to_string(&record).unwrap();
    for key in [
        "taped",
        "sensor_height",
        "antenna_height",
        "signal_is_linear",
        "min_grade",
        "axis_above_invert",
        "pushes",
        "fix",
        "entered",
        "further",
    ] {
        assert!(!text.contains(&format!("\"{key}\":")), "{key}");
    }
    assert!(!text.contains("\"distances\":\""), "how lengths are taken");
}

#[test]
fn a_least_grade_from_a_table_names_it() {
    let folder = tempfile::tempdir().unwrap();
    let record = record(folder.path(), "", "min_grade = \"IPC 704.1\"\n", PLAIN, &[]);
    let of_run = &record.runs[0];
    assert_eq!(of_run.min_grade_from.as_deref(), Some("IPC 704.1"));
    assert!((of_run.min_grade.unwrap() - 100.0 / 96.0).abs() < 1e-9);
}

#[test]
fn a_figure_of_the_jobs_own_is_not_called_our_choice() {
    let folder = tempfile::tempdir().unwrap();
    let record = record(
        folder.path(),
        "[accuracy]\ntape = \"20 mm\"\n[limits]\nmin_cover = \"0.6 m\"\n",
        "",
        PLAIN,
        &[],
    );
    for setting in record.sigmas.iter().chain(&record.limits) {
        let own = ["tape", "min_cover"].contains(&setting.name.as_str());
        assert_eq!(
            (setting.given, setting.source == "the job"),
            (own, own),
            "{setting:?}"
        );
    }
    let value: Value = serde_json::to_value(&record).unwrap();
    assert_eq!(value["sigmas"][0]["source"], "the job");
}
