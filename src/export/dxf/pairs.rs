//! Group codes and values, a line each, as DXF is written; and text as it must be written to arrive intact.

use std::fmt::{Display, Write as _};
use std::io::{self, Write};

/// Most bytes of one string of extended data (group code 1000).
const STRING: usize = 255;

/// What the drawing that is written takes: versions of the format differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a thing that a version knows or doesn't, and they go in no fixed order"
)]
pub struct Dialect {
    /// Objects have handles.
    pub handles: bool,
    /// Objects say their classes (since version AC1012).
    pub classes: bool,
    /// Polylines come in the short form too (since AC1014).
    pub short: bool,
    /// Objects say who owns them (since AC1015).
    pub owners: bool,
    /// Text is UTF-8 (since AC1021); before, what is not ASCII is written by its number.
    pub unicode: bool,
    /// Entities may carry our attributes: the application is known.
    pub attributes: bool,
    /// End of a line.
    pub end: &'static str,
}

impl Dialect {
    /// Drawings of our own: AC1021.
    pub const OWN: Self = Self {
        handles: true,
        classes: true,
        short: true,
        owners: true,
        unicode: true,
        attributes: true,
        end: "\r\n",
    };
}

/// Writes pairs of a group code and a value, and numbers the objects.
pub struct Pairs<'w> {
    out: &'w mut dyn Write,
    next: u64,
    dialect: Dialect,
    /// The pair at hand: a drawing is thousands of them, and writing each at once is twice as fast as piece by piece.
    pair: String,
}

impl<'w> Pairs<'w> {
    /// `first` is the handle of the first object that [`Pairs::entity`] numbers.
    pub fn new(out: &'w mut dyn Write, first: u64, dialect: Dialect) -> Self {
        Self {
            out,
            next: first,
            dialect,
            pair: String::new(),
        }
    }

    /// What the drawing takes.
    pub const fn dialect(&self) -> Dialect {
        self.dialect
    }

    /// The handle of the next object; it is taken by this.
    pub fn handle(&mut self) -> u64 {
        let handle = self.next;
        self.next += 1;
        handle
    }

    /// One pair, unless the drawing is of a version that does not know it.
    pub fn pair(&mut self, code: i32, value: impl Display) -> io::Result<()> {
        let known = match code {
            5 => self.dialect.handles,
            100 => self.dialect.classes,
            330 => self.dialect.owners,
            _ => true,
        };
        if !known {
            return Ok(());
        }
        let end = self.dialect.end;
        self.pair.clear();
        write!(self.pair, "{code:3}{end}{value}{end}").map_err(io::Error::other)?;
        self.out.write_all(self.pair.as_bytes())
    }

    /// Several pairs whose values are texts of ours.
    pub fn pairs(&mut self, pairs: &[(i32, &str)]) -> io::Result<()> {
        pairs
            .iter()
            .try_for_each(|(code, value)| self.pair(*code, value))
    }

    /// A text of the job's.
    pub fn text(&mut self, code: i32, text: &str) -> io::Result<()> {
        let text = self.written(text);
        self.pair(code, text)
    }

    /// Text for one line, in the drawing's encoding.
    fn written(&self, text: &str) -> String {
        let text = escaped(text);
        if self.dialect.unicode {
            text
        } else {
            numbered(&text)
        }
    }

    /// A place, at group codes `code`, `code` + 10, `code` + 20.
    pub fn place(&mut self, code: i32, x: f64, y: f64, z: f64) -> io::Result<()> {
        self.pair(code, x)?;
        self.pair(code + 10, y)?;
        self.pair(code + 20, z)
    }

    /// The head of an entity: kind, the next handle, owner, layer. Gives the handle.
    pub fn entity(&mut self, kind: &str, owner: u64, layer: &str) -> io::Result<u64> {
        let handle = self.handle();
        self.pair(0, kind)?;
        self.pair(5, format_args!("{handle:X}"))?;
        self.pair(330, format_args!("{owner:X}"))?;
        self.pair(100, "AcDbEntity")?;
        let layer = self.written(layer);
        self.pair(8, layer)?;
        Ok(handle)
    }

    /// One text of extended data, in pieces that a reader joins.
    pub fn extended_text(&mut self, text: &str) -> io::Result<()> {
        let text = self.written(text);
        let mut rest = text.as_str();
        loop {
            let (piece, more) = rest.split_at(piece_end(rest));
            self.pair(1000, piece)?;
            rest = more;
            if rest.is_empty() {
                return Ok(());
            }
        }
    }
}

