//! Drawings as group codes and values, a line each ([`crate::sources::Source::Dxf`]): what a reader of shapes does not tell (the
//! unit, whether the file is whole), and where further entities fit in.

use std::collections::BTreeMap;
use std::ops::Range;

/// Units by the number of `$INSUNITS`; the others are of no use for a site.
const UNITS: &[(i64, &str)] = &[
    (1, "in"),
    (2, "ft"),
    (4, "mm"),
    (5, "cm"),
    (6, "m"),
    (21, "us-ft"),
];

/// A group code and its value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pair<'a> {
    /// What the value is.
    pub code: i64,
    /// The value, without blanks about it.
    pub value: &'a str,
    /// Offset of the code's line.
    pub start: usize,
    /// Where the value's line stands, without its end.
    pub at: Range<usize>,
}

/// Reads pairs.
struct Pairs<'a> {
    bytes: &'a [u8],
    at: usize,
    line: usize,
}

impl<'a> Pairs<'a> {
    /// The next line without its end.
    fn line(&mut self) -> Option<Range<usize>> {
        let rest = self.bytes.get(self.at..).filter(|rest| !rest.is_empty())?;
        let length = rest
            .iter()
            .position(|byte| *byte == b'\n')
            .unwrap_or(rest.len());
        let start = self.at;
        self.at = (start + length + 1).min(self.bytes.len());
        self.line += 1;
        let end = start + length;
        let bare = match rest.get(..length) {
            Some([.., b'\r']) => end - 1,
            _ => end,
        };
        Some(start..bare)
    }

    /// Text of a line; what is not UTF-8 (older drawings have code pages) reads as nothing, for none of it is needed here.
    fn text(&self, at: &Range<usize>) -> &'a str {
        let bytes = self.bytes.get(at.clone()).unwrap_or_default();
        std::str::from_utf8(bytes).map_or("", str::trim)
    }

    fn next(&mut self) -> Result<Option<Pair<'a>>, String> {
        let start = self.at;
        let Some(code_at) = self.line() else {
            return Ok(None);
        };
        let text = self.text(&code_at);
        let Ok(code) = text.parse() else {
            let text: String = text.chars().take(20).collect();
            return Err(format!("line {}: \"{text}\" is no group code", self.line));
        };
        let at = self
            .line()
            .ok_or_else(|| format!("line {}: the value is missing", self.line))?;
        Ok(Some(Pair {
            code,
            value: self.text(&at),
            start,
            at,
        }))
    }
}

/// A symbol table of a drawing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// Its handle.
    pub handle: Option<String>,
    /// Where it says how many entries it has.
    pub count: Option<Range<usize>>,
    /// That number.
    pub stated: usize,
    /// Names of its entries.
    pub names: Vec<String>,
    /// Offset behind its last entry.
    pub end: usize,
    /// Plot style of an entry.
    pub plot_style: Option<String>,
}

/// What a drawing says, and where.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Drawing {
    /// `AC1009` and the like; older drawings have none.
    pub version: Option<String>,
    /// Its unit, if it states one: m, ft, us-ft, mm, cm or in.
    pub unit: Option<&'static str>,
    /// Where the handle that is free next stands.
    pub seed: Option<Range<usize>>,
    /// Symbol tables that are complete.
    pub tables: BTreeMap<String, Table>,
    /// Handle of the block record that owns what is drawn.
    pub model: Option<String>,
    /// Offset behind the last entity.
    pub entities_end: Option<usize>,
    /// The highest handle.
    pub highest: u64,
    /// Lines end with a carriage return as well.
    pub crlf: bool,
}

/// What of the drawing a pair belongs to.
#[derive(Default)]
struct State {
    section: String,
    variable: String,
    /// The object last begun.
    object: String,
    /// The table that is open.
    table: Option<(String, Table)>,
    /// An entry of it is open.
    in_entry: bool,
    /// That entry's handle, until its name comes.
    entry: Option<String>,
}

impl Drawing {
    /// Looks through a drawing.
    ///
    /// # Errors
    /// A clause that says why it is none, or broken.
    pub fn scan(bytes: &[u8]) -> Result<Self, String> {
        if bytes.iter().take(64).any(|byte| *byte == 0) {
            return Err("it is a binary DXF, or none: save it as a text DXF".to_owned());
        }
        let mut pairs = Pairs {
            bytes,
            at: 0,
            line: 0,
        };
        let mut drawing = Self {
            crlf: bytes.windows(2).take(200).any(|two| two == b"\r\n"),
            ..Self::default()
        };
        let mut state = State::default();
        while let Some(pair) = pairs.next()? {
            if pair.code == 0 && pair.value == "EOF" {
                return Ok(drawing);
            }
            drawing.take(&pair, &mut state);
        }
        Err(format!(
            "it is not whole: it ends at line {} without the mark of its end",
            pairs.line
        ))
    }

