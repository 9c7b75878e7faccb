//! The air of the invented studio: months of ten-minute readings for three rooms, the same on every machine.
//!
//! Every value is a function of its own instant (hashed day and hour numbers stand in for chance), so any two spans
//! agree where they overlap, whichever was asked for first.

use jiff::Timestamp;
use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;

use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::air;

/// The rooms of the invented studio.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemoRoom {
    /// Under the roof, 28 m³, with a skylight: dry, warm on sunny afternoons, with a humidifier.
    Gable,
    /// Towards the south, sunny.
    Lantern,
    /// Below the street, 34 m³: cool and damp.
    Cellar,
}

impl DemoRoom {
    /// All three, in the order of the day sheet.
    pub const ALL: [DemoRoom; 3] = [DemoRoom::Gable, DemoRoom::Lantern, DemoRoom::Cellar];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            DemoRoom::Gable => "Gable",
            DemoRoom::Lantern => "Lantern",
            DemoRoom::Cellar => "Cellar",
        }
    }

    /// Its volume, m³.
    #[must_use]
    pub const fn volume_m3(self) -> f64 {
        match self {
            DemoRoom::Gable => 28.0,
            DemoRoom::Lantern => 41.0,
            DemoRoom::Cellar => 34.0,
        }
    }

    const fn habits(self) -> Habits {
        match self {
            DemoRoom::Gable => Habits {
                seed: 11,
                night: 18.4,
                day: 21.2,
                sun: 2.6,
                season: 0.5,
                damp: 0.1,
                people: 0.7,
                device: Some(2.5),
            },
            DemoRoom::Lantern => {
                Habits { seed: 23, night: 19.4, day: 22.0, sun: 1.9, season: 0.4, damp: 1.9, people: 1.0, device: None }
            }
            DemoRoom::Cellar => Habits {
                seed: 37,
                night: 17.6,
                day: 19.2,
                sun: 0.0,
                season: 0.35,
                damp: 2.7,
                people: 0.8,
                device: Some(-2.2),
            },
        }
    }
}

/// One reading of the invented sensors, as it would arrive: implausible ones are among them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DemoReading {
    /// The instant, µs since 1970, UTC.
    pub at_us: i64,
    /// °C.
    pub temperature: f64,
    /// %RH.
    pub humidity: f64,
}

/// How a room answers to weather, sun, people and its device. Temperatures °C, moisture g/m³.
struct Habits {
    seed: u64,
    night: f64,
    day: f64,
    /// Added at noon on a cloudless day.
    sun: f64,
    /// How much of the season's swing outdoors reaches the room.
    season: f64,
    /// Moisture above outdoors, from walls and ground.
    damp: f64,
    /// Moisture from people during opening hours.
    people: f64,
    /// Moisture that the humidifier adds, or the dehumidifier takes, once it has run for long.
    device: Option<f64>,
}

const MINUTE: i64 = 60_000_000;
const HOUR: i64 = 60 * MINUTE;
/// The sensors send every ten minutes.
const EVERY: i64 = 10 * MINUTE;
/// Hours after which a room has gone two thirds of the way to a new moisture.
const SLOWNESS_H: f64 = 3.0;

/// The readings with `from_us ≤ instant < to_us`, oldest first. The studio keeps its hours in `zone`.
///
/// Outages leave gaps of some hours; about one reading in five hundred is implausible.
#[must_use]
pub fn readings(room: DemoRoom, zone: &TimeZone, from_us: i64, to_us: i64) -> Vec<DemoReading> {
    let first = from_us.div_euclid(EVERY) + i64::from(from_us.rem_euclid(EVERY) != 0);
    let mut readings = Vec::new();
    let mut at_us = first.saturating_mul(EVERY);
    while at_us < to_us {
        if let Some(reading) = reading(room, zone, at_us) {
            readings.push(reading);
        }
        at_us += EVERY;
    }
    readings
}

/// When the room's humidifier or dehumidifier was on, oldest first, cut to the span.
#[must_use]
pub fn device_on(room: DemoRoom, zone: &TimeZone, from_us: i64, to_us: i64) -> Vec<(i64, i64)> {
    let zoned = |us: i64| zone.to_datetime(Timestamp::from_microsecond(us).unwrap_or_default());
    let (mut date, last) = (zoned(from_us).date(), zoned(to_us).date());
    let mut periods = Vec::new();
    while date <= last {
        if let Some((from, to)) = device_day(room, zone, date) {
            let cut = (from.max(from_us), to.min(to_us));
            if cut.0 < cut.1 {
                periods.push(cut);
            }
        }
        let Ok(next) = date.tomorrow() else { break };
        date = next;
    }
    periods
}

