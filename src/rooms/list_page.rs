//! The rooms and their air, one row each.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::chart::{Air, spark};
use super::corrected::{JOINED_WITHIN, KnownInstrument, correct};
use super::every_air::{EveryAir, LastDay};
use super::readings::KeptReading;
use super::settings::RoomSettings;
use super::written::Quantity;
use super::{Device, Room, store};
use crate::base::problem::Problem;
use crate::base::time::{Instant, SECOND};
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

/// Every room's row, for this page and for Today: two statements, however many rooms there are.
///
/// # Errors
/// When the database cannot be read.
pub async fn air_rows(
    house: &House,
    db: &mut Db,
    studio: &Studio,
    (air, day): (&EveryAir, &LastDay),
    now: Instant,
) -> Result<Vec<AirRow>, Problem> {
    let EveryAir { settings, instruments, .. } = air;
    let rooms = store::rooms(db).await?;
    let mut airs = air.now(now)?;
    let devices = store::devices_of_every_room(db).await?;
    let row = |room: Room| AirRow {
        href: house.url(&format!("/rooms/{}", room.id)),
        reading: house.url(&format!("/rooms/{}/readings/new", room.id)),
        plan: house.url(&format!("/rooms/{}/plan", room.id)),
        about: about(&room, &devices, studio),
        spark: day.0.get(&room.id).map(|found| spark_of(found, instruments, settings, now)).unwrap_or_default(),
        air: airs.remove(&room.id).map(|air| words(&air, settings, studio, now)),
        name: room.name,
    };
    Ok(rooms.into_iter().map(row).collect())
}

/// The line of the last 24 hours.
fn spark_of(found: &[KeptReading], instruments: &[KnownInstrument], settings: &RoomSettings, now: Instant) -> String {
    let corrected = correct(found, instruments);
    let kept: Vec<_> =
        corrected.iter().filter(|point| !point.aside).filter_map(|point| point.of(Quantity::Humidity)).collect();
    if kept.is_empty() {
        return String::new();
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
    spark(&air, now.0)
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

fn about(room: &Room, devices: &[Device], studio: &Studio) -> String {
    let mut parts = vec![format!("{}\u{a0}m³", studio.exact(room.volume.get(), 0))];
    for device in devices.iter().filter(|device| device.room == room.id) {
        parts.push(match device.water {
            Some(water) => format!("{} {}\u{a0}g an hour", device.kind.word(), studio.number(water.get(), 0)),
            None => device.kind.word().to_owned(),
        });
    }
    parts.join(", ")
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
    let air = EveryAir::load(&mut db).await?;
    let day = air.last_day(&mut db, staff.visitor.now.0).await?;
    let rooms = air_rows(&house, &mut db, &studio, (&air, &day), staff.visitor.now.0).await?;
    let frame = house.frame(&studio, &staff.visitor, Place::Rooms, "Rooms");
    let may_add = staff.who.role == crate::base::actor::Role::Owner;
    page(&ListPage { frame, rooms, may_add })
}
