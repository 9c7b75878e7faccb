//! Which readings are *set aside*, and the sentence why. Nothing is dropped: a reading set aside is kept, shown with
//! its reason, and used for nothing.
//!
//! The limits are choices, wide enough that a real room never meets them:
//! - a room is between 2 and 45 °C. A heated studio, a cold cellar and a glass roof in August are inside; a sensor
//!   that has lost its wire, or has just been switched on, is not.
//! - its air is between 2 and 98 %RH. Outdoor air of −20 °C warmed to 21 °C holds about 3 %RH, and walls give off
//!   more; above 98 a cheap sensor is wet or broken.
//! - within ten minutes it can move by 8 K and 45 %RH: a window torn open in winter, a humidifier beside the sensor.
//!   For other spans: 3 K and 15 %RH at once, and 0.5 K and 3 %RH more for every minute. So after a real step (a sensor
//!   carried to another room) readings are believed again within the hour. Compared is the believed reading of the same
//!   instrument that is nearest in time, before or after: a late one arrives behind newer ones.

use crate::base::number::DecimalMark;
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::written::TemperatureUnit;

/// Temperatures a room can have, °C.
pub const ROOM_TEMPERATURE: (f64, f64) = (2.0, 45.0);
/// Humidities a room can have, %RH.
pub const ROOM_HUMIDITY: (f64, f64) = (2.0, 98.0);
/// How far a sensor's clock may run ahead, µs.
pub const CLOCK_AHEAD: i64 = 2 * 60 * SECOND;
/// The first instant that can be a reading's, µs: 1 January 2000. A device that has not been told the time begins
/// counting in 1970.
pub const EARLIEST: i64 = 946_684_800 * SECOND;

const SECOND: i64 = 1_000_000;
const JUMP_KELVINS: f64 = 3.0;
const JUMP_KELVINS_A_MINUTE: f64 = 0.5;
const JUMP_HUMIDITY: f64 = 15.0;
const JUMP_HUMIDITY_A_MINUTE: f64 = 3.0;
/// Further apart than this, µs, two readings say nothing about each other.
pub const COMPARED_WITHIN: i64 = 60 * 60 * SECOND;

/// A reading as it arrived: °C and %RH, any number, any instant (µs since 1970, UTC).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrived {
    /// The instant, µs since 1970, UTC.
    pub at_us: i64,
    /// °C.
    pub temperature: f64,
    /// %RH.
    pub humidity: f64,
}

/// A reading that is believed, as the instrument showed it (not yet corrected).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The instant, µs since 1970, UTC.
    pub at_us: i64,
    /// The temperature shown.
    pub temperature: Celsius,
    /// The humidity shown.
    pub humidity: RelHumidity,
}

impl From<Reading> for Arrived {
    fn from(reading: Reading) -> Arrived {
        Arrived { at_us: reading.at_us, temperature: reading.temperature.get(), humidity: reading.humidity.get() }
    }
}

/// Why a reading is set aside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SetAside {
    /// Temperature or humidity is no number.
    NotANumber,
    /// Colder or warmer than −20…60 °C. Holds °C.
    OffTemperatureScale(f64),
    /// Outside 0…100 %RH. Holds %RH.
    OffHumidityScale(f64),
    /// On the scale, but no room is like that. Holds °C.
    NoRoomTemperature(f64),
    /// On the scale, but no room is like that. Holds %RH.
    NoRoomHumidity(f64),
    /// Its instant lies ahead of the clock. Holds the minutes.
    Future(i64),
    /// Before 2000: the device does not know the time.
    ClockNotSet,
    /// Too far from the believed reading nearest in time. Holds the difference in K and the minutes from that one to this,
    /// negative when that one is the later.
    TemperatureJump(f64, f64),
    /// Too far from the believed reading nearest in time. Holds the difference in %RH and the minutes from that one to
    /// this, negative when that one is the later.
    HumidityJump(f64, f64),
}

