//! Days and hours off besides the week: holidays, breaks, days on which the house is closed.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use jiff::ToSpan;
use jiff::civil::{Date, DateTime};
use serde::Deserialize;

use super::around::Around;
use super::hours::{MINUTES_A_DAY, edge, typed_minute};
use super::plan::{Off, Reason};
use super::search::later;
use super::slots::Span;
use super::{plan_store, store};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, TimeOffId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant};
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
    Routes::new().get("/book/off", list).post("/book/off", add).post("/book/off/{off}/strike", strike)
}

/// What the whole house is called in the form.
const HOUSE: &str = "house";

/// Days ahead that are shown.
const AHEAD: i64 = 500;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TypedOff {
    whose: String,
    reason: String,
    from_day: String,
    from_at: String,
    to_day: String,
    to_at: String,
}

struct Row {
    whose: String,
    when: String,
    /// What is booked in it all the same.
    booked: String,
    day: String,
    /// Empty for who may not take it back.
    strike: String,
}

#[derive(Template)]
#[template(path = "book/off.html")]
struct OffPage {
    frame: Frame,
    key: String,
    rows: Vec<Row>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    may_add: bool,
}

/// Whether this person says when that artist, or the house, is off.
fn may(around: &Around, who: &Who, artist: Option<ArtistId>) -> bool {
    match artist {
        Some(artist) => around.books_for(who, artist),
        None => matches!(who.role, Role::Owner | Role::Desk),
    }
}

