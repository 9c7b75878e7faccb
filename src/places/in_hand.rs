//! Which bottles are at hand in a room, and how quickly each is likely to set there: for advice, timings and the plan.
//!
//! At hand are the bottles that stand in the room and those in the cupboard, which belongs to every room; a bottle of
//! another room is fetched only where somebody names it. What does not stand in the room says so with its name.

use std::pin::Pin;

use super::advice_asked::room_now;
use crate::adhesives::set_time::{Times, times};
use crate::adhesives::{self, Air, AirDoubt, Bead, Conditions, Liquids, OnShelf};
use crate::artists::{BottleAtHand, SetSpread};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::rooms::asked::air_then;
use crate::rooms::{EveryAir, Room, RoomSettings};
use crate::web::House;

/// Every bottle of the house with its predicted set time in the air of a room at that instant, wherever it stands; for
/// `None` in the air of the room it stands in. Without a prediction where nobody read that air within the hour before.
pub(super) fn bottles_at(
    house: &House,
    room: Option<RoomId>,
    at: Instant,
) -> Pin<Box<dyn Future<Output = Result<Vec<BottleAtHand>, Problem>> + Send + '_>> {
    Box::pin(async move {
        let mut db = house.store.read().await?;
        let (here, elsewhere) = match room {
            Some(room) => {
                let settings = RoomSettings::load(&mut db).await?;
                (air_then(&mut db, room, &settings, at).await?, None)
            }
            None => (None, Some(EveryAir::load(&mut db).await?.then(&mut db, at).await?)),
        };
        let shelf = adhesives::shelf(&mut db, None, at).await?;
        let air = |bottle: &OnShelf| match &elsewhere {
            None => here.as_ref(),
            Some(airs) => bottle.room.and_then(|room| airs.get(&room)),
        };
        Ok(shelf
            .iter()
            .map(|bottle| {
                let set = air(bottle).map(room_now).map(|now| {
                    let Times { low, median, high } = set_times(bottle, now.air, now.doubt);
                    SetSpread { low, median, high }
                });
                BottleAtHand {
                    id: bottle.bottle,
                    name: bottle.name.clone(),
                    set,
                    openness: bottle.openness.median(),
                    room: bottle.room,
                    in_use: bottle.in_use,
                }
            })
            .collect())
    })
}

/// The same bottles with names that say where each stands, seen from a room: "Heath", "Heath (cupboard)", "Heath (in
/// Lantern)". Those of the room come first.
pub(super) fn seen_from(room: RoomId, rooms: &[Room], bottles: Vec<OnShelf>) -> Vec<OnShelf> {
    let (here, elsewhere): (Vec<_>, Vec<_>) = bottles.into_iter().partition(|bottle| bottle.room == Some(room));
    let named = |bottle: OnShelf| OnShelf { name: with_place(&bottle.name, bottle.room, rooms), ..bottle };
    here.into_iter().chain(elsewhere.into_iter().map(named)).collect()
}

/// A bottle's name with where it stands; `None` for the cupboard.
pub(super) fn with_place(name: &str, room: Option<RoomId>, rooms: &[Room]) -> String {
    let Some(id) = room else { return format!("{name} (cupboard)") };
    match rooms.iter().find(|room| room.id == id) {
        Some(room) => format!("{name} (in {})", room.name),
        None => format!("{name} (in another room)"),
    }
}

/// The bottle in daily use here, by its place: one of the room, else one in the cupboard.
pub(super) fn daily(room: RoomId, shelf: &[OnShelf]) -> Option<usize> {
    let in_use = |place: Option<RoomId>| shelf.iter().position(|bottle| bottle.in_use && bottle.room == place);
    in_use(Some(room)).or_else(|| in_use(None))
}

/// Best guess of a bottle's set time in some air, with a medium bead and no liquid.
pub(super) fn set_time(bottle: &OnShelf, air: Air, doubt: AirDoubt) -> Seconds {
    set_times(bottle, air, doubt).median
}

fn set_times(bottle: &OnShelf, air: Air, doubt: AirDoubt) -> Times {
    let at =
        Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: bottle.days_open.clamp(0.0, 1000.0) };
    times(&bottle.posterior.placement(&at, doubt))
}
