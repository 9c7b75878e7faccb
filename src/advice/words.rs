//! How figures are said: sureness, shares, seconds, minutes. Always from the same short list of words.

use crate::adhesives::set_time::Times;
use crate::base::number::{DecimalMark, typed_decimal};
use crate::base::units::Seconds;
use crate::web::studio::Studio;

use super::judge::{CureClass, Spread};

/// A sentence in the signs of a page: the studio's decimal sign, and °F where its pages speak so. What is kept and the
/// machine form say the same with a point and °C. Names stand in it as somebody typed them and are left alone.
#[must_use]
pub fn spoken(text: &str, studio: &Studio, names: &[&str]) -> String {
    let mut said = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(next) = rest.chars().next() {
        let inside = said.chars().next_back().is_some_and(char::is_alphanumeric);
        let name = names.iter().filter(|name| !inside && begins_with(rest, name)).max_by_key(|name| name.len());
        let figure = if inside { None } else { figure(rest, studio) };
        let (taken, as_said) = match (name, figure) {
            (Some(name), _) => (name.len(), (*name).to_owned()),
            (None, Some(figure)) => figure,
            (None, None) => (next.len_utf8(), next.to_string()),
        };
        said.push_str(&as_said);
        rest = &rest[taken..];
    }
    said
}

/// Whether a text begins with a whole name, and not with a longer word or figure.
fn begins_with(text: &str, name: &str) -> bool {
    let Some(after) = text.strip_prefix(name).filter(|_| !name.is_empty()) else { return false };
    let goes_on = after.strip_prefix('.').unwrap_or(after);
    let is_longer_number = goes_on.len() < after.len() && begins_with_digit(goes_on);
    !after.starts_with(char::is_alphanumeric) && !is_longer_number
}

fn begins_with_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

/// The figure a text begins with, in the studio's signs, and how many bytes of the text it stands for.
fn figure(text: &str, studio: &Studio) -> Option<(usize, String)> {
    const CELSIUS: &str = "\u{a0}°C";
    let digits = |text: &str| text.len() - text.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    // An advice kept before minus signs were written has a hyphen.
    let sign = ['-', '−'].into_iter().find(|sign| text.starts_with(*sign)).map_or(0, char::len_utf8);
    let whole = sign + digits(&text[sign..]);
    if whole == sign {
        return None;
    }
    let places = text[whole..].strip_prefix('.').map_or(0, digits);
    let long = if places > 0 { whole + 1 + places } else { whole };
    let (written, after) = text.split_at(long);
    match typed_decimal(written) {
        Some(celsius) if studio.fahrenheit && after.starts_with(CELSIUS) => {
            Some((long + CELSIUS.len(), format!("{}\u{a0}°F", studio.number(studio.scale(celsius), places))))
        }
        Some(below) if sign > 0 => Some((long, studio.number(below, places))),
        _ => Some((long, marked(studio.decimal, written.to_owned()))),
    }
}

/// A figure with this decimal sign.
fn marked(mark: DecimalMark, figure: String) -> String {
    match mark {
        DecimalMark::Point => figure,
        DecimalMark::Comma => figure.replace('.', ","),
    }
}

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

/// As [`seconds`], with this decimal sign.
#[must_use]
pub fn seconds_in(mark: DecimalMark, t: Seconds) -> String {
    marked(mark, seconds(t))
}

/// As [`seconds_range`], with this decimal sign.
#[must_use]
pub fn seconds_range_in(mark: DecimalMark, low: Seconds, high: Seconds) -> String {
    marked(mark, seconds_range(low, high))
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
    fn sentences_are_spoken_in_the_signs_of_the_studio_and_names_stay_as_typed() {
        let comma = Studio { decimal: DecimalMark::Comma, ..Studio::default() };
        let both = Studio { fahrenheit: true, ..comma.clone() };
        let names = ["Dune 2.5 (cupboard)", "Dune 2.5", "7", ""];
        for (plain, with_comma, with_both) in [
            (
                "At 21.0\u{a0}°C and 38\u{a0}%RH, with a medium bead",
                "At 21,0\u{a0}°C and 38\u{a0}%RH, with a medium bead",
                "At 69,8\u{a0}°F and 38\u{a0}%RH, with a medium bead",
            ),
            ("below 20\u{a0}°C.", "below 20\u{a0}°C.", "below 68\u{a0}°F."),
            ("at −5.0\u{a0}°C", "at −5,0\u{a0}°C", "at 23,0\u{a0}°F"),
            ("at −25.0\u{a0}°C", "at −25,0\u{a0}°C", "at −13,0\u{a0}°F"),
            (
                "Dune 2.5: sets in 2.3\u{a0}s, likely 0.83–7.1\u{a0}s. 12 more.",
                "Dune 2.5: sets in 2,3\u{a0}s, likely 0,83–7,1\u{a0}s. 12 more.",
                "Dune 2.5: sets in 2,3\u{a0}s, likely 0,83–7,1\u{a0}s. 12 more.",
            ),
            (
                "Use Dune 2.5 (cupboard) in place of 7.",
                "Use Dune 2.5 (cupboard) in place of 7.",
                "Use Dune 2.5 (cupboard) in place of 7.",
            ),
            ("Dune 2.55, pH 4.5, 4D", "Dune 2,55, pH 4,5, 4D", "Dune 2,55, pH 4,5, 4D"),
            ("2:50; 17 in 100; –", "2:50; 17 in 100; –", "2:50; 17 in 100; –"),
            ("", "", ""),
        ] {
            assert_eq!(spoken(plain, &Studio::default(), &names), plain);
            assert_eq!(spoken(plain, &comma, &names), with_comma);
            assert_eq!(spoken(plain, &both, &names), with_both);
        }
        assert_eq!(spoken("at -5.0\u{a0}°C", &comma, &[]), "at −5,0\u{a0}°C", "as advice was kept earlier");
        assert_eq!(seconds_in(DecimalMark::Comma, s(2.345)), "2,3\u{a0}s");
        assert_eq!(seconds_range_in(DecimalMark::Comma, s(0.5), s(2.3)), "0,50–2,3\u{a0}s");
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
