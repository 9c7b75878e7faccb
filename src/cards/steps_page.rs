//! Aftercare steps at the bed: each begun, waited for, done.

use axum::extract::State;
use axum::response::Response;

use super::card::{Step, Whole};
use super::parts_store;
use super::seen::{Around, open_for, still_open_in};
use crate::base::ids::CardId;
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::clearance::typed::Typed;
use crate::store::Kept;
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new().post("/cards/{card}/step", go_on_with_step)
}

/// One step as the page shows it.
pub(super) struct StepView {
    /// Its form's own key.
    pub(super) key: String,
    pub(super) words: String,
    pub(super) stands: String,
    /// Place in the list and words of its button; none once it is done.
    pub(super) act: Option<(u32, String)>,
    /// What its button does: a press that comes late must not do what comes after it.
    pub(super) deed: &'static str,
}

const BEGIN: &str = "begin";
const DONE: &str = "done";

/// What is to be done with it next.
fn deed(step: &Step) -> &'static str {
    if step.minutes > 0 && step.begun.is_none() { BEGIN } else { DONE }
}

/// Every step, in its order.
pub(super) fn steps(around: &Around, whole: &Whole, now: Instant) -> Vec<StepView> {
    let zone = &around.studio.zone;
    let view = |step: &Step| {
        let waits = i64::from(step.minutes) * MINUTE;
        let (stands, word) = match (step.begun, step.done) {
            (_, Some(at)) => (format!("done {}", zone.clock(at)), None),
            (Some(at), None) if at.plus(waits) > now => {
                (format!("wait until {}", zone.clock(at.plus(waits))), Some("Done"))
            }
            (Some(_), None) => ("the time is over".to_owned(), Some("Done")),
            (None, None) if step.minutes > 0 => (format!("{} min", step.minutes), Some("Begin")),
            (None, None) => ("not done".to_owned(), Some("Done")),
        };
        let act = word.map(|word| (step.place, format!("{word}: {}", step.words)));
        StepView { key: new_form_key(), words: step.words.clone(), stands, act, deed: deed(step) }
    };
    whole.steps.iter().map(view).collect()
}

async fn go_on_with_step(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let place = form.typed.get("place");
    let step = opened.0.steps.iter().find(|step| step.place.to_string() == place).cloned();
    let step = step.ok_or(Problem::NotHere("step"))?;
    if step.done.is_some() || form.typed.get("deed") != deed(&step) {
        return Err(Problem::Clash(
            "Somebody else went on with this step since the page was opened.".to_owned(),
            "Open the card again and look at how it stands.".to_owned(),
        ));
    }
    let at =
        form.typed.pressed(staff.visitor.now.0).max(opened.0.card.begun).max(step.begun.unwrap_or(opened.0.card.begun));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let step = step.clone();
            Box::pin(async move {
                still_open_in(tx.db(), id).await?;
                parts_store::go_on_with_step(tx, id, &step, at).await?;
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
