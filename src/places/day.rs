//! What the day sheet rests on: every artist in every room, judged at the air now and at yesterday's of the same hour.

use super::advice_asked::{limits, not_today, room_now, shelf_bottle, usual_style};
use super::in_hand::{daily, seen_from};
use super::in_use::Unfit;
use super::whereabouts::Whereabouts;
use crate::adhesives::set_time::Scatter;
use crate::adhesives::{self, Bead, Liquids, OnShelf};
use crate::advice::board::{Cell, board_by, cell};
use crate::advice::cores::on_every_core;
use crate::advice::judge::{
    CureClass, HandsTables, Limits, NotToday, Question, RoomNow, ShelfBottle, ShelfDraws, Work,
};
use crate::advice::kept::{About, Whole};
use crate::advice::settings::AdviceSettings;
use crate::advice::shown::Shown;
use crate::advice::store::{self as kept, Taken};
use crate::artists::hands::Hands;
use crate::artists::{self, Artist, Style};
use crate::base::actor::Who;
use crate::base::ids::{ArtistId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::cards::{self, InUse};
use crate::rooms::now::AirNow;
use crate::rooms::{self, EveryAir, LastDay, Room, TrailPoint};
use crate::store::Db;
use crate::web::House;
use crate::web::studio::Studio;

/// An artist with her usual style and her hands in it.
#[derive(Debug, Clone)]
pub(super) struct Own {
    pub(super) artist: Artist,
    pub(super) style: Style,
    pub(super) hands: Hands,
}

/// A room with what is at hand there and its air, now and a day ago.
#[derive(Debug, Clone)]
pub(super) struct Here {
    pub(super) room: Room,
    pub(super) air: Option<AirNow>,
    pub(super) yesterday: Option<AirNow>,
    /// Its air in the last 24 hours, oldest first.
    pub(super) trail: Vec<TrailPoint>,
    pub(super) shelf: Vec<OnShelf>,
}

/// Everything read for the day sheet.
#[derive(Debug, Clone)]
pub(super) struct Day {
    pub(super) artists: Vec<Own>,
    pub(super) rooms: Vec<Here>,
    pub(super) whereabouts: Whereabouts,
    /// Taken since the day began, oldest first.
    pub(super) taken: Vec<Taken>,
    /// On cards that are open at a bed, the newest first.
    pub(super) cards: Vec<InUse>,
    /// When the day began.
    pub(super) morning: Instant,
    /// Bottles of every room and of the cupboard.
    pub(super) bottles: Vec<OnShelf>,
    /// The hands of everybody in every style she was timed in.
    pub(super) hands: Vec<(ArtistId, Style, Hands)>,
    classes: Vec<CureClass>,
    any_adhesive: Scatter,
    limits: Limits,
}

/// What came of judging it.
#[derive(Debug, Clone)]
pub(super) struct Boards {
    /// Rows are artists, columns are rooms. A room whose air is not known has no cells.
    pub(super) now: Vec<Vec<Option<Cell>>>,
    /// Each artist where she works, in yesterday's air.
    pub(super) yesterday: Vec<Option<Cell>>,
    /// What each artist has in use and does not fit her in the air of now.
    pub(super) unfit: Vec<Vec<Unfit>>,
}

/// Reads it: one pass over each kind of summary.
pub(super) async fn read(
    db: &mut Db,
    studio: &Studio,
    (air, last_day): (&EveryAir, &LastDay),
    now: Instant,
) -> Result<Day, Problem> {
    let hands = artists::all_hands(db).await?;
    let own = |artist: Artist| {
        let style = usual_style(&artist);
        let own = hands.iter().find(|(id, of, _)| *id == artist.id && *of == style);
        Own { hands: own.map_or_else(Hands::untimed, |(_, _, hands)| hands.clone()), style, artist }
    };
    let artists = artists::all(db).await?.into_iter().map(own).collect();
    let (bottles, any_adhesive) = adhesives::shelf_and_pooled(db, None, None, now).await?;
    let all_rooms = rooms::all(db).await?;
    let morning = studio.zone.start_of(studio.zone.day(now));
    let whereabouts = Whereabouts::load(db, &studio.zone, &all_rooms, now).await?;
    let taken = kept::taken_since(db, morning).await?;
    let mut airs = air.now(now)?;
    let mut yesterday = air.then(db, now.plus(-DAY)).await?;
    let here = |room: Room| Here {
        air: airs.remove(&room.id),
        yesterday: yesterday.remove(&room.id),
        trail: air.trail(last_day, room.id),
        shelf: at_hand(room.id, &all_rooms, &bottles, &taken),
        room,
    };
    let rooms = all_rooms.iter().cloned().map(here).collect();
    Ok(Day {
        artists,
        rooms,
        whereabouts,
        taken,
        cards: cards::in_use(db).await?,
        morning,
        bottles,
        hands,
        classes: super::advice_asked::classes(db).await?,
        any_adhesive,
        limits: limits(&AdviceSettings::load(db).await?),
    })
}

/// What is at hand in a room: its own bottles, the cupboard's, and what was taken from elsewhere to be used here today.
fn at_hand(room: RoomId, rooms: &[Room], bottles: &[OnShelf], taken: &[Taken]) -> Vec<OnShelf> {
    let fetched = |bottle: &OnShelf| taken.iter().any(|taken| taken.room == room && taken.bottle == bottle.bottle);
    let near = bottles.iter().filter(|bottle| bottle.room.is_none_or(|at| at == room) || fetched(bottle));
    seen_from(room, rooms, near.cloned().collect())
}

/// Judges it, away from the threads that answer pages.
pub(super) async fn judge(house: &House, day: Day) -> Result<(Day, Boards), Problem> {
    let turn = house.thinking.next().await?;
    tokio::task::spawn_blocking(move || {
        let _turn = turn;
        let boards = day.boards();
        (day, boards)
    })
    .await
    .map_err(Problem::broken)
}

/// A room, or some of its shelf, as the board asks about it.
pub(super) struct Asked<'d> {
    at: usize,
    air: RoomNow,
    shelf: &'d [OnShelf],
    bottles: Vec<ShelfBottle>,
    bars: Vec<(usize, NotToday)>,
    room: RoomId,
}

