//! What the room plan knows of a room beyond the room itself: moisture capacity, cold surface, hours devices run, outside air.

use sqlx::Row;

use super::air::Derived;
use super::corrected::{Corrected, KnownInstrument, correct};
use super::now::{AirNow, air_now};
use super::plan::{Air, Capacity, PlanInputs};
use super::plan_inputs::inputs_of;
use super::readings::KeptReading;
use super::settings::RoomSettings;
use super::{Device, DeviceKind, Room, store};
use crate::base::ids::{DeviceId, InstrumentId, ReadingId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::{Db, Tx, query_with_nulls};

/// Outside air older than this is not planned with.
pub(super) const OUTSIDE_AT_MOST: i64 = 24 * HOUR;
/// Outside air older than this is said to be old.
pub(super) const OUTSIDE_OLD: i64 = 3 * HOUR;

/// What the plan needs of a room besides its volume and air change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Planning {
    pub(super) capacity: Capacity,
    /// When the capacity was fitted from readings.
    pub(super) fitted: Option<Instant>,
    /// When the air change was.
    pub(super) air_changes_measured: Option<Instant>,
    pub(super) surface_factor: f64,
    pub(super) warms_k_per_hour: f64,
    pub(super) cools_k_per_hour: f64,
}

/// How a device runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Running {
    pub(super) hours_a_day: f64,
    /// The air a dehumidifier's grams hold for; none: this room's own.
    pub(super) rated: Option<Air>,
}

/// Where outside air comes from.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum OutsideFrom {
    /// An instrument that hangs outside, by name.
    Instrument(String),
    /// Typed in.
    Typed,
}

/// The air outside, as last known.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Outside {
    pub(super) at: Instant,
    pub(super) air: Air,
    pub(super) from: OutsideFrom,
}

/// Everything the plan page begins with.
pub(super) struct Situation {
    pub(super) planning: Planning,
    pub(super) devices: Vec<(Device, Running)>,
    pub(super) air: Option<AirNow>,
    pub(super) outside: Option<Outside>,
}

impl Situation {
    pub(super) async fn load(db: &mut Db, room: &Room, settings: &RoomSettings, now: Instant) -> Result<Self, Problem> {
        let air = air_now(db, room.id, settings, now).await?;
        Self::with_air(db, room, air, now).await
    }

    /// The same with the room's air already read.
    async fn with_air(db: &mut Db, room: &Room, air: Option<AirNow>, now: Instant) -> Result<Self, Problem> {
        let devices = store::devices(db, room.id).await?;
        Ok(Self {
            planning: planning(db, room.id).await?,
            devices: running(db, devices).await?,
            air,
            outside: outside(db, now).await?,
        })
    }

    /// The rule's inputs; none while the air inside or outside is not known.
    pub(super) fn inputs(&self, room: &Room) -> Option<PlanInputs> {
        Some(inputs_of(room, &self.planning, &self.devices, self.air.as_ref()?, self.outside.as_ref()?))
    }
}

/// Everything that decides how the air of a room in use moves, for other parts that have read room and air; none while its air or the
/// air outside is not known.
///
/// # Errors
/// When the database cannot be read.
pub async fn plan_inputs(
    db: &mut Db,
    room: &Room,
    air: Option<&AirNow>,
    now: Instant,
) -> Result<Option<PlanInputs>, Problem> {
    if air.is_none() {
        return Ok(None);
    }
    Ok(Situation::with_air(db, room, air.cloned(), now).await?.inputs(room))
}

/// What the plan knows of a room.
pub(super) async fn planning(db: &mut Db, room: RoomId) -> Result<Planning, Problem> {
    let row = sqlx::query(
        "select moisture_low, moisture_capacity, moisture_high, fitted, surface_factor, warms_k_per_hour, cools_k_per_hour,
         air_changes_measured from room where id = $1",
    )
    .bind(room.to_string())
    .fetch_one(db)
    .await?;
    Ok(Planning {
        capacity: Capacity { low: row.get(0), best: row.get(1), high: row.get(2) },
        fitted: row.get::<Option<i64>, _>(3).map(Instant),
        surface_factor: row.get(4),
        warms_k_per_hour: row.get(5),
        cools_k_per_hour: row.get(6),
        air_changes_measured: row.get::<Option<i64>, _>(7).map(Instant),
    })
}

/// Changes what the plan knows of a room. A capacity typed in is no longer a fitted one.
pub(super) async fn change_planning(tx: &mut Tx, room: RoomId, planning: &Planning) -> Result<(), Problem> {
    let done = query_with_nulls(
        "update room set moisture_low = $1, moisture_capacity = $2, moisture_high = $3, fitted = $4, surface_factor = $5,
         warms_k_per_hour = $6, cools_k_per_hour = $7 where id = $8 and closed is null",
    )
    .bind(planning.capacity.low)
    .bind(planning.capacity.best)
    .bind(planning.capacity.high)
    .bind(planning.fitted.map(|at| at.0))
    .bind(planning.surface_factor)
    .bind(planning.warms_k_per_hour)
    .bind(planning.cools_k_per_hour)
    .bind(room.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("room"));
    }
    tx.audit("change what the plan of a room rests on", room, "").await
}

