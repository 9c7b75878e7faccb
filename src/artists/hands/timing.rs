//! Seconds of one placement, and what the way of taking them adds.

use crate::base::units::Seconds;

/// One timed placement.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Which sitting it belongs to; any number, equal within a sitting, rising in time.
    pub session: u32,
    /// Pick-up to contact, above 0.
    pub travel: Seconds,
    /// Contact until the extension is no longer moved, above 0.
    pub settle: Seconds,
}

/// A time read off a video.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FrameTime {
    /// The time.
    pub time: Seconds,
    /// Its standard uncertainty in seconds: both ends fall anywhere within a frame, 1/(rate·√6).
    pub uncertainty_s: f64,
}

/// Seconds from a count of frames at a fixed rate (frames per second, above 0); `None` for a rate that is not above 0
/// or a time out of range. Video of varying rate gives wrong seconds here: the page that counts frames warns about it.
///
/// ```
/// use stillroom::artists::hands::from_frames;
/// let t = from_frames(45, 30.0).unwrap();
/// assert!((t.time.get() - 1.5).abs() < 1e-12 && (t.uncertainty_s - 0.0136).abs() < 1e-4);
/// ```
#[must_use]
pub fn from_frames(frames: u32, rate: f64) -> Option<FrameTime> {
    if !(rate.is_finite() && rate > 0.0) {
        return None;
    }
    let time = Seconds::new(f64::from(frames) / rate).ok()?;
    Some(FrameTime { time, uncertainty_s: 1.0 / (rate * 6.0_f64.sqrt()) })
}

/// What a tapping second person adds to a difference of two instants, s: each tap is off by about 0.1 s.
///
/// The 0.1 s is common practice, without a source.
pub const TAPPING_S: f64 = 0.14;

/// The log spread of the hands themselves when a second person tapped the times: a tap is off by about 0.1 s, the
/// difference of two by 0.14 s, which is taken off in quadrature. Never below 0.05.
#[must_use]
pub fn spread_without_tapping(spread: f64, median: Seconds) -> f64 {
    spread_without(TAPPING_S, spread, median)
}

/// As [`spread_without_tapping`], for an error of `error_s` seconds.
pub(super) fn spread_without(error_s: f64, spread: f64, median: Seconds) -> f64 {
    let error = error_s / median.get().max(0.05);
    (spread * spread - error * error).max(0.05 * 0.05).sqrt()
}

/// The error of three taps in settle + travel/κ, s: the middle tap enters both spans, with opposite signs.
pub(super) fn tapping_of_hands_time(kappa: f64) -> f64 {
    let one = TAPPING_S / 2.0_f64.sqrt();
    one * (1.0 + (1.0 - 1.0 / kappa).powi(2) + (1.0 / kappa).powi(2)).sqrt()
}

/// Settle times may contain waiting when the bottle used was slower than the hands: its predicted set time was more
/// than one and a half times the settle median.
#[must_use]
pub fn may_include_waiting(predicted_set: Seconds, settle_median: Seconds) -> bool {
    predicted_set.get() > 1.5 * settle_median.get()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(value: f64) -> Seconds {
        Seconds::new(value).unwrap()
    }

    #[test]
    fn tapping_explains_part_of_a_spread_but_never_all_of_it() {
        assert!((spread_without_tapping(0.3, s(1.0)) - (0.09_f64 - 0.0196).sqrt()).abs() < 1e-12);
        assert!((spread_without_tapping(0.1, s(0.5)) - 0.05).abs() < 1e-12);
    }

    #[test]
    fn a_bottle_slower_than_the_hands_marks_the_session() {
        assert!(may_include_waiting(s(2.0), s(1.2)));
        assert!(!may_include_waiting(s(1.7), s(1.2)));
    }

    #[test]
    fn a_rate_of_nothing_gives_no_time() {
        assert!(from_frames(10, 0.0).is_none() && from_frames(10, f64::NAN).is_none());
    }
}
