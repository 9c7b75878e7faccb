//! The day sheet in words: the board, what is in use and does not fit, what changed since yesterday, what waits. Pure, from
//! what was read and judged.

use super::advice_asked::{room_now, tested};
use super::day::{Boards, Day, Own};
use super::in_use::{Unfit, Why};
use crate::adhesives::Lapse;
use crate::advice::board::{Cell, mark, word};
use crate::advice::judge::Verdict;
use crate::advice::reasons::never_tested;
use crate::advice::words;
use crate::artists::Artist;
use crate::base::actor::{Role, Who};
use crate::base::number::DecimalMark;
use crate::rooms::asked::CheckDue;
use crate::web::House;
use crate::web::studio::Studio;

/// The board as the page shows it.
pub(super) struct BoardView {
    pub(super) rooms: Vec<String>,
    pub(super) rows: Vec<BoardRow>,
}

/// One artist.
pub(super) struct BoardRow {
    pub(super) name: String,
    pub(super) style: String,
    pub(super) cells: Vec<CellView>,
}

/// One artist in one room.
pub(super) struct CellView {
    pub(super) href: String,
    pub(super) mark: &'static str,
    pub(super) word: &'static str,
    /// "Heath", or with its set time for those who may see seconds.
    pub(super) bottle: String,
    pub(super) clause: String,
    pub(super) here: bool,
}

/// A sentence with one action.
pub(super) struct Line {
    pub(super) mark: &'static str,
    pub(super) strong: String,
    pub(super) rest: String,
    pub(super) href: String,
    pub(super) action: String,
}

/// A line on a bottle in use that does not fit.
pub(super) struct Unfitting {
    pub(super) line: Line,
    /// The air has left its band: that is told to whoever has the page open, and stands first.
    pub(super) drifted: bool,
}

/// The board.
pub(super) fn board_view(house: &House, who: &Who, day: &Day, boards: &Boards, studio: &Studio) -> BoardView {
    let rows = day.artists.iter().zip(&boards.now).map(|(own, cells)| {
        let seconds = own.artist.seconds_seen_by(who).then_some(studio.decimal);
        let works = day.whereabouts.of(&own.artist);
        BoardRow {
            name: own.artist.name.clone(),
            style: own.style.words(),
            cells: day
                .rooms
                .iter()
                .zip(cells)
                .map(|(here, cell)| {
                    let path =
                        format!("/rooms/{}/advice?artist={}&style={}", here.room.id, own.artist.id, own.style.key());
                    let timed = own.hands.placements > 0;
                    cell_view(&house.url(&path), cell.as_ref(), here, seconds, timed, works == Some(here.room.id))
                })
                .collect(),
        }
    });
    BoardView { rooms: day.rooms.iter().map(|here| here.room.name.clone()).collect(), rows: rows.collect() }
}

fn cell_view(
    href: &str,
    cell: Option<&Cell>,
    at: &super::day::Here,
    seconds: Option<DecimalMark>,
    timed: bool,
    here: bool,
) -> CellView {
    let says = |mark, word, bottle: String, clause: String| CellView {
        href: href.to_owned(),
        mark,
        word,
        bottle,
        clause,
        here,
    };
    let Some(cell) = cell else { return says("unknown", "not known", String::new(), "no reading yet".into()) };
    if at.shelf.is_empty() {
        return says("unknown", "no bottle at hand", String::new(), String::new());
    }
    // A bottle of the room that fits comes before one to be fetched.
    let of_room = |(place, (verdict, _)): (usize, &(Verdict, _))| {
        (*verdict == Verdict::Fits && at.shelf[place].room == Some(at.room.id)).then_some(place)
    };
    let fetched = cell.nearest.filter(|place| at.shelf[*place].room != Some(at.room.id));
    let nearest = match fetched {
        Some(_) => cell.bottles.iter().enumerate().find_map(of_room).or(cell.nearest),
        None => cell.nearest,
    };
    let Some(nearest) = nearest else {
        return says("stop", "not for today", String::new(), "every bottle".into());
    };
    let (verdict, set_time) = cell.bottles[nearest];
    let (word, wrong) = word(verdict);
    let name = &at.shelf[nearest].name;
    let bottle = match seconds {
        Some(mark) => format!("{name}, {}", words::seconds_in(mark, set_time.median)),
        None => name.clone(),
    };
    let mut clauses: Vec<&str> = vec![wrong].into_iter().filter(|clause| !clause.is_empty()).collect();
    let bottle_there = &at.shelf[nearest];
    let air = at.air.as_ref().map(|air| room_now(air).air);
    if let Some(air) = air.as_ref().filter(|_| verdict != Verdict::NotForToday) {
        if bottle_there.climate.is_some_and(|climate| !climate.holds(air)) {
            clauses.push("outside its maker’s air");
        }
        clauses.extend(never_tested(&tested(bottle_there), air));
    }
    if !timed {
        clauses.push("a starting guess");
    }
    says(mark(verdict), word, bottle, clauses.join("; "))
}

