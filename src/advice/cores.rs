//! Work shared out over the machine's cores, for pages that judge many at once. For threads that may block, never for those that answer
//! pages: a page waits for its turn before it comes here (`House::thinking`).

use std::sync::LazyLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Threads that help, in this process: never more at once than there are cores besides the one whose work it is, however many pages
/// think. Looked up once: what the machine grants is read from files.
static HOUSE: LazyLock<Helpers> =
    LazyLock::new(|| Helpers::new(thread::available_parallelism().map_or(1, usize::from) - 1));

/// What `work` gives for 0 to `n`, in that order. Whoever asks works along, so it goes on, only slower, where every helper is busy
/// elsewhere or the machine gives no thread. A panic in `work` comes out here.
pub(crate) fn on_every_core<T: Send>(n: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    HOUSE.share_out(n, work)
}

struct Helpers {
    most: usize,
    busy: AtomicUsize,
}

/// Some helpers; they are free again when it is dropped.
struct Taken<'h> {
    of: &'h Helpers,
    many: usize,
}

impl Drop for Taken<'_> {
    fn drop(&mut self) {
        self.of.busy.fetch_sub(self.many, Ordering::AcqRel);
    }
}

impl Helpers {
    const fn new(most: usize) -> Self {
        Self { most, busy: AtomicUsize::new(0) }
    }

    /// As many as are free, at most `wanted`.
    fn take(&self, wanted: usize) -> Taken<'_> {
        let free = |busy: usize| self.most.saturating_sub(busy).min(wanted);
        let taken = self.busy.fetch_update(Ordering::AcqRel, Ordering::Acquire, |busy| Some(busy + free(busy)));
        Taken { of: self, many: taken.map_or(0, free) }
    }

    fn share_out<T: Send>(&self, n: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
        let helpers = self.take(n.saturating_sub(1));
        if helpers.many == 0 {
            return (0..n).map(work).collect();
        }
        let next = AtomicUsize::new(0);
        let one_after_the_other = || {
            let mut done = Vec::new();
            loop {
                let at = next.fetch_add(1, Ordering::Relaxed);
                if at >= n {
                    return done;
                }
                done.push((at, work(at)));
            }
        };
        let mut all: Vec<(usize, T)> = thread::scope(|scope| {
            let spawn = |_| thread::Builder::new().spawn_scoped(scope, one_after_the_other).ok();
            let helping: Vec<_> = (0..helpers.many).map_while(spawn).collect();
            let own = one_after_the_other();
            let others = helping
                .into_iter()
                .flat_map(|helper| helper.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
            own.into_iter().chain(others).collect()
        });
        all.sort_by_key(|(at, _)| *at);
        all.into_iter().map(|(_, done)| done).collect()
    }
}

#[cfg(test)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};

    use super::*;

    #[test]
    fn what_comes_out_is_in_order_however_many_help() {
        let squares: Vec<usize> = (0..100).map(|n| n * n).collect();
        for most in [0, 1, 3, 200] {
            assert_eq!(Helpers::new(most).share_out(100, |n| n * n), squares, "{most} helpers");
        }
        assert!(Helpers::new(3).share_out(0, |n| n).is_empty());
        assert_eq!(on_every_core(100, |n| n * n), squares);
    }

    #[test]
    fn helpers_are_taken_once_and_whoever_comes_second_works_alone() {
        let helpers = Helpers::new(3);
        let first = helpers.take(8);
        assert_eq!((first.many, helpers.take(8).many), (3, 0));
        assert_eq!(helpers.share_out(4, |n| n), [0, 1, 2, 3], "she is served all the same");
        drop(first);
        assert_eq!(helpers.take(2).many, 2);
    }

    #[test]
    fn a_panic_comes_out_and_leaves_the_helpers_free() {
        let helpers = Helpers::new(3);
        let fell = catch_unwind(AssertUnwindSafe(|| {
            helpers.share_out(40, |n| assert!(n != 17, "seventeen"));
        }));
        let cause = fell.unwrap_err();
        assert_eq!(cause.downcast_ref::<&str>(), Some(&"seventeen"));
        assert_eq!(helpers.take(8).many, 3);
    }
}
