//! A room's plan with what the change of air does to the set times of the bottles that stand in the room.

use axum::extract::{Query, State};
use axum::response::Response;

use super::in_hand::set_time;
use crate::adhesives::{self, Air, AirDoubt};
use crate::advice::words;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::rooms::{PlanAsked, PlanView, SetTimeEffect, plan};
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::routes::Routes;

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/plan", plan_page)
}

async fn plan_page(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    Query(asked): Query<PlanAsked>,
) -> Result<Response, Problem> {
    let view = PlanView::load(&house, &staff, room, &asked).await?;
    let effect = match view.airs() {
        Some((now, target)) => effect(&house, &staff, room, now, target).await?,
        None => None,
    };
    view.answer(effect)
}

/// A sentence for each bottle in the room that may be used; `None` where none stands.
async fn effect(
    house: &House,
    staff: &Staff,
    room: RoomId,
    now: plan::Air,
    target: plan::Air,
) -> Result<Option<SetTimeEffect>, Problem> {
    let mut db = house.store.read().await?;
    let shelf = adhesives::shelf(&mut db, Some(room), staff.visitor.now.0).await?;
    let air = |of: plan::Air| Air { temperature: of.temperature, humidity: of.humidity };
    let sentences: Vec<String> = shelf
        .iter()
        .filter(|bottle| bottle.out.is_none())
        .map(|bottle| {
            let seconds = |of| words::seconds(set_time(bottle, air(of), AirDoubt::NONE));
            format!("{}: {} becomes {}.", bottle.name, seconds(now), seconds(target))
        })
        .collect();
    let basis = "Best guesses for a medium bead; measured on a practice lash, not on a client.".to_owned();
    Ok((!sentences.is_empty()).then_some(SetTimeEffect { sentences, basis }))
}
