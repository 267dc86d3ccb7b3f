//! Other people's points: files without a heading of ours, or of a map, whose columns `[points]` in `job.toml` names.
//!
//! ```toml
//! [points]
//! files = ["topo.txt", "stakes.geojson"]
//! columns = "point, northing, easting, elevation, description"
//! ```
//!
//! In text files the names stand in the order of the file's columns; one that is none of ours is kept as an attribute. In
//! GeoJSON and GeoPackage files the place comes from the shape, and `ours = theirs` says which field is which: `point = PT_NO`.
//! With `point` among the names the rows are reference points as in `control.csv`, with `mark` located points as in `marks.csv`.
//! A mark of `marks.csv` that gives no place takes that of the point with its name.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use geo::{Coord, CoordsIter};

use super::files::{input, whole};
use super::model::{Control, Geographic, Input, MarkRow, Note, Role, Source};
use super::row::{Tally, quoted};
use super::schema::{TableSpec, control, marks};
use super::settings::CrsUnit;
use super::table::{Table, normal, read_points};
use super::{caps, settings};
use crate::findings::{Code, Finding};
use crate::maps::{self, RawFeature, System};

/// `[points]`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Points {
    /// Files in the job's folder.
    pub files: Vec<String>,
    /// Our name of each column, and the file's own in maps.
    pub columns: Vec<(String, String)>,
}

/// Names parted by commas.
pub fn names(text: &str) -> impl Iterator<Item = &str> {
    text.split([',', ';', '\n'])
        .map(str::trim)
        .filter(|name| !name.is_empty())
}

impl Points {
    /// From the texts of the two settings.
    pub fn read(files: &str, columns: &str) -> Self {
        let column = |name: &str| {
            let (ours, theirs) = name.split_once('=').unwrap_or((name, name));
            // The unit stays with the name: it is what the heading of a table would be.
            (normal(ours).whole(), theirs.trim().to_owned())
        };
        Self {
            files: names(files).map(str::to_owned).collect(),
            columns: names(columns).map(column).collect(),
        }
    }

    /// The columns that a map's features can have beside their place, which is their shape's.
    fn beside_shape(&self) -> impl Iterator<Item = &(String, String)> {
        let of_shape = ["easting", "northing", "latitude", "longitude"];
        let columns = self.columns.iter();
        columns.filter(move |(ours, _)| !of_shape.contains(&&*normal(ours).name))
    }

    /// What the rows are; an error says what is wrong with the names.
    fn spec(&self) -> Result<&'static TableSpec, String> {
        let has = |name: &str| {
            let mut ours = self.columns.iter().map(|(ours, _)| normal(ours).name);
            ours.any(|ours| ours == name)
        };
        match (has("mark"), has("point")) {
            (true, false) => Ok(&marks::TABLE),
            (false, true) => Ok(&control::TABLE),
            _ => Err(
                "[points] columns names the columns in their order: point (for reference points) or mark (for located points) among them, \
                 such as \"point, northing, easting, elevation, description\""
                    .to_owned(),
            ),
        }
    }
}

/// The files that the sections name, before anything in them is understood.
pub fn listed(sections: &[settings::Section]) -> Vec<String> {
    let entries = sections
        .iter()
        .filter(|section| section.name == "points")
        .flat_map(|section| &section.entries);
    entries
        .filter(|entry| entry.key == "files")
        .flat_map(|entry| names(&entry.text))
        .map(str::to_owned)
        .collect()
}

/// Reads the files into tables of ours; what is wrong with one is a finding.
pub fn tables(
    points: &Points,
    folder: &Path,
    crs: &str,
    crs_unit: CrsUnit<'_>,
    inputs: &mut Vec<Input>,
    tally: &mut Tally,
) -> Vec<(&'static TableSpec, Table)> {
    let mut tables = Vec::new();
    for name in &points.files {
        let file: Arc<str> = Arc::from(name.as_str());
        let table = points
            .spec()
            .and_then(|spec| Ok((spec, table(points, folder, &file, crs, crs_unit, inputs)?)));
        match table {
            Ok(found) => tables.push(found),
            Err(why) => tally
                .findings
                .push(Finding::new(Code::Unreadable, format!("{name}: {why}")).at(&whole(&file))),
        }
    }
    tables
}

