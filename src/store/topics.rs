//! Topics: names with a count that a write raises in its own transaction, so that pages that stay open know when to look again.
//! A name is read by everybody who works here and must tell nothing by itself.

use std::collections::BTreeMap;

use sqlx::Row;

use super::{Db, Tx};
use crate::base::problem::Problem;
use crate::base::time::Instant;

/// How far a topic has risen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Topic {
    /// How often it was raised.
    pub n: i64,
    /// When last.
    pub raised: Instant,
}

impl Tx {
    /// Raises a topic, once however often a write says so. Whoever listens hears of it when this write is committed, and never when
    /// it is not.
    pub fn raise(&mut self, topic: &str) {
        if !self.raised.contains(topic) {
            self.raised.insert(topic.to_owned());
        }
    }
}

/// Writes down what a write has raised; the last it does before it is committed.
pub(super) async fn keep(tx: &mut Tx) -> Result<(), Problem> {
    let now = tx.now.0;
    for topic in std::mem::take(&mut tx.raised) {
        sqlx::query(
            "insert into topic (name, n, raised) values ($1, 1, $2)
             on conflict (name) do update set n = topic.n + 1, raised = excluded.raised",
        )
        .bind(topic)
        .bind(now.0)
        .execute(tx.db())
        .await?;
    }
    Ok(())
}

/// Every topic that was ever raised.
///
/// # Errors
/// When the database cannot be read.
pub async fn all(db: &mut Db) -> Result<BTreeMap<String, Topic>, Problem> {
    let rows = sqlx::query("select name, n, raised from topic").fetch_all(db).await?;
    Ok(rows.iter().map(|row| (row.get(0), Topic { n: row.get(1), raised: Instant(row.get(2)) })).collect())
}
