//! Somebody else's field names, in every table-shaped format.

use std::path::Path;

use aslaid::export::View;
use aslaid::export::deliver::{Delivery, deliver};
use aslaid::export::fields::Fields;
use aslaid::export::select;
use serde_json::Value;

use super::common::sample;
use super::{here, python};

fn read(name: &str) -> Fields {
    Fields::read(&here("fixtures/fields").join(name)).unwrap()
}

fn error(text: &str) -> String {
    let record = sample();
    let fields = Fields::parse(Path::new("f.toml"), text).unwrap();
    View::with_fields(&record, &fields).unwrap_err().to_string()
}

#[test]
fn the_city_gets_its_columns_in_every_format() {
    let root = tempfile::tempdir().unwrap();
    let fields = read("riverbend.toml");
    let delivery = Delivery {
        sheet: &aslaid::sheet::SheetOptions::default(),
        id: "LAT-2031",
        record: Some(sample()),
        file: None,
        findings: &[],
        corrections: None,
        formats: &select(&[]).unwrap(),
        fields: Some(&fields),
    };
    let folder = deliver(root.path(), delivery).unwrap().folder;
    let script = here("tests/suite/readback/fields.py");
    let said = python(&[script.to_str().unwrap(), folder.to_str().unwrap()]);
    assert!(said.contains("cells equal"), "{said}");
    println!("{said}");
}

#[test]
fn the_names_of_inspire_are_written() {
    let mut record = sample();
    record.marks[0].fitting = Some("cleanout".to_owned());
    record.runs[0]
        .texts
        .insert("status".to_owned(), "abandoned".to_owned());
    let fields = read("inspire-sewer.toml");
    let view = View::with_fields(&record, &fields).unwrap();
    let cell = |table: &str, row: usize, name: &str| {
        let table = view.table(table).unwrap();
        let column = table
            .columns
            .iter()
            .find(|column| column.name == name)
            .unwrap();
        column
            .value(table.rows(&record).nth(row).unwrap())
            .text()
            .into_owned()
    };
    assert_eq!(cell("run", 0, "sewerWaterType"), "sanitary");
    assert_eq!(cell("run", 0, "currentStatus"), "disused");
    assert_eq!(cell("run", 1, "currentStatus"), "");
    assert_eq!(cell("run", 0, "pipeDiameter"), "0.102");
    assert_eq!(cell("run", 0, "verticalPosition"), "underground");
    assert_eq!(cell("mark", 0, "appurtenanceType"), "cleanOut");
    assert_eq!(cell("mark", 1, "appurtenanceType"), "sewerNode");
    assert_eq!(cell("mark", 2, "appurtenanceType"), "");
}

#[test]
fn what_the_record_can_not_give_is_said_with_its_line() {
    for (text, expected) in [
        (
            "[mark]\n[[mark.column]]\nfrom = \"inspectr\"\n",
            "line 2: `mark` has no column \"inspectr\"",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"material\"\nvalues = { VCP = 7 }\n",
            "line 2: \"material\" of Invented Locating/LAT-2031/A: \"PVC\" is not among `values`",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"material\"\ntype = \"integer\"\n",
            "line 2: \"material\" of Invented Locating/LAT-2031/A: \"PVC\" is not a whole number",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"material\"\nunit = \"m\"\n",
            "line 2: \"material\" is no length",
        ),
        (
            "[run]\nothers = \"keep\"\n[[run.column]]\nfrom = \"length\"\nunit = \"ft\"\n",
            "line 3: \"length\" is converted, but the column `unit`",
        ),
        (
            "[run]\nothers = \"keep\"\n[[run.column]]\nfrom = \"length\"\nname = \"Fall\"\n",
            "line 3: `run` keeps its own column \"fall\"",
        ),
        (
            "[run]\n[[run.column]]\nfrom = \"marks\"\nname = \"note\"\n",
            "line 2: `run` and `mark` both have a column \"note\"",
        ),
    ] {
        let error = error(text);
        assert!(
            error.starts_with(&format!("f.toml: {expected}")),
            "{text}\n{error}"
        );
    }
}

#[test]
fn a_length_in_the_records_own_unit_may_stand_beside_its_unit() {
    let record = sample();
    let text =
        "[run]\nothers = \"keep\"\n[[run.column]]\nfrom = \"length\"\nunit = \"m\"\ndecimals = 1\n";
    let fields = Fields::parse(Path::new("f.toml"), text).unwrap();
    let view = View::with_fields(&record, &fields).unwrap();
    let table = view.table("run").unwrap();
    assert_eq!(table.columns[0].name, "length");
    let ours = View::new(&record).table("run").unwrap().columns.len();
    assert_eq!(table.columns.len(), ours);
    let row = table.rows(&record).next().unwrap();
    assert_eq!(table.columns[0].value(row).text(), "20.6");
}

#[test]
fn the_schema_takes_the_examples_and_refuses_a_wrong_one() {
    let schema = aslaid::export::fields::schema();
    let validator = jsonschema::validator_for(&schema).unwrap();
    for name in ["riverbend.toml", "inspire-sewer.toml"] {
        let text = std::fs::read_to_string(here("fixtures/fields").join(name)).unwrap();
        let json: Value =
            serde_json::to_value(toml::from_str::<toml::Table>(&text).unwrap()).unwrap();
        let errors: Vec<String> = validator
            .iter_errors(&json)
            .map(|error| error.to_string())
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:?}");
    }
    for wrong in [
        serde_json::json!({"pipe": {}}),
        serde_json::json!({"run": {"column": [{"from": "id", "unit": "yard"}]}}),
        serde_json::json!({"run": {"column": [{"from": "id", "colour": 1}]}}),
    ] {
        assert!(!validator.is_valid(&wrong), "{wrong}");
    }
}

#[test]
fn a_draft_is_marked_whatever_the_file_drops() {
    let record = super::common::draft();
    let text = "[mark]\n[[mark.column]]\nfrom = \"mark\"\n";
    let fields = Fields::parse(Path::new("f.toml"), text).unwrap();
    let view = View::with_fields(&record, &fields).unwrap();
    let names: Vec<&str> = view
        .table("mark")
        .unwrap()
        .columns
        .iter()
        .map(|column| column.name.as_str())
        .collect();
    assert_eq!(names, ["mark", "draft"]);
}
