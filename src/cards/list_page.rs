//! Cards at a glance: today's visits that have none yet, those that are open, with a warning where a lot was stopped, those closed lately.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use futures_util::future::BoxFuture;

use super::card::{Card, kinds};
use super::seen::{Around, must_treat};
use super::{open_store, store};
use crate::artists;
use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, ProductId};
use crate::base::older::{Before, cut};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::base::zone::Zone;
use crate::book::slots::Span;
use crate::book::{self, State as Standing};
use crate::clearance::OpenCard;
use crate::clients;
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Moment, Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards", show)
}

/// So many closed cards on one page of the list.
const LISTED: usize = 50;

struct Row {
    href: String,
    words: String,
    warning: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "cards/list.html")]
struct ListPage {
    frame: Frame,
    due: Vec<Row>,
    open: Vec<Row>,
    closed: Vec<Row>,
    /// Where the older ones stand.
    older: Option<String>,
    sheets: Vec<(String, &'static str)>,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let zone = &around.studio.zone;
    let own = around.own(&staff.who).map(|artist| artist.id);
    let owner = staff.who.role == Role::Owner;
    let mine = |artist| owner || own == Some(artist);
    let due = due_today(&mut db, &house, zone, now, mine).await?;
    let due = due.into_iter().map(|own| Row { href: own.href, words: own.words, warning: None }).collect();
    let mut open = Vec::new();
    for card in store::open(&mut db).await? {
        if mine(card.artist) || card.supervisor == Some(staff.who.id) {
            let warning = open_store::warning(&mut db, house.store.keys(), &card, now).await?;
            open.push(row(&mut db, &house, &around, &card, now, warning).await?);
        }
    }
    let before = Before::asked(asked.get("before").map(String::as_str));
    let mut closed = Vec::new();
    for artist in around.artists.iter().filter(|artist| mine(artist.id)) {
        closed.extend(store::closed_of(&mut db, artist.id, &before, LISTED as i64 + 1).await?);
    }
    closed.sort_by_key(|card| std::cmp::Reverse((card.begun, card.id)));
    let older = cut(&mut closed, LISTED, |card| Before::row(card.begun, card.id));
    let mut rows = Vec::new();
    for card in &closed {
        rows.push(row(&mut db, &house, &around, card, now, None).await?);
    }
    let mut sheets = super::sheets_page::links(&house);
    if owner {
        sheets.push((house.url("/cards/settings"), "Settings of cards"));
    }
    page(&ListPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Cards"),
        due,
        open,
        closed: rows,
        older: older.map(|before| house.url(&format!("/cards?before={before}"))),
        sheets,
    })
}

/// Open cards that used a product, or one lot of it, as clearance asks for a stop: how many, and those this person may see.
///
/// # Errors
/// When the database cannot be read.
#[must_use]
pub fn open_with(
    house: &House,
    who: Who,
    product: ProductId,
    lot: Option<String>,
    now: Instant,
) -> BoxFuture<'_, Result<(usize, Vec<OpenCard>), Problem>> {
    Box::pin(async move {
        let mut db = house.store.read().await?;
        let used = store::open_with(&mut db, product, lot.as_deref()).await?;
        let around = Around::load(&mut db).await?;
        let own = around.own(&who).map(|artist| artist.id);
        let mut seen = Vec::new();
        for card in store::open(&mut db).await?.iter().filter(|card| used.contains(&card.id)) {
            if who.role == Role::Owner || own == Some(card.artist) || card.supervisor == Some(who.id) {
                let row = row(&mut db, house, &around, card, now, None).await?;
                seen.push(OpenCard { path: format!("/cards/{}", card.id), words: row.words });
            }
        }
        Ok((used.len(), seen))
    })
}

