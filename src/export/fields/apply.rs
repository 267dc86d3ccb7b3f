//! A field file held against a record: its tables with the columns wanted, every value tried before anything is written.

use super::{Constant, Conversion, Fields, Problem, Section, Wanted, names};
use crate::export::table::{Column, Getter, Table};
use crate::export::value::{Kind, Quantity};
use crate::record::AsBuilt;

pub(super) fn apply(
    fields: &Fields,
    mut tables: Vec<Table>,
    record: &AsBuilt,
) -> Result<Vec<Table>, Problem> {
    for table in &mut tables {
        if let Some(section) = fields.sections.get(table.name) {
            table.columns = columns(table, section, record)?;
            check_unit(table, section, record)?;
        }
    }
    check_shared(fields, &tables)?;
    for table in &tables {
        if let Some(section) = fields.sections.get(table.name) {
            check_values(table, section, record)?;
        }
    }
    Ok(tables)
}

fn columns(table: &Table, section: &Section, record: &AsBuilt) -> Result<Vec<Column>, Problem> {
    let mut columns = Vec::new();
    for wanted in &section.columns {
        columns.push(column(table, wanted, record)?);
    }
    if section.keep_others {
        let used = |column: &Column| {
            section
                .columns
                .iter()
                .any(|wanted| wanted.from.as_ref() == Some(&column.name))
        };
        let others: Vec<Column> = table
            .columns
            .iter()
            .filter(|column| !used(column))
            .cloned()
            .collect();
        for other in others {
            if let Some(clash) = section
                .columns
                .iter()
                .find(|wanted| wanted.name.eq_ignore_ascii_case(&other.name))
            {
                return Err(Problem::new(
                    clash.line,
                    format!(
                        "`{}` keeps its own column \"{}\" beside this one; give this one another name, or list the other",
                        table.name, other.name
                    ),
                ));
            }
            columns.push(other);
        }
    }
    Ok(columns)
}

fn column(table: &Table, wanted: &Wanted, record: &AsBuilt) -> Result<Column, Problem> {
    let from = wanted.from.as_ref().map(|from| {
        let found = table.columns.iter().find(|column| column.name == *from);
        found.cloned().ok_or_else(|| {
            let why = format!(
                "`{}` has no column \"{from}\"; it has {}",
                table.name,
                names(&table.columns)
            );
            Problem::new(wanted.line, why)
        })
    });
    let from = from.transpose()?;
    let kind = kind(wanted, from.as_ref());
    let as_kind = |constant: &Constant| {
        constant.as_kind(kind).ok_or_else(|| {
            Problem::new(
                wanted.line,
                "the given values are not of one type; say which with `type`",
            )
        })
    };
    let mut values = std::collections::BTreeMap::new();
    for (text, constant) in &wanted.values {
        values.insert(text.clone(), as_kind(constant)?);
    }
    let fixed = wanted.fixed.as_ref().map(as_kind).transpose()?;
    let meaning = match &from {
        Some(from) if from.name == wanted.name => from.meaning.clone(),
        Some(from) => format!("{} (`{}` of the record)", from.meaning, from.name),
        None => "the same in every row".to_owned(),
    };
    let conversion = Conversion {
        factor: factor(wanted, from.as_ref(), record)?,
        fixed,
        kind,
        into: wanted.unit,
        decimals: wanted.decimals.map(i32::from),
        values,
        otherwise: wanted.otherwise.as_ref().map(as_kind).transpose()?,
        from,
    };
    Ok(Column {
        name: wanted.name.clone(),
        quantity: match kind {
            Kind::Text => Quantity::Text,
            Kind::Integer => Quantity::Integer,
            Kind::Real => Quantity::Converted,
        },
        required: conversion.from.as_ref().is_none_or(|from| from.required),
        meaning,
        getter: Getter::Converted(Box::new(conversion)),
    })
}

