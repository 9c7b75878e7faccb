//! SQL of readings.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::plausible::{self, Arrived, Reading};
use super::written::TemperatureUnit;
use crate::base::ids::{InstrumentId, ReadingId, RoomId};
use crate::base::number::DecimalMark;
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::{Db, Tx, query_with_nulls};

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

/// The topic that rises with every reading kept, counted or set aside.
pub const AIR: &str = "air";

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

/// In which unit and with which decimal mark a reading set aside is told of.
pub(super) type Wording = (TemperatureUnit, DecimalMark);

/// How near in time the other half of a reading may lie when temperature and humidity come apart.
const COMPLETED_WITHIN: i64 = 15 * MINUTE;

const HALF: &str =
    "Only one of temperature and humidity came, and this instrument gave no other value within 15 minutes.";

/// Judges a reading against those around it and keeps it for the actor: as counting, or set aside with the reason.
pub(super) async fn keep(tx: &mut Tx, new: &NewReading, wording: Wording) -> Result<Outcome, Problem> {
    let by = tx.actor.mark();
    keep_for(tx, new, wording, &by).await
}

/// As [`keep`], given by somebody else than who writes now.
pub(super) async fn keep_for(tx: &mut Tx, new: &NewReading, wording: Wording, by: &str) -> Result<Outcome, Problem> {
    // The row itself says who gave it and when.
    tx.record_tells_itself();
    let there = at_instant(tx.db(), new).await?;
    let new = match there {
        Some((temperature, humidity)) if temperature.is_some() && humidity.is_some() => return Ok(Outcome::Already),
        // The other half of the same instant came before: together they are a reading.
        Some((temperature, humidity)) => {
            &NewReading { temperature: temperature.or(new.temperature), humidity: humidity.or(new.humidity), ..*new }
        }
        None => new,
    };
    let whole = complete(tx.db(), new).await?;
    if whole.is_none() && there.is_some() {
        return Ok(Outcome::Already);
    }
    let set_aside = match whole {
        Some(arrived) => judge(tx, new, &arrived, wording).await?,
        None => HALF.to_owned(),
    };
    let finite = |value: Option<f64>| value.filter(|value| value.is_finite());
    let (temperature, humidity) = match whole {
        Some(arrived) => (finite(Some(arrived.temperature)), finite(Some(arrived.humidity))),
        None => (finite(new.temperature), finite(new.humidity)),
    };
    let received = tx.now.0;
    query_with_nulls(
        "insert into reading (id, room, instrument, at, temperature_c, humidity_pct, given_by, received, set_aside)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
         on conflict (instrument, at) do update set temperature_c = excluded.temperature_c,
         humidity_pct = excluded.humidity_pct, received = excluded.received, set_aside = excluded.set_aside",
    )
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
    .await?;
    tx.raise(AIR);
    Ok(if set_aside.is_empty() { Outcome::Kept } else { Outcome::SetAside(set_aside) })
}

/// What the instrument gave for this very instant before; a half is a row with one number missing.
async fn at_instant(db: &mut Db, new: &NewReading) -> Result<Option<(Option<f64>, Option<f64>)>, Problem> {
    let row = sqlx::query("select temperature_c, humidity_pct from reading where instrument = $1 and at = $2")
        .bind(new.instrument.to_string())
        .bind(new.at.0)
        .fetch_optional(db)
        .await?;
    Ok(row.map(|row| (row.get(0), row.get(1))))
}

/// Both numbers: as given, or the missing one from the newest this instrument gave shortly before. Never from another instrument:
/// what is missing would be corrected by the wrong checks.
async fn complete(db: &mut Db, new: &NewReading) -> Result<Option<Arrived>, Problem> {
    let (temperature, humidity) = match (new.temperature, new.humidity) {
        (Some(temperature), Some(humidity)) => (Some(temperature), Some(humidity)),
        (Some(temperature), None) => (Some(temperature), half_before(db, new, Half::Humidity).await?),
        (None, Some(humidity)) => (half_before(db, new, Half::Temperature).await?, Some(humidity)),
        (None, None) => (None, None),
    };
    let both = temperature.zip(humidity);
    Ok(both.map(|(temperature, humidity)| Arrived { at_us: new.at.0, temperature, humidity }))
}

enum Half {
    Temperature,
    Humidity,
}

/// The newest value of a half, from whole readings that count and from halves that came alone.
async fn half_before(db: &mut Db, new: &NewReading, half: Half) -> Result<Option<f64>, Problem> {
    let text = match half {
        Half::Temperature => {
            "select temperature_c from reading where instrument = $1 and at > $2 and at < $3 and temperature_c is not null
             and (set_aside = '' or humidity_pct is null) order by at desc limit 1"
        }
        Half::Humidity => {
            "select humidity_pct from reading where instrument = $1 and at > $2 and at < $3 and humidity_pct is not null
             and (set_aside = '' or temperature_c is null) order by at desc limit 1"
        }
    };
    let row = sqlx::query(text)
        .bind(new.instrument.to_string())
        .bind(new.at.0 - COMPLETED_WITHIN)
        .bind(new.at.0)
        .fetch_optional(db)
        .await?;
    Ok(row.and_then(|row| row.get(0)))
}

