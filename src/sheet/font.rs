//! The sheet's two faces: measuring and glyphs.
//!
//! Text is set glyph by glyph with the face's own advances and nothing else (no kerning, no ligatures), so that what
//! is measured is what is drawn. Scripts that need shaping have no glyphs here: on paper they come out as `?`, which
//! [`Fonts::lacks`] tells beforehand so that the sheet can say so. The page has other faces to fall back on, so that letters are
//! kept until they are printed.

use krilla::text::{GlyphId, KrillaGlyph};
use ttf_parser::Face;

use super::Error;

/// Noto Sans Regular, SIL Open Font License 1.1 (`assets/fonts/OFL.txt`).
pub const REGULAR: &[u8] = include_bytes!("../../assets/fonts/NotoSans-Regular.ttf");
/// Noto Sans Bold, same licence.
pub const BOLD: &[u8] = include_bytes!("../../assets/fonts/NotoSans-Bold.ttf");

/// Height of a capital over the em, both faces (OS/2 table: 714 of 1000).
const CAPITAL: f64 = 0.714;

/// Size of type (em, millimetres) whose capitals are `height` millimetres high: ISO 3098 names lettering by that height
/// ([`crate::sources::Source::Iso3098`]).
#[must_use]
pub const fn em(height: f64) -> f64 {
    height / CAPITAL
}

/// Both faces, parsed.
pub struct Fonts {
    regular: Face<'static>,
    bold: Face<'static>,
}

impl Fonts {
    /// Parses the faces that the crate carries.
    pub fn new() -> Result<Self, Error> {
        let parse = |data| Face::parse(data, 0).map_err(|why| Error::Font(why.to_string()));
        Ok(Self {
            regular: parse(REGULAR)?,
            bold: parse(BOLD)?,
        })
    }

    fn face(&self, bold: bool) -> &Face<'static> {
        if bold { &self.bold } else { &self.regular }
    }

    /// Width of a line of text, in the unit of `size` (the em). What has no glyph is taken to be an em wide, as another face
    /// may have it.
    #[must_use]
    pub fn width(&self, text: &str, size: f64, bold: bool) -> f64 {
        let face = self.face(bold);
        let units: f64 = text
            .chars()
            .map(|c| match glyph(face, c) {
                Some(id) => advance(face, id),
                None => face.units_per_em(),
            })
            .map(f64::from)
            .sum();
        units / f64::from(face.units_per_em()) * size
    }

    /// Glyphs of a line of text, advances in ems; each glyph keeps its byte range, so that text is found in the PDF.
    #[must_use]
    pub fn glyphs(&self, text: &str, bold: bool) -> Vec<KrillaGlyph> {
        let face = self.face(bold);
        let em = f32::from(face.units_per_em());
        text.char_indices()
            .map(|(at, c)| {
                let id = glyph(face, c)
                    .or_else(|| face.glyph_index('?'))
                    .unwrap_or(ttf_parser::GlyphId(0));
                let range = at..at + c.len_utf8();
                KrillaGlyph::new(
                    GlyphId::new(u32::from(id.0)),
                    f32::from(advance(face, id)) / em,
                    0.0,
                    0.0,
                    0.0,
                    range,
                    None,
                )
            })
            .collect()
    }

    /// Whether a text has letters that can't be printed.
    #[must_use]
    pub fn lacks(&self, text: &str) -> bool {
        one_line(text).chars().any(|c| !self.has(c))
    }

    /// Text as it is printed: one line, `?` for what has no glyph.
    #[must_use]
    pub fn printed(&self, text: &str) -> String {
        let print = |c| if self.has(c) { c } else { '?' };
        one_line(text).chars().map(print).collect()
    }

    fn has(&self, c: char) -> bool {
        c.is_ascii() || (has(&self.regular, c) && has(&self.bold, c))
    }

    /// Breaks text into lines no wider than `width`; a word longer than a line is cut.
    #[must_use]
    pub fn wrap(&self, text: &str, width: f64, size: f64, bold: bool) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in words(&one_line(text)) {
            for piece in self.pieces(&word, width, size, bold) {
                let longer = if line.is_empty() {
                    piece.clone()
                } else {
                    format!("{line} {piece}")
                };
                if line.is_empty() || self.width(&longer, size, bold) <= width {
                    line = longer;
                } else {
                    lines.push(std::mem::replace(&mut line, piece));
                }
            }
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(line);
        }
        lines
    }

    fn pieces(&self, word: &str, width: f64, size: f64, bold: bool) -> Vec<String> {
        if self.width(word, size, bold) <= width {
            return vec![word.to_owned()];
        }
        let mut pieces = vec![String::new()];
        for c in word.chars() {
            let Some(last) = pieces.last_mut() else { break };
            last.push(c);
            if last.chars().count() > 1 && self.width(last, size, bold) > width {
                last.pop();
                pieces.push(c.to_string());
            }
        }
        pieces
    }

    /// Text cut to one line of `width`, with an ellipsis where something was cut.
    #[must_use]
    pub fn fit(&self, text: &str, width: f64, size: f64, bold: bool) -> String {
        let text = one_line(text);
        if self.width(&text, size, bold) <= width {
            return text;
        }
        let mut cut: String = text;
        while cut.pop().is_some() {
            let shown = format!("{}…", cut.trim_end());
            if self.width(&shown, size, bold) <= width {
                return shown;
            }
        }
        String::new()
    }
}

