//! A logger's file: sent, previewed with its faulty rows named, then taken with its progress shown.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::imports::{self, Import, ImportState};
use super::logger_file::{self, FaultyRow, Question, Stop};
use super::room_form::open_room;
use super::{Instrument, InstrumentKind, Room, instrument, push, store};
use crate::base::ids::{ImportId, InstrumentId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::checks::{choice_field, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, Turned, form_key, new_form_key, unless_kept};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/imports/new", upload_page)
        .post_file("/rooms/{room}/imports", logger_file::MAX_FILE_BYTES + 64 * 1024, upload)
        .get("/rooms/{room}/imports/{import}", import_page)
        .post("/rooms/{room}/imports/{import}/answers", answer_question)
        .post("/rooms/{room}/imports/{import}/take", take)
        .post("/rooms/{room}/imports/{import}/drop", leave)
}

#[derive(Template)]
#[template(path = "rooms/import_new.html")]
struct UploadPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

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
    new: usize,
    here: usize,
    faulty_count: u64,
    faulty: Vec<FaultyRow>,
    span: String,
    repeated: Option<String>,
}

const NEW: &str = "new";

async fn upload_page(staff: Staff, State(house): State<House>, At(id): At<RoomId>) -> Result<Response, Problem> {
    let (studio, room, instruments) = load(&house, id).await?;
    // The next export of the one logger a room has is the likeliest file.
    let mut loggers = instruments.iter().filter(|instrument| instrument.kind == InstrumentKind::Logger);
    let only =
        loggers.next().filter(|_| loggers.next().is_none()).map_or(NEW.to_owned(), |logger| logger.id.to_string());
    page(&upload_view(&house, &staff, &studio, &room, &instruments, &only, &[], new_form_key()))
}

async fn load(house: &House, id: RoomId) -> Result<(Studio, Room, Vec<Instrument>), Problem> {
    let mut db = house.store.read().await?;
    let room = open_room(store::room(&mut db, id).await?)?;
    Ok((Studio::load(&mut db).await?, room, store::instruments(&mut db, id).await?))
}

#[expect(clippy::too_many_arguments, reason = "the page and all that may come back with it")]
fn upload_view(
    house: &House,
    staff: &Staff,
    studio: &Studio,
    room: &Room,
    instruments: &[Instrument],
    chosen: &str,
    notes: &[FieldNote],
    key: String,
) -> UploadPage {
    let known = instruments.iter().map(|instrument| (instrument.id.to_string(), instrument.name.clone()));
    let choices = known.chain([(NEW.to_owned(), "a logger not listed here yet".to_owned())]);
    let limit = house.config.max_upload_mb;
    let mut fields = vec![
        choice_field("select", "instrument", "Which instrument wrote it", chosen, choices),
        FieldView {
            name: "file",
            label: "The file".to_owned(),
            hint: Some(format!(
                "CSV or text with columns for time, temperature and humidity, up to {limit} MB. Times are read as wall time in {}, unless the file says otherwise.",
                studio.zone.name()
            )),
            kind: "file",
            ..FieldView::default()
        },
    ];
    note_fields(&mut fields, notes);
    UploadPage {
        frame: house.frame(studio, &staff.visitor, Place::Rooms, format!("{}, a logger’s file", room.name)),
        key,
        action: house.url(&format!("/rooms/{}/imports", room.id)),
        back: house.url(&format!("/rooms/{}", room.id)),
        mistakes: mistakes(&fields),
        fields,
    }
}

/// What a multipart form held.
#[derive(Default)]
struct Sent {
    pairs: Vec<(String, String)>,
    file_name: String,
    file: Vec<u8>,
    too_large: bool,
}

/// The longest text beside the file, bytes, and how many of them there may be.
const TEXT_MOST: usize = 4096;
const PARTS_MOST: usize = 10;

async fn receive(mut parts: Multipart, most: usize) -> Result<Sent, Problem> {
    let unreadable = |_| Problem::Unreadable("The file did not arrive whole.".into());
    let mut sent = Sent::default();
    while let Some(mut part) = parts.next_field().await.map_err(unreadable)? {
        let name = part.name().unwrap_or_default().to_owned();
        if name == "file" {
            sent.file_name = part.file_name().unwrap_or_default().to_owned();
            while let Some(chunk) = part.chunk().await.map_err(unreadable)? {
                if sent.file.len() + chunk.len() > most {
                    sent.too_large = true;
                    sent.file.clear();
                    return Ok(sent);
                }
                sent.file.extend_from_slice(&chunk);
            }
        } else {
            let mut value = Vec::new();
            while let Some(chunk) = part.chunk().await.map_err(unreadable)? {
                if value.len() + chunk.len() > TEXT_MOST || sent.pairs.len() >= PARTS_MOST {
                    return Err(Problem::TooLarge("The form holds more than its page sends.".into()));
                }
                value.extend_from_slice(&chunk);
            }
            sent.pairs.push((name, String::from_utf8_lossy(&value).into_owned()));
        }
    }
    Ok(sent)
}

