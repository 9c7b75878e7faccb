//! SQL of lots: who met one, and the stop of a lot or a product. The shelf's own marks are set in the same write, so that its
//! bottles are not for today at once.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::bound;
use super::test_store::Met;
use crate::adhesives::lots::CorrectedLots;
use crate::base::ids::{BottleId, ClientId, FollowUpId, ProductId, StopId};
use crate::base::older::Before;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls};

/// Somebody's meeting with a product and lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Exposure {
    /// Who.
    pub(super) client: ClientId,
    /// With what.
    pub(super) met: Met,
    /// When.
    pub(super) at: Instant,
    /// "test", "treatment" or "removal".
    pub(super) kind: String,
}

/// Who met this product, or this lot of it; newest first, patch tests included. A lot is met as well by whoever stands written down
/// with another one that was put right to it since.
pub(super) async fn who_met(
    db: &mut Db,
    product: ProductId,
    lot: Option<&str>,
    corrected: &CorrectedLots,
) -> Result<Vec<Exposure>, Problem> {
    let mut met = Vec::new();
    // An empty text where no lot is asked for: null would have no type of its own on one of the databases.
    let of_lot = std::iter::once((lot.unwrap_or_default(), Instant(i64::MAX)));
    for (written, until) in of_lot.chain(lot.iter().flat_map(|lot| corrected.written_as(lot))) {
        let rows = sqlx::query(
            "select id, client, product, lot, at, kind from exposure
             where product = $1 and ($2 = 0 or lot = $3) and at <= $4",
        )
        .bind(product.to_string())
        .bind(i64::from(lot.is_some()))
        .bind(written)
        .bind(until.0)
        .fetch_all(&mut *db)
        .await?;
        for row in &rows {
            met.push((row.get::<String, _>(0), read_exposure(row, 1)?));
        }
    }
    met.sort_by(|(a, met_a), (b, met_b)| met_b.at.cmp(&met_a.at).then_with(|| b.cmp(a)));
    Ok(met.into_iter().map(|(_, exposure)| exposure).collect())
}

/// What a client met in a span of time, newest first.
pub(super) async fn exposures_of(
    db: &mut Db,
    client: ClientId,
    from: Instant,
    to: Instant,
) -> Result<Vec<Exposure>, Problem> {
    let rows = sqlx::query(
        "select client, product, lot, at, kind from exposure where client = $1 and at >= $2 and at <= $3 order by at desc, id desc",
    )
    .bind(client.to_string())
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| read_exposure(row, 0)).collect()
}

/// From a row whose columns begin with the client at this place.
fn read_exposure(row: &AnyRow, from: usize) -> Result<Exposure, Problem> {
    Ok(Exposure {
        client: row.get::<String, _>(from).parse().map_err(Problem::broken)?,
        met: Met { product: row.get::<String, _>(from + 1).parse().map_err(Problem::broken)?, lot: row.get(from + 2) },
        at: Instant(row.get(from + 3)),
        kind: row.get(from + 4),
    })
}

/// A bottle with its lot and what is stopped of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LotBottle {
    /// The bottle.
    pub(super) bottle: BottleId,
    /// Its product and lot.
    pub(super) met: Met,
    /// Since when it, its lot or its product is stopped.
    pub(super) stopped: Option<Instant>,
}

impl LotBottle {
    /// Whether nothing stood against it at an instant: a test that waited on a device may have been placed before a stop.
    pub(super) fn could_be_used(&self, at: Instant) -> bool {
        self.stopped.is_none_or(|stopped| at < stopped)
    }
}

/// Every bottle that is not finished.
pub(super) async fn bottles(db: &mut Db) -> Result<Vec<LotBottle>, Problem> {
    let rows = sqlx::query(
        "select b.id, b.product, b.lot, b.stopped, p.stopped, l.at from bottle b join product p on p.id = b.product
         left join stopped_lot l on l.product = b.product and l.lot = b.lot where b.finished is null order by b.created, b.id",
    )
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(LotBottle {
                bottle: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                met: Met { product: row.get::<String, _>(1).parse().map_err(Problem::broken)?, lot: row.get(2) },
                stopped: (3..6).filter_map(|at| row.get::<Option<i64>, _>(at)).min().map(Instant),
            })
        })
        .collect()
}

/// A stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Stop {
    /// Its id.
    pub(super) id: StopId,
    /// Of which product.
    pub(super) product: ProductId,
    /// Of which lot; `None` for the whole product.
    pub(super) lot: Option<String>,
    /// When.
    pub(super) at: Instant,
    /// Why, in the owner's words.
    pub(super) why: String,
}

