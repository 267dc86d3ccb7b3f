//! Writes a field book as a job folder: text files, lengths in the many ways in which people write them.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use super::book::{Book, Cell, Row};
use super::projection::US_SURVEY_FOOT;
use super::scenario::Unit;

const FOOT: f64 = 0.3048;

/// Writes the folder.
///
/// # Panics
/// Where the folder can't be written.
pub fn write(book: &Book, folder: &Path) {
    fs::create_dir_all(folder).expect("the job's folder can be made");
    let put = |name: &str, text: &[u8]| {
        fs::write(folder.join(name), text).expect("the job can be written");
    };
    put("job.toml", head(book).as_bytes());
    let tables = [
        ("control.csv", &book.control),
        ("marks.csv", &book.marks),
        ("measures.csv", &book.measures),
        ("camera.csv", &book.camera),
        ("levels.csv", &book.levels),
        ("pushes.csv", &book.pushes),
    ];
    for (name, rows) in tables {
        if !rows.is_empty() {
            put(name, &table(rows, book));
        }
    }
    if !book.log.is_empty() {
        put("receiver.nmea", (book.log.join("\r\n") + "\r\n").as_bytes());
    }
}

fn head(book: &Book) -> String {
    let unit = match book.unit {
        Unit::Metre => "m",
        Unit::Foot => "ft",
        Unit::UsSurveyFoot => "us-ft",
    };
    let mut text = format!(
        "[job]\nid = \"{}\"\nsupplier = \"simulated\"\ntitle = \"Simulated lateral\"\nlocated_on = 2026-04-21\n\
         [grid]\ncrs = \"{}\"\nunit = \"{unit}\"\nvertical = \"local\"\n",
        book.id, book.crs.code
    );
    if book.crs.code != "local" {
        let _ = write!(
            text,
            "height = \"{} m\"\ngeoid_separation = \"{} m\"\ndeclination = \"{}\"\n",
            book.height, book.crs.separation, book.declination
        );
    }
    let _ = write!(
        text,
        "[equipment]\nlens_to_transmitter = \"{} m\"\naxis_above_invert = \"{} m\"\nsensor_height = \"{} m\"\n\
         antenna_height = \"{} m\"\nsignal_is_linear = {}\n",
        book.lens, book.axis, book.sensor_height, book.antenna, book.linear
    );
    for run in &book.runs {
        let pushed = if run.upstream {
            "upstream"
        } else {
            "downstream"
        };
        let _ = write!(
            text,
            "[[run]]\nid = \"{}\"\ndiameter = \"0.1 m\"\nwall = \"3 mm\"\nmaterial = \"PVC\"\npushed = \"{pushed}\"\n\
             system = \"sanitary\"\nfrom = \"house\"\nto = \"main\"\n",
            run.id
        );
        if let Some(main) = &run.joins {
            let _ = writeln!(text, "joins = \"{main}\"");
        }
    }
    text
}

fn table(rows: &[Row], book: &Book) -> Vec<u8> {
    let mut columns: Vec<&str> = Vec::new();
    for (column, _) in rows.iter().flat_map(|row| &row.0) {
        if !columns.contains(&column.as_str()) {
            columns.push(column);
        }
    }
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer
        .write_record(&columns)
        .expect("memory can be written");
    for (i, row) in rows.iter().enumerate() {
        let cells = columns
            .iter()
            .enumerate()
            .map(|(j, column)| row.get(column).map(|cell| text(cell, book, i + j)));
        writer
            .write_record(cells.map(Option::unwrap_or_default))
            .expect("memory can be written");
    }
    writer.into_inner().expect("memory can be written")
}

/// One cell; `turn` goes through the ways of writing it.
fn text(cell: &Cell, book: &Book, turn: usize) -> String {
    match *cell {
        Cell::Text(ref text) => text.clone(),
        Cell::Length(metres) => length(metres, book, turn),
        Cell::Staff(metres) => format!("{:.4}", in_unit(metres, book)),
        Cell::Grid(metres) if book.exact => format!("{:.9}", metres / book.crs.unit),
        Cell::Grid(metres) => format!("{:.4}", metres / book.crs.unit),
        Cell::Angle(radians) if book.exact => format!("{:.12}", radians.to_degrees()),
        Cell::Angle(radians) if turn % 2 == 1 && radians > 0.0 => degrees_minutes_seconds(radians),
        Cell::Angle(radians) => format!("{:.4}", radians.to_degrees()),
        Cell::Geographic(radians) => format!("{:.11}", radians.to_degrees()),
    }
}

fn in_unit(metres: f64, book: &Book) -> f64 {
    match book.unit {
        Unit::Metre => metres,
        Unit::Foot => metres / FOOT,
        Unit::UsSurveyFoot => metres / US_SURVEY_FOOT,
    }
}

fn length(metres: f64, book: &Book, turn: usize) -> String {
    let in_unit = in_unit(metres, book);
    match (book.unit, turn % 4) {
        _ if book.exact => format!("{in_unit:.9}"),
        (_, 3) => format!("{metres:.3} m"),
        (Unit::Metre, 2) => format!("{:.1} cm", 100.0 * metres),
        (Unit::Foot, form @ 1..=2) if metres >= 0.0 => feet_inches(metres, form == 1),
        _ => format!("{in_unit:.3}"),
    }
}

/// `12' 6 1/8"`, or `12-6 1/8`, to the nearest eighth of an inch.
fn feet_inches(metres: f64, marked: bool) -> String {
    let eighths = (metres / FOOT * 96.0).round() as u64;
    let (feet, inches, eighths) = (eighths / 96, eighths % 96 / 8, eighths % 8);
    let fraction = if eighths == 0 {
        String::new()
    } else {
        format!(" {eighths}/8")
    };
    if marked {
        format!("{feet}' {inches}{fraction}\"")
    } else {
        format!("{feet}-{inches}{fraction}")
    }
}

/// `123°45'06.0"`.
fn degrees_minutes_seconds(radians: f64) -> String {
    let tenths = (radians.to_degrees() * 36_000.0).round() as u64;
    let (degrees, minutes, tenths) = (tenths / 36_000, tenths % 36_000 / 600, tenths % 600);
    format!("{degrees}°{minutes:02}'{:04.1}\"", tenths as f64 / 10.0)
}

#[cfg(test)]
mod tests {
    use super::{degrees_minutes_seconds, feet_inches};

    #[test]
    fn feet_inches_and_seconds_are_rounded_as_a_whole() {
        assert_eq!(feet_inches(12.5 * 0.3048, true), "12' 6\"");
        assert_eq!(feet_inches((12.0 + 6.5 / 12.0) * 0.3048, false), "12-6 4/8");
        assert_eq!(feet_inches(0.9999 * 0.3048, true), "1' 0\"");
        assert_eq!(
            degrees_minutes_seconds(123.751_666_666_f64.to_radians()),
            "123°45'06.0\""
        );
        assert_eq!(
            degrees_minutes_seconds(59.999_999_9_f64.to_radians()),
            "60°00'00.0\""
        );
    }
}
