//! SQL of classes, products and bottles.

use jiff::civil::Date;
use sqlx::Row;
use sqlx::any::AnyRow;

use super::bottle::Bottle;
use super::lots::{CorrectedLot, CorrectedLots};
use super::product::{Family, Product, Stated, StudioClass, allowed_from_key, allowed_key};
use super::set_time::Climate;
use super::verify;
use crate::base::ids::{BottleId, ClassId, CorrectionId, ProductId, RoomId};
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity, Seconds};
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls};

/// The classes in use, quickest first.
pub(super) async fn classes(db: &mut Db) -> Result<Vec<StudioClass>, Problem> {
    let rows = sqlx::query("select id, low_s, high_s from cure_class where retired is null").fetch_all(db).await?;
    let mut classes = rows
        .iter()
        .map(|row| {
            Ok(StudioClass {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                low: Seconds::clamped(row.get(1)),
                high: Seconds::clamped(row.get(2)),
            })
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    classes.sort_by(|a, b| a.low.get().total_cmp(&b.low.get()).then(a.high.get().total_cmp(&b.high.get())));
    Ok(classes)
}

/// Adds a class.
pub(super) async fn add_class(tx: &mut Tx, class: &StudioClass) -> Result<(), Problem> {
    tx.raise("shelf");
    free_window(tx.db(), class).await?;
    sqlx::query("insert into cure_class (id, low_s, high_s, retired) values ($1, $2, $3, null)")
        .bind(class.id.to_string())
        .bind(class.low.get())
        .bind(class.high.get())
        .execute(tx.db())
        .await?;
    tx.audit("add class", class.id, "").await
}

/// Changes a class's window.
pub(super) async fn change_class(tx: &mut Tx, class: &StudioClass) -> Result<(), Problem> {
    tx.raise("shelf");
    free_window(tx.db(), class).await?;
    let done = sqlx::query("update cure_class set low_s = $1, high_s = $2 where id = $3 and retired is null")
        .bind(class.low.get())
        .bind(class.high.get())
        .bind(class.id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("class"));
    }
    tx.audit("change class", class.id, "").await
}

/// Retires a class; never the last one.
pub(super) async fn retire_class(tx: &mut Tx, id: ClassId) -> Result<(), Problem> {
    tx.raise("shelf");
    let classes = classes(tx.db()).await?;
    if !classes.iter().any(|class| class.id == id) {
        return Err(Problem::NotHere("class"));
    }
    if classes.len() == 1 {
        return Err(Problem::Clash(
            "This is the studio’s only class, and advice needs one.".to_owned(),
            "Add another class first, then retire this one.".to_owned(),
        ));
    }
    let now = tx.now.0;
    sqlx::query("update cure_class set retired = $1 where id = $2")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("retire class", id, "").await
}

async fn free_window(db: &mut Db, class: &StudioClass) -> Result<(), Problem> {
    let same = |other: &StudioClass| {
        let close = |a: Seconds, b: Seconds| (a.get() - b.get()).abs() < 1e-9;
        other.id != class.id && close(other.low, class.low) && close(other.high, class.high)
    };
    match classes(db).await?.iter().any(same) {
        true => Err(Problem::mistake("low", "There is a class with this window already.")),
        false => Ok(()),
    }
}

/// Every product, sorted by name.
pub(super) async fn products(db: &mut Db) -> Result<Vec<Product>, Problem> {
    let rows = sqlx::query(
        "select id, name, label_low_s, label_high_s, climate_low_c, climate_high_c, climate_low_pct, climate_high_pct,
         family, colour, opened_life_days, storage, accelerator, stopped from product",
    )
    .fetch_all(db)
    .await?;
    let mut products = rows.iter().map(read_product).collect::<Result<Vec<_>, _>>()?;
    products.sort_by_cached_key(|product| fold(&product.name));
    Ok(products)
}

/// One product.
pub(super) async fn product(db: &mut Db, id: ProductId) -> Result<Option<Product>, Problem> {
    let row = sqlx::query(
        "select id, name, label_low_s, label_high_s, climate_low_c, climate_high_c, climate_low_pct, climate_high_pct,
         family, colour, opened_life_days, storage, accelerator, stopped from product where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_product).transpose()
}

fn read_product(row: &AnyRow) -> Result<Product, Problem> {
    let number = |at: usize| row.get::<Option<f64>, _>(at);
    Ok(Product {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        name: row.get(1),
        label: Stated::of(number(2), number(3)),
        climate: climate(number(4), number(5), number(6), number(7)),
        family: Family::from_key(&row.get::<String, _>(8))
            .ok_or_else(|| Problem::broken("a product of no family of ours"))?,
        colour: row.get(9),
        opened_life_days: row.get::<Option<i64>, _>(10).and_then(|days| u32::try_from(days).ok()),
        storage: row.get(11),
        accelerator: allowed_from_key(&row.get::<String, _>(12))
            .ok_or_else(|| Problem::broken("a product with no word of ours on accelerators"))?,
        stopped: row.get::<Option<i64>, _>(13).map(Instant),
    })
}

fn climate(low_c: Option<f64>, high_c: Option<f64>, low_pct: Option<f64>, high_pct: Option<f64>) -> Option<Climate> {
    let celsius = |value: Option<f64>| Celsius::new(value?).ok();
    let percent = |value: Option<f64>| RelHumidity::new(value?).ok();
    Some(Climate {
        temperature: (celsius(low_c)?, celsius(high_c)?),
        humidity: (percent(low_pct)?, percent(high_pct)?),
    })
}

/// Adds a product.
pub(super) async fn add_product(tx: &mut Tx, product: &Product) -> Result<(), Problem> {
    free_name(tx.db(), product).await?;
    let now = tx.now.0;
    let insert = query_with_nulls(
        "insert into product (label_low_s, label_high_s, climate_low_c, climate_high_c, climate_low_pct, climate_high_pct,
         opened_life_days, family, colour, storage, accelerator, name, name_key, id, created, stopped)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, null)",
    );
    bind_product(insert, product).bind(now.0).execute(tx.db()).await?;
    tx.audit("add product", product.id, "").await
}

