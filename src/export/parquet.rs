//! `asbuilt.parquet`: [GeoParquet 1.1](crate::sources::Source::GeoParquet), runs and marks in one file.
//!
//! **One file** (our choice): runs first, then marks, told apart by the column `feature`. Its columns are those of both
//! tables, of a run first; a column that a feature does not have is null in its row. So one file is one record, and
//! whoever wants a layer filters by `feature`.
//!
//! Geometries are ISO well-known binary in the record's projected system, given as PROJJSON; `null`, the standard's word
//! for an unknown one, in site coordinates. The third coordinate is the invert's elevation in that system's unit, there
//! where it is known. The column `bbox` covers each geometry, for readers that skip what lies elsewhere.

use std::io::{self, Write};
use std::sync::Arc;

use parquet::basic::{Compression, ConvertedType, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::Result;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{Type, TypePtr};
use serde_json::{Value as Json, json};

use super::geometry::{self, Shape};
use super::table::{Column, Row, Table};
use super::value::{Kind, Value};
use super::{Format, View, draft, system, wkb};
use crate::record::AsBuilt;

/// The GeoParquet file.
#[derive(Debug)]
pub struct GeoParquet;

/// Tables that it holds, in this order.
const TABLES: [&str; 2] = ["run", "mark"];
const GEOMETRY: &str = "geometry";
const BOX: &str = "bbox";
/// Corners of the box, in the standard's names.
const CORNERS: [&str; 4] = ["xmin", "ymin", "xmax", "ymax"];
/// Rows written at a time: enough for readers to skip by, few enough to hold (our choice).
const GROUP: usize = 65_536;

impl Format for GeoParquet {
    fn name(&self) -> &'static str {
        "parquet"
    }

    fn file(&self) -> &'static str {
        "asbuilt.parquet"
    }

    fn about(&self) -> &'static str {
        "GeoParquet, projected, 3D: runs and marks"
    }

    fn write(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()> {
        let bytes = file(view).map_err(io::Error::other)?;
        out.write_all(&bytes)
    }
}

/// A column of the file, and the column of each of [`TABLES`] that fills it.
struct Union<'a> {
    name: &'a str,
    kind: Kind,
    from: [Option<&'a Column>; TABLES.len()],
}

/// A row, which of [`TABLES`] it is from, and its place.
struct Line<'a> {
    table: usize,
    row: Row<'a>,
    shape: Shape,
}

fn file(view: &View<'_>) -> Result<Vec<u8>> {
    let tables: Vec<&Table> = TABLES.iter().filter_map(|name| view.table(name)).collect();
    let unions = unions(&tables);
    let lines: Vec<Line<'_>> = tables
        .iter()
        .enumerate()
        .flat_map(|(table, of)| {
            of.rows(view.record).map(move |row| Line {
                table,
                row,
                shape: geometry::projected(row),
            })
        })
        .collect();
    let mut metadata = vec![KeyValue::new(
        "geo".to_owned(),
        geo(view.record, &unions, &lines).to_string(),
    )];
    metadata.extend(about(view.record));
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .set_created_by(format!("aslaid {}", env!("CARGO_PKG_VERSION")))
        .set_key_value_metadata(Some(metadata))
        .build();
    let mut bytes = Vec::new();
    let mut writer = SerializedFileWriter::new(&mut bytes, schema(&unions)?, Arc::new(properties))?;
    for lines in lines.chunks(GROUP) {
        let mut group = writer.next_row_group()?;
        for union in &unions {
            write_column(&mut group, union, lines)?;
        }
        write_geometry(&mut group, lines)?;
        group.close()?;
    }
    writer.close()?;
    Ok(bytes)
}

