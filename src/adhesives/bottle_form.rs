//! A bottle comes in, and what stands on it is put right.

use axum::extract::{Query, State};
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use super::bottle::{Bottle, typed_day};
use super::product::Product;
use super::product_form::{FormPage, changed_meanwhile, mark, optional_line, seen_field};
use super::{bench_store, shelf, store};
use crate::base::ids::{BottleId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::{HOUR, Instant};
use crate::base::zone::Zone;
use crate::rooms::{self, Room};
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, mistakes};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/shelf/bottles/new", new_page)
        .post("/shelf/bottles", add)
        .get("/shelf/bottles/{bottle}/edit", edit_page)
        .post("/shelf/bottles/{bottle}/edit", change)
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedBottle {
    product: String,
    lot: String,
    received: String,
    expiry: String,
    opened: String,
    room: String,
    seen: String,
}

#[derive(Deserialize, Default)]
struct Asked {
    #[serde(default)]
    product: String,
}

/// What the form chooses from.
struct Choices {
    studio: Studio,
    products: Vec<Product>,
    rooms: Vec<Room>,
}

/// The value of "in no room".
pub(super) const CUPBOARD: &str = "cupboard";

/// Where a bottle may stand, as choices of a field.
pub(super) fn places(rooms: &[Room]) -> Vec<(String, String)> {
    let rooms = rooms.iter().map(|room| (room.id.to_string(), room.name.clone()));
    rooms.chain([(CUPBOARD.to_owned(), "the cupboard".to_owned())]).collect()
}

/// The room chosen among these; `Some(None)` for the cupboard.
pub(super) fn place(typed: &str, rooms: &[Room]) -> Option<Option<RoomId>> {
    if typed == CUPBOARD {
        return Some(None);
    }
    rooms.iter().find(|room| room.id.to_string() == typed).map(|room| Some(room.id))
}

impl TypedBottle {
    /// What stands on a bottle, as it would be typed.
    fn of(bottle: &Bottle, zone: &Zone) -> Self {
        Self {
            lot: bottle.lot.clone(),
            received: bottle.received.to_string(),
            expiry: bottle.expiry.map(|day| day.to_string()).unwrap_or_default(),
            opened: bottle.opened.map(|at| zone.day(at).to_string()).unwrap_or_default(),
            ..Self::default()
        }
    }

