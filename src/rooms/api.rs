//! Rooms over HTTP for programs: a sensor adds readings, a reader sees rooms and their air.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::{IntoParams, OpenApi, ToSchema};

use super::air::DewPoint;
use super::now::air_now;
use super::readings::{self, NewReading, Outcome};
use super::settings::RoomSettings;
use super::written::TemperatureUnit;
use super::{push, room_form, store};
use crate::base::ids::RoomId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::base::time::{HOUR, Instant};
use crate::store::Kept;
use crate::web::House;
use crate::web::guard::{Reader, SensorOf};
use crate::web::incoming::{At, Message};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/api/v1/rooms", list)
        .get("/api/v1/rooms/{room}/readings", readings_of)
        .post("/api/v1/rooms/{room}/readings", add)
}

/// What this part adds to the API's document.
#[derive(OpenApi)]
#[openapi(
    paths(list, readings_of, add),
    components(schemas(RoomAnswer, AirAnswer, ReadingAnswer, PushAnswer, PushedItem))
)]
pub struct RoomsApi;

/// A room.
#[derive(Serialize, ToSchema)]
struct RoomAnswer {
    /// Its id.
    id: String,
    /// Its name.
    name: String,
    /// Volume, m³.
    volume_m3: f64,
    /// Its air now; null before the first reading.
    air: Option<AirAnswer>,
}

/// A room's air, corrected.
#[derive(Serialize, ToSchema)]
struct AirAnswer {
    /// When it was read, ISO 8601 in UTC.
    at: String,
    /// °C.
    temperature_c: f64,
    /// %RH.
    relative_humidity_pct: f64,
    /// Standard uncertainty of the temperature, K.
    temperature_u_c: f64,
    /// Standard uncertainty of the humidity, %RH.
    humidity_u_pct: f64,
    /// Older than the studio's limit.
    stale: bool,
    /// Dew point, °C; null where frost forms before dew.
    dew_point_c: Option<f64>,
    /// Frost point, °C; null where dew forms.
    frost_point_c: Option<f64>,
    /// Water in the air, g/m³.
    vapour_density_g_m3: f64,
}

/// A reading as the instrument showed it.
#[derive(Serialize, ToSchema)]
struct ReadingAnswer {
    /// When, ISO 8601 in UTC.
    at: String,
    /// °C; null when it did not come.
    temperature_c: Option<f64>,
    /// %RH; null when it did not come.
    relative_humidity_pct: Option<f64>,
    /// Its instrument's id.
    instrument: String,
    /// Why it was set aside; null for a reading that counts.
    set_aside: Option<String>,
}

/// What became of a push.
#[derive(Serialize, ToSchema)]
struct PushAnswer {
    /// Readings that count.
    kept: usize,
    /// Readings this sensor had given for the same instant before.
    already: usize,
    /// Readings kept apart, with the reason.
    set_aside: Vec<PushedItem>,
    /// Items that could not be read.
    faults: Vec<PushedItem>,
    /// What else the sender should know, a sentence each; left out where there is nothing.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    notes: Vec<&'static str>,
}

/// Said to a sensor whose times are not looked at.
const TIME_UNREAD: &str = "The time in this message was not looked at: this sensor’s page names no field of the time. The time of arrival counts.";

/// One item of a push, from 1, and what is to be said of it.
#[derive(Serialize, ToSchema)]
struct PushedItem {
    /// Which item of the body.
    item: usize,
    /// One sentence.
    sentence: String,
}

/// How far back.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Since {
    /// Hours back from now, 1 to 744; 24 when not given.
    #[param(value_type = Option<i64>, minimum = 1, maximum = 744)]
    hours: Option<String>,
}

/// Every room in use with its air now.
#[utoipa::path(get, path = "/api/v1/rooms", tag = "rooms", security(("read token" = [])),
    responses((status = 200, body = Vec<RoomAnswer>), (status = 401), (status = 403)))]
async fn list(reader: Reader, State(house): State<House>) -> Result<Json<Vec<RoomAnswer>>, Problem> {
    let now = reader.visitor.now.0;
    let mut db = house.store.read().await?;
    let settings = RoomSettings::load(&mut db).await?;
    let mut answer = Vec::new();
    for room in store::rooms(&mut db).await? {
        let air = air_now(&mut db, room.id, &settings, now).await?.map(|air| AirAnswer {
            at: air.at.iso(),
            temperature_c: air.measured.temperature.get(),
            relative_humidity_pct: air.measured.humidity.humidity.get(),
            temperature_u_c: air.measured.doubt.temperature.get(),
            humidity_u_pct: air.measured.doubt.humidity.get(),
            stale: air.stale,
            dew_point_c: match air.derived.dew {
                DewPoint::Dew(at) => Some(at),
                DewPoint::Frost(_) => None,
            },
            frost_point_c: match air.derived.dew {
                DewPoint::Frost(at) => Some(at),
                DewPoint::Dew(_) => None,
            },
            vapour_density_g_m3: air.derived.vapour_density.get(),
        });
        answer.push(RoomAnswer { id: room.id.to_string(), name: room.name, volume_m3: room.volume.get(), air });
    }
    Ok(Json(answer))
}

