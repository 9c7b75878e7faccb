//! Today: the day sheet. First what asks for somebody, then the air of every room, then the house.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::rooms::{AirRow, air_rows};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::SignedIn;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Moment, Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/", today)
}

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
    rooms: Vec<AirRow>,
    works_in_rooms: bool,
    air_first: bool,
    house_line: String,
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
    let rooms = if works_in_rooms { air_rows(&house, &mut db, &studio, now).await? } else { Vec::new() };
    let moment = Moment::chosen(asked.get("moment").map(String::as_str), &studio, now);
    let title = format!("{}, {}", studio.zone.wall(now).strftime("%A"), moment_words(moment));
    let mut frame = house.frame(&studio, &signed_in.visitor, Place::Today, title);
    if works_in_rooms {
        frame.moments = house.moments("/", moment);
    }
    page(&TodayPage {
        firsts: firsts(&house, &rooms, role),
        frame,
        rooms,
        works_in_rooms,
        // At work the air is what one looks for; before and after it, what waits for somebody.
        air_first: matches!(moment, Moment::BeforeAClient | Moment::AtTheBed),
        house_line: format!("Everything written here is kept in {}.", house.store.engine_name()),
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
fn firsts(house: &House, rooms: &[AirRow], role: Role) -> Vec<First> {
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
    for room in rooms {
        match &room.air {
            None => firsts.push((0, unread(room, "has not been read yet."))),
            Some(air) if air.stale => {
                firsts.push((1, unread(room, &format!("was last read {}.", air.ago))));
            }
            Some(air) if air.mark != "fit" => firsts.push((
                2,
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
