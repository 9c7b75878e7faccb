//! The forms of the plan page: outside air, the opening hour, the instrument outside, what the plan rests on, a fit accepted.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::plan::Air;
use super::plan_fit::{FitAsked, fitted};
use super::plan_page::{self, PlanAsked};
use super::plan_rest::TypedRest;
use super::plan_store::{self, Planning, Situation};
use super::room_form::open_room;
use super::settings::RoomSettings;
use super::store;
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::units::RelHumidity;
use crate::store::{FormKey, Kept, settings as kept_settings};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::FieldView;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Studio;

pub(super) fn routes() -> Routes {
    Routes::new()
        .post("/rooms/{room}/plan/outside", outside)
        .post("/rooms/{room}/plan/opening", opening)
        .post("/rooms/{room}/plan/outdoors", outdoors)
        .post("/rooms/{room}/plan/room", rests_on)
        .post("/rooms/{room}/plan/fit", accept_fit)
}

#[derive(Deserialize, Default)]
pub(super) struct TypedOutside {
    outside_temperature: String,
    outside_humidity: String,
}

#[derive(Deserialize, Default)]
pub(super) struct TypedOpening {
    opening: String,
}

#[derive(Deserialize, Default)]
struct TypedOutdoors {
    outdoor_instrument: String,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedFit {
    fit_from: String,
    fit_to: String,
    fit_devices: String,
}

/// The forms of the page as they are shown: fresh, or one of them come back with its mistakes.
pub(super) struct Again<'a> {
    pub(super) key: String,
    pub(super) came_back: bool,
    outside: Option<&'a TypedOutside>,
    opening: Option<&'a TypedOpening>,
    rest: Option<&'a TypedRest>,
    notes: &'a [FieldNote],
}

impl<'a> Again<'a> {
    pub(super) fn fresh() -> Self {
        Self { key: new_form_key(), came_back: false, outside: None, opening: None, rest: None, notes: &[] }
    }

    fn back(key: &FormKey, notes: &'a [FieldNote]) -> Self {
        let key = key.again();
        Self { key, came_back: true, outside: None, opening: None, rest: None, notes }
    }

    pub(super) fn outside_fields(&self, studio: &Studio) -> Vec<FieldView> {
        let fresh = TypedOutside::default();
        let typed = self.outside.unwrap_or(&fresh);
        let mut fields = vec![
            number_field(
                "outside_temperature",
                &format!("Temperature outside, {}", studio.temperature_unit()),
                &typed.outside_temperature,
            ),
            number_field("outside_humidity", "Humidity outside, %RH", &typed.outside_humidity),
        ];
        note_fields(&mut fields, self.notes);
        fields
    }

    pub(super) fn opening_fields(&self, kept: &str) -> Vec<FieldView> {
        let value = self.opening.map_or(kept, |typed| typed.opening.as_str());
        let field = text_field("opening", "The studio opens at", value);
        let mut fields = vec![FieldView { kind: "time", short: true, ..field }.hinted("Hours and minutes, as 09:00.")];
        note_fields(&mut fields, self.notes);
        fields
    }

    pub(super) fn outdoor_fields(
        &self,
        chosen: Option<InstrumentId>,
        instruments: &[(InstrumentId, String, String)],
    ) -> Vec<FieldView> {
        let chosen = chosen.map(|id| id.to_string()).unwrap_or_default();
        let none = (String::new(), "none: outside air is typed in".to_owned());
        let all = instruments.iter().map(|(id, name, room)| (id.to_string(), format!("{name} ({room})")));
        let field = choice_field(
            "select",
            "outdoor_instrument",
            "Instrument that hangs outside",
            &chosen,
            std::iter::once(none).chain(all),
        );
        let mut fields =
            vec![field.hinted("Its readings then no longer count as the air of the room it is listed under.")];
        note_fields(&mut fields, self.notes);
        fields
    }

    pub(super) fn rest_fields(&self, planning: &Planning, studio: &Studio) -> Vec<FieldView> {
        let kept = TypedRest::of(planning, studio);
        let mut fields = self.rest.unwrap_or(&kept).fields(studio);
        note_fields(&mut fields, self.notes);
        fields
    }
}

async fn outside(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedOutside>,
) -> Result<Response, Problem> {
    let studio = studio(&house).await?;
    let result = match form.typed.check(&studio) {
        Ok(air) => {
            let work = house.store.write(&form.key, move |tx| {
                Box::pin(async move {
                    open_room(store::room(tx.db(), id).await?)?;
                    plan_store::add_outside(tx, air).await?;
                    Ok(Kept::see(format!("/rooms/{id}/plan")))
                })
            });
            work.await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let again = Again { outside: Some(&form.typed), ..Again::back(&form.key, &notes) };
            shown_again(&house, &staff, id, &again).await
        }
        other => Ok(answer(&house, &other?)),
    }
}

impl TypedOutside {
    fn check(&self, studio: &Studio) -> Result<Air, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let limits = (studio.scale(-20.0), studio.scale(50.0));
        let temperature =
            notes.number("outside_temperature", &self.outside_temperature, limits, studio.temperature_unit());
        let humidity = notes.number("outside_humidity", &self.outside_humidity, (1.0, 100.0), "%RH");
        let air = (|| {
            Some(Air { temperature: studio.celsius(temperature?).ok()?, humidity: RelHumidity::new(humidity?).ok()? })
        })();
        notes.settle(air)
    }
}

