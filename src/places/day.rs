//! What the day sheet rests on: every artist in every room, judged at the air now and at yesterday's of the same hour.

use super::advice_asked::{limits, not_today, room_now, shelf_bottle, usual_style};
use crate::adhesives::set_time::Scatter;
use crate::adhesives::{self, Bead, Liquids, OnShelf};
use crate::advice::board::{Cell, board};
use crate::advice::judge::{CureClass, Limits, NotToday, Question, RoomNow, ShelfBottle, Work};
use crate::advice::settings::AdviceSettings;
use crate::advice::store::{self as taken, Taken, WorksIn};
use crate::artists::hands::Hands;
use crate::artists::{self, Artist, Style};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::rooms::now::{AirNow, air_now};
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

/// A room with its shelf and its air, now and a day ago.
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
    classes: Vec<CureClass>,
    any_adhesive: Scatter,
    limits: Limits,
}

/// The two boards: rows are artists, columns are rooms. A room whose air is not known has no cells.
#[derive(Debug, Clone)]
pub(super) struct Boards {
    pub(super) now: Vec<Vec<Option<Cell>>>,
    pub(super) yesterday: Vec<Vec<Option<Cell>>>,
}

/// Reads it: one pass over each kind of summary.
pub(super) async fn read(db: &mut Db, studio: &Studio, now: Instant) -> Result<Day, Problem> {
    let settings = RoomSettings::load(db).await?;
    let kept = artists::all_hands(db).await?;
    let own = |artist: Artist| {
        let style = usual_style(&artist);
        let hands = kept.iter().find(|(id, of, _)| *id == artist.id && *of == style);
        Own { hands: hands.map_or_else(Hands::untimed, |(_, _, hands)| hands.clone()), style, artist }
    };
    let artists = artists::all(db).await?.into_iter().map(own).collect();
    let bottles = adhesives::shelf(db, None, now).await?;
    let mut rooms = Vec::new();
    for room in rooms::all(db).await? {
        rooms.push(Here {
            air: air_now(db, room.id, &settings, now).await?,
            yesterday: rooms::asked::air_then(db, room.id, &settings, now.plus(-DAY)).await?,
            shelf: bottles.iter().filter(|bottle| bottle.room == Some(room.id)).cloned().collect(),
            room,
        });
    }
    Ok(Day {
        artists,
        rooms,
        works_in: taken::works_in(db).await?,
        taken: taken::taken_since(db, studio.zone.start_of(studio.zone.day(now))).await?,
        bottles,
        classes: super::advice_asked::classes(db).await?,
        any_adhesive: adhesives::pooled(db).await?,
        limits: limits(&AdviceSettings::load(db).await?),
    })
}

/// Judges it, away from the threads that answer pages.
pub(super) async fn judge(house: &House, day: Day) -> Result<(Day, Boards), Problem> {
    let turn = house.thinking.next().await?;
    tokio::task::spawn_blocking(move || {
        let _turn = turn;
        let boards =
            Boards { now: day.board(|here| here.air.as_ref()), yesterday: day.board(|here| here.yesterday.as_ref()) };
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

impl Day {
    fn board(&self, air: impl Fn(&Here) -> Option<&AirNow>) -> Vec<Vec<Option<Cell>>> {
        let asked: Vec<Asked<'_>> = self
            .rooms
            .iter()
            .enumerate()
            .filter_map(|(at, here)| {
                Some(Asked {
                    at,
                    air: room_now(air(here)?),
                    bottles: here.shelf.iter().map(shelf_bottle).collect(),
                    bars: not_today(&here.shelf, Liquids::NONE),
                    here,
                })
            })
            .collect();
        let cells = board(self.artists.len(), asked.len(), |artist, room| self.question(artist, &asked[room]));
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

    fn question<'q>(&'q self, artist: usize, asked: &'q Asked<'_>) -> Question<'q> {
        let own = &self.artists[artist];
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
            daily: asked.here.shelf.iter().position(|bottle| bottle.in_use),
            limits: self.limits,
        }
    }

    /// The room an artist works in: as she last said, or where she last took a bottle today.
    pub(super) fn room_of(&self, artist: &Artist) -> Option<RoomId> {
        let said = self.works_in.iter().find(|works| works.person == artist.person).map(|works| works.room);
        let took = self.taken.iter().rfind(|taken| taken.artist == artist.id).map(|taken| taken.room);
        said.or(took).filter(|room| self.rooms.iter().any(|here| here.room.id == *room))
    }
}
