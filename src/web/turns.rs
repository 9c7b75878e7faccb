//! What one process does at once: hashing passphrases and reading files take memory and time that a flood must not multiply. A turn
//! is moved into the work itself, so that a browser that goes away does not free it while the work goes on.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::base::problem::Problem;

/// Somebody's turn; dropped when the work is done.
pub type Turn = OwnedSemaphorePermit;

/// Turns for one kind of work.
#[derive(Debug, Clone)]
pub struct Turns {
    running: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
}

impl Turns {
    /// So many at once, and so many waiting behind them.
    #[must_use]
    pub fn new(at_once: usize, waiting: usize) -> Self {
        Self { running: Arc::new(Semaphore::new(at_once)), waiting: Arc::new(Semaphore::new(waiting.max(1))) }
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// [`Problem::TooMany`] at once when too many wait already.
    pub async fn next(&self) -> Result<Turn, Problem> {
        let _place = Arc::clone(&self.waiting).try_acquire_owned().map_err(|_| Problem::TooMany(5))?;
        Arc::clone(&self.running).acquire_owned().await.map_err(Problem::broken)
    }
}

/// Passphrases are hashed two at once, 19 MiB each: one for strangers, one for browsers that are known here or hold a link, so that
/// a flood from elsewhere keeps nobody of the house out.
#[derive(Debug, Clone)]
pub struct Hashing {
    known: Turns,
    strangers: Turns,
}

impl Default for Hashing {
    fn default() -> Self {
        Self { known: Turns::new(1, 64), strangers: Turns::new(1, 16) }
    }
}

impl Hashing {
    /// A turn for a browser that is known here, or for whoever holds a link of ours.
    ///
    /// # Errors
    /// [`Problem::TooMany`] when too many wait already.
    pub async fn for_known(&self) -> Result<Turn, Problem> {
        self.known.next().await
    }

    /// A turn for anybody else.
    ///
    /// # Errors
    /// [`Problem::TooMany`] when too many wait already.
    pub async fn for_stranger(&self) -> Result<Turn, Problem> {
        self.strangers.next().await
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn who_comes_behind_a_full_line_is_told_at_once() {
        let turns = Turns::new(1, 1);
        let first = turns.next().await.unwrap();
        let second = tokio::spawn({
            let turns = turns.clone();
            async move { turns.next().await.map(drop) }
        });
        while turns.waiting.available_permits() > 0 {
            tokio::task::yield_now().await;
        }
        assert!(matches!(turns.next().await, Err(Problem::TooMany(_))));
        drop(first);
        assert!(second.await.unwrap().is_ok());
        assert!(turns.next().await.is_ok());
    }
}
