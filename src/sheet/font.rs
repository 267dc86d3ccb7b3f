//! The sheet's two faces: measuring and glyphs.
//!
//! Text is set glyph by glyph with the face's own advances and nothing else (no kerning, no ligatures), so that what
//! is measured is what is drawn. Scripts that need shaping have no glyphs here: on paper they come out as `?`, which
//! [`Fonts::lacks`] tells beforehand so that the sheet can say so. The page has other faces to fall back on, so that letters are
//! kept until they are printed.

use std::collections::{BTreeMap, BTreeSet};

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

    /// Text cut to `width` in its middle: of the room, the share `head` goes to its beginning.
    fn cut(&self, text: &str, width: f64, size: f64, bold: bool, head: f64) -> String {
        let text = one_line(text);
        let room = width - self.width("…", size, bold);
        let letters: Vec<char> = text.chars().collect();
        let wide = |c: &char| self.width(c.encode_utf8(&mut [0; 4]), size, bold);
        let taken = |letters: &mut dyn Iterator<Item = &char>, room: f64| {
            let mut used = 0.0;
            let within = letters.take_while(|c| {
                used += wide(c);
                used <= room
            });
            let within = within.collect::<Vec<_>>();
            (within.len(), within.into_iter().map(wide).sum::<f64>())
        };
        let (first, used) = taken(&mut letters.iter(), room * head);
        let (last, _) = taken(&mut letters.iter().skip(first).rev(), room - used);
        let (start, end) = (
            letters.iter().take(first),
            letters.iter().skip(letters.len() - last),
        );
        let (start, end): (String, String) = (start.collect(), end.collect());
        format!("{}…{}", start.trim_end(), end.trim_start())
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

/// How much of the room of a name cut in its middle goes to its beginning; each is tried until different names look different.
const HEADS: [f64; 5] = [0.5, 0.25, 0.75, 0.0, 0.9];

/// Names cut to a width in such a way that different ones stay different: in their middle, since what tells them apart is most often
/// their end; those that differ in their middle alone, to what differs; where no cut tells them apart, not at all.
#[derive(Debug, Default)]
pub struct Names {
    cut: BTreeMap<String, String>,
}

impl Names {
    /// Of all names that stand in one drawing.
    #[must_use]
    pub fn new<'a>(
        names: impl Iterator<Item = &'a str>,
        fonts: &Fonts,
        width: f64,
        size: f64,
        bold: bool,
    ) -> Self {
        // No letter is wider than an em: of most names their number of letters says enough.
        let fits = |name: &str| {
            name.len() as f64 * size <= width || fonts.width(&one_line(name), size, bold) <= width
        };
        let (short, long): (BTreeSet<&str>, BTreeSet<&str>) = names.partition(|name| fits(name));
        let cut_at = |text: &str, head: f64| {
            if fits(text) {
                one_line(text)
            } else {
                fonts.cut(text, width, size, bold, head)
            }
        };
        let mut cut = BTreeMap::new();
        let whole = long.iter().map(|name| (*name, (*name).to_owned()));
        tell_apart(&mut cut, &whole.collect(), &short, &cut_at);
        let mut alike: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for name in long.into_iter().filter(|name| !cut.contains_key(*name)) {
            alike.entry(cut_at(name, 0.5)).or_default().push(name);
        }
        let differing = alike.values().flat_map(|names| differing(names));
        tell_apart(&mut cut, &differing.collect(), &short, &cut_at);
        Self { cut }
    }

    /// How a name is printed.
    #[must_use]
    pub fn of(&self, name: &str) -> String {
        self.cut
            .get(name)
            .cloned()
            .unwrap_or_else(|| one_line(name))
    }
}

