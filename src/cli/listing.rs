//! Findings as lines for people: `warning depth-single  marks.csv:14  A5: …`.

use crate::findings::Finding;
use crate::findings::groups::{self, bare};

/// The findings as lines, in their order. What is said of many marks in the same words is said once;
/// `--json` and findings.csv have them all.
pub fn lines(findings: &[&Finding]) -> Vec<String> {
    let groups = groups::same(findings.iter().copied());
    groups.iter().flat_map(|group| told(group)).collect()
}

fn told(group: &[&Finding]) -> Vec<String> {
    let [first, others @ ..] = group else {
        return Vec::new();
    };
    if others.is_empty() {
        return vec![line(first)];
    }
    let same = format!("{:42} the same of {}", "", groups::listed(others));
    vec![line(first), same]
}

/// One finding.
fn line(finding: &Finding) -> String {
    let place = finding.source.as_deref().unwrap_or("");
    let message = bare(finding);
    // A name of several words is looked for as it stands.
    let names = |name: &str| {
        let of_words = name.contains(apart) && message.contains(name);
        of_words || message.split(apart).any(|word| word == name)
    };
    let whom = match (&finding.run, &finding.mark) {
        (_, Some(mark)) if !names(mark) => format!("{mark}: "),
        (Some(run), None) if !names(run) => format!("run {run}: "),
        _ => String::new(),
    };
    let (level, code) = (finding.level.word(), finding.code.word());
    format!("{level:7} {code:18} {place:14} {whom}{message}")
}

fn apart(letter: char) -> bool {
    letter.is_whitespace() || ":;,.()\"".contains(letter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::Code;

    fn about(mark: &str, row: u32, message: &str) -> Finding {
        let mut finding = Finding::new(Code::Unchecked, message);
        finding.mark = Some(mark.to_owned());
        finding.source = Some(format!("marks.csv:{row}"));
        finding
    }

    fn said(findings: &[Finding]) -> Vec<String> {
        lines(&findings.iter().collect::<Vec<_>>())
    }

    #[test]
    fn place_and_mark_are_said_once() {
        let found = said(&[
            about("A1", 2, "marks.csv:2: depth_1: no number"),
            about("A1", 2, "Nothing checks A1."),
        ]);
        let level = Code::Unchecked.level().word();
        assert_eq!(
            found,
            [
                format!("{level:7} unchecked          marks.csv:2    A1: depth_1: no number"),
                format!("{level:7} unchecked          marks.csv:2    Nothing checks A1."),
            ]
        );
    }

    #[test]
    fn the_same_of_many_marks_is_said_once() {
        let many: Vec<Finding> = (1..=20)
            .map(|at| about(&format!("B{at}"), at, &format!("Nothing checks B{at}.")))
            .collect();
        let found = said(&many);
        assert_eq!(found.len(), 2);
        assert!(found[0].ends_with("Nothing checks B1."));
        assert!(
            found[1].ends_with(
                "the same of B2, B3, B4, B5, B6, B7, B8, B9, B10, B11, B12, B13 and 7 more"
            ),
            "{}",
            found[1]
        );
        assert_eq!(said(&many[..2]).len(), 2);
        assert!(said(&many[..2])[1].ends_with("Nothing checks B2."));
    }
}
