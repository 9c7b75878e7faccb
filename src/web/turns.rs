//! What one process does at once: hashing passphrases and reading files take memory and time that a flood must not multiply. A turn
//! is moved into the work itself, so that a browser that goes away does not free it while the work goes on.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::base::problem::Problem;

/// Somebody's turn; dropped when the work is done.
#[derive(Debug)]
pub struct Turn {
    _place: OwnedSemaphorePermit,
    load: Arc<Load>,
}

impl Turn {
    /// Begins the work itself, so that what runs at once can be counted where it runs.
    #[must_use]
    pub fn at_work(self) -> AtWork {
        let now = self.load.now.fetch_add(1, Ordering::SeqCst) + 1;
        self.load.most.fetch_max(now, Ordering::SeqCst);
        AtWork { turn: self }
    }
}

/// Work that is going on; dropped at its end, with its turn.
#[derive(Debug)]
pub struct AtWork {
    turn: Turn,
}

impl Drop for AtWork {
    fn drop(&mut self) {
        self.turn.load.now.fetch_sub(1, Ordering::SeqCst);
        self.turn.load.done.fetch_add(1, Ordering::SeqCst);
    }
}

/// How much runs at once, counted by the work and not by the turns given out.
#[derive(Debug, Default)]
struct Load {
    now: AtomicUsize,
    most: AtomicUsize,
    done: AtomicUsize,
}

/// Turns for one kind of work.
#[derive(Debug, Clone)]
pub struct Turns {
    running: Arc<Semaphore>,
    waiting: Arc<Semaphore>,
    load: Arc<Load>,
}

impl Turns {
    /// So many at once, and so many waiting behind them.
    #[must_use]
    pub fn new(at_once: usize, waiting: usize) -> Self {
        Self::counted_with(Arc::default(), at_once, waiting)
    }

    fn counted_with(load: Arc<Load>, at_once: usize, waiting: usize) -> Self {
        Self { running: Arc::new(Semaphore::new(at_once)), waiting: Arc::new(Semaphore::new(waiting.max(1))), load }
    }

    /// Waits for a turn.
    ///
    /// # Errors
    /// [`Problem::TooMany`] at once when too many wait already.
    pub async fn next(&self) -> Result<Turn, Problem> {
        let _place = Arc::clone(&self.waiting).try_acquire_owned().map_err(|_| Problem::TooMany(5))?;
        self.when_free().await
    }

    /// Waits for a turn however many wait: for the one worker of the process, whom nobody waits for.
    ///
    /// # Errors
    /// When there are no turns any more.
    pub async fn when_free(&self) -> Result<Turn, Problem> {
        let place = Arc::clone(&self.running).acquire_owned().await.map_err(Problem::broken)?;
        Ok(Turn { _place: place, load: Arc::clone(&self.load) })
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
        let load = Arc::<Load>::default();
        Self { known: Turns::counted_with(Arc::clone(&load), 1, 64), strangers: Turns::counted_with(load, 1, 16) }
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

    /// The most hashes that ever ran at once in this house.
    #[must_use]
    pub fn most_at_once(&self) -> usize {
        self.known.load.most.load(Ordering::SeqCst)
    }

    /// How many hashes this house has made or compared.
    #[must_use]
    pub fn done(&self) -> usize {
        self.known.load.done.load(Ordering::SeqCst)
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
        let worker = tokio::spawn({
            let turns = turns.clone();
            async move { turns.when_free().await.map(drop) }
        });
        tokio::task::yield_now().await;
        assert!(!worker.is_finished(), "who may wait has no turn yet, and was not sent away");
        drop(first);
        assert!(worker.await.unwrap().is_ok());
        assert!(second.await.unwrap().is_ok());
        assert!(turns.next().await.is_ok());
    }
}
