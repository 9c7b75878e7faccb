//! SQL of rooms, devices, instruments and their checks.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::instrument::{CheckPoint, Place};
use super::push::Mapping;
use super::{Check, Compared, Device, DeviceKind, Instrument, InstrumentKind, Room};
use crate::base::ids::{CheckId, DeviceId, InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::base::time::Instant;
use crate::base::units::{
    AirChanges, Celsius, CubicMetres, GramsPerHour, HumidityDoubt, RelHumidity, TemperatureDoubt,
};
use crate::store::{Db, Tx, query_with_nulls};

/// Every room in use, sorted by name.
pub(super) async fn rooms(db: &mut Db) -> Result<Vec<Room>, Problem> {
    let rows = sqlx::query(
        "select id, name, volume_m3, air_changes_per_hour, coldest_surface, surface_c, closed from room where closed is null",
    )
    .fetch_all(db)
    .await?;
    let mut rooms = rows.iter().map(read_room).collect::<Result<Vec<_>, _>>()?;
    rooms.sort_by_key(|room| fold(&room.name));
    Ok(rooms)
}

/// One room, also a closed one.
pub(super) async fn room(db: &mut Db, id: RoomId) -> Result<Option<Room>, Problem> {
    let row = sqlx::query(
        "select id, name, volume_m3, air_changes_per_hour, coldest_surface, surface_c, closed from room where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_room).transpose()
}

/// Adds a room, with an instrument for readings by hand.
pub(super) async fn add_room(tx: &mut Tx, room: &Room) -> Result<(), Problem> {
    free_name(tx.db(), room).await?;
    let now = tx.now.0;
    query_with_nulls(
        "insert into room (id, name, name_key, volume_m3, air_changes_per_hour, coldest_surface, surface_c, created, closed)
         values ($1, $2, $3, $4, $5, $6, $7, $8, null)",
    )
    .bind(room.id.to_string())
    .bind(&room.name)
    .bind(fold(&room.name))
    .bind(room.volume.get())
    .bind(room.air_changes.get())
    .bind(&room.coldest_surface)
    .bind(room.surface.map(Celsius::get))
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("add room", room.id, "").await?;
    add_instrument(tx, &Instrument::by_hand(room.id, now)).await
}

/// Changes a room.
pub(super) async fn change_room(tx: &mut Tx, room: &Room) -> Result<(), Problem> {
    free_name(tx.db(), room).await?;
    let done = query_with_nulls(
        // An air change typed anew is an estimate again.
        "update room set name = $1, name_key = $2, volume_m3 = $3, air_changes_per_hour = $4, coldest_surface = $5, surface_c = $6,
         air_changes_measured = case when air_changes_per_hour = $4 then air_changes_measured else null end
         where id = $7 and closed is null",
    )
    .bind(&room.name)
    .bind(fold(&room.name))
    .bind(room.volume.get())
    .bind(room.air_changes.get())
    .bind(&room.coldest_surface)
    .bind(room.surface.map(Celsius::get))
    .bind(room.id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("room"));
    }
    tx.audit("change room", room.id, "").await
}

/// Closes a room: its readings stay, it is no longer offered.
pub(super) async fn close_room(tx: &mut Tx, id: RoomId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update room set closed = $1, name_key = $2 where id = $3 and closed is null")
        .bind(now.0)
        // Its name may be given to another room.
        .bind(format!("closed {id}"))
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("close room", id, "").await
}

async fn free_name(db: &mut Db, room: &Room) -> Result<(), Problem> {
    let taken = sqlx::query("select id from room where name_key = $1 and id <> $2")
        .bind(fold(&room.name))
        .bind(room.id.to_string())
        .fetch_optional(db)
        .await?;
    match taken {
        Some(_) => Err(Problem::mistake("name", "Another room has this name. Give this one a name of its own.")),
        None => Ok(()),
    }
}

fn read_room(row: &AnyRow) -> Result<Room, Problem> {
    Ok(Room {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        name: row.get(1),
        volume: CubicMetres::clamped(row.get(2)),
        air_changes: AirChanges::clamped(row.get(3)),
        coldest_surface: row.get(4),
        surface: row.get::<Option<f64>, _>(5).map(Celsius::clamped),
        closed: row.get::<Option<i64>, _>(6).map(Instant),
    })
}

/// The devices that stand in a room.
pub(super) async fn devices(db: &mut Db, room: RoomId) -> Result<Vec<Device>, Problem> {
    let rows = sqlx::query(
        "select id, kind, name, grams_per_hour from device where room = $1 and removed is null order by id",
    )
    .bind(room.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| read_device(row, room)).collect()
}

/// The devices of every room.
pub(super) async fn devices_of_every_room(db: &mut Db) -> Result<Vec<Device>, Problem> {
    let rows = sqlx::query("select id, kind, name, grams_per_hour, room from device where removed is null order by id")
        .fetch_all(db)
        .await?;
    let room = |row: &AnyRow| row.get::<String, _>(4).parse().map_err(Problem::broken);
    rows.iter().map(|row| read_device(row, room(row)?)).collect()
}

fn read_device(row: &AnyRow, room: RoomId) -> Result<Device, Problem> {
    Ok(Device {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        room,
        kind: DeviceKind::from_word(&row.get::<String, _>(1))
            .ok_or_else(|| Problem::broken("a device of no kind of ours"))?,
        name: row.get(2),
        water: row.get::<Option<f64>, _>(3).map(GramsPerHour::clamped),
    })
}

/// Adds a device.
pub(super) async fn add_device(tx: &mut Tx, device: &Device) -> Result<(), Problem> {
    query_with_nulls(
        "insert into device (id, room, kind, name, grams_per_hour, removed) values ($1, $2, $3, $4, $5, null)",
    )
    .bind(device.id.to_string())
    .bind(device.room.to_string())
    .bind(device.kind.word())
    .bind(&device.name)
    .bind(device.water.map(GramsPerHour::get))
    .execute(tx.db())
    .await?;
    tx.audit("add device", device.id, "").await
}

/// Takes a device out of its room.
pub(super) async fn remove_device(tx: &mut Tx, room: RoomId, id: DeviceId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query("update device set removed = $1 where id = $2 and room = $3 and removed is null")
        .bind(now.0)
        .bind(id.to_string())
        .bind(room.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("device"));
    }
    tx.audit("remove device", id, "").await
}

