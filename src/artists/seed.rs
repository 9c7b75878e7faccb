//! Artists and timings of the invented studio, and of tests that need many.

use super::hands::Timing;
use super::{Artist, Placement, Session, Source, Style, store};
use crate::base::ids::{ArtistId, PlacementId, TimingSessionId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
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

/// Adds dry, typed sessions from timings: one for each of their session numbers, a day apart, the last at `newest`.
pub(crate) async fn seed_timings(
    house: &House,
    artist: ArtistId,
    style: Style,
    newest: Instant,
    timings: &[Timing],
) -> Result<(), Problem> {
    let mut numbers: Vec<u32> = timings.iter().map(|timing| timing.session).collect();
    numbers.sort_unstable();
    numbers.dedup();
    for (back, number) in numbers.iter().rev().enumerate() {
        let of_session = timings.iter().filter(|timing| timing.session == *number);
        let placements: Vec<_> = of_session.map(|timing| (timing.travel, timing.settle)).collect();
        let session = Session {
            id: TimingSessionId::new(),
            artist,
            style,
            at: newest.plus(-(back as i64) * crate::base::time::DAY),
            source: Source::Typed,
            uncertainty_s: None,
            bottle: None,
            air: None,
            room: None,
            dry: true,
            entered_by: "house".to_owned(),
            struck: None,
        };
        seed_session(house, session, &placements).await?;
    }
    Ok(())
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
