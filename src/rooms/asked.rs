//! What pages of other parts ask about one room: itself, its air at another time, the day's trail. Of all rooms: `every_air.rs`.

use super::corrected::{correct, load_instruments};
use super::now::AirNow;
use super::plan::guards::humidity_wet_at;
use super::readings::KeptReading;
use super::settings::RoomSettings;
use super::{Instrument, Room, now, readings, store};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Db;

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
