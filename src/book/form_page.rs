//! Booking and moving: one form for both, so that nothing needs to be dragged.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;

use super::appointment::{Appointment, Booked, When};
use super::around::Around;
use super::booking::{self, Draft, Wish};
use super::hours::typed_minute;
use super::looked::{self, Looked};
use super::service::Service;
use super::{store, waiting_store};
use crate::base::actor::Who;
use crate::base::ids::{AppointmentId, ArtistId, WaitingId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::clients::Client;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/book/new", new_page)
        .post("/book", book)
        .post("/book/look", look_again)
        .get("/book/{appointment}/move", move_page)
        .post("/book/{appointment}/move", move_it)
}

/// How far back and ahead a day may lie: what was on paper, and what is planned.
const DAYS_BACK: i64 = 400;
const DAYS_AHEAD: i64 = 800;

/// What a booking form holds, and what a link to it may already say.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct TypedBooking {
    pub(super) short_name: String,
    pub(super) first_visit: String,
    pub(super) service: String,
    pub(super) artist: String,
    day: String,
    at: String,
    bed: String,
    outside: String,
    note: String,
    /// Her record, where one is chosen.
    pub(super) client: String,
    /// Whose place on the waiting list this takes.
    waiting: String,
    /// The visit after which this one is the next: who it is for stands there, and in no address.
    next_of: String,
    /// An appointment that is moved.
    moving: String,
    /// The version that was looked at.
    seen: String,
    /// "found" from the script, which wants nothing around what was found.
    part: String,
}

#[derive(Template)]
#[template(path = "book/form.html")]
struct BookingForm {
    frame: Frame,
    key: String,
    action: String,
    word: &'static str,
    lead: String,
    hidden: Vec<(&'static str, String)>,
    name: FieldView,
    looked: Looked,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
    look: String,
    back: (String, String),
}

/// What the script puts into the form while somebody types.
#[derive(Template)]
#[template(path = "book/found.html")]
struct Found {
    looked: Looked,
}

impl TypedBooking {
    fn of(appointment: &Appointment) -> Self {
        let yes = |set: bool| if set { "yes".to_owned() } else { String::new() };
        Self {
            short_name: appointment.booked.short.clone(),
            first_visit: yes(appointment.booked.first_visit),
            service: appointment.service.to_string(),
            artist: appointment.artist.to_string(),
            day: appointment.when.wall.date().to_string(),
            at: appointment.when.wall.strftime("%H:%M").to_string(),
            bed: appointment.bed.map(|bed| bed.to_string()).unwrap_or_default(),
            note: appointment.note.clone(),
            client: appointment.booked.client.map(|client| client.to_string()).unwrap_or_default(),
            seen: appointment.version.to_string(),
            ..Self::default()
        }
    }

    /// What was typed as a wish; the service of an appointment that is moved may be offered no more.
    fn check(
        &self,
        around: &Around,
        who: &Who,
        now: Instant,
        of: Option<&Appointment>,
        client: Option<&Client>,
    ) -> Result<Draft, Problem> {
        let mut notes = Notes::default();
        let short = self.short(&mut notes, of, client);
        let kept = of.map(|appointment| appointment.service);
        let services = around.all_services().iter().filter(|service| !service.closed || Some(service.id) == kept);
        let service = notes.choice("service", services.clone().find(|service| service.id.to_string() == self.service));
        let artist = notes.choice("artist", self.artist.parse().ok().filter(|id| around.books_for(who, *id)));
        let bed = notes.choice("bed", self.wish());
        let when = self.when(&mut notes, around, service, now);
        let note = text::line(&self.note, 200);
        let note = match note {
            Err(text::BadText::Empty) => Some(String::new()),
            Err(bad) => {
                notes.add("note", bad.to_string());
                None
            }
            Ok(note) => Some(note),
        };
        let draft = (|| {
            Some(Draft {
                id: of.map_or_else(AppointmentId::new, |appointment| appointment.id),
                artist: artist?,
                bed: bed?,
                service: service?.clone(),
                booked: Booked {
                    client: client.map(|client| client.id),
                    short: short?,
                    first_visit: self.first_visit == "yes",
                },
                when: when?,
                note: note?,
                outside: self.outside == "yes",
            })
        })();
        notes.settle(draft)
    }

