//! Today: the day sheet. First what asks for somebody, then the air of every room, then the house.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::day::{self, Day};
use super::day_words::{self, BoardView, Line, Unfitting};
use crate::advice::shown;
use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::cards::{self, AtHand};
use crate::clearance::{self, DeskRow};
use crate::rooms::asked::CheckDue;
use crate::rooms::{AirRow, EveryAir, LastDay, air_rows};
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::SignedIn;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Moment, Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/", today)
}

/// How many of those not cleared the day sheet shows; the desk's list has them all.
const NOT_CLEARED_SHOWN: usize = 5;

/// A sentence with one action.
struct First {
    strong: String,
    rest: String,
    href: String,
    action: String,
}

#[derive(Template)]
#[template(path = "places/today.html")]
struct TodayPage {
    frame: Frame,
    firsts: Vec<First>,
    /// Her own advice, one tap away.
    own: Option<(String, String)>,
    sheet: Sheet,
    /// Her own cards, one tap away.
    cards: Option<AtHand>,
    /// At closing, tomorrow's sheet stands first among them.
    closing: bool,
    /// Then her cards stand before everything.
    at_the_bed: bool,
    rooms: Vec<AirRow>,
    works_in_rooms: bool,
    /// Who is expected and not cleared, the most urgent; and how many more there are.
    not_cleared: Vec<DeskRow>,
    not_cleared_more: usize,
    air_first: bool,
    house_line: String,
}

/// What the day sheet says beyond the air.
#[derive(Default)]
struct Sheet {
    board: Option<BoardView>,
    unfit: Vec<Unfitting>,
    changed: Vec<String>,
    waits: Vec<Line>,
    /// Her own room, where she works.
    room: Option<(String, String)>,
}

async fn today(
    signed_in: SignedIn,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (role, now) = (signed_in.who.role, signed_in.visitor.now.0);
    let works_in_rooms = role != Role::Accountant;
    let (rooms, read) = match works_in_rooms {
        true => {
            let air = EveryAir::load(&mut db).await?;
            let last_day = air.last_day(&mut db, now).await?;
            let rooms = air_rows(&house, &mut db, &studio, (&air, &last_day), now).await?;
            (rooms, Some(read(&mut db, &studio, (&air, &last_day), now).await?))
        }
        false => (Vec::new(), None),
    };
    // Judging goes on while the rest is read. It may wait for its turn, and the connection is not kept waiting with it.
    let judged = async {
        match read {
            Some(read) => sheet(&house, read, &studio, &signed_in, now).await,
            None => Ok(Sheet::default()),
        }
    };
    let waiting = async {
        let who = &signed_in.who;
        let found = match works_in_rooms {
            true => (
                clearance::desk_rows(&house, &mut db, &studio, who, now, NOT_CLEARED_SHOWN).await?,
                cards::at_hand(&mut db, &house, who, now).await?,
            ),
            false => ((Vec::new(), 0), None),
        };
        drop(db);
        Ok::<_, Problem>(found)
    };
    let (sheet, ((not_cleared, not_cleared_more), cards)) = tokio::try_join!(judged, waiting)?;
    let chosen = asked.get("moment").map(String::as_str);
    let by_work = cards.as_ref().and_then(AtHand::moment).filter(|_| chosen.is_none());
    let moment = by_work.unwrap_or_else(|| Moment::chosen(chosen, &studio, now));
    let title = format!("{}, {}", studio.zone.wall(now).strftime("%A"), moment_words(moment));
    let mut frame = house.frame(&studio, &signed_in.visitor, Place::Today, title);
    if works_in_rooms {
        frame.moments = house.moments("/", moment);
    }
    page(&TodayPage {
        firsts: firsts(&house, &rooms, role, &sheet.unfit),
        own: sheet.room.clone(),
        sheet,
        cards,
        closing: moment == Moment::Closing,
        at_the_bed: moment == Moment::AtTheBed,
        frame,
        rooms,
        works_in_rooms,
        not_cleared,
        not_cleared_more,
        // At work the air is what one looks for; before and after it, what waits for somebody.
        air_first: matches!(moment, Moment::BeforeAClient | Moment::AtTheBed),
        house_line: format!("Everything written here is kept in {}.", house.store.engine_name()),
    })
}