async fn upload(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let (studio, room, instruments) = load(&house, id).await?;
    let most = house.config.max_upload_bytes().min(logger_file::MAX_FILE_BYTES);
    let sent = receive(parts, most).await?;
    let key = form_key(&house, &staff.visitor, &headers, &sent.pairs, &[&sent.file])?;
    unless_kept(&house, &key).await?;
    let chosen =
        sent.pairs.iter().find(|(name, _)| name == "instrument").map(|(_, value)| value.clone()).unwrap_or_default();
    let known =
        instruments.iter().find(|instrument| instrument.id.to_string() == chosen).map(|instrument| instrument.id);
    let mut notes = Vec::new();
    if sent.too_large {
        notes.push(FieldNote::new(
            "file",
            format!("The file is larger than {} MB. Export a shorter span from the logger.", most / 1_000_000),
        ));
    } else if sent.file.is_empty() {
        notes.push(FieldNote::new("file", "Choose a file. Browsers do not keep the choice when a page comes back."));
    }
    if known.is_none() && chosen != NEW {
        notes.push(FieldNote::new("instrument", "Choose one of these."));
    }
    if !notes.is_empty() {
        let form = key.form.clone().unwrap_or_default();
        let view = upload_view(&house, &staff, &studio, &room, &instruments, &chosen, &notes, form);
        return Ok(page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)?);
    }
    Ok(keep_file(&house, &staff, &studio, &room, known, sent, &key).await?)
}

async fn keep_file(
    house: &House,
    staff: &Staff,
    studio: &Studio,
    room: &Room,
    known: Option<InstrumentId>,
    sent: Sent,
    key: &FormKey,
) -> Result<Response, Problem> {
    let room = room.id;
    let file_name = text::line(&sent.file_name, 120).unwrap_or_else(|_| "logger file".to_owned());
    let zone = studio.zone.clone();
    let (content, by) = (std::sync::Arc::new(sent.file), crate::base::actor::Actor::Person(staff.who.clone()).mark());
    let kept = house
        .store
        .write(key, move |tx| {
            let (file_name, content, by, zone) = (file_name.clone(), content.clone(), by.clone(), zone.clone());
            Box::pin(async move {
                let instrument = match known {
                    Some(id) => id,
                    None => match imports::instrument_of(tx.db(), room, &content).await? {
                        Some(id) => id,
                        None => logger_of(tx, room, &file_name).await?,
                    },
                };
                let import = Import {
                    id: ImportId::new(),
                    room,
                    instrument,
                    file_name,
                    zone,
                    day_order: None,
                    temperature_unit: None,
                    made_by: by,
                    rows_all: 0,
                    rows_done: 0,
                    rows_new: 0,
                    rows_aside: 0,
                    state: ImportState::Preview,
                };
                imports::add(tx, &import, &content).await?;
                Ok(Kept::see(format!("/rooms/{room}/imports/{}", import.id)))
            })
        })
        .await?;
    Ok(answer(house, &kept))
}

/// A logger not listed yet: the same file sent again finds the instrument its first sending made.
async fn logger_of(tx: &mut crate::store::Tx, room: RoomId, file_name: &str) -> Result<InstrumentId, Problem> {
    let name: String = format!("Logger of {file_name}").chars().take(80).collect();
    let known = store::instruments(tx.db(), room).await?;
    if let Some(found) = known.iter().find(|instrument| text::fold(&instrument.name) == text::fold(&name)) {
        return Ok(found.id);
    }
    let instrument = Instrument {
        id: InstrumentId::new(),
        room,
        name,
        kind: InstrumentKind::Logger,
        place: instrument::Place::AtTheBed,
        own_temperature: None,
        own_humidity: None,
        bought: tx.now.0,
        mapping: push::Mapping::default(),
    };
    store::add_instrument(tx, &instrument).await?;
    Ok(instrument.id)
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
        ImportState::Preview => match imports::preview(&house, &import).await? {
            Ok(preview) => Stage::Preview(preview_view(&preview, &studio, staff.visitor.now.0)),
            Err(Stop::Ask(question)) => question_stage(&question),
            Err(stop) => Stage::Unreadable { sentence: stop.to_string() },
        },
        ImportState::Taking => Stage::Going { done: import.rows_done, all: import.rows_all },
        ImportState::Taken => Stage::Done {
            sentence: match import.rows_new {
                0 => "Every reading of this file was here already. Nothing was added.".to_owned(),
                new if import.rows_aside > 0 => format!(
                    "{new} readings were added, {} of them set aside as no room is like that; {} were here already.",
                    import.rows_aside,
                    import.rows_all - new
                ),
                new => format!("{new} readings were added; {} were here already.", import.rows_all - new),
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

fn preview_view(preview: &imports::Preview, studio: &Studio, now: Instant) -> PreviewView {
    let file = &preview.file;
    let good = file.rows.len();
    let all = file.understood.rows;
    let new = good - preview.here;
    let lead = match file.faulty_count {
        0 => format!("All {all} rows can be read."),
        1 => format!("{good} of {all} rows can be read. One cannot and is named below."),
        faulty => format!("{good} of {all} rows can be read. {faulty} cannot and are named below."),
    };
    let first = file.rows.iter().map(|row| row.at_us).min();
    let last = file.rows.iter().map(|row| row.at_us).max();
    let at = |micros: i64| studio.zone.date_and_clock(Instant(micros), now);
    PreviewView {
        lead,
        understood: file.understood.sentences(),
        new,
        here: preview.here,
        faulty_count: file.faulty_count,
        faulty: file.faulty.iter().take(200).cloned().collect(),
        span: first.zip(last).map(|(first, last)| format!("{} to {}", at(first), at(last))).unwrap_or_default(),
        repeated: (file.repeated_hour > 0).then(|| {
            format!(
                "{} rows fall into the hour that came twice when the clocks went back. They are read as its first pass.",
                file.repeated_hour
            )
        }),
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
    _staff: Staff,
    State(house): State<House>,
    At((room, id)): At<(RoomId, ImportId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let rows = {
        let mut db = house.store.read().await?;
        let import = imports::find(&mut db, room, id).await?.ok_or(Problem::NotHere("file"))?;
        drop(db);
        match import.state {
            ImportState::Preview => match imports::preview(&house, &import).await? {
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
        if let Err(cause) = imports::go_on(&going).await {
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
