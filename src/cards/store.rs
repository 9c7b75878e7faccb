//! SQL of cards. What belongs to one stands in `parts_store.rs`, what corrections replaced in `version_store.rs`.

use std::collections::HashSet;

use sqlx::Row;
use sqlx::any::AnyRow;

use super::card::{Aftercare, Card, Lids, Remover, Whole, Words};
use super::parts_store::{arrival, counts, drops, steps, zones};
use crate::adhesives::{Bead, Liquids};
use crate::artists::Style;
use crate::base::ids::{AppointmentId, ArtistId, BottleId, CardId, ClientId, ProductId, RoomId};
use crate::base::older::Before;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::book::VisitKind;
use crate::store::keys::Keys;
use crate::store::rows::{may_be, parsed};
use crate::store::{Db, Tx, query_with_nulls, sealed};

/// Where a card's sealed words stand.
pub(super) fn words_place(card: CardId) -> String {
    format!("card.words.{card}")
}

/// Adds a card or puts a changed one in its place; its words are sealed. Parts are kept apart.
pub(super) async fn keep(tx: &mut Tx, keys: &Keys, card: &Card, words: &Words) -> Result<(), Problem> {
    let plain = serde_json::to_vec(words).map_err(Problem::broken)?;
    let sealed = sealed::seal(tx.db(), keys, card.client, &words_place(card.id), &plain).await?;
    keep_sealed(tx, card, Some(sealed)).await?;
    tx.raise(super::TOPIC);
    Ok(())
}

/// As [`keep`], with words sealed already, or none.
pub(super) async fn keep_sealed(tx: &mut Tx, card: &Card, words: Option<Vec<u8>>) -> Result<(), Problem> {
    query_with_nulls(
        "insert into card (id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, from_paper,
         written_by, clearance, temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids,
         technique, supervisor, elsewhere, first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, words, version)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25,
         $26, $27, $28, $29, $30, $31, $32, $33, $34, $35)
         on conflict (id) do update set room = excluded.room, kind = excluded.kind, lids = excluded.lids,
         temperature_c = excluded.temperature_c, humidity_pct = excluded.humidity_pct, supervisor = excluded.supervisor,
         closed = excluded.closed, bottle = excluded.bottle, lot = excluded.lot, bead = excluded.bead,
         liquids = excluded.liquids, technique = excluded.technique, remover = excluded.remover, remover_lot = excluded.remover_lot,
         minutes = excluded.minutes, next_visit = excluded.next_visit, aftercare = excluded.aftercare, hygiene = excluded.hygiene,
         words = excluded.words, version = excluded.version",
    )
    .bind(card.id.to_string())
    .bind(card.appointment.map(|id| id.to_string()))
    .bind(card.client.to_string())
    .bind(card.artist.to_string())
    .bind(card.room.to_string())
    .bind(card.kind.word())
    .bind(card.lids.word())
    .bind(card.begun.0)
    .bind(card.closed.map(|at| at.0))
    .bind(card.entered.0.0)
    .bind(&card.entered.1)
    .bind(i64::from(card.paper.is_some()))
    .bind(card.paper.map(|id| id.to_string()))
    .bind(&card.clearance)
    .bind(card.air.map(|air| air.0))
    .bind(card.air.map(|air| air.1))
    .bind(card.advice.map(|id| id.to_string()))
    .bind(&card.advised_class)
    .bind(card.advised_bottle.map(|id| id.to_string()))
    .bind(card.bottle.map(|id| id.to_string()))
    .bind(&card.lot)
    .bind(card.bead.word())
    .bind(card.liquids.keys())
    .bind(card.style.map(|style| style.key()).unwrap_or_default())
    .bind(card.supervisor.map(|id| id.to_string()))
    .bind(i64::from(card.elsewhere))
    .bind(card.first_card.map(|id| id.to_string()))
    .bind(&card.remover.product)
    .bind(&card.remover.lot)
    .bind(card.remover.minutes.map(i64::from))
    .bind(&card.next_visit)
    .bind(card.aftercare.word())
    .bind(card.hygiene.join("\n"))
    .bind(words)
    .bind(card.version)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Marks a card as one over another studio's extensions, or not.
