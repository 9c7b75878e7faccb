//! What a page leaves to be done once it has been answered: a short line, worked off by one worker of the process (`src/jobs`).
//!
//! Nothing that anybody waits for or was told of goes through it. Where the line is full, what is left is given back, so that whoever left
//! it does it at once or not at all. A house that is told to stop works the line off first (`src/cli/serve.rs`); one that is killed
//! forgets it.

use std::any::Any;
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
    /// What it is about, where one like it need not wait behind it.
    about: Option<Arc<dyn Any + Send + Sync>>,
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
    hand: Arc<tokio::sync::Mutex<()>>,
    most: usize,
}

impl Later {
    /// A line of at most so many.
    #[must_use]
    pub fn new(most: usize) -> Self {
        Self { line: Arc::default(), came: Arc::default(), hand: Arc::default(), most }
    }

    /// Leaves something to be done; gives it back where too much waits already. Never waits.
    #[must_use]
    pub fn leave<F>(&self, name: &'static str, work: impl FnOnce(House) -> F + Send + 'static) -> Option<Todo>
    where
        F: Future<Output = Result<(), Problem>> + Send + 'static,
    {
        self.push(Todo { name, about: None, work: Box::new(|house| Box::pin(work(house))) }, |_| false)
    }

    /// As [`Later::leave`], unless something waits that does for it: `repeats` is asked with what is left and with what waits.
    #[must_use]
    pub fn leave_once<T, F>(
        &self,
        name: &'static str,
        about: T,
        repeats: impl Fn(&T, &T) -> bool,
        work: impl FnOnce(House, Arc<T>) -> F + Send + 'static,
    ) -> Option<Todo>
    where
        T: Send + Sync + 'static,
        F: Future<Output = Result<(), Problem>> + Send + 'static,
    {
        let about = Arc::new(about);
        let own = Arc::clone(&about);
        let todo =
            Todo { name, about: Some(Arc::<T>::clone(&about)), work: Box::new(|house| Box::pin(work(house, own))) };
        self.push(todo, |waits| {
            let waits = waits.about.as_ref().and_then(|waits| waits.downcast_ref::<T>());
            waits.is_some_and(|waits| repeats(&about, waits))
        })
    }

    fn push(&self, todo: Todo, is_in: impl Fn(&Todo) -> bool) -> Option<Todo> {
        {
            let mut line = self.lock();
            if line.iter().any(is_in) {
                return None;
            }
            if line.len() >= self.most {
                return Some(todo);
            }
            line.push_back(todo);
        }
        self.came.notify_one();
        None
    }

    /// How much waits.
    #[must_use]
    pub fn waiting(&self) -> usize {
        self.lock().len()
    }

    /// The first of the line, at once; `None` when nothing waits.
    #[must_use]
    pub fn first(&self) -> Option<Todo> {
        self.lock().pop_front()
    }

    /// Waits until something is in the line. For one worker.
    pub async fn came(&self) {
        while self.lock().is_empty() {
            self.came.notified().await;
        }
    }

    /// The hand that works the line off: there is one, so who holds it knows that nothing is half done.
    pub async fn hand(&self) -> tokio::sync::MutexGuard<'_, ()> {
        self.hand.lock().await
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
    fn what_comes_behind_a_full_line_is_given_back_and_the_others_keep_their_order() {
        let later = Later::new(2);
        let given_back = ["first", "second", "third"].map(|name| later.leave(name, |_| async { Ok(()) }));
        assert_eq!(given_back.map(|todo| todo.map(|todo| todo.name)), [None, None, Some("third")]);
        assert_eq!(later.waiting(), 2);
        let names: Vec<&str> = std::iter::from_fn(|| later.first()).map(|todo| todo.name).collect();
        assert_eq!(names, ["first", "second"]);
        assert!(later.leave("fourth", |_| async { Ok(()) }).is_none());
        assert_eq!(later.first().map(|todo| todo.name), Some("fourth"), "there is room again");
    }

    #[tokio::test]
    async fn a_worker_that_waits_hears_of_what_is_left() {
        let later = Later::new(2);
        let worker = tokio::spawn({
            let later = later.clone();
            async move {
                later.came().await;
                later.first().map(|todo| todo.name)
            }
        });
        tokio::task::yield_now().await;
        assert!(later.leave("news", |_| async { Ok(()) }).is_none());
        assert_eq!(worker.await.unwrap(), Some("news"));
    }

    #[test]
    fn what_repeats_something_in_the_line_takes_no_place_in_it() {
        let later = Later::new(2);
        for number in [3, 3, 3, 4] {
            let left = later.leave_once("number", number, |left, waits| left == waits, |_, _| async { Ok(()) });
            assert!(left.is_none(), "{number} has its place, or needs none");
        }
        let word = later.leave_once("word", "3", |left, waits| left == waits, |_, _| async { Ok(()) });
        assert!(word.is_some(), "there is no third place");
        assert_eq!(std::iter::from_fn(|| later.first()).count(), 2, "a three and the four; then it was full");
        assert!(later.leave_once("number", 3, |left, waits| left == waits, |_, _| async { Ok(()) }).is_none());
        assert!(later.first().is_some(), "what was done is in nobody's way");
    }
}