/// Changes a product.
pub(super) async fn change_product(tx: &mut Tx, product: &Product) -> Result<(), Problem> {
    tx.raise("shelf");
    free_name(tx.db(), product).await?;
    let update = query_with_nulls(
        "update product set label_low_s = $1, label_high_s = $2, climate_low_c = $3, climate_high_c = $4,
         climate_low_pct = $5, climate_high_pct = $6, opened_life_days = $7, family = $8, colour = $9, storage = $10,
         accelerator = $11, name = $12, name_key = $13 where id = $14",
    );
    let done = bind_product(update, product).execute(tx.db()).await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("product"));
    }
    tx.audit("change product", product.id, "").await
}

type Statement = sqlx::query::Query<'static, sqlx::Any, sqlx::any::AnyArguments>;

fn bind_product(statement: Statement, product: &Product) -> Statement {
    let (low, high) = product.label.columns();
    let climate = product.climate;
    statement
        .bind(low)
        .bind(high)
        .bind(climate.map(|climate| climate.temperature.0.get()))
        .bind(climate.map(|climate| climate.temperature.1.get()))
        .bind(climate.map(|climate| climate.humidity.0.get()))
        .bind(climate.map(|climate| climate.humidity.1.get()))
        .bind(product.opened_life_days.map(i64::from))
        .bind(product.family.key())
        .bind(product.colour.clone())
        .bind(product.storage.clone())
        .bind(allowed_key(product.accelerator))
        .bind(product.name.clone())
        .bind(fold(&product.name))
        .bind(product.id.to_string())
}

async fn free_name(db: &mut Db, product: &Product) -> Result<(), Problem> {
    let taken = sqlx::query("select id from product where name_key = $1 and id <> $2")
        .bind(fold(&product.name))
        .bind(product.id.to_string())
        .fetch_optional(db)
        .await?;
    match taken {
        Some(_) => Err(Problem::mistake("name", "Another product has this name. Give this one a name of its own.")),
        None => Ok(()),
    }
}

