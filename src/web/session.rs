//! Sessions as rows. The cookie holds 256 random bits; the row holds their digest, so a copy of the database signs nobody in.

use sqlx::Row;

use super::live;
use crate::base::actor::{Role, Who};
use crate::base::ids::{PersonId, SessionId, TabletId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE, Now, micros};
use crate::config::Config;
use crate::store::keys::digest_of_secret;
use crate::store::{Db, Tx};

/// A session as the list of sign-ins shows it.
#[derive(Debug, Clone)]
pub struct Listed {
    /// Its id.
    pub id: SessionId,
    /// The person's id.
    pub person: PersonId,
    /// Her name.
    pub name: String,
    /// What the browser calls itself, shortened.
    pub browser: String,
    /// When it began.
    pub created: Instant,
    /// When it was last used, to the minute.
    pub seen: Instant,
}

/// How long a session on a tablet lives without use: what the tablet itself counts, and a little for its last word.
const TABLET_IDLE: i64 = 3 * MINUTE + MINUTE / 2;
/// How long a session lives that six digits began: a working day.
const BY_CODE: i64 = 12 * HOUR;
/// For how long a passphrase that was typed opens what the digits alone do not.
const PROOF_LASTS: i64 = 5 * MINUTE;

/// Begins a session with a passphrase; the caller hands `secret` to the browser as a cookie.
///
/// # Errors
/// When the database refuses it.
pub async fn begin(
    tx: &mut Tx,
    config: &Config,
    person: PersonId,
    name: &str,
    role: Role,
    secret: &str,
    browser: &str,
) -> Result<SessionId, Problem> {
    let id = SessionId::new();
    let now = tx.now.0;
    sqlx::query(
        "insert into session (id, token, person, name, role, browser, created, seen, expires, ended, proved)
         values ($1, $2, $3, $4, $5, $6, $7, $7, $8, null, $7)",
    )
    .bind(id.to_string())
    .bind(digest_of_secret(secret))
    .bind(person.to_string())
    .bind(name)
    .bind(role.word())
    .bind(browser.chars().filter(|c| !c.is_control()).take(120).collect::<String>())
    .bind(now.0)
    .bind(now.plus(micros(config.session_length)).0)
    .execute(tx.db())
    .await?;
    Ok(id)
}