/// What the sheet rests on: the day, and the checks that are due.
async fn read(
    db: &mut Db,
    studio: &Studio,
    (air, last_day): (&EveryAir, &LastDay),
    now: Instant,
) -> Result<(Day, Vec<CheckDue>), Problem> {
    let day = day::read(db, studio, (air, last_day), now).await?;
    let ids: Vec<_> = day.rooms.iter().map(|here| here.room.id).collect();
    let due = air.checks_due(db, &ids, now).await?;
    Ok((day, due))
}

/// The board and what goes with it; empty where nobody is an artist or there is no room.
async fn sheet(
    house: &House,
    (read, due): (Day, Vec<CheckDue>),
    studio: &Studio,
    signed_in: &SignedIn,
    now: Instant,
) -> Result<Sheet, Problem> {
    let who = &signed_in.who;
    let (read, boards) = day::judge(house, read).await?;
    if let Some(shown) = read.shown_to(who, now).filter(|_| !signed_in.visitor.unattended) {
        shown::leave(house, shown).await;
    }
    let own = read.artists.iter().find(|own| own.artist.person == who.id);
    let room = own.and_then(|own| {
        let opens_on = read.whereabouts.opens_on(&own.artist);
        let here = read.rooms.iter().find(|here| Some(here.room.id) == opens_on)?;
        let path = format!("/rooms/{}/advice", here.room.id);
        Some((house.url(&path), format!("My advice in {}", here.room.name)))
    });
    let any = !read.artists.is_empty() && !read.rooms.is_empty();
    Ok(Sheet {
        board: any.then(|| day_words::board_view(house, who, &read, &boards, studio)),
        unfit: day_words::unfit(house, &read, &boards),
        changed: day_words::changed(&read, &boards, studio),
        waits: day_words::waits(house, who, &read, &due),
        room,
    })
}

const fn moment_words(moment: Moment) -> &'static str {
    match moment {
        Moment::Opening => "before opening",
        Moment::BeforeAClient => "before a client",
        Moment::AtTheBed => "at the bed",
        Moment::Between => "between clients",
        Moment::Closing => "at closing",
    }
}

/// At most three sentences, each with one action: air that is not as wanted, air nobody knows, a house that has no room.
fn firsts(house: &House, rooms: &[AirRow], role: Role, unfit: &[Unfitting]) -> Vec<First> {
    if rooms.is_empty() {
        let owner = role == Role::Owner;
        return vec![First {
            strong: if role == Role::Accountant { "Nothing waits for you.".into() } else { "No room yet.".to_owned() },
            rest: if owner {
                "A room and one reading of its air, and the house can begin to advise.".into()
            } else {
                String::new()
            },
            href: if owner { house.url("/rooms/new") } else { String::new() },
            action: "Add the first room".to_owned(),
        }];
    }
    let mut firsts = Vec::new();
    for Unfitting { line, .. } in unfit.iter().filter(|one| one.drifted) {
        let (strong, rest) = (line.strong.clone(), line.rest.clone());
        firsts.push((2, First { strong, rest, href: line.href.clone(), action: line.action.clone() }));
    }
    for room in rooms {
        match &room.air {
            None => firsts.push((0, unread(room, "has not been read yet."))),
            Some(air) if air.stale => {
                firsts.push((1, unread(room, &format!("was last read {}.", air.ago))));
            }
            Some(air) if air.mark != "fit" => firsts.push((
                3,
                First {
                    strong: format!("{} is {}.", room.name, air.words),
                    rest: format!("{}\u{a0}{}, {}\u{a0}%RH.", air.temperature, air.unit, air.humidity),
                    href: room.href.clone(),
                    action: format!("See {}", room.name),
                },
            )),
            Some(_) => {}
        }
    }
    firsts.sort_by_key(|(urgency, _)| *urgency);
    firsts.into_iter().take(3).map(|(_, first)| first).collect()
}

fn unread(room: &AirRow, words: &str) -> First {
    First {
        strong: format!("The air of {} {words}", room.name),
        rest: String::new(),
        href: room.reading.clone(),
        action: "Enter a reading".to_owned(),
    }
}
