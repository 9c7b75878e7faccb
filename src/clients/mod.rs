//! Clients: their records, consultations and consents. What they say of their health, and their signatures, are sealed at rest.
//! Knows no adhesive, no patch test and no appointment; never judges whether somebody may be treated.

mod alike;
mod birth;
mod client_form;
mod client_page;
pub mod consents;
pub mod consultation;
pub mod file;
mod file_store;
mod find;
pub mod handed;
mod import_file;
mod import_page;
mod imports;
mod list_page;
pub mod minors;
pub(crate) mod names;
mod pairs;
mod pairs_page;
pub mod photos;
pub mod questions;
mod refill;
mod rest_store;
pub mod rights;
mod rights_store;
pub(crate) mod seed;
pub mod settings;
mod settings_page;
mod store;
pub(crate) mod typed;
mod typed_client;

use jiff::civil::Date;

use crate::base::actor::{Actor, Role, Who};
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::{Db, FormKey, Kept, Tx};
use crate::web::House;
use crate::web::routes::Routes;

pub use consents::{GuardianFacts, Purpose, consent_in_force, guardian, guardian_of};
pub use consultation::{AdviceGiven, GivenBy, HealthAnswers, InForce, health_answers, health_answers_of};
pub use settings::ClientSettings;

/// The topic that rises when anybody's clearance may have changed: health answers, consents, birth dates, tests, reactions, stops. Pages
/// that stay open look again.
pub const DOOR: &str = "door";

/// Whose client she is in law.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Keeper {
    /// The studio's.
    Studio,
    /// A self-employed artist's.
    Artist(PersonId),
}

/// A client's record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Client {
    /// Her id.
    pub id: ClientId,
    /// Her whole name.
    pub name: String,
    /// "Ada L.": for screens that others can see.
    pub short: String,
    /// Her number as written; may be empty.
    pub phone: String,
    /// Her e-mail address; may be empty.
    pub email: String,
    /// Her birth date, where it is known.
    pub born: Option<Date>,
    /// Whose client she is.
    pub keeper: Keeper,
    /// The artists who look after her besides her keeper.
    pub artists: Vec<PersonId>,
    /// Notes without a word of health.
    pub notes: String,
    /// When the record was begun.
    pub created: Instant,
    /// Since when her record is only kept and not used, at her wish.
    pub restricted: Option<Instant>,
    /// The record her history went to.
    pub merged_into: Option<ClientId>,
    /// When her record was erased; what had to stay is listed by privacy.
    pub erased: Option<Instant>,
}

impl Client {
    /// True for a record that is in use: neither erased nor put together with another.
    #[must_use]
    pub const fn is_in_use(&self) -> bool {
        self.erased.is_none() && self.merged_into.is_none()
    }
}

/// "Ada L." of "Ada Maria Lovell": her first name and the first letter of her last.
///
/// ```
/// assert_eq!(stillroom::clients::short_name("Ada Maria Lovell"), "Ada L.");
/// assert_eq!(stillroom::clients::short_name("Ada"), "Ada");
/// ```
#[must_use]
pub fn short_name(name: &str) -> String {
    let mut words = name.split_whitespace();
    let first = words.next().unwrap_or_default();
    match words.next_back().and_then(|last| last.chars().next()) {
        Some(initial) => format!("{first} {}.", initial.to_uppercase()),
        None => first.to_owned(),
    }
}

/// One client, also one who was erased or whose history went to another record.
///
/// # Errors
/// When the database cannot be read.
pub async fn client(db: &mut Db, id: ClientId) -> Result<Option<Client>, Problem> {
    store::client(db, id).await
}

/// Several clients, in no order, also those erased or put together with others; one id twice is one client.
///
/// # Errors
/// When the database cannot be read.
pub async fn several(db: &mut Db, ids: &[ClientId]) -> Result<Vec<Client>, Problem> {
    let mut ids = ids.to_vec();
    ids.sort_unstable();
    ids.dedup();
    store::clients(db, &ids).await
}

/// Clients by what was typed of name, number or address, sorted by name; at most `most`.
///
/// # Errors
/// When the database cannot be read.
pub async fn find(db: &mut Db, typed: &str, most: usize) -> Result<Vec<Client>, Problem> {
    find::find(db, typed, None, most).await
}

/// As [`find()`], among those this person may see.
///
/// # Errors
/// When the database cannot be read.
pub async fn find_for(db: &mut Db, who: &Who, typed: &str, most: usize) -> Result<Vec<Client>, Problem> {
    let only = match who.role {
        Role::Owner | Role::Desk => None,
        Role::Artist => Some(who.id),
        Role::Accountant => return Ok(Vec::new()),
    };
    find::find(db, typed, only, most).await
}

/// What tells a client apart from another of the same name, for lists to choose from.
#[must_use]
pub fn told_apart(client: &Client) -> String {
    list_page::told_apart(client)
}

/// True where this person may see the client: owner and desk all of them, an artist those she keeps or looks after, the accountant
/// none. Who is booked with whom the book adds to it.
#[must_use]
pub fn may_see(client: &Client, who: &Who) -> bool {
    match who.role {
        Role::Owner | Role::Desk => true,
        Role::Artist => client.keeper == Keeper::Artist(who.id) || client.artists.contains(&who.id),
        Role::Accountant => false,
    }
}

