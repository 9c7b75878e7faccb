//! How timings come in: marks of taps or of a video, typed seconds or counts of frames, pasted rows. Pure.

mod marks;
mod rows;

pub use marks::{BadMarks, marks};
pub use rows::{Fault, Good, RowsRead, rows};

use super::hands::from_frames;
use crate::base::number::{DecimalMark, typed_decimal};
use crate::base::units::Seconds;

/// Shortest believable travel or settle, s: below it two marks were made with one touch.
pub const SHORTEST_S: f64 = 0.05;
/// Longest believable travel or settle, s: above it somebody was interrupted.
pub const LONGEST_S: f64 = 60.0;
/// Most placements in one session.
pub const MOST: usize = 500;
/// Frame rates a camera has, frames a second.
pub const RATES: (f64, f64) = (5.0, 1000.0);

/// One placement as it came in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timed {
    /// Pick-up to contact.
    pub travel: Seconds,
    /// Contact until no longer moved.
    pub settle: Seconds,
    /// Struck out: kept, and counts in nothing.
    pub struck: bool,
}

/// In what times are written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unit {
    /// Seconds.
    Seconds,
    /// Frames of a video of this fixed rate, frames a second.
    Frames(f64),
}

impl Unit {
    /// A written span of time, or the sentence that says why it is none.
    fn span(self, written: &str, what: &str, mark: DecimalMark) -> Result<Seconds, String> {
        let seconds = self.instant(written)?;
        believable(seconds, what, mark)
    }

    /// A written instant in seconds, or the sentence that says why it is none.
    fn instant(self, written: &str) -> Result<f64, String> {
        let number = typed_decimal(written).ok_or_else(|| format!("“{}” is not a number.", shortened(written)))?;
        match self {
            Self::Seconds => Ok(number),
            Self::Frames(rate) => {
                let whole = number >= 0.0 && number <= f64::from(u32::MAX) && number.fract().abs() < 1e-9;
                let time = if whole { from_frames(number as u32, rate) } else { None };
                time.map(|time| time.time.get())
                    .ok_or_else(|| format!("“{}” is not a number of frames.", shortened(written)))
            }
        }
    }

    /// Standard uncertainty of one difference, s, where the way of writing has one.
    #[must_use]
    pub fn uncertainty_s(self) -> Option<f64> {
        match self {
            Self::Seconds => None,
            Self::Frames(rate) => from_frames(1, rate).map(|time| time.uncertainty_s),
        }
    }
}

/// One typed placement. Errors: the sentences for travel and for settle, in which numbers have this sign.
///
/// # Errors
/// A sentence for each of the two that is not as it must be.
pub fn typed(travel: &str, settle: &str, unit: Unit, mark: DecimalMark) -> Result<Timed, [Option<String>; 2]> {
    let one = |written: &str, what: &str, other: &str| {
        if written.trim().is_empty() {
            Err(format!("Fill this in too, or empty the {other} beside it."))
        } else {
            unit.span(written, what, mark)
        }
    };
    match (one(travel, "Travel", "settle"), one(settle, "Settle", "travel")) {
        (Ok(travel), Ok(settle)) => Ok(Timed { travel, settle, struck: false }),
        (travel, settle) => Err([travel.err(), settle.err()]),
    }
}

fn believable(seconds: f64, what: &str, mark: DecimalMark) -> Result<Seconds, String> {
    let told = || {
        let (shortest, longest) = (mark.exact(SHORTEST_S), mark.exact(LONGEST_S));
        format!("{what} of {} s is outside {shortest} to {longest} s.", mark.show(seconds, 2))
    };
    if (SHORTEST_S..=LONGEST_S).contains(&seconds) { Seconds::new(seconds).map_err(|_| told()) } else { Err(told()) }
}

fn shortened(text: &str) -> String {
    let text = text.trim();
    if text.chars().count() > 24 {
        format!("{}…", text.chars().take(23).collect::<String>())
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comma_and_point_and_counts_of_frames_are_read() {
        let timed = typed("2,4", "1.1", Unit::Seconds, DecimalMark::Point).unwrap();
        assert!((timed.travel.get() - 2.4).abs() < 1e-12 && (timed.settle.get() - 1.1).abs() < 1e-12);
        let timed = typed("72", "33", Unit::Frames(30.0), DecimalMark::Point).unwrap();
        assert!((timed.travel.get() - 2.4).abs() < 1e-12 && (timed.settle.get() - 1.1).abs() < 1e-12);
    }

    #[test]
    fn each_wrong_number_has_its_own_sentence() {
        let said =
            |travel, settle, unit, mark| typed(travel, settle, unit, mark).unwrap_err().map(Option::unwrap_or_default);
        let wrong = |travel, settle, unit| said(travel, settle, unit, DecimalMark::Point);
        assert_eq!(
            wrong("2.4s", "0,01", Unit::Seconds),
            ["“2.4s” is not a number.", "Settle of 0.01 s is outside 0.05 to 60 s."]
        );
        assert_eq!(
            said("2.4s", "0.01", Unit::Seconds, DecimalMark::Comma),
            ["“2.4s” is not a number.", "Settle of 0,01 s is outside 0,05 to 60 s."]
        );
        assert_eq!(wrong("2.5", "70", Unit::Frames(30.0)), ["“2.5” is not a number of frames.", ""]);
        assert_eq!(wrong("", "1", Unit::Seconds), ["Fill this in too, or empty the settle beside it.", ""]);
        assert_eq!(wrong("-3", "1", Unit::Frames(25.0))[0], "“-3” is not a number of frames.");
    }

    #[test]
    fn frames_have_an_uncertainty_and_typed_seconds_have_none() {
        assert!((Unit::Frames(30.0).uncertainty_s().unwrap() - 1.0 / (30.0 * 6.0_f64.sqrt())).abs() < 1e-12);
        assert_eq!(Unit::Seconds.uncertainty_s(), None);
    }
}
