//! SQL of what corrections replaced: whole versions of a card, sealed.

use sqlx::Row;

use super::card::Card;
use crate::base::ids::CardPartId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, sealed};

/// A version that a correction replaced, as it read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Version {
    /// Its id.
    pub(super) id: CardPartId,
    /// Its number.
    pub(super) number: i64,
    /// When it was replaced, and by whom: an actor's mark.
    pub(super) at: Instant,
    /// The mark.
    pub(super) by: String,
    /// Why.
    pub(super) reason: String,
    /// Its lines: word and value.
    pub(super) lines: Vec<(String, String)>,
}

/// Places of a version's sealed columns.
pub(super) fn version_places(id: CardPartId) -> [String; 2] {
    [format!("card_version.reason.{id}"), format!("card_version.was.{id}")]
}

/// Keeps a version that is being replaced.
pub(super) async fn keep_version(
    tx: &mut Tx,
    keys: &Keys,
    card: &Card,
    reason: &str,
    lines: &[(String, String)],
) -> Result<(), Problem> {
    let (id, now, by) = (CardPartId::new(), tx.now.0, tx.actor.mark());
    let places = version_places(id);
    let was = serde_json::to_vec(lines).map_err(Problem::broken)?;
    let reason = sealed::seal(tx.db(), keys, card.client, &places[0], reason.as_bytes()).await?;
    let was = sealed::seal(tx.db(), keys, card.client, &places[1], &was).await?;
    sqlx::query(
        "insert into card_version (id, client, card, version, at, by_mark, reason, was) values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id.to_string())
    .bind(card.client.to_string())
    .bind(card.id.to_string())
    .bind(card.version)
    .bind(now.0)
    .bind(by)
    .bind(reason)
    .bind(was)
    .execute(tx.db())
    .await?;
    tx.audit("correct card", card.id, &format!("version {}", card.version)).await
}

/// The versions that corrections replaced, newest first.
pub(super) async fn versions(db: &mut Db, keys: &Keys, card: &Card) -> Result<Vec<Version>, Problem> {
    let rows = sqlx::query(
        "select id, version, at, by_mark, reason, was from card_version where card = $1 order by version desc",
    )
    .bind(card.id.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut versions = Vec::new();
    for row in &rows {
        let id: CardPartId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let places = version_places(id);
        let reason = sealed::open(db, keys, card.client, &places[0], &row.get::<Vec<u8>, _>(4)).await?;
        let was = sealed::open(db, keys, card.client, &places[1], &row.get::<Vec<u8>, _>(5)).await?;
        versions.push(Version {
            id,
            number: row.get(1),
            at: Instant(row.get(2)),
            by: row.get(3),
            reason: reason.map(|plain| String::from_utf8_lossy(&plain).into_owned()).unwrap_or_default(),
            lines: match was {
                Some(plain) => serde_json::from_slice(&plain).map_err(Problem::broken)?,
                None => Vec::new(),
            },
        });
    }
    Ok(versions)
}
