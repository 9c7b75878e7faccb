//! What the day sheet rests on: every artist in every room, judged at the air now and at yesterday's of the same hour.

use super::advice_asked::{limits, not_today, room_now, shelf_bottle, usual_style};
use super::in_hand::{daily, seen_from};
use crate::adhesives::set_time::Scatter;
use crate::adhesives::{self, Bead, Liquids, OnShelf};
use crate::advice::board::{Cell, board};
use crate::advice::judge::{CureClass, Limits, NotToday, Question, RoomNow, ShelfBottle, Verdict, Work};
use crate::advice::settings::AdviceSettings;
use crate::advice::store::{self as kept, Taken, WorksIn};
use crate::artists::hands::Hands;
use crate::artists::{self, Artist, Style};
use crate::base::ids::{ArtistId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::rooms::now::{AirNow, airs_now};
use crate::rooms::{self, Room, RoomSettings};
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
    pub(super) shelf: Vec<OnShelf>,
}

/// Everything read for the day sheet.
#[derive(Debug, Clone)]
pub(super) struct Day {
    pub(super) artists: Vec<Own>,
    pub(super) rooms: Vec<Here>,
    pub(super) works_in: Vec<WorksIn>,
    /// Taken since the day began, oldest first.
    pub(super) taken: Vec<Taken>,
    /// Bottles of every room and of the cupboard.
    pub(super) bottles: Vec<OnShelf>,
    /// The hands of everybody in every style she was timed in.
    hands: Vec<(ArtistId, Style, Hands)>,
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
    /// What each artist took last today, used as she took it, in the air of now.
    pub(super) taken: Vec<Option<Verdict>>,
}

/// Reads it: one pass over each kind of summary.
pub(super) async fn read(db: &mut Db, studio: &Studio, now: Instant) -> Result<Day, Problem> {
    let settings = RoomSettings::load(db).await?;
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
    let taken = kept::taken_since(db, morning).await?;
    let mut airs = airs_now(db, &settings, now).await?;
    let mut yesterday = rooms::asked::airs_then(db, &settings, now.plus(-DAY)).await?;
    let here = |room: Room| Here {
        air: airs.remove(&room.id),
        yesterday: yesterday.remove(&room.id),
        shelf: at_hand(room.id, &all_rooms, &bottles, &taken),
        room,
    };
    let rooms = all_rooms.iter().cloned().map(here).collect();
    Ok(Day {
        artists,
        rooms,
        works_in: kept::works_in(db, morning).await?,
        taken,
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
        let boards = Boards { now: day.board(), yesterday: day.yesterday(), taken: day.taken_now() };
        (day, boards)
    })
    .await
    .map_err(Problem::broken)
}

/// A room as the board asks about it.
struct Asked<'d> {
    at: usize,
    air: RoomNow,
    bottles: Vec<ShelfBottle>,
    bars: Vec<(usize, NotToday)>,
    here: &'d Here,
}

impl<'d> Asked<'d> {
    /// None where the air is not known.
    fn of((at, here): (usize, &'d Here), air: Option<&AirNow>, liquids: Liquids) -> Option<Self> {
        Some(Self {
            at,
            air: room_now(air?),
            bottles: here.shelf.iter().map(shelf_bottle).collect(),
            bars: not_today(&here.shelf, liquids),
            here,
        })
    }

    /// The same room with one bottle of its shelf: no bottle's verdict depends on what stands beside it.
    fn only(self, bottle: usize) -> Self {
        let bars = self.bars.iter().filter(|(at, _)| *at == bottle).map(|(_, why)| (0, *why)).collect();
        Self { bottles: self.bottles.into_iter().skip(bottle).take(1).collect(), bars, ..self }
    }
}

impl Day {
    fn board(&self) -> Vec<Vec<Option<Cell>>> {
        let asked: Vec<Asked<'_>> = (self.rooms.iter().enumerate())
            .filter_map(|(at, here)| Asked::of((at, here), here.air.as_ref(), Liquids::NONE))
            .collect();
        let cells =
            board(self.artists.len(), asked.len(), |artist, room| self.question(&self.artists[artist], &asked[room]));
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
    fn yesterday(&self) -> Vec<Option<Cell>> {
        let mut cells: Vec<Option<Cell>> = vec![None; self.artists.len()];
        for (at, here) in self.rooms.iter().enumerate() {
            let Some(asked) = Asked::of((at, here), here.yesterday.as_ref(), Liquids::NONE) else { continue };
            let work_here = |artist: &usize| self.room_of(&self.artists[*artist].artist) == Some(here.room.id);
            let who: Vec<usize> = (0..self.artists.len()).filter(work_here).collect();
            let judged = board(who.len(), 1, |artist, _| self.question(&self.artists[who[artist]], &asked));
            for (artist, row) in who.into_iter().zip(judged) {
                cells[artist] = row.into_iter().next();
            }
        }
        cells
    }

    fn taken_now(&self) -> Vec<Option<Verdict>> {
        let newest = |own: &Own| self.taken.iter().rfind(|taken| taken.artist == own.artist.id);
        self.artists.iter().map(|own| self.taken_by(own, newest(own)?)).collect()
    }

    /// With the bead, the pick-up, the liquids and in the style it was taken for: another bead is no drift of the air.
    fn taken_by(&self, own: &Own, taken: &Taken) -> Option<Verdict> {
        let at = self.rooms.iter().position(|here| here.room.id == taken.room)?;
        let here = &self.rooms[at];
        let bottle = here.shelf.iter().position(|bottle| bottle.bottle == taken.bottle)?;
        let asked = Asked::of((at, here), here.air.as_ref(), taken.work.liquids())?.only(bottle);
        let style = Style::parse(&taken.style)?;
        let hands = self.hands.iter().find(|(id, of, _)| *id == own.artist.id && *of == style);
        let hands = hands.map_or_else(Hands::untimed, |(_, _, hands)| hands.clone());
        if hands.placements == 0 {
            return None;
        }
        let own = Own { artist: own.artist.clone(), style, hands };
        let mut question = self.question(&own, &asked);
        question.work.bead = taken.work.bead();
        question.work.pick_up = taken.work.pick_up();
        question.work.liquids = taken.work.liquids();
        Some(board(1, 1, |_, _| question).first()?.first()?.bottles.first()?.0)
    }

    fn question<'q>(&'q self, own: &'q Own, asked: &'q Asked<'_>) -> Question<'q> {
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
            daily: daily(asked.here.room.id, &asked.here.shelf),
            limits: self.limits,
        }
    }

    /// The room an artist works in: as she last said today, or where she last took a bottle today.
    pub(super) fn room_of(&self, artist: &Artist) -> Option<RoomId> {
        let said = self.works_in.iter().find(|works| works.person == artist.person).map(|works| works.room);
        let took = self.taken.iter().rfind(|taken| taken.artist == artist.id).map(|taken| taken.room);
        said.or(took).filter(|room| self.rooms.iter().any(|here| here.room.id == *room))
    }
}
