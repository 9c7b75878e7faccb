//! Appointments that go over to a colleague, because their artist is away or leaves: those at whose time the colleague works and is free.
//! The others stay where they are, under the name they were booked with, and the diary shows them there.

use super::appointment::{Change, State};
use super::around::Around;
use super::booking::{finish, is_open};
use super::slots::Span;
use super::{expecting, store};
use crate::artists;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Tx;

/// Hands over what is booked with a person from now on, until an instant (exclusive) or for good. Told after clearance's own list was
/// handed over: of what stays, clearance is told again with whom it is.
///
/// # Errors
/// When the database refuses it.
pub async fn hand_over(tx: &mut Tx, from: PersonId, to: PersonId, until: Option<Instant>) -> Result<(), Problem> {
    let Some(hers) = artists::of_person(tx.db(), from).await? else { return Ok(()) };
    let other = artists::of_person(tx.db(), to).await?;
    let around = Around::load(tx.db()).await?;
    let span = Span::new(tx.now.0, until.unwrap_or(Instant(i64::MAX)));
    let reason = format!("taken over from {}", around.first_name(hers.id));
    for before in store::of_artist(tx.db(), hers.id, span).await? {
        if before.state != State::Booked || before.when.visit.from < span.from {
            continue;
        }
        let free = match &other {
            Some(other) => {
                let taken = store::in_the_way(tx, before.when.busy, before.id).await?;
                !taken.iter().any(|own| own.artist == other.id)
                    && is_open(tx, other.id, before.when.visit, &around.studio.zone).await?
            }
            None => false,
        };
        match &other {
            Some(other) if free => {
                let (artist, version, changed) = (other.id, before.version + 1, tx.now.0);
                let moved = super::Appointment { artist, version, changed, ..before };
                finish(tx, &moved, &reason, Change::Moved).await?;
            }
            _ => expecting::tell(tx, &before).await?,
        }
    }
    Ok(())
}
