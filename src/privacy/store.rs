//! Erasure over all parts, and what it left: begun by a person, finished by the clock when the last reason to stay is over.

use std::collections::BTreeMap;

use sqlx::Row;

use super::parts::PARTS;
use crate::base::actor::{Actor, Who};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::cards;
use crate::clearance;
use crate::clients::rights::{self, Erasing, Stays};
use crate::clients::{self, ClientSettings};
use crate::store::keys::Keys;
use crate::store::{Db, FormKey, Kept, Tx, sealed, settings};
use crate::web::House;

/// Tells that erased rows may still lie in the file's free pages and log.
const TO_SCRUB: &str = "privacy.to_scrub";

/// Erases what may go in every part, writes down what stays, and destroys the client's key when nothing sealed has to stay.
pub(super) async fn erase(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    treated: Option<Instant>,
) -> Result<Vec<Stays>, Problem> {
    let known = clients::client(tx.db(), client).await?.ok_or(Problem::NotHere("client"))?;
    // A record of a test or a treatment knows better than whoever answers the question.
    let treated = treated.max(clearance::last_met(tx.db(), client).await?);
    let mut erasing = Erasing::new(tx.now.0, treated, known.born, ClientSettings::load(tx.db()).await?);
    erasing.told = rest(tx.db(), client).await?.into_iter().map(|(what, _, until)| (what, until)).collect();
    erasing.pictured = cards::complained_of(tx.db(), client, &erasing).await?;
    sqlx::query("delete from erasure_rest where client = $1").bind(client.to_string()).execute(tx.db()).await?;
    let mut all = Vec::new();
    for part in PARTS.iter().rev() {
        for one in (part.client_erase)(tx, keys, client, &erasing).await? {
            sqlx::query("insert into erasure_rest (client, part, what, reason, until) values ($1, $2, $3, $4, $5)")
                .bind(client.to_string())
                .bind(part.name)
                .bind(one.what)
                .bind(&one.reason)
                .bind(one.until.0)
                .execute(tx.db())
                .await?;
            erasing.others = erasing.others.max(Some(one.until));
            all.push(one);
        }
    }
    if all.is_empty() {
        sealed::destroy(tx, client).await?;
    }
    // Names wait in files of other clients as well: the next preview has to be sent anew.
    let everything_before = tx.now.0.plus(1);
    rights::forget_files(tx, everything_before).await?;
    settings::set(tx, TO_SCRUB, "yes").await?;
    tx.audit("erase client", client, if all.is_empty() { "all" } else { "what may go" }).await?;
    Ok(all)
}

/// Erases a client of the invented studio who was never treated.
pub(crate) async fn erase_invented(house: &House, by: &Who, client: ClientId) -> Result<(), Problem> {
    let (keeping, actor) = (house.clone(), Actor::Person(by.clone()));
    house
        .store
        .write(&FormKey::unkeyed(actor), move |tx| {
            let house = keeping.clone();
            Box::pin(async move {
                erase(tx, house.store.keys(), client, None).await?;
                Ok(Kept::see(""))
            })
        })
        .await?;
    scrub(house).await
}

/// What an erasure left of a client: what, why, until when.
pub(super) async fn rest(db: &mut Db, client: ClientId) -> Result<Vec<(String, String, Instant)>, Problem> {
    let rows = sqlx::query("select what, reason, until from erasure_rest where client = $1 order by what")
        .bind(client.to_string())
        .fetch_all(db)
        .await?;
    Ok(rows.iter().map(|row| (row.get(0), row.get(1), Instant(row.get(2)))).collect())
}

/// Of whom something stays, and until when the last of it does.
pub(super) async fn last_days(db: &mut Db) -> Result<BTreeMap<ClientId, Instant>, Problem> {
    let rows = sqlx::query("select client, max(until) from erasure_rest group by client").fetch_all(db).await?;
    rows.iter()
        .map(|row| Ok((row.get::<String, _>(0).parse().map_err(Problem::broken)?, Instant(row.get(1)))))
        .collect()
}

/// Clients of whom something has stayed until its day, and goes now.
async fn over(db: &mut Db, now: Instant) -> Result<Vec<ClientId>, Problem> {
    let rows =
        sqlx::query("select distinct client from erasure_rest where until <= $1").bind(now.0).fetch_all(db).await?;
    rows.iter().map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).collect()
}

/// For the clock.
pub(super) async fn finish_erasures(house: &House) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let clients = {
        let mut db = house.store.read().await?;
        over(&mut db, now).await?
    };
    for client in clients {
        let keeping = house.clone();
        house
            .store
            .write(&FormKey::house(), move |tx| {
                let house = keeping.clone();
                Box::pin(async move {
                    erase(tx, house.store.keys(), client, None).await?;
                    Ok(Kept::see(""))
                })
            })
            .await?;
    }
    house
        .store
        .write(&FormKey::house(), move |tx| {
            Box::pin(async move {
                rights::forget_files(tx, now.plus(-DAY)).await?;
                rights::forget_handed_forms(tx, now.plus(-DAY)).await?;
                rights::end_covers(tx).await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await?;
    scrub(house).await
}

/// Takes what was erased out of the database's free pages and its log as well, where that is still to be done.
pub(super) async fn scrub(house: &House) -> Result<(), Problem> {
    let to_do = {
        let mut db = house.store.read().await?;
        settings::all(&mut db).await?.get(TO_SCRUB).is_some_and(|value| value == "yes")
    };
    if !to_do {
        return Ok(());
    }
    house.store.scrub().await?;
    house
        .store
        .write(&FormKey::house(), |tx| {
            Box::pin(async move {
                settings::set(tx, TO_SCRUB, "no").await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
