//! What is done with an appointment in one tap: called off, missed, held again.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::appointment::State as Standing;
use super::appointment_page::{view, why_field};
use super::booking;
use super::move_page::hers;
use crate::base::ids::AppointmentId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::Kept;
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::problems::page_with;
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new()
        .post("/book/{appointment}/cancel", cancel)
        .post("/book/{appointment}/no-show", no_show)
        .post("/book/{appointment}/restore", restore)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedDeed {
    seen: String,
    reason: String,
}

async fn set(
    house: &House,
    staff: &Staff,
    id: AppointmentId,
    form: Form<TypedDeed>,
    (state, told): (Standing, &'static str),
) -> Result<Response, Problem> {
    let (_, appointment) = hers(house, staff, id).await?;
    if state == Standing::NoShow && appointment.when.visit.from > staff.visitor.now.0 {
        return Err(Problem::Clash(
            "It has not begun yet.".into(),
            "Call it off instead, or wait until it begins.".into(),
        ));
    }
    let seen = form.typed.seen.parse().unwrap_or(0);
    let reason = match text::line(&form.typed.reason, 120) {
        Ok(reason) => reason,
        Err(text::BadText::Empty) => String::new(),
        Err(bad) => {
            let why = why_field(&form.typed.reason, &[FieldNote::new("reason", bad.to_string())]);
            let key = form.key.form.clone().unwrap_or_default();
            return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view(house, staff, id, "", why, key).await?);
        }
    };
    let kept = house.store.write(&form.key, move |tx| {
        let reason = reason.clone();
        Box::pin(async move {
            booking::set_state(tx, id, seen, state, &reason).await?;
            Ok(Kept::see(format!("/book/{id}?told={told}")))
        })
    });
    Ok(answer(house, &kept.await?))
}

async fn cancel(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedDeed>,
) -> Result<Response, Problem> {
    set(&house, &staff, id, form, (Standing::Cancelled, "cancelled")).await
}

async fn no_show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedDeed>,
) -> Result<Response, Problem> {
    set(&house, &staff, id, form, (Standing::NoShow, "missed")).await
}

async fn restore(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedDeed>,
) -> Result<Response, Problem> {
    set(&house, &staff, id, form, (Standing::Booked, "restored")).await
}
