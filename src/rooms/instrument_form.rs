//! How an instrument is set up: what was typed, checked; and the page for a new one.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::instrument::Place as Hangs;
use super::push::Mapping;
use super::room_form::open_room;
use super::written::{HumidityUnit, Quantity, TemperatureUnit};
use super::{Instrument, InstrumentKind, Room, store};
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant};
use crate::base::units::{HumidityDoubt, TemperatureDoubt};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, with_passphrase};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::token;

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/instruments/new", new_page).post("/rooms/{room}/instruments", add)
}

/// How an instrument is set up, as typed. Fields a form leaves out keep their defaults.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct TypedInstrument {
    name: String,
    kind: String,
    place: String,
    own_humidity: String,
    own_temperature: String,
    age_years: String,
    temperature_field: String,
    temperature_unit: String,
    humidity_field: String,
    humidity_unit: String,
    time_field: String,
    bare_number: String,
}

const PLACES: [(Hangs, &str, &str); 3] = [
    (Hangs::AtTheBed, "bed", "at the bed"),
    (Hangs::OnTheWall, "wall", "on the wall: the air at the bed may differ"),
    (Hangs::OnTheWallCompared, "compared", "on the wall, compared with the bed"),
];

impl TypedInstrument {
    pub(super) fn of(instrument: &Instrument, studio: &Studio) -> Self {
        let place = PLACES.iter().find(|(place, ..)| *place == instrument.place).map_or("bed", |(_, word, _)| word);
        let map = &instrument.mapping;
        Self {
            name: instrument.name.clone(),
            kind: instrument.kind.word().to_owned(),
            place: place.to_owned(),
            own_humidity: instrument.own_humidity.map(|u| studio.exact(u.get(), 1)).unwrap_or_default(),
            own_temperature: instrument.own_temperature.map(|u| studio.exact(u.get(), 1)).unwrap_or_default(),
            age_years: String::new(),
            temperature_field: map.temperature_field.clone(),
            temperature_unit: if map.temperature_unit == TemperatureUnit::Fahrenheit {
                "fahrenheit"
            } else {
                "celsius"
            }
            .to_owned(),
            humidity_field: map.humidity_field.clone(),
            humidity_unit: if map.humidity_unit == HumidityUnit::Fraction { "fraction" } else { "percent" }.to_owned(),
            time_field: map.time_field.clone().unwrap_or_default(),
            bare_number: map.bare_number.map(|quantity| quantity.word().to_owned()).unwrap_or_default(),
        }
    }

    /// What was typed on the page of an instrument that is here: its name, kind and age were said when it came, and its readings
    /// hang on them.
    pub(super) fn of_one_that_is_here(self, instrument: &Instrument) -> Self {
        let (name, kind) = (instrument.name.clone(), instrument.kind.word().to_owned());
        Self { name, kind, age_years: String::new(), ..self }
    }

    fn fresh() -> Self {
        let mapping = Mapping::default();
        Self {
            kind: "sensor".to_owned(),
            place: "bed".to_owned(),
            temperature_field: mapping.temperature_field,
            temperature_unit: "celsius".to_owned(),
            humidity_field: mapping.humidity_field,
            humidity_unit: "percent".to_owned(),
            // A time that was sent and not looked at would make an old reading a new one.
            time_field: "time".to_owned(),
            ..Self::default()
        }
    }