/// The instruments of a room, sorted by name.
pub(super) async fn instruments(db: &mut Db, room: RoomId) -> Result<Vec<Instrument>, Problem> {
    let rows = sqlx::query(
        "select id, room, name, kind, place, compared, own_u_t, own_u_h, bought, mapping from instrument
         where room = $1 and removed is null",
    )
    .bind(room.to_string())
    .fetch_all(db)
    .await?;
    let mut instruments = rows.iter().map(read_instrument).collect::<Result<Vec<_>, _>>()?;
    instruments.sort_by_key(|instrument| fold(&instrument.name));
    Ok(instruments)
}

/// One instrument of a room, also one that was taken away: its readings still need it.
pub(super) async fn instrument(db: &mut Db, room: RoomId, id: InstrumentId) -> Result<Option<Instrument>, Problem> {
    let row = sqlx::query(
        "select id, room, name, kind, place, compared, own_u_t, own_u_h, bought, mapping from instrument
         where id = $1 and room = $2",
    )
    .bind(id.to_string())
    .bind(room.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_instrument).transpose()
}

/// Every instrument there ever was: readings need also one that was taken away.
pub(super) async fn every_instrument(db: &mut Db) -> Result<Vec<Instrument>, Problem> {
    let rows =
        sqlx::query("select id, room, name, kind, place, compared, own_u_t, own_u_h, bought, mapping from instrument")
            .fetch_all(db)
            .await?;
    rows.iter().map(read_instrument).collect()
}

/// The instruments of every room that were not taken away, sorted by name.
pub(super) async fn instruments_in_use(db: &mut Db) -> Result<Vec<Instrument>, Problem> {
    let rows = sqlx::query(
        "select id, room, name, kind, place, compared, own_u_t, own_u_h, bought, mapping from instrument
         where removed is null",
    )
    .fetch_all(db)
    .await?;
    let mut instruments = rows.iter().map(read_instrument).collect::<Result<Vec<_>, _>>()?;
    instruments.sort_by_key(|instrument| fold(&instrument.name));
    Ok(instruments)
}

/// Adds an instrument to a room.
pub(super) async fn add_instrument(tx: &mut Tx, instrument: &Instrument) -> Result<(), Problem> {
    let taken = sqlx::query("select id from instrument where room = $1 and name_key = $2")
        .bind(instrument.room.to_string())
        .bind(fold(&instrument.name))
        .fetch_optional(tx.db())
        .await?;
    if taken.is_some() {
        return Err(Problem::mistake("name", "This room has had an instrument of this name. Give it another."));
    }
    query_with_nulls(
        "insert into instrument (id, room, name, name_key, kind, place, compared, own_u_t, own_u_h, bought, mapping, removed)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, null)",
    )
    .bind(instrument.id.to_string())
    .bind(instrument.room.to_string())
    .bind(&instrument.name)
    .bind(fold(&instrument.name))
    .bind(instrument.kind.word())
    .bind(if instrument.place == Place::AtTheBed { "bed" } else { "wall" })
    .bind((instrument.place == Place::OnTheWallCompared).then_some(instrument.bought.0))
    .bind(instrument.own_temperature.map(TemperatureDoubt::get))
    .bind(instrument.own_humidity.map(HumidityDoubt::get))
    .bind(instrument.bought.0)
    .bind(serde_json::to_string(&instrument.mapping).map_err(Problem::broken)?)
    .execute(tx.db())
    .await?;
    tx.audit("add instrument", instrument.id, instrument.kind.word()).await
}

