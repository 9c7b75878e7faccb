//! What a page leaves to be done once it has been answered: a short line, worked off by one worker of the process (`src/jobs`).
//!
//! Nothing that anybody waits for or was told of goes through it. Where the line is full, what is left is given back, so that whoever left
//! it does it at once or not at all. What fails and may be repeated is tried again, each time after a longer pause; what fails every time
//! is given up and counted. A house that is told to stop tries what is left once more (`src/cli/serve.rs`); one that is killed forgets it.

use std::any::Any;
use std::collections::VecDeque;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::Notify;
use tokio::time::Instant;

use super::House;
use crate::base::problem::Problem;

/// How long a failure waits for its next try: a moment, a busy writer, a database that starts anew.
const PAUSES: [Duration; 3] = [Duration::from_secs(1), Duration::from_secs(6), Duration::from_secs(36)];

/// The future of something left to be done.
type Doing = Pin<Box<dyn Future<Output = Result<(), Problem>> + Send>>;

/// How it is done.
enum Work {
    /// Once, whatever comes of it.
    Once(Box<dyn FnOnce(House) -> Doing + Send>),
    /// Again where it fails.
    Again(Arc<dyn Fn(House) -> Doing + Send + Sync>),
}

/// Something left to be done.
pub struct Todo {
    /// What it is, for the log.
    pub name: &'static str,
    /// What it is about, where one like it need not wait behind it.
    about: Option<Arc<dyn Any + Send + Sync>>,
    work: Work,
    /// How often it has failed.
    failed: usize,
}

impl Todo {
    /// Does it, in a task of its own: one that panics takes nothing with it, and neither does a browser that goes away. A failure is logged,
    /// and tried again where it may be; `last`: it may not, because the house stops.
    pub async fn attempt(self, house: &House, last: bool) {
        let (name, again) = (self.name, self.once_more().filter(|_| !last));
        let done = match self.work {
            Work::Once(work) => tokio::spawn(work(house.clone())).await,
            Work::Again(work) => tokio::spawn(work(house.clone())).await,
        };
        match done {
            Ok(Ok(())) => {}
            Ok(Err(cause)) if again.as_ref().is_some_and(|_| house.later.has_room_again()) => {
                tracing::warn!(name, %cause, "what was left to be done after a page was not done; it is tried again");
                house.later.put_off(again);
            }
            Ok(Err(cause)) => {
                let given_up = house.later.give_up();
                tracing::warn!(name, %cause, given_up, "what was left to be done after a page was given up");
            }
            Err(cause) => {
                let given_up = house.later.give_up();
                tracing::error!(name, %cause, given_up, "what was left to be done after a page fell");
            }
        }
    }

    /// The same after one failure more; `None` for what is done once and for what has failed often enough.
    fn once_more(&self) -> Option<Self> {
        let Work::Again(work) = &self.work else { return None };
        (self.failed < PAUSES.len()).then(|| Self {
            name: self.name,
            about: self.about.clone(),
            work: Work::Again(Arc::clone(work)),
            failed: self.failed + 1,
        })
    }
}

/// What waits: first come, first done; and what failed, until it is due again.
#[derive(Default)]
struct Line {
    first: VecDeque<Todo>,
    again: Vec<(Instant, Todo)>,
}

impl Line {
    /// The place of what is due again first.
    fn next_again(&self) -> Option<usize> {
        (0..self.again.len()).min_by_key(|at| self.again[*at].0)
    }
}

/// The line. Cheap to clone; every clone is the same line.
#[derive(Clone)]
pub struct Later {
    line: Arc<Mutex<Line>>,
    came: Arc<Notify>,
    hand: Arc<tokio::sync::Mutex<()>>,
    given_up: Arc<AtomicU64>,
    most: usize,
}

impl Later {
    /// A line of at most so many; as many more may wait to be tried again.
    #[must_use]
    pub fn new(most: usize) -> Self {
        Self { line: Arc::default(), came: Arc::default(), hand: Arc::default(), given_up: Arc::default(), most }
    }

    /// Leaves something to be done, once; gives it back where too much waits already. Never waits.
    #[must_use]
    pub fn leave<F>(&self, name: &'static str, work: impl FnOnce(House) -> F + Send + 'static) -> Option<Todo>
    where
        F: Future<Output = Result<(), Problem>> + Send + 'static,
    {
        let work = Work::Once(Box::new(|house| Box::pin(work(house))));
        self.push(Todo { name, about: None, work, failed: 0 }, |_| false)
    }

