//! Instruments: what hangs in a room, how far it is believed, its checks over salt, its sensor token.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::instrument::{CheckPoint, Correction, Place as Hangs, Salt};
use super::now::{APART, Corrections, TOGETHER, known};
use super::push::Mapping;
use super::room_form::open_room;
use super::written::{HumidityUnit, Quantity, TemperatureUnit};
use super::{Check, Instrument, InstrumentKind, Room, store};
use crate::base::actor::Role;
use crate::base::ids::{CheckId, InstrumentId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant};
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::token;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/instruments/new", new_page)
        .post("/rooms/{room}/instruments", add)
        .post("/rooms/{room}/sensors", add_sensor)
        .get("/rooms/{room}/instruments/{instrument}", instrument_page)
        .post("/rooms/{room}/instruments/{instrument}", change)
        .post("/rooms/{room}/instruments/{instrument}/checks", add_check)
        .post("/rooms/{room}/instruments/{instrument}/checks/{check}/strike", strike)
        .post("/rooms/{room}/instruments/{instrument}/token", new_token)
}

/// How an instrument is set up, as typed. Fields a form leaves out keep their defaults.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct TypedInstrument {
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
    fn of(instrument: &Instrument, studio: &Studio) -> Self {
        let place = PLACES.iter().find(|(place, ..)| *place == instrument.place).map_or("bed", |(_, word, _)| word);
        let map = &instrument.mapping;
        Self {
            name: instrument.name.clone(),
            kind: instrument.kind.word().to_owned(),
            place: place.to_owned(),
            own_humidity: instrument.own_humidity.map(|u| studio.number(u, 1)).unwrap_or_default(),
            own_temperature: instrument.own_temperature.map(|u| studio.number(u, 2)).unwrap_or_default(),
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

    fn fresh() -> Self {
        let mapping = Mapping::default();
        Self {
            kind: "sensor".to_owned(),
            place: "bed".to_owned(),
            temperature_field: mapping.temperature_field,
            temperature_unit: "celsius".to_owned(),
            humidity_field: mapping.humidity_field,
            humidity_unit: "percent".to_owned(),
            ..Self::default()
        }
    }

    /// The instrument as typed; fields of a sensor count only for a sensor.
    fn check(&self, id: InstrumentId, room: RoomId, now: Instant) -> Result<Instrument, Problem> {
        let mut notes = Notes::default();
        let name = notes.line("name", &self.name, 80);
        let kind = notes.choice("kind", InstrumentKind::from_word(&self.kind));
        let typed_place = if self.place.is_empty() { "bed" } else { &self.place };
        let place = PLACES.iter().find(|(_, word, _)| *word == typed_place).map(|(place, ..)| *place);
        let place = notes.choice("place", place);
        let own_humidity = notes.optional_number("own_humidity", &self.own_humidity, (0.2, 20.0), "%RH");
        let own_temperature = notes.optional_number("own_temperature", &self.own_temperature, (0.05, 5.0), "K");
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

    fn belief_fields(&self) -> Vec<FieldView> {
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

    fn message_fields(&self) -> Vec<FieldView> {
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
                .hinted("Leave empty when the sensor has no clock: the time of arrival counts.")
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

/// A sensor in one step: its name is enough, everything else may follow.
async fn add_sensor(
    owner: Owner,
    State(house): State<House>,
    At(room): At<RoomId>,
    mut form: Form<TypedInstrument>,
) -> Result<Response, Problem> {
    let (studio, room) = load_room(&house, room).await?;
    form.typed = TypedInstrument { kind: "sensor".to_owned(), ..form.typed };
    keep_new(&house, &owner, &studio, &room, form).await
}

async fn keep_new(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    room: &Room,
    form: Form<TypedInstrument>,
) -> Result<Response, Problem> {
    let result = match form.typed.check(InstrumentId::new(), room.id, owner.visitor.now.0) {
        Ok(instrument) => {
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
            let key = form.key.form.clone().unwrap_or_default();
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &new_view(house, owner, studio, room, &form.typed, &notes, key))
        }
        other => Ok(answer(house, &other?)),
    }
}

struct CheckRow {
    when: String,
    against: String,
    reference: String,
    shown: String,
    struck: bool,
    strike: String,
}

#[derive(Template)]
#[template(path = "rooms/instrument.html")]
struct InstrumentPage {
    frame: Frame,
    key: String,
    path: String,
    back: String,
    room: String,
    is_sensor: bool,
    may_change: bool,
    state: String,
    checked: (&'static str, String),
    doubt_humidity: String,
    doubt_temperature: String,
    temperature_unit: &'static str,
    correction: String,
    checks: Vec<CheckRow>,
    check_fields: Vec<FieldView>,
    check_mistakes: Vec<Mistake>,
    belief: Vec<FieldView>,
    message: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// What may have come back on an instrument's page.
#[derive(Default)]
struct Again {
    setup: Option<(TypedInstrument, Vec<FieldNote>)>,
    check: Option<(TypedCheck, Vec<FieldNote>)>,
    key: String,
}

async fn instrument_page(
    staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
) -> Result<Response, Problem> {
    page(&instrument_view(&house, &staff, room, id, Again { key: new_form_key(), ..Again::default() }).await?)
}

async fn instrument_view(
    house: &House,
    staff: &Staff,
    room: RoomId,
    id: InstrumentId,
    again: Again,
) -> Result<InstrumentPage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let room = open_room(store::room(&mut db, room).await?)?;
    let instrument = store::instrument(&mut db, room.id, id).await?.ok_or(Problem::NotHere("instrument"))?;
    let checks = store::checks(&mut db, id).await?;
    let now = staff.visitor.now.0;
    let known = known(&instrument, &checks, now);
    let doubt = known.doubt(0.0);
    let (typed, notes) = again.setup.unwrap_or_else(|| (TypedInstrument::of(&instrument, &studio), Vec::new()));
    let (mut belief, mut message) = (typed.belief_fields(), typed.message_fields());
    note_fields(&mut belief, &notes);
    note_fields(&mut message, &notes);
    // Table salt is what a kitchen has.
    let fresh = TypedCheck { against: Salt::SodiumChloride.key().to_owned(), ..TypedCheck::default() };
    let (check, check_notes) = again.check.unwrap_or_else(|| (fresh, Vec::new()));
    let mut check_fields = check.fields(&studio);
    note_fields(&mut check_fields, &check_notes);
    let path = house.url(&format!("/rooms/{}/instruments/{id}", room.id));
    let checked = match known.humidity_checked_days_ago {
        Some(days) if days <= 365.25 => ("fit", "checked".to_owned()),
        Some(_) => ("near", "check due".to_owned()),
        None => ("near", "never checked".to_owned()),
    };
    Ok(InstrumentPage {
        frame: house.frame(&studio, &staff.visitor, Place::Rooms, format!("{} in {}", instrument.name, room.name)),
        key: again.key,
        back: house.url(&format!("/rooms/{}", room.id)),
        room: room.name,
        is_sensor: instrument.kind == InstrumentKind::Sensor,
        may_change: staff.who.role == Role::Owner,
        state: known.check_sentence(),
        checked,
        temperature_unit: studio.temperature_unit(),
        doubt_humidity: studio.number(super::instrument::LIKELY * doubt.humidity, 1),
        doubt_temperature: studio
            .number(super::instrument::LIKELY * doubt.temperature * if studio.fahrenheit { 1.8 } else { 1.0 }, 1),
        correction: correction_words(&Corrections::of(&checks, now), &studio),
        checks: checks.iter().map(|check| check_row(check, &studio, now, &path)).collect(),
        check_mistakes: mistakes(&check_fields),
        check_fields,
        mistakes: mistakes(belief.iter().chain(&message)),
        belief,
        message,
        path,
    })
}

fn correction_words(corrections: &Corrections, studio: &Studio) -> String {
    let signed = |value: f64, places: usize| {
        if value < 0.0 { studio.number(value, places) } else { format!("+{}", studio.number(value, places)) }
    };
    let humidity = match corrections.humidity {
        Correction::None => "Humidity is taken as shown.".to_owned(),
        Correction::Offset(added) => format!("Humidity: {}\u{a0}%RH is added to what it shows.", signed(added, 1)),
        Correction::Line { low, high } => format!(
            "Humidity: a line through two checks, from {} shown as {} to {} shown as {}\u{a0}%RH. Further than 10\u{a0}%RH outside, readings are flagged.",
            studio.number(low.reference.get(), 1),
            studio.number(low.shown.get(), 1),
            studio.number(high.reference.get(), 1),
            studio.number(high.shown.get(), 1)
        ),
    };
    if corrections.kelvins.abs() < 1e-9 {
        return format!("{humidity} Temperature is taken as shown.");
    }
    let degrees = corrections.kelvins * if studio.fahrenheit { 1.8 } else { 1.0 };
    format!("{humidity} Temperature: {}\u{a0}{} is added.", signed(degrees, 1), studio.temperature_unit())
}

fn check_row(check: &Check, studio: &Studio, now: Instant, path: &str) -> CheckRow {
    let value = |value: f64| {
        if check.of_humidity {
            format!("{}\u{a0}%RH", studio.number(value, 1))
        } else {
            format!("{}\u{a0}{}", studio.number(studio.scale(value), 1), studio.temperature_unit())
        }
    };
    let against =
        Salt::from_key(&check.against).map_or_else(|| "a better instrument".to_owned(), |salt| salt.name().to_owned());
    CheckRow {
        when: studio.zone.date_and_clock(check.at, now),
        against,
        reference: value(check.reference),
        shown: value(check.shown),
        struck: check.struck,
        strike: format!("{path}/checks/{}/strike", check.id),
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
    form: Form<TypedInstrument>,
) -> Result<Response, Problem> {
    let before = {
        let mut db = house.store.read().await?;
        store::instrument(&mut db, room, id).await?.ok_or(Problem::NotHere("instrument"))?
    };
    // Name, kind and age were said when it came; readings hang on them.
    let typed = TypedInstrument {
        name: before.name.clone(),
        kind: before.kind.word().to_owned(),
        age_years: String::new(),
        ..form.typed.clone()
    };
    match typed.check(id, room, before.bought) {
        Ok(changed) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let changed = changed.clone();
                    Box::pin(async move {
                        store::change_instrument(tx, &changed).await?;
                        Ok(Kept::see(format!("/rooms/{room}/instruments/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let again =
                Again { setup: Some((typed, notes)), check: None, key: form.key.form.clone().unwrap_or_default() };
            let staff = Staff { who: owner.who, visitor: owner.visitor };
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &instrument_view(&house, &staff, room, id, again).await?)
        }
        Err(other) => Err(other),
    }
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct TypedCheck {
    against: String,
    reference: String,
    shown: String,
    chamber: String,
}

const OTHER_HUMIDITY: &str = "humidity";
const OTHER_TEMPERATURE: &str = "temperature";

impl TypedCheck {
    fn fields(&self, studio: &Studio) -> Vec<FieldView> {
        let salts = Salt::ALL.map(|salt| (salt.key().to_owned(), format!("{} in a closed box", salt.name())));
        let others = [
            (OTHER_HUMIDITY.to_owned(), "the humidity of a better hygrometer beside it".to_owned()),
            (OTHER_TEMPERATURE.to_owned(), "the temperature of a better thermometer beside it".to_owned()),
        ];
        let unit = studio.temperature_unit();
        vec![
            choice_field("select", "against", "Checked against", &self.against, salts.into_iter().chain(others)),
            number_field("shown", &format!("What this instrument showed, %RH or {unit}"), &self.shown),
            number_field("chamber", &format!("Temperature in the box, {unit}"), &self.chamber)
                .hinted("For a salt: its humidity depends a little on it. 15 to 30 °C.")
                .or_empty(),
            number_field("reference", "What the better instrument showed", &self.reference)
                .hinted("Only beside a better instrument.")
                .or_empty(),
        ]
    }

    fn check(&self, studio: &Studio, now: Instant) -> Result<Check, Problem> {
        let mut notes = Notes::default();
        let salt = Salt::from_key(&self.against);
        let of_temperature = self.against == OTHER_TEMPERATURE;
        let known = salt.is_some() || of_temperature || self.against == OTHER_HUMIDITY;
        let against = notes.choice("against", known.then(|| salt.map_or("other", Salt::key).to_owned()));
        let (limits, unit) = if of_temperature {
            ((studio.scale(-20.0), studio.scale(60.0)), studio.temperature_unit())
        } else {
            ((0.1, 100.0), "%RH")
        };
        let inside = |value: f64| if of_temperature && studio.fahrenheit { (value - 32.0) / 1.8 } else { value };
        let shown = notes.number("shown", &self.shown, limits, unit).map(inside);
        let reference = match salt {
            Some(salt) => {
                let chamber = notes.number(
                    "chamber",
                    &self.chamber,
                    (studio.scale(15.0), studio.scale(30.0)),
                    studio.temperature_unit(),
                );
                let chamber = chamber.and_then(|typed| studio.celsius(typed).ok());
                chamber.and_then(|at: Celsius| salt.humidity(at).ok()).map(RelHumidity::get)
            }
            None => notes.number("reference", &self.reference, limits, unit).map(inside),
        };
        let check = (|| {
            Some(Check {
                id: CheckId::new(),
                at: now,
                of_humidity: !of_temperature,
                against: against?,
                reference: reference?,
                shown: shown?,
                struck: false,
            })
        })();
        notes.settle(check)
    }
}

async fn add_check(
    staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
    form: Form<TypedCheck>,
) -> Result<Response, Problem> {
    let (studio, earlier) = {
        let mut db = house.store.read().await?;
        store::instrument(&mut db, room, id).await?.ok_or(Problem::NotHere("instrument"))?;
        (Studio::load(&mut db).await?, store::checks(&mut db, id).await?)
    };
    let checked = form.typed.check(&studio, staff.visitor.now.0).and_then(|check| believable(check, &earlier));
    match checked {
        Ok(check) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let check = check.clone();
                    Box::pin(async move {
                        store::add_check(tx, id, &check).await?;
                        Ok(Kept::see(format!("/rooms/{room}/instruments/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let again = Again { setup: None, check: Some((form.typed, notes)), key };
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &instrument_view(&house, &staff, room, id, again).await?)
        }
        Err(other) => Err(other),
    }
}

/// Refuses a second point that no straight correction can join with the one before.
fn believable(check: Check, earlier: &[Check]) -> Result<Check, Problem> {
    let point = |check: &Check| CheckPoint {
        reference: RelHumidity::clamped(check.reference),
        shown: RelHumidity::clamped(check.shown),
    };
    let other = earlier.iter().find(|other| {
        other.of_humidity
            && !other.struck
            && check.at.since(other.at) <= TOGETHER
            && (other.reference - check.reference).abs() >= APART
    });
    if let Some(other) = other.filter(|_| check.of_humidity) {
        Correction::two_points(point(&check), point(other))
            .map_err(|why| Problem::mistake("shown", why.to_string()))?;
    }
    Ok(check)
}

#[derive(Deserialize)]
struct Nothing {}

async fn strike(
    _staff: Staff,
    State(house): State<House>,
    At((room, id, check)): At<(RoomId, InstrumentId, CheckId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::instrument(tx.db(), room, id).await?.ok_or(Problem::NotHere("instrument"))?;
                store::strike_check(tx, id, check).await?;
                Ok(Kept::see(format!("/rooms/{room}/instruments/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn new_token(
    owner: Owner,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let (keys, by) = (house.clone(), owner.who.id);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let house = keys.clone();
            Box::pin(async move {
                let instrument = store::instrument(tx.db(), room, id).await?.ok_or(Problem::NotHere("instrument"))?;
                let kind = token::Kind::Sensor { instrument: id, room };
                let token = token::make(tx, house.store.keys(), &instrument.name, kind, by).await?;
                Ok(Kept::see(format!("/office/tokens/{token}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
