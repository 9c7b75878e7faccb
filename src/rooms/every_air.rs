//! The air of every room, for a page that asks about it more than once: settings, instruments, checks and the newest readings are read
//! once for all of it.

use std::collections::BTreeMap;

use super::asked::CheckDue;
use super::corrected::{KnownInstrument, correct, load_every_instrument};
use super::now::{self, AirNow, known};
use super::readings::{self, KeptReading};
use super::settings::RoomSettings;
use super::{InstrumentKind, store};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Db;

/// An instrument counts as checked for this long; shared with the rule of its doubt.
const CHECK_LASTS_DAYS: f64 = 365.0;

/// What every question about the air of the house rests on.
pub struct EveryAir {
    /// The studio's settings for air.
    pub settings: RoomSettings,
    pub(super) instruments: Vec<KnownInstrument>,
    newest: Vec<(RoomId, KeptReading)>,
}

/// The readings of the last 24 hours of every room in use, oldest first in each.
pub struct LastDay(pub(super) BTreeMap<RoomId, Vec<KeptReading>>);

/// One point of a room's trail: when, temperature, humidity.
pub type TrailPoint = (Instant, Celsius, RelHumidity);

impl EveryAir {
    /// Reads it.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self {
            settings: RoomSettings::load(db).await?,
            instruments: load_every_instrument(db).await?,
            newest: readings::newest_of_every_room(db).await?,
        })
    }

    /// The air now of every room in use whose air was ever read.
    ///
    /// # Errors
    /// When a reading names no instrument of the house.
    pub fn now(&self, now: Instant) -> Result<BTreeMap<RoomId, AirNow>, Problem> {
        let mut airs = BTreeMap::new();
        for (room, reading) in &self.newest {
            let known = self.instrument(reading).ok_or_else(|| Problem::broken("a reading without its instrument"))?;
            if let Some(air) = self.judged(reading, known, now) {
                airs.insert(*room, air);
            }
        }
        Ok(airs)
    }

    /// The air at an earlier instant of every room in use whose air was read within the hour before it, in one statement.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn then(&self, db: &mut Db, at: Instant) -> Result<BTreeMap<RoomId, AirNow>, Problem> {
        let mut newest: BTreeMap<RoomId, KeptReading> = BTreeMap::new();
        for (room, reading) in readings::of_every_room_between(db, at.plus(-HOUR), at.plus(1)).await? {
            // Oldest first in each room: the last believed one stays.
            if reading.set_aside.is_empty() {
                newest.insert(room, reading);
            }
        }
        let of = |(room, reading): (RoomId, KeptReading)| {
            Some((room, self.judged(&reading, self.instrument(&reading)?, at)?))
        };
        Ok(newest.into_iter().filter_map(of).collect())
    }

    /// What was read in the last 24 hours, in one statement.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn last_day(&self, db: &mut Db, now: Instant) -> Result<LastDay, Problem> {
        let mut rooms: BTreeMap<RoomId, Vec<KeptReading>> = BTreeMap::new();
        for (room, reading) in readings::of_every_room_between(db, now.plus(-DAY), now.plus(1)).await? {
            rooms.entry(room).or_default().push(reading);
        }
        Ok(LastDay(rooms))
    }

    /// Temperature and humidity of a room in its last day, corrected, oldest first; readings set aside left out.
    #[must_use]
    pub fn trail(&self, day: &LastDay, room: RoomId) -> Vec<TrailPoint> {
        let found = day.0.get(&room).map_or(&[][..], Vec::as_slice);
        correct(found, &self.instruments)
            .iter()
            .filter(|point| !point.aside)
            .filter_map(|point| {
                let temperature = Celsius::new(point.temperature?).ok()?;
                Some((Instant(point.at), temperature, RelHumidity::new(point.humidity?).ok()?))
            })
            .collect()
    }

    /// Instruments in these rooms that were never checked, or not within a year. A hygrometer for readings by hand that nobody has used
    /// within a month is left alone.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn checks_due(&self, db: &mut Db, rooms: &[RoomId], at: Instant) -> Result<Vec<CheckDue>, Problem> {
        let in_use = store::instruments_in_use(db).await?;
        let mut due = Vec::new();
        for room in rooms {
            let newest = self.newest.iter().find(|(of, _)| of == room).map(|(_, reading)| reading);
            for instrument in in_use.iter().filter(|instrument| instrument.room == *room) {
                let used = instrument.kind != InstrumentKind::Hand
                    || newest
                        .is_some_and(|reading| reading.instrument == instrument.id && at.since(reading.at) < 30 * DAY);
                let checks = self.instruments.iter().find(|known| known.instrument.id == instrument.id);
                let checks = checks.map_or(&[][..], |known| &known.checks);
                let days = known(instrument, checks, at).humidity_checked_days_ago;
                if used && instrument.own_humidity.is_none() && days.is_none_or(|days| days > CHECK_LASTS_DAYS) {
                    #[expect(clippy::cast_possible_truncation, reason = "days of an instrument's life")]
                    let days_ago = days.map(|days| days.round() as i64);
                    due.push(CheckDue { instrument: instrument.clone(), days_ago });
                }
            }
        }
        Ok(due)
    }

    fn instrument(&self, reading: &KeptReading) -> Option<&KnownInstrument> {
        self.instruments.iter().find(|known| known.instrument.id == reading.instrument)
    }

    fn judged(&self, reading: &KeptReading, known: &KnownInstrument, at: Instant) -> Option<AirNow> {
        now::judge(reading, known.instrument.clone(), &known.checks, &self.settings, at)
    }
}
