//! The values of the settings: metres and radians, with the defaults where a key is left out.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::findings::{Code, Finding};
use crate::job::model::{Equipment, Grid, Head, Source};
use crate::job::points::{Points, names};
use crate::job::row::{Row, Tally, quoted, rows};
use crate::job::rows::{AXIS, POLE};
use crate::job::schema::{Cell, Typing, equipment, grid, head, id, layers, points, publish};
use crate::job::table::{Sheet, normal};
use crate::limits::{Accuracy, Limits, Quantity, Setting};
use crate::units::{LengthUnit, parse_date};

/// Every setting of the job but its runs.
pub struct Settings {
    /// `[job]`.
    pub head: Head,
    /// `[grid]`.
    pub grid: Grid,
    /// `[equipment]`.
    pub equipment: Equipment,
    /// `[accuracy]`.
    pub accuracy: Accuracy,
    /// `[limits]`.
    pub limits: Limits,
    /// `[publish] columns`.
    pub publish: Vec<String>,
    /// `[points]`.
    pub points: Points,
    /// `[layers]`.
    pub layers: BTreeMap<String, String>,
    /// How plain figures of the tables are meant.
    pub typing: Typing,
    /// Unit and coordinate system are known, so that the tables mean something.
    pub usable: bool,
}

/// Metres in the unit of a coordinate system, or why it is not known.
pub type CrsUnit<'a> = &'a (dyn Fn(&str) -> Result<f64, String> + Sync);

/// Reads the sections; `file` is where a missing key is missed.
pub fn read(
    sheets: &[Sheet],
    file: &Arc<str>,
    crs_unit: CrsUnit<'_>,
    tally: &mut Tally,
) -> Settings {
    let of = |name: &str| sheets.iter().find(|sheet| sheet.spec.name == name);
    let unit = of("grid").and_then(unit_of);
    // Without a unit the tables are still read for what is wrong with them; feet take the most forms.
    let typing = Typing::plain(unit.unwrap_or(LengthUnit::Foot));
    let mut settings = Settings {
        head: Head::default(),
        grid: blank_grid(unit.unwrap_or(LengthUnit::Foot)),
        equipment: Equipment::default(),
        accuracy: Accuracy::default(),
        limits: Limits::default(),
        publish: Vec::new(),
        points: Points::default(),
        layers: BTreeMap::new(),
        typing,
        usable: unit.is_some(),
    };
    // Runs are read with the tables.
    for sheet in sheets
        .iter()
        .filter(|sheet| !matches!(sheet.spec.name, "runs" | "run_default"))
    {
        rows(sheet, typing, tally, |row, _| {
            section(row, sheet.spec.name, &mut settings, crs_unit);
        });
    }
    for (spec, column) in [
        (&head::TABLE, head::ID),
        (&grid::TABLE, grid::CRS),
        (&grid::TABLE, grid::UNIT),
    ] {
        let answer = of(spec.name).and_then(|sheet| answer(sheet, column));
        let given = matches!(answer, Some((_, true)));
        if let Some(column) = spec.columns.get(column).filter(|_| !given) {
            let source = Source {
                file: Arc::clone(file),
                row: answer.map_or(0, |(line, _)| line),
            };
            let message = format!(
                "{source}: [{}] {} is {}. Accepted: {}",
                spec.name,
                column.name,
                if answer.is_some() { "blank" } else { "missing" },
                column.form.accepted()
            );
            tally.findings.push(
                Finding::new(Code::Unreadable, message)
                    .at(&source)
                    .column(column.name),
            );
            settings.usable &= spec.name == "job";
        }
    }
    let day = settings.head.located_on.as_deref();
    settings.typing.day = day.and_then(|day| parse_date(day).ok());
    settings
}

/// Where a setting stands, if it does, and whether anything is in it.
fn answer(sheet: &Sheet, column: usize) -> Option<(u32, bool)> {
    let place = sheet.layout.places.get(column).copied().flatten()?;
    let row = sheet.layout.heading? + 1;
    let table = &sheet.table;
    Some((
        table.cell_line(row, place),
        !table.cell(row, place).is_empty(),
    ))
}

