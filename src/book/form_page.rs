//! Booking: one form, which moving shares, so that nothing needs to be dragged.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::appointment::Booked;
use super::around::Around;
use super::booking;
use super::looked::{self, Looked};
use super::move_page::move_view;
use super::typed_booking::TypedBooking;
use super::{store, waiting_store};
use crate::base::actor::Who;
use crate::base::ids::WaitingId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/book/new", new_page).post("/book", book).post("/book/look", look_again)
}

/// The form as a page, for booking and for moving.
#[derive(Template)]
#[template(path = "book/form.html")]
pub(super) struct BookingForm {
    pub(super) frame: Frame,
    pub(super) key: String,
    pub(super) action: String,
    pub(super) word: &'static str,
    pub(super) lead: String,
    pub(super) hidden: Vec<(&'static str, String)>,
    pub(super) name: FieldView,
    pub(super) looked: Looked,
    pub(super) fields: Vec<FieldView>,
    pub(super) mistakes: Vec<Mistake>,
    pub(super) button: &'static str,
    pub(super) look: String,
    pub(super) back: (String, String),
    /// Whether an appointment that lies already is moved.
    pub(super) moves: bool,
    /// What a device calls what it keeps of this form, and what is said while that waits.
    pub(super) kept: &'static str,
    pub(super) meanwhile: &'static str,
}

/// What the script puts into the form while somebody types.
#[derive(Template)]
#[template(path = "book/found.html")]
struct Found {
    looked: Looked,
}

async fn new_page(
    staff: Staff,
    State(house): State<House>,
    Query(mut asked): Query<TypedBooking>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    fill_in(&mut db, &around, &staff.who, &mut asked, staff.visitor.now.0).await?;
    let looked = looked::look(&house, &mut db, &around, &staff.who, &asked, None, staff.visitor.now.0).await?;
    drop(db);
    page(&new_view(&house, &staff, &around, &asked, looked, &[], new_form_key()))
}

/// What a link leaves open: who it is for, read from where it stands; the day; the artist, for whoever books for herself alone.
async fn fill_in(
    db: &mut Db,
    around: &Around,
    who: &Who,
    asked: &mut TypedBooking,
    now: Instant,
) -> Result<(), Problem> {
    let yes = |set: bool| if set { "yes".to_owned() } else { String::new() };
    let booked = if let Ok(id) = asked.next_of.parse() {
        let before = around.seen(who, store::one(db, id).await?).ok();
        before.map(|before| Booked { first_visit: false, ..before.booked })
    } else if let Ok(id) = asked.waiting.parse() {
        waiting_store::one(db, id).await?.map(|waiting| waiting.booked)
    } else {
        None
    };
    if let Some(booked) = booked {
        asked.short_name = booked.short;
        asked.first_visit = yes(booked.first_visit);
        asked.client = booked.client.map(|client| client.to_string()).unwrap_or_default();
    } else if let Some(client) = looked::chosen(db, who, asked, None).await? {
        // Chosen on a page of hers: the name is hers, and it may be her first visit.
        asked.first_visit = yes(!store::came_before(db, client.id, now).await?);
        asked.short_name = client.short;
    } else {
        asked.client = String::new();
    }
    if asked.day.is_empty() {
        asked.day = around.studio.zone.day(now).to_string();
    }
    if asked.artist.is_empty()
        && let [only] = around.booked_by(who).as_slice()
    {
        asked.artist = only.id.to_string();
    }
    Ok(())
}

fn new_view(
    house: &House,
    staff: &Staff,
    around: &Around,
    typed: &TypedBooking,
    looked: Looked,
    notes: &[FieldNote],
    key: String,
) -> BookingForm {
    let mut fields = typed.fields(around, &staff.who, notes);
    let day = super::diary_page::typed_day(&typed.day, &around.studio, staff.visitor.now.0);
    BookingForm {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Book"),
        key,
        action: house.url("/book"),
        word: "Book",
        lead: String::new(),
        hidden: vec![("waiting", typed.waiting.clone())],
        mistakes: mistakes(&fields),
        name: fields.remove(0),
        looked,
        fields,
        button: "Book it",
        look: house.url("/book/look"),
        back: (house.url(&format!("/book?day={day}")), "Back to the diary".to_owned()),
        moves: false,
        kept: "booking",
        meanwhile: "A booking that waits is not booked: the time may be taken meanwhile. Tell her that you will confirm it.",
    }
}

/// The form again with what was found: records by that name, and how the one chosen stands. Nothing is booked.
async fn look_again(staff: Staff, State(house): State<House>, form: Form<TypedBooking>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let typed = &form.typed;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let moving = match typed.moving.parse() {
        Ok(id) => Some(around.seen(&staff.who, store::one(&mut db, id).await?)?),
        Err(_) => None,
    };
    let kept = moving.as_ref().and_then(|appointment| appointment.booked.client);
    let looked = looked::look(&house, &mut db, &around, &staff.who, typed, kept, now).await?;
    drop(db);
    if typed.part == "found" {
        return page(&Found { looked });
    }
    let key = form.key.again();
    match moving {
        Some(appointment) => page(&move_view(&house, &staff, &around, &appointment, typed, looked, &[], key)),
        None => page(&new_view(&house, &staff, &around, typed, looked, &[], key)),
    }
}

async fn book(staff: Staff, State(house): State<House>, form: Form<TypedBooking>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let (around, looked) = {
        let mut db = house.store.read().await?;
        let around = Around::load(&mut db).await?;
        let looked = looked::look(&house, &mut db, &around, &staff.who, &form.typed, None, now).await?;
        (around, looked)
    };
    let result = match form.typed.check(&around, &staff.who, now, None, looked.client.as_ref()) {
        Ok(draft) => {
            let waiting = form.typed.waiting.parse::<WaitingId>().ok();
            house
                .store
                .write(&form.key, move |tx| {
                    let draft = draft.clone();
                    Box::pin(async move {
                        let made = booking::book(tx, &draft).await?;
                        if let Some(waiting) = waiting {
                            waiting_store::finish(tx, waiting).await?;
                        }
                        Ok(Kept::see(format!("/book/{}?told=booked", made.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = new_view(&house, &staff, &around, &form.typed, looked, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}
