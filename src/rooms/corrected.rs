//! Readings after correction, for charts and lists: each by the checks its instrument had when it was read.

use std::collections::BTreeMap;

use super::chart::Point;
use super::now::Corrections;
use super::readings::KeptReading;
use super::written::Quantity;
use super::{Check, Instrument, store};
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::units::RelHumidity;
use crate::store::Db;

/// An instrument with its checks.
pub(super) struct KnownInstrument {
    /// The instrument.
    pub(super) instrument: Instrument,
    /// Its checks, also those struck out.
    pub(super) checks: Vec<Check>,
}

/// The instruments of a room, each with its checks.
pub(super) async fn load_instruments(db: &mut Db, room: RoomId) -> Result<Vec<KnownInstrument>, Problem> {
    let mut known = Vec::new();
    for instrument in store::instruments(db, room).await? {
        let checks = store::checks(db, instrument.id).await?;
        known.push(KnownInstrument { instrument, checks });
    }
    Ok(known)
}

/// Every instrument there ever was, each with its checks: two statements, however many rooms there are.
pub(super) async fn load_every_instrument(db: &mut Db) -> Result<Vec<KnownInstrument>, Problem> {
    let mut checks: BTreeMap<InstrumentId, Vec<Check>> = BTreeMap::new();
    for (instrument, check) in store::every_check(db).await? {
        checks.entry(instrument).or_default().push(check);
    }
    let instruments = store::every_instrument(db).await?;
    let known = |instrument: Instrument| KnownInstrument {
        checks: checks.remove(&instrument.id).unwrap_or_default(),
        instrument,
    };
    Ok(instruments.into_iter().map(known).collect())
}

/// Readings further apart than this are not joined by a line.
pub(super) const JOINED_WITHIN: i64 = 35 * crate::base::time::MINUTE;

/// A reading after correction.
pub(super) struct Corrected {
    /// When, µs since 1970.
    pub(super) at: i64,
    /// °C.
    pub(super) temperature: Option<f64>,
    /// %RH.
    pub(super) humidity: Option<f64>,
    /// Set aside: shown as it came, and not used.
    pub(super) aside: bool,
}

impl Corrected {
    /// As a point of a chart, where this half was read.
    pub(super) fn of(&self, quantity: Quantity) -> Option<Point> {
        let value = match quantity {
            Quantity::Humidity => self.humidity,
            Quantity::Temperature => self.temperature,
        };
        value.map(|value| (self.at, value))
    }
}

/// Each reading by the checks that had been made of its instrument up to then; those set aside stay as they came.
pub(super) fn correct(found: &[KeptReading], instruments: &[KnownInstrument]) -> Vec<Corrected> {
    let checks: BTreeMap<InstrumentId, &[Check]> =
        instruments.iter().map(|known| (known.instrument.id, known.checks.as_slice())).collect();
    let mut last: Option<(InstrumentId, usize, Corrections)> = None;
    let mut out = Vec::with_capacity(found.len());
    for reading in found {
        let aside = !reading.set_aside.is_empty();
        let own = checks.get(&reading.instrument).copied().unwrap_or_default();
        if aside || own.is_empty() {
            out.push(Corrected {
                at: reading.at.0,
                temperature: reading.temperature,
                humidity: reading.humidity,
                aside,
            });
            continue;
        }
        // The correction changes only when another check comes into force: a month of readings needs it worked out a few times.
        let in_force = own.iter().filter(|check| check.at <= reading.at).count();
        let correction = match last {
            Some((instrument, count, correction)) if instrument == reading.instrument && count == in_force => {
                correction
            }
            _ => Corrections::of(own, reading.at),
        };
        last = Some((reading.instrument, in_force, correction));
        let humidity = reading
            .humidity
            .and_then(|h| RelHumidity::new(h).ok())
            .map(|h| correction.humidity.apply(h).humidity.get());
        let temperature = reading.temperature.map(|t| t + correction.kelvins);
        out.push(Corrected { at: reading.at.0, temperature, humidity, aside });
    }
    out
}
