//! `aslaid load`: records into a utility's own database.

use std::collections::BTreeMap;
use std::path::PathBuf;

use super::Status;
use super::args::LoadArgs;
use super::output::Output;
use crate::error::Error;
use crate::export::fields::Fields;
use crate::export::load::{self, Loaded, Options, TABLES, Target, Version};
use crate::units;

pub fn run(args: &LoadArgs, output: &mut Output) -> Result<Status, Error> {
    let options = Options {
        schema: args.schema.clone(),
        tables: tables(&args.tables)?,
        replace: args.replace,
    };
    let into = target(&args.into, args.schema.as_deref())?;
    let fields = args.fields.as_deref().map(Fields::read).transpose()?;
    let found = load::find(&args.paths)?;
    for (folder, why) in &found.passed {
        output.line(&format!("passed over {}: {why}", folder.display()));
    }
    for loaded in load::load(&found.records, &into, fields.as_ref(), &options)? {
        if !args.quiet {
            output.line(&line(&loaded));
        }
    }
    Ok(Status::Done)
}

/// The database that `--into` names.
pub fn target(into: &str, schema: Option<&str>) -> Result<Target, Error> {
    if ["postgres://", "postgresql://"]
        .iter()
        .any(|scheme| into.starts_with(scheme))
    {
        return Ok(Target::Postgis {
            url: into.to_owned(),
            // On the command line a password can be read by every user of the machine.
            password: std::env::var("PGPASSWORD").ok(),
        });
    }
    if into.contains("://") {
        return Err(Error::Usage(format!(
            "--into: {into} is neither a postgres:// URL nor a path"
        )));
    }
    if schema.is_some() {
        return Err(Error::Usage(
            "--schema: a GeoPackage has no schemas; take it out, or name tables with --table"
                .to_owned(),
        ));
    }
    let path = PathBuf::from(into);
    if path
        .extension()
        .is_none_or(|extension| !extension.eq_ignore_ascii_case("gpkg"))
    {
        return Err(Error::Usage(format!(
            "--into: a GeoPackage's name ends in .gpkg, and {into} does not"
        )));
    }
    Ok(Target::GeoPackage(path))
}

/// `mark=sewer_mark`, each once.
pub fn tables(words: &[String]) -> Result<BTreeMap<String, String>, Error> {
    let mut tables = BTreeMap::new();
    for word in words {
        let given = word
            .split_once('=')
            .filter(|(what, name)| TABLES.contains(what) && !name.is_empty());
        let Some((what, name)) = given else {
            let why = format!(
                "--table: \"{word}\" is not WHAT=NAME with WHAT one of {}",
                TABLES.join(", ")
            );
            return Err(Error::Usage(why));
        };
        if tables.insert(what.to_owned(), name.to_owned()).is_some() {
            return Err(Error::Usage(format!("--table: {what} is named twice")));
        }
    }
    Ok(tables)
}

fn line(loaded: &Loaded) -> String {
    let Loaded {
        identity,
        version,
        before,
        rows,
    } = loaded;
    let rows: Vec<String> = rows
        .iter()
        .map(|(table, count)| counted(*count as usize, table))
        .collect();
    let what = match before {
        None => "new".to_owned(),
        Some(before) if before.hash == version.hash => "the same record again".to_owned(),
        Some(before) => before.revision.map_or_else(
            || "in place of one without revision".to_owned(),
            |it| format!("in place of revision {it}"),
        ),
    };
    format!(
        "{} ({}), {}: {}; {what}",
        identity.job,
        identity.supplier,
        revision(version),
        rows.join(", ")
    )
}

/// How many rows a table got, in words.
fn counted(rows: usize, table: &str) -> String {
    let one = match table {
        "camera" => "camera observation",
        table => table,
    };
    units::counted(rows, one)
}

fn revision(version: &Version) -> String {
    version.revision.map_or_else(
        || "without revision".to_owned(),
        |it| format!("revision {it}"),
    )
}

#[cfg(test)]
mod tests {
    use super::counted;

    #[test]
    fn rows_are_counted_in_words() {
        assert_eq!(counted(1, "mark"), "1 mark");
        assert_eq!(counted(4, "mark"), "4 marks");
        assert_eq!(counted(0, "camera"), "0 camera observations");
    }
}
