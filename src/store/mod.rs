//! The database: connect, migrate, read, write, audit chain, keys. One SQL text for SQLite and PostgreSQL; only this room may ask
//! which of the two it is. Knows no part of the job and no table but its own.

mod archive;
pub mod audit;
pub mod forms;
pub mod keys;
mod migrate;
mod open;
pub mod settings;
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

/// A view of the database that does not change while a page is put together. Dropping it ends it.
pub type Snapshot = Transaction<'static, Any>;

/// Whether a statement may be kept prepared: only while none of its optional numbers is missing.
///
/// The driver announces a missing `f64` to PostgreSQL as a number of four bytes. A statement kept prepared with that refuses
/// every number of eight bytes after it, on that connection, for good.
#[must_use]
pub fn all_there(numbers: &[Option<f64>]) -> bool {
    numbers.iter().all(Option::is_some)
}

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
        begun.map_err(|cause| write::refused(&cause))
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
