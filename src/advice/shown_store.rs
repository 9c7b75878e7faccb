//! SQL of advice that was shown for work.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::judge::Verdict;
use super::kept::{KeptQuestion, States};
use super::store::{RestsOn, from_key, key};
use crate::base::ids::{AdviceId, ArtistId, BottleId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::rows::{may_be, parsed};
use crate::store::{Db, Tx, among, many, query_with_nulls};

/// A question that was not shown before.
#[derive(Debug, Clone)]
pub(super) struct NewShown {
    /// When.
    pub(super) at: Instant,
    /// Whose hands.
    pub(super) artist: ArtistId,
    /// Where.
    pub(super) room: RoomId,
    /// The key of her style.
    pub(super) style: String,
    /// What was proposed, and its verdict.
    pub(super) bottle: Option<(BottleId, Verdict)>,
    /// What tells it from other questions.
    pub(super) fingerprint: String,
    /// What was asked.
    pub(super) question: KeptQuestion,
    /// The states the question names.
    pub(super) states: States,
    /// What was answered, as JSON.
    pub(super) answer: String,
}

/// An advice that was shown, as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct KeptShown {
    /// Its id.
    pub(super) id: AdviceId,
    /// When it was first shown.
    pub(super) first: Instant,
    /// When last.
    pub(super) last: Instant,
    /// How often.
    pub(super) times: u32,
    /// Whose hands.
    pub(super) artist: ArtistId,
    /// The key of her style.
    pub(super) style: String,
    /// What was proposed, and its verdict; none where no bottle could be used.
    pub(super) bottle: Option<(BottleId, Verdict)>,
    /// What it rested on.
    pub(super) on: RestsOn,
}

/// When this question was last shown; `None` if never.
pub(super) async fn last_shown(db: &mut Db, fingerprint: &str) -> Result<Option<Instant>, Problem> {
    let row = sqlx::query("select last_at from advice_shown where fingerprint = $1").bind(fingerprint);
    Ok(row.fetch_optional(db).await?.map(|row| Instant(row.get(0))))
}

/// Counts one more showing, unless another process has counted one since `since`.
pub(super) async fn again(tx: &mut Tx, fingerprint: &str, at: Instant, since: Instant) -> Result<(), Problem> {
    sqlx::query(
        "update advice_shown set times = times + 1, last_at = $2 where fingerprint = $1 and last_at <= $3 and last_at <= $2",
    )
    .bind(fingerprint)
    .bind(at.0)
    .bind(since.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Keeps a question; where another process was quicker, counts one more showing of it.
pub(super) async fn keep(tx: &mut Tx, new: &NewShown, since: Instant) -> Result<(), Problem> {
    let kept = query_with_nulls(
        "insert into advice_shown
         (id, fingerprint, first_at, last_at, times, artist, room, style, bottle, verdict, model, inputs, answer)
         values ($1, $2, $3, $3, 1, $4, $5, $6, $7, $8, $9, $10, $11) on conflict (fingerprint) do nothing",
    )
    .bind(AdviceId::new().to_string())
    .bind(&new.fingerprint)
    .bind(new.at.0)
    .bind(new.artist.to_string())
    .bind(new.room.to_string())
    .bind(&new.style)
    .bind(new.bottle.map(|(bottle, _)| bottle.to_string()))
    .bind(new.bottle.map(|(_, verdict)| key(verdict)))
    .bind(super::for_work::MODEL)
    .bind(serde_json::to_string(&new.question).map_err(Problem::broken)?)
    .bind(&new.answer)
    .execute(tx.db())
    .await?;
    if kept.rows_affected() == 0 {
        return again(tx, &new.fingerprint, new.at, since).await;
    }
    for (digest, state) in &new.states {
        sqlx::query(
            "insert into advice_state (digest, state, taken, last_at) values ($1, $2, 0, $3)
             on conflict (digest) do update set last_at = excluded.last_at where advice_state.last_at < excluded.last_at",
        )
        .bind(digest)
        .bind(state)
        .bind(new.at.0)
        .execute(tx.db())
        .await?;
    }
    Ok(())
}

/// Forgets what was first shown before an instant, and states that nothing younger and nothing taken names.
pub(super) async fn forget(tx: &mut Tx, before: Instant) -> Result<(), Problem> {
    sqlx::query("delete from advice_shown where first_at < $1").bind(before.0).execute(tx.db()).await?;
    sqlx::query("delete from advice_state where taken = 0 and last_at < $1").bind(before.0).execute(tx.db()).await?;
    Ok(())
}

/// What was shown to these artists and last before `before`, newest first.
pub(super) async fn newest(
    db: &mut Db,
    artists: &[ArtistId],
    before: Instant,
    most: i64,
) -> Result<Vec<KeptShown>, Problem> {
    let rows = sqlx::query(among!(
        "select id, first_at, last_at, times, artist, style, bottle, verdict, model, inputs, answer from advice_shown",
        "artist",
        "and last_at < $2 order by last_at desc, id desc limit $3"
    ))
    .bind(many(artists))
    .bind(before.0)
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// One that was shown, if there is one with this id.
pub(super) async fn one(db: &mut Db, id: AdviceId) -> Result<Option<KeptShown>, Problem> {
    let row = sqlx::query(
        "select id, first_at, last_at, times, artist, style, bottle, verdict, model, inputs, answer from advice_shown
         where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read).transpose()
}

fn read(row: &AnyRow) -> Result<KeptShown, Problem> {
    let bottle = match may_be(row, 6)?.zip(row.get::<Option<String>, _>(7)) {
        None => None,
        Some((bottle, verdict)) => {
            let verdict = from_key(&verdict).ok_or_else(|| Problem::broken("an advice with no verdict of ours"))?;
            Some((bottle, verdict))
        }
    };
    Ok(KeptShown {
        id: parsed(row, 0)?,
        first: Instant(row.get(1)),
        last: Instant(row.get(2)),
        times: u32::try_from(row.get::<i64, _>(3)).unwrap_or(u32::MAX),
        artist: parsed(row, 4)?,
        style: row.get(5),
        bottle,
        on: RestsOn { model: row.get(8), inputs: row.get(9), answer: row.get(10) },
    })
}
