//! Map and drawing files as they are: layers, shapes and attributes in the file's own coordinates. One file a format, one line in
//! [`READERS`]. Site plans, maps of mains and point files are read here; what they mean is decided where they are used.

pub mod dxf;
#[cfg(feature = "gdal")]
mod gdal;
mod geojson;
mod gpkg;
pub mod wkb;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use geo::{CoordsIter, Geometry};
use sha2::{Digest, Sha256};

use crate::error::{Error, unread};
use crate::record::model::Input;

/// Largest plan file, bytes (our choice: a city's parcels fit).
const MAX_BYTES: u64 = 1 << 30;

/// What a file says of its coordinates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum System {
    /// Nothing.
    Unsaid,
    /// Only its unit, by this word: m, ft, us-ft, mm, cm or in. So do drawings.
    Unit(&'static str),
    /// The coordinate system with this code, projected or geographic.
    Code(String),
    /// One that this program does not know, as the file names it.
    Unknown(String),
}

/// A plan file as it is.
#[derive(Clone, Debug)]
pub struct RawPlan {
    /// Its name.
    pub file: String,
    /// Name, size, hash of it and of the files that belong to it.
    pub inputs: Vec<Input>,
    /// Layers in file order.
    pub layers: Vec<RawLayer>,
    /// What its reader had to say.
    pub remarks: Vec<String>,
}

/// A layer as it is.
#[derive(Clone, Debug)]
pub struct RawLayer {
    /// Name.
    pub name: String,
    /// Its coordinate system.
    pub system: System,
    /// Features with a shape.
    pub features: Vec<RawFeature>,
    /// Features left out, with the reason: number, reason.
    pub left_out: Vec<(u64, String)>,
}

/// A shape as it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// In the plan's coordinates: east before north, longitude before latitude.
    pub geometry: Geometry<f64>,
    /// Height of each of its points, in the order of `coords_iter`, as the file has it; NaN where a point has none.
    pub heights: Vec<f64>,
}

/// A feature as it is.
#[derive(Clone, Debug)]
pub struct RawFeature {
    /// Its number or key in the layer.
    pub number: u64,
    /// Its own identifier, where the format has one.
    pub id: Option<String>,
    /// Shape in the plan's coordinates: east before north, longitude before latitude; all finite.
    pub geometry: Geometry<f64>,
    /// Height of each of its points, in the order of `coords_iter`, as the file has it; NaN where a point has none. Empty where
    /// its shape has none, or 0 throughout: so is a plan written that was drawn flat.
    pub heights: Vec<f64>,
    /// Attributes.
    pub attributes: BTreeMap<String, String>,
}

impl RawLayer {
    /// Takes a feature in, or notes why not.
    fn take(
        &mut self,
        number: u64,
        id: Option<String>,
        shape: Result<Shape, String>,
        attributes: BTreeMap<String, String>,
    ) {
        let finite = |geometry: &Geometry<f64>| {
            geometry
                .coords_iter()
                .all(|c| c.x.is_finite() && c.y.is_finite())
        };
        match shape {
            Ok(Shape { geometry, .. }) if geometry.coords_count() == 0 => self
                .left_out
                .push((number, "its shape is empty".to_owned())),
            Ok(Shape { geometry, heights }) if finite(&geometry) => {
                // A ring that the file leaves open is closed on reading, and has a point more than heights.
                let some = heights.len() == geometry.coords_count()
                    && heights.iter().any(|z| z.is_finite() && *z != 0.0);
                self.features.push(RawFeature {
                    number,
                    id,
                    geometry,
                    heights: if some { heights } else { Vec::new() },
                    attributes,
                });
            }
            Ok(_) => self.left_out.push((
                number,
                "its shape has a coordinate that is no number".to_owned(),
            )),
            Err(why) => self.left_out.push((number, why)),
        }
    }
}

/// Reads one format.
pub trait Reader: Sync {
    /// Endings of its files, in lower case.
    fn endings(&self) -> &'static [&'static str];

    /// Endings of files that stand beside one with this ending and belong to it.
    fn beside(&self, ending: &str) -> &'static [&'static str] {
        let _ = ending;
        &[]
    }

    /// Reads a file's layers; an error is a clause that says why, a remark a sentence. `layer_column` is the attribute that
    /// names the layer, in formats without layers of their own.
    fn read(
        &self,
        path: &Path,
        layer_column: Option<&str>,
        remarks: &mut Vec<String>,
    ) -> Result<Vec<RawLayer>, String>;
}

