//! What is done with an appointment in one tap: called off, missed, held again.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::appointment::State as Standing;
use super::appointment_page::{DeedFields, view};
use super::booking::{self, Deed};
use super::from_cards::HasCard;
use super::move_page::hers;
use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::base::text;
use crate::store::Kept;
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::problems::page_again;
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes(has_card: HasCard) -> Routes {
    let deed = move |state, told| {
        move |staff: Staff, house: State<House>, id: At<AppointmentId>, form: Form<TypedDeed>| {
            set(staff, house, id, form, (state, told, has_card))
        }
    };
    Routes::new()
        .post("/book/{appointment}/cancel", deed(Standing::Cancelled, "cancelled"))
        .post("/book/{appointment}/no-show", deed(Standing::NoShow, "missed"))
        .post("/book/{appointment}/restore", deed(Standing::Booked, "restored"))
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedDeed {
    seen: String,
    reason: String,
    outside: String,
}

async fn set(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedDeed>,
    (state, told, has_card): (Standing, &'static str, HasCard),
) -> Result<Response, Problem> {
    let (_, appointment) = hers(&house, &staff, id).await?;
    if state == Standing::NoShow && appointment.when.visit.from > staff.visitor.now.0 {
        return Err(Problem::Clash(
            "It has not begun yet.".into(),
            "Call it off instead, or wait until it begins.".into(),
        ));
    }
    let seen = form.typed.seen.parse().unwrap_or(0);
    let outside = form.typed.outside == "yes";
    let result = match text::line(&form.typed.reason, 120) {
        Err(bad) if bad != text::BadText::Empty => Err(Problem::mistake("reason", bad.to_string())),
        reason => {
            let deed = Deed { state, reason: reason.unwrap_or_default(), outside };
            let kept = house.store.write(&form.key, move |tx| {
                let deed = deed.clone();
                Box::pin(async move {
                    booking::set_state(tx, id, seen, &deed, has_card).await?;
                    Ok(Kept::see(format!("/book/{id}?told={told}")))
                })
            });
            kept.await
        }
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let fields = DeedFields::of(&form.typed.reason, outside, &notes);
            let key = form.key.again();
            page_again(&view(&house, &staff, (id, has_card), "", fields, key).await?)
        }
        other => Ok(answer(&house, &other?)),
    }
}
