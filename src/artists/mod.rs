//! Artists and their hands. Knows placements and their seconds. Knows no adhesive, no client, no pay; never ranks people.
//!
//! Which bottle was in hand during a timing is handed in by the caller (`BottlesAt`): this part keeps its name and what
//! was predicted of it, and asks nothing more.

mod about;
mod artist_form;
mod artist_page;
pub mod chart;
pub mod entry;
pub mod hands;
mod list_page;
mod rows_page;
mod seed;
mod session_page;
mod session_row;
mod store;
mod style;
mod timing_page;
mod typed_page;
mod words;

use std::pin::Pin;

use serde::{Deserialize, Serialize};

use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, BottleId, PersonId, PlacementId, RoomId, TimingSessionId};
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity, Seconds};
use crate::people;
use crate::store::Db;
use crate::web::House;
use crate::web::routes::Routes;
use hands::Hands;

pub(crate) use seed::{seed_artist, seed_session};
pub use style::Style;

/// How extensions are put on. Each has its own timings: hands differ between techniques more than between days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Technique {
    /// One extension on one natural lash.
    Classic,
    /// Classic and fans mixed.
    Hybrid,
    /// Fans of a few fine extensions.
    Volume,
    /// Fans of many very fine extensions.
    Mega,
}

impl Technique {
    /// Every technique, in the order pages show them.
    pub const ALL: [Self; 4] = [Self::Classic, Self::Hybrid, Self::Volume, Self::Mega];

    /// The technique with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|technique| technique.word() == word)
    }

    /// True where extensions are put on as fans of a number that is named.
    #[must_use]
    pub const fn has_fans(self) -> bool {
        matches!(self, Self::Volume | Self::Mega)
    }

    /// The word as printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Classic => "classic",
            Self::Hybrid => "hybrid",
            Self::Volume => "volume",
            Self::Mega => "mega",
        }
    }
}

/// How an artist works for the studio. Said on her page; no figure depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Employment {
    /// Employed by the studio.
    Employed,
    /// Self-employed, at a bed of the studio.
    SelfEmployed,
}

impl Employment {
    /// Both, in the order pages show them.
    pub const ALL: [Self; 2] = [Self::Employed, Self::SelfEmployed];

    /// The word kept in the database and shown on pages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Employed => "employed",
            Self::SelfEmployed => "self-employed",
        }
    }

    /// The model with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|model| model.word() == word)
    }
}

/// A person at the bed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Artist {
    /// Her id.
    pub id: ArtistId,
    /// The person she signs in as.
    pub person: PersonId,
    /// Her name.
    pub name: String,
    /// How she works for the studio.
    pub employment: Employment,
    /// Learning under somebody's eyes.
    pub trainee: bool,
    /// What she works in, sorted.
    pub styles: Vec<Style>,
    /// The style a page opens on.
    pub usual: Option<Style>,
    /// Usual placements of a set, 1…2000.
    pub placements_per_set: u32,
}

impl Artist {
    /// The style a page opens on: the usual one, or the first of hers.
    #[must_use]
    pub fn opens_on(&self) -> Option<Style> {
        self.usual.or_else(|| self.styles.first().copied())
    }

    /// Whether this person sees her seconds: she herself and the owner.
    #[must_use]
    pub fn seconds_seen_by(&self, who: &Who) -> bool {
        who.id == self.person || who.role == Role::Owner
    }
}

/// How the times of a session were taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A second person tapped.
    Taps,
    /// A video was stepped through.
    Video,
    /// Typed in.
    Typed,
    /// Pasted, or from a file.
    Rows,
}

impl Source {
    /// Every way.
    pub const ALL: [Self; 4] = [Self::Taps, Self::Video, Self::Typed, Self::Rows];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Taps => "taps",
            Self::Video => "video",
            Self::Typed => "typed",
            Self::Rows => "rows",
        }
    }

    /// The way with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|source| source.word() == word)
    }
}

/// The adhesive of a session, as it was then.
#[derive(Debug, Clone, PartialEq)]
pub struct BottleInHand {
    /// Its id, where it is a bottle of the studio.
    pub id: Option<BottleId>,
    /// Its name.
    pub name: String,
    /// Its predicted set time in that air: the median.
    pub predicted_set: Option<Seconds>,
}

/// The air of a session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirThen {
    /// Temperature.
    pub temperature: Celsius,
    /// Relative humidity, where it was read.
    pub humidity: Option<RelHumidity>,
}

/// A sitting in which placements were timed.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// Its id.
    pub id: TimingSessionId,
    /// Whose hands.
    pub artist: ArtistId,
    /// In which style.
    pub style: Style,
    /// When.
    pub at: Instant,
    /// How the times were taken.
    pub source: Source,
    /// Standard uncertainty of one difference of two instants, s; `None` where nobody can say.
    pub uncertainty_s: Option<f64>,
    /// The adhesive; `None` when dry or not told.
    pub bottle: Option<BottleInHand>,
    /// The air, where a reading near in time was there.
    pub air: Option<AirThen>,
    /// The room.
    pub room: Option<RoomId>,
    /// Without adhesive.
    pub dry: bool,
    /// Who entered it: an actor's mark.
    pub entered_by: String,
    /// When it was struck out as a whole.
    pub struck: Option<Instant>,
}

