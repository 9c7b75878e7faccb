//! Opening a card: what was advised and what the air is, how she stands, whether anything changed, what was looked at, what is taken.

use axum::extract::State;
use axum::response::Response;

use super::open_form::OpenPage;
use super::opening::{Opening, of_appointment, of_client};
use super::seen::must_treat;
use super::{open_store, store};
use crate::adhesives;
use crate::base::ids::{AppointmentId, ClientId};
use crate::base::problem::{FieldNote, Problem};
use crate::clearance::typed::{Typed, notes_of};
use crate::store::Kept;
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/cards/of/{appointment}", of_page)
        .post("/cards/of/{appointment}", open_of)
        .get("/cards/for/{client}", for_page)
        .post("/cards/for/{client}", open_for)
}

async fn of_page(staff: Staff, State(house): State<House>, At(id): At<AppointmentId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let there = {
        must_treat(&staff.who)?;
        let mut db = house.store.read().await?;
        store::of_appointment(&mut db, id).await?
    };
    let opening = of_appointment(&house, &staff.who, id, now).await?;
    if let Some(card) = there {
        return Ok(answer(&house, &Kept::see(format!("/cards/{}", card.id))));
    }
    page(&OpenPage::of(&opening, &house, &staff, &opening.fresh(now)))
}

async fn for_page(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let opening = of_client(&house, &staff.who, id, now).await?;
    page(&OpenPage::of(&opening, &house, &staff, &opening.fresh(now)))
}

async fn open_of(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opening = of_appointment(&house, &staff.who, id, staff.visitor.now.0).await?;
    open(&house, &staff, &opening, form).await
}

async fn open_for(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opening = of_client(&house, &staff.who, id, staff.visitor.now.0).await?;
    open(&house, &staff, &opening, form).await
}

async fn open(house: &House, staff: &Staff, opening: &Opening, form: Form<Typed>) -> Result<Response, Problem> {
    let started = match opening.check(&form.typed, &staff.who, staff.visitor.now.0) {
        Ok(mut start) => {
            if let Some(bottle) = start.card.bottle {
                let mut db = house.store.read().await?;
                let found = adhesives::bottle_and_product(&mut db, bottle).await?;
                start.card.lot = found.map(|(bottle, _)| bottle.lot).unwrap_or_default();
            }
            let (inner, who) = (house.clone(), staff.who.clone());
            house
                .store
                .write(&form.key, move |tx| {
                    let (house, who, start) = (inner.clone(), who.clone(), start.clone());
                    Box::pin(async move {
                        let card = open_store::open(tx, house.store.keys(), &who, &start).await?;
                        Ok(Kept::see(format!("/cards/{}", card.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match started {
        Ok(kept) => Ok(answer(house, &kept)),
        Err(problem) => {
            let notes: Vec<FieldNote> = notes_of(problem)?;
            let view = OpenPage::of(opening, house, staff, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}
