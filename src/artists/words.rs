//! How seconds of hands are said: from the short list of words every page uses.

use super::hands::{Known, Nig};
use crate::base::number::DecimalMark;
use crate::base::units::Seconds;

/// "2.4 s": one decimal, two below a second.
#[must_use]
pub(super) fn seconds(value: Seconds, mark: DecimalMark) -> String {
    format!("{}\u{a0}s", bare(value, mark))
}

/// As [`seconds`], without the unit.
#[must_use]
pub(super) fn bare(value: Seconds, mark: DecimalMark) -> String {
    mark.show(value.get(), if value.get() < 0.995 { 2 } else { 1 })
}

/// "0.9–1.3", without the unit.
#[must_use]
pub(super) fn range(known: &Known, mark: DecimalMark) -> String {
    format!("{}–{}", bare(known.low, mark), bare(known.high, mark))
}

/// How sure a time is, by the ratio of the ends of its 8-in-10 range; what nobody timed is a starting guess.
#[must_use]
pub(super) fn sureness(fit: &Nig, p: f64) -> &'static str {
    let (_, low, high) = fit.quantile_with_doubt(p, 0.8);
    match (high - low).exp() {
        _ if fit.effective <= 0.0 => "starting guess",
        ratio if ratio <= 1.35 => "well known",
        ratio if ratio <= 1.7 => "fairly sure",
        ratio if ratio <= 2.5 => "rough",
        _ => "starting guess",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_have_one_decimal_and_two_below_a_second() {
        let said = |value: f64| seconds(Seconds::new(value).unwrap(), DecimalMark::Comma);
        assert_eq!([said(2.44), said(0.994), said(0.996)], ["2,4\u{a0}s", "0,99\u{a0}s", "1,0\u{a0}s"]);
    }

    #[test]
    fn nobody_timed_is_a_starting_guess_and_many_placements_are_well_known() {
        assert_eq!(sureness(&Nig::untimed(0.0), 0.5), "starting guess");
        let sessions: Vec<Vec<f64>> =
            (0..10).map(|s| (0..20).map(|i| 0.02 * f64::from((i + s) % 10)).collect()).collect();
        assert_eq!(sureness(&Nig::fit(0.0, &sessions), 0.5), "well known");
    }
}
