//! SQL of what belongs to a card: its map, numbers placed, drops, counts on arrival, aftercare steps.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::card::{Arrival, Count, CountedBy, Drop, Lash, Seen, Side, Step, Zone};
use super::counts::{Found, Strips};
use crate::adhesives::Bead;
use crate::base::ids::{BottleId, CardId, CardPartId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::people;
use crate::store::{Db, Tx, query_with_nulls};

fn whole_number(row: &AnyRow, at: usize) -> u32 {
    u32::try_from(row.get::<i64, _>(at)).unwrap_or_default()
}

/// Its lash map.
pub(super) async fn zones(db: &mut Db, card: CardId) -> Result<Vec<Zone>, Problem> {
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

/// Its numbers placed, oldest first.
pub(super) async fn counts(db: &mut Db, card: CardId) -> Result<Vec<Count>, Problem> {
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

/// Its drops, oldest first.
pub(super) async fn drops(db: &mut Db, card: CardId) -> Result<Vec<Drop>, Problem> {
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

/// Whether a drop that counts was begun less than so long before or after an instant.
pub(super) async fn has_drop_within(db: &mut Db, card: CardId, at: Instant, within: i64) -> Result<bool, Problem> {
    let row =
        sqlx::query("select id from card_drop where card = $1 and struck is null and at > $2 and at < $3 limit 1")
            .bind(card.to_string())
            .bind(at.plus(-within).0)
            .bind(at.plus(within).0)
            .fetch_optional(db)
            .await?;
    Ok(row.is_some())
}

/// Its counts on arrival.
pub(super) async fn arrival(db: &mut Db, card: CardId) -> Result<Vec<Arrival>, Problem> {
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

/// How many are on a lid of a card by what stands there now.
pub(super) async fn on_lid(db: &mut Db, card: CardId, side: Side) -> Result<u32, Problem> {
    let kept = arrival(db, card).await?.into_iter().find(|own| own.side == side).map_or(0, |own| own.found.attached);
    let placed: u32 = counts(db, card).await?.iter().filter(|count| count.side == side).map(|count| count.placed).sum();
    Ok(kept + placed)
}

/// Its aftercare steps.
pub(super) async fn steps(db: &mut Db, card: CardId) -> Result<Vec<Step>, Problem> {
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
pub(super) async fn go_on_with_step(tx: &mut Tx, card: CardId, step: &Step, at: Instant) -> Result<(), Problem> {
    let text = if step.minutes > 0 && step.begun.is_none() {
        "update card_step set begun = $1 where card = $2 and place = $3 and begun is null"
    } else {
        "update card_step set done = $1 where card = $2 and place = $3 and done is null"
    };
    sqlx::query(text).bind(at.0).bind(card.to_string()).bind(i64::from(step.place)).execute(tx.db()).await?;
    tx.raise(super::TOPIC);
    tx.audit("aftercare step", card, &step.place.to_string()).await
}

/// Says that drops of one bottle were of another.
pub(super) async fn change_drops(
    tx: &mut Tx,
    card: CardId,
    before: BottleId,
    after: BottleId,
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
