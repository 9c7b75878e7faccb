//! SQL of enrolled tablets, of people's digits, and of tries counted.

use sqlx::Row;

use crate::base::ids::{PersonId, TabletId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant, Now};
use crate::store::keys::digest_of_secret;
use crate::store::{Db, Tx};
use crate::web::session;

/// How long a tablet stays enrolled.
pub(super) const ENROLLED_FOR: i64 = 90 * DAY;
/// Wrong tries after which only the passphrase opens it.
pub(super) const MOST_TRIES: i64 = 5;

/// A tablet as the owner's list shows it.
pub(super) struct Listed {
    pub(super) id: TabletId,
    pub(super) name: String,
    pub(super) enrolled_by: PersonId,
    pub(super) created: Instant,
    pub(super) seen: Instant,
    pub(super) expires: Instant,
    pub(super) revoked: bool,
}

/// The tablet with this cookie, while it is enrolled.
pub(super) async fn enrolled(db: &mut Db, secret: &str, now: Now) -> Result<Option<TabletId>, Problem> {
    let row = sqlx::query("select id from tablet where secret = $1 and revoked is null and expires > $2")
        .bind(digest_of_secret(secret))
        .bind(now.0.0)
        .fetch_optional(db)
        .await?;
    row.map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).transpose()
}

/// Whether this tablet is still enrolled.
pub(super) async fn is_enrolled(db: &mut Db, id: TabletId, now: Now) -> Result<bool, Problem> {
    let row = sqlx::query("select id from tablet where id = $1 and revoked is null and expires > $2")
        .bind(id.to_string())
        .bind(now.0.0)
        .fetch_optional(db)
        .await?;
    Ok(row.is_some())
}

/// Enrols a tablet under a name that none in use has.
pub(super) async fn enrol(tx: &mut Tx, name: &str, secret: &str, by: PersonId) -> Result<TabletId, Problem> {
    let now = tx.now;
    if all(tx.db()).await?.iter().any(|known| !known.revoked && known.expires > now.0 && known.name == name) {
        return Err(Problem::mistake("name", "A tablet in use has this name. Say where this one lies."));
    }
    let id = TabletId::new();
    sqlx::query(
        "insert into tablet (id, name, secret, enrolled_by, created, seen, expires, revoked)
         values ($1, $2, $3, $4, $5, $5, $6, null)",
    )
    .bind(id.to_string())
    .bind(name)
    .bind(digest_of_secret(secret))
    .bind(by.to_string())
    .bind(now.0.0)
    .bind(now.0.plus(ENROLLED_FOR).0)
    .execute(tx.db())
    .await?;
    tx.audit("enrol tablet", id, "").await?;
    Ok(id)
}

/// Notes that somebody came in on it.
pub(super) async fn seen(tx: &mut Tx, id: TabletId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update tablet set seen = $2 where id = $1").bind(id.to_string()).bind(now.0).execute(tx.db()).await?;
    Ok(())
}

/// Takes a tablet out of use: whoever is signed in on it is so no longer.
pub(super) async fn revoke(tx: &mut Tx, id: TabletId) -> Result<(), Problem> {
    let now = tx.now.0;
    if !all(tx.db()).await?.iter().any(|known| known.id == id) {
        return Err(Problem::NotHere("tablet"));
    }
    sqlx::query("update tablet set revoked = $2 where id = $1 and revoked is null")
        .bind(id.to_string())
        .bind(now.0)
        .execute(tx.db())
        .await?;
    session::end_all_on(tx, id).await?;
    tx.audit("revoke tablet", id, "").await
}

/// Every tablet that was ever enrolled, newest first.
pub(super) async fn all(db: &mut Db) -> Result<Vec<Listed>, Problem> {
    let rows = sqlx::query(
        "select id, name, enrolled_by, created, seen, expires, revoked from tablet order by created desc, id",
    )
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Listed {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                name: row.get(1),
                enrolled_by: row.get::<String, _>(2).parse().map_err(Problem::broken)?,
                created: Instant(row.get(3)),
                seen: Instant(row.get(4)),
                expires: Instant(row.get(5)),
                revoked: row.get::<Option<i64>, _>(6).is_some(),
            })
        })
        .collect()
}

/// The hash of a person's digits; "" where she has none.
pub(in crate::people) async fn hash_of(db: &mut Db, person: PersonId) -> Result<String, Problem> {
    let row =
        sqlx::query("select hash from code where person = $1").bind(person.to_string()).fetch_optional(db).await?;
    Ok(row.map(|row| row.get(0)).unwrap_or_default())
}

/// Everyone who has digits, and on this tablet tries left.
pub(super) async fn may_try(db: &mut Db, tablet: TabletId) -> Result<Vec<PersonId>, Problem> {
    let rows = sqlx::query(
        "select code.person from code
         left join code_try on code_try.person = code.person and code_try.tablet = $1
         where code_try.failures is null or code_try.failures < $2",
    )
    .bind(tablet.to_string())
    .bind(MOST_TRIES)
    .fetch_all(db)
    .await?;
    rows.iter().map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).collect()
}

/// Sets a person's digits anew; tries are counted from nothing again.
pub(super) async fn set(tx: &mut Tx, person: PersonId, hash: &str) -> Result<(), Problem> {
    forget_code(tx, person).await?;
    let now = tx.now.0;
    sqlx::query("insert into code (person, hash, created) values ($1, $2, $3)")
        .bind(person.to_string())
        .bind(hash)
        .bind(now.0)
        .execute(tx.db())
        .await?;
    tx.audit("set digits", person, "").await
}

/// Takes a person's digits away: she leaves, her passphrase is set anew, or she wants none.
pub(in crate::people) async fn forget_code(tx: &mut Tx, person: PersonId) -> Result<(), Problem> {
    for text in ["delete from code_try where person = $1", "delete from code where person = $1"] {
        sqlx::query(text).bind(person.to_string()).execute(tx.db()).await?;
    }
    tx.audit("forget digits", person, "").await
}

/// Counts a try before it is looked at: any number at once count as that many. False when none was left.
pub(super) async fn count_try(tx: &mut Tx, tablet: TabletId, person: PersonId) -> Result<bool, Problem> {
    tx.record_tells_itself();
    let done = sqlx::query(
        "insert into code_try (tablet, person, failures) values ($1, $2, 1)
         on conflict (tablet, person) do update set failures = code_try.failures + 1 where code_try.failures < $3",
    )
    .bind(tablet.to_string())
    .bind(person.to_string())
    .bind(MOST_TRIES)
    .execute(tx.db())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// How many tries are left to a person on a tablet.
pub(super) async fn tries_left(db: &mut Db, tablet: TabletId, person: PersonId) -> Result<i64, Problem> {
    let row = sqlx::query("select failures from code_try where tablet = $1 and person = $2")
        .bind(tablet.to_string())
        .bind(person.to_string())
        .fetch_optional(db)
        .await?;
    Ok((MOST_TRIES - row.map_or(0, |row| row.get::<i64, _>(0))).max(0))
}

/// Forgets tries: she came in, with her digits or her passphrase.
pub(in crate::people) async fn forget_tries(tx: &mut Tx, tablet: TabletId, person: PersonId) -> Result<(), Problem> {
    sqlx::query("delete from code_try where tablet = $1 and person = $2")
        .bind(tablet.to_string())
        .bind(person.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}