/// Keeps a moisture capacity that readings told, and nothing else of the plan.
pub(super) async fn fit_capacity(tx: &mut Tx, room: RoomId, capacity: Capacity) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query(
        "update room set moisture_low = $1, moisture_capacity = $2, moisture_high = $3, fitted = $4
         where id = $5 and closed is null",
    )
    .bind(capacity.low)
    .bind(capacity.best)
    .bind(capacity.high)
    .bind(now.0)
    .bind(room.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("room"));
    }
    tx.audit("fit the moisture capacity of a room", room, "").await
}

/// Keeps the air change that readings told.
pub(super) async fn change_air_change(tx: &mut Tx, room: RoomId, an_hour: f64) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "update room set air_changes_per_hour = $1, air_changes_measured = $2 where id = $3 and closed is null",
    )
    .bind(an_hour)
    .bind(now.0)
    .bind(room.to_string())
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Devices with how they run.
async fn running(db: &mut Db, devices: Vec<Device>) -> Result<Vec<(Device, Running)>, Problem> {
    let Some(room) = devices.first().map(|device| device.room) else { return Ok(Vec::new()) };
    let rows = sqlx::query(
        "select id, hours_a_day, rated_c, rated_pct from device where room = $1 and removed is null order by id",
    )
    .bind(room.to_string())
    .fetch_all(db)
    .await?;
    let of = |device: &Device| rows.iter().find(|row| row.get::<String, _>(0) == device.id.to_string());
    devices
        .into_iter()
        .map(|device| {
            let row = of(&device).ok_or_else(|| Problem::broken("a device that is not there"))?;
            let rated = row.get::<Option<f64>, _>(2).zip(row.get::<Option<f64>, _>(3)).map(|(celsius, percent)| Air {
                temperature: Celsius::clamped(celsius),
                humidity: RelHumidity::clamped(percent),
            });
            Ok((device, Running { hours_a_day: row.get(1), rated }))
        })
        .collect()
}

/// One device of a room that moves water, with how it runs.
pub(super) async fn device(db: &mut Db, room: RoomId, id: DeviceId) -> Result<Option<(Device, Running)>, Problem> {
    let devices = store::devices(db, room).await?;
    let devices = running(db, devices).await?;
    let moves_water = |kind| matches!(kind, DeviceKind::Humidifier | DeviceKind::Dehumidifier);
    Ok(devices.into_iter().find(|(device, _)| device.id == id && moves_water(device.kind)))
}

/// Changes how a device runs.
pub(super) async fn change_running(tx: &mut Tx, room: RoomId, id: DeviceId, running: Running) -> Result<(), Problem> {
    let done = query_with_nulls(
        "update device set hours_a_day = $1, rated_c = $2, rated_pct = $3 where id = $4 and room = $5 and removed is null",
    )
    .bind(running.hours_a_day)
    .bind(running.rated.map(|air| air.temperature.get()))
    .bind(running.rated.map(|air| air.humidity.get()))
    .bind(id.to_string())
    .bind(room.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("device"));
    }
    tx.audit("change how a device runs", id, "").await
}

/// The newest of what the instrument outside showed and what was typed in, if it is at most a day old.
pub(super) async fn outside(db: &mut Db, now: Instant) -> Result<Option<Outside>, Problem> {
    let oldest = now.plus(-OUTSIDE_AT_MOST);
    let shown = shown_outside(db, oldest, now.plus(1)).await?.pop().map(|(at, air, name)| Outside {
        at,
        air,
        from: OutsideFrom::Instrument(name),
    });
    let typed = sqlx::query(
        "select at, temperature_c, humidity_pct from outside_air where at >= $1 and at <= $2 order by at desc limit 1",
    )
    .bind(oldest.0)
    .bind(now.0)
    .fetch_optional(db)
    .await?;
    let typed = typed.map(|row| Outside {
        at: Instant(row.get(0)),
        air: Air { temperature: Celsius::clamped(row.get(1)), humidity: RelHumidity::clamped(row.get(2)) },
        from: OutsideFrom::Typed,
    });
    Ok([shown, typed].into_iter().flatten().max_by_key(|outside| outside.at))
}

/// What instruments outside showed in `[from, to)`, corrected by their checks, oldest first.
async fn shown_outside(db: &mut Db, from: Instant, to: Instant) -> Result<Vec<(Instant, Air, String)>, Problem> {
    let Some(instrument) = outdoor_instrument(db).await? else { return Ok(Vec::new()) };
    let rows = sqlx::query(
        "select at, temperature_c, humidity_pct from reading
         where instrument = $1 and at >= $2 and at < $3 and set_aside = '' order by at",
    )
    .bind(instrument.instrument.id.to_string())
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await?;
    let found: Vec<KeptReading> = rows
        .iter()
        .map(|row| KeptReading {
            instrument: instrument.instrument.id,
            at: Instant(row.get(0)),
            temperature: row.get(1),
            humidity: row.get(2),
            given_by: String::new(),
            set_aside: String::new(),
        })
        .collect();
    let name = instrument.instrument.name.clone();
    let corrected = correct(&found, &[instrument]);
    let airs = corrected.iter().filter_map(|point| Some((Instant(point.at), air_of(point)?, name.clone())));
    Ok(airs.collect())
}

