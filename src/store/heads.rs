//! Heads of the audit chain, kept in a file outside the database: one line a day, "instant line digest". They show that the end of
//! the chain was cut off; copy the file elsewhere to be surer still.

use std::io::Write;
use std::path::PathBuf;

use super::{Store, audit};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};

impl Store {
    /// The file with the heads.
    #[must_use]
    pub fn heads_file(&self) -> PathBuf {
        self.folder.join("audit-heads.txt")
    }

    /// The heads kept so far: number of the line and its digest. Lines that cannot be read are left out.
    #[must_use]
    pub fn heads(&self) -> Vec<(i64, String)> {
        let text = std::fs::read_to_string(self.heads_file()).unwrap_or_default();
        let head = |line: &str| {
            let mut parts = line.split(' ').skip(1);
            Some((parts.next()?.parse().ok()?, parts.next()?.to_owned()))
        };
        text.lines().filter_map(head).collect()
    }

    /// Keeps the present head, at most once a day. Run by the clock.
    ///
    /// # Errors
    /// When the database or the file cannot be used.
    pub async fn keep_head(&self) -> Result<(), Problem> {
        let now = self.clock().now().0;
        let file = self.heads_file();
        let newest = std::fs::metadata(&file).and_then(|about| about.modified()).ok();
        let age =
            newest.and_then(|at| jiff::Timestamp::try_from(at).ok()).map(|at| now.since(Instant::from_timestamp(at)));
        if age.is_some_and(|age| age < DAY) {
            return Ok(());
        }
        let mut db = self.read().await?;
        let Some(last) = audit::newest(&mut db, 1).await?.pop() else { return Ok(()) };
        drop(db);
        let mut out = std::fs::OpenOptions::new().create(true).append(true).open(&file).map_err(Problem::broken)?;
        writeln!(out, "{} {} {}", now.iso(), last.line, last.chain).map_err(Problem::broken)?;
        out.sync_all().map_err(Problem::broken)
    }
}