fn table(
    points: &Points,
    folder: &Path,
    file: &Arc<str>,
    crs: &str,
    crs_unit: CrsUnit<'_>,
    inputs: &mut Vec<Input>,
) -> Result<Table, String> {
    let path = Path::new(&**file);
    if path.file_name() != Some(path.as_os_str()) {
        return Err("is no plain name: put the file into the job's folder".to_owned());
    }
    let bytes =
        caps::read_file(&folder.join(path), caps::FILE).map_err(|error| error.to_string())?;
    inputs.push(input(file, &bytes));
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    if !matches!(ending.as_str(), "geojson" | "json" | "gpkg") {
        let columns: Vec<&str> = points
            .columns
            .iter()
            .map(|(ours, _)| ours.as_str())
            .collect();
        return read_points(Arc::clone(file), bytes, &columns);
    }
    let raw = maps::file(&folder.join(path), None).map_err(|error| error.to_string())?;
    let mut table = Table::new(Arc::clone(file));
    let mut open = false;
    for layer in &raw.layers {
        let place = place(&layer.system, crs, crs_unit)?;
        if !open {
            let heads = points.beside_shape().map(|(ours, _)| ours.as_str());
            heads.chain(place.heads().copied()).for_each(|name| {
                table.push(name);
            });
            table.end_row(0);
            open = true;
        }
        for feature in &layer.features {
            row(points, &place, feature, &mut table)?;
        }
        table
            .notes
            .extend(layer.left_out.first().map(|(number, why)| {
                let count = layer.left_out.len();
                format!("{count} features are left out; the first is number {number}: {why}")
            }));
    }
    Ok(table)
}

/// What a map's coordinates are.
enum Place {
    Grid,
    /// Degrees of this datum.
    Earth(String),
}

impl Place {
    fn heads(&self) -> std::slice::Iter<'static, &'static str> {
        match self {
            Self::Grid => ["easting", "northing"].iter(),
            Self::Earth(_) => ["longitude", "latitude", "datum"].iter(),
        }
    }
}

fn place(system: &System, crs: &str, crs_unit: CrsUnit<'_>) -> Result<Place, String> {
    match system {
        System::Unsaid | System::Unit(_) => Ok(Place::Grid),
        System::Code(code) if code == crs => Ok(Place::Grid),
        System::Code(code) if crs_unit(code).is_err() => Ok(Place::Earth(code.clone())),
        System::Code(other) | System::Unknown(other) => Err(format!(
            "its coordinates are in {other} and the job's in {crs}: save it in {crs}, or in longitude and latitude"
        )),
    }
}

fn row(
    points: &Points,
    place: &Place,
    feature: &RawFeature,
    table: &mut Table,
) -> Result<(), String> {
    let mut places = feature.geometry.coords_iter();
    let (Some(Coord { x, y }), None) = (places.next(), places.next()) else {
        return Err(format!(
            "feature {} is no single point: give a file of points",
            feature.number
        ));
    };
    for (ours, theirs) in points.beside_shape() {
        let cell = field(&feature.attributes, theirs);
        // The identifier of a feature is a name as good as any.
        let own = || {
            feature
                .id
                .as_deref()
                .filter(|_| ours == "point" || ours == "mark")
        };
        table.push(cell.or_else(own).unwrap_or_default());
    }
    table.push(&x.to_string());
    table.push(&y.to_string());
    if let Place::Earth(datum) = place {
        table.push(datum);
    }
    table.end_row(u32::try_from(feature.number).unwrap_or(u32::MAX));
    Ok(())
}

/// A field by its name; in any case, where none has just this.
fn field<'a>(attributes: &'a BTreeMap<String, String>, name: &str) -> Option<&'a str> {
    let exact = attributes.get(name);
    let alike = || {
        let mut all = attributes.iter();
        all.find(|(key, _)| key.eq_ignore_ascii_case(name))
            .map(|(_, value)| value)
    };
    exact.or_else(alike).map(String::as_str)
}