/// Empty for a reading that is believed, else the sentence why not.
async fn judge(tx: &mut Tx, new: &NewReading, arrived: &Arrived, (unit, mark): Wording) -> Result<String, Problem> {
    let now = tx.now.0;
    let around = believed_around(tx.db(), new.instrument, new.at).await?;
    Ok(match plausible::judge(arrived, around.as_ref(), now.0) {
        Ok(_) => String::new(),
        Err(why) => why.sentence(unit, mark),
    })
}

/// The believed reading of an instrument nearest to an instant, before it or after it: a late one may arrive behind newer ones.
async fn believed_around(db: &mut Db, instrument: InstrumentId, at: Instant) -> Result<Option<Reading>, Problem> {
    let mut nearest: Option<Reading> = None;
    for text in [
        "select at, temperature_c, humidity_pct from reading
         where instrument = $1 and at < $2 and set_aside = '' order by at desc limit 1",
        "select at, temperature_c, humidity_pct from reading
         where instrument = $1 and at > $2 and set_aside = '' order by at limit 1",
    ] {
        let row = sqlx::query(text).bind(instrument.to_string()).bind(at.0).fetch_optional(&mut *db).await?;
        let Some(row) = row else { continue };
        let (Ok(temperature), Ok(humidity)) = (Celsius::new(row.get(1)), RelHumidity::new(row.get(2))) else {
            continue;
        };
        let found = Reading { at_us: row.get(0), temperature, humidity };
        let distance = |reading: &Reading| reading.at_us.abs_diff(at.0);
        if nearest.is_none_or(|nearest| distance(&found) < distance(&nearest)) {
            nearest = Some(found);
        }
    }
    Ok(nearest)
}

/// The newest believed reading of a room; what hangs outside is not its air.
pub(super) async fn newest_believed(db: &mut Db, room: RoomId) -> Result<Option<KeptReading>, Problem> {
    let row = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 and set_aside = '' and instrument not in (select id from instrument where outdoors = 1)
         order by at desc limit 1",
    )
    .bind(room.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_reading).transpose()
}

/// The newest believed reading of every room in use, in one statement; by the index one step a room.
pub(super) async fn newest_of_every_room(db: &mut Db) -> Result<Vec<(RoomId, KeptReading)>, Problem> {
    let rows = sqlx::query(
        "select found.instrument, found.at, found.temperature_c, found.humidity_pct, found.given_by, found.set_aside, room.id
         from room join reading found on found.id = (
           select reading.id from reading where reading.room = room.id and reading.set_aside = ''
           and reading.instrument not in (select id from instrument where outdoors = 1) order by reading.at desc limit 1
         ) where room.closed is null",
    )
    .fetch_all(db)
    .await?;
    rows.iter().map(with_room).collect()
}

/// Every reading of every room in use in `[from, to)`, oldest first in each.
pub(super) async fn of_every_room_between(
    db: &mut Db,
    from: Instant,
    to: Instant,
) -> Result<Vec<(RoomId, KeptReading)>, Problem> {
    let rows = sqlx::query(
        "select found.instrument, found.at, found.temperature_c, found.humidity_pct, found.given_by, found.set_aside, room.id
         from room join reading found on found.room = room.id where room.closed is null and found.at >= $1 and found.at < $2
         and found.instrument not in (select id from instrument where outdoors = 1) order by found.room, found.at",
    )
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(with_room).collect()
}

fn with_room(row: &AnyRow) -> Result<(RoomId, KeptReading), Problem> {
    Ok((row.get::<String, _>(6).parse().map_err(Problem::broken)?, read_reading(row)?))
}

/// The newest readings of a room up to an instant, believed and set aside alike, newest first. A sensor whose clock is years ahead
/// does not hide the others.
pub(super) async fn newest(db: &mut Db, room: RoomId, until: Instant, most: i64) -> Result<Vec<KeptReading>, Problem> {
    let rows = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 and at <= $2 and instrument not in (select id from instrument where outdoors = 1)
         order by at desc limit $3",
    )
    .bind(room.to_string())
    .bind(until.0)
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_reading).collect()
}

/// Every reading of a room's own air in `[from, to)`, oldest first.
pub(super) async fn between(
    db: &mut Db,
    room: RoomId,
    from: Instant,
    to: Instant,
) -> Result<Vec<KeptReading>, Problem> {
    let rows = sqlx::query(
        "select instrument, at, temperature_c, humidity_pct, given_by, set_aside from reading
         where room = $1 and at >= $2 and at < $3 and instrument not in (select id from instrument where outdoors = 1)
         order by at",
    )
    .bind(room.to_string())
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_reading).collect()
}

/// How many of a room's readings were set aside since an instant.
pub(super) async fn count_set_aside(db: &mut Db, room: RoomId, since: Instant) -> Result<i64, Problem> {
    let row = sqlx::query("select count(*) from reading where room = $1 and at >= $2 and set_aside <> ''")
        .bind(room.to_string())
        .bind(since.0)
        .fetch_one(db)
        .await?;
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
