//! What a spreadsheet's number format makes of a number: the words that it puts beside it, percent, and thousands that it leaves out.
//!
//! A cell counts as people see it: 4.9 under `0.0" ft"` is 4.9 ft, in whatever unit the job is. Digits are not rounded, and what says
//! nothing (currency signs, dashes, blanks, colours) is passed over.

/// A number format, as far as it changes what a number says.
#[derive(Clone, Debug, PartialEq)]
pub struct Format {
    sections: Vec<Section>,
}

/// One of the parts between semicolons.
#[derive(Clone, Debug, Default, PartialEq)]
struct Section {
    condition: Option<Condition>,
    before: String,
    after: String,
    percent: bool,
    /// How many times a thousand the number shows less than it is.
    thousands: i32,
    /// It shows the number, not words in its place.
    number: bool,
    /// It is for text.
    text: bool,
}

/// When a section is taken, if it says so.
#[derive(Clone, Debug, PartialEq)]
struct Condition {
    relation: String,
    figure: f64,
}

impl Condition {
    /// `<=0`, as it stands between brackets.
    fn read(inner: &str) -> Option<Self> {
        let figure = inner.trim_start_matches(['<', '>', '=']);
        Some(Self {
            relation: inner.strip_suffix(figure)?.to_owned(),
            figure: figure.trim().parse().ok()?,
        })
    }

    fn holds(&self, number: f64) -> bool {
        match self.relation.as_str() {
            "<" => number < self.figure,
            "<=" => number <= self.figure,
            ">" => number > self.figure,
            ">=" => number >= self.figure,
            "<>" => number.total_cmp(&self.figure).is_ne(),
            _ => number.total_cmp(&self.figure).is_eq(),
        }
    }

    fn below_nothing(&self) -> bool {
        self.relation.starts_with('<') && self.relation != "<>" && self.figure <= 0.0
    }
}

impl Format {
    /// Reads a format's code; `None` if it shows every number as it is stored.
    pub fn read(code: &str) -> Option<Self> {
        let mut reading = Reading::default();
        let mut rest = code;
        while let Some(first) = rest.chars().next() {
            let taken = reading.take(rest, first).max(first.len_utf8());
            rest = rest.get(taken..).unwrap_or_default();
        }
        reading.end_digits();
        let mut sections: Vec<Section> = reading.done.into_iter().chain([reading.now]).collect();
        if sections.len() > 1 {
            sections.retain(|section| !section.text);
        }
        for section in &mut sections {
            section.tidy();
        }
        sections
            .iter()
            .any(Section::changes)
            .then_some(Self { sections })
    }

    /// The number as text where the format changes what it says.
    pub fn show(&self, number: f64) -> Option<String> {
        let (index, section) = self.section(number)?;
        if !section.changes() {
            return None;
        }
        let mut shown = number / 1000_f64.powi(section.thousands);
        if number < 0.0 && self.says_minus(index, section) {
            shown = shown.abs();
        }
        let (before, after) = (&section.before, &section.after);
        Some(if section.percent {
            // A percentage is stored as its ratio; two more digits than it can have shown.
            let shown = (shown * 1e14).round() / 1e12;
            format!("{before}{shown} %{after}")
        } else {
            format!("{before}{shown}{after}")
        })
    }

    /// The section that shows a number, with its index.
    fn section(&self, number: f64) -> Option<(usize, &Section)> {
        let all = self.sections.as_slice();
        let index = if all.iter().any(|section| section.condition.is_some()) {
            all.iter().position(|section| {
                let condition = section.condition.as_ref();
                condition.is_none_or(|condition| condition.holds(number))
            })?
        } else {
            match all.len() {
                0 | 1 => 0,
                2 => usize::from(number < 0.0),
                _ if number < 0.0 => 1,
                _ if number > 0.0 => 0,
                _ => 2,
            }
        };
        Some((index, all.get(index)?))
    }