/// Gives marks without a place that of the point with their name; such a point is no reference any more.
pub fn adopt(
    points: &Points,
    control: &mut Vec<Control>,
    marks: &mut [MarkRow],
    notes: &mut Vec<Note>,
) {
    let from_points = |source: &Source| points.files.iter().any(|file| **file == *source.file);
    let mut given: BTreeMap<Arc<str>, usize> = BTreeMap::new();
    for (at, point) in control.iter().enumerate() {
        if from_points(&point.source) {
            given.insert(Arc::clone(&point.point), at);
        }
    }
    let mut taken = vec![false; control.len()];
    for mark in marks.iter_mut().filter(|mark| placeless(mark)) {
        let Some((at, point)) = given
            .get(&mark.mark)
            .and_then(|at| Some((*at, control.get(*at)?)))
        else {
            continue;
        };
        mark.placing.grid = point.grid;
        let geographic = point.geographic.clone().map(|geographic| Geographic {
            surveyed: true,
            ..geographic
        });
        mark.placing.gnss = geographic.map(Box::new);
        mark.placing.elevation = mark.placing.elevation.or(point.elevation);
        mark.placing.sigma = mark.placing.sigma.or(point.sigma);
        mark.placing.sigma_v = mark.placing.sigma_v.or(point.sigma_v);
        mark.attributes.extend(point.attributes.iter().cloned());
        let description = point.description.clone();
        match (&mark.note, description) {
            (None, description) => mark.note = description,
            (Some(_), Some(text)) => mark.attributes.push((Arc::from("description"), text)),
            (Some(_), None) => {}
        }
        notes.push(Note {
            source: Some(mark.source.clone()),
            text: format!(
                "mark {} takes its place from {}",
                quoted(&mark.mark),
                point.source
            ),
        });
        if let Some(flag) = taken.get_mut(at) {
            *flag = true;
        }
    }
    let mut taken = taken.into_iter();
    control.retain(|_| !taken.next().unwrap_or(false));
}

fn placeless(mark: &MarkRow) -> bool {
    let placing = &mark.placing;
    matches!(mark.role, Role::Centre | Role::Exposed)
        && placing.baseline.is_none()
        && placing.ties.is_empty()
        && placing.polar.is_none()
        && placing.gnss.is_none()
        && placing.window.is_none()
        && placing.grid.is_none()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_in_any_order_and_with_the_files_own_names() {
        let points = Points::read("a.txt, b.geojson", "Point = PT_NO, Northing, Elevation=Z");
        assert_eq!(points.files, ["a.txt", "b.geojson"]);
        let columns: Vec<(&str, &str)> = points
            .columns
            .iter()
            .map(|(ours, theirs)| (ours.as_str(), theirs.as_str()))
            .collect();
        assert_eq!(
            columns,
            [
                ("point", "PT_NO"),
                ("northing", "Northing"),
                ("elevation", "Z")
            ]
        );
        assert_eq!(points.spec().unwrap().name, "control");
        for wrong in ["northing, easting", "point, mark", ""] {
            let error = Points::read("a.txt", wrong).spec().unwrap_err();
            assert!(
                error.contains("northing, easting, elevation"),
                "{wrong}: {error}"
            );
        }
    }

    #[test]
    fn coordinates_of_another_grid_are_refused_and_degrees_are_not() {
        let projected = |code: &str| match code {
            "EPSG:4326" => Err("geographic".to_owned()),
            _ => Ok(1.0),
        };
        let code = |code: &str| System::Code(code.to_owned());
        assert!(matches!(
            place(&code("EPSG:2264"), "EPSG:2264", &projected),
            Ok(Place::Grid)
        ));
        assert!(matches!(
            place(&System::Unsaid, "local", &projected),
            Ok(Place::Grid)
        ));
        assert!(matches!(
            place(&code("EPSG:4326"), "EPSG:2264", &projected),
            Ok(Place::Earth(_))
        ));
        let error = place(&code("EPSG:32119"), "EPSG:2264", &projected)
            .err()
            .unwrap();
        assert!(
            error.contains("EPSG:32119") && error.contains("EPSG:2264"),
            "{error}"
        );
    }
}
