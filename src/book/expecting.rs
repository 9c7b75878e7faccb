//! Whom clearance expects for what is booked: told in the write that books, so that the book and the list of those who are not
//! cleared never differ. An appointment and the visit expected for it bear one id.

use super::appointment::{Appointment, State};
use super::plan_store;
use super::service::VisitKind;
use crate::artists;
use crate::base::ids::{ArtistId, ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clearance::{self, Expected};
use crate::store::Tx;

/// What clearance judges of a visit; nothing for a talk, which anybody may have.
#[must_use]
pub const fn judged_as(kind: VisitKind) -> Option<clearance::VisitKind> {
    match kind {
        VisitKind::FullSet | VisitKind::PartialSet => Some(clearance::VisitKind::Set),
        VisitKind::Infill | VisitKind::MiniInfill | VisitKind::Correction | VisitKind::OtherInfill => {
            Some(clearance::VisitKind::Infill)
        }
        VisitKind::Removal | VisitKind::OtherRemoval => Some(clearance::VisitKind::Removal),
        VisitKind::PatchTest => Some(clearance::VisitKind::Test),
        VisitKind::Other => Some(clearance::VisitKind::Other),
        VisitKind::Consultation => None,
    }
}

/// A visit of a client as clearance knows it. `booked` is the appointment's id.
pub(super) fn visit(
    booked: crate::base::ids::AppointmentId,
    client: ClientId,
    kind: VisitKind,
    at: Instant,
    artist: Option<PersonId>,
) -> Option<Expected> {
    Some(Expected {
        id: booked.into(),
        client,
        at,
        kind: judged_as(kind)?,
        artist,
        products: Vec::new(),
        liquids: Vec::new(),
    })
}

/// Tells clearance that a client is expected for an appointment as it now is, or no longer.
pub(super) async fn tell(tx: &mut Tx, appointment: &Appointment) -> Result<(), Problem> {
    match expected(tx, appointment).await? {
        Some(visit) => clearance::expect_visit(tx, &visit).await,
        None => match clearance::no_longer_expected(tx, appointment.id.into()).await {
            // Nobody was expected for it, or she came and was taken off the list.
            Err(Problem::NotHere(_)) => Ok(()),
            other => other,
        },
    }
}

async fn expected(tx: &mut Tx, appointment: &Appointment) -> Result<Option<Expected>, Problem> {
    let (State::Booked, Some(client)) = (appointment.state, appointment.booked.client) else { return Ok(None) };
    let services = plan_store::services(tx.db()).await?;
    let kind = services.iter().find(|service| service.id == appointment.service).map(|service| service.kind);
    let artist = person(tx, appointment.artist).await?;
    Ok(kind.and_then(|kind| visit(appointment.id, client, kind, appointment.when.visit.from, artist)))
}

async fn person(tx: &mut Tx, artist: ArtistId) -> Result<Option<PersonId>, Problem> {
    Ok(artists::one(tx.db(), artist).await?.map(|artist| artist.person))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everybody_is_expected_but_for_a_talk() {
        for kind in VisitKind::ALL {
            assert_eq!(judged_as(kind).is_none(), kind == VisitKind::Consultation, "{kind:?}");
        }
    }

    #[test]
    fn only_what_takes_lashes_off_is_judged_as_a_removal() {
        let removals =
            VisitKind::ALL.into_iter().filter(|kind| judged_as(*kind) == Some(clearance::VisitKind::Removal));
        assert_eq!(removals.collect::<Vec<_>>(), [VisitKind::Removal, VisitKind::OtherRemoval]);
    }
}