    /// Whether a section of negative numbers says in words (`L` where others have `R`) what the minus would: such a section shows none.
    fn says_minus(&self, index: usize, section: &Section) -> bool {
        let negative = match &section.condition {
            Some(condition) => condition.below_nothing(),
            None => index == 1,
        };
        let other = self
            .sections
            .get(usize::from(index == 0))
            .is_some_and(|other| {
                (&other.before, &other.after) != (&section.before, &section.after)
            });
        negative && other
    }
}

impl Section {
    /// Whether a number says something else than it does as it is stored.
    fn changes(&self) -> bool {
        let words = !(self.before.is_empty() && self.after.is_empty());
        self.number && (words || self.percent || self.thousands > 0)
    }

    /// Leaves of the literal text what says something.
    fn tidy(&mut self) {
        let signs = ['-', '+', '(', ')', ' ', '\u{a0}'];
        let before = self.before.trim_start_matches(signs);
        self.before = kept(before).to_owned();
        let word = self.after.trim_matches(signs);
        let gap = if self.after.starts_with([' ', '\u{a0}']) {
            " "
        } else {
            ""
        };
        self.after = match kept(word) {
            "" => String::new(),
            word => format!("{gap}{word}"),
        };
    }
}

/// A literal text, if it says something: it has letters, or a mark of feet, inches, degrees or percent.
fn kept(text: &str) -> &str {
    let marks = "'\"%\u{2018}\u{2019}\u{201c}\u{201d}\u{2032}\u{2033}\u{b0}\u{2da}\u{2030}";
    let says = |letter: char| letter.is_alphabetic() || marks.contains(letter);
    if text.contains(says) { text } else { "" }
}

/// A code being read.
#[derive(Default)]
struct Reading {
    done: Vec<Section>,
    now: Section,
    /// Commas since the last digit: they part thousands if another follows, and leave them out if none does.
    commas: i32,
}

impl Reading {
    /// Takes what the code begins with, and how many bytes of it.
    fn take(&mut self, rest: &str, first: char) -> usize {
        let after = rest.get(first.len_utf8()..).unwrap_or_default();
        let second = after.chars().next();
        if first == ',' && self.now.number {
            self.commas += 1;
            return 1;
        }
        let is_digit = matches!(first, '0'..='9' | '#' | '?');
        if !is_digit {
            self.end_digits();
        }
        match first {
            ';' => self.done.push(std::mem::take(&mut self.now)),
            '"' => {
                let end = after.find('"').unwrap_or(after.len());
                self.literal(after.get(..end).unwrap_or_default());
                return end + 2;
            }
            '[' => {
                let end = after.find(']').unwrap_or(after.len());
                self.bracket(after.get(..end).unwrap_or_default());
                return end + 2;
            }
            '\\' | '_' | '*' => {
                let next = second.map_or(0, char::len_utf8);
                match (first, second) {
                    ('\\', Some(letter)) => self.literal(letter.encode_utf8(&mut [0; 4])),
                    ('_', _) => self.literal(" "), // as wide as the letter
                    _ => {}
                }
                return 1 + next;
            }
            '%' => self.now.percent = true,
            '.' => {}
            '@' => {
                self.now.text = true;
                self.digit();
            }
            'E' | 'e' if self.now.number && matches!(second, Some('+' | '-')) => return 2,
            'G' | 'g' if begins(rest, "general") => {
                self.digit();
                return "general".len();
            }
            _ if is_digit => self.digit(),
            _ => self.literal(first.encode_utf8(&mut [0; 4])),
        }
        first.len_utf8()
    }

    /// Literal text. What stands between digits is kept with what follows them if it says something: `0° 00'` can't be read as a
    /// plain number.
    fn literal(&mut self, text: &str) {
        if self.now.number {
            self.now.after.push_str(text);
        } else {
            self.now.before.push_str(text);
        }
    }

    /// Commas that no digit follows leave thousands out.
    fn end_digits(&mut self) {
        self.now.thousands += std::mem::take(&mut self.commas);
    }

    fn digit(&mut self) {
        self.commas = 0;
        self.now.number = true;
        if kept(&self.now.after).is_empty() {
            self.now.after.clear();
        }
    }

