//! The rooms and their air, one row each.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::chart::{Air, spark};
use super::corrected::{JOINED_WITHIN, correct, load_instruments};
use super::now::air_now;
use super::settings::RoomSettings;
use super::written::Quantity;
use super::{Room, readings, store};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant, SECOND};
use crate::base::zone::ago;
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms", list)
}

/// A room's air in words and numbers, as a list shows it.
pub struct AirRow {
    /// The room's name.
    pub name: String,
    /// Its page, base path included.
    pub href: String,
    /// The page for a reading by hand, base path included.
    pub reading: String,
    /// Its plan, base path included.
    pub plan: String,
    /// Volume and devices in a line.
    pub about: String,
    /// The air, once it was read.
    pub air: Option<AirWords>,
    /// The humidity of the last 24 hours as a small line; "" where nothing was read in them.
    pub spark: String,
}

/// A room's air as printed.
pub struct AirWords {
    /// Temperature on the studio's scale.
    pub temperature: String,
    /// "°C" or "°F".
    pub unit: &'static str,
    /// Whole %RH.
    pub humidity: String,
    /// fit, near or stop.
    pub mark: &'static str,
    /// The words beside the mark.
    pub words: String,
    /// Older than the studio's limit.
    pub stale: bool,
    /// "4 min ago".
    pub ago: String,
    /// Age in seconds when the page was made.
    pub seconds: i64,
    /// The time shown once an hour has passed.
    pub then: String,
    /// Seconds after which it is stale.
    pub stale_after: i64,
    /// Dew point on the studio's scale with its unit.
    pub dew: String,
    /// "dew point" or "frost point".
    pub dew_word: &'static str,
}

/// Every room's row, for this page and for Today.
///
/// # Errors
/// When the database cannot be read.
pub async fn air_rows(house: &House, db: &mut Db, studio: &Studio, now: Instant) -> Result<Vec<AirRow>, Problem> {
    let settings = RoomSettings::load(db).await?;
    let mut rows = Vec::new();
    for room in store::rooms(db).await? {
        let air = air_now(db, room.id, &settings, now).await?;
        rows.push(AirRow {
            href: house.url(&format!("/rooms/{}", room.id)),
            reading: house.url(&format!("/rooms/{}/readings/new", room.id)),
            plan: house.url(&format!("/rooms/{}/plan", room.id)),
            about: about(db, &room, studio).await?,
            spark: last_day(db, room.id, &settings, now).await?,
            air: air.map(|air| words(&air, &settings, studio, now)),
            name: room.name,
        });
    }
    Ok(rows)
}

/// The line of the last 24 hours.
async fn last_day(db: &mut Db, room: RoomId, settings: &RoomSettings, now: Instant) -> Result<String, Problem> {
    let found = readings::between(db, room, now.plus(-DAY), now.plus(1)).await?;
    let corrected = correct(&found, &load_instruments(db, room).await?);
    let kept: Vec<_> =
        corrected.iter().filter(|point| !point.aside).filter_map(|point| point.of(Quantity::Humidity)).collect();
    if kept.is_empty() {
        return Ok(String::new());
    }
    let air = Air {
        quantity: Quantity::Humidity,
        kept: &kept,
        set_aside: &[],
        band: Some((settings.humidity_band.0.get(), settings.humidity_band.1.get())),
        last_doubt: None,
        device_on: &[],
        joined_within: JOINED_WITHIN,
    };
    Ok(spark(&air, now.0))
}

/// A room's air as printed.
#[must_use]
pub(super) fn words(air: &super::now::AirNow, settings: &RoomSettings, studio: &Studio, now: Instant) -> AirWords {
    let state = air.band_state(settings);
    AirWords {
        temperature: studio.temperature(air.measured.temperature),
        unit: studio.temperature_unit(),
        humidity: studio.number(air.measured.humidity.humidity.get(), 0),
        mark: state.mark,
        words: state.words,
        stale: air.stale,
        ago: ago(&studio.zone, air.at, now),
        seconds: now.since(air.at).max(0) / SECOND,
        then: studio.zone.date_and_clock(air.at, now),
        stale_after: settings.stale_after() / SECOND,
        dew: format!(
            "{}\u{a0}{}",
            studio.number(studio.scale(air.derived.dew.celsius()), 1),
            studio.temperature_unit()
        ),
        dew_word: air.derived.dew.word(),
    }
}

async fn about(db: &mut Db, room: &Room, studio: &Studio) -> Result<String, Problem> {
    let mut parts = vec![format!("{}\u{a0}m³", studio.number(room.volume_m3, 0))];
    for device in store::devices(db, room.id).await? {
        parts.push(match device.grams_per_hour {
            Some(grams) => format!("{} {}\u{a0}g an hour", device.kind.word(), studio.number(grams, 0)),
            None => device.kind.word().to_owned(),
        });
    }
    Ok(parts.join(", "))
}

#[derive(Template)]
#[template(path = "rooms/list.html")]
struct ListPage {
    frame: Frame,
    rooms: Vec<AirRow>,
    may_add: bool,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let rooms = air_rows(&house, &mut db, &studio, staff.visitor.now.0).await?;
    let frame = house.frame(&studio, &staff.visitor, Place::Rooms, "Rooms");
    let may_add = staff.who.role == crate::base::actor::Role::Owner;
    page(&ListPage { frame, rooms, may_add })
}