/// Text in one line: control characters are spaces.
#[must_use]
pub fn one_line(text: &str) -> String {
    let space = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    let set = |c| if space(c) { ' ' } else { c };
    text.chars().map(set).collect()
}

/// Words between white space; a percent sign stays with its figure.
fn words(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match words.last_mut() {
            Some(last) if word.starts_with('%') => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

fn has(face: &Face<'_>, c: char) -> bool {
    face.glyph_index(c).is_some()
}

fn glyph(face: &Face<'_>, c: char) -> Option<ttf_parser::GlyphId> {
    face.glyph_index(if c.is_control() { ' ' } else { c })
}

fn advance(face: &Face<'_>, id: ttf_parser::GlyphId) -> u16 {
    face.glyph_hor_advance(id).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_character_that_the_sheet_itself_uses_has_a_glyph() {
        let fonts = Fonts::new().unwrap();
        assert!(!fonts.lacks("°±×½¼¾–—…·µéäöüßøåñç’‘“”′″²³%"));
    }

    #[test]
    fn a_letter_without_a_glyph_is_kept_until_it_is_printed() {
        let fonts = Fonts::new().unwrap();
        assert_eq!(fonts.printed("oak 🌳 漢\n\u{7}x"), "oak ? ?  x");
        assert_eq!(fonts.fit("oak 🌳 漢\nx", 90.0, 2.5, false), "oak 🌳 漢 x");
        assert_eq!(fonts.wrap("oak 🌳", 90.0, 2.5, false), ["oak 🌳"]);
        assert!(fonts.lacks("漢") && !fonts.lacks("oak\n"));
        assert!((fonts.width("漢", 2.5, false) - 2.5).abs() < 1e-12);
    }

    #[test]
    fn wrapped_lines_fit_and_lose_nothing() {
        let fonts = Fonts::new().unwrap();
        let text = "Deepest point 3.41 m; a_very_long_word_without_any_place_to_break_it_at_all and the rest";
        let lines = fonts.wrap(text, 20.0, 2.5, false);
        assert!(
            lines
                .iter()
                .all(|line| fonts.width(line, 2.5, false) <= 20.0),
            "{lines:?}"
        );
        let squeeze = |s: &str| s.chars().filter(|c| !c.is_whitespace()).collect::<String>();
        assert_eq!(squeeze(&lines.concat()), squeeze(text));
    }

    #[test]
    fn cut_text_fits() {
        let fonts = Fonts::new().unwrap();
        let cut = fonts.fit("root intrusion at the joint", 12.0, 2.5, false);
        assert!(
            cut.ends_with('…') && fonts.width(&cut, 2.5, false) <= 12.0,
            "{cut}"
        );
        assert_eq!(fonts.fit("short", 30.0, 2.5, false), "short");
    }
}
