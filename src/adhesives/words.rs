//! How seconds and what is known of them are said on this part's pages.

use super::product::Stated;
use super::set_time::{Climate, Times};
use crate::web::studio::Studio;

/// Seconds with their unit: one decimal, two under 1 s.
#[must_use]
pub fn seconds(studio: &Studio, value: f64) -> String {
    format!("{}\u{a0}s", number(studio, value))
}

/// As [`seconds`], without the unit.
#[must_use]
pub fn number(studio: &Studio, value: f64) -> String {
    studio.number(value, if value < 0.995 { 2 } else { 1 })
}

/// "1.7–2.5 s".
#[must_use]
pub fn range(studio: &Studio, low: f64, high: f64) -> String {
    format!("{}–{}", number(studio, low), seconds(studio, high))
}

/// What stands on a label: "1–2 s", "0.8 s", "not stated".
#[must_use]
pub fn label(studio: &Studio, stated: Stated) -> String {
    match stated {
        Stated::Window(low, high) => format!("{}–{}\u{a0}s", plain(studio, low.get()), plain(studio, high.get())),
        Stated::Figure(figure) => format!("{}\u{a0}s", plain(studio, figure.get())),
        Stated::NotStated => "not stated".to_owned(),
    }
}

/// A figure as short as it can be: "1", "0.5".
#[must_use]
pub fn plain(studio: &Studio, value: f64) -> String {
    let places = (0..3).find(|places| {
        let factor = 10_f64.powi(*places);
        ((value * factor).round() / factor - value).abs() < 1e-9
    });
    studio.number(value, usize::try_from(places.unwrap_or(3)).unwrap_or(3))
}

/// The maker's climate window: "18–24 °C, 40–60 %RH"; "not stated".
#[must_use]
pub fn climate(studio: &Studio, climate: Option<Climate>) -> String {
    let Some(climate) = climate else { return "not stated".to_owned() };
    format!(
        "{}–{}\u{a0}{}, {}–{}\u{a0}%RH",
        plain_tenth(studio, studio.scale(climate.temperature.0.get())),
        plain_tenth(studio, studio.scale(climate.temperature.1.get())),
        studio.temperature_unit(),
        studio.number(climate.humidity.0.get(), 0),
        studio.number(climate.humidity.1.get(), 0),
    )
}

/// At most one decimal: on the other scale a whole degree need not be whole.
fn plain_tenth(studio: &Studio, value: f64) -> String {
    plain(studio, (value * 10.0).round() / 10.0)
}

/// How sure a time is, by the ratio of the ends of its 8-in-10 range; what rests on label and assumptions alone is a
/// starting guess whatever the ratio.
#[must_use]
pub fn sureness(times: Times, measured: bool) -> &'static str {
    match times.high.get() / times.low.get().max(1e-9) {
        _ if !measured => "starting guess",
        ratio if ratio <= 1.35 => "well known",
        ratio if ratio <= 1.7 => "fairly sure",
        ratio if ratio <= 2.5 => "rough",
        _ => "starting guess",
    }
}

/// "1 test", "3 tests".
#[must_use]
pub fn tests(n: u32) -> String {
    match n {
        0 => "no test".to_owned(),
        1 => "1 test".to_owned(),
        n => format!("{n} tests"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::number::DecimalMark;
    use crate::base::units::Seconds;

    #[test]
    fn seconds_have_two_decimals_only_under_one() {
        let studio = Studio::default();
        assert_eq!(seconds(&studio, 0.834), "0.83\u{a0}s");
        assert_eq!(seconds(&studio, 0.996), "1.0\u{a0}s");
        assert_eq!(range(&studio, 0.8, 2.25), "0.80–2.2\u{a0}s");
        let comma = Studio { decimal: DecimalMark::Comma, ..studio };
        assert_eq!(seconds(&comma, 1.25), "1,2\u{a0}s");
    }

    #[test]
    fn labels_are_said_as_printed() {
        let studio = Studio::default();
        let s = |x| Seconds::new(x).unwrap();
        assert_eq!(label(&studio, Stated::Window(s(0.5), s(1.0))), "0.5–1\u{a0}s");
        assert_eq!(label(&studio, Stated::Figure(s(0.75))), "0.75\u{a0}s");
        assert_eq!(label(&studio, Stated::NotStated), "not stated");
    }

    #[test]
    fn without_a_test_everything_is_a_starting_guess() {
        let s = |x| Seconds::new(x).unwrap();
        let narrow = Times { median: s(1.0), low: s(0.9), high: s(1.1) };
        assert_eq!((sureness(narrow, false), sureness(narrow, true)), ("starting guess", "well known"));
    }
}
