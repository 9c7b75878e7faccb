//! What is left of somebody erased while records of hers must stay: sealed, whose they are and how to find her; and by which she is known
//! again when she comes back.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use sqlx::Row;

use super::{Client, store};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, many, sealed};

/// Whose records these are, for as long as some must stay. Once erased, the name is only here.
pub(super) async fn seal_rest(tx: &mut Tx, keys: &Keys, client: ClientId) -> Result<Vec<u8>, Problem> {
    let place = rest_place(client);
    let db = tx.db();
    let row = sqlx::query("select rest from client where id = $1").bind(client.to_string()).fetch_one(&mut *db).await?;
    if let Some(kept) = row.get::<Option<Vec<u8>>, _>(0) {
        return Ok(kept);
    }
    let known = store::client(db, client).await?.ok_or(Problem::NotHere("client"))?;
    if let Some(echo) = echo(keys, &known.name, known.born) {
        sqlx::query("update client set echo = $1 where id = $2")
            .bind(echo)
            .bind(client.to_string())
            .execute(&mut *db)
            .await?;
    }
    let rest = Rest {
        name: known.name,
        born: known.born.map(|born| born.to_string()),
        phone: known.phone,
        email: known.email,
    };
    let plain = serde_json::to_vec(&rest).map_err(Problem::broken)?;
    sealed::seal(db, keys, client, &place, &plain).await
}

/// What says whose records these are, once she is erased.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rest {
    /// Her name.
    pub name: String,
    /// The day she was born on, as ISO 8601 writes it.
    pub born: Option<String>,
    /// Her telephone; empty without.
    pub phone: String,
    /// Her address for e-mail; empty without.
    pub email: String,
}

/// By which somebody erased is known again: the same name and birth date. Without a birth date too many people would be her.
fn echo(keys: &Keys, name: &str, born: Option<Date>) -> Option<String> {
    let born = born?.to_string();
    Some(keys.digest("client echo", &[super::alike::name_key(name).as_bytes(), born.as_bytes()]))
}

/// Ties a record to what had to stay of an erased one with the same name and birth date: a reaction of then holds her now.
pub(super) async fn recognise(tx: &mut Tx, keys: &Keys, client: &Client) -> Result<(), Problem> {
    let Some(echo) = echo(keys, &client.name, client.born) else { return Ok(()) };
    let known = sqlx::query("update client set came_back = $1 where echo = $2 and erased is not null and id <> $1")
        .bind(client.id.to_string())
        .bind(echo)
        .execute(tx.db())
        .await?;
    if known.rows_affected() == 0 {
        return Ok(());
    }
    tx.raise(super::DOOR);
    tx.audit("recognise erased client", client.id, "").await
}

/// Whether somebody erased has a new record that is in use.
pub(super) async fn came_back(db: &mut Db, client: ClientId) -> Result<bool, Problem> {
    let row = sqlx::query(
        "select 1 from client e join client n on n.id = e.came_back where e.id = $1 and n.erased is null limit 1",
    )
    .bind(client.to_string())
    .fetch_optional(db)
    .await?;
    Ok(row.is_some())
}

/// Who those of these clients are who were erased while records of theirs must stay.
pub(super) async fn rests(db: &mut Db, keys: &Keys, clients: &[ClientId]) -> Result<BTreeMap<ClientId, Rest>, Problem> {
    let left = sqlx::query(among!("select c.id, c.rest from client c", "c.id", "and c.rest is not null"));
    let rows = left.bind(many(clients)).fetch_all(&mut *db).await?;
    let opened = sealed::keys_of(db, keys, clients).await?;
    let mut found = BTreeMap::new();
    for row in rows {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let Some(key) = opened.get(&client) else { continue };
        let plain = key.open(&rest_place(client), &row.get::<Vec<u8>, _>(1))?;
        found.insert(client, serde_json::from_slice(&plain).map_err(Problem::broken)?);
    }
    Ok(found)
}

/// Where name and birth date of an erased client are sealed.
fn rest_place(client: ClientId) -> String {
    format!("client.rest.{client}")
}
