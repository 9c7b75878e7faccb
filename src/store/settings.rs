//! Settings as names and texts; what they mean belongs to the part that owns the name.

use std::collections::BTreeMap;

use sqlx::Row;

use super::{Db, Tx};
use crate::base::problem::Problem;

/// Names and texts as they are kept.
pub type Settings = BTreeMap<String, String>;

/// Every setting that was ever changed from its default.
///
/// # Errors
/// When the database cannot be read.
pub async fn all(db: &mut Db) -> Result<Settings, Problem> {
    let rows = sqlx::query("select name, value from setting").fetch_all(db).await?;
    Ok(rows.iter().map(|row| (row.get(0), row.get(1))).collect())
}

/// Sets one setting inside a write.
///
/// # Errors
/// When the database refuses it.
pub async fn set(tx: &mut Tx, name: &str, value: &str) -> Result<(), Problem> {
    sqlx::query(
        "insert into setting (name, value) values ($1, $2) on conflict (name) do update set value = excluded.value",
    )
    .bind(name)
    .bind(value)
    .execute(tx.db())
    .await?;
    Ok(())
}
