//! Names of columns as people write them.

use super::Table;
use crate::job::schema::TableSpec;

/// A heading taken apart: the name in our spelling, and what stands in brackets behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// Lower case, underscores.
    pub name: String,
    /// Text of the brackets.
    pub bracket: Option<String>,
}

impl Name {
    /// The name with what stands in brackets behind it.
    pub fn whole(&self) -> String {
        match &self.bracket {
            Some(bracket) => format!("{} ({bracket})", self.name),
            None => self.name.clone(),
        }
    }
}

/// Lower case, underscores for blanks, dashes and points; `Depth 1 [in]` → `depth_1`, `in`.
pub fn normal(heading: &str) -> Name {
    let heading = heading.trim();
    let bracket = heading
        .strip_suffix(')')
        .and_then(|open| open.rsplit_once('('))
        .or_else(|| {
            heading
                .strip_suffix(']')
                .and_then(|open| open.rsplit_once('['))
        })
        .filter(|(name, _)| !name.trim().is_empty());
    let (bare, bracket) = match bracket {
        Some((name, inner)) => (name, Some(inner.trim().to_owned())),
        None => (heading, None),
    };
    let mut name = String::with_capacity(bare.len());
    for letter in bare.trim().chars().flat_map(char::to_lowercase) {
        match letter {
            ' ' | '-' | '.' | '_' | '\u{a0}' | '\t' | '\n' => {
                if !name.ends_with('_') {
                    name.push('_');
                }
            }
            other => name.push(other),
        }
    }
    Name {
        name: name.trim_matches('_').to_owned(),
        bracket,
    }
}

/// Which numbered column a name is: its index in `numbered`, and its number.
pub fn numbered(name: &str, spec: &TableSpec) -> Option<(usize, u16)> {
    spec.numbered.iter().enumerate().find_map(|(at, column)| {
        let (before, after) = column.name.split_once('N')?;
        let number = name.strip_prefix(before)?.strip_suffix(after)?;
        let plain = !number.is_empty()
            && !number.starts_with('0')
            && number.bytes().all(|byte| byte.is_ascii_digit());
        plain
            .then(|| number.parse().ok())
            .flatten()
            .map(|number| (at, number))
    })
}

/// How many cells of a row are names of columns.
pub fn recognised(table: &Table, row: usize, spec: &TableSpec) -> usize {
    table
        .filled(row)
        .filter(|(_, text)| {
            let name = normal(text).name;
            spec.position(&name).is_some() || numbered(&name, spec).is_some()
        })
        .count()
}

/// The known column that a name looks like: within two letters of it (fewer for short names), containing it, short for it, or
/// in common use for it.
pub fn lookalike(name: &str, spec: &TableSpec) -> Option<&'static str> {
    let digits: String = name
        .chars()
        .map(|letter| if letter.is_ascii_digit() { 'N' } else { letter })
        .collect();
    let all = spec.columns.iter().map(|column| (column.name, name));
    let mut all = all.chain(
        spec.numbered
            .iter()
            .map(|column| (column.name, digits.as_str())),
    );
    let contains = |known: &str, name: &str| {
        (known.len() >= 4 && name.contains(known))
            || (known.len() == 3 && format!("_{name}_").contains(&format!("_{known}_")))
    };
    // `elev`, `dist`, `lat`; but `from` is not short for `from_time`.
    let short = |known: &str| {
        let rest = known.strip_prefix(name).filter(|_| name.len() >= 3);
        rest.is_some_and(|rest| rest.starts_with(char::is_alphabetic))
    };
    let habit = || {
        let ours =
            |(habit, known): &&(&str, &str)| *habit == name && spec.position(known).is_some();
        HABITS.iter().find(ours).map(|(_, known)| *known)
    };
    all.clone()
        .filter(|(known, name)| near(known, name))
        .min_by_key(|(known, name)| distance(known, name, FARTHEST))
        .map(|(known, _)| known)
        .or_else(habit)
        .or_else(|| {
            all.clone()
                .find(|(known, name)| contains(known, name))
                .map(|(known, _)| known)
        })
        .or_else(|| all.find(|(known, _)| short(known)).map(|(known, _)| known))
}

