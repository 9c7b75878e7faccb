//! Many artists in many rooms at once: for each the bottle on that room's shelf that comes nearest, and its verdict. Each
//! room is drawn once, and each pair of hands; classes, options and bands belong to the page of one artist.

use crate::adhesives::set_time::Times;

use super::cores::on_every_core;
use super::judge::{HandsTables, NotToday, Question, ShelfDraws, Verdict};

/// One artist in one room.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// Every bottle's verdict, in the order of the room's shelf.
    pub bottles: Vec<(Verdict, Times)>,
    /// The bottle that comes nearest, by its place on the shelf; `None` when none may be used.
    pub nearest: Option<usize>,
}

/// Judges every artist in every room: `asked` gives the question of artist `a` in room `r`, all of one room about the
/// same air, bead, pick-up, liquids and shelf, all of one artist about the same hands. Rows are artists.
///
/// Rooms, then artists, are shared out over the machine's cores; what comes out does not depend on how many there are.
pub fn board<'q>(artists: usize, rooms: usize, asked: impl Fn(usize, usize) -> Question<'q> + Sync) -> Vec<Vec<Cell>> {
    if rooms == 0 {
        return vec![Vec::new(); artists];
    }
    let tables = on_every_core(artists, |artist| HandsTables::of(asked(artist, 0).hands));
    board_by(&tables, rooms, asked)
}

/// As [`board`], by the artists' tables already made.
pub(crate) fn board_by<'q>(
    tables: &[HandsTables],
    rooms: usize,
    asked: impl Fn(usize, usize) -> Question<'q> + Sync,
) -> Vec<Vec<Cell>> {
    if tables.is_empty() {
        return Vec::new();
    }
    let drawn = on_every_core(rooms, |room| ShelfDraws::of(&asked(0, room)));
    on_every_core(tables.len(), |artist| {
        let one = |(room, draws): (usize, &ShelfDraws)| cell(draws, &asked(artist, room), &tables[artist]);
        drawn.iter().enumerate().map(one).collect()
    })
}

/// One artist in a room whose shelf was drawn.
pub(crate) fn cell(draws: &ShelfDraws, q: &Question<'_>, tables: &HandsTables) -> Cell {
    let judged = draws.judge(q, tables);
    let nearest = |fitting: bool| {
        judged
            .iter()
            .enumerate()
            .filter(|(_, b)| b.not_today.is_none() && (!fitting || b.verdict == Verdict::Fits))
            .min_by(|a, b| a.1.outcome.ratio().total_cmp(&b.1.outcome.ratio()))
            .map(|(at, _)| at)
    };
    Cell {
        nearest: nearest(true).or_else(|| nearest(false)),
        bottles: judged.iter().map(|b| (b.verdict, b.set_time)).collect(),
    }
}

/// Mark of a verdict: a disc, a half lozenge, a slit square.
#[must_use]
pub const fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fits => "fit",
        Verdict::NearTooQuick | Verdict::NearTooSlow => "near",
        Verdict::TooQuick | Verdict::TooSlow | Verdict::NotForToday => "stop",
    }
}

/// The word beside the mark, and what is wrong as a clause of its own; empty where nothing is.
#[must_use]
pub const fn word(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Fits => ("fits", ""),
        Verdict::NearTooQuick => ("near", "too quick"),
        Verdict::NearTooSlow => ("near", "too slow"),
        Verdict::TooQuick => ("does not fit", "too quick"),
        Verdict::TooSlow => ("does not fit", "too slow"),
        Verdict::NotForToday => ("not for today", ""),
    }
}

impl From<crate::adhesives::Out> for NotToday {
    fn from(out: crate::adhesives::Out) -> Self {
        use crate::adhesives::Out;
        match out {
            Out::Expired => Self::Expired,
            Out::Lapsed => Self::Lapsed,
            Out::Stopped => Self::Blocked,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::set_time::{Label, Scatter};
    use crate::adhesives::{Air, AirDoubt, Bead, Liquids};
    use crate::advice::judge::{CureClass, Limits, RoomNow, ShelfBottle, Work, judge};
    use crate::artists::Technique;
    use crate::artists::hands::{Hands, Timing};
    use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};

    fn s(value: f64) -> Seconds {
        Seconds::new(value).unwrap()
    }

    #[test]
    fn the_board_says_what_each_page_would_say() {
        let hands: Vec<Hands> = [0.6, 1.1, 2.2]
            .map(|settle| {
                let timings: Vec<Timing> = (0..40)
                    .map(|i| Timing {
                        session: 1 + i / 20,
                        travel: s(1.5),
                        settle: s(settle + 0.02 * f64::from(i % 9)),
                    })
                    .collect();
                Hands::from_timings(&timings)
            })
            .into();
        let bottles: Vec<ShelfBottle> = [(0.5, 1.0), (1.0, 2.0), (3.0, 5.0)]
            .iter()
            .map(|(low, high)| {
                let label = Label::window(s(*low), s(*high), None);
                ShelfBottle::from_tests("x".into(), label.as_ref(), &[], &[], 3.0)
            })
            .collect();
        let any_adhesive = Scatter::of_any_adhesive();
        let classes = [CureClass::new(s(1.0), s(2.0)).unwrap()];
        let airs = [(20.0, 32.0), (24.0, 58.0)];
        let bars = [(0, NotToday::Lapsed)];
        let ask = |artist: usize, room: usize| {
            let (t, h) = airs[room];
            Question {
                hands: &hands[artist],
                room: RoomNow {
                    air: Air { temperature: Celsius::clamped(t), humidity: RelHumidity::clamped(h) },
                    doubt: AirDoubt {
                        temperature: TemperatureDoubt::clamped(0.3),
                        humidity: HumidityDoubt::clamped(2.5),
                    },
                },
                work: Work {
                    technique: Technique::Classic,
                    placements_per_set: 140,
                    bead: Bead::Medium,
                    pick_up: None,
                    liquids: Liquids::NONE,
                },
                classes: &classes,
                any_adhesive: &any_adhesive,
                bottles: &bottles,
                not_today: &bars,
                daily: None,
                limits: Limits::default(),
            }
        };
        let cells = board(3, 2, ask);
        for (artist, row) in cells.iter().enumerate() {
            for (room, cell) in row.iter().enumerate() {
                let page = judge(&ask(artist, room));
                assert_eq!(cell.nearest.map(crate::advice::judge::Subject::Bottle), Some(page.base));
                for (own, of_page) in cell.bottles.iter().zip(&page.bottles) {
                    assert_eq!((own.0, own.1), (of_page.verdict, of_page.set_time));
                }
                assert_eq!(cell.bottles[0].0, Verdict::NotForToday);
            }
        }
    }

    #[test]
    fn a_board_of_nobody_or_of_no_room_is_empty() {
        assert!(board(0, 3, |_, _| unreachable!()).is_empty());
        assert_eq!(board(2, 0, |_, _| unreachable!()), vec![Vec::new(), Vec::new()]);
    }
}
