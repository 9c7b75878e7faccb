//! What a page leaves to be done once it has been answered: a short line, worked off by one worker of the process (`src/jobs`).
//!
//! Nothing that anybody waits for or was told of goes through it: where the line is full, or the house stops, it is not done.

use std::collections::VecDeque;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::Notify;

use super::House;
use crate::base::problem::Problem;

/// The future of something left to be done.
type Doing = Pin<Box<dyn Future<Output = Result<(), Problem>> + Send>>;

/// Something left to be done.
pub struct Todo {
    /// What it is, for the log.
    pub name: &'static str,
    work: Box<dyn FnOnce(House) -> Doing + Send>,
}

impl Todo {
    /// Does it.
    ///
    /// # Errors
    /// What the work returns.
    pub async fn run(self, house: House) -> Result<(), Problem> {
        (self.work)(house).await
    }
}

/// The line. Cheap to clone; every clone is the same line.
#[derive(Clone)]
pub struct Later {
    line: Arc<Mutex<VecDeque<Todo>>>,
    came: Arc<Notify>,
    most: usize,
}

impl Later {
    /// A line of at most so many.
    #[must_use]
    pub fn new(most: usize) -> Self {
        Self { line: Arc::default(), came: Arc::default(), most }
    }

    /// Leaves something to be done, or, where too much waits already, says so in the log and forgets it. Never waits.
    pub fn leave<F>(&self, name: &'static str, work: impl FnOnce(House) -> F + Send + 'static)
    where
        F: Future<Output = Result<(), Problem>> + Send + 'static,
    {
        {
            let mut line = self.lock();
            if line.len() >= self.most {
                tracing::warn!(name, "too much waits to be done after pages; this is not done");
                return;
            }
            line.push_back(Todo { name, work: Box::new(|house| Box::pin(work(house))) });
        }
        self.came.notify_one();
    }

    /// The first of the line, at once; `None` when nothing waits.
    #[must_use]
    pub fn first(&self) -> Option<Todo> {
        self.lock().pop_front()
    }

    /// The first of the line, as soon as there is one. For one worker.
    pub async fn next(&self) -> Todo {
        loop {
            if let Some(todo) = self.first() {
                return todo;
            }
            self.came.notified().await;
        }
    }

    fn lock(&self) -> MutexGuard<'_, VecDeque<Todo>> {
        // Whoever fell while holding it left the line whole: nothing but one step in or out is done under it.
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_behind_a_full_line_is_forgotten_and_the_others_keep_their_order() {
        let later = Later::new(2);
        for name in ["first", "second", "third"] {
            later.leave(name, |_| async { Ok(()) });
        }
        let names: Vec<&str> = std::iter::from_fn(|| later.first()).map(|todo| todo.name).collect();
        assert_eq!(names, ["first", "second"]);
        later.leave("fourth", |_| async { Ok(()) });
        assert_eq!(later.first().map(|todo| todo.name), Some("fourth"), "there is room again");
    }

    #[tokio::test]
    async fn a_worker_that_waits_hears_of_what_is_left() {
        let later = Later::new(2);
        let worker = tokio::spawn({
            let later = later.clone();
            async move { later.next().await.name }
        });
        tokio::task::yield_now().await;
        later.leave("news", |_| async { Ok(()) });
        assert_eq!(worker.await.unwrap(), "news");
    }
}
