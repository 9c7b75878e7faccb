//! Instants as microseconds UTC, and the clock as a value that tests can set.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use jiff::Timestamp;

/// An instant: microseconds since 1970-01-01T00:00Z, as the database keeps it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Instant(pub i64);

/// Microseconds in a second.
pub const SECOND: i64 = 1_000_000;
/// Microseconds in a minute.
pub const MINUTE: i64 = 60 * SECOND;
/// Microseconds in an hour.
pub const HOUR: i64 = 60 * MINUTE;
/// Microseconds in 24 elapsed hours; a civil day may be an hour shorter or longer.
pub const DAY: i64 = 24 * HOUR;

/// A duration in microseconds; longer than the ages of the house becomes as long as can be.
#[must_use]
pub fn micros(duration: std::time::Duration) -> i64 {
    i64::try_from(duration.as_micros()).unwrap_or(i64::MAX)
}

impl Instant {
    /// The same instant for the zone library; instants outside its years become its nearest end.
    #[must_use]
    pub fn timestamp(self) -> Timestamp {
        Timestamp::from_microsecond(self.0).unwrap_or(if self.0 < 0 { Timestamp::MIN } else { Timestamp::MAX })
    }

    /// From the zone library's instant.
    #[must_use]
    pub fn from_timestamp(at: Timestamp) -> Self {
        Self(at.as_microsecond())
    }

    /// This instant moved by a number of microseconds.
    #[must_use]
    pub const fn plus(self, micros: i64) -> Self {
        Self(self.0.saturating_add(micros))
    }

    /// Microseconds from `earlier` to this instant; negative when this one is earlier.
    #[must_use]
    pub const fn since(self, earlier: Self) -> i64 {
        self.0.saturating_sub(earlier.0)
    }

    /// ISO 8601 in UTC with seconds, for files and the API.
    #[must_use]
    pub fn iso(self) -> String {
        self.timestamp().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
    }
}

/// The instant a request or a command is answered at: read once, then handed down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Now(pub Instant);

/// Where the time comes from.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The machine's clock.
    System,
    /// A clock that stands where a test puts it.
    Set(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that stands still until it is moved.
    #[must_use]
    pub fn standing_at(at: Instant) -> Self {
        Self::Set(Arc::new(AtomicI64::new(at.0)))
    }

    /// Moves a standing clock; the machine's clock is left alone.
    pub fn advance(&self, micros: i64) {
        if let Self::Set(at) = self {
            at.fetch_add(micros, Ordering::SeqCst);
        }
    }

    /// The present instant.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the machine's clock")]
    pub fn now(&self) -> Now {
        Now(match self {
            Self::System => Instant::from_timestamp(Timestamp::now()),
            Self::Set(at) => Instant(at.load(Ordering::SeqCst)),
        })
    }
}
