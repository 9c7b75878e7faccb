//! A logger's file that arrived: previewed with its faulty rows named, then taken with its progress shown.

use askama::Template;
use axum::extract::State;
use axum::http::HeaderValue;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::foreseen::Foreseen;
use super::import_taking;
use super::imports::{self, ImportState};
use super::logger_file::{FaultyRow, GoodRow, Question, Stop};
use super::plausible::SetAside;
use super::room_form::open_room;
use super::store;
use super::written::TemperatureUnit;
use crate::base::ids::{ImportId, RoomId};
use crate::base::problem::Problem;
use crate::base::text::{count, things};
use crate::base::time::Instant;
use crate::store::Kept;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::of_file::{Counted, other_rows, where_named};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/imports/{import}", import_page)
        .post("/rooms/{room}/imports/{import}/answers", answer_question)
        .post("/rooms/{room}/imports/{import}/take", take)
        .post("/rooms/{room}/imports/{import}/drop", leave)
}

/// Rows of a kind that the page names; the others are counted.
const ROWS_NAMED: usize = 200;

#[derive(Template)]
#[template(path = "rooms/import.html")]
struct ImportPage {
    frame: Frame,
    key: String,
    path: String,
    room: String,
    back: String,
    file_name: String,
    stage: Stage,
}

/// What the page shows, by where the file stands.
enum Stage {
    Question { sentence: String, name: &'static str, choices: Vec<(&'static str, String)> },
    Unreadable { sentence: String },
    Preview(PreviewView),
    Going { done: i64, all: i64 },
    Done { sentence: String },
}

struct PreviewView {
    lead: String,
    understood: Vec<String>,
    counts: Vec<Counted>,
    /// The first rows that will be set aside.
    aside: Vec<AsideRow>,
    /// "Keep 28 readings"; `None` where every one is here already.
    button: Option<String>,
    faulty: Vec<FaultyRow>,
    /// What is true of the other rows.
    others: String,
    repeated: Option<String>,
}

/// A row that will be set aside.
struct AsideRow {
    line: u64,
    when: String,
    reason: String,
}

async fn import_page(
    staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, ImportId)>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let room = open_room(store::room(&mut db, room).await?)?;
    let import = imports::find(&mut db, room.id, id).await?.ok_or(Problem::NotHere("file"))?;
    drop(db);
    let stage = match import.state {
        ImportState::Preview => match imports::preview(&house, &import, staff.visitor.now.0).await? {
            Ok(preview) => Stage::Preview(preview_view(&preview, &studio, staff.visitor.now.0)),
            Err(Stop::Ask(question)) => question_stage(&question),
            Err(stop) => Stage::Unreadable { sentence: stop.to_string() },
        },
        ImportState::Taking => Stage::Going { done: import.rows_done, all: import.rows_all },
        ImportState::Taken => Stage::Done {
            sentence: match import.rows_new {
                0 => "Every reading of this file was here already. Nothing was added.".to_owned(),
                new => added(new, import.rows_aside, import.rows_all - new),
            },
        },
        ImportState::Dropped => Stage::Done { sentence: "This file was left. Nothing was added.".to_owned() },
    };
    let going = matches!(stage, Stage::Going { .. });
    let view = ImportPage {
        frame: house.frame(&studio, &staff.visitor, Place::Rooms, format!("{}, a logger’s file", room.name)),
        key: new_form_key(),
        path: house.url(&format!("/rooms/{}/imports/{id}", room.id)),
        back: house.url(&format!("/rooms/{}", room.id)),
        room: room.name,
        file_name: import.file_name,
        stage,
    };
    let mut shown = page(&view)?;
    if going {
        // The page looks again by itself, with or without scripts.
        shown.headers_mut().insert("refresh", HeaderValue::from_static("1"));
    }
    Ok(shown)
}

fn question_stage(question: &Question) -> Stage {
    let sentence = Stop::Ask(question.clone()).to_string();
    match question {
        Question::DayOrder(_) => Stage::Question {
            sentence,
            name: "day_order",
            choices: vec![
                ("day_first", "The day comes first".to_owned()),
                ("month_first", "The month comes first".to_owned()),
            ],
        },
        Question::TemperatureUnit(_) => Stage::Question {
            sentence,
            name: "temperature_unit",
            choices: vec![("celsius", "It is °C".to_owned()), ("fahrenheit", "It is °F".to_owned())],
        },
    }
}

/// What a file that was taken has brought.
fn added(new: i64, aside: i64, here: i64) -> String {
    let were = |n: i64| if n == 1 { "was" } else { "were" };
    let readings = things(usize::try_from(new).unwrap_or_default(), "reading");
    let aside = match aside {
        0 => String::new(),
        _ if new == 1 => " and set aside as no room is like that".to_owned(),
        aside => format!(", {aside} of them set aside as no room is like that"),
    };
    format!("{new} {readings} {} added{aside}; {here} {} here already.", were(new), were(here))
}