/// Changes how an instrument is read and how far it is believed.
pub(super) async fn change_instrument(tx: &mut Tx, instrument: &Instrument) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = query_with_nulls(
        "update instrument set place = $1, compared = $2, own_u_t = $3, own_u_h = $4, mapping = $5
         where id = $6 and room = $7 and removed is null",
    )
    .bind(if instrument.place == Place::AtTheBed { "bed" } else { "wall" })
    .bind((instrument.place == Place::OnTheWallCompared).then_some(now.0))
    .bind(instrument.own_temperature.map(TemperatureDoubt::get))
    .bind(instrument.own_humidity.map(HumidityDoubt::get))
    .bind(serde_json::to_string(&instrument.mapping).map_err(Problem::broken)?)
    .bind(instrument.id.to_string())
    .bind(instrument.room.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("instrument"));
    }
    tx.audit("change instrument", instrument.id, "").await
}

fn read_instrument(row: &AnyRow) -> Result<Instrument, Problem> {
    let (place, compared) = (row.get::<String, _>(4), row.get::<Option<i64>, _>(5));
    Ok(Instrument {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        room: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        name: row.get(2),
        kind: InstrumentKind::from_word(&row.get::<String, _>(3))
            .ok_or_else(|| Problem::broken("an instrument of no kind of ours"))?,
        place: match (place.as_str(), compared) {
            ("bed", _) => Place::AtTheBed,
            (_, Some(_)) => Place::OnTheWallCompared,
            (_, None) => Place::OnTheWall,
        },
        own_temperature: row
            .get::<Option<f64>, _>(6)
            .map(TemperatureDoubt::new)
            .transpose()
            .map_err(Problem::broken)?,
        own_humidity: row.get::<Option<f64>, _>(7).map(HumidityDoubt::new).transpose().map_err(Problem::broken)?,
        bought: Instant(row.get(8)),
        mapping: serde_json::from_str::<Mapping>(&row.get::<String, _>(9)).map_err(Problem::broken)?,
    })
}

/// The checks of an instrument, newest first; struck ones too, marked.
pub(super) async fn checks(db: &mut Db, instrument: InstrumentId) -> Result<Vec<Check>, Problem> {
    let rows = sqlx::query(
        "select id, at, quantity, against, reference, shown, struck from instrument_check
         where instrument = $1 order by at desc, id desc",
    )
    .bind(instrument.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(read_check).collect()
}

/// The checks of every instrument, newest first.
pub(super) async fn every_check(db: &mut Db) -> Result<Vec<(InstrumentId, Check)>, Problem> {
    let rows = sqlx::query(
        "select id, at, quantity, against, reference, shown, struck, instrument from instrument_check
         order by at desc, id desc",
    )
    .fetch_all(db)
    .await?;
    let instrument = |row: &AnyRow| row.get::<String, _>(7).parse().map_err(Problem::broken);
    rows.iter().map(|row| Ok((instrument(row)?, read_check(row)?))).collect()
}

fn read_check(row: &AnyRow) -> Result<Check, Problem> {
    Ok(Check {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        at: Instant(row.get(1)),
        against: row.get(3),
        compared: if row.get::<String, _>(2) == "humidity" {
            let (reference, shown) = (RelHumidity::clamped(row.get(4)), RelHumidity::clamped(row.get(5)));
            Compared::Humidity(CheckPoint { reference, shown })
        } else {
            Compared::Temperature { reference: Celsius::clamped(row.get(4)), shown: Celsius::clamped(row.get(5)) }
        },
        struck: row.get::<Option<i64>, _>(6).is_some(),
    })
}

/// Adds a check.
pub(super) async fn add_check(tx: &mut Tx, instrument: InstrumentId, check: &Check) -> Result<(), Problem> {
    let by = tx.actor.mark();
    let (quantity, reference, shown) = match check.compared {
        Compared::Humidity(point) => ("humidity", point.reference.get(), point.shown.get()),
        Compared::Temperature { reference, shown } => ("temperature", reference.get(), shown.get()),
    };
    sqlx::query(
        "insert into instrument_check (id, instrument, at, quantity, against, reference, shown, by_person, struck)
         values ($1, $2, $3, $4, $5, $6, $7, $8, null)",
    )
    .bind(check.id.to_string())
    .bind(instrument.to_string())
    .bind(check.at.0)
    .bind(quantity)
    .bind(&check.against)
    .bind(reference)
    .bind(shown)
    .bind(by)
    .execute(tx.db())
    .await?;
    tx.audit("check instrument", instrument, &check.against).await
}

/// Strikes a check out; it stays readable and counts no more.
pub(super) async fn strike_check(tx: &mut Tx, instrument: InstrumentId, id: CheckId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done =
        sqlx::query("update instrument_check set struck = $1 where id = $2 and instrument = $3 and struck is null")
            .bind(now.0)
            .bind(id.to_string())
            .bind(instrument.to_string())
            .execute(tx.db())
            .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("check"));
    }
    tx.audit("strike check", instrument, "").await
}
