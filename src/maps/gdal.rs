//! DXF, Shapefile and more through [GDAL](crate::sources::Source::Gdal): its program `ogr2ogr` writes them into a GeoPackage in a
//! temporary folder, which is read as any other.
//!
//! A program and not the library, our choice: the library brings a PROJ and an SQLite of its own next to the ones in this
//! program, and calls bind half to each; a reader of other people's files that falls over takes no batch of jobs along; and
//! this crate's only `unsafe` code stays that of PROJ. It needs no build of its own, and GDAL only where such a plan is read.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use super::dxf::Drawing;
use super::{RawFeature, RawLayer, Reader, System, WITH_GDAL, gpkg, split};

/// The formats.
pub struct Gdal;

/// How long GDAL may take, in steps of [`STEP`] (our choice: a minute reads some hundred megabytes).
const STEPS: u32 = 3000;
const STEP: Duration = Duration::from_millis(20);
/// Bytes of its messages that are looked at.
const MESSAGES: u64 = 1 << 16;
/// Drivers that would fetch other files or addresses named in a plan: it is told to do without.
const NOT_THESE: &str = "OGR_VRT,CSW,WFS,OAPIF,OGCAPI,HTTP,GMLAS,Elasticsearch,Carto,AmigoCloud,PLSCENES,NGW,EEDA,ODBC,PGeo,MSSQLSpatial,PostgreSQL,MySQL";
/// What a drawing writes on the paper; it stands for nothing in the ground.
const ANNOTATION: &[&str] = &["AcDbText", "AcDbMText", "AcDbDimension", "AcDbLeader"];

impl Reader for Gdal {
    fn endings(&self) -> &'static [&'static str] {
        WITH_GDAL
    }

    fn beside(&self, ending: &str) -> &'static [&'static str] {
        match ending {
            "shp" => &["shx", "dbf", "prj", "cpg"],
            "tab" => &["dat", "map", "id"],
            "mif" => &["mid"],
            _ => &[],
        }
    }

    fn read(
        &self,
        path: &Path,
        layer_column: Option<&str>,
        remarks: &mut Vec<String>,
    ) -> Result<Vec<RawLayer>, String> {
        let is_drawing = path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("dxf"));
        let drawing = is_drawing.then(|| drawing(path)).transpose()?;
        let folder = tempfile::tempdir().map_err(|why| why.to_string())?;
        let package = folder.path().join("plan.gpkg");
        let messages = folder.path().join("messages");
        convert(path, &package, &messages, drawing.as_ref(), remarks)?;
        let layers = gpkg::read(&package)
            .map_err(|why| format!("GDAL's GeoPackage of it can't be read: {why}"))?;
        let column = layer_column.or(is_drawing.then_some("Layer"));
        let mut all = Vec::new();
        for layer in layers {
            let (layer, asides) = match &drawing {
                Some(drawing) => as_drawn(layer, drawing),
                None => (layer, Vec::new()),
            };
            match column {
                Some(column) => {
                    let stem = if is_drawing { "0" } else { &layer.name }.to_owned();
                    let parts = split(layer, &stem, |cells| cells.get(column).cloned());
                    all.extend(parts);
                    all = with_asides(all, asides);
                }
                None => all.push(layer),
            }
        }
        Ok(all)
    }
}

fn drawing(path: &Path) -> Result<Drawing, String> {
    let bytes = std::fs::read(path).map_err(|why| why.to_string())?;
    Drawing::scan(&bytes).map_err(|why| format!("this is no DXF that can be read: {why}"))
}

/// Entities of the model, without what is only written beside them; a drawing states no more than its unit.
fn as_drawn(mut layer: RawLayer, drawing: &Drawing) -> (RawLayer, Vec<Aside>) {
    let mut asides = Vec::new();
    layer.system = drawing.unit.map_or(System::Unsaid, System::Unit);
    for mut feature in std::mem::take(&mut layer.features) {
        let why = aside(&feature);
        feature.id = feature.attributes.remove("EntityHandle");
        for ours in ["PaperSpace", "SubClasses"] {
            feature.attributes.remove(ours);
        }
        match why {
            Some(why) => asides.push(Aside {
                layer: feature.attributes.remove("Layer").unwrap_or_default(),
                number: feature.number,
                why,
            }),
            None => layer.features.push(feature),
        }
    }
    (layer, asides)
}

/// An entity that is left out.
struct Aside {
    /// Its layer.
    layer: String,
    number: u64,
    why: &'static str,
}

/// What is left out, each with its own layer; one that holds nothing else is a layer all the same.
fn with_asides(mut layers: Vec<RawLayer>, asides: Vec<Aside>) -> Vec<RawLayer> {
    for aside in asides {
        let own = layers.iter().position(|layer| layer.name == aside.layer);
        let at = own.unwrap_or(layers.len());
        if own.is_none() {
            layers.push(RawLayer {
                name: aside.layer,
                system: System::Unsaid,
                features: Vec::new(),
                left_out: Vec::new(),
            });
        }
        if let Some(layer) = layers.get_mut(at) {
            layer.left_out.push((aside.number, aside.why.to_owned()));
        }
    }
    layers
}

