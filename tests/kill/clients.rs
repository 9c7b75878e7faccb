//! Clients that enter readings, book, open cards, lose the network, come back and ask again with the same key.

use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use crate::chance::Chance;
use crate::http::{Answer, Unknown};
use crate::studio::Desk;

/// One reading, booking or card that somebody wants kept, told apart from all others by its number.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub(crate) number: u64,
    pub(crate) key: String,
    /// The server said that it is kept.
    pub(crate) acknowledged: bool,
    /// The server said that it is not, since another booking has the time: then it must not be there.
    pub(crate) refused: bool,
    pub(crate) sent: u32,
}

impl Entry {
    /// Nothing is left to be asked.
    fn is_settled(&self) -> bool {
        self.acknowledged || self.refused
    }
}

/// What a client does wrong on purpose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Manners {
    /// Asks again with the same key.
    Good,
    /// Takes a new key when it asks again: a form without keys would behave so.
    ForgetsItsKey,
}

/// Where the server is just now; nowhere while it is dead.
#[derive(Default)]
pub(crate) struct Road {
    server: Mutex<Option<SocketAddr>>,
    closing: AtomicBool,
    acknowledged: AtomicU64,
}

impl Road {
    pub(crate) fn open(&self, server: SocketAddr) {
        *self.server.lock().unwrap() = Some(server);
    }

    pub(crate) fn close(&self) {
        *self.server.lock().unwrap() = None;
    }

    /// No new entries; what is open is still sent until it is acknowledged.
    pub(crate) fn last_round(&self) {
        self.closing.store(true, Ordering::Relaxed);
    }

    /// How many acknowledgements there were so far.
    pub(crate) fn acknowledged(&self) -> u64 {
        self.acknowledged.load(Ordering::Relaxed)
    }

    /// Waits until there are more than `before`, or no longer than `patience`.
    pub(crate) fn wait_for_more(&self, before: u64, patience: Duration) {
        let began = Instant::now();
        while self.acknowledged() <= before && began.elapsed() < patience {
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    fn server(&self) -> Option<SocketAddr> {
        *self.server.lock().unwrap()
    }

    fn is_last_round(&self) -> bool {
        self.closing.load(Ordering::Relaxed)
    }
}

/// Everything a client did.
pub(crate) struct Diary {
    pub(crate) entries: Vec<Entry>,
    /// Answers that are neither "kept" nor "come back later": the loop must not produce any.
    pub(crate) refusals: Vec<String>,
}

pub(crate) struct Client {
    pub(crate) desk: Desk,
    pub(crate) manners: Manners,
    pub(crate) chance: Chance,
    /// This client's numbers: `first`, `first + step`, …
    pub(crate) first: u64,
    pub(crate) step: u64,
}

impl Client {
    /// Works until the road's last round, on a thread of its own.
    pub(crate) fn work(mut self, road: Arc<Road>) -> std::thread::JoinHandle<Diary> {
        std::thread::spawn(move || {
            let mut diary = Diary { entries: Vec::new(), refusals: Vec::new() };
            loop {
                let Some(server) = road.server() else {
                    std::thread::sleep(Duration::from_millis(1));
                    continue;
                };
                let open = diary.entries.iter().position(|entry| !entry.is_settled());
                let at = match open {
                    Some(at) => at,
                    None if road.is_last_round() => return diary,
                    None => self.next(&mut diary.entries),
                };
                self.send(server, &mut diary, at, &road);
            }
        })
    }

    /// The next thing to send: mostly something new, now and then something long acknowledged (a reload, the back
    /// button).
    fn next(&mut self, entries: &mut Vec<Entry>) -> usize {
        if !entries.is_empty() && self.chance.one_in(20) {
            return self.chance.below(entries.len() as u64) as usize;
        }
        let number = self.first + entries.len() as u64 * self.step;
        entries.push(Entry { number, key: format!("entry-{number:08}"), acknowledged: false, refused: false, sent: 0 });
        entries.len() - 1
    }

    fn send(&mut self, server: SocketAddr, diary: &mut Diary, at: usize, road: &Road) {
        let entry = &mut diary.entries[at];
        if self.manners == Manners::ForgetsItsKey && entry.sent > 0 {
            entry.key = format!("entry-{:08}-again-{}", entry.number, entry.sent);
        }
        entry.sent += 1;
        let request = self.desk.request(entry.number, &entry.key);
        if self.chance.one_in(12) {
            let after = Duration::from_micros(self.chance.below(15_000));
            request.send_and_leave(server, after).ok();
            return;
        }
        match request.send(server) {
            Ok(answer) if self.desk.is_kept(&answer) => {
                entry.acknowledged = true;
                road.acknowledged.fetch_add(1, Ordering::Relaxed);
            }
            Ok(answer) if self.desk.is_taken(&answer) => entry.refused = true,
            // Dead, or asked to come back: nobody knows, so the same again.
            Ok(Answer { status: 503, .. }) | Err(Unknown) => std::thread::sleep(Duration::from_millis(1)),
            Ok(answer) => {
                diary.refusals.push(format!("{} for entry {}: {}", answer.status, entry.number, answer.body));
                // It will not get better by asking again.
                entry.acknowledged = true;
            }
        }
    }
}
