//! What a line means, and how it is drawn in black on white. The page gives each pen a class of its style sheet.

/// Grey of a line or a fill: 0 black, 1 white.
pub type Grey = f64;

macro_rules! pens {
    ($($name:ident $class:literal $stroke:expr, $fill:expr, $dash:expr, $what:literal;)*) => {
        /// What a line means.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Pen { $(#[doc = $what] $name,)* }

        impl Pen {
            /// Every pen.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];
            /// Its class in the page's style sheet.
            #[must_use]
            pub const fn class(self) -> &'static str { match self { $(Self::$name => $class,)* } }
            /// Width (millimetres) and grey of the line on paper.
            #[must_use]
            pub const fn stroke(self) -> Option<(f64, Grey)> { match self { $(Self::$name => $stroke,)* } }
            /// Grey of the fill on paper.
            #[must_use]
            pub const fn fill(self) -> Option<Grey> { match self { $(Self::$name => $fill,)* } }
            /// Dashes on paper, millimetres.
            #[must_use]
            pub const fn dash(self) -> &'static [f64] { match self { $(Self::$name => &$dash,)* } }
        }
    };
}

// Widths from the series of ISO 128 (0.13, 0.18, 0.25, 0.35, 0.5, 0.7 mm); dashes are our choice, told apart when copied.
pens! {
    Frame "fr" Some((0.5, 0.0)), None, [], "Border of the sheet.";
    Rule "ru" Some((0.18, 0.0)), None, [], "Thin rule.";
    Hair "ha" Some((0.13, 0.55)), None, [], "Rule between rows.";
    Grid "gd" Some((0.13, 0.45)), None, [], "Grid tick.";
    Plan "pl" Some((0.13, 0.6)), None, [], "What a site plan shows, under the runs.";
    Tint "ti" None, Some(0.93), [], "Light ground of a heading row.";
    Band "bd" None, Some(0.86), [], "95 % band of the invert.";
    Bound "bo" Some((0.18, 0.0)), Some(0.9), [], "95 % ellipse.";
    Run "rn" Some((0.7, 0.0)), None, [], "The pipe in plan.";
    Inferred "ri" Some((0.7, 0.0)), None, [2.4, 1.2], "The pipe in plan where nothing located it.";
    Flow "fl" None, Some(0.0), [], "Flow arrow.";
    Ground "gr" Some((0.35, 0.0)), None, [4.0, 1.0, 0.6, 1.0], "Ground.";
    Crown "cr" Some((0.25, 0.0)), None, [], "Outside top of the pipe.";
    Invert "iv" Some((0.5, 0.0)), None, [], "Invert.";
    Drop "dr" Some((0.13, 0.4)), None, [0.8, 0.8], "Line down from a mark.";
    Leader "ld" Some((0.13, 0.0)), None, [], "From a label to its mark.";
    Match "ml" Some((0.35, 0.0)), None, [6.0, 1.2, 1.2, 1.2], "Match line between sheets.";
    Open "op" Some((0.25, 0.0)), Some(1.0), [], "Open symbol.";
    Solid "so" Some((0.25, 0.0)), Some(0.0), [], "Filled symbol.";
    Line "li" Some((0.25, 0.0)), None, [], "Line of a symbol.";
    Halo "hl" None, Some(1.0), [], "White ground of a label.";
    Module "qr" None, Some(0.0), [], "Dark module of the code.";
    Ink "tx" None, Some(0.0), [], "Text.";
    Muted "mu" None, Some(0.3), [], "Text of lesser weight.";
    Draft "df" None, Some(0.0), [], "The word DRAFT.";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn classes_are_distinct_and_every_pen_leaves_a_trace() {
        for (i, pen) in Pen::ALL.iter().enumerate() {
            assert!(
                Pen::ALL
                    .iter()
                    .skip(i + 1)
                    .all(|other| other.class() != pen.class()),
                "{pen:?}"
            );
            assert!(pen.stroke().is_some() || pen.fill().is_some(), "{pen:?}");
        }
    }
}
