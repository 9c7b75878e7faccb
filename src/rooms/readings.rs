//! SQL of readings.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::plausible::{self, Arrived, Reading};
use super::written::TemperatureUnit;
use crate::base::ids::{InstrumentId, ReadingId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::{Db, Tx, all_there};

/// A reading as kept, shown as the instrument showed it.
#[derive(Debug, Clone)]
pub struct KeptReading {
    /// Its instrument.
    pub instrument: InstrumentId,
    /// When.
    pub at: Instant,
    /// °C as shown, if any.
    pub temperature: Option<f64>,
    /// %RH as shown, if any.
    pub humidity: Option<f64>,
    /// Who or what gave it: an actor's mark.
    pub given_by: String,
    /// Empty, or the sentence why it was set aside.
    pub set_aside: String,
}

/// What became of a reading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It counts.
    Kept,
    /// The same instrument gave one for this instant before.
    Already,
    /// Kept apart, with the sentence why.
    SetAside(String),
}

/// A reading to be judged and kept.
#[derive(Debug, Clone, Copy)]
pub struct NewReading {
    /// Where.
    pub room: RoomId,
    /// By which instrument.
    pub instrument: InstrumentId,
    /// When.
    pub at: Instant,
    /// °C, if given.
    pub temperature: Option<f64>,
    /// %RH, if given.
    pub humidity: Option<f64>,
}

/// How near in time a half from another message or instrument may complete a reading.
const COMPLETED_WITHIN: i64 = HOUR / 2;

/// Judges a reading against the one before it and keeps it for the actor: as counting, or set aside with the reason.
pub(super) async fn keep(tx: &mut Tx, new: &NewReading, unit: TemperatureUnit) -> Result<Outcome, Problem> {
    let by = tx.actor.mark();
    keep_for(tx, new, unit, &by).await
}

/// As [`keep`], given by somebody else than who writes now.
pub(super) async fn keep_for(tx: &mut Tx, new: &NewReading, unit: TemperatureUnit, by: &str) -> Result<Outcome, Problem> {
    let whole = complete(tx.db(), new).await?;
    let set_aside = match whole {
        Some(arrived) => {
            let before = believed_near(tx.db(), new.instrument, new.at).await?;
            match plausible::judge(&arrived, before.as_ref(), tx.now.0.0) {
                Ok(_) => String::new(),
                Err(why) => why.sentence(unit),
            }
        }
        None => "Only one of temperature and humidity came, and no other value was near in time.".to_owned(),
    };
    let (temperature, humidity) = match whole {
        Some(arrived) => (Some(arrived.temperature), Some(arrived.humidity)),
        None => (new.temperature, new.humidity),
    };
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    let (temperature, humidity) = (finite(temperature), finite(humidity));
    let received = tx.now.0;
    let done = sqlx::query(
        "insert into reading (id, room, instrument, at, temperature_c, humidity_pct, given_by, received, set_aside)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9) on conflict (instrument, at) do nothing",
    )
    .persistent(all_there(&[temperature, humidity]))
    .bind(ReadingId::new().to_string())
    .bind(new.room.to_string())
    .bind(new.instrument.to_string())
    .bind(new.at.0)
    .bind(temperature)
    .bind(humidity)
    .bind(by)
    .bind(received.0)
    .bind(&set_aside)
    .execute(tx.db())
    .await
    .map_err(Problem::broken)?;
    // The row itself says who gave it and when.
    tx.record_tells_itself();
    Ok(match (done.rows_affected(), set_aside.is_empty()) {
        (0, _) => Outcome::Already,
        (_, true) => Outcome::Kept,
        (_, false) => Outcome::SetAside(set_aside),
    })
}

