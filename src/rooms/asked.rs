//! What pages of other parts ask about rooms: one room, its air at another time, the day's trail, checks that are due.

use std::collections::BTreeMap;

use super::corrected::{correct, load_every_instrument, load_instruments};
use super::now::{AirNow, known};
use super::plan::guards::humidity_wet_at;
use super::readings::KeptReading;
use super::settings::RoomSettings;
use super::{Instrument, InstrumentKind, Room, now, readings, store};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Db;

/// An instrument counts as checked for this long; shared with the rule of its doubt.
const CHECK_LASTS_DAYS: f64 = 365.0;

/// A room in use; a closed one and none answer alike.
///
/// # Errors
/// [`Problem::NotHere`], or when the database cannot be read.
pub async fn open(db: &mut Db, room: RoomId) -> Result<Room, Problem> {
    super::room_form::open_room(store::room(db, room).await?)
}

/// The air of a room at an earlier instant, from the newest believed reading within the hour before it.
///
/// # Errors
/// When the database cannot be read.
pub async fn air_then(
    db: &mut Db,
    room: RoomId,
    settings: &RoomSettings,
    at: Instant,
) -> Result<Option<AirNow>, Problem> {
    let found = readings::between(db, room, at.plus(-HOUR), at.plus(1)).await?;
    let Some(reading) = found.into_iter().rfind(|reading: &KeptReading| reading.set_aside.is_empty()) else {
        return Ok(None);
    };
    let Some(instrument) = store::instrument(db, room, reading.instrument).await? else { return Ok(None) };
    let checks = store::checks(db, instrument.id).await?;
    Ok(now::judge(&reading, instrument, &checks, settings, at))
}

/// As [`air_then`], of every room in use whose air was read then, in three statements.
///
/// # Errors
/// When the database cannot be read.
pub async fn airs_then(db: &mut Db, settings: &RoomSettings, at: Instant) -> Result<BTreeMap<RoomId, AirNow>, Problem> {
    let instruments = load_every_instrument(db).await?;
    let mut newest: BTreeMap<RoomId, KeptReading> = BTreeMap::new();
    for (room, reading) in readings::of_every_room_between(db, at.plus(-HOUR), at.plus(1)).await? {
        // Oldest first in each room: the last believed one stays.
        if reading.set_aside.is_empty() {
            newest.insert(room, reading);
        }
    }
    let mut airs = BTreeMap::new();
    for (room, reading) in newest {
        let Some(known) = instruments.iter().find(|known| known.instrument.id == reading.instrument) else { continue };
        if let Some(air) = now::judge(&reading, known.instrument.clone(), &known.checks, settings, at) {
            airs.insert(room, air);
        }
    }
    Ok(airs)
}

/// Temperature and humidity of a room between two instants, corrected, oldest first; readings set aside left out.
///
/// # Errors
/// When the database cannot be read.
pub async fn trail(
    db: &mut Db,
    room: RoomId,
    from: Instant,
    to: Instant,
) -> Result<Vec<(Celsius, RelHumidity)>, Problem> {
    let found = readings::between(db, room, from, to).await?;
    let corrected = correct(&found, &load_instruments(db, room).await?);
    Ok(corrected
        .iter()
        .filter(|point| !point.aside)
        .filter_map(|point| Some((Celsius::new(point.temperature?).ok()?, RelHumidity::new(point.humidity?).ok()?)))
        .collect())
}

/// An instrument whose humidity ought to be checked.
#[derive(Debug, Clone)]
pub struct CheckDue {
    /// The instrument.
    pub instrument: Instrument,
    /// Days since its last check; `None`: never.
    pub days_ago: Option<i64>,
}

/// Instruments in these rooms that were never checked, or not within a year. A hygrometer for readings by hand that nobody
/// has used within a month is left alone.
///
/// # Errors
/// When the database cannot be read.
pub async fn checks_due(db: &mut Db, rooms: &[RoomId], at: Instant) -> Result<Vec<CheckDue>, Problem> {
    let newest: BTreeMap<RoomId, KeptReading> = readings::newest_of_every_room(db).await?.into_iter().collect();
    let instruments = store::instruments_in_use(db).await?;
    let checks = store::every_check(db).await?;
    let mut due = Vec::new();
    for room in rooms {
        for instrument in instruments.iter().filter(|instrument| instrument.room == *room) {
            let in_use = instrument.kind != InstrumentKind::Hand
                || newest
                    .get(room)
                    .is_some_and(|reading| reading.instrument == instrument.id && at.since(reading.at) < 30 * DAY);
            let own = checks.iter().filter(|(of, _)| *of == instrument.id).map(|(_, check)| check.clone());
            let days = known(instrument, &own.collect::<Vec<_>>(), at).humidity_checked_days_ago;
            if in_use && instrument.own_humidity.is_none() && days.is_none_or(|days| days > CHECK_LASTS_DAYS) {
                #[expect(clippy::cast_possible_truncation, reason = "days of an instrument's life")]
                let days_ago = days.map(|days| days.round() as i64);
                due.push(CheckDue { instrument: instrument.clone(), days_ago });
            }
        }
    }
    Ok(due)
}

/// Where the coldest surface gets wet: for each temperature of the air from 15 to 30 °C, the humidity whose dew point is
/// the surface's temperature (°C, as it is with that air in the room). Left out where that would be above 100 %RH.
#[must_use]
pub fn wet_line(surface: impl Fn(Celsius) -> f64) -> Vec<(Celsius, RelHumidity)> {
    (0..=30)
        .map(|step| Celsius::clamped(15.0 + 0.5 * f64::from(step)))
        .filter_map(|room| {
            let humidity = humidity_wet_at(room, surface(room));
            RelHumidity::new(humidity).ok().map(|humidity| (room, humidity))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rooms::air::dew_point;

    #[test]
    fn on_the_wet_line_the_dew_point_is_the_surface() {
        let line = wet_line(|_| 9.5);
        assert_eq!(line.len(), 31);
        for (t, humidity) in line {
            assert!((dew_point(t, humidity).celsius() - 9.5).abs() < 0.02, "{t:?} {humidity:?}");
        }
        assert!(wet_line(|_| 29.0).len() < 6, "a surface warmer than the air stays dry");
    }
}
