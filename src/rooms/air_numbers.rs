//! What a room's page says first of its air: the sentence, then the numbers, each on its rule and with what it is
//! compared with.

use super::band::Off;
use super::list_page::{AirWords, words};
use super::now::AirNow;
use super::rule::{OnRule, rule};
use super::settings::RoomSettings;
use super::{Room, air};
use crate::base::number::DecimalMark;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::web::studio::Studio;

/// The sentence and the numbers of a room's air now.
pub(super) struct AirNumbers {
    /// The sentence above all: how the air is, against what the studio wants.
    pub(super) lead: String,
    /// Water settles on the coldest surface: said on its own.
    pub(super) wet: Option<String>,
    /// Values, mark and age as a list shows them.
    pub(super) air: AirWords,
    /// The temperature on its rule.
    pub(super) temperature_rule: String,
    /// Likely from … to …, and the band.
    pub(super) temperature_against: String,
    /// The humidity on its rule.
    pub(super) humidity_rule: String,
    /// Likely from … to …, and the band.
    pub(super) humidity_against: String,
    /// Dew point without its unit.
    pub(super) dew: String,
    /// "Dew point" or "Frost point".
    pub(super) dew_word: &'static str,
    /// The coldest surface beside it.
    pub(super) dew_against: String,
    /// g/m³.
    pub(super) density: String,
    /// The same at the lower end of the band.
    pub(super) density_against: String,
    /// What was done to the numbers, and what else follows from them: whole sentences.
    pub(super) remarks: String,
}

/// The sentence and the numbers of a room's air now.
pub(super) fn air_numbers(
    air: &AirNow,
    room: &Room,
    settings: &RoomSettings,
    studio: &Studio,
    now: Instant,
) -> AirNumbers {
    let unit = studio.temperature_unit();
    let degrees = |celsius: f64| studio.number(studio.scale(celsius), 1);
    let (temperature, humidity) = (temperature_on_rule(air, settings, studio), humidity_on_rule(air, settings, studio));
    let dew = air.derived.dew.celsius();
    let surface = |c: f64| format!("{} is at {}\u{a0}{unit}", room.coldest_surface, degrees(c));
    let cold = room.surface.map(Celsius::get);
    let wet = cold.filter(|surface| dew >= *surface);
    let low = air::vapour_density(air.measured.temperature, settings.humidity_band.0);
    let words = words(air, settings, studio, now);
    AirNumbers {
        lead: lead(&room.name, &air.off(settings), air.stale.then_some(words.then.as_str()), air, studio),
        wet: wet
            .map(|c| format!("Water settles on the {}: it is at {}\u{a0}{unit}.", room.coldest_surface, degrees(c))),
        temperature_against: against(&temperature, 1, unit, studio),
        temperature_rule: rule(&temperature),
        humidity_against: against(&humidity, 0, "%RH", studio),
        humidity_rule: rule(&humidity),
        dew: degrees(dew),
        dew_word: if words.dew_word == "dew point" { "Dew point" } else { "Frost point" },
        dew_against: match cold {
            Some(c) if wet.is_some() => format!("{}: wet", surface(c)),
            Some(c) => format!("{}: dry", surface(c)),
            None => "a colder surface gets wet".to_owned(),
        },
        density: studio.number(air.derived.vapour_density.get(), 1),
        density_against: format!("{} at the lower end of the band", studio.number(low.get(), 1)),
        remarks: remarks(air, studio),
        air: words,
    }
}

/// Verb and state in at most two sentences: how the air differs from what the studio wants, and whether that is known now.
fn lead(room: &str, off: &[Off], stale_since: Option<&str>, air: &AirNow, studio: &Studio) -> String {
    let humidity = format!("{}\u{a0}%RH", studio.number(air.measured.humidity.humidity.get(), 0));
    let temperature = format!("{}\u{a0}{}", studio.temperature(air.measured.temperature), studio.temperature_unit());
    let how = if off.is_empty() {
        format!("as the studio wants it: {humidity} at {temperature}")
    } else {
        let parts: Vec<_> = off.iter().map(|off| by_how_much(off, studio)).collect();
        format!("{} than the studio wants", parts.join(" and "))
    };
    if let Some(since) = stale_since {
        return format!("{room} was last read {since}, too long ago to rely on. Then it was {how}.");
    }
    let doubted = match off {
        [] => "",
        off if off.iter().all(|off| off.may_be_inside) => "; so little may be the instrument",
        _ => "",
    };
    format!("{room} is {how}{doubted}.")
}