    /// The instrument as typed; fields of a sensor count only for a sensor.
    pub(super) fn check(
        &self,
        id: InstrumentId,
        room: RoomId,
        mark: DecimalMark,
        now: Instant,
    ) -> Result<Instrument, Problem> {
        let mut notes = Notes::said_with(mark);
        let name = notes.line("name", &self.name, 80);
        let kind = notes.choice("kind", InstrumentKind::from_word(&self.kind));
        let typed_place = if self.place.is_empty() { "bed" } else { &self.place };
        let place = PLACES.iter().find(|(_, word, _)| *word == typed_place).map(|(place, ..)| *place);
        let place = notes.choice("place", place);
        let own_humidity = notes.optional_number("own_humidity", &self.own_humidity, (0.2, 20.0), "%RH");
        let own_humidity = own_humidity.map(|typed| typed.map(HumidityDoubt::clamped));
        let own_temperature = notes.optional_number("own_temperature", &self.own_temperature, (0.05, 5.0), "K");
        let own_temperature = own_temperature.map(|typed| typed.map(TemperatureDoubt::clamped));
        let years = notes.optional_number("age_years", &self.age_years, (0.0, 30.0), "years");
        let mapping =
            if kind == Some(InstrumentKind::Sensor) { self.mapping(&mut notes) } else { Some(Mapping::default()) };
        #[expect(clippy::cast_possible_truncation, reason = "years of an instrument, at most 30")]
        let bought = years.map(|years| now.plus(-((years.unwrap_or(0.0) * 365.25) as i64) * DAY));
        let instrument = (|| {
            Some(Instrument {
                id,
                room,
                name: name?,
                kind: kind?,
                place: place?,
                own_temperature: own_temperature?,
                own_humidity: own_humidity?,
                bought: bought?,
                mapping: mapping?,
            })
        })();
        notes.settle(instrument)
    }

    fn mapping(&self, notes: &mut Notes) -> Option<Mapping> {
        let or = |typed: &str, fresh: &str| if typed.trim().is_empty() { fresh.to_owned() } else { typed.to_owned() };
        let temperature_field = notes.line("temperature_field", &or(&self.temperature_field, "temperature"), 80);
        let humidity_field = notes.line("humidity_field", &or(&self.humidity_field, "humidity"), 80);
        let time_field = if self.time_field.trim().is_empty() {
            Some(None)
        } else {
            notes.line("time_field", &self.time_field, 80).map(Some)
        };
        Some(Mapping {
            temperature_field: temperature_field?,
            temperature_unit: if self.temperature_unit == "fahrenheit" {
                TemperatureUnit::Fahrenheit
            } else {
                TemperatureUnit::Celsius
            },
            humidity_field: humidity_field?,
            humidity_unit: if self.humidity_unit == "fraction" {
                HumidityUnit::Fraction
            } else {
                HumidityUnit::Percent
            },
            time_field: time_field?,
            bare_number: [Quantity::Temperature, Quantity::Humidity].into_iter().find(|q| q.word() == self.bare_number),
        })
    }

    fn identity_fields(&self) -> Vec<FieldView> {
        let kinds = [
            ("sensor", "a sensor that sends readings by itself"),
            ("logger", "a logger whose file is read in"),
            ("hand", "a display read by a person"),
        ];
        vec![
            text_field("name", "Name, as written on it", &self.name),
            choice_field("radio", "kind", "How its readings come", &self.kind, kinds.map(owned)),
            number_field("age_years", "Age when it came here, years", &self.age_years)
                .hinted("Counts while it has never been checked.")
                .or_empty(),
        ]
    }

    pub(super) fn belief_fields(&self) -> Vec<FieldView> {
        vec![
            choice_field(
                "radio",
                "place",
                "Where it hangs",
                &self.place,
                PLACES.map(|(_, word, words)| owned((word, words))),
            ),
            number_field("own_humidity", "Your own standard uncertainty of its humidity, %RH", &self.own_humidity)
                .hinted("Only from a calibration sheet. Otherwise the house works it out from its checks.")
                .or_empty(),
            number_field(
                "own_temperature",
                "Your own standard uncertainty of its temperature, K",
                &self.own_temperature,
            )
            .or_empty(),
        ]
    }

