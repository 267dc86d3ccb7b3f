//! What a sheet can be asked for: paper, and the camera observations that get a dig page.

use crate::record::AsBuilt;
use crate::sheet::draw::plan::short_name;
use crate::units::LengthUnit;

/// Paper. Sheets lie on their long side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216, 297 by 210 mm.
    A4,
    /// ISO 216, 420 by 297 mm.
    A3,
    /// 11 by 8.5 in.
    Letter,
    /// 17 by 11 in.
    Tabloid,
    /// ASME Y14.1, 34 by 22 in.
    AnsiD,
}

impl Paper {
    /// Every paper, smallest first.
    pub const ALL: [Self; 5] = [Self::A4, Self::Letter, Self::A3, Self::Tabloid, Self::AnsiD];

    /// The word in `--sheet`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::A3 => "A3",
            Self::Letter => "Letter",
            Self::Tabloid => "Tabloid",
            Self::AnsiD => "ANSI-D",
        }
    }

    /// The paper of a word, in any case, `ANSI D` and `D` too.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        let plain = word.trim().to_ascii_lowercase().replace([' ', '_'], "-");
        let plain = if plain == "d" { "ansi-d" } else { &plain };
        Self::ALL
            .into_iter()
            .find(|paper| paper.word().to_ascii_lowercase() == plain)
    }

    /// Width and height, millimetres.
    #[must_use]
    pub const fn size(self) -> (f64, f64) {
        match self {
            Self::A4 => (297.0, 210.0),
            Self::A3 => (420.0, 297.0),
            Self::Letter => (279.4, 215.9),
            Self::Tabloid => (431.8, 279.4),
            Self::AnsiD => (863.6, 558.8),
        }
    }

    /// What every office printer has where the unit is at home (our choice): a sheet printed at full size keeps its scale.
    #[must_use]
    pub const fn usual(unit: LengthUnit) -> Self {
        if unit.is_foot() {
            Self::Letter
        } else {
            Self::A4
        }
    }
}

/// Which camera observations get a dig page.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Dig {
    /// Those that the job marks `dig`.
    #[default]
    Marked,
    /// Every one.
    All,
    /// Those named, as the sheet names them (`c2`) or with their run (`A/c2`), besides the marked ones.
    Named(Vec<String>),
}

/// What a sheet is asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetOptions {
    /// Paper; [`Paper::usual`] if absent.
    pub size: Option<Paper>,
    /// Dig pages.
    pub dig: Dig,
}

impl SheetOptions {
    /// The paper for a record.
    #[must_use]
    pub fn paper(&self, record: &AsBuilt) -> Paper {
        self.size.unwrap_or_else(|| Paper::usual(record.frame.unit))
    }

    /// Places of the chosen observations in `record.camera`, in order.
    #[must_use]
    pub fn chosen(&self, record: &AsBuilt) -> Vec<usize> {
        let wanted = |id: &str, run: &str| match &self.dig {
            Dig::Marked => false,
            Dig::All => true,
            Dig::Named(names) => {
                let name = short_name(id);
                names
                    .iter()
                    .map(|n| n.trim())
                    .any(|n| n == name || n == format!("{run}/{name}"))
            }
        };
        let all = record.camera.iter().enumerate();
        all.filter(|(_, c)| c.dig || wanted(&c.id, &c.run))
            .map(|(i, _)| i)
            .collect()
    }

    /// Names asked for that no camera observation has.
    #[must_use]
    pub fn unknown(&self, record: &AsBuilt) -> Vec<String> {
        let Dig::Named(names) = &self.dig else {
            return Vec::new();
        };
        let known = |name: &&String| {
            let name = name.trim();
            record.camera.iter().any(|c| {
                let short = short_name(&c.id);
                name == short || name == format!("{}/{short}", c.run)
            })
        };
        names.iter().filter(|name| !known(name)).cloned().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_paper_is_found_by_its_word_in_any_case() {
        for paper in Paper::ALL {
            assert_eq!(Paper::from_word(&paper.word().to_uppercase()), Some(paper));
            assert!(paper.size().0 > paper.size().1);
        }
        assert_eq!(Paper::from_word("ansi d"), Some(Paper::AnsiD));
        assert_eq!(Paper::from_word("A5"), None);
    }
}