    /// The same under its names.
    fn pairs(&self) -> [(&'static str, String); 4] {
        [
            ("lot", self.lot.clone()),
            ("received", self.received.clone()),
            ("expiry", self.expiry.clone()),
            ("opened", self.opened.clone()),
        ]
    }

    /// A bottle that comes in.
    fn check(&self, choices: &Choices, now: Instant) -> Result<Bottle, Problem> {
        let mut notes = Notes::default();
        let chosen = choices.products.iter().find(|product| product.id.to_string() == self.product);
        let product = notes.choice("product", chosen.map(|product| product.id));
        let days = self.days(&mut notes, choices, None, now);
        let room = notes.choice("room", place(&self.room, &choices.rooms));
        let bottle = (|| {
            let Days { lot, received, expiry, opened } = days?;
            Some(Bottle {
                id: BottleId::new(),
                product: product?,
                lot,
                received,
                expiry,
                opened,
                room: room?,
                in_use: false,
                finished: None,
                stopped: None,
            })
        })();
        notes.settle(bottle)
    }

    /// What stands on a bottle that is there.
    fn check_change(&self, bottle: &Bottle, choices: &Choices, now: Instant) -> Result<Bottle, Problem> {
        let mut notes = Notes::default();
        let days = self.days(&mut notes, choices, bottle.opened, now);
        if bottle.stopped.is_some() && days.as_ref().is_some_and(|days| days.lot != bottle.lot) {
            notes.add("lot", "This bottle is stopped: its lot stays what it was.");
        }
        let changed = days.map(|Days { lot, received, expiry, opened }| Bottle {
            lot,
            received,
            expiry,
            opened,
            ..bottle.clone()
        });
        notes.settle(changed)
    }

    fn days(&self, notes: &mut Notes, choices: &Choices, was_opened: Option<Instant>, now: Instant) -> Option<Days> {
        let zone = &choices.studio.zone;
        let today = zone.day(now);
        let lot = optional_line(notes, "lot", &self.lot, 40).map(|lot| text::lot(&lot));
        let received = day(notes, "received", &self.received);
        let expiry = optional_day(notes, "expiry", &self.expiry);
        let opened = optional_day(notes, "opened", &self.opened);
        if received.is_some_and(|day| day > today) {
            notes.add("received", "This day has not come yet.");
        }
        if let (Some(received), Some(Some(opened))) = (received, opened) {
            if opened > today {
                notes.add("opened", "This day has not come yet.");
            } else if opened < received {
                notes.add("opened", "It cannot have been opened before it came.");
            }
        }
        Some(Days {
            lot: lot?,
            received: received?,
            expiry: expiry?,
            // The day is known, not the hour: noon, or now when that is still to come. The same day keeps its instant.
            opened: opened?.map(|day| match was_opened {
                Some(at) if zone.day(at) == day => at,
                _ => zone.start_of(day).plus(12 * HOUR).min(now),
            }),
        })
    }

    fn fields(&self, choices: &Choices, is_new: bool, notes: &[FieldNote]) -> Vec<FieldView> {
        let date = |name, label, value: &str| FieldView { kind: "date", ..text_field(name, label, value) };
        let mut fields = Vec::new();
        if is_new {
            let none = (self.product.is_empty() && choices.products.len() > 1)
                .then(|| (String::new(), "Choose a product".to_owned()));
            let products = choices.products.iter().map(|product| (product.id.to_string(), product.name.clone()));
            fields.push(choice_field("select", "product", "Product", &self.product, none.into_iter().chain(products)));
        }
        let hint = if is_new || self.opened.is_empty() {
            "As printed; it finds its sisters again if one of them makes trouble."
        } else {
            "As printed. Whoever met this bottle before stays written down with the lot that stands here now. Put right, it is found by the right lot, too: in a trace, and by a stop."
        };
        fields.push(text_field("lot", "Lot", &self.lot).hinted(hint).short().or_empty());
        fields.push(date("received", "Came on", &self.received));
        fields.push(
            date("expiry", "Date printed on it", &self.expiry)
                .hinted("The last day it may be used closed. Where only a month is printed: its last day.")
                .or_empty(),
        );
        fields.push(date("opened", "Opened on", &self.opened).hinted("Empty while it is closed.").or_empty());
        if is_new {
            fields.push(choice_field("radio", "room", "Stands in", &self.room, places(&choices.rooms)));
        }
        note_fields(&mut fields, notes);
        fields
    }
}

struct Days {
    lot: String,
    received: Date,
    expiry: Option<Date>,
    opened: Option<Instant>,
}

fn day(notes: &mut Notes, field: &'static str, typed: &str) -> Option<Date> {
    if typed.trim().is_empty() {
        notes.add(field, "Fill this in.");
        return None;
    }
    optional_day(notes, field, typed).flatten()
}

/// Nothing typed is `Some(None)`, a mistake is `None`.
fn optional_day(notes: &mut Notes, field: &'static str, typed: &str) -> Option<Option<Date>> {
    if typed.trim().is_empty() {
        return Some(None);
    }
    match typed_day(typed) {
        Some(day) if (2000..=2200).contains(&day.year()) => Some(Some(day)),
        _ => {
            notes.add(field, "This is no day. Type year, month and day: 2026-02-28.");
            None
        }
    }
}

async fn choices(db: &mut Db) -> Result<Choices, Problem> {
    let products = store::products(db).await?.into_iter().filter(|product| product.stopped.is_none()).collect();
    Ok(Choices { studio: Studio::load(db).await?, products, rooms: rooms::all(db).await? })
}

async fn new_page(staff: Staff, State(house): State<House>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let choices = choices(&mut db).await?;
    let only = match choices.products.as_slice() {
        [only] => only.id.to_string(),
        _ => asked.product,
    };
    let typed = TypedBottle {
        product: only,
        received: choices.studio.zone.day(staff.visitor.now.0).to_string(),
        room: CUPBOARD.to_owned(),
        ..TypedBottle::default()
    };
    page(&new_view(&house, &staff, &choices, &typed, &[], new_form_key()))
}

fn new_view(
    house: &House,
    staff: &Staff,
    choices: &Choices,
    typed: &TypedBottle,
    notes: &[FieldNote],
    key: String,
) -> FormPage {
    let fields = typed.fields(choices, true, notes);
    let lead = if choices.products.is_empty() {
        "A bottle needs a product first. The owner adds products on the shelf."
    } else {
        ""
    };
    FormPage {
        frame: house.frame(&choices.studio, &staff.visitor, Place::Shelf, "A new bottle"),
        key,
        action: house.url("/shelf/bottles"),
        word: "Bottle",
        small: "as it came".to_owned(),
        lead: lead.to_owned(),
        mistakes: mistakes(&fields),
        fields,
        button: "Add the bottle",
        back: house.url("/shelf"),
        kept: "bottle",
    }
}

async fn add(staff: Staff, State(house): State<House>, form: Form<TypedBottle>) -> Result<Response, Problem> {
    let choices = choices(&mut *house.store.read().await?).await?;
    let result = match form.typed.check(&choices, staff.visitor.now.0) {
        Ok(bottle) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let bottle = bottle.clone();
                    Box::pin(async move {
                        store::add_bottle(tx, &bottle).await?;
                        Ok(Kept::see(format!("/shelf/bottles/{}", bottle.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = new_view(&house, &staff, &choices, &form.typed, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn edit_page(staff: Staff, State(house): State<House>, At(id): At<BottleId>) -> Result<Response, Problem> {
    let (choices, bottle, name) = load(&house, id).await?;
    let typed = TypedBottle::of(&bottle, &choices.studio.zone);
    page(&edit_view(&house, &staff, &choices, &bottle, &name, &typed, &[], new_form_key()))
}

async fn load(house: &House, id: BottleId) -> Result<(Choices, Bottle, String), Problem> {
    let mut db = house.store.read().await?;
    let bottle = unfinished(store::bottle(&mut db, id).await?)?;
    let product = store::product(&mut db, bottle.product).await?.ok_or(Problem::NotHere("product"))?;
    let name = shelf::name(&bottle, &product, &store::bottles(&mut db).await?);
    Ok((choices(&mut db).await?, bottle, name))
}

/// A bottle that is there and not finished.
pub(super) fn unfinished(found: Option<Bottle>) -> Result<Bottle, Problem> {
    let bottle = found.ok_or(Problem::NotHere("bottle"))?;
    if bottle.finished.is_some() {
        return Err(Problem::Clash(
            "This bottle was finished meanwhile.".to_owned(),
            "Take that back on its page, or go on with another bottle.".to_owned(),
        ));
    }
    Ok(bottle)
}

#[expect(clippy::too_many_arguments, reason = "the page and all that may come back with it")]
fn edit_view(
    house: &House,
    staff: &Staff,
    choices: &Choices,
    bottle: &Bottle,
    name: &str,
    typed: &TypedBottle,
    notes: &[FieldNote],
    key: String,
) -> FormPage {
    let mut fields = typed.fields(choices, false, notes);
    fields.push(seen_field(&mark(house, &TypedBottle::of(bottle, &choices.studio.zone).pairs())));
    FormPage {
        frame: house.frame(&choices.studio, &staff.visitor, Place::Shelf, format!("{name}: what stands on it")),
        key,
        action: house.url(&format!("/shelf/bottles/{}/edit", bottle.id)),
        word: "Bottle",
        small: "as it came".to_owned(),
        lead: String::new(),
        mistakes: mistakes(&fields),
        fields,
        button: "Keep the changes",
        back: house.url(&format!("/shelf/bottles/{}", bottle.id)),
        kept: "bottle",
    }
}

async fn change(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<TypedBottle>,
) -> Result<Response, Problem> {
    let (choices, bottle, name) = load(&house, id).await?;
    let stands = TypedBottle::of(&bottle, &choices.studio.zone).pairs();
    let checked = form.typed.check_change(&bottle, &choices, staff.visitor.now.0).and_then(|changed| {
        let is_still = form.typed.seen.is_empty() || form.typed.seen == mark(&house, &stands);
        if is_still { Ok(changed) } else { Err(changed_meanwhile(&stands, &form.typed.pairs())) }
    });
    match checked {
        Ok(bottle) => {
            let keeping = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, bottle) = (keeping.clone(), bottle.clone());
                    Box::pin(async move {
                        let before = unfinished(store::bottle(tx.db(), id).await?)?;
                        // Another lot would take it out of the stop.
                        if before.stopped.is_some() && before.lot != bottle.lot {
                            return Err(Problem::Clash(
                                "This bottle was stopped meanwhile: its lot stays what it was.".into(),
                                "Open it again and look at what stands there now.".into(),
                            ));
                        }
                        store::change_bottle(tx, house.store.keys(), &bottle, &before.lot).await?;
                        if let Some(opened) = bottle.opened.filter(|_| bottle.opened != before.opened) {
                            bench_store::reopened(tx, &bottle, opened).await?;
                        }
                        Ok(Kept::see(format!("/shelf/bottles/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = edit_view(&house, &staff, &choices, &bottle, &name, &form.typed, &notes, key);
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}