    /// How she is called on screens: as her record says, or as it was typed of somebody without one.
    fn short(&self, notes: &mut Notes, of: Option<&Appointment>, client: Option<&Client>) -> Option<String> {
        let hers = of.and_then(|appointment| appointment.booked.client);
        match client {
            None if !self.client.is_empty() => {
                notes.add("short_name", "This record cannot be chosen any more. Choose another, or the name alone.");
                None
            }
            Some(client) if client.restricted.is_some() && hers != Some(client.id) => {
                notes.add("short_name", "Her record is restricted at her wish: it is kept and not used.");
                None
            }
            Some(client) => Some(client.short.clone()),
            None => notes.line("short_name", &self.short_name, 40),
        }
    }

    /// When the visit would begin, where day and time are such.
    pub(super) fn starts(&self, around: &Around, service: &Service, now: Instant) -> Option<Instant> {
        self.when(&mut Notes::default(), around, Some(service), now).map(|when| when.visit.from)
    }

    fn wish(&self) -> Option<Wish> {
        if self.bed.is_empty() { Some(Wish::Any) } else { self.bed.parse().ok().map(Wish::One) }
    }

    fn when(&self, notes: &mut Notes, around: &Around, service: Option<&Service>, now: Instant) -> Option<When> {
        let zone = &around.studio.zone;
        let today = zone.day(now);
        let near = |day: &Date| {
            let back = today.checked_sub(DAYS_BACK.days()).unwrap_or(today);
            let ahead = today.checked_add(DAYS_AHEAD.days()).unwrap_or(today);
            (back..=ahead).contains(day)
        };
        let day: Option<Date> = self.day.trim().parse().ok().filter(near);
        if day.is_none() {
            notes.add("day", "Type the day as year-month-day, for instance 2026-02-18, within two years.");
        }
        let minute = typed_minute(&self.at).filter(|minute| *minute < super::hours::MINUTES_A_DAY);
        if minute.is_none() {
            notes.add("at", "Type the time as hours and minutes, for instance 14:30.");
        }
        let (hour, minute) = (i8::try_from(minute? / 60).ok()?, i8::try_from(minute? % 60).ok()?);
        let length = service?.length_for(self.first_visit == "yes");
        match When::typed(day?.at(hour, minute, 0, 0), zone, &length) {
            Ok(when) => Some(when),
            Err(gap) => {
                notes.add("at", gap.sentence());
                None
            }
        }
    }

