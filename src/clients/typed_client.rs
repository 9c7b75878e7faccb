//! What is typed of a client's record, and its check.

use jiff::civil::Date;
use serde::Deserialize;

use super::birth::TypedBirth;
use super::names::Names;
use super::{Client, Keeper, rights, short_name, store};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::Instant;
use crate::web::House;
use crate::web::checks::Notes;
use crate::web::studio::Studio;

// Fields that a page leaves out, and ticks that are not set, are not sent.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct TypedClient {
    pub(super) name: String,
    pub(super) phone: String,
    pub(super) email: String,
    pub(super) born_day: String,
    pub(super) born_month: String,
    pub(super) born_year: String,
    pub(super) keeper: String,
    pub(super) notes: String,
    /// "yes": somebody looked at those alike and says that this is another person.
    pub(super) another: String,
    /// Where the desk was going when it found that she is not on record: "walk-in" or "visits/new".
    pub(super) then: String,
    /// Names the record as the page showed it: what somebody else changed meanwhile is not undone unseen.
    pub(super) shown: String,
}

pub(super) const STUDIO: &str = "studio";

impl TypedClient {
    pub(super) fn of(client: &Client) -> Self {
        let born = TypedBirth::of(client.born);
        Self {
            name: client.name.clone(),
            phone: client.phone.clone(),
            email: client.email.clone(),
            born_day: born.day,
            born_month: born.month,
            born_year: born.year,
            keeper: keeper_word(client.keeper),
            notes: client.notes.clone(),
            another: String::new(),
            then: String::new(),
            shown: String::new(),
        }
    }

    pub(super) fn birth(&self) -> TypedBirth {
        TypedBirth { day: self.born_day.clone(), month: self.born_month.clone(), year: self.born_year.clone() }
    }

    /// `before` is the record as it was; without the right to change the keeper it stays what it was.
    pub(super) fn check(&self, id: ClientId, about: &About, before: Option<&Client>) -> Result<Client, Problem> {
        let mut notes = Notes::default();
        let name = notes.line("name", &self.name, 120);
        let phone = check_phone(&mut notes, &self.phone);
        let email = check_email(&mut notes, &self.email);
        let born = self.birth().check(&mut notes, about.today);
        let kept = text::paragraphs(&self.notes, 4000).map_err(|bad| notes.add("notes", bad.to_string())).ok();
        let keeper = match before {
            Some(before) if !about.may_change_keeper => Some(before.keeper),
            _ => {
                let offered = about.keepers.iter().find(|(word, _)| *word == self.keeper);
                notes.choice("keeper", offered.and_then(|(word, _)| keeper_from(word)))
            }
        };
        let client = (|| {
            let name = name?;
            Some(Client {
                id,
                short: short_name(&name),
                name,
                phone: phone?,
                email: email?,
                born: born?,
                keeper: keeper?,
                artists: Vec::new(),
                notes: kept?,
                created: about.now,
                restricted: None,
                merged_into: None,
                erased: None,
            })
        })();
        notes.settle(client)
    }
}

pub(super) fn keeper_word(keeper: Keeper) -> String {
    store::keeper_id(keeper).unwrap_or_else(|| STUDIO.to_owned())
}

fn keeper_from(word: &str) -> Option<Keeper> {
    if word == STUDIO { Some(Keeper::Studio) } else { word.parse().ok().map(Keeper::Artist) }
}

/// A number may stay empty; what is typed must hold digits enough for one.
pub(super) fn check_phone(notes: &mut Notes, typed: &str) -> Option<String> {
    if typed.trim().is_empty() {
        return Some(String::new());
    }
    let line = notes.line("phone", typed, 40)?;
    let digits = line.chars().filter(char::is_ascii_digit).count();
    if (6..=20).contains(&digits) && line.chars().all(|c| c.is_ascii_digit() || " +-/().".contains(c)) {
        return Some(line);
    }
    notes.add("phone", "Type a number of 6 to 20 digits; spaces and + - / ( ) are read.");
    None
}

/// An address may stay empty; what is typed must have one @ with something on both sides.
pub(super) fn check_email(notes: &mut Notes, typed: &str) -> Option<String> {
    if typed.trim().is_empty() {
        return Some(String::new());
    }
    let line = notes.line("email", typed, 200)?;
    let whole = line.split_once('@').is_some_and(|(name, host)| {
        !name.is_empty() && host.contains('.') && !host.contains('@') && !host.starts_with('.') && !host.ends_with('.')
    });
    if whole && !line.contains(char::is_whitespace) {
        return Some(line);
    }
    notes.add("email", "Type an address such as ada@example.org.");
    None
}

/// What the form needs to know besides what was typed.
pub(super) struct About {
    pub(super) studio: Studio,
    today: Date,
    now: Instant,
    /// The keepers offered: word and name.
    pub(super) keepers: Vec<(String, String)>,
    pub(super) may_change_keeper: bool,
}

impl About {
    /// An artist begins records of the studio and of her own. Whose client she is changes only who answers for the record now: the keeper
    /// may export and erase it, so nobody makes herself the keeper of another's.
    pub(super) async fn load(house: &House, who: &Who, now: Instant, before: Option<&Client>) -> Result<Self, Problem> {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let names = Names::load(&mut db).await?;
        let own = |id: &PersonId| who.role != Role::Artist || *id == who.id;
        let may_change_keeper = before.is_none_or(|client| rights::may_use(client, who, &names));
        let artists = names.artists().filter(|(id, _)| own(id)).map(|(id, name)| (id.to_string(), name));
        Ok(Self {
            today: studio.zone.day(now),
            studio,
            now,
            keepers: std::iter::once((STUDIO.to_owned(), "the studio".to_owned())).chain(artists).collect(),
            may_change_keeper,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_addresses_may_be_missing_but_not_broken() {
        let phone = |typed: &str| check_phone(&mut Notes::default(), typed);
        assert_eq!(phone(" "), Some(String::new()));
        assert_eq!(phone("+45 (20) 30-40/50"), Some("+45 (20) 30-40/50".to_owned()));
        assert_eq!((phone("12345"), phone("call Ada"), phone("20304050 x2")), (None, None, None));
        let email = |typed: &str| check_email(&mut Notes::default(), typed);
        assert_eq!(email("ada@example.org"), Some("ada@example.org".to_owned()));
        for wrong in ["ada", "ada@", "@example.org", "ada@example", "a da@example.org", "a@b@c.org", "ada@.org"] {
            assert_eq!(email(wrong), None, "{wrong}");
        }
    }
}