/// The readings of a room, oldest first, as shown by its instruments.
#[utoipa::path(get, path = "/api/v1/rooms/{room}/readings", tag = "rooms", security(("read token" = [])),
    params(("room" = String, Path, description = "The room's id"), Since),
    responses((status = 200, body = Vec<ReadingAnswer>), (status = 400), (status = 401), (status = 403), (status = 404), (status = 422)))]
async fn readings_of(
    reader: Reader,
    State(house): State<House>,
    At(id): At<RoomId>,
    Query(since): Query<Since>,
) -> Result<Json<Vec<ReadingAnswer>>, Problem> {
    let hours = match since.hours.as_deref() {
        None => 24,
        Some(typed) => typed
            .parse::<i64>()
            .ok()
            .filter(|hours| (1..=744).contains(hours))
            .ok_or_else(|| Problem::mistake("hours", "Give whole hours from 1 to 744."))?,
    };
    let now = reader.visitor.now.0;
    let mut db = house.store.read().await?;
    room_form::open_room(store::room(&mut db, id).await?)?;
    let found = readings::between(&mut db, id, now.plus(-hours * HOUR), now.plus(HOUR)).await?;
    let row = |reading: readings::KeptReading| ReadingAnswer {
        at: reading.at.iso(),
        temperature_c: reading.temperature,
        relative_humidity_pct: reading.humidity,
        instrument: reading.instrument.to_string(),
        set_aside: Some(reading.set_aside).filter(|why| !why.is_empty()),
    };
    Ok(Json(found.into_iter().map(row).collect()))
}

/// Adds readings: an object, an array of objects, or a bare number, read as this sensor's mapping says.
/// Readings the sensor gave for the same instant before are not added again.
#[utoipa::path(post, path = "/api/v1/rooms/{room}/readings", tag = "rooms", security(("sensor token" = [])),
    params(("room" = String, Path, description = "The room's id"),
           ("Idempotency-Key" = Option<String>, Header, description = "The same key again gives the first answer")),
    request_body(content = serde_json::Value, description = "For instance {\"temperature\": 21.4, \"humidity\": 38}"),
    responses((status = 200, body = PushAnswer), (status = 400), (status = 401), (status = 403), (status = 404), (status = 413), (status = 422)))]
async fn add(
    sensor: SensorOf,
    State(house): State<House>,
    At(id): At<RoomId>,
    message: Message,
) -> Result<Response, Problem> {
    if sensor.room != id {
        return Err(Problem::NotHere("room"));
    }
    let (wording, mapping) = {
        let mut db = house.store.read().await?;
        let studio = crate::web::studio::Studio::load(&mut db).await?;
        room_form::open_room(store::room(&mut db, id).await?)?;
        let instrument =
            store::instrument(&mut db, id, sensor.instrument).await?.ok_or(Problem::NotHere("instrument"))?;
        let unit = if studio.fahrenheit { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
        ((unit, studio.decimal), instrument.mapping)
    };
    let parsed = push::parse(&message.body, &mapping, sensor.visitor.now.0.0).map_err(|why| refused(&why))?;
    if parsed.readings.is_empty() && parsed.faults.is_empty() {
        return Err(Problem::Unreadable("The array is empty.".into()));
    }
    if parsed.readings.is_empty() {
        return Err(Problem::Mistakes(parsed.faults.iter().map(fault_note).collect()));
    }
    let (parsed, instrument) = (Arc::new(parsed), sensor.instrument);
    let kept = house
        .store
        .write(&message.key, move |tx| {
            let parsed = Arc::clone(&parsed);
            Box::pin(async move {
                let (mut kept, mut already, mut set_aside) = (0, 0, Vec::new());
                for reading in &parsed.readings {
                    let (temperature, humidity) = (reading.temperature, reading.humidity);
                    let new = NewReading { room: id, instrument, at: Instant(reading.at_us), temperature, humidity };
                    match readings::keep(tx, &new, wording).await? {
                        Outcome::Kept => kept += 1,
                        Outcome::Already => already += 1,
                        Outcome::SetAside(sentence) => set_aside.push(PushedItem { item: reading.item, sentence }),
                    }
                }
                let faults = parsed
                    .faults
                    .iter()
                    .map(|fault| PushedItem { item: fault.item, sentence: as_sentence(&fault.what) });
                let notes = Vec::from_iter(parsed.time_unread.then_some(TIME_UNREAD));
                let told = PushAnswer { kept, already, set_aside, faults: faults.collect(), notes };
                Ok(Kept::json(200, &json!(told)))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn refused(why: &push::Refused) -> Problem {
    let sentence = as_sentence(&why.to_string());
    match why {
        push::Refused::TooLong | push::Refused::TooManyItems(_) => Problem::TooLarge(sentence),
        _ => Problem::Unreadable(sentence),
    }
}

fn as_sentence(told: &str) -> String {
    capital(told) + "."
}

fn fault_note(fault: &push::Fault) -> FieldNote {
    FieldNote { field: format!("item {}", fault.item).into(), sentence: as_sentence(&fault.what) }
}
