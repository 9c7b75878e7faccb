//! What is told of a session besides its seconds: style, room, adhesive, when. One set of fields for all four ways.

use serde::Deserialize;

use super::{AirThen, Artist, BottleAtHand, BottleInHand, BottlesAt, Session, Source, Style, no_bottles, store};
use crate::artists::entry::Timed;
use crate::base::ids::{ArtistId, PlacementId, RoomId, TimingSessionId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::rooms::asked::air_then;
use crate::rooms::now::air_now;
use crate::rooms::{self, Room, RoomSettings};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, note_fields, text_field};
use crate::web::form::FieldView;
use crate::web::guard::Staff;
use crate::web::studio::Studio;

/// What a timing page is put together from.
pub(super) struct Bed {
    pub(super) studio: Studio,
    pub(super) artist: Artist,
    pub(super) rooms: Vec<Room>,
    pub(super) bottles: Vec<BottleInHand>,
    /// Her newest session: the next one is likely to be in the same room.
    pub(super) last: Option<Session>,
}

impl Bed {
    /// Loads it for her and the owner; everybody else meets what is not there.
    pub(super) async fn load(
        house: &House,
        staff: &Staff,
        id: ArtistId,
        bottles: Option<BottlesAt>,
    ) -> Result<Self, Problem> {
        let mut db = house.store.read().await?;
        let artist = super::one(&mut db, id).await?.filter(|artist| artist.seconds_seen_by(&staff.who));
        let artist = artist.ok_or(Problem::NotHere("artist"))?;
        let bed = Self {
            studio: Studio::load(&mut db).await?,
            rooms: rooms::all(&mut db).await?,
            last: store::newest_session(&mut db, id).await?,
            bottles: Vec::new(),
            artist,
        };
        drop(db);
        let bottles = bottles.unwrap_or(no_bottles)(house, None, staff.visitor.now.0).await?;
        Ok(Self { bottles: bottles.iter().map(BottleAtHand::in_hand).collect(), ..bed })
    }
}

/// The fields as typed.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct TypedAbout {
    pub(super) style: String,
    pub(super) room: String,
    pub(super) with: String,
    pub(super) bottle_name: String,
    /// Milliseconds since 1970, filled in by the page when the timing begins.
    pub(super) at: String,
}

/// The same, checked.
#[derive(Debug, Clone)]
pub(super) struct About {
    pub(super) style: Style,
    room: Option<RoomId>,
    dry: bool,
    bottle: Option<BottleInHand>,
    /// When, as the device wrote it: see `done_at`.
    at: String,
}

const DRY: &str = "dry";
const OTHER: &str = "other";

impl TypedAbout {
    /// As a page shows it first.
    pub(super) fn fresh(bed: &Bed, asked: Option<&str>) -> Self {
        let style = asked.and_then(Style::parse).or_else(|| bed.artist.opens_on());
        let last = bed.last.as_ref().and_then(|session| session.room);
        let room = bed.rooms.iter().find(|room| Some(room.id) == last).or_else(|| bed.rooms.first());
        Self {
            style: style.map(|style| style.key()).unwrap_or_default(),
            room: room.map(|room| room.id.to_string()).unwrap_or_default(),
            with: DRY.to_owned(),
            ..Self::default()
        }
    }

    /// Checks it; mistakes go to the notes.
    pub(super) fn check(&self, bed: &Bed, notes: &mut Notes) -> Option<About> {
        let style = notes.choice("style", Style::parse(&self.style));
        let room = match self.room.as_str() {
            "" => Some(None),
            chosen => {
                let known = bed.rooms.iter().map(|room| room.id).find(|id| id.to_string() == chosen);
                notes.choice("room", known).map(Some)
            }
        };
        let named = if self.bottle_name.trim().is_empty() {
            Some(None)
        } else if self.with != OTHER {
            notes.add("bottle_name", "Choose “another adhesive” above, or empty this.");
            None
        } else {
            notes.line("bottle_name", &self.bottle_name, 60).map(Some)
        };
        let bottle = match self.with.as_str() {
            DRY => Some(None),
            OTHER => named.clone().map(|name| name.map(|name| BottleInHand { id: None, name, predicted_set: None })),
            chosen => {
                let of_shelf = |bottle: &&BottleInHand| bottle.id.is_some_and(|id| id.to_string() == chosen);
                notes.choice("with", bed.bottles.iter().find(of_shelf).cloned()).map(Some)
            }
        };
        let at = self.at.clone();
        let _named = named?;
        Some(About { style: style?, room: room?, dry: self.with == DRY, bottle: bottle?, at })
    }

