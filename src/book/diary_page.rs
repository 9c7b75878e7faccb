//! The diary: a day across artists or beds, a week of one of them.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use super::appointment::{Appointment, State as Standing};
use super::around::Around;
use super::grid::{self, Column, Entry, Item, Row};
use super::hours::{MINUTES_A_DAY, MinuteSpan};
use super::plan::{Bed, Hours};
use super::search::later;
use super::slots::{Span, Spans};
use super::{plan_store, store};
use crate::artists::Artist;
use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, BedId};
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/book", day_page).get("/book/week", week_page)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Asked {
    day: String,
    /// "beds", or artists.
    by: String,
    /// One artist or bed alone.
    only: String,
}

/// A link of which one is where we are.
struct Pick {
    word: String,
    href: String,
    here: bool,
}

struct Head {
    word: String,
    small: String,
    href: String,
}

#[derive(Template)]
#[template(path = "book/diary.html")]
struct DiaryPage {
    frame: Frame,
    /// "Wed 18 Feb", "Mon 16 Feb to Sun 22 Feb".
    dates: String,
    caption: String,
    before: String,
    after: String,
    today: String,
    /// "day" or "week", for the words of the links.
    step: &'static str,
    views: Vec<Pick>,
    whose: Vec<Pick>,
    heads: Vec<Head>,
    rows: Vec<Row>,
    /// Why there is nothing to draw, and what to do.
    empty: Option<(String, String, String)>,
    owner: bool,
    /// She opens treatment cards.
    cards: bool,
    own_calendar: Option<String>,
    waiting: String,
    /// A note for a day on which the clocks change.
    change: String,
}

/// What one person may see of the diary.
struct Eyes<'a> {
    house: &'a House,
    around: &'a Around,
    who: &'a Who,
}

pub(super) fn typed_day(text: &str, studio: &Studio, now: crate::base::time::Instant) -> Date {
    text.parse().unwrap_or_else(|_| studio.zone.day(now))
}

async fn day_page(staff: Staff, State(house): State<House>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let (zone, now) = (&around.studio.zone, staff.visitor.now.0);
    let day = typed_day(&asked.day, &around.studio, now);
    let span = Span::new(zone.start_of(day), zone.start_of(later(day, 1)));
    let hours = plan_store::hours(&mut db, span).await?;
    let booked = store::between(&mut db, span).await?;
    let waiting = super::waiting_store::how_many(&mut db).await?;
    drop(db);
    let eyes = Eyes { house: &house, around: &around, who: &staff.who };
    let by_beds = asked.by == "beds";
    let whole =
        if by_beds { eyes.bed_columns(day, &hours, &booked) } else { eyes.artist_columns(day, &hours, &booked) };
    let here = |id: &str| asked.only == id;
    let by = if by_beds { "&by=beds" } else { "" };
    let link = |only: &str| house.url(&format!("/book?day={day}{by}{}", only_query(only)));
    let mut whose = vec![Pick { word: "All".into(), href: link(""), here: asked.only.is_empty() }];
    whose.extend(whole.iter().map(|(id, column)| Pick { word: column.head.clone(), href: link(id), here: here(id) }));
    let columns: Vec<Column> =
        whole.into_iter().filter(|(id, _)| asked.only.is_empty() || here(id)).map(|(_, column)| column).collect();
    let at = |other: Date| house.url(&format!("/book?day={other}{by}{}", only_query(&asked.only)));
    let date = zone.date(span.from, now);
    let base = eyes.bare(&staff, format!("Book, {date}"), waiting);
    page(&DiaryPage {
        dates: date.clone(),
        caption: format!("{date}: half hours down, {} across", if by_beds { "beds" } else { "artists" }),
        before: at(later(day, -1)),
        after: at(later(day, 1)),
        today: at(zone.day(now)),
        step: "day",
        views: eyes.views(day, if by_beds { "beds" } else { "artists" }),
        whose,
        change: change_words(day, &around.studio),
        ..with_columns(base, columns)
    })
}

