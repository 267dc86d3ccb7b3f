//! Plan files as they are: layers, shapes and attributes in the plan's own coordinates. One file a format, one line in
//! [`READERS`].

mod geojson;
mod gpkg;
pub mod wkb;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use geo::{CoordsIter, Geometry};
use sha2::{Digest, Sha256};

use super::layers::Layers;
use crate::error::Error;
use crate::record::model::Input;

/// Largest plan file, bytes (our choice: a city's parcels fit).
const MAX_BYTES: u64 = 1 << 30;

/// What a file says of its coordinates.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum System {
    /// Nothing.
    Unsaid,
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
    /// Name, size, hash.
    pub input: Input,
    /// Layers in file order.
    pub layers: Vec<RawLayer>,
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

/// A feature as it is.
#[derive(Clone, Debug)]
pub struct RawFeature {
    /// Its number or key in the layer.
    pub number: u64,
    /// Its own identifier, where the format has one.
    pub id: Option<String>,
    /// Shape in the plan's coordinates: east before north, longitude before latitude; all finite.
    pub geometry: Geometry<f64>,
    /// Attributes.
    pub attributes: BTreeMap<String, String>,
}

impl RawLayer {
    /// Takes a feature in, or notes why not.
    fn take(
        &mut self,
        number: u64,
        id: Option<String>,
        shape: Result<Geometry<f64>, String>,
        attributes: BTreeMap<String, String>,
    ) {
        let finite = |geometry: &Geometry<f64>| {
            geometry
                .coords_iter()
                .all(|c| c.x.is_finite() && c.y.is_finite())
        };
        match shape {
            Ok(geometry) if geometry.coords_count() == 0 => self
                .left_out
                .push((number, "its shape is empty".to_owned())),
            Ok(geometry) if finite(&geometry) => self.features.push(RawFeature {
                number,
                id,
                geometry,
                attributes,
            }),
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

    /// Reads a file's layers. An error is a clause that says why.
    fn read(&self, path: &Path, layers: &Layers) -> Result<Vec<RawLayer>, String>;
}

/// Every format that this build reads.
pub const READERS: &[&dyn Reader] = &[&geojson::GeoJson, &gpkg::GeoPackage];

/// Endings of formats that need the optional `gdal` feature.
const WITH_GDAL: &[&str] = &[
    "dxf", "dwg", "shp", "dgn", "gml", "kml", "tab", "mif", "fgb", "gdb",
];

/// Reads a plan file.
pub fn file(path: &Path, layers: &Layers) -> Result<RawPlan, Error> {
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
    let input = input(path, &name).map_err(error)?;
    let layers = reader.read(path, layers).map_err(error)?;
    Ok(RawPlan {
        file: name,
        input,
        layers,
    })
}

fn no_reader(ending: &str) -> String {
    if WITH_GDAL.contains(&ending) {
        format!(
            "this build can't read .{ending} plans: build with the feature `gdal` (cargo build --release --features gdal), or save the \
             plan as GeoPackage or GeoJSON"
        )
    } else {
        "a plan is a GeoJSON (.geojson, .json) or GeoPackage (.gpkg) file, or with the feature `gdal` a DXF, Shapefile, …".to_owned()
    }
}

/// Name, size and hash of a regular file.
fn input(path: &Path, name: &str) -> Result<Input, String> {
    let about = std::fs::metadata(path).map_err(|why| why.to_string())?;
    if !about.is_file() {
        return Err("this is no file".to_owned());
    }
    if about.len() > MAX_BYTES {
        return Err(format!(
            "the file is larger than {} MiB: cut the plan to the site",
            MAX_BYTES >> 20
        ));
    }
    let mut file = std::fs::File::open(path).map_err(|why| why.to_string())?;
    let mut hash = Sha256::new();
    let bytes = std::io::copy(&mut file, &mut hash).map_err(|why| why.to_string())?;
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