pub(super) async fn set_elsewhere(tx: &mut Tx, card: CardId, elsewhere: bool) -> Result<(), Problem> {
    sqlx::query("update card set elsewhere = $2 where id = $1")
        .bind(card.to_string())
        .bind(i64::from(elsewhere))
        .execute(tx.db())
        .await?;
    tx.raise(super::TOPIC);
    tx.audit("mark placed elsewhere", card, if elsewhere { "yes" } else { "no" }).await
}

const ONE: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card where id = $1";
const OF_APPOINTMENT: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card where appointment = $1";
const OF_CLIENT: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card where client = $1
     order by begun desc, id desc";
const OPEN: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card where closed is null
     order by begun desc, id desc";
const OPEN_OF_ARTIST: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card
     where closed is null and artist = $1 order by begun desc, id desc";
const CLOSED_OF_ARTIST: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card
     where artist = $1 and closed is not null and begun <= $2 and (begun < $2 or id < $3) order by begun desc, id desc limit $4";

/// A card without its parts.
pub(super) async fn one(db: &mut Db, id: CardId) -> Result<Option<Card>, Problem> {
    let row = sqlx::query(ONE).bind(id.to_string()).fetch_optional(db).await?;
    row.as_ref().map(read).transpose()
}

/// The card of an appointment.
pub(super) async fn of_appointment(db: &mut Db, id: AppointmentId) -> Result<Option<Card>, Problem> {
    let row = sqlx::query(OF_APPOINTMENT).bind(id.to_string()).fetch_optional(db).await?;
    row.as_ref().map(read).transpose()
}

/// A client's cards, newest first.
pub(super) async fn of_client(db: &mut Db, client: ClientId) -> Result<Vec<Card>, Problem> {
    let rows = sqlx::query(OF_CLIENT).bind(client.to_string()).fetch_all(db).await?;
    rows.iter().map(read).collect()
}

/// Cards nobody has closed yet, newest first.
pub(super) async fn open(db: &mut Db) -> Result<Vec<Card>, Problem> {
    let rows = sqlx::query(OPEN).fetch_all(db).await?;
    rows.iter().map(read).collect()
}

/// Open cards that used a product, or one lot of it: in the bottle taken now, or in one of their drops. A bottle is of the lot that
/// stands on it now, and of the one written down with it.
pub(super) async fn open_with(db: &mut Db, product: ProductId, lot: Option<&str>) -> Result<HashSet<CardId>, Problem> {
    let rows = sqlx::query(
        "select c.id from card c join bottle b on b.id = c.bottle
         where c.closed is null and b.product = $1 and ($2 = 0 or c.lot = $3 or b.lot = $3)
         union select c.id from card c join card_drop d on d.card = c.id join bottle b on b.id = d.bottle
         where c.closed is null and b.product = $1 and ($2 = 0 or d.lot = $3 or b.lot = $3)",
    )
    .bind(product.to_string())
    .bind(i64::from(lot.is_some()))
    .bind(lot.unwrap_or_default())
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).collect()
}

/// A bottle on a card that is open at a bed, as it is used there.
#[derive(Debug, Clone, PartialEq)]
pub struct InUse {
    /// Whose hands.
    pub artist: ArtistId,
    /// Where.
    pub room: RoomId,
    /// Since when.
    pub since: Instant,
    /// The room's air then, °C and %RH, where somebody had read it.
    pub air: Option<(f64, f64)>,
    /// The bottle of its newest drop.
    pub bottle: BottleId,
    /// How much is picked up.
    pub bead: Bead,
    /// With which liquids.
    pub liquids: Liquids,
    /// In which style; none where it is nobody's technique.
    pub style: Option<Style>,
}

/// Bottles of open cards, the card begun last first. A sheet of paper that is being entered is no work at a bed.
///
/// # Errors
/// When the database cannot be read.
pub async fn in_use(db: &mut Db) -> Result<Vec<InUse>, Problem> {
    let rows = sqlx::query(
        "select artist, room, begun, temperature_c, humidity_pct, bottle, bead, liquids, technique from card
         where closed is null and bottle is not null and from_paper = 0 order by begun desc, id desc",
    )
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            let bead = Bead::from_word(&row.get::<String, _>(6));
            Ok(InUse {
                artist: parsed(row, 0)?,
                room: parsed(row, 1)?,
                since: Instant(row.get(2)),
                air: row.get::<Option<f64>, _>(3).zip(row.get::<Option<f64>, _>(4)),
                bottle: parsed(row, 5)?,
                bead: bead.ok_or_else(|| Problem::broken("a card with a word that is none of ours"))?,
                liquids: Liquids::from_keys(&row.get::<String, _>(7)),
                style: Style::parse(&row.get::<String, _>(8)),
            })
        })
        .collect()
}

