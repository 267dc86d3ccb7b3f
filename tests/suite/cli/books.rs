//! Workbooks as people see them: what formats show, merged cells, hidden sheets, answers given twice; each with its clean twin.

use std::fs;

use rust_xlsxwriter::{Format, Workbook, Worksheet};
use serde_json::Value;

use super::site::Site;

const JOB: [(&str, &str); 7] = [
    ("job.id", "J1"),
    ("job.supplier", "Example Survey"),
    ("job.located_on", "2026-05-14"),
    ("grid.crs", "EPSG:25832"),
    ("grid.unit", "m"),
    ("grid.height", "100 m"),
    ("equipment.axis_above_invert", "0.04 m"),
];

/// The rows of marks: six along a run, with depths of 1.5 m and more.
fn marks(heading: &str, more: impl Fn(usize) -> String) -> Vec<String> {
    let mut rows = vec![format!(
        "run,mark,counter,ground,easting,northing,depth_1,depth_2,{heading}"
    )];
    rows.extend((0..6).map(|at| {
        let (counter, east) = (5 * at, 500_000 + 5 * at);
        let depth = 1.5 + 0.1 * at as f64;
        format!(
            "A,A{},{counter},100,{east},5700010,{depth},{depth},{}",
            at + 1,
            more(at)
        )
    }));
    rows
}

/// Fills a sheet: figures as numbers, in the format that `format` gives for a heading.
fn fill<R: AsRef<str>>(
    sheet: &mut Worksheet,
    name: &str,
    rows: &[R],
    format: &dyn Fn(&str) -> Option<Format>,
) {
    sheet.set_name(name).unwrap();
    let headings: Vec<&str> = rows[0].as_ref().split(',').collect();
    for (at, row) in (0..).zip(rows) {
        for (column, cell) in (0..).zip(row.as_ref().split(',')) {
            let of_heading = headings.get(usize::from(column)).and_then(|of| format(of));
            match (cell.parse::<f64>(), of_heading.filter(|_| at > 0)) {
                _ if cell.is_empty() => continue,
                (Ok(number), Some(format)) => {
                    sheet.write_number_with_format(at, column, number, &format)
                }
                (Ok(number), None) => sheet.write_number(at, column, number),
                (Err(_), _) => sheet.write_string(at, column, cell),
            }
            .unwrap();
        }
    }
}

/// A workbook of the job in `J1.xlsx`: settings, runs, marks.
struct Book {
    site: Site,
    book: Workbook,
}

impl Book {
    fn new(
        settings: &[(&str, &str)],
        run: &str,
        marks: &[String],
        format: &dyn Fn(&str) -> Option<Format>,
    ) -> Self {
        let mut book = Workbook::new();
        let mut rows = vec!["question,answer,key".to_owned()];
        rows.extend(
            settings
                .iter()
                .map(|(key, answer)| format!(",{answer},{key}")),
        );
        fill(book.add_worksheet(), "job", &rows, &|_| None);
        let runs = ["id,diameter,wall,material,min_grade", run];
        fill(book.add_worksheet(), "runs", &runs, format);
        fill(book.add_worksheet(), "marks", marks, format);
        Self {
            site: Site::new(),
            book,
        }
    }

    fn plain(marks: &[String]) -> Self {
        Self::new(&JOB, RUN, marks, &|_| None)
    }

    fn marks(&mut self) -> &mut Worksheet {
        self.book.worksheet_from_name("marks").unwrap()
    }

    /// What `check` says.
    fn said(&mut self) -> String {
        self.book.save(self.site.at("J1.xlsx")).unwrap();
        super::out(&self.site.aslaid(&["check", "J1.xlsx"]))
    }

    /// The record.
    fn record(&mut self) -> Value {
        self.book.save(self.site.at("J1.xlsx")).unwrap();
        self.site.ends(
            0,
            &["build", "J1.xlsx", "--out", "out", "--formats", "record"],
        );
        serde_json::from_slice(&fs::read(self.site.at("out/J1/record.json")).unwrap()).unwrap()
    }
}

const RUN: &str = "A,0.1,0.003,PVC,";

fn in_format(column: &'static str, code: &'static str) -> impl Fn(&str) -> Option<Format> {
    move |heading| (heading == column).then(|| Format::new().set_num_format(code))
}

/// A figure of each mark.
fn of_marks(record: &Value, key: &str) -> Vec<f64> {
    let marks = record["marks"].as_array().unwrap().iter();
    marks.map(|mark| mark[key].as_f64().unwrap()).collect()
}

#[track_caller]
fn alike(found: &[f64], expected: &[f64]) {
    let near = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-9;
    assert!(
        found.len() == expected.len() && found.iter().zip(expected).all(near),
        "{found:?} is not {expected:?}"
    );
}

#[test]
fn a_unit_that_the_format_shows_is_the_cells_unit() {
    let lifted = |factor: f64| marks("lift", |at| (0.03 * factor * (at + 1) as f64).to_string());
    let plain = Book::plain(&lifted(1.0)).record();
    let depths = of_marks(&plain, "transmitter_depth");
    for (code, factor) in [
        ("0.0\" cm\"", 100.0),
        ("0.00\" ft\";[Red]-0.00\" ft\"", 1.0 / 0.3048),
        ("0.00\\ \\m", 1.0),
    ] {
        let mut book = Book::new(&JOB, RUN, &lifted(factor), &in_format("lift", code));
        alike(&of_marks(&book.record(), "transmitter_depth"), &depths);
    }
    // The same figures in a format that names no unit are in the job's.
    let bare = Book::new(&JOB, RUN, &lifted(100.0), &in_format("lift", "0.0")).said();
    assert!(
        bare.contains("implausible") || bare.contains("above-ground"),
        "{bare}"
    );
    // A word that is no unit is refused, not passed over.
    let said = Book::new(&JOB, RUN, &lifted(1.0), &in_format("lift", "0.0\" yd\"")).said();
    assert!(
        said.contains("\"yd\" is no unit of length that is known"),
        "{said}"
    );
}

