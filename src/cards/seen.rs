//! Who may see which card, names beside them, and the audit row a look leaves.

use super::card::{Card, Whole};
use super::settings::CardSettings;
use super::store;
use crate::adhesives;
use crate::artists::{self, Artist};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, BottleId, CardId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::clients::{self, Client};
use crate::people::{self, Person};
use crate::rooms::{self, Room};
use crate::store::Db;
use crate::store::keys::Keys;
use crate::web::studio::Studio;

/// That something else stands there by now, told inside the write.
pub(super) fn moved() -> Problem {
    Problem::Clash(
        "This was changed elsewhere since you opened it.".to_owned(),
        "Open it again, look at what stands there now, and send yours in its place or leave it.".to_owned(),
    )
}

/// The same as lines before the form that comes back.
pub(super) fn moved_lines(now: Vec<String>) -> Vec<String> {
    let first =
        "This was changed elsewhere since you opened it. Nothing was saved; what you typed is still here.".to_owned();
    let last = "Send yours in its place, or go back to the card and leave what stands there.".to_owned();
    let stands = now.into_iter().map(|line| format!("Stands there now: {line}."));
    std::iter::once(first).chain(stands).chain([last]).collect()
}

/// What every page of cards needs to speak.
pub(super) struct Around {
    pub(super) studio: Studio,
    pub(super) settings: CardSettings,
    pub(super) artists: Vec<Artist>,
    pub(super) people: Vec<Person>,
    pub(super) rooms: Vec<Room>,
}

impl Around {
    pub(super) async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self {
            studio: Studio::load(db).await?,
            settings: CardSettings::load(db).await?,
            artists: artists::all(db).await?,
            people: people::everyone(db).await?,
            rooms: rooms::all(db).await?,
        })
    }

    pub(super) fn artist(&self, id: ArtistId) -> Option<&Artist> {
        self.artists.iter().find(|artist| artist.id == id)
    }

    /// The artist this person is.
    pub(super) fn own(&self, who: &Who) -> Option<&Artist> {
        self.artists.iter().find(|artist| artist.person == who.id)
    }

    pub(super) fn artist_name(&self, id: ArtistId) -> &str {
        self.artist(id).map_or("a former colleague", |artist| artist.name.as_str())
    }

    pub(super) fn person_name(&self, id: PersonId) -> &str {
        self.people.iter().find(|person| person.id == id).map_or("somebody who left", |person| person.name.as_str())
    }

    /// The name behind an actor's mark.
    pub(super) fn name_of_mark(&self, mark: &str) -> &str {
        let id = mark.strip_prefix("person:").and_then(|id| id.parse().ok());
        id.map_or("the house", |id| self.person_name(id))
    }

    pub(super) fn room_name(&self, id: crate::base::ids::RoomId) -> &str {
        self.rooms.iter().find(|room| room.id == id).map_or("a former room", |room| room.name.as_str())
    }

    /// Artists and the owner who work here and are not learning themselves, but for one person: they may look after a trainee, or count.
    pub(super) fn beside(&self, except: PersonId) -> impl Iterator<Item = (String, String)> {
        let learns = |id: PersonId| self.artists.iter().any(|artist| artist.person == id && artist.trainee);
        let may = move |person: &&Person| {
            person.left.is_none()
                && matches!(person.role, Role::Artist | Role::Owner)
                && person.id != except
                && !learns(person.id)
        };
        self.people.iter().filter(may).map(|person| (person.id.to_string(), person.name.clone()))
    }
}

/// Lets only those who treat pass: cards tell of health.
pub(super) const fn must_treat(who: &Who) -> Result<(), Problem> {
    if clients::reads_health(who) { Ok(()) } else { Err(Problem::NotYours("An artist or the owner opens cards.")) }
}

/// A card with its client, for those who may see it: the owner, whoever treated her, whoever supervised, and artists who see her record.
/// Missing and foreign answer alike.
pub(super) async fn card_for(db: &mut Db, keys: &Keys, id: CardId, who: &Who) -> Result<(Whole, Client), Problem> {
    must_treat(who)?;
    let whole = store::whole(db, keys, id).await?.ok_or(Problem::NotHere("card"))?;
    let client = clients::client(db, whole.card.client).await?.filter(|client| client.erased.is_none());
    let client = client.ok_or(Problem::NotHere("card"))?;
    let treats = artists::of_person(db, who.id).await?.is_some_and(|artist| artist.id == whole.card.artist);
    let supervises = whole.card.supervisor == Some(who.id);
    if treats || supervises || clients::may_see(&client, who) {
        Ok((whole, client))
    } else {
        Err(Problem::NotHere("card"))
    }
}

/// As [`card_for`], for those who work on it: whoever treats her, her supervisor, the owner.
pub(super) async fn work_for(db: &mut Db, keys: &Keys, id: CardId, who: &Who) -> Result<(Whole, Client), Problem> {
    let (whole, client) = card_for(db, keys, id, who).await?;
    let treats = artists::of_person(db, who.id).await?.is_some_and(|artist| artist.id == whole.card.artist);
    if treats || whole.card.supervisor == Some(who.id) || who.role == Role::Owner {
        Ok((whole, client))
    } else {
        Err(Problem::NotYours("Whoever treats her writes on her card; the owner may, too."))
    }
}

/// As [`work_for`], and only while the card is open.
pub(super) async fn open_for(db: &mut Db, keys: &Keys, id: CardId, who: &Who) -> Result<(Whole, Client), Problem> {
    let (whole, client) = work_for(db, keys, id, who).await?;
    still_open(&whole.card)?;
    Ok((whole, client))
}

/// Looks once more inside the write.
pub(super) async fn still_open_in(db: &mut Db, id: CardId) -> Result<Card, Problem> {
    let card = store::one(db, id).await?.ok_or(Problem::NotHere("card"))?;
    still_open(&card)?;
    Ok(card)
}

fn still_open(card: &Card) -> Result<(), Problem> {
    if card.closed.is_none() {
        Ok(())
    } else {
        Err(Problem::Clash(
            "This card is closed.".to_owned(),
            "Open it and correct it there; the version before stays readable.".to_owned(),
        ))
    }
}

/// What the lot a bottle bore at an instant was put right to since: "; the lot was put right to H-418 on 3 Feb"; empty where it was not.
pub(super) async fn put_right_since(
    db: &mut Db,
    bottle: Option<BottleId>,
    (lot, at): (&str, Instant),
    zone: &Zone,
    now: Instant,
) -> Result<String, Problem> {
    let Some(bottle) = bottle else { return Ok(String::new()) };
    let corrected = adhesives::corrected_lots_of(db, bottle).await?;
    let steps: Vec<String> = corrected
        .became(lot, at)
        .into_iter()
        .flatten()
        .map(|(lot, at)| format!("to {} on {}", if lot.is_empty() { "none" } else { lot }, zone.date(at, now)))
        .collect();
    Ok(if steps.is_empty() { String::new() } else { format!("; the lot was put right {}", steps.join(", ")) })
}

/// "Heath, lot H-417".
pub(super) async fn bottle_words(db: &mut Db, bottle: Option<BottleId>, lot: &str) -> Result<String, Problem> {
    let Some(id) = bottle else { return Ok(String::new()) };
    let name = adhesives::bottle_and_product(db, id).await?.map(|(_, product)| product.name);
    let name = name.unwrap_or_else(|| "a bottle".to_owned());
    Ok(if lot.is_empty() { format!("{name}, no lot printed") } else { format!("{name}, lot {lot}") })
}
