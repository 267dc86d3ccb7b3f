//! A table that is there held against the columns that it must have.

/// A column by name and type, as the database writes the type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typed {
    pub name: String,
    pub kind: String,
}

impl Typed {
    pub fn new(name: &str, kind: &str) -> Self {
        Self {
            name: name.to_owned(),
            kind: kind.to_owned(),
        }
    }
}

/// Says how the columns of a table differ from what they must be.
pub fn compare(table: &str, found: &[Typed], wanted: &[Typed]) -> Result<(), String> {
    let mut differences = Vec::new();
    for column in wanted {
        match found.iter().find(|other| other.name == column.name) {
            None => differences.push(format!("it lacks \"{}\" ({})", column.name, column.kind)),
            Some(other) if !other.kind.eq_ignore_ascii_case(&column.kind) => {
                differences.push(format!(
                    "\"{}\" is {} and must be {}",
                    column.name, other.kind, column.kind
                ));
            }
            Some(_) => {}
        }
    }
    for column in found {
        if !wanted.iter().any(|other| other.name == column.name) {
            differences.push(format!(
                "it has \"{}\" ({}), which the record has not",
                column.name, column.kind
            ));
        }
    }
    if differences.is_empty() {
        return Ok(());
    }
    Err(format!(
        "the columns of table {table} don't match: {}; alter the table, name another one with --table, or meet its columns with --fields",
        differences.join("; ")
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_difference_is_named() {
        let wanted = [
            Typed::new("a", "text"),
            Typed::new("b", "bigint"),
            Typed::new("c", "text"),
        ];
        assert_eq!(compare("t", &wanted, &wanted), Ok(()));
        let found = [
            Typed::new("b", "text"),
            Typed::new("c", "TEXT"),
            Typed::new("d", "text"),
        ];
        let message = compare("t", &found, &wanted).unwrap_err();
        for part in [
            "it lacks \"a\" (text)",
            "\"b\" is text and must be bigint",
            "it has \"d\" (text)",
        ] {
            assert!(message.contains(part), "{message}");
        }
        assert!(!message.contains("\"c\""), "{message}");
    }
}
