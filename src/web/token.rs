//! Keys for programs: a sensor's, which writes one instrument's readings, and a read token, which reads rooms and asks for advice.
//! Named, shown for a few minutes after they are made, revocable; the row holds a digest.

use sqlx::Row;

use crate::base::actor::Actor;
use crate::base::ids::{InstrumentId, PersonId, RoomId, TokenId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE, Now};
use crate::store::keys::{Keys, digest_of_secret, fresh_secret};
use crate::store::{Db, Tx};
use crate::web::secret::Shown;

/// How long a new secret can be read on its page. A response lost on the way must not mean a lost token.
pub const SHOWN_FOR: i64 = 10 * MINUTE;

/// What a token may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Adds readings of one instrument.
    Sensor {
        /// The instrument.
        instrument: InstrumentId,
        /// The room it stands in.
        room: RoomId,
    },
    /// Reads rooms, asks for advice.
    Read,
}

/// A token as lists show it.
#[derive(Debug, Clone)]
pub struct Listed {
    /// Its id.
    pub id: TokenId,
    /// Its name.
    pub name: String,
    /// What it may do.
    pub kind: Kind,
    /// When it was made.
    pub created: Instant,
    /// When it was last used, to the minute.
    pub last_used: Option<Instant>,
    /// When it was revoked.
    pub revoked: Option<Instant>,
}

/// Makes a token inside a write.
///
/// # Errors
/// When the database refuses it.
pub async fn make(tx: &mut Tx, keys: &Keys, name: &str, kind: Kind, by: PersonId) -> Result<TokenId, Problem> {
    let id = TokenId::new();
    let salt = fresh_secret()?;
    let now = tx.now.0;
    let (word, instrument, room) = match kind {
        Kind::Sensor { instrument, room } => ("sensor", Some(instrument.to_string()), Some(room.to_string())),
        Kind::Read => ("read", None, None),
    };
    sqlx::query(
        "insert into token (id, kind, name, secret, salt, instrument, room, made_by, created, last_used, revoked)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, null, null)",
    )
    .bind(id.to_string())
    .bind(word)
    .bind(name)
    .bind(digest_of_secret(&secret_of(keys, id, &salt)))
    .bind(&salt)
    .bind(instrument)
    .bind(room)
    .bind(by.to_string())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit(&format!("make {word} token"), id, "").await?;
    Ok(id)
}

/// The secret, while it may still be shown to whoever made it.
///
/// # Errors
/// When the database cannot be read.
pub async fn secret(db: &mut Db, keys: &Keys, id: TokenId, now: Now) -> Result<Option<Shown>, Problem> {
    let row = sqlx::query(
        "select salt, created, made_by from token where id = $1 and created > $2 and revoked is null and salt <> ''",
    )
    .bind(id.to_string())
    .bind(now.0.plus(-SHOWN_FOR).0)
    .fetch_optional(db)
    .await?;
    row.map(|row| {
        Ok(Shown {
            secret: secret_of(keys, id, &row.get::<String, _>(0)),
            until: Instant(row.get(1)).plus(SHOWN_FOR),
            made_by: row.get::<String, _>(2).parse().map_err(Problem::broken)?,
        })
    })
    .transpose()
}

/// Empties what would let a secret be shown again: when its reader says she has copied it, and by the clock.
///
/// # Errors
/// When the database refuses it.
pub async fn hide(tx: &mut Tx, id: Option<TokenId>) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update token set salt = '' where salt <> '' and (id = $1 or created < $2)")
        .bind(id.map(|id| id.to_string()).unwrap_or_default())
        .bind(now.plus(-SHOWN_FOR).0)
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Revokes a token: from now on it opens nothing.
///
/// # Errors
/// When the database refuses it.
pub async fn revoke(tx: &mut Tx, id: TokenId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update token set revoked = $1, salt = '' where id = $2 and revoked is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("revoke token", id, "").await
}

/// Who sends this secret, and when its token was last used.
///
/// # Errors
/// When the database cannot be read.
pub async fn bearer(db: &mut Db, secret: &str) -> Result<Option<(Actor, Instant)>, Problem> {
    let row = sqlx::query(
        "select id, kind, instrument, room, coalesce(last_used, 0) from token where secret = $1 and revoked is null",
    )
    .bind(digest_of_secret(secret))
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let token = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    let actor = match kind_of(&row.get::<String, _>(1), row.get(2), row.get(3))? {
        Kind::Sensor { instrument, room } => Actor::Sensor { token, instrument, room },
        Kind::Read => Actor::Reader { token },
    };
    Ok(Some((actor, Instant(row.get(4)))))
}

/// Notes that a token was used. Called at most once a minute.
///
/// # Errors
/// When the database refuses it.
pub async fn touch(tx: &mut Tx, id: TokenId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update token set last_used = $1 where id = $2")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Every token, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn all(db: &mut Db) -> Result<Vec<Listed>, Problem> {
    let rows = sqlx::query(
        "select id, kind, instrument, room, name, created, last_used, revoked from token order by created desc, id desc",
    )
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Listed {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                kind: kind_of(&row.get::<String, _>(1), row.get(2), row.get(3))?,
                name: row.get(4),
                created: Instant(row.get(5)),
                last_used: row.get::<Option<i64>, _>(6).map(Instant),
                revoked: row.get::<Option<i64>, _>(7).map(Instant),
            })
        })
        .collect()
}

fn kind_of(word: &str, instrument: Option<String>, room: Option<String>) -> Result<Kind, Problem> {
    match (word, instrument, room) {
        ("sensor", Some(instrument), Some(room)) => Ok(Kind::Sensor {
            instrument: instrument.parse().map_err(Problem::broken)?,
            room: room.parse().map_err(Problem::broken)?,
        }),
        ("read", None, None) => Ok(Kind::Read),
        _ => Err(Problem::broken("a token row is of no kind of ours")),
    }
}

// Derived, not stored: the row's salt alone or the key alone gives nothing.
fn secret_of(keys: &Keys, id: TokenId, salt: &str) -> String {
    format!("sr_{}", keys.digest("token", &[id.to_string().as_bytes(), salt.as_bytes()]))
}
