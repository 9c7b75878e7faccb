//! SQL of bench sittings, bench tests and what they come to.

use sqlx::Row;
use sqlx::any::AnyRow;
use tokio::task::spawn_blocking;

use super::bench::{BenchTest, Found, Sitting};
use super::bottle::Bottle;
use super::known::{Known, KnownProduct};
use super::set_time::TestPiece;
use super::summary::{Past, Summary};
use super::{Air, AirDoubt, Bead, Conditions, Liquids, PickUp, forecasts, store};
use crate::base::ids::{BenchTestId, BottleId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};
use crate::store::{Db, Tx, query_with_nulls};

/// The sitting of a bottle with the newest test, and when that test was made.
pub(super) async fn newest_sitting(db: &mut Db, bottle: BottleId) -> Result<Option<(Sitting, Instant)>, Problem> {
    let row = sqlx::query(
        "select s.id, s.room, s.person, s.piece, s.shaken_s, s.at, t.at from bench_test t join bench_sitting s on s.id = t.sitting
         where t.bottle = $1 order by t.at desc, t.id desc limit 1",
    )
    .bind(bottle.to_string())
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let sitting = Sitting {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        bottle,
        room: row.get::<Option<String>, _>(1).map(|room| room.parse().map_err(Problem::broken)).transpose()?,
        person: row.get::<Option<String>, _>(2).map(|person| person.parse().map_err(Problem::broken)).transpose()?,
        piece: piece(&row.get::<String, _>(3))?,
        shaken: row.get::<Option<f64>, _>(4).and_then(|seconds| Seconds::new(seconds).ok()),
        at: Instant(row.get(5)),
    };
    Ok(Some((sitting, Instant(row.get(6)))))
}

