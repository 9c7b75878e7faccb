//! SQL of cards and their parts.

use std::collections::HashSet;

use sqlx::Row;
use sqlx::any::AnyRow;

use super::card::{
    Aftercare, Arrival, Card, Count, CountedBy, Drop, Lash, Lids, Remover, Seen, Side, Step, Whole, Words, Zone,
};
use super::counts::{Found, Strips};
use crate::adhesives::{Bead, Liquids};
use crate::artists::Style;
use crate::base::ids::{AppointmentId, ArtistId, CardId, CardPartId, ClientId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::book::VisitKind;
use crate::people;
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
         on conflict (id) do update set closed = excluded.closed, bottle = excluded.bottle, lot = excluded.lot, bead = excluded.bead,
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
const OF_ARTIST: &str =
    "select id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, written_by, clearance,
     temperature_c, humidity_pct, advice, advised_class, advised_bottle, bottle, lot, bead, liquids, technique, supervisor, elsewhere,
     first_card, remover, remover_lot, minutes, next_visit, aftercare, hygiene, version, words from card
     where artist = $1 and begun >= $2 order by begun desc, id desc limit $3";

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

/// Open cards that used a product, or one lot of it: in the bottle taken now, or in one of their drops.
pub(super) async fn open_with(db: &mut Db, product: ProductId, lot: Option<&str>) -> Result<HashSet<CardId>, Problem> {
    let rows = sqlx::query(
        "select c.id from card c join bottle b on b.id = c.bottle
         where c.closed is null and b.product = $1 and ($2 = 0 or c.lot = $3)
         union select c.id from card c join card_drop d on d.card = c.id join bottle b on b.id = d.bottle
         where c.closed is null and b.product = $1 and ($2 = 0 or d.lot = $3)",
    )
    .bind(product.to_string())
    .bind(i64::from(lot.is_some()))
    .bind(lot.unwrap_or_default())
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).collect()
}

/// An artist's cards that nobody has closed yet, newest first.
pub(super) async fn open_of(db: &mut Db, artist: ArtistId) -> Result<Vec<Card>, Problem> {
    let rows = sqlx::query(OPEN_OF_ARTIST).bind(artist.to_string()).fetch_all(db).await?;
    rows.iter().map(read).collect()
}

/// An artist's cards since an instant, newest first, so many at most.
pub(super) async fn of_artist(db: &mut Db, artist: ArtistId, from: Instant, most: i64) -> Result<Vec<Card>, Problem> {
    let rows = sqlx::query(OF_ARTIST).bind(artist.to_string()).bind(from.0).bind(most).fetch_all(db).await?;
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

fn whole_number(row: &AnyRow, at: usize) -> u32 {
    u32::try_from(row.get::<i64, _>(at)).unwrap_or_default()
}

async fn zones(db: &mut Db, card: CardId) -> Result<Vec<Zone>, Problem> {
    let rows = sqlx::query(
        "select side, zone, length_mm, curl, diameter_mm, fan from card_zone where card = $1 order by side, zone",
    )
    .bind(card.to_string())
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Zone {
                side: side(row, 0)?,
                zone: whole_number(row, 1),
                length_mm: row.get(2),
                curl: row.get(3),
                diameter_mm: row.get(4),
                fan: whole_number(row, 5),
            })
        })
        .collect()
}

fn side(row: &AnyRow, at: usize) -> Result<Side, Problem> {
    Side::from_word(&row.get::<String, _>(at)).ok_or_else(|| Problem::broken("a lid that is none of ours"))
}

/// Puts a lash map in the place of the one before.
pub(super) async fn set_zones(tx: &mut Tx, card: CardId, zones: &[Zone]) -> Result<(), Problem> {
    sqlx::query("delete from card_zone where card = $1").bind(card.to_string()).execute(tx.db()).await?;
    for zone in zones {
        sqlx::query(
            "insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan) values ($1, $2, $3, $4, $5, $6, $7)",
        )
        .bind(card.to_string())
        .bind(zone.side.word())
        .bind(i64::from(zone.zone))
        .bind(zone.length_mm)
        .bind(&zone.curl)
        .bind(zone.diameter_mm)
        .bind(i64::from(zone.fan))
        .execute(tx.db())
        .await?;
    }
    tx.raise(super::TOPIC);
    tx.audit("draw lash map", card, "").await
}