async fn opening(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedOpening>,
) -> Result<Response, Problem> {
    let result = match form.typed.check() {
        Ok(opening) => {
            let work = house.store.write(&form.key, move |tx| {
                let opening = opening.clone();
                Box::pin(async move {
                    open_room(store::room(tx.db(), id).await?)?;
                    kept_settings::set(tx, "rooms.opening", &opening).await?;
                    tx.audit("change the opening hour", "rooms.opening", "").await?;
                    Ok(Kept::see(format!("/rooms/{id}/plan")))
                })
            });
            work.await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let again = Again { opening: Some(&form.typed), ..Again::back(&form.key, &notes) };
            shown_again(&house, &staff, id, &again).await
        }
        other => Ok(answer(&house, &other?)),
    }
}

impl TypedOpening {
    /// "9:00", "09:00" or "09:00:00" as "09:00".
    fn check(&self) -> Result<String, Problem> {
        let typed = self.opening.trim();
        let (hour, minute) = typed.split_once(':').unwrap_or((typed, ""));
        let minute = minute.split(':').next().unwrap_or_default();
        let read = |text: &str, below: u8| text.parse::<u8>().ok().filter(|value| text.len() <= 2 && *value < below);
        match (read(hour, 24), read(minute, 60)) {
            (Some(hour), Some(minute)) => Ok(format!("{hour:02}:{minute:02}")),
            _ => Err(Problem::mistake("opening", "Type hours and minutes, as 09:00.")),
        }
    }
}

async fn outdoors(
    owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedOutdoors>,
) -> Result<Response, Problem> {
    let typed = form.typed.outdoor_instrument.trim();
    let chosen = match (typed, typed.parse::<InstrumentId>()) {
        ("", _) => Ok(None),
        (_, Ok(instrument)) => Ok(Some(instrument)),
        _ => Err(Problem::mistake("outdoor_instrument", "Choose one of these.")),
    };
    let result = match chosen {
        Ok(chosen) => {
            let work = house.store.write(&form.key, move |tx| {
                Box::pin(async move {
                    open_room(store::room(tx.db(), id).await?)?;
                    plan_store::set_outdoor(tx, chosen).await?;
                    Ok(Kept::see(format!("/rooms/{id}/plan")))
                })
            });
            work.await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            shown_again(&house, &owner.as_staff(), id, &Again::back(&form.key, &notes)).await
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn rests_on(
    owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedRest>,
) -> Result<Response, Problem> {
    let (studio, before) = {
        let mut db = house.store.read().await?;
        open_room(store::room(&mut db, id).await?)?;
        (Studio::load(&mut db).await?, plan_store::planning(&mut db, id).await?)
    };
    let typed = form.typed.clone();
    let result = match form.typed.change(&before, &studio) {
        Ok(_) => {
            let studio = studio.clone();
            let work = house.store.write(&form.key, move |tx| {
                let (typed, studio) = (typed.clone(), studio.clone());
                Box::pin(async move {
                    // As it is at this moment: another form, or a fit, may have come in meanwhile.
                    open_room(store::room(tx.db(), id).await?)?;
                    let now = plan_store::planning(tx.db(), id).await?;
                    let planning = typed.change(&now, &studio)?;
                    plan_store::change_planning(tx, id, &planning).await?;
                    Ok(Kept::see(format!("/rooms/{id}/plan")))
                })
            });
            work.await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let now = {
                let mut db = house.store.read().await?;
                plan_store::planning(&mut db, id).await?
            };
            let (typed, _) = form.typed.over(&now, &studio);
            let again = Again { rest: Some(&typed), ..Again::back(&form.key, &notes) };
            shown_again(&house, &owner.as_staff(), id, &again).await
        }
        other => Ok(answer(&house, &other?)),
    }
}

/// Accepts a fit: worked out once more from the readings, then kept on the room.
async fn accept_fit(
    owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedFit>,
) -> Result<Response, Problem> {
    let TypedFit { fit_from, fit_to, fit_devices } = &form.typed;
    let asked = FitAsked { from: fit_from.clone(), to: fit_to.clone(), devices: fit_devices.clone() };
    let found = {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let settings = RoomSettings::load(&mut db).await?;
        let room = open_room(store::room(&mut db, id).await?)?;
        let situation = Situation::load(&mut db, &room, &settings, owner.visitor.now.0).await?;
        fitted(&mut db, &asked, &room, &situation, &studio).await?
    };
    let fit = found.ok().map(|fitted| fitted.fit);
    // Where nothing can be accepted the page is shown with the stretch once more and says why.
    let query = [("fit_from", &asked.from), ("fit_to", &asked.to), ("fit_devices", &asked.devices)];
    let query = serde_urlencoded::to_string(query).map_err(Problem::broken)?;
    let kept = house.store.write(&form.key, move |tx| {
        let query = query.clone();
        Box::pin(async move {
            let Some(fit) = fit else {
                tx.record_tells_itself();
                return Ok(Kept::see(format!("/rooms/{id}/plan?{query}")));
            };
            plan_store::fit_capacity(tx, id, fit.capacity).await?;
            if fit.tells_air_change {
                plan_store::change_air_change(tx, id, (fit.air_changes.get() * 100.0).round() / 100.0).await?;
            }
            Ok(Kept::see(format!("/rooms/{id}/plan")))
        })
    });
    Ok(answer(&house, &kept.await?))
}

async fn shown_again(house: &House, staff: &Staff, id: RoomId, again: &Again<'_>) -> Result<Response, Problem> {
    plan_page::load(house, staff, id, &PlanAsked::new(), again).await?.answer(None, None)
}

async fn studio(house: &House) -> Result<Studio, Problem> {
    let mut db = house.store.read().await?;
    Studio::load(&mut db).await
}

impl Owner {
    /// The owner works in the rooms too.
    fn as_staff(&self) -> Staff {
        Staff { who: self.who.clone(), visitor: std::sync::Arc::clone(&self.visitor) }
    }
}