/// A corrected reading as air, where both halves are there.
pub(super) fn air_of(point: &Corrected) -> Option<Air> {
    Some(Air { temperature: Celsius::new(point.temperature?).ok()?, humidity: RelHumidity::new(point.humidity?).ok()? })
}

/// The mean water in the air outside during a span, g/m³: out of readings there, else of what was typed in nearest to it within a day.
pub(super) async fn mean_outside(db: &mut Db, from: Instant, to: Instant) -> Result<Option<f64>, Problem> {
    let shown = shown_outside(db, from, to).await?;
    if !shown.is_empty() {
        #[expect(clippy::cast_precision_loss, reason = "readings of a few days")]
        let count = shown.len() as f64;
        let sum: f64 =
            shown.iter().map(|(_, air, _)| Derived::of(air.temperature, air.humidity).vapour_density.get()).sum();
        return Ok(Some(sum / count));
    }
    let rows = sqlx::query(
        "select at, temperature_c, humidity_pct from outside_air where at >= $1 and at <= $2 order by at limit 200",
    )
    .bind(from.plus(-OUTSIDE_AT_MOST).0)
    .bind(to.plus(OUTSIDE_AT_MOST).0)
    .fetch_all(db)
    .await?;
    let middle = from.plus(to.since(from) / 2);
    let nearest = rows.iter().min_by_key(|row| Instant(row.get(0)).since(middle).abs());
    Ok(nearest
        .map(|row| Derived::of(Celsius::clamped(row.get(1)), RelHumidity::clamped(row.get(2))).vapour_density.get()))
}

/// Keeps outside air as typed in.
pub(super) async fn add_outside(tx: &mut Tx, air: Air) -> Result<(), Problem> {
    let (now, by) = (tx.now.0, tx.actor.mark());
    // The row itself says who gave it and when.
    tx.record_tells_itself();
    tx.raise(super::readings::AIR);
    sqlx::query("insert into outside_air (id, at, temperature_c, humidity_pct, given_by) values ($1, $2, $3, $4, $5)")
        .bind(ReadingId::new().to_string())
        .bind(now.0)
        .bind(air.temperature.get())
        .bind(air.humidity.get())
        .bind(by)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// The instrument that hangs outside, with its checks.
pub(super) async fn outdoor_instrument(db: &mut Db) -> Result<Option<KnownInstrument>, Problem> {
    let row = sqlx::query("select id, room from instrument where outdoors = 1 and removed is null limit 1")
        .fetch_optional(&mut *db)
        .await?;
    let Some(row) = row else { return Ok(None) };
    let (id, room) = (row.get::<String, _>(0), row.get::<String, _>(1));
    let (id, room) = (id.parse().map_err(Problem::broken)?, room.parse().map_err(Problem::broken)?);
    let Some(instrument) = store::instrument(db, room, id).await? else { return Ok(None) };
    let checks = store::checks(db, id).await?;
    Ok(Some(KnownInstrument { instrument, checks }))
}

/// Every instrument in use, with the name of the room it is listed under.
pub(super) async fn all_instruments(db: &mut Db) -> Result<Vec<(InstrumentId, String, String)>, Problem> {
    let rows = sqlx::query(
        "select instrument.id, instrument.name, room.name from instrument join room on room.id = instrument.room
         where instrument.removed is null and room.closed is null",
    )
    .fetch_all(db)
    .await?;
    let mut all = rows
        .iter()
        .map(|row| Ok((row.get::<String, _>(0).parse().map_err(Problem::broken)?, row.get(1), row.get(2))))
        .collect::<Result<Vec<(InstrumentId, String, String)>, Problem>>()?;
    all.sort_by_key(|(_, name, room)| (crate::base::text::fold(room), crate::base::text::fold(name)));
    Ok(all)
}

/// Says which instrument hangs outside; none for no instrument. Its readings then stop counting as the air of a room.
pub(super) async fn set_outdoor(tx: &mut Tx, id: Option<InstrumentId>) -> Result<(), Problem> {
    sqlx::query("update instrument set outdoors = 0 where outdoors = 1").execute(tx.db()).await?;
    if let Some(id) = id {
        let done = sqlx::query("update instrument set outdoors = 1 where id = $1 and removed is null")
            .bind(id.to_string())
            .execute(tx.db())
            .await?;
        if done.rows_affected() == 0 {
            return Err(Problem::mistake(
                "outdoor_instrument",
                "This instrument is not here any more. Choose another.",
            ));
        }
    }
    tx.raise(super::readings::AIR);
    tx.audit("say which instrument hangs outside", id.map_or_else(|| "none".to_owned(), |id| id.to_string()), "").await
}