fn only_query(only: &str) -> String {
    if only.parse::<ArtistId>().is_ok() { format!("&only={only}") } else { String::new() }
}

/// What to say on a day that is longer or shorter than others.
fn change_words(day: Date, studio: &Studio) -> String {
    let zone = &studio.zone;
    let minutes = zone.start_of(later(day, 1)).since(zone.start_of(day)) / crate::base::time::MINUTE;
    match minutes - MINUTES_A_DAY {
        0 => String::new(),
        less if less < 0 => "The clocks go forward in this night: an hour of it does not exist.".to_owned(),
        _ => "The clocks go back in this night: an hour of it comes twice, and its first time is meant.".to_owned(),
    }
}

async fn week_page(staff: Staff, State(house): State<House>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let (zone, now) = (&around.studio.zone, staff.visitor.now.0);
    let day = typed_day(&asked.day, &around.studio, now);
    let monday = later(day, -i64::from(day.weekday().to_monday_zero_offset()));
    let span = Span::new(zone.start_of(monday), zone.start_of(later(monday, 7)));
    let hours = plan_store::hours(&mut db, span).await?;
    let waiting = super::waiting_store::how_many(&mut db).await?;
    let eyes = Eyes { house: &house, around: &around, who: &staff.who };
    let bed = asked.only.parse::<BedId>().ok().and_then(|id| around.bed(id)).cloned();
    let artist = match &bed {
        Some(_) => None,
        None => eyes.week_of(&asked.only).cloned(),
    };
    let booked = match &artist {
        Some(artist) => store::of_artist(&mut db, artist.id, span).await?,
        None => store::between(&mut db, span).await?,
    };
    drop(db);
    let days = (0..7).map(|n| later(monday, n));
    let columns: Vec<Column> = days
        .map(|day| {
            let mut column = match (&bed, &artist) {
                (Some(bed), _) => eyes.bed_column(bed, day, &hours, &booked),
                (None, Some(artist)) => eyes.artist_column(artist, day, &hours, &booked),
                (None, None) => Column::default(),
            };
            column.head = zone.date(zone.start_of(day), now);
            column.href = house.url(&format!("/book?day={day}"));
            column.whose = format!("{}, {}", column.whose, column.head);
            column
        })
        .collect();
    let only = bed.as_ref().map(|bed| bed.id.to_string()).or(artist.as_ref().map(|artist| artist.id.to_string()));
    let only = only.unwrap_or_default();
    let name = bed.as_ref().map(Bed::words).or(artist.map(|artist| artist.name)).unwrap_or_default();
    let at = |other: Date| house.url(&format!("/book/week?day={other}{}", only_query(&only)));
    let word = format!("{} to {}", columns[0].head, columns[6].head);
    let base = eyes.bare(&staff, format!("{name}, {word}"), waiting);
    page(&DiaryPage {
        caption: format!("{name}, {word}: half hours down, days across"),
        dates: word,
        before: at(later(monday, -7)),
        after: at(later(monday, 7)),
        today: at(zone.day(now)),
        step: "week",
        views: eyes.views(day, "week"),
        whose: eyes.week_picks(day, &only),
        change: String::new(),
        ..with_columns(base, if only.is_empty() { Vec::new() } else { columns })
    })
}

fn with_columns(base: DiaryPage, columns: Vec<Column>) -> DiaryPage {
    let rows = grid::rows(&columns);
    let heads =
        columns.into_iter().map(|column| Head { word: column.head, small: column.small, href: column.href }).collect();
    DiaryPage { heads, rows, ..base }
}