/// Every format that this build reads.
pub const READERS: &[&dyn Reader] = &[
    &geojson::GeoJson,
    &gpkg::GeoPackage,
    #[cfg(feature = "gdal")]
    &gdal::Gdal,
];

/// Endings of formats that need the feature `gdal`.
const WITH_GDAL: &[&str] = &["dxf", "shp", "dgn", "gml", "kml", "tab", "mif", "fgb"];

/// Reads a file. `layer_column` is the attribute that names the layer, in formats without layers of their own.
///
/// # Errors
/// A file that can't be read, or is of a format that this build doesn't read.
pub fn file(path: &Path, layer_column: Option<&str>) -> Result<RawPlan, Error> {
    let name = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let error = |why: String| Error::Read {
        path: path.to_owned(),
        why,
    };
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let Some(reader) = READERS
        .iter()
        .find(|reader| reader.endings().contains(&ending.as_str()))
    else {
        return Err(error(no_reader(&ending)));
    };
    let mut inputs = vec![input(path, &name).map_err(error)?];
    for ending in reader.beside(&ending) {
        let beside = path.with_extension(ending);
        if beside != path && beside.is_file() {
            let name = Path::new(&name).with_extension(ending);
            inputs.push(input(&beside, &name.to_string_lossy()).map_err(error)?);
        }
    }
    let mut remarks = Vec::new();
    let layers = reader
        .read(path, layer_column, &mut remarks)
        .map_err(error)?;
    Ok(RawPlan {
        file: name,
        inputs,
        layers,
        remarks,
    })
}

/// Features in layers by the names that they state, in the order in which the names first come; `stem` names the layer of those
/// that state none. `layer` gives a feature's name.
#[cfg(feature = "gdal")]
fn split(
    whole: RawLayer,
    stem: &str,
    layer: impl Fn(&BTreeMap<String, String>) -> Option<String>,
) -> Vec<RawLayer> {
    let mut found: Vec<RawLayer> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for feature in whole.features {
        let name = layer(&feature.attributes)
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| stem.to_owned());
        let at = *places.entry(name.clone()).or_insert(found.len());
        if at == found.len() {
            found.push(RawLayer {
                name,
                system: whole.system.clone(),
                features: Vec::new(),
                left_out: Vec::new(),
            });
        }
        if let Some(layer) = found.get_mut(at) {
            layer.features.push(feature);
        }
    }
    if found.is_empty() {
        found.push(RawLayer {
            name: stem.to_owned(),
            system: whole.system,
            features: Vec::new(),
            left_out: Vec::new(),
        });
    }
    if let Some(first) = found.first_mut() {
        first.left_out = whole.left_out;
    }
    found
}

fn no_reader(ending: &str) -> String {
    if WITH_GDAL.contains(&ending) {
        format!(
            "this build can't read .{ending} files: build with the feature `gdal` (cargo build --release --features gdal), or save the \
             file as GeoPackage or GeoJSON"
        )
    } else {
        format!(
            "a plan is a GeoJSON (.geojson, .json) or GeoPackage (.gpkg) file, or with the feature `gdal` one that ends in .{}",
            WITH_GDAL.join(", .")
        )
    }
}

/// Name, size and hash of a regular file.
fn input(path: &Path, name: &str) -> Result<Input, String> {
    let about = std::fs::metadata(path).map_err(|why| unread(&why))?;
    if !about.is_file() {
        return Err("this is no file".to_owned());
    }
    if about.len() > MAX_BYTES {
        return Err(format!(
            "the file is larger than {} MiB: cut the plan to the site",
            MAX_BYTES >> 20
        ));
    }
    let mut file = std::fs::File::open(path).map_err(|why| unread(&why))?;
    let mut hash = Sha256::new();
    let bytes = std::io::copy(&mut file, &mut hash).map_err(|why| unread(&why))?;
    let mut sha256 = String::new();
    for byte in hash.finalize() {
        // Writing to a string can't fail.
        let _ = write!(sha256, "{byte:02x}");
    }
    Ok(Input {
        file: name.to_owned(),
        bytes,
        sha256,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_build_without_gdal_names_the_feature() {
        assert!(no_reader("dxf").contains("feature `gdal`") && no_reader("dxf").contains(".dxf"));
        assert!(no_reader("pdf").contains("a plan is a GeoJSON"));
        let read: Vec<&str> = READERS
            .iter()
            .flat_map(|reader| reader.endings())
            .copied()
            .collect();
        for ending in WITH_GDAL {
            assert_eq!(read.contains(ending), cfg!(feature = "gdal"), "{ending}");
        }
    }
}