    /// The fields of the form.
    pub(super) fn fields(&self, bed: &Bed, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut styles = bed.artist.styles.clone();
        styles.extend(Style::parse(&self.style).filter(|style| !bed.artist.styles.contains(style)));
        let styles = styles.into_iter().map(|style| (style.key(), capital(&style.words())));
        let elsewhere = (String::new(), "Elsewhere".to_owned());
        let rooms = bed.rooms.iter().map(|room| (room.id.to_string(), room.name.clone()));
        let bottles = bed.bottles.iter().filter_map(|b| Some((b.id?.to_string(), b.name.clone())));
        let with = std::iter::once((DRY.to_owned(), "Dry, or on practice lashes".to_owned()))
            .chain(bottles)
            .chain([(OTHER.to_owned(), "Another adhesive".to_owned())]);
        let mut fields = vec![
            choice_field("select", "style", "Technique", &self.style, styles),
            choice_field("select", "room", "Room", &self.room, rooms.chain([elsewhere]))
                .hinted("Its newest reading is kept with the session."),
            choice_field("select", "with", "Adhesive", &self.with, with)
                .hinted("Best timed dry: with a slow bottle she waits, and waiting is not settling."),
            text_field("bottle_name", "Which other adhesive", &self.bottle_name).or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

/// Keeps a session; gives where to go.
pub(super) async fn keep(
    house: &House,
    key: &FormKey,
    artist: ArtistId,
    about: About,
    (source, uncertainty_s): (Source, Option<f64>),
    timed: &[Timed],
    bottles: BottlesAt,
) -> Result<Kept, Problem> {
    let now = house.store.clock().now().0;
    let at = done_at(&about.at, now);
    let bottle = predicted(house, &about, at, bottles).await?;
    let session = Session {
        id: TimingSessionId::new(),
        artist,
        style: about.style,
        at,
        source,
        uncertainty_s,
        bottle,
        air: air_near(house, about.room, at).await?,
        room: about.room,
        dry: about.dry,
        entered_by: key.actor.mark(),
        struck: None,
    };
    let placements: Vec<super::Placement> = (1..)
        .zip(timed)
        .map(|(n, timed)| super::Placement {
            id: PlacementId::new(),
            n,
            travel: timed.travel,
            settle: timed.settle,
            struck: timed.struck.then_some(now),
        })
        .collect();
    let see = format!("/hands/{artist}?style={}&told=kept", about.style.key());
    house
        .store
        .write(key, move |tx| {
            let (session, placements, see) = (session.clone(), placements.clone(), see.clone());
            Box::pin(async move {
                store::add_session(tx, &session, &placements).await?;
                Ok(Kept::see(see))
            })
        })
        .await
}

/// The bottle with what is predicted of it in this room at this instant.
async fn predicted(
    house: &House,
    about: &About,
    at: Instant,
    bottles: BottlesAt,
) -> Result<Option<BottleInHand>, Problem> {
    let Some(bottle) = about.bottle.clone() else { return Ok(None) };
    if bottle.id.is_none() || about.room.is_none() {
        return Ok(Some(BottleInHand { predicted_set: None, ..bottle }));
    }
    let there = bottles(house, about.room, at).await?;
    // A bottle that is gone by now: what another room's air would make of it says nothing here.
    let elsewhere = BottleInHand { predicted_set: None, ..bottle.clone() };
    let same = there.iter().find(|other| Some(other.id) == bottle.id);
    Ok(Some(same.map_or(elsewhere, BottleAtHand::in_hand)))
}

/// The air of the room at that time: its newest reading, when it lies near enough in time to say anything.
async fn air_near(house: &House, room: Option<RoomId>, at: Instant) -> Result<Option<AirThen>, Problem> {
    let Some(room) = room else { return Ok(None) };
    let mut db = house.store.read().await?;
    let settings = RoomSettings::load(&mut db).await?;
    // A sitting may have waited on its tablet while the room was read again.
    let air = match air_then(&mut db, room, &settings, at).await? {
        Some(then) => Some(then),
        None => air_now(&mut db, room, &settings, at).await?,
    };
    let Some(air) = air else { return Ok(None) };
    let near = at.since(air.at).abs() <= settings.stale_after();
    Ok(near
        .then_some(AirThen { temperature: air.measured.temperature, humidity: Some(air.measured.humidity.humidity) }))
}