/// Whose cards were opened at a bed since an instant and are open still, and where, the newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn open_since(db: &mut Db, since: Instant) -> Result<Vec<(ArtistId, RoomId)>, Problem> {
    let rows = sqlx::query(
        "select artist, room from card
         where closed is null and begun >= $1 and from_paper = 0 order by begun desc, id desc",
    )
    .bind(since.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| Ok((parsed(row, 0)?, parsed(row, 1)?))).collect()
}

/// An artist's cards that nobody has closed yet, newest first.
pub(super) async fn open_of(db: &mut Db, artist: ArtistId) -> Result<Vec<Card>, Problem> {
    let rows = sqlx::query(OPEN_OF_ARTIST).bind(artist.to_string()).fetch_all(db).await?;
    rows.iter().map(read).collect()
}

/// So many of an artist's closed cards after a row, newest first.
pub(super) async fn closed_of(db: &mut Db, artist: ArtistId, before: &Before, most: i64) -> Result<Vec<Card>, Problem> {
    let query = sqlx::query(CLOSED_OF_ARTIST).bind(artist.to_string()).bind(before.at.0).bind(&before.id);
    let rows = query.bind(most).fetch_all(db).await?;
    rows.iter().map(read).collect()
}

/// A card with everything on it, its words opened.
pub(super) async fn whole(db: &mut Db, keys: &Keys, id: CardId) -> Result<Option<Whole>, Problem> {
    let Some(row) = sqlx::query(ONE).bind(id.to_string()).fetch_optional(&mut *db).await? else { return Ok(None) };
    let card = read(&row)?;
    let words = match row.get::<Option<Vec<u8>>, _>(33) {
        Some(kept) => match sealed::open(db, keys, card.client, &words_place(id), &kept).await? {
            Some(plain) => serde_json::from_slice(&plain).map_err(Problem::broken)?,
            None => Words::default(),
        },
        None => Words::default(),
    };
    Ok(Some(Whole {
        words,
        zones: zones(db, id).await?,
        counts: counts(db, id).await?,
        drops: drops(db, id).await?,
        arrival: arrival(db, id).await?,
        steps: steps(db, id).await?,
        card,
    }))
}

fn read(row: &AnyRow) -> Result<Card, Problem> {
    let odd = || Problem::broken("a card with a word that is none of ours");
    let air = row.get::<Option<f64>, _>(13).zip(row.get::<Option<f64>, _>(14));
    Ok(Card {
        id: parsed(row, 0)?,
        appointment: may_be(row, 1)?,
        client: parsed(row, 2)?,
        artist: parsed(row, 3)?,
        room: parsed(row, 4)?,
        kind: VisitKind::from_word(&row.get::<String, _>(5)).ok_or_else(odd)?,
        lids: Lids::from_word(&row.get::<String, _>(6)).ok_or_else(odd)?,
        begun: Instant(row.get(7)),
        closed: row.get::<Option<i64>, _>(8).map(Instant),
        entered: (Instant(row.get(9)), row.get(10)),
        paper: may_be(row, 11)?,
        clearance: row.get(12),
        air,
        advice: may_be(row, 15)?,
        advised_class: row.get(16),
        advised_bottle: may_be(row, 17)?,
        bottle: may_be(row, 18)?,
        lot: row.get(19),
        bead: Bead::from_word(&row.get::<String, _>(20)).ok_or_else(odd)?,
        liquids: Liquids::from_keys(&row.get::<String, _>(21)),
        style: Style::parse(&row.get::<String, _>(22)),
        supervisor: may_be(row, 23)?,
        elsewhere: row.get::<i64, _>(24) == 1,
        first_card: may_be(row, 25)?,
        remover: Remover {
            product: row.get(26),
            lot: row.get(27),
            minutes: row.get::<Option<i64>, _>(28).and_then(|minutes| u32::try_from(minutes).ok()),
        },
        next_visit: row.get(29),
        aftercare: Aftercare::from_word(&row.get::<String, _>(30)).ok_or_else(odd)?,
        hygiene: super::settings::lines(&row.get::<String, _>(31)),
        version: row.get(32),
    })
}
