//! What `check-shot` and `exposure` say of a difference: inside its stated bound, outside as one in twenty is, or beyond chance.
//!
//! The stated bound holds 95 % of sound differences, so that a warning outside it is raised in a quarter of sound jobs with three exposures
//! (a place and a depth each). The words say therefore whether chance could have done it. *Limit* of that: the job's `alarm`
//! ([`crate::sources::Source::Baarda1968`]), for a place the radius that is passed as rarely.

use crate::findings::Level;
use crate::math::stats::{ELLIPSE_95, NORMAL_95, in_plane};
use crate::units::just;

/// What was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// One figure, with a bound of 1.9600 one-sigmas.
    Figure,
    /// A place in plan, with a bound of 2.4477 one-sigmas.
    Place,
}

/// Level of the finding, and the end of its sentence, from "inside" or "outside" on. `say` prints a figure; `way_out` is what to do
/// where it is beyond chance.
pub(super) fn verdict(
    of: Of,
    (difference, bound): (f64, f64),
    alarm: f64,
    say: impl Fn(f64) -> String,
    way_out: &str,
) -> (Level, String) {
    let farther = match of {
        Of::Figure => alarm / NORMAL_95,
        Of::Place => in_plane(alarm) / ELLIPSE_95,
    };
    let (stated, chance) = (say(bound), bound * farther.max(1.0));
    let difference = difference.abs();
    if difference <= bound {
        return (Level::Note, format!("inside the 95 % bound of {stated}."));
    }
    let chance = if difference <= chance {
        format!("as one in twenty is; chance may do up to {}.", say(chance))
    } else {
        format!("and of the {} that chance may do. {way_out}", say(chance))
    };
    let just = just(&say(difference), &stated);
    let words = format!("{just}outside the 95 % bound of {stated}, {chance}");
    (Level::Warning, words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::stats::ALARM;

    /// A figure with a one-sigma of 1 is beyond chance from 3.29 on, a place from 3.72, whatever is stated.
    #[test]
    fn only_what_is_beyond_chance_asks_for_more() {
        let words = |of, difference, bound| {
            let (level, words) = verdict(of, (difference, bound), ALARM, |f| f.to_string(), "Dig.");
            assert_eq!(level == Level::Note, words.starts_with("inside"), "{words}");
            (words.starts_with("outside"), words.ends_with("Dig."))
        };
        for (difference, figure, place) in [
            (1.9, (false, false), (false, false)),
            (-2.4, (true, false), (false, false)),
            (-3.2, (true, false), (true, false)),
            (-3.4, (true, true), (true, false)),
            (3.8, (true, true), (true, true)),
        ] {
            assert_eq!(words(Of::Figure, difference, NORMAL_95), figure);
            assert_eq!(words(Of::Place, difference, ELLIPSE_95), place);
        }
        assert_eq!(words(Of::Figure, 0.1, 0.0), (true, true));
    }
}