fn by_how_much(off: &Off, studio: &Studio) -> String {
    let is_humidity = matches!(off.word, "drier" | "damper");
    let (value, places, unit) = match (is_humidity, studio.fahrenheit) {
        (true, _) => (off.beyond, 0, "%RH"),
        (false, true) => (off.beyond * 1.8, 1, "°F"),
        (false, false) => (off.beyond, 1, "°C"),
    };
    let least = if is_humidity { 0.5 } else { 0.05 };
    if value < least {
        format!("a little {}", off.word)
    } else {
        format!("{}\u{a0}{unit} {}", studio.number(value, places), off.word)
    }
}

fn mark(studio: &Studio) -> char {
    if studio.decimal == DecimalMark::Comma { ',' } else { '.' }
}

fn humidity_on_rule(air: &AirNow, settings: &RoomSettings, studio: &Studio) -> OnRule {
    OnRule {
        value: air.measured.humidity.humidity.get(),
        doubt: air.measured.doubt.humidity.get(),
        limits: (0.0, RelHumidity::HIGHEST.min(100.0)),
        band: (settings.humidity_band.0.get(), settings.humidity_band.1.get()),
        open: air.stale || air.known.humidity_checked_days_ago.is_none(),
        decimal_mark: mark(studio),
    }
}

fn temperature_on_rule(air: &AirNow, settings: &RoomSettings, studio: &Studio) -> OnRule {
    let shown = |celsius: f64| studio.scale(celsius);
    OnRule {
        value: shown(air.measured.temperature.get()),
        doubt: if studio.fahrenheit {
            air.measured.doubt.temperature.fahrenheit()
        } else {
            air.measured.doubt.temperature.get()
        },
        limits: (shown(-40.0), shown(80.0)),
        band: (shown(settings.temperature_band.0.get()), shown(settings.temperature_band.1.get())),
        open: air.stale,
        decimal_mark: mark(studio),
    }
}

fn against(on: &OnRule, places: usize, unit: &str, studio: &Studio) -> String {
    let range = |(low, high): (f64, f64)| format!("{}–{}", studio.number(low, places), studio.number(high, places));
    let whole = |value: f64| (value - value.round()).abs() < 1e-9;
    let band = if whole(on.band.0) && whole(on.band.1) {
        format!("{}–{}", studio.number(on.band.0, 0), studio.number(on.band.1, 0))
    } else {
        range(on.band)
    };
    format!("likely {}\u{a0}{unit}; band {band}", range(on.likely()))
}