fn reading(room: DemoRoom, zone: &TimeZone, at_us: i64) -> Option<DemoReading> {
    let local = zone.to_datetime(Timestamp::from_microsecond(at_us).ok()?);
    let (date, hour) = (local.date(), f64::from(local.hour()) + f64::from(local.minute()) / 60.0);
    if is_outage(room, date, hour) {
        return None;
    }
    let habits = room.habits();
    let slot = at_us.div_euclid(EVERY);
    if let Some((temperature, humidity)) = broken(habits.seed, slot) {
        return Some(DemoReading { at_us, temperature, humidity });
    }
    let temperature = indoor_temperature(&habits, date, hour, at_us);
    let moisture = indoor_moisture(room, &habits, zone, date, hour, at_us);
    // The sensor's own noise, and its last digit.
    let temperature = tenth(temperature + 0.08 * signed(habits.seed, 1, slot));
    let shown = air::humidity_holding(moisture, Celsius::clamped(temperature));
    let humidity = tenth((shown + 0.5 * signed(habits.seed, 2, slot)).clamp(8.0, 92.0));
    Some(DemoReading { at_us, temperature, humidity })
}

/// The room's temperature: heated by day, fewer people and no heating on the closing day, sun, season, a slow drift.
fn indoor_temperature(habits: &Habits, date: Date, hour: f64, at_us: i64) -> f64 {
    let open = if is_closed(date) { 0.25 } else { 1.0 };
    let heated = open * rise(hour, 6.5, 2.0) * (1.0 - rise(hour, 19.0, 3.5));
    let cloudless = 0.2 + 0.8 * unit(3, 0, day_number(date));
    let sun = habits.sun * cloudless * (0.35 + 0.65 * (summer(date) + 1.0) / 2.0) * bump(hour, 14.0, 3.0);
    let season = habits.season * 5.0 * summer(date);
    let drift = 0.5 * smooth(habits.seed, 4, at_us, 9 * HOUR);
    habits.night + (habits.day - habits.night) * heated + sun + season + drift
}

/// The room's moisture: outdoors, walls, people, the device.
fn indoor_moisture(
    room: DemoRoom,
    habits: &Habits,
    zone: &TimeZone,
    date: Date,
    hour: f64,
    at_us: i64,
) -> crate::base::units::GramsPerM3 {
    let people =
        if is_closed(date) { 0.0 } else { habits.people * rise(hour, 9.5, 1.5) * (1.0 - rise(hour, 18.5, 2.5)) };
    let device = habits.device.map_or(0.0, |full| full * device_share(room, zone, date, at_us));
    let slow = 0.5 * smooth(habits.seed, 5, at_us, 7 * HOUR);
    let grams = outdoor_moisture(date, at_us) + habits.damp + people + device + slow;
    crate::base::units::GramsPerM3::clamped(grams.max(1.2))
}

/// The weather: a season, fronts that pass in days. Without the cooler night.
#[must_use]
pub fn outside(zone: &TimeZone, at_us: i64) -> (Celsius, RelHumidity) {
    let at = jiff::Timestamp::from_microsecond(at_us).unwrap_or_default();
    outdoor_air(zone.to_datetime(at).date(), at_us)
}

fn outdoor_air(date: Date, at_us: i64) -> (Celsius, RelHumidity) {
    let fronts = smooth(7, 6, at_us, 60 * HOUR);
    let temperature = 9.5 + 8.0 * summer(date) + 4.0 * fronts;
    let humidity = 76.0 - 8.0 * summer(date) + 12.0 * smooth(7, 8, at_us, 31 * HOUR);
    (Celsius::clamped(temperature), RelHumidity::clamped(humidity.clamp(35.0, 98.0)))
}

/// Outdoors: a season, weather that passes in days. Then its moisture.
fn outdoor_moisture(date: Date, at_us: i64) -> f64 {
    let (temperature, humidity) = outdoor_air(date, at_us);
    // Indoor air keeps about three quarters of what outdoors has above the dry winter level.
    let outdoor = air::vapour_density(temperature, humidity).get();
    3.4 + 0.75 * (outdoor - 3.4)
}