/// Adds cuts of what is shown of names (by name), as far as no two look alike.
fn tell_apart<'a>(
    cut: &mut BTreeMap<String, String>,
    shown: &BTreeMap<&'a str, String>,
    short: &BTreeSet<&str>,
    cut_at: &dyn Fn(&str, f64) -> String,
) {
    for head in HEADS {
        let left = shown.iter().filter(|(name, _)| !cut.contains_key(**name));
        let made: Vec<(&'a str, String)> = left
            .map(|(name, text)| (*name, cut_at(text, head)))
            .collect();
        if made.is_empty() {
            return;
        }
        let mut count: BTreeMap<String, usize> = BTreeMap::new();
        let taken = short.iter().map(|name| (*name).to_owned());
        let taken = taken.chain(cut.values().cloned());
        for text in taken.chain(made.iter().map(|(_, text)| text.clone())) {
            *count.entry(text).or_default() += 1;
        }
        for (name, text) in made {
            if count.get(&text) == Some(&1) {
                cut.insert(name.to_owned(), text);
            }
        }
    }
}

/// Of names that begin and end alike, what differs, between ellipses: in whole words, since a part of a figure is another figure.
fn differing<'a>(names: &[&'a str]) -> Vec<(&'a str, String)> {
    let Some((first, others)) = names.split_first() else {
        return Vec::new();
    };
    let alike = |a: &mut dyn Iterator<Item = char>, b: &mut dyn Iterator<Item = char>| {
        a.zip(b).take_while(|(a, b)| a == b).count()
    };
    let letters: Vec<char> = first.chars().collect();
    let least = |count: &dyn Fn(&str) -> usize| others.iter().map(|name| count(name)).min();
    let start = least(&|name| alike(&mut first.chars(), &mut name.chars())).unwrap_or(0);
    let start = letters.iter().take(start);
    let start = start.rev().skip_while(|c| c.is_alphanumeric()).count();
    let end = least(&|name| {
        let rest = name.chars().rev();
        let room = name.chars().count().min(letters.len()) - start;
        alike(&mut first.chars().rev(), &mut rest.take(room))
    });
    let end = letters.iter().rev().take(end.unwrap_or(0));
    let end = end.rev().skip_while(|c| c.is_alphanumeric()).count();
    let shown = |name: &&'a str| {
        let count = name.chars().count();
        let middle: String = name.chars().take(count - end).skip(start).collect();
        let ellipsis = |cut: usize| if cut > 0 { "…" } else { "" };
        (
            *name,
            format!("{}{middle}{}", ellipsis(start), ellipsis(end)),
        )
    };
    names.iter().map(shown).collect()
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
    fn names_that_begin_alike_stay_different_when_they_are_cut() {
        let fonts = Fonts::new().unwrap();
        let all = |names: &[&str], width: f64| -> Vec<String> {
            let cut = Names::new(names.iter().copied(), &fonts, width, 2.52, true);
            names.iter().map(|name| cut.of(name)).collect()
        };
        let corners = [
            "House corner north-east",
            "House corner north-west",
            "House corner south",
        ];
        let cut = all(&corners, 24.0);
        for (i, text) in cut.iter().enumerate() {
            assert!(
                text.contains('…') && fonts.width(text, 2.52, true) <= 24.0,
                "{cut:?}"
            );
            assert!(!cut[i + 1..].contains(text), "{cut:?}");
        }
        // What differs in its middle alone is cut to that, in whole figures.
        let middle = [
            "Inspection chamber 1 of the west wing, north",
            "Inspection chamber 12 of the west wing, north",
            "Inspection chamber 13 of the west wing, north",
        ];
        assert_eq!(all(&middle, 9.0), ["…1…", "…12…", "…13…"]);
        // What no cut tells apart is left whole.
        let scattered = [
            "House 1 corner 1 gutter 1 of the yard",
            "House 2 corner 1 gutter 1 of the yard",
            "House 1 corner 2 gutter 1 of the yard",
            "House 1 corner 1 gutter 2 of the yard",
            "House 1 corner 2 gutter 2 of the yard",
            "House 2 corner 2 gutter 2 of the yard",
        ];
        let cut = all(&scattered, 9.0);
        assert!(cut.iter().any(|text| scattered.contains(&text.as_str())));
        assert_eq!(cut.iter().collect::<BTreeSet<_>>().len(), cut.len());
        let cut = all(&["MH-2001", "MH-2002", "A1"], 9.0);
        assert!(
            cut[0] != cut[1] && cut[0].contains('…') && cut[2] == "A1",
            "{cut:?}"
        );
        // A name that is another one's cut keeps it from that.
        let whole = all(&["Hou…uth", "House corner south"], 14.0);
        assert!(whole[0] != whole[1], "{whole:?}");
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