/// Where the first piece of a text ends: at a character, and not inside an escape.
fn piece_end(text: &str) -> usize {
    if text.len() <= STRING {
        return text.len();
    }
    let mut end = STRING;
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    // A circumflex and the character after it stay together.
    if text.as_bytes().get(end - 1) == Some(&b'^') {
        end -= 1;
    }
    // So do a character's number and what begins it.
    let tail = text.get(..end).unwrap_or_default();
    match tail.rfind("\\U+") {
        Some(at) if end - at < NUMBERED => at,
        _ => end,
    }
}

/// Bytes of a character written by its number: `\U+00E9`.
const NUMBERED: usize = 7;

/// Text with every character beyond ASCII by its number; those beyond four figures in two halves (UTF-16).
fn numbered(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for character in text.chars() {
        if character.is_ascii() {
            line.push(character);
        } else {
            let mut units = [0; 2];
            for unit in character.encode_utf16(&mut units) {
                // Writing to a string can't fail.
                let _ = write!(line, "\\U+{unit:04X}");
            }
        }
    }
    line
}

/// Text for one line: control characters as `^` and the letter 64 places on, a circumflex as `^` and a space, as DXF has
/// them. All else is UTF-8 as it is.
pub fn escaped(text: &str) -> String {
    let mut line = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '^' => line.push_str("^ "),
            // A string of a C program ends at NUL.
            '\0' => line.push('\u{fffd}'),
            control if control < ' ' => {
                line.push('^');
                line.push(char::from(control as u8 + 64));
            }
            other => line.push(other),
        }
    }
    line
}

/// A text that is drawn, in which `%%` begins a control code and `\U+` a character's number: the percent sign is written
/// as `%%%`, the backslash by its own number.
pub fn drawn(text: &str) -> String {
    let plain = text.replace("\\U+", "\\U+005CU+");
    if plain.contains("%%") {
        plain.replace('%', "%%%")
    } else {
        plain
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn line_ends_and_escapes_do_not_end_a_value() {
        assert_eq!(escaped("a\r\nb\tc^d"), "a^M^Jb^Ic^ d");
        assert_eq!(escaped("é 🚧 \\U+0041"), "é 🚧 \\U+0041");
        assert_eq!(drawn("\\U+0041 \\P"), "\\U+005CU+0041 \\P");
        assert_eq!(drawn("100% of it"), "100% of it");
        assert_eq!(drawn("5% %%d"), "5%%% %%%%%%d");
    }

    #[test]
    fn a_long_text_comes_in_pieces_that_join() {
        let text = format!(
            "{}\n{}🚧{}",
            "x".repeat(254),
            "é".repeat(200),
            "\n".repeat(300)
        );
        let mut out = Vec::new();
        Pairs::new(&mut out, 1, Dialect::OWN)
            .extended_text(&text)
            .unwrap();
        let written = String::from_utf8(out).unwrap();
        let pieces: Vec<&str> = written.split("\r\n").skip(1).step_by(2).collect();
        assert!(pieces.len() > 3 && pieces.iter().all(|piece| piece.len() <= STRING));
        assert!(pieces.iter().all(|piece| !piece.ends_with('^')));
        assert_eq!(pieces.concat(), escaped(&text));
    }

    #[test]
    fn older_versions_get_what_they_know() {
        let old = Dialect {
            handles: false,
            classes: false,
            owners: false,
            unicode: false,
            end: "\n",
            ..Dialect::OWN
        };
        let mut out = Vec::new();
        let mut pairs = Pairs::new(&mut out, 1, old);
        pairs.entity("TEXT", 9, "Höhe").unwrap();
        pairs.text(1, "é 🚧").unwrap();
        let written = String::from_utf8(out).unwrap();
        assert_eq!(
            written,
            "  0\nTEXT\n  8\nH\\U+00F6he\n  1\n\\U+00E9 \\U+D83D\\U+DEA7\n"
        );
        let mut out = Vec::new();
        Pairs::new(&mut out, 1, old)
            .extended_text(&"é".repeat(100))
            .unwrap();
        let written = String::from_utf8(out).unwrap();
        let pieces: Vec<&str> = written.lines().skip(1).step_by(2).collect();
        assert!(pieces.len() > 2 && pieces.iter().all(|piece| piece.len() % 7 == 0));
    }
}