/// One artist stands in for another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cover {
    /// For whom.
    pub from: PersonId,
    /// Who does.
    pub to: PersonId,
    /// Until when; `None` for good.
    pub until: Option<Instant>,
}

/// Lets one artist treat the clients of another: those she looks after, and with an end those she keeps as well. Nobody's keeper changes.
///
/// # Errors
/// When the database refuses it.
pub async fn cover(tx: &mut Tx, cover: &Cover) -> Result<(), Problem> {
    store::cover(tx, cover).await
}

/// Lets an artist see a client she is booked with, until then.
///
/// # Errors
/// When the database refuses it.
pub async fn look_after_until(tx: &mut Tx, client: ClientId, artist: PersonId, until: Instant) -> Result<(), Problem> {
    store::look_after_until(tx, client, artist, until).await
}

/// True where this person may read what clients say of their health: those who treat. The desk sees that something is missing.
#[must_use]
pub const fn reads_health(who: &Who) -> bool {
    matches!(who.role, Role::Owner | Role::Artist)
}

/// A client in use whom this person may see; missing and foreign answer alike.
///
/// # Errors
/// [`Problem::NotHere`] otherwise.
pub async fn seen(db: &mut Db, id: ClientId, who: &Who) -> Result<Client, Problem> {
    let client = store::client(db, id).await?.filter(|client| may_see(client, who) && client.is_in_use());
    client.ok_or(Problem::NotHere("client"))
}

/// Lets nothing be done with a record that is restricted.
///
/// # Errors
/// [`Problem::Clash`] while it is.
pub fn not_restricted(client: &Client) -> Result<(), Problem> {
    match client.restricted {
        None => Ok(()),
        Some(_) => Err(Problem::Clash(
            "Her record is restricted at her wish: it is kept and not used.".into(),
            "Who keeps it lifts that, under her rights on her page.".into(),
        )),
    }
}

/// Writes down that somebody read about a client's health: who, whose, which record; never what it said. Before the page is shown: what
/// cannot be written down is not read.
///
/// # Errors
/// When the database does not take it.
pub async fn note_reading(
    house: &House,
    who: &Who,
    client: ClientId,
    what: &'static str,
    record: &str,
) -> Result<(), Problem> {
    let record = record.to_owned();
    let key = FormKey::unkeyed(Actor::Person(who.clone()));
    let noted = house.store.write(&key, move |tx| {
        let record = record.clone();
        Box::pin(async move {
            tx.audit(what, client, &record).await?;
            Ok(Kept::see(""))
        })
    });
    noted.await.map(|_| ())
}

/// Keeps that a client was asked at a visit, at this instant, and that nothing has changed since she answered.
///
/// # Errors
/// When the database refuses it.
pub async fn nothing_changed(tx: &mut Tx, client: ClientId, asked_by: PersonId, at: Instant) -> Result<(), Problem> {
    consultation::store::asked(tx, client, asked_by, consultation::store::Changed::Nothing, at).await
}

/// Lets records that an older program kept be found by whatever this one makes of a name; for the clock. Does something once for each
/// database.
///
/// # Errors
/// When the database cannot be used.
pub async fn refill(house: &House) -> Result<(), Problem> {
    refill::refill(house).await
}

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    list_page::routes()
        .join(client_form::routes())
        .join(pairs_page::routes())
        .join(import_page::routes())
        .join(client_page::routes())
        .join(consultation::routes())
        .join(consents::routes())
        .join(handed::routes())
        .join(photos::routes())
        .join(questions::routes())
        .join(settings_page::routes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::SessionId;

    fn who(role: Role) -> Who {
        Who { id: PersonId::new(), session: SessionId::new(), name: "x".into(), role }
    }

    fn kept_by(keeper: Keeper) -> Client {
        Client {
            id: ClientId::new(),
            name: "Ada Lovell".into(),
            short: short_name("Ada Lovell"),
            phone: String::new(),
            email: String::new(),
            born: None,
            keeper,
            artists: Vec::new(),
            notes: String::new(),
            created: Instant(0),
            restricted: None,
            merged_into: None,
            erased: None,
        }
    }

    #[test]
    fn an_artist_sees_whom_she_keeps_or_looks_after_and_nobody_else() {
        let (ines, tilde) = (who(Role::Artist), who(Role::Artist));
        let hers = kept_by(Keeper::Artist(ines.id));
        assert!(may_see(&hers, &ines) && !may_see(&hers, &tilde));
        let of_studio = Client { artists: vec![tilde.id], ..kept_by(Keeper::Studio) };
        assert!(!may_see(&of_studio, &ines) && may_see(&of_studio, &tilde));
    }

    #[test]
    fn owner_and_desk_see_everybody_and_the_accountant_nobody() {
        let client = kept_by(Keeper::Artist(PersonId::new()));
        assert!(may_see(&client, &who(Role::Owner)) && may_see(&client, &who(Role::Desk)));
        assert!(!may_see(&client, &who(Role::Accountant)));
        assert!(!reads_health(&who(Role::Desk)) && !reads_health(&who(Role::Accountant)));
    }

    #[test]
    fn a_short_name_keeps_one_letter_of_the_last() {
        for (name, short) in [("Ada Maria Lovell", "Ada L."), ("Ada", "Ada"), ("Åse ørsted", "Åse Ø."), ("", "")] {
            assert_eq!(short_name(name), short);
        }
    }
}