    /// A colour, a condition, or a currency sign with its country.
    fn bracket(&mut self, inner: &str) {
        if let Some(sign) = inner.strip_prefix('$') {
            let country = |tail: &str| tail.bytes().all(|byte| byte.is_ascii_hexdigit());
            let sign = match sign.rsplit_once('-') {
                Some((sign, tail)) if country(tail) => sign,
                _ => sign,
            };
            self.literal(sign);
        } else if inner.starts_with(['<', '>', '=']) {
            self.now.condition = Condition::read(inner);
        }
    }
}

/// Whether a code begins with a word, in any case.
fn begins(code: &str, word: &str) -> bool {
    code.get(..word.len())
        .is_some_and(|beginning| beginning.eq_ignore_ascii_case(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn shows(code: &str, number: f64, text: &str) {
        let shown = Format::read(code).and_then(|format| format.show(number));
        assert_eq!(shown.as_deref(), Some(text), "{code} of {number}");
    }

    #[test]
    fn what_stands_beside_a_number_belongs_to_it() {
        for (code, number, text) in [
            ("0.0\" ft\"", 4.9, "4.9 ft"),
            ("0.0\\ \\f\\t", 4.9, "4.9 ft"),
            ("#,##0.00\\ \"m\"", 1234.5, "1234.5 m"),
            ("General\" m\"", 1.25, "1.25 m"),
            ("0.0'", 4.9, "4.9'"),
            ("0.0\\\"", 4.9, "4.9\""),
            ("# ?/?\" in\"", 6.5, "6.5 in"),
            ("0+00.0\" m\"", 142.6, "142.6 m"),
            ("[Red][>=1]0.0\" m\";0\" mm\"", 2.0, "2 m"),
            ("[Red][>=1]0.0\" m\";0\" mm\"", 0.5, "0.5 mm"),
            ("0.0 [$ft-409]", 4.9, "4.9 ft"),
            (
                "_(* #,##0.0\" ft\"_);_(* (#,##0.0\" ft\");_(* \"-\"??_)",
                -4.9,
                "-4.9 ft",
            ),
            ("0.0\" (ft)\"", 4.9, "4.9 ft"),
            ("\"MH-\"0", 7.0, "MH-7"),
            ("0.00\" R\";0.00\" L\"", -4.2, "4.2 L"),
            ("\"R \"0.00;\"L \"0.00", 4.2, "R 4.2"),
            ("[<0]\"L \"0.00;\"R \"0.00", -4.2, "L 4.2"),
            ("0.0\" ft\";[Red]-0.0\" ft\"", -4.2, "-4.2 ft"),
            ("000\"\u{b0}\"00\"'\"", 12345.0, "12345\u{b0}'"),
        ] {
            shows(code, number, text);
        }
    }

    #[test]
    fn percent_only_where_it_is_not_a_literal() {
        shows("0.0%", 0.02, "2 %");
        shows("0.0\" \"%", 0.02, "2 %");
        shows("0.0\"%\"", 2.0, "2%");
        shows("0.0\\%", 2.0, "2%");
        shows("0.00%", 0.0123, "1.23 %");
    }

    #[test]
    fn thousands_left_out_are_left_out() {
        shows("0.0,", 4900.0, "4.9");
        shows("0.0,,\" m\"", 4_900_000.0, "4.9 m");
        shows("#,##0,.0", 1_234_500.0, "1234.5");
    }

    #[test]
    fn what_says_nothing_leaves_the_number_alone() {
        for code in [
            "General",
            "0.00",
            "#,##0.00",
            "0.00E+00",
            "# ??/16",
            "0+00.00",
            "\"#\"0",
            "[$\u{20ac}-407] #,##0.00",
            "\"$\"#,##0_);[Red](\"$\"#,##0)",
            "@",
            "0.0;-0.0;0;@\" ft\"",
            "0.0;0.0",
            "",
            "\"",
            "[",
            "\\",
        ] {
            let shown = Format::read(code).and_then(|format| format.show(-4.9));
            assert_eq!(shown, None, "{code}");
        }
        let words = Format::read("0.0\" ft\";-0.0\" ft\";\"none\"").unwrap();
        assert_eq!(words.show(0.0), None);
    }
}