    /// As [`Later::leave`], unless something waits that does for it: `repeats` is asked with what is left and with what waits. It is tried
    /// again where it fails.
    #[must_use]
    pub fn leave_once<T, F>(
        &self,
        name: &'static str,
        about: T,
        repeats: impl Fn(&T, &T) -> bool,
        work: impl Fn(House, Arc<T>) -> F + Send + Sync + 'static,
    ) -> Option<Todo>
    where
        T: Send + Sync + 'static,
        F: Future<Output = Result<(), Problem>> + Send + 'static,
    {
        let about = Arc::new(about);
        let own = Arc::clone(&about);
        let work = Work::Again(Arc::new(move |house| Box::pin(work(house, Arc::clone(&own)))));
        self.push(Todo { name, about: Some(Arc::<T>::clone(&about)), work, failed: 0 }, |waits| {
            let waits = waits.about.as_ref().and_then(|waits| waits.downcast_ref::<T>());
            waits.is_some_and(|waits| repeats(&about, waits))
        })
    }

    fn push(&self, todo: Todo, is_in: impl Fn(&Todo) -> bool) -> Option<Todo> {
        {
            let mut line = self.lock();
            if line.first.iter().any(is_in) {
                return None;
            }
            if line.first.len() >= self.most {
                return Some(todo);
            }
            line.first.push_back(todo);
        }
        self.came.notify_one();
        None
    }

    fn has_room_again(&self) -> bool {
        self.lock().again.len() < self.most
    }

    /// Puts off what has failed.
    fn put_off(&self, todo: Option<Todo>) {
        let Some(todo) = todo else { return };
        let pause = PAUSES[todo.failed.saturating_sub(1).min(PAUSES.len() - 1)];
        self.lock().again.push((Instant::now() + pause, todo));
        self.came.notify_one();
    }

    fn give_up(&self) -> u64 {
        self.given_up.fetch_add(1, Ordering::Relaxed) + 1
    }

    /// How much was given up since the process began.
    #[must_use]
    pub fn given_up(&self) -> u64 {
        self.given_up.load(Ordering::Relaxed)
    }

    /// How much waits, for the first time or to be tried again.
    #[must_use]
    pub fn waiting(&self) -> usize {
        let line = self.lock();
        line.first.len() + line.again.len()
    }

    /// The first of the line, else what is due to be tried again; at once, `None` when there is neither.
    #[must_use]
    pub fn first(&self) -> Option<Todo> {
        let mut line = self.lock();
        let first = line.first.pop_front();
        first.or_else(|| {
            let at = line.next_again().filter(|at| line.again[*at].0 <= Instant::now())?;
            Some(line.again.remove(at).1)
        })
    }

    /// As [`Later::first`], also what is not due yet.
    #[must_use]
    pub fn any(&self) -> Option<Todo> {
        let mut line = self.lock();
        let first = line.first.pop_front();
        first.or_else(|| line.next_again().map(|at| line.again.remove(at).1))
    }

    /// Waits until something can be done. For one worker.
    pub async fn came(&self) {
        loop {
            let due = {
                let line = self.lock();
                let due = line.next_again().map(|at| line.again[at].0);
                if !line.first.is_empty() || due.is_some_and(|due| due <= Instant::now()) {
                    return;
                }
                due
            };
            let news = self.came.notified();
            match due {
                // Whether something came or the pause is over is looked at above.
                Some(due) => drop(tokio::time::timeout_at(due, news).await),
                None => news.await,
            }
        }
    }

    /// The hand that works the line off: there is one, so who holds it knows that nothing is half done.
    pub async fn hand(&self) -> tokio::sync::MutexGuard<'_, ()> {
        self.hand.lock().await
    }

    fn lock(&self) -> MutexGuard<'_, Line> {
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

    #[test]
    fn what_failed_is_due_again_after_pauses_that_grow_and_then_no_more() {
        let later = Later::new(2);
        assert!(later.leave_once("note", 1, |_, _| false, |_, _| async { Ok(()) }).is_none());
        let mut todo = later.first().unwrap();
        let mut pauses = Vec::new();
        while let Some(again) = todo.once_more() {
            let now = Instant::now();
            later.put_off(Some(again));
            assert!(later.first().is_none(), "it is not due yet");
            pauses.push((later.lock().again[0].0 - now).as_secs());
            todo = later.any().unwrap();
        }
        assert_eq!(pauses, [1, 6, 36]);
    }

    #[tokio::test]
    async fn what_waits_to_be_tried_again_keeps_nothing_new_waiting_and_a_worker_hears_when_it_is_due() {
        let later = Later::new(2);
        assert!(later.leave_once("old", 1, |_, _| false, |_, _| async { Ok(()) }).is_none());
        later.put_off(later.first().unwrap().once_more());
        assert!(later.leave("new", |_| async { Ok(()) }).is_none());
        assert_eq!(later.waiting(), 2);
        later.came().await;
        assert_eq!(later.first().map(|todo| todo.name), Some("new"));
        assert!(later.first().is_none(), "the old one is not due");
        tokio::time::timeout(Duration::from_secs(10), later.came()).await.unwrap();
        assert_eq!(later.first().map(|todo| todo.name), Some("old"));
        assert_eq!(later.waiting(), 0);
    }

    #[test]
    fn what_is_done_once_is_not_done_again() {
        let later = Later::new(2);
        assert!(later.leave("once", |_| async { Ok(()) }).is_none());
        assert!(later.first().unwrap().once_more().is_none());
    }
}