    fn take(&mut self, pair: &Pair<'_>, state: &mut State) {
        if matches!(pair.code, 5 | 105) && state.section != "HEADER" {
            let handle = u64::from_str_radix(pair.value, 16).unwrap_or(0);
            self.highest = self.highest.max(handle);
        }
        match (pair.code, pair.value) {
            (0, "ENDSEC") => {
                if state.section == "ENTITIES" {
                    self.entities_end = Some(pair.start);
                }
                state.section.clear();
            }
            (2, name) if state.object == "SECTION" && state.section.is_empty() => {
                name.clone_into(&mut state.section);
            }
            (9, name) if state.section == "HEADER" => name.clone_into(&mut state.variable),
            _ if state.section == "HEADER" => self.variable(pair, &state.variable),
            _ if state.section == "TABLES" => self.table(pair, state),
            _ => {}
        }
        if pair.code == 0 {
            pair.value.clone_into(&mut state.object);
        }
    }

    fn variable(&mut self, pair: &Pair<'_>, name: &str) {
        match (name, pair.code) {
            ("$ACADVER", 1) => self.version = Some(pair.value.to_owned()),
            ("$INSUNITS", 70) => {
                let number = pair.value.parse().unwrap_or(0);
                let unit = UNITS.iter().find(|(of, _)| *of == number);
                self.unit = unit.map(|(_, word)| *word);
            }
            ("$HANDSEED", 5) => {
                self.seed = Some(pair.at.clone());
                let free = u64::from_str_radix(pair.value, 16).unwrap_or(0);
                self.highest = self.highest.max(free.saturating_sub(1));
            }
            _ => {}
        }
    }

    fn table(&mut self, pair: &Pair<'_>, state: &mut State) {
        match (pair.code, pair.value, &mut state.table) {
            (0, "TABLE", open) => *open = Some((String::new(), Table::default())),
            (0, "ENDTAB", open) => {
                if let Some((name, mut table)) = open.take() {
                    table.end = pair.start;
                    self.tables.insert(name, table);
                }
                state.in_entry = false;
            }
            (0, _, Some(_)) => {
                state.in_entry = true;
                state.entry = None;
            }
            (code, value, Some((name, table))) => match (state.in_entry, code) {
                (false, 2) if name.is_empty() => value.clone_into(name),
                (false, 5) => table.handle = Some(value.to_owned()),
                (false, 70) => {
                    table.count = Some(pair.at.clone());
                    table.stated = value.parse().unwrap_or(0);
                }
                (true, 5) => state.entry = Some(value.to_owned()),
                (true, 2) => {
                    if name == "BLOCK_RECORD" && value.eq_ignore_ascii_case("*Model_Space") {
                        self.model = state.entry.take().or_else(|| self.model.take());
                    }
                    table.names.push(value.to_owned());
                }
                (true, 390) => table.plot_style = Some(value.to_owned()),
                _ => {}
            },
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SMALL: &str = "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n21\n0\nENDSEC\n0\nSECTION\n2\nTABLES\n0\nTABLE\n2\nLAYER\n70\n1\n\
        0\nLAYER\n2\nWATER\n70\n0\n62\n7\n6\nCONTINUOUS\n0\nENDTAB\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n0\nPOINT\n5\n1F\n8\nWATER\n10\n1\n20\n2\n0\nENDSEC\n0\nEOF\n";

    #[test]
    fn version_unit_tables_and_places() {
        let drawing = Drawing::scan(SMALL.as_bytes()).unwrap();
        assert_eq!(
            (drawing.version.as_deref(), drawing.unit, drawing.highest),
            (Some("AC1009"), Some("us-ft"), 0x1F)
        );
        let layers = &drawing.tables["LAYER"];
        assert_eq!(
            (&layers.names[..], layers.stated),
            (&["WATER".to_owned()][..], 1)
        );
        assert!(SMALL[layers.end..].starts_with("0\nENDTAB"));
        assert!(SMALL[drawing.entities_end.unwrap()..].starts_with("0\nENDSEC\n0\nEOF"));
        let windows = SMALL.replace('\n', "\r\n");
        let same = Drawing::scan(windows.as_bytes()).unwrap();
        assert!(same.crlf && same.unit == Some("us-ft"));
        let unitless = SMALL.replace("70\n21\n", "70\n0\n");
        assert_eq!(Drawing::scan(unitless.as_bytes()).unwrap().unit, None);
    }

    #[test]
    fn every_beginning_of_a_drawing_is_an_error_and_none_panics() {
        for end in 0..SMALL.len() - 5 {
            assert!(Drawing::scan(&SMALL.as_bytes()[..end]).is_err(), "{end}");
        }
        let error = Drawing::scan(b"hello\nworld\n").unwrap_err();
        assert!(
            error.contains("line 1: \"hello\" is no group code"),
            "{error}"
        );
        assert!(
            Drawing::scan(b"0\nSECTION\n\0")
                .unwrap_err()
                .contains("binary")
        );
    }
}
