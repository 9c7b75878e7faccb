//! SQL of the secret addresses of calendars.

use sqlx::Row;

use crate::base::actor::person_of;
use crate::base::ids::{ArtistId, FeedId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE, Now};
use crate::store::keys::{Keys, digest_of_secret, fresh_secret};
use crate::store::{Db, Tx};
use crate::web::secret::Shown;

/// How long a new address can be read on its page.
const SHOWN_FOR: i64 = 10 * MINUTE;

/// An artist's open address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Feed {
    pub(super) created: Instant,
    /// Its secret, while it may still be shown.
    pub(super) secret: Option<Shown>,
}

/// The address that is open for this artist's calendar.
pub(super) async fn open(db: &mut Db, keys: &Keys, artist: ArtistId, now: Now) -> Result<Option<Feed>, Problem> {
    let row = sqlx::query(
        "select id, salt, created, made_by from calendar_feed where artist = $1 and revoked is null order by created desc limit 1",
    )
    .bind(artist.to_string())
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let id = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    let (salt, created) = (row.get::<String, _>(1), Instant(row.get(2)));
    let until = created.plus(SHOWN_FOR);
    let made_by = person_of(&row.get::<String, _>(3)).filter(|_| !salt.is_empty() && now.0 < until);
    Ok(Some(Feed {
        created,
        secret: made_by.map(|made_by| Shown { secret: secret_of(keys, id, &salt), until, made_by }),
    }))
}

/// Makes a new address; the one before opens nothing from now on.
pub(super) async fn make(tx: &mut Tx, keys: &Keys, artist: ArtistId) -> Result<(), Problem> {
    revoke_all(tx, artist).await?;
    let (id, salt) = (FeedId::new(), fresh_secret()?);
    let (now, by) = (tx.now.0, tx.actor.mark());
    sqlx::query(
        "insert into calendar_feed (id, artist, secret, salt, made_by, created, revoked) values ($1, $2, $3, $4, $5, $6, null)",
    )
    .bind(id.to_string())
    .bind(artist.to_string())
    .bind(digest_of_secret(&secret_of(keys, id, &salt)))
    .bind(&salt)
    .bind(by)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("open calendar", artist, "").await
}

/// Closes an artist's address.
pub(super) async fn revoke(tx: &mut Tx, artist: ArtistId) -> Result<(), Problem> {
    revoke_all(tx, artist).await?;
    tx.audit("close calendar", artist, "").await
}

async fn revoke_all(tx: &mut Tx, artist: ArtistId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update calendar_feed set revoked = $1, salt = '' where artist = $2 and revoked is null")
        .bind(now.0)
        .bind(artist.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Empties what would let an artist's address be shown again: its reader says that she has it.
pub(super) async fn hide(tx: &mut Tx, artist: ArtistId) -> Result<(), Problem> {
    sqlx::query("update calendar_feed set salt = '' where artist = $1 and salt <> ''")
        .bind(artist.to_string())
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Empties what would let an address be shown again, by the clock.
pub(super) async fn hide_old(tx: &mut Tx) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update calendar_feed set salt = '' where salt <> '' and created < $1")
        .bind(now.plus(-SHOWN_FOR).0)
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Whose calendar this secret opens.
pub(super) async fn whose(db: &mut Db, secret: &str) -> Result<Option<ArtistId>, Problem> {
    let row = sqlx::query("select artist from calendar_feed where secret = $1 and revoked is null")
        .bind(digest_of_secret(secret))
        .fetch_optional(db)
        .await?;
    row.map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).transpose()
}

// Derived, not stored: the row's salt alone or the key alone gives nothing.
fn secret_of(keys: &Keys, id: FeedId, salt: &str) -> String {
    keys.digest("calendar", &[id.to_string().as_bytes(), salt.as_bytes()])
}
