//! How figures are said: sureness, shares, seconds, minutes. Always from the same short list of words.

use crate::adhesives::set_time::Times;
use crate::base::units::Seconds;

use super::judge::{CureClass, Spread};

/// How sure a time is, by the ratio of the ends of its 8-in-10 range. What rests on label and assumptions alone is a
/// starting guess whatever the ratio.
#[must_use]
pub fn sureness_of_times(times: &Times, basis: Basis) -> &'static str {
    let ratio = times.high.get() / times.low.get().max(1e-9);
    match (basis, ratio) {
        (Basis::Assumed, _) => "starting guess",
        (Basis::Measured, r) if r <= 1.35 => "well known",
        (Basis::Measured, r) if r <= 1.7 => "fairly sure",
        (Basis::Measured, r) if r <= 2.5 => "rough",
        _ => "starting guess",
    }
}

/// How sure a share is, by the width of its 8-in-10 range.
#[must_use]
pub fn sureness_of_share(share: &Spread, basis: Basis) -> &'static str {
    let width = share.high - share.low;
    match (basis, width) {
        (Basis::Assumed, _) => "starting guess",
        (Basis::Measured, w) if w <= 0.05 => "well known",
        (Basis::Measured, w) if w <= 0.10 => "fairly sure",
        (Basis::Measured, w) if w <= 0.20 => "rough",
        _ => "starting guess",
    }
}

/// What a figure rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// At least in part on the studio's own timings and tests.
    Measured,
    /// On labels and assumptions alone.
    Assumed,
}

/// "5 in 100"; "under 1 in 100"; never 0 or 100.
#[must_use]
pub fn share(p: f64) -> String {
    format!("{} in 100", in_hundred(p))
}

/// The same without its "in 100": "5", "under 1".
#[must_use]
pub fn in_hundred(p: f64) -> String {
    match (100.0 * p).round() {
        x if x < 1.0 => "under 1".to_owned(),
        x if x > 99.0 => "over 99".to_owned(),
        x => format!("{x:.0}"),
    }
}

/// "2–13 in 100"; "up to 13 in 100" when the lower end rounds to none.
#[must_use]
pub fn share_range(low: f64, high: f64) -> String {
    let (a, b) = ((100.0 * low).round().clamp(0.0, 100.0), (100.0 * high).round().clamp(0.0, 100.0));
    if b < 1.0 || a > 99.0 || (a - b).abs() < 0.5 {
        return share(high);
    }
    match (a < 1.0, b > 99.0) {
        (true, true) => "anything".to_owned(),
        (true, false) => format!("up to {b:.0} in 100"),
        (false, true) => format!("over {a:.0} in 100"),
        (false, false) => format!("{a:.0}–{b:.0} in 100"),
    }
}

/// "about 8 in 10"; never 0 or 10.
#[must_use]
pub fn in_ten(p: f64) -> String {
    match (10.0 * p).round() {
        x if x < 1.0 => "under 1 in 10".to_owned(),
        x if x > 9.0 => "over 9 in 10".to_owned(),
        x => format!("about {x:.0} in 10"),
    }
}

/// Seconds with one decimal, two under one second; unit after a no-break space.
#[must_use]
pub fn seconds(t: Seconds) -> String {
    format!("{}\u{a0}s", bare_seconds(t))
}

/// "1.2–2.6 s".
#[must_use]
pub fn seconds_range(low: Seconds, high: Seconds) -> String {
    format!("{}–{}\u{a0}s", bare_seconds(low), bare_seconds(high))
}

/// "4 min 25"; "under 1 s" as "0 min 00" never shows.
#[must_use]
pub fn minutes(minutes: f64) -> String {
    let whole = (minutes * 60.0).round().max(0.0);
    if whole < 60.0 {
        return format!("{whole:.0}\u{a0}s");
    }
    let (m, s) = ((whole / 60.0).floor(), whole % 60.0);
    if m >= 60.0 { format!("{m:.0}\u{a0}min") } else { format!("{m:.0}\u{a0}min\u{a0}{s:02.0}") }
}

/// "one placement", "12 placements".
#[must_use]
pub fn count(n: u32, thing: &str) -> String {
    const WORDS: [&str; 10] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    let many = WORDS.get(n as usize).map_or_else(|| n.to_string(), |w| (*w).to_owned());
    format!("{many} {thing}{}", if n == 1 { "" } else { "s" })
}

/// A class by its seconds, as printed by makers: "0.5–1 s".
#[must_use]
pub fn class(class: CureClass) -> String {
    let (low, high) = class.window();
    format!("{}–{}\u{a0}s", short(low), short(high))
}

/// Seconds without their unit.
#[must_use]
pub fn bare_seconds(t: Seconds) -> String {
    let t = t.get();
    if t < 0.995 { format!("{t:.2}") } else { format!("{t:.1}") }
}

fn short(x: f64) -> String {
    let text = format!("{x:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(x: f64) -> Seconds {
        Seconds::new(x).unwrap()
    }

    #[test]
    fn shares_never_say_none_or_all() {
        for (p, said) in [
            (0.0, "under 1 in 100"),
            (0.004, "under 1 in 100"),
            (0.05, "5 in 100"),
            (0.996, "over 99 in 100"),
            (1.0, "over 99 in 100"),
        ] {
            assert_eq!(share(p), said);
        }
        assert_eq!(share_range(0.001, 0.13), "up to 13 in 100");
        assert_eq!(share_range(0.0, 0.001), "under 1 in 100");
        assert_eq!(in_ten(1.0), "over 9 in 10");
        assert_eq!(in_ten(0.83), "about 8 in 10");
    }

    #[test]
    fn seconds_have_two_decimals_only_under_one() {
        assert_eq!(seconds(s(0.4567)), "0.46\u{a0}s");
        assert_eq!(seconds(s(0.997)), "1.0\u{a0}s");
        assert_eq!(seconds(s(2.345)), "2.3\u{a0}s");
        assert_eq!(class(CureClass::new(s(0.5), s(1.0)).unwrap()), "0.5–1\u{a0}s");
        assert_eq!(minutes(4.4166), "4\u{a0}min\u{a0}25");
        assert_eq!(minutes(0.5), "30\u{a0}s");
    }

    #[test]
    fn what_nobody_measured_is_a_starting_guess_however_narrow() {
        let narrow = Times { median: s(1.0), low: s(0.95), high: s(1.05) };
        assert_eq!(sureness_of_times(&narrow, Basis::Assumed), "starting guess");
        assert_eq!(sureness_of_times(&narrow, Basis::Measured), "well known");
        let wide = Times { median: s(1.0), low: s(0.5), high: s(2.0) };
        assert_eq!(sureness_of_times(&wide, Basis::Measured), "starting guess");
    }
}