/// Says that a session runs on a shared tablet, so that it is over after minutes without use.
///
/// # Errors
/// When the database refuses it.
pub async fn on_tablet(tx: &mut Tx, session: SessionId, tablet: TabletId) -> Result<(), Problem> {
    sqlx::query("update session set tablet = $2 where id = $1")
        .bind(session.to_string())
        .bind(tablet.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("session on tablet", session, &tablet.to_string()).await
}

/// Makes of a session just begun one that no passphrase began: shorter, and closed to what asks for one.
///
/// # Errors
/// When the database refuses it.
pub async fn by_code(tx: &mut Tx, session: SessionId) -> Result<(), Problem> {
    let latest = tx.now.0.plus(BY_CODE).0;
    sqlx::query(
        "update session set proved = null, expires = case when expires < $2 then expires else $2 end where id = $1",
    )
    .bind(session.to_string())
    .bind(latest)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Ends whatever runs on a tablet.
///
/// # Errors
/// When the database refuses it.
pub async fn end_all_on(tx: &mut Tx, tablet: TabletId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update session set ended = $1, revoked = 1 where tablet = $2 and ended is null")
        .bind(now.0)
        .bind(tablet.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(live::SESSIONS);
    tx.audit("end sessions on tablet", tablet, "").await
}

/// What a cookie stands for.
#[derive(Debug, Clone)]
pub struct Held {
    /// The person.
    pub who: Who,
    /// When the session was last used, to the minute.
    pub seen: Instant,
    /// The form the device was handed over for, while it is in a client's hands.
    pub handed_over: Option<String>,
    /// The shared tablet it runs on.
    pub tablet: Option<TabletId>,
    /// True while a passphrase was typed in it a moment ago.
    pub proved: bool,
}

/// What this cookie stands for; `None` when the session ended, lay idle or is too old.
///
/// # Errors
/// When the database cannot be read.
pub async fn holder(db: &mut Db, config: &Config, secret: &str, now: Now) -> Result<Option<Held>, Problem> {
    let row = sqlx::query(
        "select id, person, name, role, seen, handed_over, tablet, proved from session
         where token = $1 and ended is null and expires > $2
           and (seen > $4 or ((tablet is null or handed_over is not null) and seen > $3))",
    )
    .bind(digest_of_secret(secret))
    .bind(now.0.0)
    .bind(idle_before(config, now))
    .bind(idle_on_tablet_before(config, now))
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let (Ok(session), Ok(id), Some(role)) =
        (row.get::<String, _>(0).parse(), row.get::<String, _>(1).parse(), Role::from_word(&row.get::<String, _>(3)))
    else {
        return Err(Problem::broken("a session row names no person or role of ours"));
    };
    let who = Who { id, session, name: row.get(2), role };
    let proved = row.get::<Option<i64>, _>(7).is_some_and(|at| now.0.since(Instant(at)) < PROOF_LASTS);
    let tablet = row.get::<Option<String>, _>(6).map(|id| id.parse().map_err(Problem::broken)).transpose()?;
    Ok(Some(Held { who, seen: Instant(row.get(4)), handed_over: row.get(5), tablet, proved }))
}

/// A browser of one person whose session was last used before this lay idle too long.
fn idle_before(config: &Config, now: Now) -> i64 {
    now.0.plus(-micros(config.session_idle)).0
}

/// The same for a tablet several people use, which is locked after minutes; not while a client has it in her hands, who reads slowly and
/// opens nothing else with it.
fn idle_on_tablet_before(config: &Config, now: Now) -> i64 {
    now.0.plus(-micros(config.session_idle).min(TABLET_IDLE)).0
}

/// Drops a session to one form: until it is taken back, nothing else opens with its cookie. `back` is where its person goes on then.
///
/// # Errors
/// When the database refuses it.
pub async fn hand_over(tx: &mut Tx, session: SessionId, form: &str, back: &str) -> Result<(), Problem> {
    sqlx::query("update session set handed_over = $2, handed_back = $3 where id = $1 and ended is null")
        .bind(session.to_string())
        .bind(form)
        .bind(back)
        .execute(tx.db())
        .await?;
    // Pages of this session that wait for news are told that it is over.
    tx.raise(live::SESSIONS);
    tx.audit("hand device over", session, form).await
}

/// Gives a session back to its person; where she goes on.
///
/// # Errors
/// When the database refuses it.
pub async fn take_back(tx: &mut Tx, session: SessionId) -> Result<String, Problem> {
    let row = sqlx::query("select handed_back from session where id = $1 and handed_over is not null")
        .bind(session.to_string())
        .fetch_optional(tx.db())
        .await?;
    sqlx::query("update session set handed_over = null, handed_back = null where id = $1")
        .bind(session.to_string())
        .execute(tx.db())
        .await?;
    tx.audit("take device back", session, "").await?;
    Ok(row.and_then(|row| row.get::<Option<String>, _>(0)).unwrap_or_else(|| "/".to_owned()))
}

/// Whether a session is still in its person's use: neither ended, nor too old, nor idle too long, nor in a client's hands.
///
/// # Errors
/// When the database cannot be read.
pub async fn is_in_use(db: &mut Db, config: &Config, session: SessionId, now: Now) -> Result<bool, Problem> {
    let row = sqlx::query(
        "select id from session where id = $1 and ended is null and expires > $2
           and (seen > $4 or (tablet is null and seen > $3)) and handed_over is null",
    )
    .bind(session.to_string())
    .bind(now.0.0)
    .bind(idle_before(config, now))
    .bind(idle_on_tablet_before(config, now))
    .fetch_optional(db)
    .await?;
    Ok(row.is_some())
}

/// Notes that the session is in use. Called at most once a minute, on a shared tablet every few seconds.
///
/// # Errors
/// When the database refuses it.
pub async fn touch(tx: &mut Tx, session: SessionId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update session set seen = $1 where id = $2 and seen < $1")
        .bind(now.0)
        .bind(session.to_string())
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Ends one session.
///
/// # Errors
/// When the database refuses it.
pub async fn end(tx: &mut Tx, session: SessionId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update session set ended = $1 where id = $2 and ended is null")
        .bind(now.0)
        .bind(session.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(live::SESSIONS);
    tx.audit("end session", session, "").await
}

/// Ends a session from another one: its device was lost, or somebody is not to go on there. It is told when it comes again.
///
/// # Errors
/// When the database refuses it.
pub async fn revoke(tx: &mut Tx, session: SessionId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update session set ended = $1, revoked = 1 where id = $2 and ended is null")
        .bind(now.0)
        .bind(session.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(live::SESSIONS);
    tx.audit("revoke session", session, "").await
}

/// Whose session this cookie held, where it was revoked: her device has to forget what she left there unfinished.
///
/// # Errors
/// When the database cannot be read.
pub async fn revoked_of(db: &mut Db, secret: &str) -> Result<Option<PersonId>, Problem> {
    let row = sqlx::query("select person from session where token = $1 and revoked = 1")
        .bind(digest_of_secret(secret))
        .fetch_optional(db)
        .await?;
    row.map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).transpose()
}

/// Ends every session of a person: her role changed, she left, or her passphrase was set anew.
///
/// # Errors
/// When the database refuses it.
pub async fn end_all_of(tx: &mut Tx, person: PersonId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update session set ended = $1, revoked = 1 where person = $2 and ended is null")
        .bind(now.0)
        .bind(person.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(live::SESSIONS);
    tx.audit("end all sessions", person, "").await
}

/// How long a session that is over stays a row, for whoever asks who was signed in when.
const KEPT_WHEN_OVER: i64 = 90 * DAY;

/// Forgets sessions that have been over for a while. What was done in them stays in the audit chain.
///
/// # Errors
/// When the database refuses it.
pub async fn forget_old(tx: &mut Tx) -> Result<(), Problem> {
    let (now, before) = (tx.now.0.0, tx.now.0.plus(-KEPT_WHEN_OVER).0);
    sqlx::query("delete from session where ended < $1").bind(before).execute(tx.db()).await?;
    sqlx::query("delete from session where ended is null and seen < $1 and expires < $2")
        .bind(before)
        .bind(now)
        .execute(tx.db())
        .await?;
    tx.record_tells_itself();
    Ok(())
}

/// Sessions in use: of one person, or of everyone for the owner. Newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn in_use(db: &mut Db, config: &Config, of: Option<PersonId>, now: Now) -> Result<Vec<Listed>, Problem> {
    let rows = sqlx::query(
        "select id, person, name, browser, created, seen from session
         where ended is null and expires > $1
           and (seen > $4 or ((tablet is null or handed_over is not null) and seen > $2))
           and ($3 = '' or person = $3) order by created desc",
    )
    .bind(now.0.0)
    .bind(idle_before(config, now))
    .bind(of.map(|id| id.to_string()).unwrap_or_default())
    .bind(idle_on_tablet_before(config, now))
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Listed {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                person: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
                name: row.get(2),
                browser: row.get(3),
                created: Instant(row.get(4)),
                seen: Instant(row.get(5)),
            })
        })
        .collect()
}
