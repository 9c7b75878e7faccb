//! Looking for free time: "two hours with Ines, after four".

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use super::around::Around;
use super::hours::{MINUTES_A_DAY, typed_minute};
use super::search::{self, Ask, Free};
use super::slots::Length;
use super::typed_booking::MINUTES;
use super::{store, waiting_store};
use crate::artists::Artist;
use crate::base::actor::Who;
use crate::base::ids::{AppointmentId, ArtistId, WaitingId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/book/free", look)
}

/// How far ahead is looked.
const DAYS: i64 = 120;

/// Times shown of one artist's day, and in all.
const A_DAY: usize = 4;
const SHOWN: usize = 24;

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TypedWish {
    service: String,
    artist: String,
    minutes: String,
    first_visit: String,
    from: String,
    after: String,
    before: String,
    /// An appointment that is to be moved.
    moving: String,
    /// Whose place on the waiting list it would take.
    waiting: String,
}

struct FreeRow {
    when: String,
    with: String,
    bed: String,
    href: String,
}

#[derive(Template)]
#[template(path = "book/free.html")]
struct FreePage {
    frame: Frame,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    hidden: Vec<(&'static str, String)>,
    /// What was looked for; empty while nothing was asked.
    asked: String,
    act: &'static str,
    rows: Vec<FreeRow>,
    waiting: String,
}

impl TypedWish {
    fn check(&self, around: &Around, artists: &[&Artist], now: Instant) -> Result<(Ask, String), Problem> {
        let mut notes = Notes::default();
        let service = notes.choice("service", around.offered().find(|service| service.id.to_string() == self.service));
        let with: Option<Vec<ArtistId>> = match self.artist.as_str() {
            "" => Some(artists.iter().map(|artist| artist.id).collect()),
            id => {
                let chosen = artists.iter().find(|artist| artist.id.to_string() == id);
                notes.choice("artist", chosen).map(|artist| vec![artist.id])
            }
        };
        let minutes = notes.optional_number("minutes", &self.minutes, MINUTES, "minutes");
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
        let today = around.studio.zone.day(now);
        let from: Option<Date> = if self.from.is_empty() { Some(today) } else { self.from.parse().ok() };
        if from.is_none() {
            notes.add("from", "Type the day as year-month-day, for instance 2026-02-18.");
        }
        #[expect(clippy::cast_possible_truncation, reason = "5 to 600 minutes")]
        let ask = (|| {
            let service = service?;
            let own = service.length_for(self.first_visit == "yes");
            let length = Length { minutes: minutes?.map_or(own.minutes, |minutes| minutes.round() as i64), ..own };
            let words = format!("{} minutes for {}", length.minutes, service.name);
            let ask = Ask {
                length,
                takes_bed: service.takes_bed,
                artists: with?,
                moving: None,
                after: after?,
                before: before?,
                from: from?.max(today),
                days: DAYS,
                most_a_day: 40,
                most: 240,
            };
            Some((ask, words))
        })();
        notes.settle(ask)
    }