impl TypedOff {
    fn check(&self, around: &Around, who: &Who) -> Result<Off, Problem> {
        let mut notes = Notes::default();
        let whose = match self.whose.as_str() {
            HOUSE => Some(None),
            id => id.parse().ok().map(Some),
        };
        let works = |artist: &Option<ArtistId>| artist.is_none_or(|id| around.artist(id).is_some());
        let whose = notes.choice("whose", whose.filter(|artist| works(artist) && may(around, who, *artist)));
        let reason = notes.choice("reason", Reason::from_word(&self.reason));
        let mut day = |field: &'static str, typed: &str| {
            let day: Option<Date> = typed.trim().parse().ok().filter(|day: &Date| (2000..2200).contains(&day.year()));
            if day.is_none() {
                notes.add(field, "Type the day as year-month-day, for instance 2026-07-06.");
            }
            day
        };
        let from = day("from_day", &self.from_day);
        let to = if self.to_day.trim().is_empty() { from } else { day("to_day", &self.to_day) };
        let mut minute = |field: &'static str, typed: &str, fresh: i64| match typed.trim() {
            "" => Some(fresh),
            text => {
                let minute = typed_minute(text);
                if minute.is_none() {
                    notes.add(
                        field,
                        "Type the time as hours and minutes, for instance 12:30; nothing for the whole day.",
                    );
                }
                minute
            }
        };
        let from_at = minute("from_at", &self.from_at, 0);
        let to_at = minute("to_at", &self.to_at, MINUTES_A_DAY);
        let zone = &around.studio.zone;
        let off = (|| {
            let (from, to) = ((from?, from_at?), (to?, to_at?));
            if to <= from {
                notes.add("to_day", "The end must lie after the beginning.");
                return None;
            }
            let long = later(from.0, 400);
            if to.0 > long {
                notes.add("to_day", "At most a year at once.");
                return None;
            }
            Some(Off {
                id: TimeOffId::new(),
                artist: whose?,
                from_wall: wall(from.0, from.1),
                to_wall: wall(to.0, to.1),
                span: Span::new(edge(from.0, from.1, zone), edge(to.0, to.1, zone)),
                reason: reason?,
            })
        })();
        notes.settle(off)
    }

    fn fields(&self, around: &Around, who: &Who, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut whose: Vec<(String, String)> =
            around.booked_by(who).iter().map(|a| (a.id.to_string(), a.name.clone())).collect();
        if may(around, who, None) {
            whose.insert(0, (HOUSE.to_owned(), "the whole house".to_owned()));
        }
        let reasons = Reason::ALL.map(|reason| (reason.word().to_owned(), reason.words().to_owned()));
        let mut fields = vec![
            choice_field("select", "whose", "Who", &self.whose, whose),
            choice_field("select", "reason", "Why", &self.reason, reasons),
            FieldView { kind: "date", ..text_field("from_day", "From the day", &self.from_day) },
            FieldView { kind: "time", ..text_field("from_at", "From the time", &self.from_at) }
                .hinted("Nothing for the whole day.")
                .or_empty(),
            FieldView { kind: "date", ..text_field("to_day", "To the day", &self.to_day) }
                .hinted("Nothing for the same day.")
                .or_empty(),
            FieldView { kind: "time", ..text_field("to_at", "To the time", &self.to_at) }
                .hinted("Nothing for the whole day.")
                .or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

fn wall(day: Date, minute: i64) -> DateTime {
    day.at(0, 0, 0, 0).checked_add(minute.minutes()).unwrap_or(day.at(0, 0, 0, 0))
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    page(&view(&house, &staff, &TypedOff::default(), &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    typed: &TypedOff,
    notes: &[FieldNote],
    key: String,
) -> Result<OffPage, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let now = staff.visitor.now.0;
    let mut rows = Vec::new();
    for off in plan_store::offs(&mut db, Span::new(now, now.plus(AHEAD * DAY))).await? {
        let taken = match off.artist {
            Some(artist) => store::taken_of(&mut db, artist, off.span, None).await?,
            None => store::taken(&mut db, off.span, None).await?,
        };
        let still = taken.iter().filter(|taken| taken.busy.to > now && taken.busy.overlaps(&off.span)).count();
        rows.push(row(house, &around, &staff.who, &off, still, now));
    }
    let fields = typed.fields(&around, &staff.who, notes);
    Ok(OffPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Days off"),
        key,
        rows,
        may_add: !around.booked_by(&staff.who).is_empty() || may(&around, &staff.who, None),
        mistakes: mistakes(&fields),
        fields,
    })
}

fn row(house: &House, around: &Around, who: &Who, off: &Off, booked: usize, now: Instant) -> Row {
    let zone = &around.studio.zone;
    let name =
        off.artist.map_or("The whole house", |artist| around.artist(artist).map_or("", |artist| artist.name.as_str()));
    let at = |at: Instant| format!("{} {}", zone.date(at, now), zone.clock(at));
    let mine = may(around, who, off.artist);
    Row {
        whose: format!("{name}: {}", off.reason.words()),
        when: format!("{} to {}", at(off.span.from), at(off.span.to)),
        booked: match booked {
            0 => String::new(),
            1 => "one appointment lies in it: move it".to_owned(),
            n => format!("{n} appointments lie in it: move them"),
        },
        day: house.url(&format!("/book?day={}", zone.day(off.span.from))),
        strike: if mine { house.url(&format!("/book/off/{}/strike", off.id)) } else { String::new() },
    }
}

async fn add(staff: Staff, State(house): State<House>, form: Form<TypedOff>) -> Result<Response, Problem> {
    let around = {
        let mut db = house.store.read().await?;
        Around::load(&mut db).await?
    };
    match form.typed.check(&around, &staff.who) {
        Ok(off) => {
            let zone = around.studio.zone.name().to_owned();
            let kept = house.store.write(&form.key, move |tx| {
                let (off, zone) = (off.clone(), zone.clone());
                Box::pin(async move {
                    plan_store::add_off(tx, &off, &zone).await?;
                    Ok(Kept::see("/book/off"))
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

async fn strike(
    staff: Staff,
    State(house): State<House>,
    At(id): At<TimeOffId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let who = staff.who.clone();
    let kept = house.store.write(&form.key, move |tx| {
        let who = who.clone();
        Box::pin(async move {
            let off = plan_store::off(tx.db(), id).await?.ok_or(Problem::NotHere("time off"))?;
            let around = Around::load(tx.db()).await?;
            if !may(&around, &who, off.artist) {
                return Err(Problem::NotHere("time off"));
            }
            plan_store::strike_off(tx, id).await?;
            Ok(Kept::see("/book/off"))
        })
    });
    Ok(answer(&house, &kept.await?))
}