    fn fields(&self, around: &Around, who: &Who, notes: &[FieldNote]) -> Vec<FieldView> {
        let service = |service: &Service| {
            let first = if service.first_minutes > 0 {
                format!(", first visit {} more", service.first_minutes)
            } else {
                String::new()
            };
            (service.id.to_string(), format!("{}, {} min{first}", service.name, service.length.minutes))
        };
        let offered =
            around.all_services().iter().filter(|s| !s.closed || s.id.to_string() == self.service).map(service);
        let artists = around.booked_by(who).into_iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
        let beds = std::iter::once((String::new(), "whichever is free".to_owned()));
        let beds = beds.chain(around.beds().map(|bed| (bed.id.to_string(), bed.words())));
        let mut fields = vec![
            text_field("short_name", "Who", &self.short_name).hinted(
                "The beginning of her name finds her record. For somebody without one: first name and one letter, since others can see this screen.",
            ),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("first_visit", "Comes for the first time", &self.first_visit)
            },
            choice_field("select", "service", "Service", &self.service, with_none(offered)),
            choice_field("select", "artist", "With", &self.artist, with_none(artists)),
            FieldView { kind: "date", ..text_field("day", "Day", &self.day) },
            FieldView { kind: "time", ..text_field("at", "Time", &self.at) },
            choice_field("select", "bed", "Bed", &self.bed, beds),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("outside", "also outside the hours", &self.outside)
            },
            text_field("note", "Note", &self.note).hinted("Without a word of health.").or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

fn with_none(choices: impl Iterator<Item = (String, String)>) -> Vec<(String, String)> {
    std::iter::once((String::new(), "choose".to_owned())).chain(choices).collect()
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
    let key = form.key.form.clone().unwrap_or_default();
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
            let key = form.key.form.clone().unwrap_or_default();
            let view = new_view(&house, &staff, &around, &form.typed, looked, &notes, key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

/// The appointment, for those who may move it.
pub(super) async fn hers(house: &House, staff: &Staff, id: AppointmentId) -> Result<(Around, Appointment), Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let appointment = around.seen(&staff.who, store::one(&mut db, id).await?)?;
    Ok((around, appointment))
}

async fn move_page(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    Query(asked): Query<Elsewhere>,
) -> Result<Response, Problem> {
    let (around, appointment) = hers(&house, &staff, id).await?;
    let mut typed = TypedBooking::of(&appointment);
    asked.into_form(&mut typed);
    let looked = look_for_move(&house, &staff, &around, &appointment, &typed).await?;
    page(&move_view(&house, &staff, &around, &appointment, &typed, looked, &[], new_form_key()))
}

async fn look_for_move(
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    typed: &TypedBooking,
) -> Result<Looked, Problem> {
    let mut db = house.store.read().await?;
    let (kept, now) = (appointment.booked.client, staff.visitor.now.0);
    looked::look(house, &mut db, around, &staff.who, typed, kept, now).await
}

/// Where a link of free times says it should go.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Elsewhere {
    artist: String,
    day: String,
    at: String,
    bed: Option<String>,
}

impl Elsewhere {
    fn into_form(self, typed: &mut TypedBooking) {
        if self.artist.parse::<ArtistId>().is_ok() {
            typed.artist = self.artist;
        }
        if !self.day.is_empty() && !self.at.is_empty() {
            (typed.day, typed.at) = (self.day, self.at);
        }
        if let Some(bed) = self.bed {
            typed.bed = bed;
        }
    }
}

#[expect(clippy::too_many_arguments, reason = "the page of a form that came back shows all of it")]
fn move_view(
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    typed: &TypedBooking,
    looked: Looked,
    notes: &[FieldNote],
    key: String,
) -> BookingForm {
    let mut fields = typed.fields(around, &staff.who, notes);
    let (zone, now) = (&around.studio.zone, staff.visitor.now.0);
    let at = appointment.when.visit.from;
    let with = around.first_name(appointment.artist);
    let home = house.url(&format!("/book/{}", appointment.id));
    BookingForm {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Move an appointment"),
        key,
        action: format!("{home}/move"),
        word: "Move",
        lead: format!("Now {} {} with {with}.", zone.date(at, now), zone.clock(at)),
        hidden: vec![("seen", typed.seen.clone()), ("moving", appointment.id.to_string())],
        mistakes: mistakes(&fields),
        name: fields.remove(0),
        looked,
        fields,
        button: "Move it",
        look: house.url("/book/look"),
        back: (home, "Leave it where it is".to_owned()),
    }
}

async fn move_it(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedBooking>,
) -> Result<Response, Problem> {
    let (around, appointment) = hers(&house, &staff, id).await?;
    let seen = form.typed.seen.parse().unwrap_or(0);
    let looked = look_for_move(&house, &staff, &around, &appointment, &form.typed).await?;
    let now = staff.visitor.now.0;
    let result = match form.typed.check(&around, &staff.who, now, Some(&appointment), looked.client.as_ref()) {
        Ok(draft) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let draft = draft.clone();
                    Box::pin(async move {
                        booking::move_to(tx, &draft, seen).await?;
                        Ok(Kept::see(format!("/book/{id}?told=moved")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let view = move_view(&house, &staff, &around, &appointment, &form.typed, looked, &notes, key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        other => Ok(answer(&house, &other?)),
    }
}