async fn counts(db: &mut Db, card: CardId) -> Result<Vec<Count>, Problem> {
    let rows = sqlx::query(
        "select id, side, lash, placed, strips, per_strip, left_over, at, zone from card_count
         where card = $1 and struck is null order by at, id",
    )
    .bind(card.to_string())
    .fetch_all(db)
    .await?;
    let number = |row: &AnyRow, at: usize| row.get::<Option<i64>, _>(at).and_then(|n| u32::try_from(n).ok());
    rows.iter()
        .map(|row| {
            let strips = match (number(row, 4), number(row, 5), number(row, 6)) {
                (Some(strips), Some(per_strip), Some(left_over)) => Some(Strips { strips, per_strip, left_over }),
                _ => None,
            };
            Ok(Count {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                side: side(row, 1)?,
                lash: Lash::from_word(&row.get::<String, _>(2))
                    .ok_or_else(|| Problem::broken("a count of nothing of ours"))?,
                placed: whole_number(row, 3),
                zone: number(row, 8),
                strips,
                at: Instant(row.get(7)),
            })
        })
        .collect()
}

/// Adds a number placed.
pub(super) async fn add_count(tx: &mut Tx, card: CardId, count: &Count) -> Result<(), Problem> {
    query_with_nulls(
        "insert into card_count (id, card, side, lash, placed, zone, strips, per_strip, left_over, at, struck)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, null)",
    )
    .bind(count.id.to_string())
    .bind(card.to_string())
    .bind(count.side.word())
    .bind(count.lash.word())
    .bind(i64::from(count.placed))
    .bind(count.zone.map(i64::from))
    .bind(count.strips.map(|of| i64::from(of.strips)))
    .bind(count.strips.map(|of| i64::from(of.per_strip)))
    .bind(count.strips.map(|of| i64::from(of.left_over)))
    .bind(count.at.0)
    .execute(tx.db())
    .await?;
    tx.raise(super::TOPIC);
    tx.audit("count placed", card, "").await
}

/// Strikes out every count of a lid: a correction puts another number in their place.
pub(super) async fn strike_counts(tx: &mut Tx, card: CardId, side: Side, lash: Lash) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update card_count set struck = $1 where card = $2 and side = $3 and lash = $4 and struck is null")
        .bind(now.0)
        .bind(card.to_string())
        .bind(side.word())
        .bind(lash.word())
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Takes back the part that was added last, count or drop, if it is still that one.
pub(super) async fn take_back(tx: &mut Tx, card: CardId, part: CardPartId) -> Result<(), Problem> {
    let now = tx.now.0;
    let mut struck = 0;
    for text in [
        "update card_count set struck = $1 where id = $2 and card = $3 and struck is null",
        "update card_drop set struck = $1 where id = $2 and card = $3 and struck is null",
    ] {
        let done = sqlx::query(text).bind(now.0).bind(part.to_string()).bind(card.to_string()).execute(tx.db()).await?;
        struck += done.rows_affected();
    }
    if struck == 0 {
        return Err(Problem::Clash(
            "It was taken back already.".to_owned(),
            "Open the card again and look at what stands there.".to_owned(),
        ));
    }
    tx.raise(super::TOPIC);
    tx.audit("take back on card", card, "").await
}

async fn drops(db: &mut Db, card: CardId) -> Result<Vec<Drop>, Problem> {
    let rows = sqlx::query(
        "select d.id, d.at, d.bottle, d.lot, d.bead, s.word, d.tablet from card_drop d left join card_seen s on s.new_drop = d.id
         where d.card = $1 and d.struck is null order by d.at, d.id, s.word",
    )
    .bind(card.to_string())
    .fetch_all(db)
    .await?;
    let mut drops: Vec<Drop> = Vec::new();
    for row in &rows {
        let id: CardPartId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if drops.last().is_none_or(|last| last.id != id) {
            drops.push(Drop {
                id,
                at: Instant(row.get(1)),
                bottle: row.get::<String, _>(2).parse().map_err(Problem::broken)?,
                lot: row.get(3),
                bead: Bead::from_word(&row.get::<String, _>(4))
                    .ok_or_else(|| Problem::broken("a drop with no bead of ours"))?,
                seen: Vec::new(),
                tablet: row.get::<Option<String>, _>(6).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
            });
        }
        let word = row.get::<Option<String>, _>(5);
        if let (Some(last), Some(seen)) = (drops.last_mut(), word.and_then(|word| Seen::from_word(&word))) {
            last.seen.push(seen);
        }
    }
    Ok(drops)
}