impl SetAside {
    /// The word it is stored under.
    #[must_use]
    pub const fn key(&self) -> &'static str {
        match self {
            SetAside::NotANumber => "not_a_number",
            SetAside::OffTemperatureScale(_) => "off_temperature_scale",
            SetAside::OffHumidityScale(_) => "off_humidity_scale",
            SetAside::NoRoomTemperature(_) => "no_room_temperature",
            SetAside::NoRoomHumidity(_) => "no_room_humidity",
            SetAside::Future(_) => "future",
            SetAside::ClockNotSet => "clock_not_set",
            SetAside::TemperatureJump(..) => "temperature_jump",
            SetAside::HumidityJump(..) => "humidity_jump",
        }
    }

    /// What happened and what to look at, with temperatures in the studio's unit and numbers in its decimal mark.
    #[must_use]
    pub fn sentence(&self, unit: TemperatureUnit, mark: DecimalMark) -> String {
        let t = |celsius: f64| format!("{} {}", mark.show(unit.from_celsius(celsius), 1), unit.symbol());
        // With a decimal, as 98.3 beside a limit of 98 is over it.
        let rh = |humidity: f64| format!("{} %RH", mark.show(humidity, 1));
        match *self {
            SetAside::NotANumber => "It is not a number. Look at the sensor’s settings.".to_owned(),
            SetAside::OffTemperatureScale(at) => format!(
                "{} is off the scale of {} to {}. Look at the sensor and at the unit set for it.",
                t(at),
                t(Celsius::LOWEST),
                t(Celsius::HIGHEST)
            ),
            SetAside::OffHumidityScale(at) => {
                format!("{} is off the scale of 0 to 100 %RH. Look at the sensor and at the unit set for it.", rh(at))
            }
            SetAside::NoRoomTemperature(at) => format!(
                "{} is no room’s air ({} to {}). Look at the sensor and at the unit set for it.",
                t(at),
                t(ROOM_TEMPERATURE.0),
                t(ROOM_TEMPERATURE.1)
            ),
            SetAside::NoRoomHumidity(at) => format!(
                "{} is no room’s air ({} to {} %RH). The sensor may be wet, or broken.",
                rh(at),
                mark.show(ROOM_HUMIDITY.0, 0),
                mark.show(ROOM_HUMIDITY.1, 0)
            ),
            SetAside::Future(minutes) => {
                format!("Its time is {} ahead of the clock. Look at the sensor’s clock and time zone.", span(minutes))
            }
            SetAside::ClockNotSet => "Its time is before 2000: the sensor’s clock is not set.".to_owned(),
            SetAside::TemperatureJump(kelvins, minutes) => format!(
                "It is {} {} away from the reading {}. Rooms do not change so fast.",
                mark.show(unit.from_kelvins(kelvins.abs()), 1),
                unit.symbol(),
                minutes_apart(minutes)
            ),
            SetAside::HumidityJump(humidity, minutes) => format!(
                "It is {} away from the reading {}. Rooms do not change so fast.",
                rh(humidity.abs()),
                minutes_apart(minutes)
            ),
        }
    }
}

fn span(minutes: i64) -> String {
    match minutes {
        m if m < 120 => format!("{m} min"),
        m if m < 2 * 24 * 60 => format!("{} h", m / 60),
        m => format!("{} days", m / (24 * 60)),
    }
}

/// Where the compared reading lies in time.
fn minutes_apart(minutes: f64) -> String {
    let side = if minutes < 0.0 { "after" } else { "before" };
    match minutes.abs() {
        short if short < 1.0 => format!("less than a minute {side}"),
        apart => format!("{apart:.0} min {side}"),
    }
}

/// Believes a reading, or says why it is set aside.
///
/// `nearest` is the reading of the same instrument that was believed and is nearest in time, before this one or after it
/// (a late one may arrive behind newer ones). `now_us` is the clock, µs since 1970.
///
/// # Errors
/// [`SetAside`], the first reason that holds: clock, scale, room, jump.
pub fn judge(arrived: &Arrived, nearest: Option<&Reading>, now_us: i64) -> Result<Reading, SetAside> {
    clock(arrived.at_us, now_us)?;
    let reading = on_scale(arrived)?;
    in_a_room(&reading)?;
    if let Some(nearest) = nearest {
        no_jump(&reading, nearest)?;
    }
    Ok(reading)
}

fn clock(at_us: i64, now_us: i64) -> Result<(), SetAside> {
    let ahead = at_us.saturating_sub(now_us);
    if ahead > CLOCK_AHEAD {
        Err(SetAside::Future(ahead / (60 * SECOND)))
    } else if at_us < EARLIEST {
        Err(SetAside::ClockNotSet)
    } else {
        Ok(())
    }
}