fn preview_view(preview: &imports::Preview, studio: &Studio, now: Instant) -> PreviewView {
    let file = &preview.file;
    let good = file.rows.len();
    let all = file.understood.rows;
    let Foreseen { counting, aside, here } = &preview.foreseen;
    let new = counting + aside.len();
    let faulty = usize::try_from(file.faulty_count).unwrap_or(usize::MAX);
    let named = where_named(faulty, ROWS_NAMED);
    let lead = match file.faulty_count {
        0 if all == 0 => "Nothing stands below the line that names the columns.".to_owned(),
        0 if all == 1 => "The one row can be read.".to_owned(),
        0 => format!("All {all} rows can be read."),
        1 if good == 0 => "The one row cannot be read and is named below.".to_owned(),
        faulty if good == 0 => format!("Not one of {faulty} rows can be read; {named}."),
        1 => format!("{good} of {all} rows can be read. One cannot and is named below."),
        faulty => format!("{good} of {all} rows can be read. {faulty} cannot; {named}."),
    };
    let first = file.rows.iter().map(|row| row.at_us).min();
    let last = file.rows.iter().map(|row| row.at_us).max();
    let at = |micros: i64| studio.zone.date_and_clock(Instant(micros), now);
    let span = match first.zip(last) {
        None => String::new(),
        Some((first, last)) if first == last => at(first),
        Some((first, last)) => format!("{} to {}", at(first), at(last)),
    };
    let mut counts = vec![
        Counted::new("New", *counting, "reading", span),
        Counted::new("Already here", *here, "reading", "same instrument and time; not added again"),
    ];
    if !aside.is_empty() {
        let told =
            format!("not believed: kept apart with the reason and not used; {}", where_named(aside.len(), ROWS_NAMED));
        counts.insert(1, Counted::new("Set aside", aside.len(), "reading", told));
    }
    if all > 0 {
        let told = if faulty == 0 { "every row can be read".to_owned() } else { named };
        counts.push(Counted::new("Not read", faulty, "row", told));
    }
    PreviewView {
        lead,
        understood: file.understood.sentences(),
        counts,
        aside: aside.iter().take(ROWS_NAMED).map(|(row, why)| aside_row(row, why, studio, now)).collect(),
        button: (new > 0).then(|| format!("Keep {}", count(new, "reading"))),
        faulty: file.faulty.iter().take(ROWS_NAMED).cloned().collect(),
        others: other_rows(good),
        repeated: match file.repeated_hour {
            0 => None,
            1 => Some(
                "One row falls into the hour that came twice when the clocks went back. It is read as its first pass."
                    .to_owned(),
            ),
            rows => Some(format!(
                "{rows} rows fall into the hour that came twice when the clocks went back. They are read as its first pass."
            )),
        },
    }
}

fn aside_row(row: &GoodRow, why: &SetAside, studio: &Studio, now: Instant) -> AsideRow {
    let unit = if studio.fahrenheit { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
    AsideRow {
        line: row.line,
        when: studio.zone.date_and_clock(Instant(row.at_us), now),
        reason: why.sentence(unit, studio.decimal),
    }
}

#[derive(Deserialize)]
struct TypedAnswer {
    #[serde(default)]
    day_order: String,
    #[serde(default)]
    temperature_unit: String,
}

async fn answer_question(
    _staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, ImportId)>,
    form: Form<TypedAnswer>,
) -> Result<Response, Problem> {
    let order = imports::order_from(&form.typed.day_order);
    let unit = imports::unit_from(&form.typed.temperature_unit);
    if order.is_none() && unit.is_none() {
        return Err(Problem::Unreadable("This answer is none of those the page offers.".into()));
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                imports::find(tx.db(), room, id).await?.ok_or(Problem::NotHere("file"))?;
                imports::answer(tx, id, order, unit).await?;
                Ok(Kept::see(format!("/rooms/{room}/imports/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn take(
    staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, ImportId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let rows = {
        let mut db = house.store.read().await?;
        let import = imports::find(&mut db, room, id).await?.ok_or(Problem::NotHere("file"))?;
        drop(db);
        match import.state {
            ImportState::Preview => match imports::preview(&house, &import, staff.visitor.now.0).await? {
                Ok(preview) => preview.file.rows.len(),
                Err(stop) => return Err(Problem::Clash(stop.to_string(), "Open the file’s page again.".into())),
            },
            _ => 0,
        }
    };
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                imports::decide(tx, id, rows, ImportState::Taking).await?;
                Ok(Kept::see(format!("/rooms/{room}/imports/{id}")))
            })
        })
        .await?;
    let going = house.clone();
    tokio::spawn(async move {
        if let Err(cause) = import_taking::go_on(&going).await {
            tracing::warn!(%cause, "taking a logger file stopped; the clock goes on with it");
        }
    });
    Ok(answer(&house, &kept).into_response())
}

async fn leave(
    _staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, ImportId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                imports::find(tx.db(), room, id).await?.ok_or(Problem::NotHere("file"))?;
                imports::decide(tx, id, 0, ImportState::Dropped).await?;
                Ok(Kept::see(format!("/rooms/{room}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
