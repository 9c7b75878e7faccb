//! What cards keep of a client: for her file, when two records are put together, and when hers is erased.

use std::collections::BTreeSet;

use futures_util::future::BoxFuture;
use sqlx::Row;
use sqlx::any::AnyRow;

use super::card_lines::lines;
use super::open_store;
use super::seen::Around;
use super::store::{self, words_place};
use super::version_store::{self, version_places};
use crate::artists;
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clearance;
use crate::clients::file::{FilePart, FileRecord};
use crate::clients::rights::{Erasing, Stays};
use crate::store::keys::Keys;
use crate::store::{Db, Tx, sealed};
use crate::web::studio::Studio;

/// The tables of this part that name a client, for the list of privacy.
pub const TABLES: &[&str] = &["card", "card_version"];

/// Who treated her last in a span of time, and whoever was present for a trainee.
///
/// # Errors
/// When the database cannot be read.
#[must_use]
pub fn treated_by(
    db: &mut Db,
    client: ClientId,
    (from, to): (Instant, Instant),
) -> BoxFuture<'_, Result<Vec<PersonId>, Problem>> {
    Box::pin(async move {
        let cards = store::of_client(db, client).await?;
        let Some(last) = cards.iter().find(|card| (from..=to).contains(&card.begun)) else { return Ok(Vec::new()) };
        let artists = artists::all(db).await?;
        let artist = artists.iter().find(|artist| artist.id == last.artist).map(|artist| artist.person);
        Ok(artist.into_iter().chain(last.supervisor).collect())
    })
}

