//! Rooms of the invented studio, and their readings in bulk: judged like any other, written many at a time.

use std::fmt::Write as _;

use super::plan::Air;
use super::plausible::{self, Arrived};
use super::written::TemperatureUnit;
use super::{Check, Device, Instrument, Room, plan_store, store};
use crate::base::ids::{InstrumentId, ReadingId, RoomId};
use crate::base::number::DecimalMark;
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::store::{FormKey, Kept, Tx};
use crate::web::House;

/// Adds a room with its devices, instruments and their checks.
pub(crate) async fn seed_room(
    house: &House,
    room: Room,
    devices: Vec<Device>,
    instruments: Vec<(Instrument, Vec<Check>)>,
) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let (room, devices, instruments) = (room.clone(), devices.clone(), instruments.clone());
            Box::pin(async move {
                store::add_room(tx, &room).await?;
                for device in &devices {
                    store::add_device(tx, device).await?;
                }
                for (instrument, checks) in &instruments {
                    store::add_instrument(tx, instrument).await?;
                    for check in checks {
                        store::add_check(tx, instrument.id, check).await?;
                    }
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Rows in one statement: 40 × 9 values stay far below what either database takes.
const ROWS_A_STATEMENT: usize = 40;

/// Adds readings of one instrument, oldest first; those it gave before are left alone.
pub(crate) async fn seed_readings(
    house: &House,
    room: RoomId,
    instrument: InstrumentId,
    arrived: Vec<Arrived>,
) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let arrived = arrived.clone();
            Box::pin(async move {
                let now = tx.now.0;
                let mut before = None;
                let mut judged = Vec::with_capacity(arrived.len());
                for reading in arrived {
                    let set_aside = match plausible::judge(&reading, before.as_ref(), now.0) {
                        Ok(believed) => {
                            before = Some(believed);
                            String::new()
                        }
                        Err(why) => why.sentence(TemperatureUnit::Celsius, DecimalMark::Point),
                    };
                    judged.push((reading, set_aside));
                }
                for rows in judged.chunks(ROWS_A_STATEMENT) {
                    insert(tx, room, instrument, rows).await?;
                }
                tx.raise(super::readings::AIR);
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Types in the outside air of the invented studio, unless what was typed in last is younger than an hour.
pub(crate) async fn seed_outside(house: &House, air: Air) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    {
        let mut db = house.store.read().await?;
        if plan_store::outside(&mut db, now).await?.is_some_and(|outside| now.since(outside.at) < HOUR) {
            return Ok(());
        }
    }
    house
        .store
        .write(&FormKey::house(), move |tx| {
            Box::pin(async move {
                plan_store::add_outside(tx, air).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

async fn insert(
    tx: &mut Tx,
    room: RoomId,
    instrument: InstrumentId,
    rows: &[(Arrived, String)],
) -> Result<(), Problem> {
    let mut text = String::from(
        "insert into reading (id, room, instrument, at, temperature_c, humidity_pct, given_by, received, set_aside) values ",
    );
    for at in 0..rows.len() {
        let first = at * 9;
        let comma = if at == 0 { "" } else { ", " };
        let places: Vec<String> = (1..=9).map(|place| format!("${}", first + place)).collect();
        // Writing to a String cannot fail.
        let _written = write!(text, "{comma}({})", places.join(", "));
    }
    text.push_str(" on conflict (instrument, at) do nothing");
    // Only numbered places were put into the text; every value is bound.
    let mut query = sqlx::query(sqlx::AssertSqlSafe(text)).persistent(false);
    for (reading, set_aside) in rows {
        query = query
            .bind(ReadingId::new().to_string())
            .bind(room.to_string())
            .bind(instrument.to_string())
            .bind(reading.at_us)
            .bind(Some(reading.temperature).filter(|value| value.is_finite()))
            .bind(Some(reading.humidity).filter(|value| value.is_finite()))
            .bind("house")
            .bind(reading.at_us)
            .bind(set_aside);
    }
    query.execute(tx.db()).await?;
    Ok(())
}

/// The newest instant an instrument of this room gave, for topping up.
pub(crate) async fn newest_instant(house: &House, room: RoomId) -> Result<Option<(InstrumentId, Instant)>, Problem> {
    let mut db = house.store.read().await?;
    Ok(super::readings::newest(&mut db, room, house.store.clock().now().0, 1)
        .await?
        .first()
        .map(|reading| (reading.instrument, reading.at)))
}

/// A sensor of a room, for topping up and for tokens.
pub(crate) async fn sensor_of(house: &House, room: RoomId) -> Result<Option<InstrumentId>, Problem> {
    let mut db = house.store.read().await?;
    let instruments = store::instruments(&mut db, room).await?;
    Ok(instruments
        .into_iter()
        .find(|instrument| instrument.kind == super::InstrumentKind::Sensor)
        .map(|found| found.id))
}