/// Adds a sitting.
pub(super) async fn add_sitting(tx: &mut Tx, sitting: &Sitting) -> Result<(), Problem> {
    query_with_nulls(
        "insert into bench_sitting (id, bottle, room, person, piece, shaken_s, at) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(sitting.id.to_string())
    .bind(sitting.bottle.to_string())
    .bind(sitting.room.map(|room| room.to_string()))
    .bind(sitting.person.map(|person| person.to_string()))
    .bind(sitting.piece.key())
    .bind(sitting.shaken.map(Seconds::get))
    .bind(sitting.at.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Adds a test. The summary is not made again here: see [`refresh`].
pub(super) async fn add_test(tx: &mut Tx, bottle: BottleId, test: &BenchTest) -> Result<(), Problem> {
    let by = tx.actor.mark();
    let (kind, seconds, held, nudge) = match test.found {
        Found::Set { seconds, nudge_every } => ("set", seconds, None, nudge_every),
        Found::Open { delay, held } => ("open", delay, Some(i64::from(held)), None),
    };
    query_with_nulls(
        "insert into bench_test (id, sitting, bottle, at, kind, seconds, held, nudge_s, bead, pick_up, liquids, drop_min,
         days_open, temperature_c, humidity_pct, u_temperature_k, u_humidity_pct, by_person, struck, struck_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, null, null)",
    )
    .bind(test.id.to_string())
    .bind(test.sitting.to_string())
    .bind(bottle.to_string())
    .bind(test.at.0)
    .bind(kind)
    .bind(seconds.get())
    .bind(held)
    .bind(nudge.map(Seconds::get))
    .bind(test.conditions.bead.word())
    .bind(test.pick_up.map_or("", PickUp::key))
    .bind(test.conditions.liquids.keys())
    .bind(test.drop_minutes)
    .bind(test.conditions.days_open)
    .bind(test.conditions.air.temperature.get())
    .bind(test.conditions.air.humidity.get())
    .bind(test.doubt.temperature.get())
    .bind(test.doubt.humidity.get())
    .bind(by)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Strikes a test out, or takes that back; the summary is made again.
pub(super) async fn strike(tx: &mut Tx, bottle: &Bottle, test: BenchTestId, struck: bool) -> Result<(), Problem> {
    let (now, by) = (tx.now.0, tx.actor.mark());
    let done = query_with_nulls("update bench_test set struck = $1, struck_by = $2 where id = $3 and bottle = $4")
        .bind(struck.then_some(now.0))
        .bind(struck.then_some(by))
        .bind(test.to_string())
        .bind(bottle.id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("test"));
    }
    refresh(tx, bottle).await?;
    forecasts::refresh_tally(tx).await?;
    tx.audit(if struck { "strike bench test" } else { "take back bench test" }, test, "").await
}

const MOST: i64 = 100_000;

/// Every test of a bottle, oldest first, struck ones too: for the summary.
pub(super) async fn tests(db: &mut Db, bottle: BottleId) -> Result<Vec<BenchTest>, Problem> {
    let mut tests = newest_tests(db, bottle, MOST, 0).await?;
    tests.reverse();
    Ok(tests)
}

/// Some tests of a bottle, newest first, struck ones too.
pub(super) async fn newest_tests(
    db: &mut Db,
    bottle: BottleId,
    most: i64,
    skip: i64,
) -> Result<Vec<BenchTest>, Problem> {
    let rows = sqlx::query(
        "select t.id, t.sitting, t.at, t.kind, t.seconds, t.held, t.nudge_s, s.piece, t.bead, t.pick_up, t.liquids, t.drop_min,
         t.days_open, t.temperature_c, t.humidity_pct, t.u_temperature_k, t.u_humidity_pct, t.struck
         from bench_test t join bench_sitting s on s.id = t.sitting
         where t.bottle = $1 order by t.at desc, t.id desc limit $2 offset $3",
    )
    .bind(bottle.to_string())
    .bind(most)
    .bind(skip)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_test).collect()
}

fn read_test(row: &AnyRow) -> Result<BenchTest, Problem> {
    let seconds = Seconds::clamped(row.get(4));
    let found = match row.get::<String, _>(3).as_str() {
        "set" => {
            Found::Set { seconds, nudge_every: row.get::<Option<f64>, _>(6).and_then(|every| Seconds::new(every).ok()) }
        }
        _ => Found::Open { delay: seconds, held: row.get::<Option<i64>, _>(5) == Some(1) },
    };
    let air = Air { temperature: Celsius::clamped(row.get(13)), humidity: RelHumidity::clamped(row.get(14)) };
    Ok(BenchTest {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        sitting: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        at: Instant(row.get(2)),
        found,
        piece: piece(&row.get::<String, _>(7))?,
        conditions: Conditions {
            air,
            bead: Bead::from_word(&row.get::<String, _>(8))
                .ok_or_else(|| Problem::broken("a test with no bead of ours"))?,
            liquids: Liquids::from_keys(&row.get::<String, _>(10)),
            days_open: row.get(12),
        },
        doubt: AirDoubt {
            temperature: TemperatureDoubt::new(row.get(15)).map_err(Problem::broken)?,
            humidity: HumidityDoubt::new(row.get(16)).map_err(Problem::broken)?,
        },
        pick_up: PickUp::from_key(&row.get::<String, _>(9)),
        drop_minutes: row.get(11),
        struck: row.get::<Option<i64>, _>(17).is_some(),
    })
}

fn piece(key: &str) -> Result<TestPiece, Problem> {
    TestPiece::from_key(key).ok_or_else(|| Problem::broken("a sitting on no piece of ours"))
}

/// The kept summary of a bottle; [`Summary::none`] before its first test.
pub(super) async fn summary(db: &mut Db, bottle: BottleId) -> Result<Summary, Problem> {
    let row = sqlx::query("select summary from bottle_summary where bottle = $1")
        .bind(bottle.to_string())
        .fetch_optional(db)
        .await?;
    row.map_or_else(|| Ok(Summary::none()), |row| read_summary(&row.get::<String, _>(0)))
}

fn read_summary(text: &str) -> Result<Summary, Problem> {
    serde_json::from_str(text).map_err(Problem::broken)
}

/// How many tests each bottle that is not finished has, for lists.
pub(super) async fn counts(db: &mut Db) -> Result<Vec<(BottleId, i64)>, Problem> {
    let rows = sqlx::query(
        "select s.bottle, s.tests from bottle_summary s join bottle b on b.id = s.bottle where b.finished is null",
    )
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| Ok((row.get::<String, _>(0).parse().map_err(Problem::broken)?, row.get(1)))).collect()
}