/// Why an entity stands for nothing on the ground.
fn aside(feature: &RawFeature) -> Option<&'static str> {
    let cell = |name: &str| feature.attributes.get(name).map_or("", String::as_str);
    let classes = cell("SubClasses");
    // Drawings of the first versions have no classes.
    let is_text = classes.split(':').any(|class| ANNOTATION.contains(&class))
        || (classes.is_empty() && !cell("Text").is_empty());
    if cell("PaperSpace") == "1" {
        Some("it lies on a sheet of the drawing, not in its model")
    } else if is_text {
        Some("it is lettering")
    } else {
        None
    }
}

/// Runs GDAL's program. What it could not read of a file that it could read is a remark.
fn convert(
    path: &Path,
    package: &Path,
    messages: &Path,
    drawing: Option<&Drawing>,
    remarks: &mut Vec<String>,
) -> Result<(), String> {
    // From AC1021 on a drawing is in UTF-8, whatever code page it names besides.
    let version = drawing.and_then(|drawing| drawing.version.as_deref());
    let unicode = version.is_some_and(|version| version >= "AC1021");
    let encoding: &[&str] = if unicode {
        &["--config", "DXF_ENCODING", "UTF-8"]
    } else {
        &[]
    };
    // Absolute, so that no name is taken for an option or an address.
    let path = path.canonicalize().map_err(|why| why.to_string())?;
    let said = File::create(messages).map_err(|why| why.to_string())?;
    let child = Command::new("ogr2ogr")
        .args(["-f", "GPKG", "-nlt", "CONVERT_TO_LINEAR"])
        .args(["-lco", "SPATIAL_INDEX=NO"])
        .args(["--config", "OGR_SQLITE_SYNCHRONOUS", "OFF"])
        .args(["--config", "GML_SKIP_RESOLVE_ELEMS", "ALL"])
        .args(["--config", "GML_DOWNLOAD_SCHEMA", "NO"])
        .args(encoding)
        .env("OGR_SKIP", NOT_THESE)
        .arg(package)
        .arg(&path)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(said)
        .spawn()
        .map_err(|why| match why.kind() {
            std::io::ErrorKind::NotFound => {
                "files of this kind are read by GDAL's program ogr2ogr, which is not on this machine: install GDAL (Debian: apt install \
                 gdal-bin), or save the file as GeoPackage or GeoJSON"
                    .to_owned()
            }
            _ => format!("GDAL's program ogr2ogr can't be started: {why}"),
        })?;
    let status = wait(child)?;
    let errors = errors(messages);
    if !status.success() {
        let why = errors.first().map_or("it does not say why", String::as_str);
        return Err(format!("GDAL can't read it: {why}"));
    }
    if let Some(first) = errors.first() {
        remarks.push(format!(
            "GDAL could not read everything in it, and says \"{first}\"{}.",
            match errors.len() - 1 {
                0 => String::new(),
                more => format!(" and {more} more"),
            }
        ));
    }
    Ok(())
}

fn wait(mut child: Child) -> Result<ExitStatus, String> {
    for _ in 0..STEPS {
        match child.try_wait() {
            Ok(Some(status)) => return Ok(status),
            Ok(None) => std::thread::sleep(STEP),
            Err(why) => return Err(why.to_string()),
        }
    }
    // It may have ended just now; either way nothing of it is wanted.
    let _ = child.kill();
    let _ = child.wait();
    Err("GDAL did not finish reading it within a minute: cut the plan to the site".to_owned())
}

/// What GDAL calls errors, without where in its code they arose.
fn errors(messages: &Path) -> Vec<String> {
    let mut text = Vec::new();
    // Messages that can't be read back are as good as none.
    let _ = File::open(messages).map(|file| file.take(MESSAGES).read_to_end(&mut text));
    let text = String::from_utf8_lossy(&text).into_owned();
    let errors = text.lines().filter_map(|line| {
        let (_, said) = line.strip_prefix("ERROR ")?.split_once(": ")?;
        let plain = match said.split_once(".cpp, ") {
            Some((_, rest)) => rest.split_once(": ").map_or(rest, |(_, rest)| rest),
            None => said,
        };
        Some(plain.trim().to_owned())
    });
    errors.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_told_without_the_place_in_the_code() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("m");
        let said = "Warning 1: x\nERROR 1: ./ogr/drivers/file.cpp, 827: error at line 569 of plan.dxf\nERROR 4: no shx\n";
        std::fs::write(&path, said).unwrap();
        assert_eq!(errors(&path), ["error at line 569 of plan.dxf", "no shx"]);
        assert!(errors(&folder.path().join("none")).is_empty());
    }
}