/// Both numbers: as given, or the missing one from the room's nearest believed reading.
async fn complete(db: &mut Db, new: &NewReading) -> Result<Option<Arrived>, Problem> {
    let at_us = new.at.0;
    if let (Some(temperature), Some(humidity)) = (new.temperature, new.humidity) {
        return Ok(Some(Arrived { at_us, temperature, humidity }));
    }
    let row = sqlx::query(
        "select temperature_c, humidity_pct from reading
         where room = $1 and at > $2 and at <= $3 and temperature_c is not null and humidity_pct is not null
         and set_aside = '' order by at desc limit 1",
    )
    .bind(new.room.to_string())
    .bind(at_us - COMPLETED_WITHIN)
    .bind(at_us)
    .fetch_optional(&mut *db)
    .await
    .map_err(Problem::broken)?;
    let known = row.map(|row| (row.get::<f64, _>(0), row.get::<f64, _>(1)));
    // A sensor that sends its halves apart: the other half was set aside alone just before.
    let half = half_before(db, new).await?;
    let temperature = new.temperature.or(half.and_then(|half| half.0)).or(known.map(|known| known.0));
    let humidity = new.humidity.or(half.and_then(|half| half.1)).or(known.map(|known| known.1));
    Ok(temperature.zip(humidity).map(|(temperature, humidity)| Arrived { at_us, temperature, humidity }))
}

async fn half_before(db: &mut Db, new: &NewReading) -> Result<Option<(Option<f64>, Option<f64>)>, Problem> {
    let row = sqlx::query(
        "select temperature_c, humidity_pct from reading where instrument = $1 and at > $2 and at < $3
         and (temperature_c is null or humidity_pct is null) order by at desc limit 1",
    )
    .bind(new.instrument.to_string())
    .bind(new.at.0 - COMPLETED_WITHIN)
    .bind(new.at.0)
    .fetch_optional(db)
    .await
    .map_err(Problem::broken)?;
    Ok(row.map(|row| (row.get(0), row.get(1))))
}

/// The believed reading of an instrument nearest before an instant.
async fn believed_near(db: &mut Db, instrument: InstrumentId, at: Instant) -> Result<Option<Reading>, Problem> {
    let row = sqlx::query(
        "select at, temperature_c, humidity_pct from reading
         where instrument = $1 and at < $2 and set_aside = '' order by at desc limit 1",
    )
    .bind(instrument.to_string())
    .bind(at.0)
    .fetch_optional(db)
    .await
    .map_err(Problem::broken)?;
    let Some(row) = row else { return Ok(None) };
    let (Ok(temperature), Ok(humidity)) = (Celsius::new(row.get(1)), RelHumidity::new(row.get(2))) else {
        return Ok(None);
    };
    Ok(Some(Reading { at_us: row.get(0), temperature, humidity }))
}

/// The newest believed reading of a room.
pub(super) async fn newest_believed(db: &mut Db, room: RoomId) -> Result<Option<KeptReading>, Problem> {
    let row = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 and set_aside = '' order by at desc limit 1",
    )
    .bind(room.to_string())
    .fetch_optional(db)
    .await
    .map_err(Problem::broken)?;
    row.as_ref().map(read_reading).transpose()
}

/// The newest readings of a room, believed and set aside alike, newest first.
pub(super) async fn newest(db: &mut Db, room: RoomId, most: i64) -> Result<Vec<KeptReading>, Problem> {
    let rows = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 order by at desc limit $2",
    )
    .bind(room.to_string())
    .bind(most)
    .fetch_all(db)
    .await
    .map_err(Problem::broken)?;
    rows.iter().map(read_reading).collect()
}

/// Every reading of a room in `[from, to)`, oldest first.
pub(super) async fn between(db: &mut Db, room: RoomId, from: Instant, to: Instant) -> Result<Vec<KeptReading>, Problem> {
    let rows = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 and at >= $2 and at < $3 order by at",
    )
    .bind(room.to_string())
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await
    .map_err(Problem::broken)?;
    rows.iter().map(read_reading).collect()
}

/// How many of a room's readings were set aside since an instant.
pub(super) async fn count_set_aside(db: &mut Db, room: RoomId, since: Instant) -> Result<i64, Problem> {
    let row = sqlx::query("select count(*) from reading where room = $1 and at >= $2 and set_aside <> ''")
        .bind(room.to_string())
        .bind(since.0)
        .fetch_one(db)
        .await
        .map_err(Problem::broken)?;
    Ok(row.get(0))
}

fn read_reading(row: &AnyRow) -> Result<KeptReading, Problem> {
    Ok(KeptReading {
        instrument: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        at: Instant(row.get(1)),
        temperature: row.get(2),
        humidity: row.get(3),
        given_by: row.get(4),
        set_aside: row.get(5),
    })
}