/// Everything the tests came to, from the kept summaries.
pub(super) async fn known(db: &mut Db) -> Result<Known, Problem> {
    let products = store::products(db).await?;
    let pasts = sqlx::query("select product, summary from product_summary").fetch_all(&mut *db).await?;
    let own = sqlx::query(
        "select b.id, b.product, s.summary from bottle_summary s join bottle b on b.id = s.bottle where b.finished is null",
    )
    .fetch_all(db)
    .await?;
    let mut known: Vec<KnownProduct> = products
        .into_iter()
        .map(|product| KnownProduct { product, past: Past::default(), bottles: Vec::new() })
        .collect();
    for row in &pasts {
        let id: ProductId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if let Some(known) = known.iter_mut().find(|known| known.product.id == id) {
            known.past = serde_json::from_str(&row.get::<String, _>(1)).map_err(Problem::broken)?;
        }
    }
    for row in &own {
        let id: ProductId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        if let Some(known) = known.iter_mut().find(|known| known.product.id == id) {
            let bottle = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            known.bottles.push((bottle, read_summary(&row.get::<String, _>(2))?));
        }
    }
    // A posterior costs a quarter of a millisecond, and a family has many: not on a thread that answers pages.
    spawn_blocking(move || Known::of(known)).await.map_err(Problem::broken)
}

/// As [`known`], for looking at one bottle: a finished one does not count among its own sisters.
pub(super) async fn known_for(db: &mut Db, bottle: &Bottle) -> Result<Known, Problem> {
    let known = known(db).await?;
    if bottle.finished.is_none() {
        return Ok(known);
    }
    let own = summary(db, bottle.id).await?;
    let mut products = known.products().to_vec();
    if let Some(known) = products.iter_mut().find(|known| known.product.id == bottle.product) {
        known.past.remove_bottle(&own);
    }
    Ok(Known::of(products))
}

async fn finished_summaries(db: &mut Db, product: ProductId) -> Result<Vec<Summary>, Problem> {
    let rows = sqlx::query(
        "select s.summary from bottle_summary s join bottle b on b.id = s.bottle
         where b.product = $1 and b.finished is not null order by b.id",
    )
    .bind(product.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| read_summary(&row.get::<String, _>(0))).collect()
}

/// Makes a bottle's summary again from its tests, and what hangs on it: the openness of its sisters, which is a multiple
/// of a set time that they learn from each other, for a finished bottle its product's past, and what the family rests on.
pub(super) async fn refresh(tx: &mut Tx, bottle: &Bottle) -> Result<(), Problem> {
    tx.raise("shelf");
    refresh_one(tx, bottle).await?;
    if bottle.finished.is_some() {
        refresh_past(tx, bottle.product).await?;
    }
    refresh_openness(tx, bottle.product, bottle.id).await?;
    refresh_stale(tx).await
}

/// Makes again what hangs on a product's label and family and on which of its bottles are finished: every tested bottle of
/// it, used up or not, and those of its kin.
pub(super) async fn refresh_product(tx: &mut Tx, product: ProductId) -> Result<(), Problem> {
    // The past first: a finished bottle is taken out of it again where it is looked at itself.
    refresh_past(tx, product).await?;
    for bottle in tested_bottles(tx.db(), product).await? {
        refresh_one(tx, &bottle).await?;
    }
    refresh_stale(tx).await
}