impl<'d> Asked<'d> {
    /// None where the air is not known.
    fn of(at: usize, here: &'d Here, air: Option<&AirNow>) -> Option<Self> {
        Some(Self::some(at, here, room_now(air?), &here.shelf, Liquids::NONE))
    }

    /// With some of the shelf: no bottle's verdict depends on what stands beside it.
    pub(super) fn some(at: usize, here: &'d Here, air: RoomNow, shelf: &'d [OnShelf], liquids: Liquids) -> Self {
        let bottles = shelf.iter().map(shelf_bottle).collect();
        Self { at, air, shelf, bottles, bars: not_today(shelf, liquids), room: here.room.id }
    }
}

impl Day {
    /// Everything the sheet says of hands and rooms. The tables of a pair of hands are made once for all of it.
    fn boards(&self) -> Boards {
        let tables = on_every_core(self.artists.len(), |artist| HandsTables::of(&self.artists[artist].hands));
        Boards { now: self.board(&tables), yesterday: self.yesterday(&tables), unfit: self.unfit(&tables) }
    }

    fn board(&self, tables: &[HandsTables]) -> Vec<Vec<Option<Cell>>> {
        let asked: Vec<Asked<'_>> =
            (self.rooms.iter().enumerate()).filter_map(|(at, here)| Asked::of(at, here, here.air.as_ref())).collect();
        let cells = board_by(tables, asked.len(), |artist, room| self.question(&self.artists[artist], &asked[room]));
        cells
            .into_iter()
            .map(|row| {
                let mut whole: Vec<Option<Cell>> = vec![None; self.rooms.len()];
                for (cell, asked) in row.into_iter().zip(&asked) {
                    whole[asked.at] = Some(cell);
                }
                whole
            })
            .collect()
    }

    /// Only where each works: nothing else is compared with yesterday.
    fn yesterday(&self, tables: &[HandsTables]) -> Vec<Option<Cell>> {
        let place = |room: RoomId| self.rooms.iter().position(|here| here.room.id == room);
        let works: Vec<Option<usize>> =
            self.artists.iter().map(|own| self.whereabouts.of(&own.artist).and_then(place)).collect();
        let asked: Vec<Option<Asked<'_>>> = (self.rooms.iter().enumerate())
            .map(|(at, here)| works.contains(&Some(at)).then(|| Asked::of(at, here, here.yesterday.as_ref())).flatten())
            .collect();
        let drawn = on_every_core(asked.len(), |at| {
            let anybody = self.artists.first()?;
            asked[at].as_ref().map(|asked| ShelfDraws::of(&self.question(anybody, asked)))
        });
        on_every_core(self.artists.len(), |artist| {
            let at = works[artist]?;
            let (asked, draws) = asked[at].as_ref().zip(drawn[at].as_ref())?;
            Some(cell(draws, &self.question(&self.artists[artist], asked), &tables[artist]))
        })
    }

    pub(super) fn question<'q>(&'q self, own: &'q Own, asked: &'q Asked<'_>) -> Question<'q> {
        Question {
            hands: &own.hands,
            room: asked.air,
            work: Work {
                technique: own.style.technique,
                placements_per_set: own.artist.placements_per_set.clamp(1, 2000),
                bead: Bead::Medium,
                pick_up: None,
                liquids: Liquids::NONE,
            },
            classes: &self.classes,
            any_adhesive: &self.any_adhesive,
            bottles: &asked.bottles,
            not_today: &asked.bars,
            daily: daily(asked.room, asked.shelf),
            limits: self.limits,
        }
    }

    /// The advice that a person's own tile shows, where she works: what counts is said in `src/advice/mod.rs`. `None` without a tile, or
    /// where it names no bottle because none is at hand or the air is not known.
    pub(super) fn shown_to(&self, who: &Who, now: Instant) -> Option<Shown> {
        let own = self.artists.iter().find(|own| own.artist.person == who.id)?;
        let room = self.whereabouts.or_only(&own.artist)?;
        let (at, here) = self.rooms.iter().enumerate().find(|(_, here)| here.room.id == room)?;
        let air = here.air.as_ref()?;
        let asked = Asked::of(at, here, Some(air)).filter(|asked| !asked.bottles.is_empty())?;
        Some(Shown {
            at: now,
            artist: own.artist.id,
            room,
            about: About {
                asked_at: now.iso(),
                artist: own.artist.id.to_string(),
                style: own.style.key(),
                room: (room.to_string(), here.room.name.clone()),
                read_at: Some(air.at.iso()),
                bottles: here.shelf.iter().map(|bottle| bottle.bottle.to_string()).collect(),
                wanted: None,
                near: here.shelf.iter().filter(|bottle| bottle.room == Some(room)).count(),
            },
            question: Whole::of(&self.question(own, &asked)),
            answer: None,
        })
    }
}
