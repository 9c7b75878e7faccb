//! Which bottles could be in hand in a room, and how quickly each is likely to set there: for timings and for the plan.

use std::pin::Pin;

use super::advice_asked::room_now;
use crate::adhesives::set_time::times;
use crate::adhesives::{self, Air, AirDoubt, Bead, Conditions, Liquids, OnShelf};
use crate::artists::BottleInHand;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::rooms::asked::air_then;
use crate::rooms::{self, RoomSettings};
use crate::web::House;

/// The bottles on a room's shelf (in every room for `None`) with their predicted set time in the air of that instant;
/// without a prediction where nobody read the air within the hour before it.
pub(super) fn bottles_at(
    house: &House,
    room: Option<RoomId>,
    at: Instant,
) -> Pin<Box<dyn Future<Output = Result<Vec<BottleInHand>, Problem>> + Send + '_>> {
    Box::pin(async move {
        let mut db = house.store.read().await?;
        let settings = RoomSettings::load(&mut db).await?;
        let mut airs = Vec::new();
        for here in rooms::all(&mut db).await? {
            airs.push((here.id, air_then(&mut db, here.id, &settings, at).await?));
        }
        let shelf = adhesives::shelf(&mut db, room, at).await?;
        Ok(shelf
            .iter()
            .map(|bottle| {
                let air = airs.iter().find(|(id, _)| Some(*id) == bottle.room).and_then(|(_, air)| air.as_ref());
                let predicted_set = air.map(room_now).map(|now| set_time(bottle, now.air, now.doubt));
                BottleInHand { id: Some(bottle.bottle), name: bottle.name.clone(), predicted_set }
            })
            .collect())
    })
}

/// Best guess of a bottle's set time in some air, with a medium bead and no liquid.
pub(super) fn set_time(bottle: &OnShelf, air: Air, doubt: AirDoubt) -> Seconds {
    let at =
        Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: bottle.days_open.clamp(0.0, 1000.0) };
    times(&bottle.posterior.placement(&at, doubt)).median
}