/// One placement of a session.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// Its id.
    pub id: PlacementId,
    /// Its number in the session, from 1.
    pub n: u32,
    /// Pick-up to contact.
    pub travel: Seconds,
    /// Contact until no longer moved.
    pub settle: Seconds,
    /// When it was struck out.
    pub struck: Option<Instant>,
}

/// How long a bond of a bottle takes in some air: half its bonds are quicker, one in ten is, nine in ten are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetSpread {
    /// One in ten is quicker.
    pub low: Seconds,
    /// Half are quicker.
    pub median: Seconds,
    /// Nine in ten are quicker.
    pub high: Seconds,
}

/// A bottle that could be in hand now.
#[derive(Debug, Clone, PartialEq)]
pub struct BottleAtHand {
    /// Its id.
    pub id: BottleId,
    /// Its name.
    pub name: String,
    /// How long its bonds take in the air asked about; `None` where that was not read.
    pub set: Option<SetSpread>,
    /// How many times its set time a bead of it stays open: the median.
    pub openness: f64,
    /// The room it stands in; `None` in the cupboard.
    pub room: Option<RoomId>,
    /// Whether it is in daily use.
    pub in_use: bool,
}

impl BottleAtHand {
    /// As a session keeps it.
    #[must_use]
    pub fn in_hand(&self) -> BottleInHand {
        BottleInHand { id: Some(self.id), name: self.name.clone(), predicted_set: self.set.map(|set| set.median) }
    }
}

/// Every bottle of the house and what is predicted of it in the air of a room at an instant (of the room it stands in for
/// `None`): handed in by whoever knows adhesives.
pub type BottlesAt = for<'h> fn(
    &'h House,
    Option<RoomId>,
    Instant,
) -> Pin<Box<dyn Future<Output = Result<Vec<BottleAtHand>, Problem>> + Send + 'h>>;

/// Stands in where no adhesives are known: no bottle is offered.
#[must_use]
pub fn no_bottles<'h>(
    _: &'h House,
    _: Option<RoomId>,
    _: Instant,
) -> Pin<Box<dyn Future<Output = Result<Vec<BottleAtHand>, Problem>> + Send + 'h>> {
    Box::pin(async { Ok(Vec::new()) })
}

/// Every door of this part; `bottles` says which adhesive may have been in hand.
#[must_use]
pub fn routes(bottles: BottlesAt) -> Routes {
    list_page::routes()
        .join(artist_form::routes())
        .join(artist_page::routes(bottles))
        .join(session_page::routes())
        .join(timing_page::routes(bottles))
        .join(typed_page::routes(bottles))
        .join(rows_page::routes(bottles))
}

/// Every artist who works here now, sorted by name.
///
/// # Errors
/// When the database cannot be read.
pub async fn all(db: &mut Db) -> Result<Vec<Artist>, Problem> {
    let mut artists = store::artists(db).await?;
    let people = people::everyone(db).await?;
    artists.retain_mut(|artist| {
        let person = people.iter().find(|person| person.id == artist.person).filter(|person| is_at_the_bed(person));
        artist.name = person.map(|person| person.name.clone()).unwrap_or_default();
        person.is_some()
    });
    artists.sort_by_key(|artist| fold(&artist.name));
    Ok(artists)
}

/// The artist with this id, if she works here now.
///
/// # Errors
/// When the database cannot be read.
pub async fn one(db: &mut Db, id: ArtistId) -> Result<Option<Artist>, Problem> {
    Ok(all(db).await?.into_iter().find(|artist| artist.id == id))
}

/// The artist this person is, if she is one.
///
/// # Errors
/// When the database cannot be read.
pub async fn of_person(db: &mut Db, person: PersonId) -> Result<Option<Artist>, Problem> {
    Ok(all(db).await?.into_iter().find(|artist| artist.person == person))
}

/// The kept summary of her hands in one style; the starting guess where nothing was timed.
///
/// # Errors
/// When the database cannot be read.
pub async fn hands(db: &mut Db, artist: ArtistId, style: Style) -> Result<Hands, Problem> {
    Ok(store::kept(db, artist, style).await?.map_or_else(Hands::untimed, |kept| kept.hands))
}

/// Every kept summary, in one statement.
///
/// # Errors
/// When the database cannot be read.
pub async fn all_hands(db: &mut Db) -> Result<Vec<(ArtistId, Style, Hands)>, Problem> {
    let kept = store::all_kept(db, None).await?;
    Ok(kept.into_iter().map(|(artist, style, kept)| (artist, style, kept.hands)).collect())
}

/// Owners and artists may work at the bed.
fn is_at_the_bed(person: &people::Person) -> bool {
    person.left.is_none() && matches!(person.role, Role::Owner | Role::Artist)
}
