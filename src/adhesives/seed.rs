//! Adhesives of the invented studio, written as the pages write them, many tests at a time.

use super::bench::{BenchTest, Sitting};
use super::bottle::Bottle;
use super::product::Product;
use super::{bench_store, forecasts, store};
use crate::base::ids::BottleId;
use crate::base::problem::Problem;
use crate::store::{Db, FormKey, Kept};
use crate::web::House;

/// Adds a product.
pub(crate) async fn seed_product(house: &House, product: Product) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let product = product.clone();
            Box::pin(async move {
                store::add_product(tx, &product).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Adds a bottle of a product that is there; one with `finished` set is finished in the same write.
pub(crate) async fn seed_bottle(house: &House, bottle: Bottle) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let bottle = bottle.clone();
            Box::pin(async move {
                store::add_bottle(tx, &bottle).await?;
                if bottle.finished.is_some() {
                    let now = tx.now.0;
                    store::finish_bottle(tx, bottle.id, Some(now)).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Adds bottles that were used up long ago, each with the day it was finished, in one write.
pub(crate) async fn seed_used_up(house: &House, bottles: Vec<Bottle>) -> Result<(), Problem> {
    if bottles.is_empty() {
        return Ok(());
    }
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let bottles = bottles.clone();
            Box::pin(async move {
                for bottle in &bottles {
                    store::add_bottle(tx, bottle).await?;
                    if let Some(at) = bottle.finished {
                        store::finished_on(tx, bottle.id, at).await?;
                    }
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Every bottle there ever was, the used up among them.
pub(crate) async fn seeded_bottles(db: &mut Db) -> Result<Vec<Bottle>, Problem> {
    let mut all = store::bottles(db).await?;
    all.extend(store::finished_bottles(db, MOST).await?);
    Ok(all)
}

/// More than a year uses up.
const MOST: i64 = 1000;

/// Adds sittings with their tests to one bottle; each sitting is foretold from those before it.
pub(crate) async fn seed_sittings(
    house: &House,
    bottle: BottleId,
    sittings: Vec<(Sitting, Vec<BenchTest>)>,
) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let sittings = sittings.clone();
            Box::pin(async move {
                let on_shelf = store::bottle(tx.db(), bottle).await?.ok_or(Problem::NotHere("bottle"))?;
                for (sitting, tests) in &sittings {
                    bench_store::add_sitting(tx, sitting).await?;
                    for test in tests {
                        bench_store::add_test(tx, bottle, test).await?;
                        forecasts::keep_for(tx, &on_shelf, test).await?;
                    }
                    // Each sitting is foretold from those before it, as if it had just been made.
                    bench_store::refresh(tx, &on_shelf).await?;
                }
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