fn first_name(artist: &Artist) -> &str {
    artist.name.split(' ').next().unwrap_or(&artist.name)
}

/// A line on each bottle in use that does not fit: the air has left its band, or it was never inside.
pub(super) fn unfit(house: &House, day: &Day, boards: &Boards) -> Vec<Unfitting> {
    let of = |(own, unfit): (&Own, &Vec<Unfit>)| {
        let name = first_name(&own.artist).to_owned();
        unfit.iter().map(|one| unfitting(house, day, &name, one)).collect::<Vec<_>>()
    };
    day.artists.iter().zip(&boards.unfit).flat_map(of).collect()
}

fn unfitting(house: &House, day: &Day, name: &str, unfit: &Unfit) -> Unfitting {
    let room = &day.rooms[unfit.room].room.name;
    let bottle = &unfit.bottle;
    let (word, wrong) = word(unfit.verdict);
    let (strong, rest) = if unfit.verdict == Verdict::NotForToday {
        (format!("{bottle} is not for today."), format!("{name} has it in use in {room}."))
    } else if unfit.fitted {
        (format!("The air of {room} has left the band of {bottle} for {name}."), format!("It is {word}, {wrong} now."))
    } else {
        let (how, since) = match unfit.why {
            Why::OnCard => ("in use", "since the card was opened"),
            Why::Taken => ("in use", "since it was taken"),
            Why::Daily => ("in daily use", "today"),
        };
        let fits = if word == "near" { "comes only near for" } else { "does not fit" };
        (
            format!("{bottle}, {how} in {room}, {fits} {name}."),
            format!("It is {wrong} in this air. No air read there {since} was inside its band."),
        )
    };
    Unfitting {
        line: Line {
            mark: mark(unfit.verdict),
            strong,
            rest,
            href: house.url(&unfit.advice),
            action: format!("See what helps {name}"),
        },
        drifted: unfit.fitted,
    }
}

/// A change of air worth a line, %RH and K.
const DRIER: f64 = 5.0;
const WARMER: f64 = 1.0;

