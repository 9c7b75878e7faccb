//! Who may see whose clearance, and the row in the audit chain that every look at words about health leaves.

use crate::base::actor::{Actor, Role, Who};
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::{self, Client};
use crate::people;
use crate::store::{Db, FormKey, Kept, Tx};
use crate::web::House;

use super::visit_store::visits_of;

/// The client, where this person may see her: her keeper's people, the desk and the owner, and the artist she is booked with.
/// Missing and foreign answer alike.
pub(super) async fn client_for(db: &mut Db, id: ClientId, who: &Who, now: Instant) -> Result<Client, Problem> {
    let client = clients::client(db, id).await?.filter(Client::is_in_use).ok_or(Problem::NotHere("client"))?;
    if clients::may_see(&client, who) || is_booked_with(db, id, who, now).await? {
        Ok(client)
    } else {
        Err(Problem::NotHere("client"))
    }
}

/// Looks once more inside the write that her record is still one: a record put together with another or erased while the write waited
/// takes nothing in, since nobody would find it there. `new` is false for what ends or answers something older, which a restricted
/// record takes too.
///
/// # Errors
/// [`Problem::NotHere`] where it is gone, [`Problem::Clash`] where it is restricted.
pub(super) async fn still_here(tx: &mut Tx, id: ClientId, new: bool) -> Result<(), Problem> {
    let client = clients::client(tx.db(), id).await?.filter(Client::is_in_use).ok_or(Problem::NotHere("client"))?;
    if new { clients::not_restricted(&client) } else { Ok(()) }
}

async fn is_booked_with(db: &mut Db, client: ClientId, who: &Who, now: Instant) -> Result<bool, Problem> {
    if who.role != Role::Artist {
        return Ok(false);
    }
    let visits = visits_of(db, client, now.plus(-DAY)).await?;
    Ok(visits.iter().any(|visit| visit.artist == Some(who.id)))
}

/// True for those who treat: they read results and reasons. The desk reads steps.
pub(super) const fn treats(who: &Who) -> bool {
    clients::reads_health(who)
}

/// Lets only those who treat pass.
pub(super) const fn must_treat(who: &Who) -> Result<(), Problem> {
    if treats(who) {
        Ok(())
    } else {
        Err(Problem::NotYours("An artist or the owner does this: somebody who looks and asks."))
    }
}

/// Writes down that somebody read about a client's health: who, whose, what kind; never what it said.
pub(super) async fn note_look(house: &House, who: &Who, what: &'static str, client: ClientId) -> Result<(), Problem> {
    let key = FormKey::unkeyed(Actor::Person(who.clone()));
    house
        .store
        .write(&key, move |tx| {
            Box::pin(async move {
                tx.audit(what, client, "").await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Names of those who work here.
pub(super) struct Names(Vec<people::Person>);

impl Names {
    pub(super) async fn load(db: &mut Db) -> Result<Self, Problem> {
        people::everyone(db).await.map(Self)
    }

    /// The name of a person.
    pub(super) fn of(&self, id: PersonId) -> String {
        self.0
            .iter()
            .find(|person| person.id == id)
            .map_or_else(|| "somebody who left".to_owned(), |person| person.name.clone())
    }

    /// Her first name, for screens that others can see.
    pub(super) fn first(&self, id: PersonId) -> String {
        let name = self.of(id);
        name.split_whitespace().next().map(str::to_owned).unwrap_or(name)
    }

    /// The name behind an actor's mark.
    pub(super) fn of_mark(&self, mark: &str) -> String {
        let id = mark.strip_prefix("person:").and_then(|id| id.parse().ok());
        id.map_or_else(|| "the house".to_owned(), |id| self.of(id))
    }

    /// Artists and the owner who work here, as choices.
    pub(super) fn at_the_bed(&self) -> impl Iterator<Item = (String, String)> {
        let works =
            |person: &&people::Person| person.left.is_none() && matches!(person.role, Role::Artist | Role::Owner);
        self.0.iter().filter(works).map(|person| (person.id.to_string(), person.name.clone()))
    }

    /// Everybody who works here, as choices.
    pub(super) fn all(&self) -> impl Iterator<Item = (String, String)> {
        self.0.iter().filter(|person| person.left.is_none()).map(|person| (person.id.to_string(), person.name.clone()))
    }
}
