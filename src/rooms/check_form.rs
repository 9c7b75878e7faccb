//! A check of an instrument over a salt, or beside a better one: what was typed, checked, kept or struck out.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::instrument::{CheckPoint, Correction, Salt};
use super::instrument_page::{Again, instrument_view};
use super::now::{APART, TOGETHER};
use super::{Check, Compared, store};
use crate::base::ids::{CheckId, InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field};
use crate::web::form::FieldView;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing};
use crate::web::problems::page_again;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Studio;

pub(super) fn routes() -> Routes {
    Routes::new()
        .post("/rooms/{room}/instruments/{instrument}/checks", add_check)
        .post("/rooms/{room}/instruments/{instrument}/checks/{check}/strike", strike)
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct TypedCheck {
    against: String,
    reference: String,
    shown: String,
    chamber: String,
}

const OTHER_HUMIDITY: &str = "humidity";
const OTHER_TEMPERATURE: &str = "temperature";

impl TypedCheck {
    /// What the form begins with: table salt, which every house has.
    pub(super) fn fresh() -> Self {
        Self { against: Salt::SodiumChloride.key().to_owned(), ..Self::default() }
    }

    pub(super) fn fields(&self, studio: &Studio) -> Vec<FieldView> {
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
                .hinted(format!(
                    "For a salt: its humidity depends a little on it. {} to {} {unit}.",
                    studio.number(studio.scale(15.0), 0),
                    studio.number(studio.scale(30.0), 0)
                ))
                .or_empty(),
            number_field("reference", "What the better instrument showed", &self.reference)
                .hinted("Only beside a better instrument.")
                .or_empty(),
        ]
    }

    fn check(&self, studio: &Studio, now: Instant) -> Result<Check, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
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
            let (reference, shown) = (reference?, shown?);
            let compared = if of_temperature {
                Compared::Temperature { reference: Celsius::new(reference).ok()?, shown: Celsius::new(shown).ok()? }
            } else {
                let (reference, shown) = (RelHumidity::new(reference).ok()?, RelHumidity::new(shown).ok()?);
                Compared::Humidity(CheckPoint { reference, shown })
            };
            Some(Check { id: CheckId::new(), at: now, against: against?, compared, struck: false })
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
            let key = form.key.again();
            let again = Again { setup: None, check: Some((form.typed, notes)), key };
            page_again(&instrument_view(&house, &staff, room, id, again).await?)
        }
        Err(other) => Err(other),
    }
}

/// Refuses a second point that no straight correction can join with the one before.
fn believable(check: Check, earlier: &[Check]) -> Result<Check, Problem> {
    let Some(point) = check.humidity() else { return Ok(check) };
    let near = earlier.iter().filter(|other| !other.struck && check.at.since(other.at) <= TOGETHER);
    if let Some(other) = near.filter_map(Check::humidity).find(|other| point.apart_from(*other) >= APART) {
        Correction::two_points(point, other).map_err(|why| Problem::mistake("shown", why.to_string()))?;
    }
    Ok(check)
}

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
