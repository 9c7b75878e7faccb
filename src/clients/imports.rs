//! SQL of files of clients on their way in.

use std::collections::BTreeSet;

use sqlx::Row;

use super::alike::Keys;
use super::import_file::{self, DayOrder};
use super::{Client, Keeper, short_name, store};
use crate::base::ids::{ClientId, ClientImportId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::{Db, Tx};

/// A file with what was decided about it.
pub(super) struct Import {
    pub(super) file_name: String,
    pub(super) content: Vec<u8>,
    pub(super) order: DayOrder,
    pub(super) state: String,
    pub(super) rows_new: i64,
}

/// Keeps a file for its preview.
pub(super) async fn add(
    tx: &mut Tx,
    id: ClientImportId,
    file_name: &str,
    content: &[u8],
    order: DayOrder,
    by: PersonId,
) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into client_import (id, file_name, content, day_order, made_by, created, state, rows_new)
         values ($1, $2, $3, $4, $5, $6, 'preview', 0)",
    )
    .bind(id.to_string())
    .bind(file_name)
    .bind(content.to_vec())
    .bind(order.word())
    .bind(by.to_string())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("send file of clients", id, "").await
}

/// One file.
pub(super) async fn find(db: &mut Db, id: ClientImportId) -> Result<Import, Problem> {
    let row = sqlx::query("select file_name, content, day_order, state, rows_new from client_import where id = $1")
        .bind(id.to_string())
        .fetch_optional(db)
        .await?
        .ok_or(Problem::NotHere("file"))?;
    Ok(Import {
        file_name: row.get(0),
        content: row.get(1),
        order: DayOrder::from_word(&row.get::<String, _>(2))
            .ok_or_else(|| Problem::broken("a file of clients with an unknown order of dates"))?,
        state: row.get(3),
        rows_new: row.get(4),
    })
}

/// Rows that are not here yet, and how many are: the same name with the same birth date, number or address, or with nothing more to
/// compare.
pub(super) async fn sort(db: &mut Db, rows: &[import_file::Row]) -> Result<(Vec<import_file::Row>, usize), Problem> {
    let mut known: BTreeSet<Keys> = BTreeSet::new();
    let mut new = Vec::new();
    for row in rows {
        let keys = Keys::of(&row.name, &row.phone, &row.email, row.born);
        if known.contains(&keys) || is_here(db, &keys).await? {
            continue;
        }
        new.push(row.clone());
        known.insert(keys);
    }
    let here = rows.len() - new.len();
    Ok((new, here))
}

async fn is_here(db: &mut Db, keys: &Keys) -> Result<bool, Problem> {
    let bare = keys.born.is_empty() && keys.phone.is_empty() && keys.email.is_empty();
    let row = sqlx::query(
        "select 1 from client where name_key = $1 and merged_into is null and erased is null
           and ($2 = 1 or ($3 <> '' and born = $3) or ($4 <> '' and phone_digits = $4) or ($5 <> '' and email_key = $5)) limit 1",
    )
    .bind(&keys.name)
    .bind(i64::from(bare))
    .bind(&keys.born)
    .bind(&keys.phone)
    .bind(&keys.email)
    .fetch_optional(db)
    .await?;
    Ok(row.is_some())
}

/// Adds the new rows as clients of the studio and empties the file.
pub(super) async fn take(
    tx: &mut Tx,
    keys: &crate::store::keys::Keys,
    id: ClientImportId,
    rows: &[import_file::Row],
) -> Result<(), Problem> {
    let now = tx.now.0;
    for row in rows {
        let client = Client {
            id: ClientId::new(),
            short: short_name(&row.name),
            name: row.name.clone(),
            phone: row.phone.clone(),
            email: row.email.clone(),
            born: row.born,
            keeper: Keeper::Studio,
            artists: Vec::new(),
            notes: String::new(),
            created: now,
            restricted: None,
            merged_into: None,
            erased: None,
        };
        store::insert(tx.db(), &client).await?;
        super::rest_store::recognise(tx, keys, &client).await?;
    }
    decide(tx, id, "taken", rows.len()).await?;
    tx.audit("take file of clients", id, &rows.len().to_string()).await
}

/// Leaves the file and empties it.
pub(super) async fn leave(tx: &mut Tx, id: ClientImportId) -> Result<(), Problem> {
    decide(tx, id, "dropped", 0).await?;
    tx.audit("leave file of clients", id, "").await
}

async fn decide(tx: &mut Tx, id: ClientImportId, state: &'static str, rows_new: usize) -> Result<(), Problem> {
    let done = sqlx::query(
        "update client_import set state = $1, rows_new = $2, content = $3, file_name = '' where id = $4 and state = 'preview'",
    )
    .bind(state)
    .bind(i64::try_from(rows_new).unwrap_or(i64::MAX))
    .bind(Vec::<u8>::new())
    .bind(id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::Clash(
            "This file was taken or left already.".into(),
            "Look at the clients; send the file again if some are missing.".into(),
        ));
    }
    Ok(())
}

/// Empties files older than this that nobody decided about.
pub(super) async fn forget(tx: &mut Tx, older_than: Instant) -> Result<(), Problem> {
    sqlx::query(
        "update client_import set state = 'dropped', content = $1, file_name = '' where state = 'preview' and created < $2",
    )
    .bind(Vec::<u8>::new())
    .bind(older_than.0)
    .execute(tx.db())
    .await?;
    Ok(())
}
