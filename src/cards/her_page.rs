//! A client's cards, newest first, and the way to a new one.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use futures_util::future::BoxFuture;

use super::card::Card;
use super::seen::{Around, must_treat};
use super::store;
use crate::artists;
use crate::base::actor::Who;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clearance::HerCard;
use crate::clients;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/her/{client}", show)
}

struct Row {
    href: String,
    words: String,
    /// Mark and word.
    state: (&'static str, &'static str),
}

#[derive(Template)]
#[template(path = "cards/her.html")]
struct HerPage {
    frame: Frame,
    rows: Vec<Row>,
    open: String,
    record: String,
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let client = clients::seen(&mut db, id, &staff.who).await?;
    let around = Around::load(&mut db).await?;
    let cards = store::of_client(&mut db, id).await?;
    let zone = &around.studio.zone;
    let row = |card: &Card| Row {
        href: house.url(&format!("/cards/{}", card.id)),
        words: format!(
            "{}, {} with {}",
            zone.date_and_clock(card.begun, now),
            card.kind.words(),
            around.artist_name(card.artist)
        ),
        state: match card.closed {
            Some(_) => ("fit", "closed"),
            None => ("near", "still open"),
        },
    };
    page(&HerPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Door, format!("Cards of {}", client.short)),
        rows: cards.iter().map(row).collect(),
        open: house.url(&format!("/cards/for/{id}")),
        record: house.url(&format!("/door/clients/{id}")),
    })
}

/// A client's cards as a complaint names them: those this person may read, newest first; none for somebody who reads no cards.
///
/// # Errors
/// When the database cannot be read.
#[must_use]
pub fn of_her(house: &House, who: Who, client: ClientId, now: Instant) -> BoxFuture<'_, Result<Vec<HerCard>, Problem>> {
    Box::pin(async move {
        let mut db = house.store.read().await?;
        let client = clients::client(&mut db, client).await?.filter(|client| client.erased.is_none());
        let (Some(client), Ok(())) = (client, must_treat(&who)) else { return Ok(Vec::new()) };
        let own = artists::of_person(&mut db, who.id).await?.map(|artist| artist.id);
        let zone = Studio::load(&mut db).await?.zone;
        let all = clients::may_see(&client, &who);
        let may = |card: &&Card| all || own == Some(card.artist) || card.supervisor == Some(who.id);
        let her = |card: &Card| HerCard {
            id: card.id.to_string(),
            path: format!("/cards/{}/record", card.id),
            words: format!("the {} of {}", card.kind.words(), zone.date(card.begun, now)),
            begun: card.begun,
            mends: card.first_card.map(|first| first.to_string()),
        };
        Ok(store::of_client(&mut db, client.id).await?.iter().filter(may).map(her).collect())
    })
}
