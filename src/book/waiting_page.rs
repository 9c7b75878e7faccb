//! The waiting list: who would come if a time came free.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use super::appointment::{Appointment, Booked};
use super::around::Around;
use super::hours::{MINUTES_A_DAY, minute_words, typed_minute};
use super::search::later;
use super::waiting_store::{self, Waiting};
use crate::base::actor::Role;
use crate::base::ids::{ArtistId, WaitingId};
use crate::base::older::page_of;
use crate::base::problem::{FieldNote, Problem};
use crate::base::zone::Zone;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/book/waiting", list).post("/book/waiting", add).post("/book/waiting/{waiting}/done", done)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedWaiting {
    short_name: String,
    first_visit: String,
    service: String,
    artist: String,
    from_day: String,
    to_day: String,
    after: String,
    before: String,
    note: String,
    /// Which part of the list is looked at, where the first does not hold everybody.
    page: String,
}

/// So many on one page of the list.
const LISTED: usize = 50;

/// Somebody on the list, as pages show her.
pub(super) struct WaitingRow {
    pub(super) who: String,
    pub(super) what: String,
    pub(super) when: String,
    pub(super) note: String,
    /// Where a time for her is looked for, or booked.
    pub(super) find: String,
    pub(super) done: String,
}

#[derive(Template)]
#[template(path = "book/waiting.html")]
struct WaitingPage {
    frame: Frame,
    key: String,
    rows: Vec<WaitingRow>,
    /// Where those stand who came later.
    later: Option<String>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

impl TypedWaiting {
    fn check(&self, around: &Around, today: Date) -> Result<Waiting, Problem> {
        let mut notes = Notes::default();
        let short = notes.line("short_name", &self.short_name, 40);
        let service = notes.choice("service", around.offered().find(|service| service.id.to_string() == self.service));
        let artist = match self.artist.as_str() {
            "" => Some(None),
            id => {
                notes.choice("artist", id.parse::<ArtistId>().ok().filter(|id| around.artist(*id).is_some())).map(Some)
            }
        };
        let mut day = |field: &'static str, typed: &str, fresh: Date| match typed.trim() {
            "" => Some(fresh),
            text => {
                let day: Option<Date> = text.parse().ok();
                if day.is_none() {
                    notes.add(field, "Type the day as year-month-day, for instance 2026-02-18.");
                }
                day
            }
        };
        let from = day("from_day", &self.from_day, today);
        let to = day("to_day", &self.to_day, later(from.unwrap_or(today), 60));
        if from.zip(to).is_some_and(|(from, to)| to < from) {
            notes.add("to_day", "The last day must not lie before the first.");
        }
        let mut minute = |field: &'static str, typed: &str, fresh: i64| match typed.trim() {
            "" => Some(fresh),
            text => {
                let minute = typed_minute(text);
                if minute.is_none() {
                    notes.add(field, "Type the time as hours and minutes, for instance 16:00.");
                }
                minute
            }
        };
        let after = minute("after", &self.after, 0);
        let before = minute("before", &self.before, MINUTES_A_DAY);
        if after.zip(before).is_some_and(|(after, before)| before <= after) {
            notes.add("before", "This must be later than the other time.");
        }
        let note = if self.note.trim().is_empty() { Some(String::new()) } else { notes.line("note", &self.note, 200) };
        let waiting = (|| {
            Some(Waiting {
                id: WaitingId::new(),
                service: service?.id,
                artist: artist?,
                booked: Booked { client: None, short: short?, first_visit: self.first_visit == "yes" },
                days: (from?, to?),
                minutes: (after?.min(MINUTES_A_DAY - 1), before?),
                note: note?,
            })
        })();
        notes.settle(waiting)
    }

    fn fields(&self, around: &Around, notes: &[FieldNote]) -> Vec<FieldView> {
        let services = around.offered().map(|service| (service.id.to_string(), service.name.clone()));
        let services = std::iter::once((String::new(), "choose".to_owned())).chain(services);
        let artists = around.artists.iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
        let artists = std::iter::once((String::new(), "anyone".to_owned())).chain(artists);
        let mut fields = vec![
            text_field("short_name", "Who", &self.short_name)
                .hinted("First name and the first letter of the last: others can see this screen."),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("first_visit", "Comes for the first time", &self.first_visit)
            },
            choice_field("select", "service", "Service", &self.service, services),
            choice_field("select", "artist", "With", &self.artist, artists),
            FieldView { kind: "date", ..text_field("from_day", "From the day", &self.from_day) }.or_empty(),
            FieldView { kind: "date", ..text_field("to_day", "To the day", &self.to_day) }.or_empty(),
            FieldView { kind: "time", ..text_field("after", "Begins at or after", &self.after) }.or_empty(),
            FieldView { kind: "time", ..text_field("before", "Begins before", &self.before) }.or_empty(),
            text_field("note", "Note", &self.note)
                .hinted("How to reach her quickly; without a word of health.")
                .or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

/// Somebody on the list in words, with a link that looks for her time.
pub(super) fn row(house: &House, around: &Around, waiting: &Waiting, now: crate::base::time::Instant) -> WaitingRow {
    let zone = &around.studio.zone;
    let date = |day: Date| zone.date(zone.start_of(day), now);
    let with = waiting.artist.map_or("anyone", |artist| around.first_name(artist));
    let hours = match waiting.minutes {
        (0, MINUTES_A_DAY) => String::new(),
        (after, MINUTES_A_DAY) => format!(", from {}", minute_words(after)),
        (0, before) => format!(", before {}", minute_words(before)),
        (after, before) => format!(", {} to {}", minute_words(after), minute_words(before)),
    };
    let first = if waiting.booked.first_visit { ", first visit" } else { "" };
    let artist = waiting.artist.map(|artist| artist.to_string()).unwrap_or_default();
    let first_visit = if waiting.booked.first_visit { "&first_visit=yes" } else { "" };
    let find = format!(
        "/book/free?waiting={}&service={}&artist={artist}&from={}&after={}&before={}{first_visit}",
        waiting.id,
        waiting.service,
        waiting.days.0,
        minute_words(waiting.minutes.0),
        minute_words(waiting.minutes.1)
    );
    WaitingRow {
        who: waiting.booked.short.clone(),
        what: format!("{}{first}, with {with}", around.service_name(waiting.service)),
        when: format!("{} to {}{hours}", date(waiting.days.0), date(waiting.days.1)),
        note: waiting.note.clone(),
        find: house.url(&find),
        done: house.url(&format!("/book/waiting/{}/done", waiting.id)),
    }
}

/// Whether somebody on the list would take the time of an appointment that was called off.
pub(super) fn would_come(waiting: &Waiting, freed: &Appointment, zone: &Zone) -> bool {
    let wall = zone.wall(freed.when.visit.from);
    let minute = i64::from(wall.hour()) * 60 + i64::from(wall.minute());
    waiting.artist.is_none_or(|artist| artist == freed.artist)
        && (waiting.days.0..=waiting.days.1).contains(&wall.date())
        && (waiting.minutes.0..waiting.minutes.1).contains(&minute)
}

async fn list(
    staff: Staff,
    State(house): State<House>,
    Query(typed): Query<TypedWaiting>,
) -> Result<Response, Problem> {
    page(&view(&house, &staff, &typed, &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    typed: &TypedWaiting,
    notes: &[FieldNote],
    key: String,
) -> Result<WaitingPage, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let now = staff.visitor.now.0;
    let rows = waiting_store::all(&mut db).await?;
    let own = around.own(&staff.who);
    // An artist sees those who would come to her; owner and desk everybody.
    let hers = |waiting: &&Waiting| staff.who.role != Role::Artist || waiting.artist.is_none() || waiting.artist == own;
    let rows = rows.iter().filter(hers).map(|waiting| row(house, &around, waiting, now)).collect();
    let (rows, next) = page_of(rows, typed.page.parse().unwrap_or(1), LISTED);
    let fields = typed.fields(&around, notes);
    Ok(WaitingPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Who is waiting"),
        key,
        rows,
        later: next.map(|page| house.url(&format!("/book/waiting?page={page}"))),
        mistakes: mistakes(&fields),
        fields,
    })
}

async fn add(staff: Staff, State(house): State<House>, form: Form<TypedWaiting>) -> Result<Response, Problem> {
    let (around, today) = {
        let mut db = house.store.read().await?;
        let around = Around::load(&mut db).await?;
        let today = around.studio.zone.day(staff.visitor.now.0);
        (around, today)
    };
    match form.typed.check(&around, today) {
        Ok(waiting) => {
            let kept = house.store.write(&form.key, move |tx| {
                let waiting = waiting.clone();
                Box::pin(async move {
                    waiting_store::add(tx, &waiting).await?;
                    Ok(Kept::see("/book/waiting"))
                })
            });
            Ok(answer(&house, &kept.await?))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            page_again(&view(&house, &staff, &form.typed, &notes, key).await?)
        }
        Err(problem) => Err(problem),
    }
}

async fn done(
    staff: Staff,
    State(house): State<House>,
    At(id): At<WaitingId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let (role, person) = (staff.who.role, staff.who.clone());
    let kept = house.store.write(&form.key, move |tx| {
        let person = person.clone();
        Box::pin(async move {
            let waiting = waiting_store::one(tx.db(), id).await?.ok_or(Problem::NotHere("waiting client"))?;
            let around = Around::load(tx.db()).await?;
            if role == Role::Artist && waiting.artist.is_some() && waiting.artist != around.own(&person) {
                return Err(Problem::NotHere("waiting client"));
            }
            waiting_store::finish(tx, id).await?;
            Ok(Kept::see("/book/waiting"))
        })
    });
    Ok(answer(&house, &kept.await?))
}
