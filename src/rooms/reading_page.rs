//! A reading by hand: a keypad, five taps.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::readings::{self, NewReading, Outcome};
use super::room_form::open_room;
use super::written::TemperatureUnit;
use super::{Instrument, InstrumentKind, Room, RoomSettings, store};
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::SECOND;
use crate::base::units::RelHumidity;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at};
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::keypad::{Key, Pad, PadRow};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/readings/new", keypad_page).post("/rooms/{room}/readings", record)
}

#[derive(Deserialize, Default)]
struct TypedReading {
    temperature: String,
    humidity: String,
    #[serde(default)]
    instrument: String,
    #[serde(default)]
    at: String,
    /// When it was read, where it may have waited on a device since: written by the device's script.
    #[serde(default)]
    done: String,
    /// A key of the pad, pressed without scripts: nothing is kept then.
    #[serde(default)]
    key: String,
}

#[derive(Template)]
#[template(path = "rooms/reading.html")]
struct KeypadPage {
    frame: Frame,
    key: String,
    action: String,
    pad: Pad,
    /// Which instrument, where the room has more than one that a person reads.
    instruments: Option<FieldView>,
    instrument: String,
    back: String,
    /// After how many seconds what was typed here is no air of now.
    stale_after: i64,
}

async fn keypad_page(staff: Staff, State(house): State<House>, At(id): At<RoomId>) -> Result<Response, Problem> {
    let opened = load(&house, id).await?;
    page(&view(&house, &staff, &opened, &TypedReading::default(), &[], new_form_key()))
}

/// What the page of one room is made of.
struct Opened {
    studio: Studio,
    room: Room,
    instruments: Vec<Instrument>,
    stale_after: i64,
}

/// The instruments a person may read here: a sensor's display is read by eye too, when its network is down.
async fn load(house: &House, id: RoomId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let room = open_room(store::room(&mut db, id).await?)?;
    let mut instruments = store::instruments(&mut db, id).await?;
    instruments.sort_by_key(|instrument| instrument.kind != InstrumentKind::Hand);
    Ok(Opened { studio, room, instruments, stale_after: RoomSettings::load(&mut db).await?.stale_after() / SECOND })
}

async fn record(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedReading>,
) -> Result<Response, Problem> {
    let opened = load(&house, id).await?;
    let Opened { studio, instruments, .. } = &opened;
    let typed = &form.typed;
    let key = form.key.again();
    if !typed.key.is_empty() {
        return page(&view(&house, &staff, &opened, typed, &[], key));
    }
    let (temperature, humidity, instrument) = match check(typed, studio, instruments) {
        Ok(checked) => checked,
        Err(Problem::Mistakes(notes)) => {
            let view = view(&house, &staff, &opened, typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let unit = if studio.fahrenheit { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
    let wording = (unit, studio.decimal);
    let now = staff.visitor.now.0;
    let read = done_at(&typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let (temperature, humidity) = (Some(temperature), Some(humidity));
                let new = NewReading { room: id, instrument, at: read, temperature, humidity };
                let outcome = readings::keep(tx, &new, wording).await?;
                let told = if matches!(outcome, Outcome::SetAside(_)) { "?told=set-aside" } else { "?told=kept" };
                Ok(Kept::see(format!("/rooms/{id}{told}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn check(
    typed: &TypedReading,
    studio: &Studio,
    instruments: &[Instrument],
) -> Result<(f64, f64, InstrumentId), Problem> {
    let mut notes = Notes::said_with(studio.decimal);
    let limits = (studio.scale(-20.0), studio.scale(60.0));
    let temperature = notes.number("temperature", &typed.temperature, limits, studio.temperature_unit());
    let celsius = temperature.and_then(|value| studio.celsius(value).ok()).map(crate::base::units::Celsius::get);
    let humidity = notes.number("humidity", &typed.humidity, (0.1, RelHumidity::HIGHEST), "%RH");
    let instrument = match typed.instrument.as_str() {
        "" => instruments.first().map(|instrument| instrument.id),
        chosen => instruments.iter().map(|instrument| instrument.id).find(|id| id.to_string() == chosen),
    };
    let instrument = notes.choice("instrument", instrument);
    notes.settle((|| Some((celsius?, humidity?, instrument?)))())
}

fn view(
    house: &House,
    staff: &Staff,
    Opened { studio, room, instruments, stale_after }: &Opened,
    typed: &TypedReading,
    notes: &[FieldNote],
    key: String,
) -> KeypadPage {
    let error = |field: &str| notes.iter().find(|note| note.field == field).map(|note| note.sentence.clone());
    let row = |name: &'static str, label: &str, unit: &str, value: &str| PadRow {
        name,
        label: label.to_owned(),
        unit: unit.to_owned(),
        value: value.to_owned(),
        error: error(name),
        whole: 2,
        decimals: 1,
        ..PadRow::default()
    };
    let mut pad = Pad {
        rows: vec![
            row("temperature", "Temperature", studio.temperature_unit(), &typed.temperature),
            row("humidity", "Humidity", "%RH", &typed.humidity),
        ],
        at: typed.at.parse().unwrap_or(0),
        point: if studio.decimal == DecimalMark::Comma { ',' } else { '.' },
    };
    if let Some(pressed) = Key::parse(&typed.key) {
        pad.press(pressed);
    }
    let chosen = if typed.instrument.is_empty() {
        instruments.first().map(|instrument| instrument.id.to_string()).unwrap_or_default()
    } else {
        typed.instrument.clone()
    };
    let choices = instruments.iter().map(|instrument| (instrument.id.to_string(), instrument.name.clone()));
    let mut field = choice_field("select", "instrument", "Read from", &chosen, choices);
    field.error = error("instrument");
    KeypadPage {
        frame: house.frame(studio, &staff.visitor, Place::Rooms, format!("{}, air now", room.name)),
        key,
        action: house.url(&format!("/rooms/{}/readings", room.id)),
        pad,
        instruments: (instruments.len() > 1).then_some(field),
        instrument: chosen,
        back: house.url(&format!("/rooms/{}", room.id)),
        stale_after: *stale_after,
    }
}