#[test]
fn a_percent_sign_in_quotation_marks_is_part_of_the_text() {
    let rows = marks("", |_| String::new());
    let under = |run: &str, code: &'static str| {
        let mut book = Book::new(&JOB, run, &rows, &in_format("min_grade", code));
        let said = book.said();
        let grade = said.split("under the minimum of ").nth(1);
        grade.map(|rest| rest.split(" %").next().unwrap().to_owned())
    };
    assert_eq!(
        under("A,0.1,0.003,PVC,9", "0.0\"%\""),
        Some("9.0".to_owned())
    );
    assert_eq!(under("A,0.1,0.003,PVC,9", "0.0\\%"), Some("9.0".to_owned()));
    assert_eq!(
        under("A,0.1,0.003,PVC,0.09", "0.0%"),
        Some("9.0".to_owned())
    );
}

#[test]
fn a_cell_over_several_rows_counts_in_each() {
    let each = marks("lift", |_| "0.3".to_owned());
    let first = marks("lift", |at| if at == 0 { "0.3" } else { "" }.to_owned());
    let depths = of_marks(&Book::plain(&each).record(), "transmitter_depth");
    let mut book = Book::plain(&first);
    book.marks()
        .merge_range(1, 8, 6, 8, "", &Format::new())
        .unwrap();
    book.marks().write_number(1, 8, 0.3).unwrap();
    alike(&of_marks(&book.record(), "transmitter_depth"), &depths);
    let note = "merged cells (I2:I7) count in each of their rows";
    assert!(book.said().contains(note), "{}", book.said());
    // Not merged, the others have none.
    let mut open = Book::plain(&first);
    let found = of_marks(&open.record(), "transmitter_depth");
    assert!(
        (found[1] - depths[1] - 0.3).abs() < 1e-9,
        "{found:?} {depths:?}"
    );
    assert!(!open.said().contains("merged"));
}

#[test]
fn a_reading_over_two_columns_is_not_read_twice() {
    let mut rows = marks("", |_| String::new());
    rows[2] = rows[2].replace("1.6,1.6", "1.6,");
    let mut book = Book::plain(&rows);
    book.marks()
        .merge_range(2, 6, 2, 7, "", &Format::new())
        .unwrap();
    book.marks().write_number(2, 6, 1.6).unwrap();
    let said = book.said();
    assert!(said.contains("depth-single"), "{said}");
    assert!(
        said.contains("merged cells (G3:H3) count in their first column only"),
        "{said}"
    );
    let clean = Book::plain(&marks("", |_| String::new())).said();
    assert!(
        !clean.contains("depth-single") && !clean.contains("merged"),
        "{clean}"
    );
}

#[test]
fn a_hidden_sheet_is_named() {
    let rows = marks("", |_| String::new());
    let mut book = Book::plain(&rows);
    assert!(!book.said().contains("hidden"));
    for name in ["job", "runs"] {
        book.book
            .worksheet_from_name("marks")
            .unwrap()
            .set_active(true);
        book.book
            .worksheet_from_name(name)
            .unwrap()
            .set_hidden(true);
        let said = book.said();
        let note = format!("J1.xlsx!{name}: the sheet is hidden, and is read like the others");
        assert!(said.contains(&note), "{said}");
    }
}

#[test]
fn a_setting_that_is_answered_twice_is_refused() {
    let rows = marks("", |_| String::new());
    let twice: Vec<(&str, &str)> = JOB.into_iter().chain([("grid.unit", "us-ft")]).collect();
    let said = Book::new(&twice, RUN, &rows, &|_| None).said();
    let line = said.lines().find(|line| line.contains("answered twice"));
    let line = line.unwrap_or_else(|| panic!("{said}"));
    assert!(
        line.contains("error") && line.contains("duplicate"),
        "{line}"
    );
    assert!(
        line.contains("J1.xlsx!job:9") && line.contains("\"m\" in row 6"),
        "{line}"
    );
    assert!(!Book::plain(&rows).said().contains("twice"));
}

#[test]
fn names_that_begin_with_a_number_sign_are_not_lost_in_silence() {
    let turn = |name: &str| -> Vec<String> {
        let rows = marks("", |_| String::new());
        let swapped = rows.iter().map(|row| {
            let cells: Vec<&str> = row.split(',').collect();
            format!("{},{},{}", cells[1], cells[0], cells[2..].join(","))
        });
        swapped
            .map(|row| {
                row.replacen("A1,", name, 1)
                    .replacen("A2,", "#2,", usize::from(name == "#1,"))
            })
            .collect()
    };
    let said = Book::plain(&turn("#1,")).said();
    assert!(said.contains("4 marks"), "{said}");
    let line = said.lines().find(|line| line.contains("begin with #"));
    let line = line.unwrap_or_else(|| panic!("{said}"));
    assert!(
        line.contains("warning unreadable") && line.contains("rows 2, 3"),
        "{line}"
    );
    let clean = Book::plain(&turn("A1,")).said();
    assert!(
        clean.contains("6 marks") && !clean.contains("with #"),
        "{clean}"
    );
}
