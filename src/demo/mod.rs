//! The invented studio, seeded through the parts' own functions. Every name and number here is made up.

pub mod air;
mod book;
mod cards;
mod clients;
mod coming;
mod hands;
mod shelf;
pub mod truth;

use crate::base::actor::{Actor, Role};
use crate::base::ids::{CheckId, DeviceId, InstrumentId, RoomId, TokenId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, MINUTE};
use crate::base::units::{AirChanges, Celsius, CubicMetres, GramsPerHour, RelHumidity};
use crate::base::zone::Zone;
use crate::people;
use crate::rooms::instrument::{CheckPoint, Place};
use crate::rooms::plausible::Arrived;
use crate::rooms::push::Mapping;
use crate::rooms::{self, Check, Compared, Device, DeviceKind, Instrument, InstrumentKind, Room};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::studio::Studio;
use crate::web::token;

use air::DemoRoom;

/// The people of Marram House and their roles.
pub const PEOPLE: [(&str, Role); 9] = [
    ("Runa Marsh", Role::Owner),
    ("Ines Okafor", Role::Artist),
    ("Tilde Brandt", Role::Artist),
    ("Marlo Vance", Role::Artist),
    ("Oona Pell", Role::Artist),
    ("Wren Castell", Role::Artist),
    ("Juna Eide", Role::Artist),
    ("Sanna Reve", Role::Desk),
    ("Pim Ostrow", Role::Accountant),
];

/// The one passphrase of everyone in the invented studio.
pub const PASSPHRASE: &str = "seven marram kettles sing";

/// Days of readings the studio begins with: a year.
const DAYS: i64 = 365;

/// Fills an empty house with the invented studio; one that was filled before gets the readings it missed.
///
/// # Errors
/// When the database refuses it.
pub async fn fill(house: &House) -> Result<(), Problem> {
    fill_with(house, DAYS).await
}

/// As [`fill`], beginning with so many days of readings.
///
/// # Errors
/// When the database refuses it.
pub async fn fill_with(house: &House, days: i64) -> Result<(), Problem> {
    let (claimed, there) = {
        let mut db = house.store.read().await?;
        (people::is_claimed(&mut db).await?, rooms::all(&mut db).await?)
    };
    if !claimed {
        let zone = Zone::named("Europe/Copenhagen").unwrap_or_else(Zone::utc);
        let studio = Studio { name: "Marram House".to_owned(), zone, ..Studio::default() };
        people::seed(house, &PEOPLE, PASSPHRASE, &studio).await?;
    }
    // Whatever an earlier start was stopped at is filled in now.
    for room in DemoRoom::ALL {
        if !there.iter().any(|known| known.name == room.name()) {
            seed_room(house, room).await?;
        }
    }
    top_up_from(house, days).await?;
    let (studio, all, people) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, rooms::all(&mut db).await?, people::everyone(&mut db).await?)
    };
    let known = DemoRoom::ALL.into_iter();
    let known: Vec<(DemoRoom, RoomId)> =
        known.filter_map(|which| Some((which, all.iter().find(|room| room.name == which.name())?.id))).collect();
    let Some(owner) = people.iter().find(|person| person.role == Role::Owner) else { return Ok(()) };
    shelf::fill(house, &studio.zone, &known, owner.id, days).await?;
    hands::fill(house, &people).await?;
    clients::fill(house, &studio.zone, &people).await?;
    let regulars = cards::regulars(house, &people).await?;
    book::fill(house, &known, &regulars, days).await?;
    cards::fill(house, &people, &regulars, days).await?;
    coming::fill(house, &people, &regulars).await
}