fn on_scale(arrived: &Arrived) -> Result<Reading, SetAside> {
    let Arrived { at_us, temperature, humidity } = *arrived;
    if temperature.is_nan() || humidity.is_nan() {
        return Err(SetAside::NotANumber);
    }
    Ok(Reading {
        at_us,
        temperature: Celsius::new(temperature).map_err(|_| SetAside::OffTemperatureScale(temperature))?,
        humidity: RelHumidity::new(humidity).map_err(|_| match humidity {
            // On the scale, yet never air: a sensor without its probe.
            0.0 => SetAside::NoRoomHumidity(humidity),
            _ => SetAside::OffHumidityScale(humidity),
        })?,
    })
}

fn in_a_room(reading: &Reading) -> Result<(), SetAside> {
    let (temperature, humidity) = (reading.temperature.get(), reading.humidity.get());
    if !(ROOM_TEMPERATURE.0..=ROOM_TEMPERATURE.1).contains(&temperature) {
        Err(SetAside::NoRoomTemperature(temperature))
    } else if !(ROOM_HUMIDITY.0..=ROOM_HUMIDITY.1).contains(&humidity) {
        Err(SetAside::NoRoomHumidity(humidity))
    } else {
        Ok(())
    }
}

fn no_jump(reading: &Reading, nearest: &Reading) -> Result<(), SetAside> {
    let apart = reading.at_us.saturating_sub(nearest.at_us);
    if apart.saturating_abs() > COMPARED_WITHIN {
        return Ok(());
    }
    let minutes = apart as f64 / (60 * SECOND) as f64;
    let kelvins = reading.temperature.get() - nearest.temperature.get();
    let humidity = reading.humidity.get() - nearest.humidity.get();
    if kelvins.abs() > JUMP_KELVINS + JUMP_KELVINS_A_MINUTE * minutes.abs() {
        Err(SetAside::TemperatureJump(kelvins, minutes))
    } else if humidity.abs() > JUMP_HUMIDITY + JUMP_HUMIDITY_A_MINUTE * minutes.abs() {
        Err(SetAside::HumidityJump(humidity, minutes))
    } else {
        Ok(())
    }
}

/// Whether a reading is older than the studio's limit.
#[must_use]
pub fn is_stale(at_us: i64, now_us: i64, limit_minutes: u32) -> bool {
    hours_beyond_limit(at_us, now_us, limit_minutes) > 0.0
}