/// Reads one section.
fn section(row: &mut Row<'_>, name: &str, settings: &mut Settings, crs_unit: CrsUnit<'_>) {
    match name {
        "job" => settings.head = read_head(row),
        "grid" => {
            settings.grid = read_grid(row, settings.grid.unit);
            match metres_of(row, settings.grid.unit, crs_unit) {
                Some(metres) => settings.typing.grid = metres,
                None => settings.usable = false,
            }
        }
        "equipment" => settings.equipment = read_equipment(row),
        "accuracy" => numbers(
            row,
            Accuracy::SETTINGS,
            Some(&longest),
            &mut |name, value| settings.accuracy.set(name, value),
        ),
        "limits" => numbers(row, Limits::SETTINGS, None, &mut |name, value| {
            settings.limits.set(name, value)
        }),
        "publish" => {
            let columns = row.text(publish::COLUMNS).unwrap_or_default();
            // In the spelling that attributes have.
            settings.publish = names(&columns).map(|name| normal(name).name).collect();
        }
        "points" => {
            let files = row.text(points::FILES).unwrap_or_default();
            let columns = row.text(points::COLUMNS).unwrap_or_default();
            settings.points = Points::read(&files, &columns);
        }
        "layers" => {
            let keys = layers::TABLE.columns.iter().enumerate();
            let keys: Vec<(usize, &str)> =
                keys.map(|(index, column)| (index, column.name)).collect();
            settings.layers = texts(row, &keys);
        }
        _ => {}
    }
}

/// The unit of plain lengths, which the other cells of its own section need already.
fn unit_of(sheet: &Sheet) -> Option<LengthUnit> {
    let place = sheet.layout.places.get(grid::UNIT).copied().flatten()?;
    LengthUnit::from_word(sheet.table.cell(sheet.layout.heading? + 1, place))
}

/// Metres in the unit of the coordinate system; "local" has the job's.
fn metres_of(row: &mut Row<'_>, unit: LengthUnit, crs_unit: CrsUnit<'_>) -> Option<f64> {
    row.read(grid::CRS, |cell| {
        let name = crs_name(cell.text);
        if name == "local" {
            return Ok(unit.metres());
        }
        match crs_unit(&name)? {
            metres if metres.is_finite() && metres > 0.0 => Ok(metres),
            _ => Err("its unit is no length".to_owned()),
        }
    })
}

/// `local` in any case; a bare number is a code of the EPSG registry.
#[must_use]
pub fn crs_name(text: &str) -> String {
    if text.eq_ignore_ascii_case("local") {
        "local".to_owned()
    } else if text.bytes().all(|byte| byte.is_ascii_digit()) {
        format!("EPSG:{text}")
    } else {
        text.to_owned()
    }
}

fn read_head(row: &mut Row<'_>) -> Head {
    let free = [
        (head::LOCATED_BY, "located_by"),
        (head::CLIENT, "client"),
        (head::SITE, "site"),
        (head::ADDRESS, "address"),
        (head::PARCEL, "parcel"),
        (head::PERMIT, "permit"),
        (head::NOTE, "note"),
        (head::CHECKED_BY, "checked_by"),
        (head::LICENCE, "licence"),
        (head::SUPERSEDES, "supersedes"),
    ];
    Head {
        id: row
            .read(head::ID, |cell| id(cell).map(str::to_owned))
            .unwrap_or_default(),
        supplier: row.text(head::SUPPLIER),
        title: row.text(head::TITLE),
        located_on: row.read(head::LOCATED_ON, date),
        texts: texts(row, &free),
        revision: row.number(head::REVISION).map(|revision| revision as u32),
    }
}

/// The day of a date, whatever its time.
fn date(cell: Cell<'_>) -> Result<String, String> {
    let day = cell.text.split(['T', ' ']).next().unwrap_or_default();
    parse_date(day)?;
    Ok(day.to_owned())
}

fn texts(row: &mut Row<'_>, keys: &[(usize, &str)]) -> BTreeMap<String, String> {
    keys.iter()
        .filter_map(|(column, key)| Some(((*key).to_owned(), row.text(*column)?)))
        .collect()
}

fn blank_grid(unit: LengthUnit) -> Grid {
    Grid {
        crs: "local".to_owned(),
        unit,
        vertical: None,
        geoid: None,
        height: None,
        taped_on_slope: false,
        distances_on_grid: false,
        geoid_separation: None,
        declination: None,
    }
}