/// Adds a fresh drop.
pub(super) async fn add_drop(tx: &mut Tx, card: CardId, drop: &Drop) -> Result<(), Problem> {
    query_with_nulls(
        "insert into card_drop (id, card, at, bottle, lot, bead, tablet) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(drop.id.to_string())
    .bind(card.to_string())
    .bind(drop.at.0)
    .bind(drop.bottle.to_string())
    .bind(&drop.lot)
    .bind(drop.bead.word())
    .bind(drop.tablet.map(|id| id.to_string()))
    .execute(tx.db())
    .await?;
    for seen in &drop.seen {
        sqlx::query("insert into card_seen (new_drop, word) values ($1, $2)")
            .bind(drop.id.to_string())
            .bind(seen.word())
            .execute(tx.db())
            .await?;
    }
    let minutes = super::settings::CardSettings::load(tx.db()).await?.drop_minutes;
    people::drop_begun(tx, &card.to_string(), drop.at, drop.at.plus(i64::from(minutes) * MINUTE)).await?;
    tx.raise(super::TOPIC);
    let on = drop.tablet.map(|id| format!("on locked tablet {id}")).unwrap_or_default();
    tx.audit("new drop", card, &on).await
}

async fn arrival(db: &mut Db, card: CardId) -> Result<Vec<Arrival>, Problem> {
    let rows = sqlx::query(
        "select side, of_card, had, attached, grown_out, lost, counted_by, counter, at from card_arrival where card = $1 order by side",
    )
    .bind(card.to_string())
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Arrival {
                side: side(row, 0)?,
                of_card: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
                found: Found {
                    had: whole_number(row, 2),
                    attached: whole_number(row, 3),
                    grown_out: whole_number(row, 4),
                    lost: whole_number(row, 5),
                },
                counted_by: CountedBy::from_word(&row.get::<String, _>(6))
                    .ok_or_else(|| Problem::broken("a count by nobody of ours"))?,
                counter: row.get::<Option<String>, _>(7).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
                at: Instant(row.get(8)),
            })
        })
        .collect()
}

/// Keeps what was counted when she came; counted again, the new numbers stand.
pub(super) async fn set_arrival(tx: &mut Tx, card: CardId, all: &[Arrival]) -> Result<(), Problem> {
    sqlx::query("delete from card_arrival where card = $1").bind(card.to_string()).execute(tx.db()).await?;
    for own in all {
        query_with_nulls(
            "insert into card_arrival (card, side, of_card, had, attached, grown_out, lost, counted_by, counter, at)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        )
        .bind(card.to_string())
        .bind(own.side.word())
        .bind(own.of_card.to_string())
        .bind(i64::from(own.found.had))
        .bind(i64::from(own.found.attached))
        .bind(i64::from(own.found.grown_out))
        .bind(i64::from(own.found.lost))
        .bind(own.counted_by.word())
        .bind(own.counter.map(|id| id.to_string()))
        .bind(own.at.0)
        .execute(tx.db())
        .await?;
    }
    tx.raise(super::TOPIC);
    tx.audit("count on arrival", card, "").await
}

async fn steps(db: &mut Db, card: CardId) -> Result<Vec<Step>, Problem> {
    let rows = sqlx::query("select place, words, minutes, begun, done from card_step where card = $1 order by place")
        .bind(card.to_string())
        .fetch_all(db)
        .await?;
    let step = |row: &AnyRow| Step {
        place: whole_number(row, 0),
        words: row.get(1),
        minutes: whole_number(row, 2),
        begun: row.get::<Option<i64>, _>(3).map(Instant),
        done: row.get::<Option<i64>, _>(4).map(Instant),
    };
    Ok(rows.iter().map(step).collect())
}

/// Gives a card its aftercare steps.
pub(super) async fn add_steps(tx: &mut Tx, card: CardId, steps: &[Step]) -> Result<(), Problem> {
    for step in steps {
        query_with_nulls(
            "insert into card_step (card, place, words, minutes, begun, done) values ($1, $2, $3, $4, $5, $6)",
        )
        .bind(card.to_string())
        .bind(i64::from(step.place))
        .bind(&step.words)
        .bind(i64::from(step.minutes))
        .bind(step.begun.map(|at| at.0))
        .bind(step.done.map(|at| at.0))
        .execute(tx.db())
        .await?;
    }
    Ok(())
}

/// Begins a step that waits, or notes that one is done.
pub(super) async fn go_on_with_step(tx: &mut Tx, card: CardId, step: &Step) -> Result<(), Problem> {
    let now = tx.now.0;
    let text = if step.minutes > 0 && step.begun.is_none() {
        "update card_step set begun = $1 where card = $2 and place = $3 and begun is null"
    } else {
        "update card_step set done = $1 where card = $2 and place = $3 and done is null"
    };
    sqlx::query(text).bind(now.0).bind(card.to_string()).bind(i64::from(step.place)).execute(tx.db()).await?;
    tx.raise(super::TOPIC);
    tx.audit("aftercare step", card, &step.place.to_string()).await
}

/// A version that a correction replaced, as it read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Version {
    /// Its id.
    pub(super) id: CardPartId,
    /// Its number.
    pub(super) number: i64,
    /// When it was replaced, and by whom: an actor's mark.
    pub(super) at: Instant,
    /// The mark.
    pub(super) by: String,
    /// Why.
    pub(super) reason: String,
    /// Its lines: word and value.
    pub(super) lines: Vec<(String, String)>,
}

