//! Takes deleted rows out of the database's file: what was erased shall not lie in free pages or the log until somebody writes there.

use super::{Engine, Store};
use crate::base::problem::Problem;

/// How often the log is asked to be emptied while somebody still reads from it.
const TRIES: u32 = 20;

impl Store {
    /// SQLite: empties the log into the file, rewrites the file without its free pages, empties the log again. Deleted content was
    /// overwritten when it was deleted (`secure_delete`); this takes what the log still holds. On PostgreSQL the server vacuums by itself
    /// and recycles its log in its own time; `docs/clients.md` says what that leaves and for how long.
    ///
    /// # Errors
    /// [`Problem::Busy`] when others read on for too long; what was erased is erased, and the clock tries again.
    pub async fn scrub(&self) -> Result<(), Problem> {
        if self.engine == Engine::Postgres {
            return Ok(());
        }
        let mut db = self.writer.acquire().await?;
        sqlx::query("vacuum").execute(&mut *db).await?;
        for _ in 0..TRIES {
            let row = sqlx::query("pragma wal_checkpoint(truncate)").fetch_one(&mut *db).await?;
            if sqlx::Row::get::<i64, _>(&row, 0) == 0 {
                return Ok(());
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        Err(Problem::Busy)
    }
}