async fn row(
    db: &mut Db,
    house: &House,
    around: &Around,
    card: &Card,
    now: Instant,
    warning: Option<&'static str>,
) -> Result<Row, Problem> {
    let short = clients::client(db, card.client).await?.map_or_else(|| "–".to_owned(), |client| client.short);
    let zone = &around.studio.zone;
    let artist = around.artist_name(card.artist);
    let words = format!("{} {short}, {} with {artist}", zone.date_and_clock(card.begun, now), card.kind.words());
    Ok(Row { href: house.url(&format!("/cards/{}", card.id)), words, warning })
}

/// A visit of today that has no card yet.
struct Due {
    at: Instant,
    href: String,
    words: String,
}

/// Today's visits that have no card yet, of the artists somebody opens cards for.
async fn due_today(
    db: &mut Db,
    house: &House,
    zone: &Zone,
    now: Instant,
    mine: impl Fn(ArtistId) -> bool,
) -> Result<Vec<Due>, Problem> {
    let day = Span::new(zone.start_of_day_before(now, 0), zone.start_of_day_before(now, -1));
    let services = book::services(db).await?;
    let mut due = Vec::new();
    for visit in book::between(db, day).await? {
        let kind = services.iter().find(|service| service.id == visit.service).map(|service| service.kind);
        let has_card = kind.filter(|kind| kinds().any(|own| own == *kind));
        let comes = visit.state == Standing::Booked && visit.booked.client.is_some() && mine(visit.artist);
        let (Some(kind), true) = (has_card, comes) else { continue };
        if store::of_appointment(db, visit.id).await?.is_some() {
            continue;
        }
        due.push(Due {
            at: visit.when.visit.from,
            href: house.url(&format!("/cards/of/{}", visit.id)),
            words: format!("{} {}, {}", zone.clock(visit.when.visit.from), visit.booked.short, kind.words()),
        });
    }
    Ok(due)
}

/// What the day sheet offers somebody of her own cards: address and words, those that are open first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AtHand {
    /// Cards she works on now.
    pub open: Vec<(String, String)>,
    /// Today's visits without one.
    pub due: Vec<(String, String)>,
    /// One of those begins within minutes, or should have begun.
    pub soon: bool,
    /// Every card, and the sheets.
    pub all: String,
    /// Who comes tomorrow, to print.
    pub tomorrow: String,
}

impl AtHand {
    /// The moment of her day that her cards and her book say; none where the clock alone says it.
    #[must_use]
    pub fn moment(&self) -> Option<Moment> {
        match (self.open.is_empty(), self.soon) {
            (false, _) => Some(Moment::AtTheBed),
            (true, true) => Some(Moment::BeforeAClient),
            (true, false) => None,
        }
    }
}

/// How long before a visit one is about to begin it, and for how long it may still be begun late.
const SOON: i64 = 20 * MINUTE;
const LATE: i64 = 60 * MINUTE;

/// Her own cards of today; nothing for whoever opens none. The owner's are hers as an artist: everybody's stand under Cards.
///
/// # Errors
/// When the database cannot be read.
pub async fn at_hand(db: &mut Db, house: &House, who: &Who, now: Instant) -> Result<Option<AtHand>, Problem> {
    if must_treat(who).is_err() {
        return Ok(None);
    }
    let zone = Studio::load(db).await?.zone;
    let mut hand =
        AtHand { all: house.url("/cards"), tomorrow: house.url("/cards/sheets/tomorrow"), ..AtHand::default() };
    let Some(own) = artists::of_person(db, who.id).await?.map(|artist| artist.id) else { return Ok(Some(hand)) };
    for card in store::open_of(db, own).await? {
        let short = clients::client(db, card.client).await?.map_or_else(|| "–".to_owned(), |client| client.short);
        let words = format!("{short}, {}, since {}", card.kind.words(), zone.clock(card.begun));
        hand.open.push((house.url(&format!("/cards/{}", card.id)), words));
    }
    let due = due_today(db, house, &zone, now, |artist| artist == own).await?;
    hand.soon = due.iter().any(|own| (-LATE..=SOON).contains(&own.at.since(now)));
    hand.due = due.into_iter().map(|own| (own.href, own.words)).collect();
    Ok(Some(hand))
}
