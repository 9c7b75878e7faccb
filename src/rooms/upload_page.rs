//! A logger's file is chosen and sent; what becomes of it stands on its own page.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::imports::{self, Import, ImportState};
use super::room_form::open_room;
use super::{Instrument, InstrumentKind, Room, instrument, logger_file, push, store};
use crate::base::ids::{ImportId, InstrumentId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::checks::{choice_field, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Turned, form_key, new_form_key, unless_kept};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::upload::Upload;

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/imports/new", upload_page).post_file(
        "/rooms/{room}/imports",
        logger_file::MAX_FILE_BYTES + 64 * 1024,
        upload,
    )
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

async fn upload(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let (studio, room, instruments) = load(&house, id).await?;
    let most = house.config.max_upload_bytes().min(logger_file::MAX_FILE_BYTES);
    let sent = Upload::receive(parts, most, house.config.request_timeout).await?;
    let key = form_key(&house, &staff.visitor, &headers, &sent.pairs, &[&sent.file])?;
    unless_kept(&house, &key).await?;
    let chosen = sent.value("instrument").to_owned();
    let known =
        instruments.iter().find(|instrument| instrument.id.to_string() == chosen).map(|instrument| instrument.id);
    let mut notes = Vec::new();
    if sent.too_large {
        notes.push(FieldNote::new(
            "file",
            format!("The file is larger than {} MB. Export a shorter span from the logger.", most / 1_000_000),
        ));
    } else if sent.file.is_empty() {
        notes.push(FieldNote::new("file", sent.why_nothing()));
    }
    if known.is_none() && chosen != NEW {
        notes.push(FieldNote::new("instrument", "Choose one of these."));
    }
    if !notes.is_empty() {
        let form = key.again();
        let view = upload_view(&house, &staff, &studio, &room, &instruments, &chosen, &notes, form);
        return Ok(page_again(&view)?);
    }
    Ok(keep_file(&house, &staff, &studio, &room, known, sent, &key).await?)
}

async fn keep_file(
    house: &House,
    staff: &Staff,
    studio: &Studio,
    room: &Room,
    known: Option<InstrumentId>,
    sent: Upload,
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
