//! Form keys: the first result of every form, kept in the record's own transaction.

use serde_json::Value;
use sqlx::Row;

use super::{Db, Tx};
use crate::base::actor::Actor;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};

/// How long a first result is kept: longer than anything waits on a tablet.
pub const KEPT_FOR: i64 = 90 * DAY;

/// Says which form this is: who sent it, where to, its own key, and a fingerprint of what it held.
#[derive(Debug, Clone)]
pub struct FormKey {
    /// Who sent it.
    pub actor: Actor,
    /// Where it was sent: a digest of the path.
    pub route: String,
    /// The key rendered into the form or sent as `Idempotency-Key`; `None` for a message without one.
    pub form: Option<String>,
    /// Keyed digest of the body without session token and key.
    pub fingerprint: String,
}

impl FormKey {
    /// For the house's own writes, which nobody can send twice.
    #[must_use]
    pub fn house() -> Self {
        Self { actor: Actor::House, route: String::new(), form: None, fingerprint: String::new() }
    }

    /// A write of `actor` that carries no key.
    #[must_use]
    pub fn unkeyed(actor: Actor) -> Self {
        Self { actor, ..Self::house() }
    }

    /// The key for a form that comes back: the same, so that what is put right is kept once however often it is sent. Empty where
    /// none was sent.
    #[must_use]
    pub fn again(&self) -> String {
        self.form.clone().unwrap_or_default()
    }
}

/// The result of a write as it can be given again: a place to go to, or a small JSON answer. No health data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// HTTP status.
    pub status: u16,
    /// Where to go; empty for a JSON answer.
    pub location: String,
    /// JSON text; empty for a redirect.
    pub answer: String,
}

impl Kept {
    /// "See this page": the answer to a form. The path is without the base path.
    pub fn see(path: impl Into<String>) -> Self {
        Self { status: 303, location: path.into(), answer: String::new() }
    }

    /// A small JSON answer.
    #[must_use]
    pub fn json(status: u16, answer: &Value) -> Self {
        Self { status, location: String::new(), answer: answer.to_string() }
    }
}

/// The first result of this form, if there is one.
///
/// # Errors
/// [`Problem::AlreadyKept`] when the key was used with another body.
pub(super) async fn first_result(db: &mut Db, key: &FormKey) -> Result<Option<Kept>, Problem> {
    let Some(form) = &key.form else { return Ok(None) };
    let row = sqlx::query(
        "select fingerprint, status, location, answer from form_key where actor = $1 and route = $2 and form = $3",
    )
    .bind(key.actor.mark())
    .bind(&key.route)
    .bind(form)
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let kept =
        Kept { status: u16::try_from(row.get::<i64, _>(1)).unwrap_or(500), location: row.get(2), answer: row.get(3) };
    if row.get::<String, _>(0) == key.fingerprint { Ok(Some(kept)) } else { Err(Problem::AlreadyKept(kept.location)) }
}

/// Keeps the first result beside what it made.
pub(super) async fn keep(tx: &mut Tx, key: &FormKey, kept: &Kept) -> Result<(), Problem> {
    let Some(form) = &key.form else { return Ok(()) };
    let at = tx.now.0;
    sqlx::query(
        "insert into form_key (actor, route, form, fingerprint, status, location, answer, at)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(key.actor.mark())
    .bind(&key.route)
    .bind(form)
    .bind(&key.fingerprint)
    .bind(i64::from(kept.status))
    .bind(&kept.location)
    .bind(&kept.answer)
    .bind(at.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Forgets results older than [`KEPT_FOR`].
pub(super) async fn forget_old(db: &mut Db, now: Instant) -> Result<(), Problem> {
    sqlx::query("delete from form_key where at < $1").bind(now.0 - KEPT_FOR).execute(db).await?;
    Ok(())
}
