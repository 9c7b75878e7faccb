//! Rooms and their air. Knows physics and readings. Knows no artist, no adhesive, no price; never ranks anything.

pub mod air;
mod air_numbers;
mod api;
pub mod asked;
pub mod band;
pub mod chart;
mod check_form;
mod corrected;
mod every_air;
mod foreseen;
mod import_page;
mod import_taking;
mod imports;
pub mod instrument;
mod instrument_form;
mod instrument_page;
mod list_page;
pub mod logger_file;
pub mod now;
pub mod plan;
mod plan_chart;
mod plan_fit;
mod plan_forms;
mod plan_inputs;
mod plan_page;
mod plan_rest;
mod plan_store;
mod plan_words;
mod plan_work;
pub mod plausible;
pub mod push;
mod reading_page;
pub mod readings;
mod room_form;
mod room_page;
pub mod rule;
mod running_form;
mod seed;
pub mod settings;
mod store;
mod upload_page;
pub mod written;

use crate::base::ids::{CheckId, DeviceId, InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{AirChanges, Celsius, CubicMetres, GramsPerHour, HumidityDoubt, TemperatureDoubt};
use crate::store::Db;
use crate::web::House;
use crate::web::routes::Routes;

pub use api::RoomsApi;
pub use every_air::{EveryAir, LastDay, TrailPoint};
pub use list_page::{AirRow, AirWords, air_rows};
pub use plan_page::{BandChoice, BandChoices, PlanAsked, PlanView, SetTimeEffect};
pub use plan_store::plan_inputs;
pub(crate) use seed::{newest_instant, seed_outside, seed_readings, seed_room, sensor_of};
pub use settings::RoomSettings;

/// A room of the studio.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Its id.
    pub id: RoomId,
    /// Its name.
    pub name: String,
    /// Its volume.
    pub volume: CubicMetres,
    /// How often its air is renewed; an estimate until fitted.
    pub air_changes: AirChanges,
    /// The coldest surface by name: skylight, window, outer wall.
    pub coldest_surface: String,
    /// Its temperature, where somebody measured it.
    pub surface: Option<Celsius>,
    /// When it was closed, if it was.
    pub closed: Option<Instant>,
}

/// What a device does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeviceKind {
    /// Adds moisture.
    Humidifier,
    /// Takes moisture.
    Dehumidifier,
    /// Warms.
    Heater,
    /// Cools.
    Cooler,
}

impl DeviceKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Humidifier, Self::Dehumidifier, Self::Heater, Self::Cooler];

    /// The word kept in the database and shown on pages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Humidifier => "humidifier",
            Self::Dehumidifier => "dehumidifier",
            Self::Heater => "heater",
            Self::Cooler => "cooler",
        }
    }

    /// The kind with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// A device in a room.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its id.
    pub id: DeviceId,
    /// Where it stands.
    pub room: RoomId,
    /// What it does.
    pub kind: DeviceKind,
    /// Its name.
    pub name: String,
    /// The water it moves; for a dehumidifier what it takes in this room, not what its label says.
    pub water: Option<GramsPerHour>,
}

/// How an instrument's readings come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InstrumentKind {
    /// A person reads it.
    Hand,
    /// Its file is read in.
    Logger,
    /// It pushes by itself.
    Sensor,
}

impl InstrumentKind {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Hand, Self::Logger, Self::Sensor];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Hand => "hand",
            Self::Logger => "logger",
            Self::Sensor => "sensor",
        }
    }

    /// The kind with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// A thermometer and hygrometer.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// Its id.
    pub id: InstrumentId,
    /// Where it is.
    pub room: RoomId,
    /// Its name.
    pub name: String,
    /// How its readings come.
    pub kind: InstrumentKind,
    /// Beside the bed or on the wall.
    pub place: instrument::Place,
    /// The studio's own standard uncertainty of the temperature.
    pub own_temperature: Option<TemperatureDoubt>,
    /// The studio's own standard uncertainty of the humidity.
    pub own_humidity: Option<HumidityDoubt>,
    /// When it was bought, or came here.
    pub bought: Instant,
    /// How its messages are read.
    pub mapping: push::Mapping,
}

impl Instrument {
    /// The instrument a new room begins with: whatever hangs there, read by a person.
    #[must_use]
    pub fn by_hand(room: RoomId, now: Instant) -> Self {
        Self {
            id: InstrumentId::new(),
            room,
            name: "Hygrometer read by hand".to_owned(),
            kind: InstrumentKind::Hand,
            place: instrument::Place::AtTheBed,
            own_temperature: None,
            own_humidity: None,
            bought: now,
            mapping: push::Mapping::default(),
        }
    }
}

/// What a check compared: the true value, and what the instrument showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Compared {
    /// The humidity.
    Humidity(instrument::CheckPoint),
    /// The temperature.
    Temperature {
        /// The true value.
        reference: Celsius,
        /// What the instrument showed.
        shown: Celsius,
    },
}

/// A check of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Its id.
    pub id: CheckId,
    /// When.
    pub at: Instant,
    /// A salt's key, or "other".
    pub against: String,
    /// What was found.
    pub compared: Compared,
    /// Struck out: counts no more.
    pub struck: bool,
}

impl Check {
    /// The point of a check of the humidity.
    #[must_use]
    pub const fn humidity(&self) -> Option<instrument::CheckPoint> {
        match self.compared {
            Compared::Humidity(point) => Some(point),
            Compared::Temperature { .. } => None,
        }
    }

    /// Kelvins to add to what was shown, by a check of the temperature.
    #[must_use]
    pub fn kelvins(&self) -> Option<f64> {
        match self.compared {
            Compared::Humidity(_) => None,
            Compared::Temperature { reference, shown } => Some(reference.get() - shown.get()),
        }
    }
}

/// Every room in use, sorted by name.
///
/// # Errors
/// When the database cannot be read.
pub async fn all(db: &mut Db) -> Result<Vec<Room>, Problem> {
    store::rooms(db).await
}

/// One room in use, if there is one with this id.
///
/// # Errors
/// When the database cannot be read.
pub async fn room(db: &mut Db, id: RoomId) -> Result<Option<Room>, Problem> {
    Ok(store::room(db, id).await?.filter(|room| room.closed.is_none()))
}

/// The devices that stand in a room.
///
/// # Errors
/// When the database cannot be read.
pub async fn devices(db: &mut Db, room: RoomId) -> Result<Vec<Device>, Problem> {
    store::devices(db, room).await
}

/// Goes on with logger files whose rows are being taken, for the clock.
///
/// # Errors
/// When the database cannot be used.
pub async fn go_on_with_imports(house: &House) -> Result<(), Problem> {
    import_taking::go_on(house).await
}

/// Drops logger files that nobody took or left within a week, for the clock.
///
/// # Errors
/// When the database cannot be used.
pub async fn forget_old_previews(house: &House) -> Result<(), Problem> {
    imports::forget_old(house).await
}

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    list_page::routes()
        .join(room_form::routes())
        .join(room_page::routes())
        .join(reading_page::routes())
        .join(instrument_form::routes())
        .join(instrument_page::routes())
        .join(check_form::routes())
        .join(upload_page::routes())
        .join(import_page::routes())
        .join(plan_forms::routes())
        .join(running_form::routes())
        .join(api::routes())
}
