//! How a device runs: its hours of each day, and the air a dehumidifier's grams hold for. The owner's page.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::plan::Air;
use super::plan::balance::TAKE_EXPONENT;
use super::plan_store::{self, Running};
use super::plan_words as words;
use super::room_form::open_room;
use super::{Device, DeviceKind, store};
use crate::base::ids::{DeviceId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::units::RelHumidity;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, note_fields, number_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/devices/{device}/running", running_page)
        .post("/rooms/{room}/devices/{device}/running", change)
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedRunning {
    hours_a_day: String,
    rated_temperature: String,
    rated_humidity: String,
}

#[derive(Template)]
#[template(path = "rooms/running.html")]
struct RunningPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// By which power of the vapour pressure it takes less; none for what takes no water.
    power: Option<String>,
}

impl TypedRunning {
    fn of(running: &Running, studio: &Studio) -> Self {
        Self {
            hours_a_day: studio.number(running.hours_a_day, 1),
            rated_temperature: running
                .rated
                .map(|air| words::typed_degrees(air.temperature, studio))
                .unwrap_or_default(),
            rated_humidity: running.rated.map(|air| studio.number(air.humidity.get(), 0)).unwrap_or_default(),
        }
    }

    fn check(&self, kind: DeviceKind, studio: &Studio) -> Result<Running, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let hours = notes.number("hours_a_day", &self.hours_a_day, (0.5, 24.0), "hours");
        if kind != DeviceKind::Dehumidifier {
            return notes.settle(hours.map(|hours_a_day| Running { hours_a_day, rated: None }));
        }
        let limits = (studio.scale(5.0), studio.scale(45.0));
        let temperature =
            notes.optional_number("rated_temperature", &self.rated_temperature, limits, studio.temperature_unit());
        let humidity = notes.optional_number("rated_humidity", &self.rated_humidity, (20.0, 100.0), "%RH");
        match (temperature, humidity) {
            (Some(Some(_)), Some(None)) => notes.add("rated_humidity", "Both or neither: a rating holds for one air."),
            (Some(None), Some(Some(_))) => {
                notes.add("rated_temperature", "Both or neither: a rating holds for one air.");
            }
            _ => {}
        }
        let running = (|| {
            let rated = match (temperature?, humidity?) {
                (Some(temperature), Some(humidity)) => Some(Air {
                    temperature: studio.celsius(temperature).ok()?,
                    humidity: RelHumidity::new(humidity).ok()?,
                }),
                _ => None,
            };
            Some(Running { hours_a_day: hours?, rated })
        })();
        notes.settle(running)
    }

    fn fields(&self, kind: DeviceKind, studio: &Studio, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = vec![
            number_field("hours_a_day", "Hours of every 24 it runs", &self.hours_a_day)
                .hinted("Counted from the moment it is switched on. 24 for day and night."),
        ];
        if kind == DeviceKind::Dehumidifier {
            let unit = studio.temperature_unit();
            fields.push(
                number_field("rated_temperature", &format!("Its grams hold at, {unit}"), &self.rated_temperature)
                    .hinted(
                        "From the label, with the label’s own grams. Empty: the grams are what it takes in this room.",
                    )
                    .or_empty(),
            );
            fields.push(number_field("rated_humidity", "and at, %RH", &self.rated_humidity).or_empty());
        }
        note_fields(&mut fields, notes);
        fields
    }
}

async fn running_page(
    owner: Owner,
    State(house): State<House>,
    At((room, device)): At<(RoomId, DeviceId)>,
) -> Result<Response, Problem> {
    let (studio, device, running) = load(&house, room, device).await?;
    let typed = TypedRunning::of(&running, &studio);
    page_with(StatusCode::OK, &view(&house, &owner, &studio, &device, &typed, &[], new_form_key()))
}

async fn load(house: &House, room: RoomId, id: DeviceId) -> Result<(Studio, Device, Running), Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    open_room(store::room(&mut db, room).await?)?;
    let (device, running) = plan_store::device(&mut db, room, id).await?.ok_or(Problem::NotHere("device"))?;
    Ok((studio, device, running))
}

fn view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    device: &Device,
    typed: &TypedRunning,
    notes: &[FieldNote],
    key: String,
) -> RunningPage {
    let fields = typed.fields(device.kind, studio, notes);
    RunningPage {
        frame: house.frame(studio, &owner.visitor, Place::Rooms, format!("{}: how it runs", device.name)),
        key,
        action: house.url(&format!("/rooms/{}/devices/{}/running", device.room, device.id)),
        back: house.url(&format!("/rooms/{}/plan", device.room)),
        mistakes: mistakes(&fields),
        fields,
        power: (device.kind == DeviceKind::Dehumidifier).then(|| studio.number(TAKE_EXPONENT, 2)),
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At((room, id)): At<(RoomId, DeviceId)>,
    form: Form<TypedRunning>,
) -> Result<Response, Problem> {
    let (studio, device, _) = load(&house, room, id).await?;
    let result = match form.typed.check(device.kind, &studio) {
        Ok(running) => {
            let work = house.store.write(&form.key, move |tx| {
                Box::pin(async move {
                    plan_store::change_running(tx, room, id, running).await?;
                    Ok(Kept::see(format!("/rooms/{room}/plan")))
                })
            });
            work.await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &owner, &studio, &device, &form.typed, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}
