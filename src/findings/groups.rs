//! Findings that say the same of several marks, together: said once, with the names of the others.

use std::collections::BTreeMap;

use super::{Code, Finding, Level};
use crate::units;

/// So many are told together; fewer stand for themselves.
const ALIKE: usize = 3;
/// Names that a line has; the rest are counted.
pub const NAMED: usize = 12;

/// Findings with the same words, apart from the marks' names, in groups in the order of their first ones.
#[must_use]
pub fn same<'f>(findings: impl IntoIterator<Item = &'f Finding>) -> Vec<Vec<&'f Finding>> {
    groups(findings, wording)
}

/// Findings with the same words, apart from names and figures.
#[must_use]
pub fn alike<'f>(findings: impl IntoIterator<Item = &'f Finding>) -> Vec<Vec<&'f Finding>> {
    groups(findings, |finding| Some(kind(finding)))
}

/// Whether a group says the very same of all its marks.
#[must_use]
pub fn says_the_same(group: &[&Finding]) -> bool {
    let words = group.first().and_then(|first| wording(first));
    words.is_some() && group.iter().all(|finding| wording(finding) == words)
}

/// The marks of findings, or their runs where they have none.
#[must_use]
pub fn names(findings: &[&Finding]) -> Vec<String> {
    let name = |f: &&Finding| {
        let run = || f.run.as_ref().map(|run| format!("run {run}"));
        f.mark.clone().or_else(run)
    };
    findings.iter().filter_map(name).collect()
}

/// The same in a line: no more than [`NAMED`] by name.
#[must_use]
pub fn listed(findings: &[&Finding]) -> String {
    units::listed(&names(findings), NAMED)
}

/// Where a finding is: `run A, A5`.
#[must_use]
pub fn place(finding: &Finding) -> String {
    let run = finding.run.as_ref().map(|r| format!("run {r}"));
    let place: Vec<String> = run.into_iter().chain(finding.mark.clone()).collect();
    place.join(", ")
}

fn groups<'f>(
    findings: impl IntoIterator<Item = &'f Finding>,
    words: impl Fn(&Finding) -> Option<String>,
) -> Vec<Vec<&'f Finding>> {
    let mut groups: Vec<Vec<&Finding>> = Vec::new();
    let mut known: BTreeMap<(Level, Code, String), usize> = BTreeMap::new();
    for finding in findings {
        let at = match words(finding) {
            Some(words) => *known
                .entry((finding.level, finding.code, words))
                .or_insert(groups.len()),
            None => groups.len(),
        };
        match groups.get_mut(at) {
            Some(group) => group.push(finding),
            None => groups.push(vec![finding]),
        }
    }
    let apart = |group: Vec<_>| {
        if group.len() < ALIKE {
            group.into_iter().map(|finding| vec![finding]).collect()
        } else {
            vec![group]
        }
    };
    groups.into_iter().flat_map(apart).collect()
}

/// The message without the mark's name and place, if it is about a mark and has no figure of its own.
fn wording(finding: &Finding) -> Option<String> {
    if finding.value.is_some() {
        return None;
    }
    let mark = finding.mark.as_deref().filter(|mark| !mark.is_empty())?;
    Some(bare(finding).replace(mark, "\0"))
}

/// The message without names and figures.
fn kind(finding: &Finding) -> String {
    let mark = finding.mark.as_deref().filter(|mark| !mark.is_empty());
    let message = bare(finding);
    let masked = mark.map_or_else(|| message.to_owned(), |mark| message.replace(mark, "#"));
    let mut kind = String::new();
    for c in masked.chars() {
        let c = if c.is_ascii_digit() { '#' } else { c };
        if c != '#' || !kind.ends_with('#') {
            kind.push(c);
        }
    }
    kind
}

/// The message without the place at its beginning.
#[must_use]
pub fn bare(finding: &Finding) -> &str {
    let message = finding.message.as_str();
    let place = finding.source.as_deref();
    place
        .and_then(|place| message.strip_prefix(place)?.strip_prefix(": "))
        .unwrap_or(message)
}