/// Places of a version's sealed columns.
pub(super) fn version_places(id: CardPartId) -> [String; 2] {
    [format!("card_version.reason.{id}"), format!("card_version.was.{id}")]
}

/// Keeps a version that is being replaced.
pub(super) async fn keep_version(
    tx: &mut Tx,
    keys: &Keys,
    card: &Card,
    reason: &str,
    lines: &[(String, String)],
) -> Result<(), Problem> {
    let (id, now, by) = (CardPartId::new(), tx.now.0, tx.actor.mark());
    let places = version_places(id);
    let was = serde_json::to_vec(lines).map_err(Problem::broken)?;
    let reason = sealed::seal(tx.db(), keys, card.client, &places[0], reason.as_bytes()).await?;
    let was = sealed::seal(tx.db(), keys, card.client, &places[1], &was).await?;
    sqlx::query(
        "insert into card_version (id, client, card, version, at, by_mark, reason, was) values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id.to_string())
    .bind(card.client.to_string())
    .bind(card.id.to_string())
    .bind(card.version)
    .bind(now.0)
    .bind(by)
    .bind(reason)
    .bind(was)
    .execute(tx.db())
    .await?;
    tx.audit("correct card", card.id, &format!("version {}", card.version)).await
}

/// The versions that corrections replaced, newest first.
pub(super) async fn versions(db: &mut Db, keys: &Keys, card: &Card) -> Result<Vec<Version>, Problem> {
    let rows = sqlx::query(
        "select id, version, at, by_mark, reason, was from card_version where card = $1 order by version desc",
    )
    .bind(card.id.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut versions = Vec::new();
    for row in &rows {
        let id: CardPartId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let places = version_places(id);
        let reason = sealed::open(db, keys, card.client, &places[0], &row.get::<Vec<u8>, _>(4)).await?;
        let was = sealed::open(db, keys, card.client, &places[1], &row.get::<Vec<u8>, _>(5)).await?;
        versions.push(Version {
            id,
            number: row.get(1),
            at: Instant(row.get(2)),
            by: row.get(3),
            reason: reason.map(|plain| String::from_utf8_lossy(&plain).into_owned()).unwrap_or_default(),
            lines: match was {
                Some(plain) => serde_json::from_slice(&plain).map_err(Problem::broken)?,
                None => Vec::new(),
            },
        });
    }
    Ok(versions)
}

/// Says that drops of one bottle were of another.
pub(super) async fn change_drops(
    tx: &mut Tx,
    card: CardId,
    before: crate::base::ids::BottleId,
    after: crate::base::ids::BottleId,
    lot: &str,
) -> Result<(), Problem> {
    sqlx::query("update card_drop set bottle = $1, lot = $2 where card = $3 and bottle = $4")
        .bind(after.to_string())
        .bind(lot)
        .bind(card.to_string())
        .bind(before.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}
