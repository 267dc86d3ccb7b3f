//! What `check-shot` and `exposure` say of a difference: inside its stated bound, outside as one in twenty is, or an alarm.
//!
//! The stated bound holds 95 % of sound differences. One outside it is said to be, and counts as outside in the record; but a warning
//! that is repeated for each comparison would be raised in a quarter of sound jobs with three exposures (a place and a depth each).
//! *Limit* of the warning: the job's `alarm` ([`crate::sources::Source::Baarda1968`]), for a place the radius that is passed as rarely.

use crate::findings::Level;
use crate::math::stats::{ELLIPSE_95, NORMAL_95, in_plane};

/// What was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// One figure, with a bound of 1.9600 one-sigmas.
    Figure,
    /// A place in plan, with a bound of 2.4477 one-sigmas.
    Place,
}

/// Level of the finding, and the end of its sentence, from "inside" or "outside" on. `say` prints a figure; `way_out` is what to do about
/// an alarm.
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
        (Level::Note, format!("inside the 95 % bound of {stated}."))
    } else if difference <= chance {
        let words = format!(
            "outside the 95 % bound of {stated}, as one in twenty is by chance; over {} it would be an alarm.",
            say(chance)
        );
        (Level::Note, words)
    } else {
        let words = format!(
            "outside the 95 % bound of {stated}, and of the {} that chance may do. {way_out}",
            say(chance)
        );
        (Level::Warning, words)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::stats::ALARM;

    /// A figure with a one-sigma of 1 warns from 3.29 on, a place from 3.72, whatever is stated.
    #[test]
    fn only_an_alarm_warns() {
        let level = |of, difference, bound| {
            verdict(of, (difference, bound), ALARM, |f| f.to_string(), "").0
        };
        for (difference, figure, place) in [
            (1.9, Level::Note, Level::Note),
            (-3.2, Level::Note, Level::Note),
            (-3.4, Level::Warning, Level::Note),
            (3.8, Level::Warning, Level::Warning),
        ] {
            assert_eq!(level(Of::Figure, difference, NORMAL_95), figure);
            assert_eq!(level(Of::Place, difference, ELLIPSE_95), place);
        }
        assert_eq!(level(Of::Figure, 0.1, 0.0), Level::Warning);
    }
}
