//! Names of the drawing's layers, in the form of the United States National CAD Standard
//! ([NCS](crate::sources::Source::CadStandard)): discipline `V`, survey and mapping, then major and minor group.
//!
//! The groups are from memory of the standard's layer list; `CMRA`, `CRSG` and `NOEL` are ours, as the standard lets a user add
//! minor groups. What has no elevation lies on a layer whose name ends in `-NOEL`. A job gives layers its own names in
//! `[layers]` of `job.toml`.

use std::collections::BTreeMap;

/// A layer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Layer {
    /// What a job calls it by.
    pub key: &'static str,
    /// Its name in the drawing.
    pub name: &'static str,
    /// Number of its colour in the drawing.
    pub colour: u8,
    /// Whether what lies on it can be without elevation.
    pub flat: bool,
}

const fn layer(key: &'static str, name: &'static str, colour: u8) -> Layer {
    Layer {
        key,
        name,
        colour,
        flat: true,
    }
}

const fn words(key: &'static str, name: &'static str, colour: u8) -> Layer {
    Layer {
        key,
        name,
        colour,
        flat: false,
    }
}

/// Every layer. Green (3) for sewers and drains and magenta (6) for survey points follow the uniform colour code of
/// excavation notices ([common practice](crate::sources::Source::CommonPractice)); the other colours are our choice.
pub const LAYERS: &[Layer] = &[
    layer("run", "V-SSWR-PIPE", 3),
    layer("run_storm", "V-STRM-PIPE", 3),
    layer("mark", "V-NODE-SSWR", 3),
    layer("mark_storm", "V-NODE-STRM", 3),
    layer("camera", "V-NODE-CMRA", 4),
    layer("reference", "V-CTRL-HCPT", 6),
    layer("crossing", "V-NODE-CRSG", 1),
    words("label", "V-ANNO-TEXT", 7),
    words("notice", "V-ANNO-NOTE", 1),
];

/// The layers' names in one drawing.
pub struct Names<'a>(&'a BTreeMap<String, String>);

impl<'a> Names<'a> {
    /// With the names that the job gives some of them, by key.
    #[must_use]
    pub const fn new(given: &'a BTreeMap<String, String>) -> Self {
        Self(given)
    }

    /// The name of the layer for what has no elevation.
    #[must_use]
    pub fn without_elevation(&self, key: &str) -> String {
        format!("{}-NOEL", self.of(key))
    }

    /// Every layer that is not among those that are there: its name and the number of its colour.
    #[must_use]
    pub fn all(&self, there: &[String]) -> Vec<(String, u8)> {
        let mut all: Vec<(String, u8)> = Vec::new();
        for layer in LAYERS {
            let flat = layer.flat.then(|| self.without_elevation(layer.key));
            for name in std::iter::once(self.of(layer.key)).chain(flat) {
                // A job may give two of them one name; upper and lower case are one to a drawing.
                let same = |taken: &String| taken.to_lowercase() == name.to_lowercase();
                if !there.iter().any(same) && !all.iter().any(|(taken, _)| same(taken)) {
                    all.push((name, layer.colour));
                }
            }
        }
        all
    }

    /// The name of a layer.
    #[must_use]
    pub fn of(&self, key: &str) -> String {
        let ours = LAYERS
            .iter()
            .find(|layer| layer.key == key)
            .map_or("0", |layer| layer.name);
        valid(self.0.get(key).map_or(ours, String::as_str))
    }
}

/// A name with what a layer's name can't hold replaced by underscores.
fn valid(name: &str) -> String {
    let forbidden = |c: char| c.is_control() || "<>/\\\":;?*|=,`'^".contains(c);
    let replaced: String = name
        .trim()
        .chars()
        .take(250)
        .map(|c| if forbidden(c) { '_' } else { c })
        .collect();
    if replaced.is_empty() {
        "0".to_owned()
    } else {
        replaced
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_job_names_its_own_layers_and_can_not_break_the_file() {
        let given = BTreeMap::from([
            ("run".to_owned(), "A|B\n0\nEOF".to_owned()),
            ("mark".to_owned(), " ".to_owned()),
        ]);
        let names = Names::new(&given);
        assert_eq!(names.of("run"), "A_B_0_EOF");
        assert_eq!(names.of("mark"), "0");
        assert_eq!(names.of("camera"), "V-NODE-CMRA");
    }
}