fn read_grid(row: &mut Row<'_>, unit: LengthUnit) -> Grid {
    let unit_word = |cell: Cell<'_>| {
        LengthUnit::from_word(cell.text).ok_or_else(|| "it is none of the words".to_owned())
    };
    let geoid_separation = row.number(grid::GEOID_SEPARATION);
    if geoid_separation.is_some_and(|separation| separation.abs() > SEPARATION) {
        row.doubt(
            grid::GEOID_SEPARATION,
            "ellipsoid and geoid lie nowhere so far apart. Check the figure and its unit",
        );
    }
    Grid {
        crs: row
            .text(grid::CRS)
            .map_or_else(|| "local".to_owned(), |text| crs_name(&text)),
        unit: row.read(grid::UNIT, unit_word).unwrap_or(unit),
        vertical: row.text(grid::VERTICAL),
        geoid: row.text(grid::GEOID),
        height: row.number(grid::HEIGHT),
        taped_on_slope: row.word(grid::TAPED) == Some("slope"),
        distances_on_grid: row.word(grid::DISTANCES) == Some("grid"),
        geoid_separation,
        declination: row.number(grid::DECLINATION),
    }
}

/// Largest plain figure for the way from lens to transmitter that is believed to be in the job's unit, metres; and the largest that is
/// believed at all. Our choice, both.
const LENS: f64 = 2.0;
const LENS_EVER: f64 = 5.0;
/// The geoid lies no farther from the ellipsoid anywhere, metres (it does so by 106 m south of India, from memory).
const SEPARATION: f64 = 110.0;

fn read_equipment(row: &mut Row<'_>) -> Equipment {
    let free = [
        (equipment::RECEIVER, "receiver"),
        (equipment::SERIAL, "serial"),
        (equipment::FREQUENCY, "frequency"),
        (equipment::LAST_CHECKED, "last_checked"),
    ];
    Equipment {
        lens_to_transmitter: row.small_ever(equipment::LENS_TO_TRANSMITTER, LENS, LENS_EVER),
        axis_above_invert: row.small(equipment::AXIS_ABOVE_INVERT, AXIS),
        sensor_height: row.number(equipment::SENSOR_HEIGHT).unwrap_or(0.0),
        antenna_height: row.small(equipment::ANTENNA_HEIGHT, POLE).unwrap_or(0.0),
        signal_is_linear: row.flag(equipment::SIGNAL_IS_LINEAR).unwrap_or(false),
        texts: texts(row, &free),
    }
}

/// No one-sigma of a measurement is longer, metres: our choice; a receiver without corrections is better.
const SIGMA: f64 = 10.0;
/// How many times its default a one-sigma may be before its unit is doubted: our choice. A tape's 2 in a job in metres was meant as
/// centimetres or inches; no tape is as bad as half a metre.
const TIMES: f64 = 30.0;

/// The longest that a one-sigma is believed to be, metres, where its figure names no unit.
fn longest(name: &str) -> f64 {
    let usual = Accuracy::default().get(name).filter(|usual| *usual > 0.0);
    usual.map_or(SIGMA, |usual| (TIMES * usual).min(SIGMA))
}

/// Sets the numbers that a section gives. Shares of a length may be 0; every other figure is above it, since a
/// measurement without any error, or a limit of nothing, is a slip. Lengths over the setting's `most` are doubted.
fn numbers(
    row: &mut Row<'_>,
    settings: &[Setting],
    most: Option<&dyn Fn(&str) -> f64>,
    set: &mut dyn FnMut(&str, f64) -> bool,
) {
    for (column, setting) in settings.iter().enumerate() {
        let value = match most.filter(|_| setting.quantity == Quantity::Length) {
            Some(most) => row.small(column, most(setting.name)),
            None => row.number(column),
        };
        let Some(value) = value else {
            continue;
        };
        if value > 0.0 || (value == 0.0 && may_be_nothing(setting)) {
            set(setting.name, value);
            if let Some(why) = hardly(setting.name, value) {
                row.doubt(column, why);
            }
        } else {
            row.refuse(
                Code::Unreadable,
                &[column],
                &format!(
                    "{} is {value}; it must be greater than 0",
                    quoted(setting.name)
                ),
            );
        }
    }
}

/// Why a plain number is hardly meant: with it, nothing is said any more, or everything. Our choice.
fn hardly(name: &str, value: f64) -> Option<&'static str> {
    match name {
        "alarm" if !(2.0..=6.0).contains(&value) => Some(
            "alarms are raised from so many one-sigmas on: over 6 nothing is said, under 2 of sound measurements too. Leave it out for 3.29",
        ),
        "pair" if value >= 0.5 => Some(
            "two readings that differ by so large a part of their mean agree with anything. 10 % are 0.1",
        ),
        _ if (name.ends_with("_fraction") || name == "depth_common") && value > 0.2 => {
            Some("it is a part of the length, and nobody measures as badly as that. 1 % are 0.01")
        }
        _ => None,
    }
}

fn may_be_nothing(setting: &Setting) -> bool {
    setting.quantity == Quantity::Number
        || matches!(setting.name, "correction_service" | "square" | "min_cover")
}