impl Eyes<'_> {
    fn bare(&self, staff: &Staff, title: String, waiting: i64) -> DiaryPage {
        let owner = self.who.role == Role::Owner;
        let first_steps = |sentence: &str, path: &str, act: &str| {
            let href = if owner { self.house.url(path) } else { String::new() };
            Some((sentence.to_owned(), href, act.to_owned()))
        };
        let empty = if self.around.artists.is_empty() {
            first_steps(
                "Nobody is among the artists yet. Add those who work at the bed; then they can be booked.",
                "/hands/new",
                "Add an artist",
            )
        } else if self.around.offered().next().is_none() {
            first_steps(
                "Nothing can be booked yet. Add what the studio offers, with how long it takes.",
                "/book/services/new",
                "Add a service",
            )
        } else if self.around.beds().next().is_none() {
            first_steps(
                "No room has a bed yet. Add the beds; one client at a time lies on each.",
                "/book/beds",
                "Add a bed",
            )
        } else {
            None
        };
        let own = self.around.own(self.who);
        DiaryPage {
            frame: self.house.frame(&self.around.studio, &staff.visitor, Place::Book, title),
            dates: String::new(),
            caption: String::new(),
            before: String::new(),
            after: String::new(),
            today: String::new(),
            step: "day",
            views: Vec::new(),
            whose: Vec::new(),
            heads: Vec::new(),
            rows: Vec::new(),
            empty,
            owner,
            cards: crate::clients::reads_health(self.who),
            own_calendar: own.map(|artist| self.house.url(&format!("/book/calendar/{artist}"))),
            waiting: match waiting {
                0 => "Nobody is waiting.".to_owned(),
                1 => "One person is waiting for a time.".to_owned(),
                n => format!("{n} people are waiting for a time."),
            },
            change: String::new(),
        }
    }

    fn views(&self, day: Date, here: &str) -> Vec<Pick> {
        let view = |word: &str, path: String, name| Pick {
            word: word.into(),
            href: self.house.url(&path),
            here: here == name,
        };
        vec![
            view("Day by artist", format!("/book?day={day}"), "artists"),
            view("Day by room", format!("/book?day={day}&by=beds"), "beds"),
            view("Week", format!("/book/week?day={day}"), "week"),
        ]
    }

    /// Whose week is shown where nobody was asked for: her own, else the first artist's.
    fn week_of(&self, only: &str) -> Option<&Artist> {
        let asked = only.parse().ok().and_then(|id| self.around.artist(id));
        asked
            .or_else(|| self.around.own(self.who).and_then(|id| self.around.artist(id)))
            .or_else(|| self.around.artists.first())
    }

    fn week_picks(&self, day: Date, only: &str) -> Vec<Pick> {
        let link = |id: String, word: String| Pick {
            href: self.house.url(&format!("/book/week?day={day}&only={id}")),
            here: id == only,
            word,
        };
        let artists = self.around.artists.iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
        let beds = self.around.beds().map(|bed| (bed.id.to_string(), bed.words()));
        artists.chain(beds).map(|(id, word)| link(id, word)).collect()
    }

    fn artist_columns(&self, day: Date, hours: &Hours, booked: &[Appointment]) -> Vec<(String, Column)> {
        let column = |artist: &Artist| (artist.id.to_string(), self.artist_column(artist, day, hours, booked));
        self.around.artists.iter().map(column).collect()
    }

    fn artist_column(&self, artist: &Artist, day: Date, hours: &Hours, booked: &[Appointment]) -> Column {
        let zone = &self.around.studio.zone;
        let first = self.around.first_name(artist.id).to_owned();
        let off = hours.off_for(artist.id).find(|off| off.span.overlaps(&self.span_of(day)));
        Column {
            head: artist.name.clone(),
            href: self.house.url(&format!("/book/week?day={day}&only={}", artist.id)),
            small: off.map(|off| off.reason.words().to_owned()).unwrap_or_default(),
            open: self.minutes(&hours.open(artist.id, day, zone), day),
            items: self.items(day, booked, |a| a.artist == artist.id, |a| self.around.bed_words(a.bed)),
            book: self.book_link(artist.id, &format!("day={day}&artist={}", artist.id)),
            whose: format!("with {first}"),
        }
    }

    fn bed_columns(&self, day: Date, hours: &Hours, booked: &[Appointment]) -> Vec<(String, Column)> {
        let mut beds: Vec<&Bed> = self.around.beds().collect();
        // What is still booked on a bed that is out of use must not vanish.
        let taken: BTreeSet<BedId> = booked.iter().filter_map(|a| a.bed).collect();
        beds.extend(taken.iter().filter_map(|id| self.around.bed(*id)).filter(|bed| bed.closed));
        beds.into_iter().map(|bed| (bed.id.to_string(), self.bed_column(bed, day, hours, booked))).collect()
    }

    fn bed_column(&self, bed: &Bed, day: Date, hours: &Hours, booked: &[Appointment]) -> Column {
        let zone = &self.around.studio.zone;
        let books = !bed.closed && !self.around.booked_by(self.who).is_empty();
        let query = format!("/book/new?day={day}&bed={}&at=", bed.id);
        Column {
            head: bed.words(),
            href: self.house.url(&format!("/book/week?day={day}&only={}", bed.id)),
            small: if bed.closed { "out of use".to_owned() } else { String::new() },
            open: if bed.closed { Vec::new() } else { self.minutes(&hours.house_open(day, zone), day) },
            items: self.items(day, booked, |a| a.bed == Some(bed.id), |a| self.around.first_name(a.artist).to_owned()),
            book: if books { self.house.url(&query) } else { String::new() },
            whose: format!("on {}", bed.words()),
        }
    }

    fn book_link(&self, artist: ArtistId, query: &str) -> String {
        if self.around.books_for(self.who, artist) {
            self.house.url(&format!("/book/new?{query}&at="))
        } else {
            String::new()
        }
    }

    fn span_of(&self, day: Date) -> Span {
        let zone = &self.around.studio.zone;
        Span::new(zone.start_of(day), zone.start_of(later(day, 1)))
    }

    fn items(
        &self,
        day: Date,
        booked: &[Appointment],
        whose: impl Fn(&Appointment) -> bool,
        small: impl Fn(&Appointment) -> String,
    ) -> Vec<Item> {
        let span = self.span_of(day);
        let shown = |a: &&Appointment| whose(a) && a.state != Standing::Cancelled && a.when.visit.overlaps(&span);
        booked
            .iter()
            .filter(shown)
            .map(|a| Item {
                span: self.minute_span(a.when.visit, day),
                busy: self.minute_span(a.when.busy, day),
                entry: self.entry(a, small(a)),
            })
            .collect()
    }

    fn entry(&self, a: &Appointment, small: String) -> Entry {
        let zone = &self.around.studio.zone;
        let time = format!("{}–{}", zone.clock(a.when.visit.from), zone.clock(a.when.visit.to));
        let missed = a.state == Standing::NoShow;
        if !self.around.books_for(self.who, a.artist) {
            return Entry { time, who: "taken".to_owned(), small, missed, ..Entry::default() };
        }
        let mut what = self.around.service_name(a.service).to_owned();
        if a.booked.first_visit {
            // Writing to a String cannot fail.
            let _written = write!(what, ", first visit");
        }
        Entry {
            href: self.house.url(&format!("/book/{}", a.id)),
            time,
            who: a.booked.short.clone(),
            what,
            small,
            missed,
        }
    }

    fn minutes(&self, spans: &Spans, day: Date) -> Vec<MinuteSpan> {
        spans.as_slice().iter().map(|span| self.minute_span(*span, day)).collect()
    }

    /// Minutes of the wall on this day: what began before it begins at its start, what goes on after it ends at its end.
    fn minute_span(&self, span: Span, day: Date) -> MinuteSpan {
        let zone = &self.around.studio.zone;
        let own = self.span_of(day);
        let minute = |at: crate::base::time::Instant| {
            let wall = zone.wall(at);
            i64::from(wall.hour()) * 60 + i64::from(wall.minute())
        };
        let from = if span.from <= own.from { 0 } else { minute(span.from) };
        let to = if span.to >= own.to { MINUTES_A_DAY } else { minute(span.to) };
        (from, to.max(from + 1))
    }
}