/// The type said; else that of the given values, where all have one; else our column's.
fn kind(wanted: &Wanted, from: Option<&Column>) -> Kind {
    if let Some(kind) = wanted.kind {
        return kind;
    }
    let given = wanted
        .values
        .values()
        .chain(&wanted.otherwise)
        .chain(&wanted.fixed)
        .map(Constant::kind);
    let widest = given.reduce(|a, b| match (a, b) {
        (a, b) if a == b => a,
        (Kind::Integer, Kind::Real) | (Kind::Real, Kind::Integer) => Kind::Real,
        _ => Kind::Text,
    });
    widest
        .or_else(|| from.map(|from| from.quantity.kind()))
        .unwrap_or(Kind::Text)
}

fn factor(wanted: &Wanted, from: Option<&Column>, record: &AsBuilt) -> Result<f64, Problem> {
    let (Some(unit), Some(from)) = (wanted.unit, from) else {
        return Ok(1.0);
    };
    match from.quantity {
        Quantity::Length => Ok(record.frame.unit.metres() / unit.metres()),
        Quantity::Coordinate => Ok(record.frame.crs_unit_metres / unit.metres()),
        _ => Err(Problem::new(
            wanted.line,
            format!(
                "\"{}\" is no length and has no unit to convert; take `unit` out",
                from.name
            ),
        )),
    }
}

/// The column `unit` must not state another unit than the lengths beside it have.
fn check_unit(table: &Table, section: &Section, record: &AsBuilt) -> Result<(), Problem> {
    let states_unit = table.columns.iter().any(|column| match &column.getter {
        Getter::Converted(conversion) => {
            conversion.values.is_empty()
                && conversion
                    .from
                    .as_ref()
                    .is_some_and(|from| from.name == "unit")
        }
        _ => column.name == "unit",
    });
    let unit = record.frame.unit;
    let other = |wanted: &&Wanted| {
        let is_length = table.columns.iter().any(|column| match &column.getter {
            Getter::Converted(conversion) => {
                column.name == wanted.name
                    && conversion
                        .from
                        .as_ref()
                        .is_some_and(|from| from.quantity == Quantity::Length)
            }
            _ => false,
        });
        is_length && wanted.unit.is_some_and(|into| into != unit)
    };
    match section.columns.iter().find(other).filter(|_| states_unit) {
        Some(wanted) => Err(Problem::new(
            wanted.line,
            format!(
                "\"{}\" is converted, but the column `unit` of `{}` states {unit}; drop `unit`, or replace it by a column with a fixed `value`",
                wanted.name, table.name
            ),
        )),
        None => Ok(()),
    }
}

/// Runs and marks stand in one GeoParquet file: a name that both have means one type.
fn check_shared(fields: &Fields, tables: &[Table]) -> Result<(), Problem> {
    let of = |name: &str| tables.iter().find(|table| table.name == name);
    let (Some(run), Some(mark)) = (of("run"), of("mark")) else {
        return Ok(());
    };
    for column in &mark.columns {
        let same = |other: &&Column| other.name.eq_ignore_ascii_case(&column.name);
        let Some(other) = run.columns.iter().find(same) else {
            continue;
        };
        if other.name != column.name || other.quantity.kind() != column.quantity.kind() {
            let listed = ["mark", "run"].iter().find_map(|table| {
                let section = fields.sections.get(*table)?;
                section
                    .columns
                    .iter()
                    .find(|wanted| wanted.name.eq_ignore_ascii_case(&column.name))
            });
            let why = format!(
                "`run` and `mark` both have a column \"{}\", of another type or case; asbuilt.parquet holds both, so make them one type, or give one another name",
                column.name
            );
            return Err(Problem::new(listed.map_or(1, |wanted| wanted.line), why));
        }
    }
    Ok(())
}

fn check_values(table: &Table, section: &Section, record: &AsBuilt) -> Result<(), Problem> {
    for column in &table.columns {
        let Getter::Converted(conversion) = &column.getter else {
            continue;
        };
        for row in table.rows(record) {
            if let Err(why) = conversion.value(row) {
                let line = section
                    .columns
                    .iter()
                    .find(|wanted| wanted.name == column.name)
                    .map_or(1, |wanted| wanted.line);
                let id = crate::export::columns::id(row.item);
                return Err(Problem::new(
                    line,
                    format!("\"{}\" of {id}: {why}", column.name),
                ));
            }
        }
    }
    Ok(())
}
