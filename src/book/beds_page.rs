//! The beds of the rooms. The owner's page.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::around::Around;
use super::plan_store;
use crate::base::ids::{BedId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::rooms::{self, Room};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/book/beds", list).post("/book/beds", add).post("/book/beds/{bed}/close", close)
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TypedBed {
    room: String,
    name: String,
}

struct Row {
    words: String,
    close: String,
}

#[derive(Template)]
#[template(path = "book/beds.html")]
struct BedsPage {
    frame: Frame,
    key: String,
    rows: Vec<Row>,
    rooms: bool,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

impl TypedBed {
    fn check(&self, rooms: &[Room]) -> Result<(RoomId, String), Problem> {
        let mut notes = Notes::default();
        let room = notes.choice("room", rooms.iter().find(|room| room.id.to_string() == self.room));
        let name = notes.line("name", &self.name, 40);
        let bed = room.map(|room| room.id).zip(name);
        notes.settle(bed)
    }
}

async fn list(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    page(&view(&house, &owner, &TypedBed::default(), &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    owner: &Owner,
    typed: &TypedBed,
    notes: &[FieldNote],
    key: String,
) -> Result<BedsPage, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let rooms = rooms::all(&mut db).await?;
    let choices = rooms.iter().map(|room| (room.id.to_string(), room.name.clone()));
    let mut fields = vec![
        choice_field("select", "room", "Room", &typed.room, choices),
        text_field("name", "Name of the bed", &typed.name).hinted("For instance: left bed, or chair by the window."),
    ];
    note_fields(&mut fields, notes);
    let row = |bed: &super::Bed| Row { words: bed.words(), close: house.url(&format!("/book/beds/{}/close", bed.id)) };
    Ok(BedsPage {
        frame: house.frame(&around.studio, &owner.visitor, Place::Book, "Beds"),
        key,
        rows: around.beds().map(row).collect(),
        rooms: !rooms.is_empty(),
        mistakes: mistakes(&fields),
        fields,
    })
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedBed>) -> Result<Response, Problem> {
    let rooms = {
        let mut db = house.store.read().await?;
        rooms::all(&mut db).await?
    };
    let result = match form.typed.check(&rooms) {
        Ok((room, name)) => {
            let id = BedId::new();
            house
                .store
                .write(&form.key, move |tx| {
                    let name = name.clone();
                    Box::pin(async move {
                        plan_store::add_bed(tx, id, room, &name).await?;
                        Ok(Kept::see("/book/beds"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            page_again(&view(&house, &owner, &form.typed, &notes, key).await?)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn close(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<BedId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house.store.write(&form.key, move |tx| {
        Box::pin(async move {
            plan_store::close_bed(tx, id).await?;
            Ok(Kept::see("/book/beds"))
        })
    });
    Ok(answer(&house, &kept.await?))
}
