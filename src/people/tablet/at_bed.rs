//! What is under way on a tablet: another part says so, the lock shows its time without a name and offers the one deed that needs no
//! digits. This part knows the work by an id alone.

use axum::http::HeaderMap;
use sqlx::Row;

use super::{held, store};
use crate::base::ids::TabletId;
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::store::{Db, Tx, query_with_nulls};
use crate::web::House;
use crate::web::visitor::Visitor;

/// How long the lock speaks of work that nobody ended.
const FORGOTTEN_AFTER: i64 = 12 * HOUR;

/// Work that is open on a tablet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AtBed {
    /// Its id.
    pub card: String,
    /// When the drop in use was begun, and when a fresh one is due; none without adhesive.
    pub drop: Option<(Instant, Instant)>,
}

impl AtBed {
    /// Whether the lock offers a new drop for it.
    #[must_use]
    pub fn offers_drop(&self, now: Instant) -> bool {
        self.drop.is_some_and(|(begun, _)| now.since(begun) < FORGOTTEN_AFTER)
    }
}

/// What is under way on a tablet.
///
/// # Errors
/// When the database cannot be read.
pub async fn at_bed(db: &mut Db, tablet: TabletId) -> Result<Option<AtBed>, Problem> {
    let row = sqlx::query("select card, drop_at, drop_due from tablet where id = $1 and card is not null")
        .bind(tablet.to_string())
        .fetch_optional(db)
        .await?;
    Ok(row.map(|row| {
        let at = row.get::<Option<i64>, _>(1).zip(row.get::<Option<i64>, _>(2));
        AtBed { card: row.get(0), drop: at.map(|(begun, due)| (Instant(begun), Instant(due))) }
    }))
}

/// Says what is under way on a tablet from now on.
///
/// # Errors
/// When the database refuses it.
pub async fn begin_at_bed(tx: &mut Tx, tablet: TabletId, work: &AtBed) -> Result<(), Problem> {
    query_with_nulls("update tablet set card = $2, drop_at = $3, drop_due = $4 where id = $1 and revoked is null")
        .bind(tablet.to_string())
        .bind(&work.card)
        .bind(work.drop.map(|(begun, _)| begun.0))
        .bind(work.drop.map(|(_, due)| due.0))
        .execute(tx.db())
        .await?;
    tx.audit("work on tablet", tablet, &work.card).await
}

/// Says that a drop was begun, to every tablet that work is open on. One that comes late, after a newer one, changes nothing there.
///
/// # Errors
/// When the database refuses it.
pub async fn drop_begun(tx: &mut Tx, card: &str, begun: Instant, due: Instant) -> Result<(), Problem> {
    sqlx::query("update tablet set drop_at = $2, drop_due = $3 where card = $1 and (drop_at is null or drop_at <= $2)")
        .bind(card)
        .bind(begun.0)
        .bind(due.0)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Says that this work is over, wherever it is open.
///
/// # Errors
/// When the database refuses it.
pub async fn end_at_bed(tx: &mut Tx, card: &str) -> Result<(), Problem> {
    sqlx::query("update tablet set card = null, drop_at = null, drop_due = null where card = $1")
        .bind(card)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// What a tablet is given beside the id of work that lies on it: sent back with a press that comes late, it says that the work lay there.
/// The id alone says so of any tablet.
#[must_use]
pub fn lay_mark(house: &House, tablet: TabletId, work: &str) -> String {
    house.store.keys().digest("work on a tablet", &[tablet.to_string().as_bytes(), work.as_bytes()])
}

/// What a tablet is called.
///
/// # Errors
/// When the database cannot be read.
pub async fn tablet_name(db: &mut Db, tablet: TabletId) -> Result<String, Problem> {
    let row = sqlx::query("select name from tablet where id = $1").bind(tablet.to_string()).fetch_optional(db).await?;
    Ok(row.map_or_else(|| "a tablet".to_owned(), |row| row.get(0)))
}

/// An enrolled tablet that asks without anybody signed in on it.
#[derive(Debug, Clone)]
pub struct Locked {
    /// Which.
    pub tablet: TabletId,
    /// Whom its one form belongs to: nobody, tied to the tablet's own cookie, so that the form holds whoever was signed in a moment ago.
    pub visitor: Visitor,
}

/// The tablet a request comes from, while it is enrolled; `path` is the form's own.
///
/// # Errors
/// When the database cannot be read.
pub async fn locked(
    house: &House,
    headers: &HeaderMap,
    visitor: &Visitor,
    path: &str,
) -> Result<Option<Locked>, Problem> {
    let Some(secret) = held(house, headers) else { return Ok(None) };
    let mut db = house.store.read().await?;
    let Some(tablet) = store::enrolled(&mut db, &secret, visitor.now).await? else { return Ok(None) };
    let visitor = Visitor { path: path.to_owned(), now: visitor.now, ..Visitor::of_new_session(house, &secret) };
    Ok(Some(Locked { tablet, visitor }))
}