/// Stops a lot or a product, here and on the shelf.
pub(super) async fn stop(tx: &mut Tx, keys: &Keys, stop: &Stop) -> Result<(), Problem> {
    let by = tx.actor.mark();
    query_with_nulls("insert into stop (id, product, lot, at, by_person, why) values ($1, $2, $3, $4, $5, $6)")
        .bind(stop.id.to_string())
        .bind(stop.product.to_string())
        .bind(stop.lot.clone())
        .bind(stop.at.0)
        .bind(by)
        .bind(&stop.why)
        .execute(tx.db())
        .await?;
    match &stop.lot {
        None => {
            sqlx::query("update product set stopped = $1 where id = $2 and (stopped is null or stopped > $1)")
                .bind(stop.at.0)
                .bind(stop.product.to_string())
                .execute(tx.db())
                .await?;
        }
        Some(lot) => {
            sqlx::query(
                "insert into stopped_lot (product, lot, at) values ($1, $2, $3)
                 on conflict (product, lot) do update set at = excluded.at where stopped_lot.at > excluded.at",
            )
            .bind(stop.product.to_string())
            .bind(lot)
            .bind(stop.at.0)
            .execute(tx.db())
            .await?;
        }
    }
    tx.raise(super::DOOR);
    tx.raise("shelf");
    let what = if stop.lot.is_some() { bound::LOT_STOPPED } else { bound::PRODUCT_STOPPED };
    bound::bind_as(tx, keys, &bound::STOP, what, stop.id).await
}

/// So many stops after a row, newest first.
pub(super) async fn stops(db: &mut Db, before: &Before, most: i64) -> Result<Vec<Stop>, Problem> {
    let rows = sqlx::query(
        "select id, product, lot, at, why from stop where at <= $1 and (at < $1 or id < $2) order by at desc, id desc limit $3",
    )
    .bind(before.at.0)
    .bind(&before.id)
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_stop).collect()
}

/// One stop.
pub(super) async fn one_stop(db: &mut Db, id: StopId) -> Result<Option<Stop>, Problem> {
    let row = sqlx::query("select id, product, lot, at, why from stop where id = $1")
        .bind(id.to_string())
        .fetch_optional(db)
        .await?;
    row.as_ref().map(read_stop).transpose()
}

fn read_stop(row: &AnyRow) -> Result<Stop, Problem> {
    Ok(Stop {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        product: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        lot: row.get(2),
        at: Instant(row.get(3)),
        why: row.get(4),
    })
}

/// Keeps that a client was told of a stop; a second time changes nothing.
pub(super) async fn tell_client(
    tx: &mut Tx,
    keys: &Keys,
    (stop, client): (StopId, ClientId),
    at: Instant,
) -> Result<(), Problem> {
    let (by, id) = (tx.actor.mark(), FollowUpId::new());
    let before = sqlx::query("select 1 from told_client where stop = $1 and client = $2 limit 1")
        .bind(stop.to_string())
        .bind(client.to_string())
        .fetch_optional(tx.db())
        .await?;
    if before.is_some() {
        return Ok(());
    }
    sqlx::query("insert into told_client (id, stop, client, at, by_person) values ($1, $2, $3, $4, $5)")
        .bind(id.to_string())
        .bind(stop.to_string())
        .bind(client.to_string())
        .bind(at.0)
        .bind(by)
        .execute(tx.db())
        .await?;
    bound::bind(tx, keys, &bound::TOLD_CLIENT, id).await
}

/// Which clients were told of a stop, and when.
pub(super) async fn told_clients(db: &mut Db, stop: StopId) -> Result<Vec<(ClientId, Instant)>, Problem> {
    let rows = sqlx::query("select client, at from told_client where stop = $1 order by at, id")
        .bind(stop.to_string())
        .fetch_all(db)
        .await?;
    rows.iter()
        .map(|row| Ok((row.get::<String, _>(0).parse().map_err(Problem::broken)?, Instant(row.get(1)))))
        .collect()
}

/// Of which stops a client was told, by product and lot, and when: for her file.
pub(super) async fn stops_told(db: &mut Db, client: ClientId) -> Result<Vec<(Met, Instant)>, Problem> {
    let rows = sqlx::query(
        "select s.product, coalesce(s.lot, ''), t.at from told_client t join stop s on s.id = t.stop
         where t.client = $1 order by t.at desc, t.id desc",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            let product = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            Ok((Met { product, lot: row.get(1) }, Instant(row.get(2))))
        })
        .collect()
}