/// How many hours a reading is older than the studio's limit; 0 while it is fresh. For [`super::instrument::Known::doubt`].
#[must_use]
pub fn hours_beyond_limit(at_us: i64, now_us: i64, limit_minutes: u32) -> f64 {
    let beyond = now_us.saturating_sub(at_us).saturating_sub(i64::from(limit_minutes) * 60 * SECOND);
    beyond.max(0) as f64 / (3600 * SECOND) as f64
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const NOW: i64 = 1_760_000_000 * SECOND;
    const MINUTE: i64 = 60 * SECOND;

    fn arrived(minutes: i64, temperature: f64, humidity: f64) -> Arrived {
        Arrived { at_us: NOW + minutes * MINUTE, temperature, humidity }
    }

    #[track_caller]
    fn check(arrived: Arrived, nearest: Option<Arrived>, expected: Option<&str>) {
        let nearest = nearest.map(|n| on_scale(&n).unwrap());
        let found = judge(&arrived, nearest.as_ref(), NOW);
        assert_eq!(found.as_ref().err().map(SetAside::key), expected, "{arrived:?} beside {nearest:?}");
        if let Err(why) = found {
            for unit in [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit] {
                let told = why.sentence(unit, DecimalMark::Point);
                assert!(told.ends_with('.') && told.len() > 20, "{told}");
            }
        }
    }

    #[test]
    fn an_ordinary_reading_is_believed() {
        check(arrived(0, 21.0, 38.0), None, None);
        check(arrived(0, 21.0, 38.0), Some(arrived(-10, 20.8, 39.0)), None);
    }

    #[test]
    fn what_no_scale_and_no_room_can_hold_is_set_aside_with_its_reason() {
        check(arrived(0, f64::NAN, 38.0), None, Some("not_a_number"));
        check(arrived(0, 85.0, 38.0), None, Some("off_temperature_scale"));
        check(arrived(0, f64::NEG_INFINITY, 38.0), None, Some("off_temperature_scale"));
        check(arrived(0, 21.0, 0.0), None, Some("no_room_humidity"));
        check(arrived(0, 21.0, 140.0), None, Some("off_humidity_scale"));
        check(arrived(0, -3.0, 38.0), None, Some("no_room_temperature"));
        check(arrived(0, 45.1, 38.0), None, Some("no_room_temperature"));
        check(arrived(0, 21.0, 1.0), None, Some("no_room_humidity"));
        check(arrived(0, 21.0, 100.0), None, Some("no_room_humidity"));
    }

    #[test]
    fn a_reading_from_the_future_or_from_before_the_clock_was_set_is_set_aside() {
        check(arrived(2, 21.0, 38.0), None, None);
        check(arrived(3, 21.0, 38.0), None, Some("future"));
        check(Arrived { at_us: 12 * SECOND, temperature: 21.0, humidity: 38.0 }, None, Some("clock_not_set"));
        check(Arrived { at_us: i64::MAX, temperature: 21.0, humidity: 38.0 }, None, Some("future"));
        check(Arrived { at_us: i64::MIN, temperature: 21.0, humidity: 38.0 }, None, Some("clock_not_set"));
    }

    #[test]
    fn a_jump_no_room_can_make_is_set_aside_and_a_window_torn_open_is_not() {
        let before = Some(arrived(-10, 21.0, 38.0));
        check(arrived(0, 13.5, 60.0), before, None);
        check(arrived(0, 12.5, 38.0), before, Some("temperature_jump"));
        check(arrived(0, 21.0, 84.0), before, Some("humidity_jump"));
        check(arrived(-10, 25.0, 38.0), before, Some("temperature_jump"));
    }

    #[test]
    fn after_a_real_step_readings_are_believed_again_within_the_hour() {
        let carried_in = |minutes: i64| arrived(minutes - 60, 22.0, 40.0);
        let cold = Some(arrived(-60, 5.0, 80.0));
        check(carried_in(10), cold, Some("temperature_jump"));
        check(carried_in(30), cold, None);
        check(arrived(1, 40.0, 10.0), cold, None);
    }

    #[test]
    fn sentences_write_numbers_as_the_studio_does() {
        let told = |why: SetAside| why.sentence(TemperatureUnit::Celsius, DecimalMark::Comma);
        let cold = told(SetAside::NoRoomTemperature(-3.25));
        assert!(cold.starts_with("−3,2 °C is no room’s air (2,0 °C to 45,0 °C)."), "{cold}");
        let off = told(SetAside::OffHumidityScale(-0.6));
        assert!(off.starts_with("−0,6 %RH is off the scale of 0 to 100 %RH."), "{off}");
        assert!(told(SetAside::NoRoomHumidity(98.3)).starts_with("98,3 %RH is no room’s air (2 to 98 %RH)."));
    }

    #[test]
    fn a_late_reading_is_compared_with_the_newer_one_too() {
        check(arrived(-10, 30.0, 38.0), Some(arrived(0, 21.0, 38.0)), Some("temperature_jump"));
    }

    #[test]
    fn a_jump_is_told_with_the_side_on_which_the_other_reading_lies() {
        let told = |at: i64, beside: i64| {
            let beside = on_scale(&arrived(beside, 21.0, 38.0)).unwrap();
            let why = judge(&arrived(at, 30.0, 38.0), Some(&beside), NOW).unwrap_err();
            why.sentence(TemperatureUnit::Celsius, DecimalMark::Point)
        };
        assert_eq!(told(0, -10), "It is 9.0 °C away from the reading 10 min before. Rooms do not change so fast.");
        assert_eq!(told(-10, 0), "It is 9.0 °C away from the reading 10 min after. Rooms do not change so fast.");
        assert!(told(0, 0).contains("less than a minute before"));
    }

    #[test]
    fn a_reading_older_than_thirty_minutes_is_stale() {
        assert!(!is_stale(NOW - 30 * MINUTE, NOW, 30));
        assert!(is_stale(NOW - 30 * MINUTE - 1, NOW, 30));
        assert!(!is_stale(NOW + MINUTE, NOW, 30));
        assert!((hours_beyond_limit(NOW - 150 * MINUTE, NOW, 30) - 2.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn judging_never_panics_and_believes_only_what_a_room_can_be(
            at in any::<i64>(), temperature in any::<f64>(), humidity in any::<f64>(), now in any::<i64>(),
        ) {
            if let Ok(reading) = judge(&Arrived { at_us: at, temperature, humidity }, None, now) {
                prop_assert!((ROOM_TEMPERATURE.0..=ROOM_TEMPERATURE.1).contains(&reading.temperature.get()));
                prop_assert!((ROOM_HUMIDITY.0..=ROOM_HUMIDITY.1).contains(&reading.humidity.get()));
            }
        }
    }
}
