//! The files of an empty job folder.

use std::fmt::Write as _;

use super::headings;
use crate::job::schema::{Column, Form, TableSpec, run, sections};
use crate::limits::{Accuracy, Limits, Quantity, Setting};

/// `job.toml` with every key: answered where there is an example, else as a comment.
pub fn job_toml() -> String {
    let mut text = String::from(
        "# Fill in what you know and delete the rest. Lengths can carry their unit: \"3.81 m\", \"12' 6 1/2\\\"\".\n",
    );
    for section in sections() {
        // Writing to a String can't fail.
        let _ = write!(text, "\n# {}\n", section.meaning);
        let commented = matches!(section.name, "run_default");
        let _ = writeln!(
            text,
            "{}[{}]",
            if commented { "# " } else { "" },
            section.name
        );
        for column in section.columns {
            line(&mut text, section.name, column, commented);
        }
    }
    let _ = write!(
        text,
        "\n# {} Or one row each in runs.csv, as here.\n# [[run]]\n",
        run::TABLE.meaning
    );
    for column in run::TABLE.columns {
        line(&mut text, "run", column, true);
    }
    text
}

fn line(text: &mut String, section: &str, column: &Column, commented: bool) {
    let setting =
        |settings: &'static [Setting]| settings.iter().find(|setting| setting.name == column.name);
    let value = match section {
        "accuracy" => setting(Accuracy::SETTINGS)
            .map(|setting| default_text(setting, Accuracy::default().get(setting.name))),
        "limits" => setting(Limits::SETTINGS)
            .map(|setting| default_text(setting, Limits::default().get(setting.name))),
        _ => None,
    };
    let open = value.is_none() && !column.example.is_empty() && !commented;
    let value = value.unwrap_or_else(|| literal(column));
    let _ = writeln!(
        text,
        "{}{} = {value}  # {}",
        if open { "" } else { "# " },
        column.name,
        column.meaning
    );
}

/// The example as TOML has it.
fn literal(column: &Column) -> String {
    match (column.form, column.example) {
        (Form::Names, "") => "[]".to_owned(),
        (Form::YesNo, example) => (example == "yes").to_string(),
        (_, "") => "\"\"".to_owned(),
        (Form::Count | Form::Date, example) => example.to_owned(),
        (_, example) => format!("\"{}\"", example.replace('\\', "\\\\").replace('"', "\\\"")),
    }
}

/// The default of a setting as TOML has it.
fn default_text(setting: &Setting, value: Option<f64>) -> String {
    let value = value.filter(|value| value.is_finite());
    match (setting.quantity, value) {
        (_, None) => "\"\"".to_owned(),
        (Quantity::Length, Some(value)) => format!("\"{value} m\""),
        (Quantity::Angle, Some(value)) => format!("{}", (value.to_degrees() * 1e9).round() / 1e9),
        (Quantity::Number, Some(value)) => format!("{value}"),
    }
}

/// A table's file: its heading and the worked row.
pub fn csv(spec: &TableSpec) -> String {
    let headings = headings(spec);
    let names: Vec<&str> = headings.iter().map(|(name, _)| name.as_str()).collect();
    let cells: Vec<String> = headings
        .iter()
        .map(|(_, column)| {
            if column.example.contains(['"', ',']) {
                format!("\"{}\"", column.example.replace('"', "\"\""))
            } else {
                column.example.to_owned()
            }
        })
        .collect();
    format!("{}\n{}\n", names.join(","), cells.join(","))
}
