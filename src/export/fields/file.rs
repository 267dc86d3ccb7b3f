//! The field file as TOML, and its JSON Schema.

use std::collections::{BTreeMap, BTreeSet};

use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Value as Json;
use toml::Spanned;

use super::{Constant, Problem, Section, Wanted};
use crate::error::toml_why;
use crate::export::table;
use crate::export::value::Kind;
use crate::units::LengthUnit;

/// Names, types, units and values of the columns of each table. A table without a section stays as it is.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(rename = "fields")]
struct Written {
    /// Runs.
    #[schemars(with = "Option<Part>")]
    run: Option<Spanned<Part>>,
    /// Marks.
    #[schemars(with = "Option<Part>")]
    mark: Option<Spanned<Part>>,
    /// Camera observations.
    #[schemars(with = "Option<Part>")]
    camera: Option<Spanned<Part>>,
    /// Reference points.
    #[schemars(with = "Option<Part>")]
    reference: Option<Spanned<Part>>,
    /// What runs cross, where a site plan was laid under the job.
    #[schemars(with = "Option<Part>")]
    crossing: Option<Spanned<Part>>,
    /// Vertices of the runs (`profile.csv`).
    #[schemars(with = "Option<Part>")]
    profile: Option<Spanned<Part>>,
    /// Ties (`ties.csv`).
    #[schemars(with = "Option<Part>")]
    ties: Option<Spanned<Part>>,
}

/// The columns of one table, in order.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Part {
    /// What becomes of columns that aren't listed: left out, or kept after the listed ones.
    #[serde(default)]
    others: Others,
    /// Columns.
    #[serde(default)]
    #[schemars(with = "Vec<Entry>")]
    column: Vec<Spanned<Entry>>,
}

#[derive(Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Others {
    /// Left out.
    #[default]
    Drop,
    /// Kept.
    Keep,
}

/// One column: taken `from` one of ours, or with the same `value` in every row.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Entry {
    /// Name of our column.
    from: Option<String>,
    /// Name to write; `from` if left out.
    name: Option<String>,
    /// The same value in every row.
    value: Option<Constant>,
    /// Type to write.
    #[serde(rename = "type")]
    kind: Option<Type>,
    /// Unit to write lengths and coordinates in.
    unit: Option<LengthUnit>,
    /// Decimals to keep.
    #[schemars(range(max = 9))]
    decimals: Option<u8>,
    /// What to write for each value, by its text.
    #[serde(default)]
    values: BTreeMap<String, Constant>,
    /// What to write for a value that `values` does not have.
    otherwise: Option<Constant>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Type {
    Text,
    Integer,
    Number,
}

impl<'de> Deserialize<'de> for Constant {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(untagged)]
        enum Any {
            Integer(i64),
            Real(f64),
            Text(String),
        }
        match Any::deserialize(deserializer) {
            Ok(Any::Integer(value)) => Ok(Self::Integer(value)),
            Ok(Any::Real(value)) if value.is_finite() => Ok(Self::Real(value)),
            Ok(Any::Text(text)) => Ok(Self::Text(text)),
            _ => Err(serde::de::Error::custom(
                "a value is a text in quotes or a number",
            )),
        }
    }
}

impl JsonSchema for Constant {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Value".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": ["string", "number"]})
    }
}

/// JSON Schema of a field file.
#[must_use]
pub fn schema() -> Json {
    schemars::schema_for!(Written).to_value()
}

pub(super) fn parse(text: &str) -> Result<BTreeMap<String, Section>, Problem> {
    let line = |at: usize| 1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count();
    let written: Written = toml::from_str(text)
        .map_err(|e| Problem::new(e.span().map_or(1, |span| line(span.start)), toml_why(&e)))?;
    let parts = [
        ("run", written.run),
        ("mark", written.mark),
        ("camera", written.camera),
        ("reference", written.reference),
        ("crossing", written.crossing),
        ("profile", written.profile),
        ("ties", written.ties),
    ];
    let mut sections = BTreeMap::new();
    for (name, part) in parts {
        if let Some(part) = part {
            sections.insert(name.to_owned(), section(name, part, &line)?);
        }
    }
    Ok(sections)
}