/// What is not as it was a day ago.
pub(super) fn changed(day: &Day, boards: &Boards, studio: &Studio) -> Vec<String> {
    let mut said = Vec::new();
    for here in &day.rooms {
        let (Some(now), Some(before)) = (&here.air, &here.yesterday) else { continue };
        let humidity = |air: &crate::rooms::now::AirNow| air.measured.humidity.humidity.get();
        let temperature = |air: &crate::rooms::now::AirNow| air.measured.temperature.get();
        let (dh, dt) = (humidity(now) - humidity(before), temperature(now) - temperature(before));
        let mut words = Vec::new();
        if dh.abs() >= DRIER {
            words.push(format!(
                "{}, {}\u{a0}%RH after {}",
                if dh < 0.0 { "drier" } else { "damper" },
                studio.number(humidity(now), 0),
                studio.number(humidity(before), 0)
            ));
        }
        if dt.abs() >= WARMER {
            words.push(format!(
                "{}, {}\u{a0}{} after {}",
                if dt < 0.0 { "cooler" } else { "warmer" },
                studio.temperature(now.measured.temperature),
                studio.temperature_unit(),
                studio.temperature(before.measured.temperature)
            ));
        }
        if !words.is_empty() {
            said.push(format!("{} is {}.", here.room.name, words.join(" and ")));
        }
    }
    for bottle in &day.bottles {
        if bottle.days_open > 0.0 && bottle.days_open < 1.0 {
            said.push(format!("{} was opened.", bottle.name));
        }
        if matches!(bottle.lapse, Lapse::Over { days: 1, .. }) {
            said.push(format!("{} passed its last day.", bottle.name));
        }
    }
    for ((own, now), before) in day.artists.iter().zip(&boards.now).zip(&boards.yesterday) {
        let place = day.whereabouts.of(&own.artist);
        let Some(at) = day.rooms.iter().position(|here| Some(here.room.id) == place) else {
            continue;
        };
        let (Some(now), Some(before)) = (&now[at], before) else { continue };
        for (bottle, (now, before)) in day.rooms[at].shelf.iter().zip(now.bottles.iter().zip(&before.bottles)) {
            if now.0 != before.0 && (now.0 == Verdict::Fits || before.0 == Verdict::Fits) {
                said.push(format!(
                    "{} for {} in {}: {}; in yesterday’s air {}.",
                    bottle.name,
                    first_name(&own.artist),
                    day.rooms[at].room.name,
                    now.0.words(),
                    before.0.words()
                ));
            }
        }
    }
    said
}

/// Below so many timed placements more are asked for: three sessions of ten.
const ENOUGH_TIMED: u32 = 30;

/// What waits for somebody: bottles, checks, timings. Stale readings stand under First already.
pub(super) fn waits(house: &House, who: &Who, day: &Day, due: &[CheckDue]) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut bottles: Vec<_> = day.bottles.iter().filter(|b| matches!(b.lapse.mark(), "near" | "stop")).collect();
    bottles.sort_by_key(|bottle| bottle.lapse.urgency());
    for bottle in bottles.into_iter().take(6) {
        let room = day.rooms.iter().find(|here| Some(here.room.id) == bottle.room);
        lines.push(Line {
            mark: bottle.lapse.mark(),
            strong: format!("{}: {}.", bottle.name, bottle.lapse.words()),
            rest: room
                .map_or_else(|| "In the cupboard.".to_owned(), |here| format!("It stands in {}.", here.room.name)),
            href: house.url(&format!("/shelf/bottles/{}", bottle.bottle)),
            action: format!("See {}", bottle.name),
        });
    }
    for check in due.iter().take(6) {
        lines.push(Line {
            mark: "near",
            strong: match check.days_ago {
                None => format!("{} was never checked.", check.instrument.name),
                Some(days) => format!("{} was last checked {days} days ago.", check.instrument.name),
            },
            rest: "Until it is, its room’s air is doubted more.".to_owned(),
            href: house.url(&format!("/rooms/{}/instruments/{}", check.instrument.room, check.instrument.id)),
            action: format!("Check {}", check.instrument.name),
        });
    }
    let asked = day
        .artists
        .iter()
        .filter(|own| own.hands.placements < ENOUGH_TIMED && (who.role == Role::Owner || who.id == own.artist.person));
    for own in asked {
        let name = first_name(&own.artist);
        let style = own.style.words();
        lines.push(Line {
            mark: "near",
            strong: match own.hands.placements {
                0 => format!("{name} has not been timed in {style}."),
                n => format!("{name} has {} in {style}.", words::count(n, "timed placement")),
            },
            rest: format!("About {} more would make her advice surer.", ENOUGH_TIMED - own.hands.placements),
            href: house.url("/hands"),
            action: format!("Time {name}"),
        });
    }
    lines
}