/// How far the device has come, 0…1: an exponential approach while on, and back after.
fn device_share(room: DemoRoom, zone: &TimeZone, date: Date, at_us: i64) -> f64 {
    let days = [date.yesterday().ok(), Some(date)];
    let shares = days.into_iter().flatten().filter_map(|day| device_day(room, zone, day)).map(|(from, to)| {
        let hours = |us: i64| us as f64 / HOUR as f64 / SLOWNESS_H;
        if at_us < from {
            0.0
        } else if at_us < to {
            1.0 - (-hours(at_us - from)).exp()
        } else {
            (1.0 - (-hours(to - from)).exp()) * (-hours(at_us - to)).exp()
        }
    });
    shares.sum::<f64>().min(1.0)
}

/// When the device runs on a day: not on closing days, not on every day, never through the night.
fn device_day(room: DemoRoom, zone: &TimeZone, date: Date) -> Option<(i64, i64)> {
    let habits = room.habits();
    habits.device?;
    let day = day_number(date);
    // The humidifier is wanted in winter, the dehumidifier in summer.
    let wanted = if habits.device > Some(0.0) { 0.55 - 0.45 * summer(date) } else { 0.55 + 0.4 * summer(date) };
    if is_closed(date) || unit(habits.seed, 9, day) > wanted {
        return None;
    }
    let minutes = |from: f64, wide: f64, salt| (60.0 * (from + wide * unit(habits.seed, salt, day))).round() as i64;
    let (from, to) = (minutes(7.5, 2.5, 10), minutes(15.0, 3.0, 11));
    let midnight = date.to_zoned_datetime(zone.clone()).ok()?.timestamp().as_microsecond();
    Some((midnight + from * MINUTE, midnight + to * MINUTE))
}

/// The sensor loses its network for some hours: on about one day in forty.
fn is_outage(room: DemoRoom, date: Date, hour: f64) -> bool {
    let (seed, day) = (room.habits().seed, day_number(date));
    if unit(seed, 12, day) > 0.025 {
        return false;
    }
    let from = 2.0 + 14.0 * unit(seed, 13, day);
    (from..from + 3.0 + 5.0 * unit(seed, 14, day)).contains(&hour)
}

/// What a sensor sends when it starts, has lost its probe, or is wet.
fn broken(seed: u64, slot: i64) -> Option<(f64, f64)> {
    if unit(seed, 15, slot) > 0.002 {
        return None;
    }
    Some(match (unit(seed, 16, slot) * 4.0) as u8 {
        0 => (85.0, 0.0),
        1 => (-40.0, 100.0),
        2 => (21.0, 100.0),
        _ => (48.5, 12.0),
    })
}

fn is_closed(date: Date) -> bool {
    date.weekday() == Weekday::Sunday
}

fn day_number(date: Date) -> i64 {
    date.duration_since(Date::constant(1970, 1, 1)).as_hours() / 24
}

/// −1 in mid January, 1 in mid July.
fn summer(date: Date) -> f64 {
    (std::f64::consts::TAU * (f64::from(date.day_of_year()) - 106.0) / 365.25).sin()
}

/// From 0 to 1, half way at `at`, over about `wide` hours.
fn rise(hour: f64, at: f64, wide: f64) -> f64 {
    1.0 / (1.0 + (-4.0 * (hour - at) / wide).exp())
}

fn bump(hour: f64, at: f64, wide: f64) -> f64 {
    (-((hour - at) / wide).powi(2)).exp()
}

/// A smooth walk between −1 and 1 with a new value every `every` µs.
fn smooth(seed: u64, salt: u64, at_us: i64, every: i64) -> f64 {
    let cell = at_us.div_euclid(every);
    let share = at_us.rem_euclid(every) as f64 / every as f64;
    let eased = share * share * (3.0 - 2.0 * share);
    let (here, next) = (signed(seed, salt, cell), signed(seed, salt, cell + 1));
    here + eased * (next - here)
}

fn signed(seed: u64, salt: u64, number: i64) -> f64 {
    2.0 * unit(seed, salt, number) - 1.0
}

/// A number in 0…1 that belongs to seed, purpose and day, hour or slot (splitmix64's finish).
fn unit(seed: u64, salt: u64, number: i64) -> f64 {
    let mixed =
        seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ salt.wrapping_mul(0xd1b5_4a32_d192_ed03) ^ number.cast_unsigned();
    let z = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
