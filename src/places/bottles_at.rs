//! The bottles of a room with what each is predicted to need there now: what a timing is noted with and held against. The
//! artists' part knows no adhesive; it gets this handed in.

use std::pin::Pin;

use crate::adhesives::{self, Air, AirDoubt, Bead, Conditions, Liquids};
use crate::artists::BottleInHand;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::rooms::{self, RoomSettings};
use crate::web::House;

/// The bottles on a room's shelf, or of the whole house without a room; predicted where the room's air is known, with a
/// medium bead and no liquid.
pub(super) fn bottles_at<'h>(
    house: &'h House,
    room: Option<RoomId>,
    now: Instant,
) -> Pin<Box<dyn Future<Output = Result<Vec<BottleInHand>, Problem>> + Send + 'h>> {
    Box::pin(async move {
        let mut db = house.store.read().await?;
        let shelf = adhesives::shelf(&mut db, room, now).await?;
        let settings = RoomSettings::load(&mut db).await?;
        let airs = rooms::now::airs_now(&mut db, &settings, now).await?;
        let predicted = |bottle: &adhesives::OnShelf| {
            let read = airs.get(&room.or(bottle.room)?)?;
            let measured = &read.measured;
            let air = Air { temperature: measured.temperature, humidity: measured.humidity.humidity };
            let at = Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: bottle.days_open };
            let doubt = AirDoubt { temperature_k: measured.doubt.temperature, humidity_pct: measured.doubt.humidity };
            Seconds::new(bottle.posterior.placement(&at, doubt).quantile(0.5).exp()).ok()
        };
        Ok(shelf
            .iter()
            .map(|bottle| BottleInHand {
                id: Some(bottle.bottle),
                name: bottle.name.clone(),
                predicted_set: predicted(bottle),
            })
            .collect())
    })
}