/// Makes again every summary of a bottle on the shelf that rests on another prior than holds now: the label or the family
/// of its product was changed, or its kin were tested.
async fn refresh_stale(tx: &mut Tx) -> Result<(), Problem> {
    let known = known(tx.db()).await?;
    let stale: Vec<BottleId> = known
        .products()
        .iter()
        .flat_map(|of| of.bottles.iter().map(move |(bottle, summary)| (&of.product, bottle, summary)))
        .filter(|(_, _, summary)| summary.honest.is_some() || summary.openness.tests > 0)
        .filter(|(product, _, summary)| !known.before(product, summary.piece).prior.is_about(&summary.prior))
        .map(|(_, bottle, _)| *bottle)
        .collect();
    for id in stale {
        if let Some(bottle) = store::bottle(tx.db(), id).await? {
            refresh_one(tx, &bottle).await?;
        }
    }
    Ok(())
}

/// The bottles of a product that were tested, also finished ones.
async fn tested_bottles(db: &mut Db, product: ProductId) -> Result<Vec<Bottle>, Problem> {
    let rows = sqlx::query(
        "select s.bottle from bottle_summary s join bottle b on b.id = s.bottle where b.product = $1 order by s.bottle",
    )
    .bind(product.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut bottles = Vec::with_capacity(rows.len());
    for row in &rows {
        let id = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        bottles.extend(store::bottle(db, id).await?);
    }
    Ok(bottles)
}

/// Counts the days a bottle was open at each of its tests again, after its opening day was put right, and makes its summary
/// again.
pub(super) async fn reopened(tx: &mut Tx, bottle: &Bottle, opened: Instant) -> Result<(), Problem> {
    // As `Bottle::days_open`: never below 0, and 1000 days at most.
    sqlx::query(
        "update bench_test set days_open = case when at <= $1 then 0.0e0
         when at - $1 >= 86400000000000 then 1000.0e0
         else cast(at - $1 as double precision) / 86400000000.0e0 end where bottle = $2",
    )
    .bind(opened.0)
    .bind(bottle.id.to_string())
    .execute(tx.db())
    .await?;
    refresh(tx, bottle).await
}

async fn refresh_one(tx: &mut Tx, bottle: &Bottle) -> Result<(), Problem> {
    let tests = tests(tx.db(), bottle.id).await?;
    let known = known_for(tx.db(), bottle).await?;
    let of_product = known.product(bottle.product).ok_or_else(|| Problem::broken("a bottle without its product"))?;
    let summary = Summary::of(&tests, |piece| {
        (known.before(&of_product.product, piece).prior, of_product.sums(piece, Some(bottle.id)))
    });
    sqlx::query(
        "insert into bottle_summary (bottle, tests, summary) values ($1, $2, $3)
         on conflict (bottle) do update set tests = excluded.tests, summary = excluded.summary",
    )
    .bind(bottle.id.to_string())
    .bind(i64::from(summary.tests()))
    .bind(serde_json::to_string(&summary).map_err(Problem::broken)?)
    .execute(tx.db())
    .await?;
    Ok(())
}

async fn refresh_past(tx: &mut Tx, product: ProductId) -> Result<(), Problem> {
    let past = Past::of(&finished_summaries(tx.db(), product).await?);
    sqlx::query(
        "insert into product_summary (product, summary) values ($1, $2)
         on conflict (product) do update set summary = excluded.summary",
    )
    .bind(product.to_string())
    .bind(serde_json::to_string(&past).map_err(Problem::broken)?)
    .execute(tx.db())
    .await?;
    Ok(())
}

async fn refresh_openness(tx: &mut Tx, product: ProductId, without: BottleId) -> Result<(), Problem> {
    let bottles = store::bottles(tx.db()).await?;
    for bottle in bottles.iter().filter(|bottle| bottle.product == product && bottle.id != without) {
        if summary(tx.db(), bottle.id).await?.openness.tests > 0 {
            refresh_one(tx, bottle).await?;
        }
    }
    Ok(())
}
