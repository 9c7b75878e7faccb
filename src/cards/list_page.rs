//! Cards at a glance: today's visits that have none yet, those that are open, with a warning where a lot was stopped, those closed lately.

use std::pin::Pin;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::card::{Card, kinds};
use super::seen::{Around, must_treat};
use super::{open_page, store};
use crate::base::actor::{Role, Who};
use crate::base::ids::ProductId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
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
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards", show)
}

/// How far back closed cards are listed.
const DAYS: i64 = 14;
/// The most of them.
const MOST: usize = 60;

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
    sheets: Vec<(String, &'static str)>,
}

async fn show(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let zone = &around.studio.zone;
    let own = around.own(&staff.who).map(|artist| artist.id);
    let owner = staff.who.role == Role::Owner;
    let mine = |artist| owner || own == Some(artist);
    let day = Span::new(zone.start_of_day_before(now, 0), zone.start_of_day_before(now, -1));
    let services = book::services(&mut db).await?;
    let mut due = Vec::new();
    for visit in book::between(&mut db, day).await? {
        let kind = services.iter().find(|service| service.id == visit.service).map(|service| service.kind);
        let has_card = kind.filter(|kind| kinds().any(|own| own == *kind));
        let comes = visit.state == Standing::Booked && visit.booked.client.is_some() && mine(visit.artist);
        let (Some(kind), true) = (has_card, comes) else { continue };
        if store::of_appointment(&mut db, visit.id).await?.is_some() {
            continue;
        }
        due.push(Row {
            href: house.url(&format!("/cards/of/{}", visit.id)),
            words: format!("{} {}, {}", zone.clock(visit.when.visit.from), visit.booked.short, kind.words()),
            warning: None,
        });
    }
    let mut open = Vec::new();
    for card in store::open(&mut db).await? {
        if mine(card.artist) || card.supervisor == Some(staff.who.id) {
            let warning = open_page::warning(&mut db, &house, &card, now).await?;
            open.push(row(&mut db, &house, &around, &card, now, warning).await?);
        }
    }
    let mut closed = Vec::new();
    for artist in around.artists.iter().filter(|artist| mine(artist.id)) {
        for card in store::of_artist(&mut db, artist.id, now.plus(-DAYS * DAY)).await? {
            if card.closed.is_some() {
                closed.push(card);
            }
        }
    }
    closed.sort_by_key(|card| std::cmp::Reverse(card.begun));
    closed.truncate(MOST);
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
        sheets,
    })
}

/// Open cards that used a product, or one lot of it, as clearance asks for a stop: how many, and those this person may see.
///
/// # Errors
/// When the database cannot be read.
pub fn open_with(
    house: &House,
    who: Who,
    product: ProductId,
    lot: Option<String>,
    now: Instant,
) -> Pin<Box<dyn Future<Output = Result<(usize, Vec<OpenCard>), Problem>> + Send + '_>> {
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