async fn seed_room(house: &House, which: DemoRoom) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let id = RoomId::new();
    let (surface, measured) = match which {
        DemoRoom::Gable => ("skylight", Some(9.5)),
        DemoRoom::Lantern => ("south window", Some(12.0)),
        DemoRoom::Cellar => ("outer wall", None),
    };
    let room = Room {
        id,
        name: which.name().to_owned(),
        volume: CubicMetres::clamped(which.volume_m3()),
        air_changes: AirChanges::clamped(if which == DemoRoom::Lantern { 0.8 } else { 0.5 }),
        coldest_surface: surface.to_owned(),
        surface: measured.map(Celsius::clamped),
        closed: None,
    };
    let device = |kind, name: &str, grams: Option<f64>| Device {
        id: DeviceId::new(),
        room: id,
        kind,
        name: name.to_owned(),
        water: grams.map(GramsPerHour::clamped),
    };
    let devices = match which {
        DemoRoom::Gable => vec![device(DeviceKind::Humidifier, "white tower", Some(300.0))],
        DemoRoom::Lantern => vec![device(DeviceKind::Heater, "panel under the window", None)],
        DemoRoom::Cellar => vec![device(DeviceKind::Dehumidifier, "grey box", Some(110.0))],
    };
    let place = if which == DemoRoom::Lantern { Place::OnTheWall } else { Place::AtTheBed };
    let sensor = Instrument {
        id: InstrumentId::new(),
        room: id,
        name: format!("Sensor {}", which.name()),
        kind: InstrumentKind::Sensor,
        place,
        own_temperature: None,
        own_humidity: None,
        bought: now.plus(-400 * DAY),
        mapping: Mapping { time_field: Some("time".to_owned()), ..Mapping::default() },
    };
    let check = |days: i64, against: &str, reference: f64, shown: f64| Check {
        id: CheckId::new(),
        at: now.plus(-days * DAY),
        against: against.to_owned(),
        compared: Compared::Humidity(CheckPoint {
            reference: RelHumidity::clamped(reference),
            shown: RelHumidity::clamped(shown),
        }),
        struck: false,
    };
    // Gable's was checked over two salts, Cellar's long ago over one, Lantern's never.
    let checks = match which {
        DemoRoom::Gable => vec![check(19, "magnesium_chloride", 33.0, 32.1), check(18, "sodium_chloride", 75.4, 73.9)],
        DemoRoom::Lantern => vec![],
        DemoRoom::Cellar => vec![check(410, "sodium_chloride", 75.5, 77.0)],
    };
    rooms::seed_room(house, room, devices, vec![(sensor, checks)]).await
}

/// Adds the readings due since the newest one of each room. Run at the start and every minute.
///
/// # Errors
/// When the database refuses it.
pub async fn top_up(house: &House) -> Result<(), Problem> {
    top_up_from(house, DAYS).await
}

async fn top_up_from(house: &House, days: i64) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let (studio, all) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, rooms::all(&mut db).await?)
    };
    for which in DemoRoom::ALL {
        let Some(room) = all.iter().find(|room| room.name == which.name()) else { continue };
        let Some(sensor) = rooms::sensor_of(house, room.id).await? else { continue };
        let newest = rooms::newest_instant(house, room.id).await?;
        let from = newest.map_or(now.plus(-days * DAY), |(_, at)| at.plus(1));
        if now.since(from) < MINUTE {
            continue;
        }
        let due = air::readings(which, studio.zone.inner(), from.0, now.0);
        let arrived = due
            .into_iter()
            .map(|reading| Arrived {
                at_us: reading.at_us,
                temperature: reading.temperature,
                humidity: reading.humidity,
            })
            .collect();
        rooms::seed_readings(house, room.id, sensor, arrived).await?;
    }
    let (temperature, humidity) = air::outside(studio.zone.inner(), now.0);
    rooms::seed_outside(house, rooms::plan::Air { temperature, humidity }).await
}

/// A fresh sensor token of Gable and a fresh read token, for trying the interface for programs: (room, sensor, read).
///
/// # Errors
/// When the house holds no invented studio, or the database refuses it.
pub async fn tokens(house: &House) -> Result<(RoomId, String, String), Problem> {
    let (room, owner) = {
        let mut db = house.store.read().await?;
        let rooms = rooms::all(&mut db).await?;
        let owner = people::everyone(&mut db).await?.into_iter().find(|person| person.role == Role::Owner);
        let room = rooms.into_iter().find(|room| room.name == DemoRoom::Gable.name());
        room.zip(owner).ok_or(Problem::NotHere("invented studio"))?
    };
    let instrument = rooms::sensor_of(house, room.id).await?.ok_or(Problem::NotHere("sensor"))?;
    let sensor =
        token_of(house, token::Kind::Sensor { instrument, room: room.id }, "printed for trying", owner.id).await?;
    let read = token_of(house, token::Kind::Read, "printed for trying", owner.id).await?;
    Ok((room.id, sensor, read))
}

async fn token_of(
    house: &House,
    kind: token::Kind,
    name: &'static str,
    by: crate::base::ids::PersonId,
) -> Result<String, Problem> {
    let inner = house.clone();
    let kept = house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            let house = inner.clone();
            Box::pin(async move {
                let id = token::make(tx, house.store.keys(), name, kind, by).await?;
                Ok(Kept::see(id.to_string()))
            })
        })
        .await?;
    let id: TokenId = kept.location.parse().map_err(Problem::broken)?;
    let mut db = house.store.read().await?;
    let shown = token::secret(&mut db, house.store.keys(), id, house.store.clock().now()).await?;
    shown.map(|shown| shown.secret).ok_or_else(|| Problem::broken("a fresh token could not be shown"))
}