    pub(super) fn message_fields(&self) -> Vec<FieldView> {
        let bare = [
            ("", "nothing: such messages are refused"),
            ("temperature", "the temperature"),
            ("humidity", "the humidity"),
        ];
        vec![
            text_field("temperature_field", "Field of the temperature", &self.temperature_field)
                .hinted("Dots go inwards: data.temperature"),
            choice_field(
                "radio",
                "temperature_unit",
                "Its unit",
                &self.temperature_unit,
                [("celsius", "°C"), ("fahrenheit", "°F")].map(owned),
            ),
            text_field("humidity_field", "Field of the humidity", &self.humidity_field),
            choice_field(
                "radio",
                "humidity_unit",
                "Its unit",
                &self.humidity_unit,
                [("percent", "per cent"), ("fraction", "a fraction of 1")].map(owned),
            ),
            text_field("time_field", "Field of the time", &self.time_field)
                .hinted("Where a message has none, the time of arrival counts. Leave it empty when the sensor’s clock is not to be believed.")
                .or_empty(),
            choice_field(
                "radio",
                "bare_number",
                "A message that is one bare number is",
                &self.bare_number,
                bare.map(owned),
            ),
        ]
    }
}

fn owned((value, words): (&str, &str)) -> (String, String) {
    (value.to_owned(), words.to_owned())
}

#[derive(Template)]
#[template(path = "rooms/instrument_new.html")]
struct NewPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    identity: Vec<FieldView>,
    belief: Vec<FieldView>,
    message: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

async fn new_page(owner: Owner, State(house): State<House>, At(id): At<RoomId>) -> Result<Response, Problem> {
    let (studio, room) = load_room(&house, id).await?;
    page(&new_view(&house, &owner, &studio, &room, &TypedInstrument::fresh(), &[], new_form_key()))
}

async fn load_room(house: &House, id: RoomId) -> Result<(Studio, Room), Problem> {
    let mut db = house.store.read().await?;
    Ok((Studio::load(&mut db).await?, open_room(store::room(&mut db, id).await?)?))
}

fn new_view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    room: &Room,
    typed: &TypedInstrument,
    notes: &[FieldNote],
    key: String,
) -> NewPage {
    let (mut identity, mut belief, mut message) =
        (typed.identity_fields(), typed.belief_fields(), typed.message_fields());
    for fields in [&mut identity, &mut belief, &mut message] {
        note_fields(fields, notes);
    }
    NewPage {
        frame: house.frame(studio, &owner.visitor, Place::Rooms, format!("{}, another instrument", room.name)),
        key,
        action: house.url(&format!("/rooms/{}/instruments", room.id)),
        back: house.url(&format!("/rooms/{}", room.id)),
        mistakes: mistakes(identity.iter().chain(&belief).chain(&message)),
        identity,
        belief,
        message,
    }
}

async fn add(
    owner: Owner,
    State(house): State<House>,
    At(room): At<RoomId>,
    form: Form<TypedInstrument>,
) -> Result<Response, Problem> {
    let (studio, room) = load_room(&house, room).await?;
    keep_new(&house, &owner, &studio, &room, form).await
}

async fn keep_new(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    room: &Room,
    form: Form<TypedInstrument>,
) -> Result<Response, Problem> {
    let result = match form.typed.check(InstrumentId::new(), room.id, studio.decimal, owner.visitor.now.0) {
        Ok(instrument) => {
            // A sensor comes with a key of its own.
            if instrument.kind == InstrumentKind::Sensor {
                with_passphrase(&owner.visitor)?;
            }
            let (keys, by) = (house.clone(), owner.who.id);
            house
                .store
                .write(&form.key, move |tx| {
                    let (instrument, house) = (instrument.clone(), keys.clone());
                    Box::pin(async move {
                        store::add_instrument(tx, &instrument).await?;
                        let (id, room) = (instrument.id, instrument.room);
                        if instrument.kind != InstrumentKind::Sensor {
                            return Ok(Kept::see(format!("/rooms/{room}/instruments/{id}")));
                        }
                        let kind = token::Kind::Sensor { instrument: id, room };
                        let token = token::make(tx, house.store.keys(), &instrument.name, kind, by).await?;
                        Ok(Kept::see(format!("/office/tokens/{token}")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            page_again(&new_view(house, owner, studio, room, &form.typed, &notes, key))
        }
        other => Ok(answer(house, &other?)),
    }
}
