//! Artists and timings of the invented studio, and of tests that need many.

use super::{Artist, Placement, Session, store};
use crate::base::ids::PlacementId;
use crate::base::problem::Problem;
use crate::base::units::Seconds;
use crate::store::{FormKey, Kept};
use crate::web::House;

/// Adds an artist; her person must be there.
pub(crate) async fn seed_artist(house: &House, artist: Artist) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let artist = artist.clone();
            Box::pin(async move {
                store::add_artist(tx, &artist).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Adds a session with these (travel, settle).
pub(crate) async fn seed_session(
    house: &House,
    session: Session,
    placements: &[(Seconds, Seconds)],
) -> Result<(), Problem> {
    let placements = numbered(placements);
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let (session, placements) = (session.clone(), placements.clone());
            Box::pin(async move {
                store::add_session(tx, &session, &placements).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

fn numbered(placements: &[(Seconds, Seconds)]) -> Vec<Placement> {
    (1..)
        .zip(placements)
        .map(|(n, (travel, settle))| Placement {
            id: PlacementId::new(),
            n,
            travel: *travel,
            settle: *settle,
            struck: None,
        })
        .collect()
}