/// The bottles that are not finished, in the order they came.
pub(super) async fn bottles(db: &mut Db) -> Result<Vec<Bottle>, Problem> {
    let rows = sqlx::query(
        "select b.id, b.product, b.lot, b.received, b.expiry, b.opened, b.room, b.in_use, b.finished, b.stopped,
         p.stopped, l.at from bottle b join product p on p.id = b.product
         left join stopped_lot l on l.product = b.product and l.lot = b.lot
         where b.finished is null order by b.created, b.id",
    )
    .fetch_all(db)
    .await?;
    rows.iter().map(read_bottle).collect()
}

/// The newest finished bottles.
pub(super) async fn finished_bottles(db: &mut Db, most: i64) -> Result<Vec<Bottle>, Problem> {
    let rows = sqlx::query(
        "select b.id, b.product, b.lot, b.received, b.expiry, b.opened, b.room, b.in_use, b.finished, b.stopped,
         p.stopped, l.at from bottle b join product p on p.id = b.product
         left join stopped_lot l on l.product = b.product and l.lot = b.lot
         where b.finished is not null order by b.finished desc, b.id limit $1",
    )
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_bottle).collect()
}

/// One bottle, also a finished one.
pub(super) async fn bottle(db: &mut Db, id: BottleId) -> Result<Option<Bottle>, Problem> {
    let row = sqlx::query(
        "select b.id, b.product, b.lot, b.received, b.expiry, b.opened, b.room, b.in_use, b.finished, b.stopped,
         p.stopped, l.at from bottle b join product p on p.id = b.product
         left join stopped_lot l on l.product = b.product and l.lot = b.lot where b.id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_bottle).transpose()
}

fn read_bottle(row: &AnyRow) -> Result<Bottle, Problem> {
    let day = |text: String| text.parse::<Date>().map_err(Problem::broken);
    let instant = |at: usize| row.get::<Option<i64>, _>(at).map(Instant);
    Ok(Bottle {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        product: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        lot: row.get(2),
        received: day(row.get(3))?,
        expiry: row.get::<Option<String>, _>(4).map(day).transpose()?,
        opened: instant(5),
        room: row.get::<Option<String>, _>(6).map(|room| room.parse().map_err(Problem::broken)).transpose()?,
        in_use: row.get::<i64, _>(7) == 1,
        finished: instant(8),
        // Stopped is stopped, whether the bottle, its product or its lot.
        stopped: instant(9).or(instant(10)).or(instant(11)),
    })
}

/// Adds a bottle.
pub(super) async fn add_bottle(tx: &mut Tx, bottle: &Bottle) -> Result<(), Problem> {
    tx.raise("shelf");
    let now = tx.now.0;
    query_with_nulls(
        "insert into bottle (id, product, lot, received, expiry, opened, room, in_use, created, finished, stopped)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, null, null)",
    )
    .bind(bottle.id.to_string())
    .bind(bottle.product.to_string())
    .bind(&bottle.lot)
    .bind(bottle.received.to_string())
    .bind(bottle.expiry.map(|day| day.to_string()))
    .bind(bottle.opened.map(|at| at.0))
    .bind(bottle.room.map(|room| room.to_string()))
    .bind(i64::from(bottle.in_use))
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("add bottle", bottle.id, "").await
}

