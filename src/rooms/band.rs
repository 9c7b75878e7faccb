//! Where air stands against the studio's band, as mark and words. Pure; knows no age of a reading.

use super::instrument::Doubt;
use super::settings::RoomSettings;

/// Where the air stands against the studio's band.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandState {
    /// fit, near or stop.
    pub mark: &'static str,
    /// The words beside it: "drier than the band".
    pub words: String,
}

/// One way in which air is not as wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Off {
    /// drier, damper, colder, warmer.
    pub word: &'static str,
    /// How far beyond the end of the band, %RH or K; above 0.
    pub beyond: f64,
    /// No further than the reading can be doubted: it may be inside.
    pub may_be_inside: bool,
}

/// How air differs from the band: humidity first. Empty when it is as wanted, or not known.
#[must_use]
pub fn off(humidity: Option<f64>, temperature: Option<f64>, doubt: &Doubt, settings: &RoomSettings) -> Vec<Off> {
    let wet = (settings.humidity_band.0.get(), settings.humidity_band.1.get());
    let warm = (settings.temperature_band.0.get(), settings.temperature_band.1.get());
    let humidity = humidity.and_then(|value| beyond(value, wet, ("drier", "damper"), doubt.humidity.get()));
    let temperature = temperature.and_then(|value| beyond(value, warm, ("colder", "warmer"), doubt.temperature.get()));
    humidity.into_iter().chain(temperature).collect()
}

fn beyond(value: f64, (low, high): (f64, f64), words: (&'static str, &'static str), doubt: f64) -> Option<Off> {
    let (word, beyond) = if value < low { (words.0, low - value) } else { (words.1, value - high) };
    (beyond > 0.0).then_some(Off { word, beyond, may_be_inside: beyond <= doubt })
}

/// The mark and the words for a line of a list: outside by no more than the doubt is "just" outside.
#[must_use]
pub fn state(off: &[Off]) -> BandState {
    if off.is_empty() {
        return BandState { mark: "fit", words: "inside the band".to_owned() };
    }
    let just = off.iter().all(|off| off.may_be_inside);
    let how = off.iter().map(|off| off.word).collect::<Vec<_>>().join(" and ");
    let words = format!("{}{how} than the band", if just { "just " } else { "" });
    BandState { mark: if just { "near" } else { "stop" }, words }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::units::{HumidityDoubt, TemperatureDoubt};

    const DOUBT: Doubt = Doubt { humidity: HumidityDoubt::clamped(1.5), temperature: TemperatureDoubt::clamped(0.5) };

    #[track_caller]
    fn check(humidity: f64, temperature: f64, mark: &str, words: &str) {
        let state = state(&off(Some(humidity), Some(temperature), &DOUBT, &RoomSettings::default()));
        assert_eq!((state.mark, state.words.as_str()), (mark, words), "{humidity} %RH, {temperature} °C");
    }

    #[test]
    fn air_is_named_by_how_it_differs_from_the_band() {
        check(50.0, 22.0, "fit", "inside the band");
        check(40.0, 20.0, "fit", "inside the band");
        check(39.0, 22.0, "near", "just drier than the band");
        check(33.0, 22.0, "stop", "drier than the band");
        check(66.0, 22.0, "stop", "damper than the band");
        check(50.0, 19.7, "near", "just colder than the band");
        check(50.0, 26.0, "stop", "warmer than the band");
    }

    #[test]
    fn both_are_named_and_the_worse_one_gives_the_mark() {
        check(39.0, 19.8, "near", "just drier and colder than the band");
        check(39.0, 15.0, "stop", "drier and colder than the band");
    }

    #[test]
    fn what_was_not_read_is_not_judged() {
        assert!(off(None, None, &DOUBT, &RoomSettings::default()).is_empty());
        assert_eq!(off(None, Some(26.0), &DOUBT, &RoomSettings::default()).len(), 1);
    }
}