/// What field sheets call some of our columns (from memory), with the name that is read.
const HABITS: [(&str, &str); 10] = [
    ("remark", "note"),
    ("remarks", "note"),
    ("comment", "note"),
    ("comments", "note"),
    ("footage", "counter"),
    ("name", "mark"),
    ("name", "point"),
    ("lng", "longitude"),
    ("observation", "what"),
    ("defect", "what"),
];

/// Letters that a misspelt name may be away from the known one.
const FARTHEST: usize = 2;

/// Whether a name is within two letters of a known one. Two letters of a name of four make another word, so short names
/// allow fewer: our choice.
pub fn near(known: &str, name: &str) -> bool {
    let shorter = known.chars().count().min(name.chars().count());
    let allowed = (shorter.saturating_sub(1) / 2).min(FARTHEST);
    distance(known, name, allowed) <= allowed
}

/// Edit distance with neighbouring letters swapped as one step, or more than `most` as soon as that is certain.
fn distance(a: &str, b: &str, most: usize) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    if a.len().abs_diff(b.len()) > most {
        return most + 1;
    }
    let mut before: Vec<usize> = Vec::new();
    let mut above: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let at =
                |line: &[usize], column: usize| line.get(column).copied().unwrap_or(usize::MAX / 2);
            let mut cost = (at(&above, j + 1) + 1)
                .min(at(&row, j) + 1)
                .min(at(&above, j) + usize::from(x != y));
            let swapped = i > 0 && j > 0 && a.get(i - 1) == Some(y) && b.get(j - 1) == Some(x);
            if swapped {
                cost = cost.min(at(&before, j - 1) + 1);
            }
            row.push(cost);
        }
        before = std::mem::replace(&mut above, row);
    }
    above.last().copied().unwrap_or(most + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::schema::{control, marks};

    #[test]
    fn names_in_our_spelling() {
        for (typed, name, bracket) in [
            ("depth_1 (in)", "depth_1", Some("in")),
            ("Depth 1 [in]", "depth_1", Some("in")),
            (" MARK ", "mark", None),
            ("Tie 1 - Ref.", "tie_1_ref", None),
            ("(in)", "(in)", None),
            ("Easting (US ft)", "easting", Some("US ft")),
        ] {
            assert_eq!(
                normal(typed),
                Name {
                    name: name.to_owned(),
                    bracket: bracket.map(str::to_owned)
                },
                "{typed}"
            );
        }
        assert_eq!(
            numbered("tie_12_ref", &marks::TABLE),
            Some((marks::TIE_REF, 12))
        );
        assert_eq!(numbered("tie_3", &marks::TABLE), Some((marks::TIE, 3)));
        for name in ["tie_", "tie_0", "tie_x", "tie_01", "tie_99999", "tie_-1"] {
            assert_eq!(numbered(name, &marks::TABLE), None, "{name}");
        }
    }

    #[test]
    fn what_looks_misspelt() {
        for (name, known) in [
            ("depht_1", Some("depth_1")),
            ("conter", Some("counter")),
            ("depth1", Some("depth_1")),
            ("dept_3", Some("depth_3")),
            ("counter_reading", Some("counter")),
            ("tie1ref", Some("tie_N_ref")),
            ("nots", Some("note")),
            ("remarks", Some("note")),
            ("footage", Some("counter")),
            ("dist", Some("distance")),
            ("lat", Some("latitude")),
            ("from", None),
            ("gate_code", None),
            ("telephone", None),
            ("inspector", None),
            ("weather", None),
            ("box", None),
            ("xy", None),
        ] {
            assert_eq!(lookalike(name, &marks::TABLE), known, "{name}");
        }
        assert_eq!(lookalike("z", &control::TABLE), None);
        assert_eq!(lookalike("eastin", &control::TABLE), Some("easting"));
    }
}