fn section(
    table: &str,
    part: Spanned<Part>,
    line: &dyn Fn(usize) -> usize,
) -> Result<Section, Problem> {
    let start = line(part.span().start);
    let part = part.into_inner();
    let keep_others = matches!(part.others, Others::Keep);
    if part.column.is_empty() && !keep_others {
        let why = format!(
            "[{table}] lists no column; list some, say others = \"keep\", or take the section out"
        );
        return Err(Problem::new(start, why));
    }
    let known: BTreeSet<String> = table::declared()
        .into_iter()
        .filter(|declared| declared.name == table)
        .flat_map(|declared| declared.columns)
        .map(|column| column.name)
        .collect();
    let mut taken = BTreeSet::new();
    let mut columns = Vec::new();
    for entry in part.column {
        let at = line(entry.span().start);
        let wanted = wanted(at, entry.into_inner())?;
        // Databases do not tell upper from lower case.
        if !taken.insert(wanted.name.to_lowercase()) {
            return Err(Problem::new(
                at,
                format!(
                    "[{table}] has two columns called \"{}\"; give each its own name",
                    wanted.name
                ),
            ));
        }
        if let Some(from) = wanted
            .from
            .as_ref()
            .filter(|from| table != "mark" && !known.contains(*from))
        {
            let names: Vec<&str> = known.iter().map(String::as_str).collect();
            return Err(Problem::new(
                at,
                format!(
                    "`{table}` has no column \"{from}\"; it has {}",
                    names.join(", ")
                ),
            ));
        }
        columns.push(wanted);
    }
    Ok(Section {
        keep_others,
        columns,
    })
}

fn wanted(line: usize, entry: Entry) -> Result<Wanted, Problem> {
    let fail = |why: &str| Err(Problem::new(line, why));
    let name = match (&entry.name, &entry.from, &entry.value) {
        (_, Some(_), Some(_)) => return fail("a column has either `from` or `value`, not both"),
        (_, None, None) => {
            return fail(
                "a column needs `from` (a column of ours) or `value` (the same in every row)",
            );
        }
        (None, None, Some(_)) => return fail("a column with a `value` needs a `name`"),
        (Some(name), ..) => name.clone(),
        (None, Some(from), None) => from.clone(),
    };
    if name.is_empty() || name.chars().any(char::is_control) {
        return fail("a name has at least one character, and no control characters");
    }
    if entry.decimals.is_some_and(|decimals| decimals > 9) {
        return fail("`decimals` is 0 to 9");
    }
    if entry.from.is_none()
        && (entry.unit.is_some() || entry.decimals.is_some() || !entry.values.is_empty())
    {
        return fail("`unit`, `decimals` and `values` convert a column of ours: they need `from`");
    }
    if entry.values.is_empty() && entry.otherwise.is_some() {
        return fail("`otherwise` is for what `values` does not have: it needs `values`");
    }
    if !entry.values.is_empty() && (entry.unit.is_some() || entry.decimals.is_some()) {
        return fail("`values` says what is written: `unit` and `decimals` have no use beside it");
    }
    let kind = entry.kind.map(|kind| match kind {
        Type::Text => Kind::Text,
        Type::Integer => Kind::Integer,
        Type::Number => Kind::Real,
    });
    let given = entry
        .values
        .values()
        .chain(&entry.otherwise)
        .chain(&entry.value);
    for constant in given {
        if kind.is_some_and(|kind| constant.as_kind(kind).is_none()) {
            return fail("a given value is not of the column's `type`");
        }
    }
    Ok(Wanted {
        line,
        name,
        from: entry.from,
        fixed: entry.value,
        kind,
        unit: entry.unit,
        decimals: entry.decimals,
        values: entry.values,
        otherwise: entry.otherwise,
    })
}