fn remarks(air: &AirNow, studio: &Studio) -> String {
    let mut remarks = Vec::new();
    let (shown, corrected) = (air.shown_humidity.get(), air.measured.humidity.humidity.get());
    if (shown - corrected).abs() >= 0.05 {
        remarks.push(format!(
            "The instrument showed {}\u{a0}%RH, its check makes that {}.",
            studio.number(shown, 1),
            studio.number(corrected, 1)
        ));
    }
    if air.measured.humidity.outside_checked_range {
        remarks.push("That lies outside the range of its checks.".to_owned());
    }
    if air.measured.humidity.stopped_at_limit {
        remarks
            .push("The check would carry it past what air can hold, so it stops at the end of the scale.".to_owned());
    }
    remarks.push(match (air.stale, air.known.humidity_checked_days_ago) {
        (true, _) => "Likely means 8 times in 10; wider here, as the reading is old.".to_owned(),
        (false, None) => "Likely means 8 times in 10; wider here, as the instrument was never checked.".to_owned(),
        (false, Some(_)) => "Likely means 8 times in 10.".to_owned(),
    });
    let wet_bulb = studio.number(studio.scale(air.derived.wet_bulb), 1);
    remarks.push(format!("Wet bulb {wet_bulb}\u{a0}{}.", studio.temperature_unit()));
    remarks.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::{InstrumentId, RoomId};
    use crate::base::time::MINUTE;
    use crate::base::units::{AirChanges, CubicMetres};
    use crate::rooms::air::Derived;
    use crate::rooms::instrument::{Correction, Known, Place};
    use crate::rooms::push::Mapping;
    use crate::rooms::{Instrument, InstrumentKind};

    fn gable() -> Room {
        Room {
            id: RoomId::new(),
            name: "Gable".to_owned(),
            volume: CubicMetres::clamped(28.0),
            air_changes: AirChanges::clamped(0.5),
            coldest_surface: "skylight".to_owned(),
            surface: Some(Celsius::clamped(9.5)),
            closed: None,
        }
    }

    fn air(celsius: f64, humidity: f64, stale: bool) -> AirNow {
        let known = Known {
            humidity_checked_days_ago: Some(20.0),
            temperature_checked: false,
            age_days: 0.0,
            place: Place::AtTheBed,
            own_humidity: None,
            own_temperature: None,
        };
        let (temperature, shown_humidity) = (Celsius::clamped(celsius), RelHumidity::clamped(humidity));
        AirNow {
            at: Instant(0),
            instrument: Instrument {
                id: InstrumentId::new(),
                room: RoomId::new(),
                name: "by the bed".to_owned(),
                kind: InstrumentKind::Hand,
                place: Place::AtTheBed,
                own_temperature: None,
                own_humidity: None,
                bought: Instant(0),
                mapping: Mapping::default(),
            },
            measured: known.measured(
                temperature,
                shown_humidity,
                &Correction::None,
                0.0,
                if stale { 2.0 } else { 0.0 },
            ),
            shown_humidity,
            known,
            stale,
            derived: Derived::of(temperature, shown_humidity),
        }
    }

    fn said(celsius: f64, humidity: f64, stale: bool, studio: &Studio) -> AirNumbers {
        air_numbers(&air(celsius, humidity, stale), &gable(), &RoomSettings::default(), studio, Instant(4 * MINUTE))
    }

    #[track_caller]
    fn lead_is(celsius: f64, humidity: f64, expected: &str) {
        assert_eq!(said(celsius, humidity, false, &Studio::default()).lead.replace('\u{a0}', "~"), expected);
    }

    #[test]
    fn the_sentence_says_how_far_the_air_is_from_what_is_wanted() {
        lead_is(21.0, 45.0, "Gable is as the studio wants it: 45~%RH at 21.0~°C.");
        lead_is(21.0, 33.0, "Gable is 7~%RH drier than the studio wants.");
        lead_is(17.2, 33.0, "Gable is 7~%RH drier and 2.8~°C colder than the studio wants.");
        lead_is(21.0, 39.0, "Gable is 1~%RH drier than the studio wants; so little may be the instrument.");
        lead_is(21.0, 39.8, "Gable is a little drier than the studio wants; so little may be the instrument.");
    }

    #[test]
    fn an_old_reading_is_told_as_something_that_was() {
        let lead = said(21.0, 33.0, true, &Studio::default()).lead.replace('\u{a0}', "~");
        assert_eq!(
            lead,
            "Gable was last read today 00:00, too long ago to rely on. Then it was 7~%RH drier than the studio wants."
        );
    }

    #[test]
    fn the_ranges_are_given_on_the_studios_scale_and_mark() {
        let fahrenheit = Studio { fahrenheit: true, decimal: DecimalMark::Comma, ..Studio::default() };
        let said = said(17.2, 45.0, false, &fahrenheit);
        assert_eq!(said.lead.replace('\u{a0}', "~"), "Gable is 5,0~°F colder than the studio wants.");
        assert_eq!(said.temperature_against.replace('\u{a0}', "~"), "likely 61,8–64,1~°F; band 68,0–75,2");
        assert_eq!(said.humidity_against.replace('\u{a0}', "~"), "likely 43–47~%RH; band 40–60");
    }

    #[test]
    fn water_on_the_glass_is_said_on_its_own() {
        let damp = said(22.0, 55.0, false, &Studio::default());
        assert_eq!(damp.wet.unwrap().replace('\u{a0}', "~"), "Water settles on the skylight: it is at 9.5~°C.");
        assert!(said(20.0, 41.0, false, &Studio::default()).wet.is_none());
    }
}
