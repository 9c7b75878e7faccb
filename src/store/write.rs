//! One way to write: begin as the only writer, look whether this form was kept before, do the work, add to the audit chain,
//! keep the result, commit. All or nothing.

use std::collections::BTreeSet;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

use sqlx::{Any, Transaction};

use super::forms::{self, FormKey, Kept};
use super::keys::Keys;
use super::{Db, Engine, Store, audit, topics};
use crate::base::actor::Actor;
use crate::base::problem::Problem;
use crate::base::time::Now;

/// The future of a write's work.
pub(super) type Work<'t> = Pin<Box<dyn Future<Output = Result<Kept, Problem>> + Send + 't>>;

/// How often a whole write is begun anew when the database refused it before anything was committed.
const TRIES: u32 = 4;

/// How long after its beginning a write may still be begun anew; an answer is due within five seconds.
const PATIENCE: std::time::Duration = std::time::Duration::from_millis(2500);

/// A write in progress.
pub struct Tx {
    transaction: Transaction<'static, Any>,
    /// The instant of the write.
    pub now: Now,
    /// Who writes.
    pub actor: Actor,
    told: bool,
    pub(super) raised: BTreeSet<String>,
    keys: Arc<Keys>,
}

impl Tx {
    /// The connection, for the parts' SQL.
    pub fn db(&mut self) -> &mut Db {
        &mut self.transaction
    }

    /// Adds a line to the audit chain: what was done, to which id, which fields; never their values.
    ///
    /// # Errors
    /// When the line cannot be written; then the whole write fails.
    pub async fn audit(&mut self, action: &str, subject: impl std::fmt::Display, detail: &str) -> Result<(), Problem> {
        self.told = true;
        let (now, actor) = (self.now.0, self.actor.mark());
        let keys = Arc::clone(&self.keys);
        audit::add(&mut self.transaction, &keys, now, &actor, action, &subject.to_string(), detail).await
    }

    /// For records that themselves say who gave them and when, such as a sensor's reading every ten minutes.
    pub fn record_tells_itself(&mut self) {
        self.told = true;
    }
}

impl Store {
    /// Writes as one transaction. The same form again gives the first result; the same form with another body is refused.
    ///
    /// `work` may run more than once (the database can refuse a transaction before it is committed), so it must take what it
    /// needs by clone. A write that neither adds to the audit chain nor says why not is refused.
    ///
    /// # Errors
    /// What `work` returns; [`Problem::AlreadyKept`]; [`Problem::Busy`] when the database did not take it in time (nothing was
    /// written); [`Problem::Unsure`] when the answer to the commit was lost.
    pub async fn write<F>(&self, key: &FormKey, work: F) -> Result<Kept, Problem>
    where
        F: for<'t> Fn(&'t mut Tx) -> Work<'t> + Send + Sync,
    {
        let begun = std::time::Instant::now();
        let mut tries = 1;
        loop {
            match self.try_write(key, &work).await {
                // Whoever waited for her turn as long as the database lets her is told so, rather than sent to the end of the line.
                Err(Refusal::Again) if tries < TRIES && begun.elapsed() < PATIENCE => {
                    tokio::time::sleep(std::time::Duration::from_millis(20 * u64::from(tries))).await;
                    tries += 1;
                }
                Err(Refusal::Again) => return Err(Problem::Busy),
                Err(Refusal::Final(problem)) => return Err(problem),
                Ok(kept) => return Ok(kept),
            }
        }
    }

    async fn try_write<F>(&self, key: &FormKey, work: &F) -> Result<Kept, Refusal>
    where
        F: for<'t> Fn(&'t mut Tx) -> Work<'t> + Send + Sync,
    {
        let transaction = self.begin_write().await.map_err(Problem::from)?;
        let mut tx = Tx {
            transaction,
            now: self.clock.now(),
            actor: key.actor.clone(),
            told: false,
            raised: BTreeSet::new(),
            keys: Arc::clone(&self.keys),
        };
        if let Some(kept) = forms::first_result(tx.db(), key).await? {
            return Ok(kept);
        }
        let kept = work(&mut tx).await?;
        if !tx.told {
            return Err(Refusal::Final(Problem::broken("a write left no line in the audit chain")));
        }
        forms::keep(&mut tx, key, &kept).await?;
        topics::keep(&mut tx).await?;
        tx.transaction.commit().await.map_err(|cause| {
            tracing::error!(%cause, "the answer to a commit was lost or refused");
            Refusal::Final(Problem::Unsure)
        })?;
        Ok(kept)
    }

    async fn begin_write(&self) -> Result<Transaction<'static, Any>, sqlx::Error> {
        match self.engine {
            Engine::Sqlite => self.writer.begin_with("BEGIN IMMEDIATE").await,
            Engine::Postgres => {
                let mut transaction = self.writer.begin_with("BEGIN").await?;
                sqlx::query("set local lock_timeout = '2500ms'").execute(&mut *transaction).await?;
                sqlx::query("lock table writer in exclusive mode").execute(&mut *transaction).await?;
                Ok(transaction)
            }
        }
    }

    /// Forgets form keys past their time. Run by the clock, any number of times.
    ///
    /// # Errors
    /// As [`Store::write`].
    pub async fn forget_old_forms(&self) -> Result<(), Problem> {
        self.write(&FormKey::house(), |tx| {
            Box::pin(async move {
                let now = tx.now.0;
                forms::forget_old(tx.db(), now).await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
    }
}

enum Refusal {
    /// Nothing was committed; begin anew.
    Again,
    Final(Problem),
}

impl From<Problem> for Refusal {
    fn from(problem: Problem) -> Self {
        match problem {
            Problem::Busy => Self::Again,
            other => Self::Final(other),
        }
    }
}

/// Refusals after which the same transaction may be begun anew: SQLite's busy (5, 517), PostgreSQL's deadlock, lock timeout and
/// shutdown (40P01, 55P03, 57P01), a connection that went, or none free in time.
pub(super) fn is_passing(cause: &sqlx::Error) -> bool {
    match cause {
        sqlx::Error::Io(_) | sqlx::Error::PoolTimedOut => true,
        sqlx::Error::Database(inner) => {
            matches!(inner.code().as_deref(), Some("5" | "517" | "40P01" | "55P03" | "57P01"))
        }
        _ => false,
    }
}
