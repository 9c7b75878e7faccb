//! An instrument's page: how far it is believed, its checks, its set-up, its key.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::check_form::TypedCheck;
use super::instrument::{Correction, Salt};
use super::instrument_form::TypedInstrument;
use super::now::{Corrections, known};
use super::room_form::open_room;
use super::{Check, Compared, InstrumentKind, store};
use crate::base::actor::Role;
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff, with_passphrase};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::token;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/instruments/{instrument}", instrument_page)
        .post("/rooms/{room}/instruments/{instrument}", change)
        .post("/rooms/{room}/instruments/{instrument}/token", new_token)
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
pub(super) struct InstrumentPage {
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
    /// Said of a sensor whose times are not looked at.
    untimed: Option<&'static str>,
    checks: Vec<CheckRow>,
    check_fields: Vec<FieldView>,
    check_mistakes: Vec<Mistake>,
    belief: Vec<FieldView>,
    message: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// What may have come back on an instrument's page.
#[derive(Default)]
pub(super) struct Again {
    pub(super) setup: Option<(TypedInstrument, Vec<FieldNote>)>,
    pub(super) check: Option<(TypedCheck, Vec<FieldNote>)>,
    pub(super) key: String,
}

async fn instrument_page(
    staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
) -> Result<Response, Problem> {
    page(&instrument_view(&house, &staff, room, id, Again { key: new_form_key(), ..Again::default() }).await?)
}

pub(super) async fn instrument_view(
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
    let fresh = TypedCheck::fresh();
    let (check, check_notes) = again.check.unwrap_or_else(|| (fresh, Vec::new()));
    let mut check_fields = check.fields(&studio);
    note_fields(&mut check_fields, &check_notes);
    let path = house.url(&format!("/rooms/{}/instruments/{id}", room.id));
    let is_sensor = instrument.kind == InstrumentKind::Sensor;
    let checked = match known.humidity_checked_days_ago {
        Some(days) if days <= 365.25 => ("fit", "checked".to_owned()),
        Some(_) => ("near", "check due".to_owned()),
        None => ("near", "never checked".to_owned()),
    };
    let shown_doubt = if studio.fahrenheit { doubt.temperature.fahrenheit() } else { doubt.temperature.get() };
    Ok(InstrumentPage {
        frame: house.frame(&studio, &staff.visitor, Place::Rooms, format!("{} in {}", instrument.name, room.name)),
        key: again.key,
        back: house.url(&format!("/rooms/{}", room.id)),
        room: room.name,
        is_sensor,
        untimed: (is_sensor && instrument.mapping.time_field.is_none()).then_some(
            "No time in its messages is looked at: a reading counts from when it arrives. If the sensor’s clock is right, name the field of the time under Set up.",
        ),
        may_change: staff.who.role == Role::Owner,
        state: known.check_sentence(),
        checked,
        temperature_unit: studio.temperature_unit(),
        doubt_humidity: studio.number(super::instrument::LIKELY * doubt.humidity.get(), 1),
        doubt_temperature: studio.number(super::instrument::LIKELY * shown_doubt, 1),
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
    let percent = |humidity: RelHumidity| format!("{}\u{a0}%RH", studio.number(humidity.get(), 1));
    let degrees =
        |at: Celsius| format!("{}\u{a0}{}", studio.number(studio.scale(at.get()), 1), studio.temperature_unit());
    let (reference, shown) = match check.compared {
        Compared::Humidity(point) => (percent(point.reference), percent(point.shown)),
        Compared::Temperature { reference, shown } => (degrees(reference), degrees(shown)),
    };
    let against =
        Salt::from_key(&check.against).map_or_else(|| "a better instrument".to_owned(), |salt| salt.name().to_owned());
    CheckRow {
        when: studio.zone.date_and_clock(check.at, now),
        against,
        reference,
        shown,
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
    let (before, studio) = {
        let mut db = house.store.read().await?;
        let before = store::instrument(&mut db, room, id).await?.ok_or(Problem::NotHere("instrument"))?;
        (before, Studio::load(&mut db).await?)
    };
    let typed = form.typed.clone().of_one_that_is_here(&before);
    match typed.check(id, room, studio.decimal, before.bought) {
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
            let again = Again { setup: Some((typed, notes)), check: None, key: form.key.again() };
            let staff = Staff { who: owner.who, visitor: owner.visitor };
            page_again(&instrument_view(&house, &staff, room, id, again).await?)
        }
        Err(other) => Err(other),
    }
}

async fn new_token(
    owner: Owner,
    State(house): State<House>,
    At((room, id)): At<(RoomId, InstrumentId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
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
