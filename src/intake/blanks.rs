//! Figures in the map of the mains that stand for "not known": taken for blanks, so that no delivery is judged by them.

use super::mains::Main;
use crate::plan::layers::{DEEPEST, is_far, no_size};
use crate::units::{LengthUnit, counted};

/// No ground lies higher, metres (our choice).
const HIGHEST: f64 = 9_000.0;

/// Takes such figures away from the mains, and says what they were, once for inverts and once for diameters. `unit` is that of the
/// map's heights.
pub(super) fn take(mains: &mut [Main], unit: LengthUnit) -> Vec<String> {
    [inverts(mains, unit), diameters(mains)]
        .into_iter()
        .flatten()
        .collect()
}

/// 0, −1, or nothing but nines: what is written where a blank is not allowed. Metres; told in the unit that it was written in.
fn is_stand_in(height: f64, unit: LengthUnit) -> bool {
    let written = format!("{:.3}", unit.of(height).abs());
    let digits = written.trim_end_matches('0').replace('.', "");
    let nines = digits.len() > 1 && digits.bytes().all(|digit| digit == b'9');
    matches!(written.as_str(), "0.000" | "1.000") || nines || height.abs() > HIGHEST
}

/// Such a figure can be a true one as well, so it must lie far from all others too, as on a site plan.
fn inverts(mains: &mut [Main], unit: LengthUnit) -> Option<String> {
    let known = mains.iter().flat_map(|main| main.inverts).flatten();
    let others = known.filter(|height| !is_stand_in(*height, unit));
    // Without others both are beyond every height.
    let levels = others.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], height| {
        [low.min(height), high.max(height)]
    });
    let mut taken = Vec::new();
    for main in mains {
        for (end, invert) in ["upstream", "downstream"]
            .into_iter()
            .zip(&mut main.inverts)
        {
            if let Some(height) =
                invert.take_if(|height| is_stand_in(*height, unit) && is_far(*height, levels))
            {
                taken.push((main.id.clone(), end, height));
            }
        }
    }
    let (id, end, height) = taken.first()?;
    Some(format!(
        "{} as not known, the first that of main {id} at its {end} end, {:.3} {unit}: such a figure stands for a blank where no other \
         lies within {:.0} {unit} of it. Heights above these mains are not checked.",
        count(taken.len(), "invert"),
        unit.of(*height),
        unit.of(DEEPEST)
    ))
}

fn diameters(mains: &mut [Main]) -> Option<String> {
    let mut taken = Vec::new();
    for main in mains {
        if let Some(why) = main.diameter.and_then(no_size) {
            main.diameter = None;
            taken.push((main.id.clone(), why));
        }
    }
    let (id, why) = taken.first()?;
    Some(format!(
        "{} as not known, the first that of main {id}: {why}. Diameters are not held against these mains.",
        count(taken.len(), "diameter")
    ))
}

/// `1 invert counts`, `2 inverts count`.
fn count(number: usize, what: &str) -> String {
    let ending = if number == 1 { "s" } else { "" };
    format!("{} count{ending}", counted(number, what))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nines_and_nothing_stand_for_a_blank_in_the_unit_that_they_are_written_in() {
        let (feet, metre) = (LengthUnit::Foot, LengthUnit::Metre);
        let written = |figure: f64| is_stand_in(figure * feet.metres(), feet);
        for figure in [0.0, -1.0, -99.0, -9999.0, 999.9, 99_999.0] {
            assert!(written(figure), "{figure}");
        }
        for figure in [9.0, 90.0, 138.7, 990.0, 9998.0, 0.9] {
            assert!(!written(figure), "{figure}");
        }
        assert!(is_stand_in(-32_768.0, metre));
    }
}