fn unions<'a>(tables: &[&'a Table]) -> Vec<Union<'a>> {
    let mut unions: Vec<Union<'a>> = Vec::new();
    for (index, table) in tables.iter().enumerate() {
        for column in &table.columns {
            let at = unions
                .iter()
                .position(|union| union.name == column.name)
                .unwrap_or_else(|| {
                    unions.push(Union {
                        name: &column.name,
                        kind: column.quantity.kind(),
                        from: [None; TABLES.len()],
                    });
                    unions.len() - 1
                });
            if let Some(from) = unions
                .get_mut(at)
                .and_then(|union| union.from.get_mut(index))
            {
                *from = Some(column);
            }
        }
    }
    unions
}

impl Union<'_> {
    fn value<'a>(&'a self, line: &Line<'a>) -> Value<'a> {
        let column = self.from.get(line.table).copied().flatten();
        column.map_or(Value::Absent, |column| column.value(line.row))
    }
}

fn schema(unions: &[Union<'_>]) -> Result<TypePtr> {
    let mut fields = Vec::with_capacity(unions.len() + 2);
    for union in unions {
        let builder = match union.kind {
            Kind::Text => Type::primitive_type_builder(union.name, Physical::BYTE_ARRAY)
                .with_logical_type(Some(LogicalType::String))
                .with_converted_type(ConvertedType::UTF8),
            Kind::Integer => Type::primitive_type_builder(union.name, Physical::INT64),
            Kind::Real => Type::primitive_type_builder(union.name, Physical::DOUBLE),
        };
        fields.push(Arc::new(
            builder.with_repetition(Repetition::OPTIONAL).build()?,
        ));
    }
    let name = free(GEOMETRY, unions);
    let geometry = Type::primitive_type_builder(&name, Physical::BYTE_ARRAY);
    fields.push(Arc::new(
        geometry.with_repetition(Repetition::OPTIONAL).build()?,
    ));
    let mut corners = Vec::new();
    for corner in CORNERS {
        let corner = Type::primitive_type_builder(corner, Physical::DOUBLE);
        corners.push(Arc::new(
            corner.with_repetition(Repetition::REQUIRED).build()?,
        ));
    }
    let name = free(BOX, unions);
    let covering = Type::group_type_builder(&name).with_repetition(Repetition::OPTIONAL);
    fields.push(Arc::new(covering.with_fields(corners).build()?));
    Ok(Arc::new(
        Type::group_type_builder("schema")
            .with_fields(fields)
            .build()?,
    ))
}

/// A name that no column of the record has.
fn free(wanted: &str, unions: &[Union<'_>]) -> String {
    let mut name = wanted.to_owned();
    while unions.iter().any(|union| union.name == name) {
        name.push('_');
    }
    name
}

type Group<'g, 'w> = SerializedRowGroupWriter<'g, &'w mut Vec<u8>>;

fn write_column(group: &mut Group<'_, '_>, union: &Union<'_>, lines: &[Line<'_>]) -> Result<()> {
    let Some(mut column) = group.next_column()? else {
        return Ok(());
    };
    let values: Vec<Value<'_>> = lines.iter().map(|line| union.value(line)).collect();
    let levels: Vec<i16> = values
        .iter()
        .map(|value| i16::from(!value.is_absent()))
        .collect();
    match union.kind {
        Kind::Text => {
            let texts = values.iter().filter(|value| !value.is_absent());
            let texts: Vec<ByteArray> = texts
                .map(|value| ByteArray::from(value.text().as_ref()))
                .collect();
            column
                .typed::<ByteArrayType>()
                .write_batch(&texts, Some(&levels), None)?;
        }
        Kind::Integer => {
            let numbers = values.iter().filter_map(|value| match value {
                Value::Integer(number) => Some(*number),
                _ => None,
            });
            column.typed::<Int64Type>().write_batch(
                &numbers.collect::<Vec<_>>(),
                Some(&levels),
                None,
            )?;
        }
        Kind::Real => {
            let numbers = values.iter().filter_map(|value| match value {
                Value::Real(number) => Some(*number),
                _ => None,
            });
            column.typed::<DoubleType>().write_batch(
                &numbers.collect::<Vec<_>>(),
                Some(&levels),
                None,
            )?;
        }
    }
    column.close()
}

fn write_geometry(group: &mut Group<'_, '_>, lines: &[Line<'_>]) -> Result<()> {
    let blobs: Vec<Option<Vec<u8>>> = lines.iter().map(|line| wkb::iso(&line.shape)).collect();
    let levels: Vec<i16> = blobs.iter().map(|blob| i16::from(blob.is_some())).collect();
    if let Some(mut column) = group.next_column()? {
        let blobs: Vec<ByteArray> = blobs.into_iter().flatten().map(ByteArray::from).collect();
        column
            .typed::<ByteArrayType>()
            .write_batch(&blobs, Some(&levels), None)?;
        column.close()?;
    }
    let boxes: Vec<wkb::Bounds> = lines
        .iter()
        .filter_map(|line| wkb::bounds(line.shape.places().iter()))
        .collect();
    let corners: [fn(&wkb::Bounds) -> f64; 4] = [|b| b.x[0], |b| b.y[0], |b| b.x[1], |b| b.y[1]];
    for corner in corners {
        if let Some(mut column) = group.next_column()? {
            let values: Vec<f64> = boxes.iter().map(corner).collect();
            column
                .typed::<DoubleType>()
                .write_batch(&values, Some(&levels), None)?;
            column.close()?;
        }
    }
    Ok(())
}

/// The standard's metadata.
fn geo(record: &AsBuilt, unions: &[Union<'_>], lines: &[Line<'_>]) -> Json {
    let mut types: Vec<String> = Vec::new();
    for line in lines {
        let name = match &line.shape {
            Shape::Nowhere => continue,
            Shape::Point(_) => "Point",
            Shape::Line(_) => "LineString",
        };
        let name = if wkb::has_z(&line.shape) {
            format!("{name} Z")
        } else {
            name.to_owned()
        };
        if !types.contains(&name) {
            types.push(name);
        }
    }
    types.sort();
    let crs = system::of(record).and_then(|system| system.projjson);
    let (geometry, covering) = (free(GEOMETRY, unions), free(BOX, unions));
    let corner = |name: &str| json!([covering, name]);
    let mut column = json!({
        "encoding": "WKB",
        "geometry_types": types,
        "crs": crs,
        "edges": "planar",
        "covering": {"bbox": {
            "xmin": corner("xmin"), "ymin": corner("ymin"), "xmax": corner("xmax"), "ymax": corner("ymax"),
        }},
    });
    let places = lines.iter().flat_map(|line| line.shape.places());
    if let Some(bounds) = wkb::bounds(places) {
        let ([west, east], [south, north]) = (bounds.x, bounds.y);
        // As many numbers as the places with the most coordinates ask for.
        column["bbox"] = match bounds.z {
            Some([low, high]) => json!([west, south, low, east, north, high]),
            None => json!([west, south, east, north]),
        };
    }
    json!({"version": "1.1.0", "primary_column": geometry, "columns": {geometry: column}})
}

/// What the whole file says besides: units, draft, cautions, the record's hash.
fn about(record: &AsBuilt) -> Vec<KeyValue> {
    let frame = &record.frame;
    let mut all = vec![
        ("unit".to_owned(), frame.unit.symbol().to_owned()),
        ("crs_unit".to_owned(), frame.crs_unit.clone()),
        ("cautions".to_owned(), record.cautions.join(" ")),
    ];
    all.extend(
        record
            .draft
            .as_ref()
            .map(|it| (draft::PROPERTY.to_owned(), it.words())),
    );
    all.extend(record.hash.clone().map(|hash| ("record".to_owned(), hash)));
    all.into_iter()
        .map(|(key, value)| KeyValue::new(format!("aslaid.{key}"), value))
        .collect()
}
