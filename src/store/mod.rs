//! The database: connect, migrate, read, write, audit chain, keys. One SQL text for SQLite and PostgreSQL; only this room may ask
//! which of the two it is. Knows no part of the job and no table but its own.

mod archive;
pub mod audit;
pub mod entry;
pub mod forms;
mod heads;
pub mod keys;
mod migrate;
mod open;
pub(crate) mod rows;
mod scrub;
pub mod sealed;
pub mod settings;
pub mod topics;
mod write;

use std::fs::File;
use std::path::PathBuf;
use std::sync::Arc;

use sqlx::{Any, Transaction};
use sqlx::{AnyConnection, AnyPool};

use crate::base::problem::Problem;
use crate::base::time::Clock;

pub use forms::{FormKey, Kept};
pub use migrate::SCHEMA_OF_THIS_PROGRAM;
pub use open::{OpenError, OpenOptions};
pub use write::Tx;

/// A connection inside a read or a write.
pub type Db = AnyConnection;

/// A database error as a problem: one that passes is told as [`Problem::Busy`], and [`Store::write`] begins anew; every other is
/// broken, its cause for the log.
impl From<sqlx::Error> for Problem {
    fn from(cause: sqlx::Error) -> Self {
        if write::is_passing(&cause) { Self::Busy } else { Self::broken(cause) }
    }
}

/// A statement with numbers that may be null. PostgreSQL keeps a prepared statement with the types of its first values, and the
/// driver names a null number by a narrower type than a real one: after a first null, every real number would be refused on that
/// connection. Such a statement is therefore never kept.
pub fn query_with_nulls(text: &'static str) -> sqlx::query::Query<'static, Any, sqlx::any::AnyArguments> {
    sqlx::query(text).persistent(false)
}

/// A statement about the rows of many ids: head, the column that holds the id, and what follows. The ids are bound as one text by
/// [`many`] and taken apart in the statement, so that ten or a thousand are one statement, in the same text for both databases. First in
/// parts of 32 ids: a text is counted from its beginning for every piece cut out of it, so that of a long one much time would go there. The
/// conditions that always hold keep PostgreSQL from expecting hundreds of ids where there is one, and from reading whole tables for it.
macro_rules! among {
    ($head:literal, $column:literal, $tail:literal) => {
        concat!(
            $head,
            " where ",
            $column,
            " in (with recursive part (place, ids) as (select 1, substr($1, 1, 1184) union all
             select place + 1184, substr($1, place + 1184, 1184) from part where place + 1184 <= length($1)),
             nth (n) as (select 0 union all select n + 1 from nth where n < 31)
             select substr(ids, 37 * n + 1, 36) from part cross join nth
             where 37 * n < length(ids) and place > 0 and n >= 0) ",
            $tail
        )
    };
}
pub(crate) use among;

/// Ids as the one text that [`among`] takes apart: each is 36 signs long, with a comma between.
pub(crate) fn many<I: std::fmt::Display>(ids: impl IntoIterator<Item = I>) -> String {
    ids.into_iter().map(|id| id.to_string()).collect::<Vec<_>>().join(",")
}

/// A view of the database that does not change while a page is put together. Dropping it ends it.
pub type Snapshot = Transaction<'static, Any>;

/// Which database stands behind the one SQL text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Engine {
    Sqlite,
    Postgres,
}

/// The database of the house. Cheap to clone.
#[derive(Clone)]
pub struct Store {
    engine: Engine,
    readers: AnyPool,
    writer: AnyPool,
    keys: Arc<keys::Keys>,
    clock: Clock,
    /// Held while the house serves: one process per data folder.
    _lock: Option<Arc<File>>,
    folder: PathBuf,
    backups: PathBuf,
}

impl Store {
    /// A snapshot for the reads of one page.
    ///
    /// # Errors
    /// [`Problem::Busy`] when no connection could be had in time.
    pub async fn read(&self) -> Result<Snapshot, Problem> {
        let begun = match self.engine {
            Engine::Sqlite => self.readers.begin_with("BEGIN").await,
            Engine::Postgres => self.readers.begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY").await,
        };
        begun.map_err(Problem::from)
    }

    /// The first result of this form, when it was kept before: to be given again before anything is checked anew.
    ///
    /// # Errors
    /// [`Problem::AlreadyKept`] when the key was used with another body.
    pub async fn first_result(&self, key: &FormKey) -> Result<Option<Kept>, Problem> {
        if key.form.is_none() {
            return Ok(None);
        }
        let mut db = self.read().await?;
        forms::first_result(&mut db, key).await
    }

    /// The keys that stand outside the database.
    #[must_use]
    pub fn keys(&self) -> &keys::Keys {
        &self.keys
    }

    /// The clock the house goes by.
    #[must_use]
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// "SQLite" or "PostgreSQL", for pages and logs.
    #[must_use]
    pub fn engine_name(&self) -> &'static str {
        match self.engine {
            Engine::Sqlite => "SQLite",
            Engine::Postgres => "PostgreSQL",
        }
    }

    /// Ends every connection; what was committed stays.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }
}
