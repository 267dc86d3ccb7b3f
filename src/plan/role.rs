//! What the layers of a plan are, and what their names suggest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What the features of a layer are.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// A building.
    Building,
    /// A property line, an easement, the edge of a right of way.
    Boundary,
    /// Another utility.
    Utility,
    /// A tree or a hedge.
    Tree,
    /// Pavement, a drive, a kerb.
    Pavement,
    /// A proposed excavation: footings, piles, a trench.
    Excavation,
    /// A wall, a fence, a tank, another structure.
    Structure,
    /// Open water.
    Water,
    /// Anything else.
    Other,
}

impl Role {
    /// Whether a closed line of this role is the edge of an area, as drawings have it, which know no areas.
    #[must_use]
    pub const fn is_area(self) -> bool {
        matches!(
            self,
            Self::Building | Self::Excavation | Self::Pavement | Self::Water
        )
    }
}

/// Who said what a layer is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RoleFrom {
    /// The layers file.
    Given,
    /// Its name suggests it.
    Guessed,
    /// Nobody: it counts as [`Role::Other`].
    Unknown,
}

/// Words of layer names, with what they suggest; the first that fits decides, so that a "proposed footing" is an excavation and a
/// "water main" no pond. Words and abbreviations of everyday drafting (common practice, no source); our choice of order.
const WORDS: &[(Role, &[&str])] = &[
    (
        Role::Excavation,
        &[
            "excavation",
            "excav",
            "footing",
            "footings",
            "pile",
            "piles",
            "trench",
            "foundation",
            "fndn",
        ],
    ),
    (
        Role::Utility,
        &[
            "utility",
            "utilities",
            "util",
            "gas",
            "ngas",
            "electric",
            "elec",
            "power",
            "powr",
            "telecom",
            "tele",
            "comm",
            "cable",
            "fiber",
            "fibre",
            "sewer",
            "sswr",
            "storm",
            "strm",
            "drain",
            "watermain",
            "main",
            "watr",
            "hydrant",
            "conduit",
            "steam",
            "pipe",
            "duct",
        ],
    ),
    (
        Role::Boundary,
        &[
            "boundary",
            "boundaries",
            "property",
            "prop",
            "parcel",
            "parcels",
            "lot",
            "lots",
            "easement",
            "esmt",
            "row",
            "cadastre",
            "cadastral",
        ],
    ),
    (
        Role::Building,
        &[
            "building",
            "buildings",
            "bldg",
            "bldgs",
            "house",
            "houses",
            "garage",
            "shed",
        ],
    ),
    (
        Role::Tree,
        &[
            "tree",
            "trees",
            "hedge",
            "vegetation",
            "veg",
            "planting",
            "plnt",
        ],
    ),
    (
        Role::Pavement,
        &[
            "pavement", "pvmt", "paving", "road", "roads", "street", "drive", "driveway", "kerb",
            "curb", "sidewalk", "walk", "asphalt", "asph", "concrete", "conc", "parking",
        ],
    ),
    (
        Role::Structure,
        &[
            "wall",
            "walls",
            "fence",
            "fences",
            "tank",
            "structure",
            "strc",
            "pool",
            "septic",
        ],
    ),
    (
        Role::Water,
        &["pond", "stream", "creek", "river", "lake", "ditch"],
    ),
];

/// A layer called just this is a utility, not open water: water lines are what plans of a street show.
const LINE_WORDS: &[&str] = &["water", "wtr"];

impl Role {
    /// The word in every file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Building => "building",
            Self::Boundary => "boundary",
            Self::Utility => "utility",
            Self::Tree => "tree",
            Self::Pavement => "pavement",
            Self::Excavation => "excavation",
            Self::Structure => "structure",
            Self::Water => "water",
            Self::Other => "other",
        }
    }

    /// What a layer's name suggests, by whole words of it.
    #[must_use]
    pub fn guess(layer: &str) -> Option<Self> {
        let lower = layer.to_lowercase();
        let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
        let has = |known: &[&str]| words.iter().any(|word| known.contains(word));
        let by_list = WORDS
            .iter()
            .find(|(_, known)| has(known))
            .map(|(role, _)| *role);
        by_list.or_else(|| has(LINE_WORDS).then_some(Self::Utility))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_words_decide_and_the_first_list_wins() {
        for (layer, role) in [
            ("C-PROP-LINE", Some(Role::Boundary)),
            ("V_BLDG_OTLN", Some(Role::Building)),
            ("Proposed footing", Some(Role::Excavation)),
            ("WATER", Some(Role::Utility)),
            ("water main", Some(Role::Utility)),
            ("Trees (surveyed)", Some(Role::Tree)),
            ("proposed", None),
            ("pilot", None),
            ("0", None),
            ("", None),
        ] {
            assert_eq!(Role::guess(layer), role, "{layer}");
        }
    }
}
