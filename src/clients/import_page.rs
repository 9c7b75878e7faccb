//! A file of clients: sent, previewed with its faulty rows named, then taken or left. For those who receive.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::import_file::{self, DayOrder, Fault, MAX_FILE_BYTES, MAX_ROWS};
use super::typed::noted;
use super::{imports, pairs_page};
use crate::base::actor::Role;
use crate::base::ids::ClientImportId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, Turned, form_key, new_form_key, unless_kept};
use crate::web::of_file::{Counted, other_rows, where_named};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::upload::Upload;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/import", new_page)
        .post_file("/door/clients/import", MAX_FILE_BYTES + 64 * 1024, send)
        .get("/door/clients/import/{file}", show)
        .post("/door/clients/import/{file}/take", take)
        .post("/door/clients/import/{file}/leave", leave)
}

/// Faulty rows that the page names; the others are counted.
const MOST_FAULTS: usize = 100;

#[derive(Template)]
#[template(path = "clients/import_new.html")]
struct NewPage {
    frame: Frame,
    key: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

struct Preview {
    counts: [Counted; 3],
    /// "Add 28 clients"; `None` where nobody would be added.
    button: Option<String>,
    faults: Vec<Fault>,
    /// What is true of the other rows.
    others: String,
    understood: Vec<String>,
    first: Vec<(String, String)>,
}

enum Stage {
    Preview(Box<Preview>),
    Unreadable(String),
    Done(String),
}

#[derive(Template)]
#[template(path = "clients/import.html")]
struct ImportPage {
    frame: Frame,
    key: String,
    path: String,
    file_name: String,
    stage: Stage,
}

/// Reading in is for those who see everybody.
fn receives(staff: &Staff) -> Result<(), Problem> {
    if staff.who.role == Role::Artist {
        return Err(pairs_page::FOR_DESK);
    }
    Ok(())
}

fn new_view(house: &House, staff: &Staff, studio: &Studio, order: &str, notes: &[FieldNote], key: String) -> NewPage {
    let orders = [
        (DayOrder::DayFirst, "day first: 7/3/1994 is the 7th of March"),
        (DayOrder::MonthFirst, "month first: 3/7/1994 is the 7th of March"),
    ];
    let fields = vec![
        FieldView {
            name: "file",
            label: "The file".to_owned(),
            hint: Some(format!(
                "CSV in UTF-8. Its first line names the columns: name (or first name and last name), phone, email, born. Up to {MAX_ROWS} rows. Other columns are left out, notes too: they often hold health, which belongs to the consultation."
            )),
            kind: "file",
            ..FieldView::default()
        },
        choice_field(
            "radio",
            "day_order",
            "Dates with strokes are read",
            order,
            orders.map(|(order, words)| (order.word().to_owned(), words.to_owned())),
        ),
    ];
    let (fields, mistakes) = noted(fields, notes);
    NewPage { frame: house.frame(studio, &staff.visitor, Place::Door, "Clients from a file"), key, fields, mistakes }
}

async fn new_page(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    receives(&staff)?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    page(&new_view(&house, &staff, &studio, DayOrder::DayFirst.word(), &[], new_form_key()))
}

async fn send(
    staff: Staff,
    State(house): State<House>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    receives(&staff)?;
    let most = house.config.max_upload_bytes().min(MAX_FILE_BYTES);
    let sent = Upload::receive(parts, most, house.config.request_timeout).await?;
    let key = form_key(&house, &staff.visitor, &headers, &sent.pairs, &[&sent.file])?;
    unless_kept(&house, &key).await?;
    let typed = sent.value("day_order");
    let order = if typed.is_empty() { Some(DayOrder::DayFirst) } else { DayOrder::from_word(typed) };
    let mut notes = Vec::new();
    if sent.too_large {
        notes.push(FieldNote::new(
            "file",
            format!("The file is larger than {} MB. Send it in parts.", most / 1_000_000),
        ));
    } else if sent.file.is_empty() {
        notes.push(FieldNote::new("file", sent.why_nothing()));
    }
    let (Some(order), true) = (order, notes.is_empty()) else {
        if order.is_none() {
            notes.push(FieldNote::new("day_order", "Choose one of these."));
        }
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let view = new_view(&house, &staff, &studio, typed, &notes, key.again());
        return Ok(page_again(&view)?);
    };
    let file_name = text::line(&sent.file_name, 120).unwrap_or_else(|_| "a file".to_owned());
    let (content, by) = (std::sync::Arc::new(sent.file), staff.who.id);
    let kept = house
        .store
        .write(&key, move |tx| {
            let (file_name, content) = (file_name.clone(), content.clone());
            Box::pin(async move {
                let id = ClientImportId::new();
                imports::add(tx, id, &file_name, &content, order, by).await?;
                Ok(Kept::see(format!("/door/clients/import/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientImportId>) -> Result<Response, Problem> {
    receives(&staff)?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let import = imports::find(&mut db, id).await?;
    let today = studio.zone.day(staff.visitor.now.0);
    let stage = match import.state.as_str() {
        "taken" => Stage::Done(match import.rows_new {
            1 => "One client was added. The file itself is not kept.".to_owned(),
            new => format!("{new} clients were added. The file itself is not kept."),
        }),
        "dropped" => Stage::Done("This file was left. Nothing was added, and the file is not kept.".to_owned()),
        _ => match import_file::read(&import.content, import.order, today) {
            Err(sentence) => Stage::Unreadable(sentence),
            Ok(table) => {
                let (new, here) = imports::sort(&mut db, &table.rows).await?;
                Stage::Preview(Box::new(preview(table, &new, here)))
            }
        },
    };
    page(&ImportPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Clients from a file"),
        key: new_form_key(),
        path: house.url(&format!("/door/clients/import/{id}")),
        file_name: import.file_name,
        stage,
    })
}

fn preview(table: import_file::Table, new: &[import_file::Row], here: usize) -> Preview {
    let first = new.iter().take(5).map(|row| {
        let born = row.born.map(|born| born.strftime("%-d %b %Y").to_string());
        let about = [born, Some(row.phone.clone()), Some(row.email.clone())];
        (row.name.clone(), about.into_iter().flatten().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; "))
    });
    let mut understood: Vec<String> =
        table.understood.iter().map(|(heading, column)| format!("“{heading}” is read as {column}.")).collect();
    if !table.left_out.is_empty() {
        understood.push(format!("Left out: {}.", table.left_out.join(", ")));
    }
    let faulty = table.faults.len();
    let named = if faulty == 0 { String::new() } else { where_named(faulty, MOST_FAULTS) };
    Preview {
        counts: [
            Counted::new("New", new.len(), "client", "would be added to those of the studio"),
            Counted::new("Already here", here, "row", "or twice in the file; not added again"),
            Counted::new("Not read", faulty, "row", named),
        ],
        button: (!new.is_empty()).then(|| format!("Add {}", text::count(new.len(), "client"))),
        first: first.collect(),
        others: other_rows(table.rows.len()),
        faults: table.faults.into_iter().take(MOST_FAULTS).collect(),
        understood,
    }
}

async fn take(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientImportId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    receives(&staff)?;
    let rows = {
        let mut db = house.store.read().await?;
        let import = imports::find(&mut db, id).await?;
        let studio = Studio::load(&mut db).await?;
        let today = studio.zone.day(staff.visitor.now.0);
        if import.state == "preview" {
            let table = import_file::read(&import.content, import.order, today)
                .map_err(|why| Problem::Clash(why, "Send another file.".into()))?;
            table.rows
        } else {
            Vec::new()
        }
    };
    let rows = std::sync::Arc::new(rows);
    let inner = house.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (rows, house) = (rows.clone(), inner.clone());
            Box::pin(async move {
                imports::find(tx.db(), id).await?;
                // Sorted again here: another file may have been taken since the preview.
                let (new, _) = imports::sort(tx.db(), &rows).await?;
                imports::take(tx, house.store.keys(), id, &new).await?;
                Ok(Kept::see(format!("/door/clients/import/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn leave(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientImportId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    receives(&staff)?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                imports::find(tx.db(), id).await?;
                imports::leave(tx, id).await?;
                Ok(Kept::see("/door/clients"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
