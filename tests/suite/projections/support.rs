//! What the tests of this folder share.

use std::path::{Path, PathBuf};

use aslaid::crs::Crs;
use aslaid::units::LengthUnit;

pub fn crs(code: &str) -> Crs {
    Crs::new(code, LengthUnit::Metre).unwrap_or_else(|error| panic!("{code}: {error}"))
}

pub fn reference(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/reference")
        .join(path)
}

pub fn read(path: &Path) -> String {
    let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Rows of a table with `;` between its cells; `#` begins a comment, the first row is the heading.
pub fn table(path: &str, separator: char) -> Vec<Vec<String>> {
    let text = read(&reference(path));
    let rows = text
        .lines()
        .filter(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .skip(1);
    rows.map(|line| {
        line.split(separator)
            .map(|cell| cell.trim().to_owned())
            .collect()
    })
    .collect()
}

/// `50 30 00 N`, `0 30 W` or `-12.5` in degrees.
pub fn angle(text: &str) -> f64 {
    let words: Vec<&str> = text.split_whitespace().collect();
    let (sign, numbers) = match words.split_last() {
        Some((&("N" | "E"), numbers)) => (1.0, numbers.to_vec()),
        Some((&("S" | "W"), numbers)) => (-1.0, numbers.to_vec()),
        _ => (1.0, words.clone()),
    };
    let parts: Vec<f64> = numbers.iter().map(|word| word.parse().unwrap()).collect();
    sign * parts.iter().rev().fold(0.0, |sum, part| sum / 60.0 + part)
}

/// A sequence of numbers in [0, 1) that looks random and is always the same (SplitMix64: Steele, Lea and Flood,
/// Fast splittable pseudorandom number generators, 2014; constants from memory).
pub struct Numbers(pub u64);

impl Numbers {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}