    fn fields(&self, around: &Around, artists: &[&Artist], notes: &[FieldNote]) -> Vec<FieldView> {
        let services = around.offered().map(|service| (service.id.to_string(), service.name.clone()));
        let services = std::iter::once((String::new(), "choose".to_owned())).chain(services);
        let with = artists.iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
        let with = std::iter::once((String::new(), "anyone".to_owned())).chain(with);
        let mut fields = vec![
            choice_field("select", "service", "Service", &self.service, services),
            choice_field("select", "artist", "With", &self.artist, with),
            number_field("minutes", "Minutes", &self.minutes)
                .hinted("Where it should take another time than the service’s own.")
                .or_empty(),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("first_visit", "Comes for the first time", &self.first_visit)
            },
            FieldView { kind: "date", ..text_field("from", "From the day", &self.from) }.or_empty(),
            FieldView { kind: "time", ..text_field("after", "Begins at or after", &self.after) }.or_empty(),
            FieldView { kind: "time", ..text_field("before", "Begins before", &self.before) }.or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

async fn look(staff: Staff, State(house): State<House>, Query(typed): Query<TypedWish>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let now = staff.visitor.now.0;
    let artists = around.booked_by(&staff.who);
    let nothing_asked = typed.service.is_empty();
    let (mut asked, mut rows, mut notes) = (String::new(), Vec::new(), Vec::new());
    if !nothing_asked {
        match typed.check(&around, &artists, now) {
            Ok((mut ask, words)) => {
                ask.moving = moving(&mut db, &around, &staff.who, &typed.moving).await?;
                let beds: Vec<_> = around.beds().collect();
                let found = search::search(&mut db, &ask, &beds, &around.studio.zone, now).await?;
                let base = base_query(&mut db, &typed).await?;
                let found = spread(found, &around.studio.zone);
                rows = found.into_iter().map(|free| free_row(&house, &around, &typed, &base, free, now)).collect();
                asked = words;
            }
            Err(Problem::Mistakes(found)) => notes = found,
            Err(problem) => return Err(problem),
        }
    }
    drop(db);
    let fields = typed.fields(&around, &artists, &notes);
    page(&FreePage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Free time"),
        mistakes: mistakes(&fields),
        fields,
        hidden: vec![("moving", typed.moving.clone()), ("waiting", typed.waiting.clone())],
        asked,
        act: if typed.moving.is_empty() { "Book" } else { "Move it to" },
        rows,
        waiting: house.url("/book/waiting"),
    })
}

/// The appointment that is to be moved, for whoever may move it: of another's time nothing is told.
async fn moving(db: &mut Db, around: &Around, who: &Who, typed: &str) -> Result<Option<AppointmentId>, Problem> {
    let Ok(id) = typed.parse::<AppointmentId>() else { return Ok(None) };
    let appointment = store::one(db, id).await?;
    Ok(around.seen(who, appointment).ok().map(|own| own.id))
}

/// Of each artist's day the first, the last and two between: a list of quarter hours one after the other says less.
fn spread(found: Vec<Free>, zone: &Zone) -> Vec<Free> {
    let mut groups: BTreeMap<(Date, ArtistId), Vec<Free>> = BTreeMap::new();
    for free in found {
        groups.entry((zone.day(free.at), free.artist)).or_default().push(free);
    }
    let some = |group: &Vec<Free>| -> Vec<Free> {
        let last = group.len() - 1;
        let picked = if last < A_DAY {
            (0..=last).collect()
        } else {
            (0..A_DAY).map(|n| n * last / (A_DAY - 1)).collect::<Vec<_>>()
        };
        picked.into_iter().map(|n| group[n]).collect()
    };
    let mut shown: Vec<Free> = groups.values().flat_map(some).collect();
    shown.sort_by_key(|free| free.at);
    shown.truncate(SHOWN);
    shown
}

/// What a link of every row says besides time, artist and bed: who it is for.
async fn base_query(db: &mut Db, typed: &TypedWish) -> Result<Vec<(&'static str, String)>, Problem> {
    let mut base = vec![("service", typed.service.clone())];
    if let Ok(id) = typed.waiting.parse::<WaitingId>()
        && let Some(waiting) = waiting_store::one(db, id).await?
    {
        base.push(("waiting", waiting.id.to_string()));
    } else if typed.first_visit == "yes" {
        base.push(("first_visit", "yes".to_owned()));
    }
    Ok(base)
}

fn free_row(
    house: &House,
    around: &Around,
    typed: &TypedWish,
    base: &[(&'static str, String)],
    free: Free,
    now: Instant,
) -> FreeRow {
    let zone = &around.studio.zone;
    let wall = zone.wall(free.at);
    let mut query = vec![
        ("artist", free.artist.to_string()),
        ("day", wall.date().to_string()),
        ("at", wall.strftime("%H:%M").to_string()),
    ];
    if let Some(bed) = free.bed {
        query.push(("bed", bed.to_string()));
    }
    if !typed.minutes.trim().is_empty() {
        query.push(("minutes", typed.minutes.trim().to_owned()));
    }
    let path = match typed.moving.parse::<AppointmentId>() {
        Ok(id) => format!("/book/{id}/move"),
        Err(_) => {
            query.extend(base.iter().cloned());
            "/book/new".to_owned()
        }
    };
    FreeRow {
        when: format!("{} {}", zone.date(free.at, now), zone.clock(free.at)),
        with: around.first_name(free.artist).to_owned(),
        bed: around.bed_words(free.bed),
        href: house.url(&format!("{path}?{}", serde_urlencoded::to_string(query).unwrap_or_default())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::time::{HOUR, MINUTE};

    #[test]
    fn of_a_free_day_the_first_the_last_and_two_between_are_shown() {
        let artist = ArtistId::new();
        let day = |from: i64, n: i64| {
            (0..n)
                .map(move |n| Free { at: Instant(from * HOUR + n * 15 * MINUTE), artist, bed: None })
                .collect::<Vec<_>>()
        };
        let minutes = |found: Vec<Free>| -> Vec<i64> {
            spread(found, &Zone::utc()).iter().map(|free| free.at.0 / MINUTE).collect()
        };
        assert_eq!(minutes(day(9, 31)), [540, 690, 840, 990]);
        assert_eq!(minutes(day(9, 3)), [540, 555, 570]);
        assert_eq!(minutes([day(9, 5), day(33, 1)].concat()), [540, 555, 570, 600, 33 * 60]);
        assert!(minutes(Vec::new()).is_empty());
    }
}