/// Changes what stands on a bottle and when it was opened. `was` is the lot that stood there: where it is another now, it is kept, and
/// bound to the chain.
pub(super) async fn change_bottle(tx: &mut Tx, keys: &Keys, bottle: &Bottle, was: &str) -> Result<(), Problem> {
    tx.raise("shelf");
    let done = query_with_nulls(
        "update bottle set lot = $1, received = $2, expiry = $3, opened = $4 where id = $5 and finished is null",
    )
    .bind(&bottle.lot)
    .bind(bottle.received.to_string())
    .bind(bottle.expiry.map(|day| day.to_string()))
    .bind(bottle.opened.map(|at| at.0))
    .bind(bottle.id.to_string())
    .execute(tx.db())
    .await?;
    one(done.rows_affected())?;
    tx.audit("change bottle", bottle.id, "").await?;
    if was == bottle.lot {
        return Ok(());
    }
    let (id, of, product) = (CorrectionId::new().to_string(), bottle.id.to_string(), bottle.product.to_string());
    let (at, by) = (tx.now.0, tx.actor.mark());
    sqlx::query(
        "insert into corrected_lot (id, bottle, product, was, became, at, by_person) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(&id)
    .bind(&of)
    .bind(&product)
    .bind(was)
    .bind(&bottle.lot)
    .bind(at.0)
    .bind(&by)
    .execute(tx.db())
    .await?;
    let told = verify::line(keys, [&id, &of, &product, was, &bottle.lot, &at.0.to_string(), &by]);
    tx.audit(verify::CORRECTED, id, &told).await
}

/// What was put right of a product's lots, oldest first.
pub(super) async fn corrected_lots(db: &mut Db, product: ProductId) -> Result<CorrectedLots, Problem> {
    let rows = sqlx::query("select bottle, was, became, at from corrected_lot where product = $1 order by at, id")
        .bind(product.to_string())
        .fetch_all(db)
        .await?;
    read_corrected(&rows)
}

/// What was put right of one bottle's lot, oldest first.
pub(super) async fn corrected_lots_of(db: &mut Db, bottle: BottleId) -> Result<CorrectedLots, Problem> {
    let rows = sqlx::query("select bottle, was, became, at from corrected_lot where bottle = $1 order by at, id")
        .bind(bottle.to_string())
        .fetch_all(db)
        .await?;
    read_corrected(&rows)
}

fn read_corrected(rows: &[AnyRow]) -> Result<CorrectedLots, Problem> {
    let row = |row: &AnyRow| {
        Ok(CorrectedLot {
            bottle: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
            was: row.get(1),
            became: row.get(2),
            at: Instant(row.get(3)),
        })
    };
    Ok(CorrectedLots(rows.iter().map(row).collect::<Result<_, Problem>>()?))
}

/// Opens a bottle now; one that is open stays as it was.
pub(super) async fn open_bottle(tx: &mut Tx, id: BottleId, at: Instant) -> Result<(), Problem> {
    tx.raise("shelf");
    sqlx::query("update bottle set opened = $1 where id = $2 and opened is null and finished is null")
        .bind(at.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("open bottle", id, "").await
}

/// Moves a bottle to a room, or to the cupboard.
pub(super) async fn move_bottle(tx: &mut Tx, id: BottleId, room: Option<RoomId>) -> Result<(), Problem> {
    tx.raise("shelf");
    let done = query_with_nulls("update bottle set room = $1 where id = $2 and finished is null")
        .bind(room.map(|room| room.to_string()))
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    one(done.rows_affected())?;
    tx.audit("move bottle", id, "").await
}

/// Says whether a bottle is the one in daily use.
pub(super) async fn use_bottle(tx: &mut Tx, id: BottleId, in_use: bool) -> Result<(), Problem> {
    tx.raise("shelf");
    let done = sqlx::query("update bottle set in_use = $1 where id = $2 and finished is null")
        .bind(i64::from(in_use))
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    one(done.rows_affected())?;
    tx.audit(if in_use { "set bottle in use" } else { "set bottle aside" }, id, "").await
}

/// Finishes a bottle, or takes that back.
pub(super) async fn finish_bottle(tx: &mut Tx, id: BottleId, finished: Option<Instant>) -> Result<(), Problem> {
    tx.raise("shelf");
    query_with_nulls("update bottle set finished = $1, in_use = 0 where id = $2")
        .bind(finished.map(|at| at.0))
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit(if finished.is_some() { "finish bottle" } else { "take back finishing" }, id, "").await
}

/// Says when a bottle was finished that is entered afterwards.
pub(super) async fn finished_on(tx: &mut Tx, id: BottleId, at: Instant) -> Result<(), Problem> {
    sqlx::query("update bottle set finished = $1, in_use = 0 where id = $2")
        .bind(at.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("finish bottle", id, "").await
}

fn one(rows: u64) -> Result<(), Problem> {
    if rows == 0 { Err(Problem::NotHere("bottle")) } else { Ok(()) }
}
