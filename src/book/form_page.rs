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
use super::service::Service;
use super::{store, waiting_store};
use crate::base::actor::Who;
use crate::base::ids::{AppointmentId, ArtistId, ClientId, WaitingId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::store::Kept;
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
    short_name: String,
    first_visit: String,
    service: String,
    artist: String,
    day: String,
    at: String,
    bed: String,
    outside: String,
    note: String,
    /// Her record, where the form was opened from there.
    client: String,
    /// Whose place on the waiting list this takes.
    waiting: String,
    /// The version that was looked at.
    seen: String,
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
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: (String, String),
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
            seen: appointment.version.to_string(),
            ..Self::default()
        }
    }

    /// What was typed as a wish; the service of an appointment that is moved may be offered no more.
    fn check(&self, around: &Around, who: &Who, now: Instant, of: Option<&Appointment>) -> Result<Draft, Problem> {
        let mut notes = Notes::default();
        let short = notes.line("short_name", &self.short_name, 40);
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
                    client: self.client.parse::<ClientId>().ok(),
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
            text_field("short_name", "Who", &self.short_name)
                .hinted("First name and the first letter of the last: others can see this screen."),
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
    let around = load(&house).await?;
    if asked.day.is_empty() {
        asked.day = around.studio.zone.day(staff.visitor.now.0).to_string();
    }
    if asked.artist.is_empty() {
        // Whoever books for herself alone need not say so.
        if let [only] = around.booked_by(&staff.who).as_slice() {
            asked.artist = only.id.to_string();
        }
    }
    page(&new_view(&house, &staff, &around, &asked, &[], new_form_key()))
}

async fn load(house: &House) -> Result<Around, Problem> {
    let mut db = house.store.read().await?;
    Around::load(&mut db).await
}

fn new_view(
    house: &House,
    staff: &Staff,
    around: &Around,
    typed: &TypedBooking,
    notes: &[FieldNote],
    key: String,
) -> BookingForm {
    let fields = typed.fields(around, &staff.who, notes);
    let day = super::diary_page::typed_day(&typed.day, &around.studio, staff.visitor.now.0);
    BookingForm {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Book"),
        key,
        action: house.url("/book"),
        word: "Book",
        lead: String::new(),
        hidden: vec![("client", typed.client.clone()), ("waiting", typed.waiting.clone())],
        mistakes: mistakes(&fields),
        fields,
        button: "Book it",
        back: (house.url(&format!("/book?day={day}")), "Back to the diary".to_owned()),
    }
}

async fn book(staff: Staff, State(house): State<House>, form: Form<TypedBooking>) -> Result<Response, Problem> {
    let around = load(&house).await?;
    let result = match form.typed.check(&around, &staff.who, staff.visitor.now.0, None) {
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
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &new_view(&house, &staff, &around, &form.typed, &notes, key))
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
    page(&move_view(&house, &staff, &around, &appointment, &typed, &[], new_form_key()))
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

fn move_view(
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    typed: &TypedBooking,
    notes: &[FieldNote],
    key: String,
) -> BookingForm {
    let fields = typed.fields(around, &staff.who, notes);
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
        hidden: vec![("seen", typed.seen.clone())],
        mistakes: mistakes(&fields),
        fields,
        button: "Move it",
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
    let result = match form.typed.check(&around, &staff.who, staff.visitor.now.0, Some(&appointment)) {
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
            let view = move_view(&house, &staff, &around, &appointment, &form.typed, &notes, key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        other => Ok(answer(&house, &other?)),
    }
}