/// Her cards with their earlier versions, oldest first.
///
/// # Errors
/// When the database cannot be read, or something sealed was changed.
pub async fn client_file(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FilePart>, Problem> {
    let around = Around::load(db).await?;
    let mut records = Vec::new();
    for card in store::of_client(db, client).await?.into_iter().rev() {
        let Some(whole) = store::whole(db, keys, card.id).await? else { continue };
        let mut kept = FileRecord::new("Treatment card", [("at", card.begun.into())]);
        // Read long after: no instant in it is "today", and each names its year.
        let read = card.begun.plus(2 * 366 * DAY);
        kept.fields
            .extend(lines(db, &around, &whole, read).await?.into_iter().map(|(name, words)| (name, words.into())));
        records.push(kept);
        for own in version_store::versions(db, keys, &card).await?.into_iter().rev() {
            let title = format!("The same card, version {}", own.number);
            let mut kept = FileRecord::new(title, [("replaced", own.at.into()), ("why", own.reason.into())]);
            kept.fields.extend(own.lines.into_iter().map(|(name, words)| (name, words.into())));
            records.push(kept);
        }
    }
    Ok(vec![FilePart::new("Treatment cards", records)])
}

/// Moves her cards to another record of the same person; what is sealed is sealed anew with that record's key.
///
/// # Errors
/// When the database refuses it, or something sealed was changed.
pub async fn client_merge(tx: &mut Tx, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    let rows =
        sqlx::query("select id, words from card where client = $1").bind(from.to_string()).fetch_all(tx.db()).await?;
    for row in &rows {
        let (id, Some(kept)) = (row.get::<String, _>(0), row.get::<Option<Vec<u8>>, _>(1)) else { continue };
        let place = words_place(id.parse().map_err(Problem::broken)?);
        let Some(anew) = anew(tx, keys, (from, into), &place, &kept).await? else { continue };
        sqlx::query("update card set words = $1 where id = $2").bind(anew).bind(id).execute(tx.db()).await?;
    }
    let rows = sqlx::query("select id, reason, was from card_version where client = $1")
        .bind(from.to_string())
        .fetch_all(tx.db())
        .await?;
    for row in &rows {
        let id: String = row.get(0);
        let places = version_places(id.parse().map_err(Problem::broken)?);
        let reason = anew(tx, keys, (from, into), &places[0], &row.get::<Vec<u8>, _>(1)).await?;
        let was = anew(tx, keys, (from, into), &places[1], &row.get::<Vec<u8>, _>(2)).await?;
        let (Some(reason), Some(was)) = (reason, was) else { continue };
        sqlx::query("update card_version set reason = $1, was = $2 where id = $3")
            .bind(reason)
            .bind(was)
            .bind(id)
            .execute(tx.db())
            .await?;
    }
    for text in
        ["update card set client = $1 where client = $2", "update card_version set client = $1 where client = $2"]
    {
        sqlx::query(text).bind(into.to_string()).bind(from.to_string()).execute(tx.db()).await?;
    }
    // Another studio's set that one record knew of lay under the later infills of the other, too.
    open_store::mark_anew(tx, into).await?;
    tx.raise(super::TOPIC);
    tx.audit("move cards", into, &from.to_string()).await
}

/// Sealed with the other record's key; none where it is dark already.
async fn anew(
    tx: &mut Tx,
    keys: &Keys,
    (from, into): (ClientId, ClientId),
    place: &str,
    kept: &[u8],
) -> Result<Option<Vec<u8>>, Problem> {
    match sealed::open(tx.db(), keys, from, place, kept).await? {
        Some(plain) => sealed::seal(tx.db(), keys, into, place, &plain).await.map(Some),
        None => Ok(None),
    }
}

/// Erases her cards once their keeping time is over; until then they stay, since they answer a claim about a treatment. A card that a
/// complaint is about, and one that mends it, stay as long as the complaint.
///
/// # Errors
/// When the database refuses it.
pub async fn client_erase(
    tx: &mut Tx,
    _keys: &Keys,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Vec<Stays>, Problem> {
    let cards = sqlx::query("select id, first_card, begun from card where client = $1 order by begun, id")
        .bind(client.to_string())
        .fetch_all(tx.db())
        .await?;
    let Some(newest) = cards.last().map(|row| Instant(row.get(2))) else { return Ok(Vec::new()) };
    let zone = Studio::load(tx.db()).await?.zone;
    let mut stays = Vec::new();
    let until = erasing.stays_until(CARDS, Some(newest), &zone);
    if let Some(until) = until {
        stays.push(Stays { what: CARDS, reason: "they answer a claim about a treatment".to_owned(), until });
    }
    let complained = clearance::complained_of(tx.db(), client, erasing).await?;
    // With an infill that is kept stays the set that was counted on arrival there.
    let counted: Vec<(String, String)> =
        sqlx::query("select a.card, a.of_card from card_arrival a join card c on c.id = a.card where c.client = $1")
            .bind(client.to_string())
            .fetch_all(tx.db())
            .await?
            .iter()
            .map(|row| (row.get(0), row.get(1)))
            .collect();
    let of_complaint = complained.as_ref().map(|own| about(&cards, &own.cards)).unwrap_or_default();
    let is_counted = |id: &str| counted.iter().any(|(card, of)| of == id && of_complaint.contains(card));
    let (kept, gone): (Vec<&AnyRow>, Vec<&AnyRow>) = cards.iter().partition(|row| {
        let id: String = row.get(0);
        of_complaint.contains(&id) || is_counted(&id)
    });
    if let Some(complaint) = complained.filter(|own| !kept.is_empty() && until < Some(own.until)) {
        let reason = "the complaint cannot be answered without them".to_owned();
        stays.push(Stays { what: "treatment cards a complaint is about", reason, until: complaint.until });
    }
    if until.is_none() {
        for row in &gone {
            forget(tx, &row.get::<String, _>(0)).await?;
        }
        tx.raise(super::TOPIC);
        tx.audit("erase cards", client, if kept.is_empty() { "all" } else { "what may go" }).await?;
    }
    Ok(stays)
}

/// The ids of the cards that are named, and of those that mend one of these. A row is a card's id and the card it mends.
fn about(cards: &[AnyRow], named: &BTreeSet<String>) -> BTreeSet<String> {
    let is_about = |row: &&AnyRow| {
        let (id, first): (String, Option<String>) = (row.get(0), row.get(1));
        named.contains(&id) || first.is_some_and(|first| named.contains(&first))
    };
    cards.iter().filter(is_about).map(|row| row.get(0)).collect()
}

/// The complaints of hers that an erasure leaves, with the cards they are about and those that mend these, all by their ids, and until
/// when; `None` where none has to stay.
///
/// # Errors
/// When the database cannot be read.
pub async fn complained_of(
    db: &mut Db,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Option<(Instant, BTreeSet<String>)>, Problem> {
    let Some(own) = clearance::complained_of(db, client, erasing).await? else { return Ok(None) };
    let cards =
        sqlx::query("select id, first_card from card where client = $1").bind(client.to_string()).fetch_all(db).await?;
    let mut records = about(&cards, &own.cards);
    records.extend(own.complaints);
    Ok(Some((own.until, records)))
}

/// What an erasure calls them; by these words a date that was told is found again.
const CARDS: &str = "treatment cards";

/// Takes a card away, and what other cards say of it.
async fn forget(tx: &mut Tx, card: &str) -> Result<(), Problem> {
    for text in [
        "delete from card_seen where new_drop in (select id from card_drop where card = $1)",
        "delete from card_drop where card = $1",
        "delete from card_count where card = $1",
        "delete from card_zone where card = $1",
        "delete from card_arrival where card = $1 or of_card = $1",
        "delete from card_step where card = $1",
        "delete from card_version where card = $1",
        "update card set first_card = null where first_card = $1",
        "delete from card where id = $1",
    ] {
        sqlx::query(text).bind(card).execute(tx.db()).await?;
    }
    Ok(())
}
