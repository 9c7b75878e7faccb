//! Cards of the invented studio, many at a time; and of benches.

use std::fmt::Write as _;

use super::card::{Arrival, Card, Count, Zone};
use super::card_lines::lines;
use super::seen::Around;
use super::{store, version_store};
use crate::base::ids::CardId;
use crate::base::problem::Problem;
use crate::store::keys::Keys;
use crate::store::{Db, FormKey, Kept, Tx};
use crate::web::House;

/// A card without words, with what was counted.
#[derive(Debug, Clone)]
pub struct SeedCard {
    /// The card.
    pub card: Card,
    /// Numbers placed.
    pub counts: Vec<Count>,
    /// The lash map; empty where none was drawn.
    pub zones: Vec<Zone>,
    /// What was still there of the set before.
    pub arrival: Vec<Arrival>,
    /// Why it was corrected afterwards, and what then stood under next visit.
    pub corrected: Option<(&'static str, &'static str)>,
}

/// Whether there is any card.
pub(crate) async fn has_cards(db: &mut Db) -> Result<bool, Problem> {
    let row = sqlx::query("select id from card order by closed desc limit 1").fetch_optional(db).await?;
    Ok(row.is_some())
}

/// Rows in one statement.
const ROWS: usize = 60;

/// Adds them in one write, oldest first. Judges nothing and tells clearance nothing: for the invented studio, and for measuring.
///
/// # Errors
/// When the database refuses it.
pub async fn seed_cards(house: &House, cards: Vec<SeedCard>) -> Result<(), Problem> {
    if cards.is_empty() {
        return Ok(());
    }
    let key = FormKey::house();
    let inner = house.clone();
    let written = house.store.write(&key, move |tx| {
        let (cards, house) = (cards.clone(), inner.clone());
        Box::pin(async move {
            for own in &cards {
                store::keep_sealed(tx, &own.card, None).await?;
            }
            let counts: Vec<_> =
                cards.iter().flat_map(|own| own.counts.iter().map(|count| (own.card.id, count))).collect();
            for some in counts.chunks(ROWS) {
                insert_counts(tx, some).await?;
            }
            let zones: Vec<_> = cards.iter().flat_map(|own| own.zones.iter().map(|zone| (own.card.id, zone))).collect();
            for some in zones.chunks(ROWS) {
                insert_zones(tx, some).await?;
            }
            let arrival: Vec<_> =
                cards.iter().flat_map(|own| own.arrival.iter().map(|found| (own.card.id, found))).collect();
            for some in arrival.chunks(ROWS) {
                insert_arrival(tx, some).await?;
            }
            for own in cards.iter().filter(|own| own.corrected.is_some()) {
                correct(tx, house.store.keys(), own).await?;
            }
            tx.raise(super::TOPIC);
            tx.audit("seed cards", "house", &cards.len().to_string()).await?;
            Ok(Kept::see(""))
        })
    });
    written.await.map(|_| ())
}

/// Keeps what stood there as a version, as the page of corrections does.
async fn correct(tx: &mut Tx, keys: &Keys, own: &SeedCard) -> Result<(), Problem> {
    let Some((reason, next_visit)) = own.corrected else { return Ok(()) };
    let around = Around::load(tx.db()).await?;
    let whole = store::whole(tx.db(), keys, own.card.id).await?.ok_or(Problem::NotHere("card"))?;
    let was = lines(tx.db(), &around, &whole, own.card.begun).await?;
    version_store::keep_version(tx, keys, &own.card, reason, &was).await?;
    let card = Card { next_visit: next_visit.to_owned(), version: own.card.version + 1, ..own.card.clone() };
    store::keep_sealed(tx, &card, None).await
}

/// "insert … values ($1, …), ($n, …)" for so many rows.
fn values(start: &str, columns: usize, rows: usize) -> String {
    let mut text = start.to_owned();
    for row in 0..rows {
        let places: Vec<String> = (1..=columns).map(|place| format!("${}", row * columns + place)).collect();
        let comma = if row == 0 { "" } else { ", " };
        // Writing to a String cannot fail.
        let _written = write!(text, "{comma}({})", places.join(", "));
    }
    text
}

async fn insert_counts(tx: &mut Tx, counts: &[(CardId, &Count)]) -> Result<(), Problem> {
    let text = values("insert into card_count (id, card, side, lash, placed, at) values ", 6, counts.len());
    // The text holds nothing but places.
    let mut query = sqlx::query(sqlx::AssertSqlSafe(text));
    for (card, count) in counts {
        query = query
            .bind(count.id.to_string())
            .bind(card.to_string())
            .bind(count.side.word())
            .bind(count.lash.word())
            .bind(i64::from(count.placed))
            .bind(count.at.0);
    }
    query.execute(tx.db()).await?;
    Ok(())
}

async fn insert_zones(tx: &mut Tx, zones: &[(CardId, &Zone)]) -> Result<(), Problem> {
    let start = "insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan) values ";
    let text = values(start, 7, zones.len());
    // As above.
    let mut query = sqlx::query(sqlx::AssertSqlSafe(text));
    for (card, zone) in zones {
        query = query
            .bind(card.to_string())
            .bind(zone.side.word())
            .bind(i64::from(zone.zone))
            .bind(zone.length_mm)
            .bind(&zone.curl)
            .bind(zone.diameter_mm)
            .bind(i64::from(zone.fan));
    }
    query.execute(tx.db()).await?;
    Ok(())
}

async fn insert_arrival(tx: &mut Tx, arrival: &[(CardId, &Arrival)]) -> Result<(), Problem> {
    let start =
        "insert into card_arrival (card, side, of_card, had, attached, grown_out, lost, counted_by, at) values ";
    let text = values(start, 9, arrival.len());
    // As above.
    let mut query = sqlx::query(sqlx::AssertSqlSafe(text));
    for (card, own) in arrival {
        query = query
            .bind(card.to_string())
            .bind(own.side.word())
            .bind(own.of_card.to_string())
            .bind(i64::from(own.found.had))
            .bind(i64::from(own.found.attached))
            .bind(i64::from(own.found.grown_out))
            .bind(i64::from(own.found.lost))
            .bind(own.counted_by.word())
            .bind(own.at.0);
    }
    query.execute(tx.db()).await?;
    Ok(())
}
