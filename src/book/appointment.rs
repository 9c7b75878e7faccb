//! An appointment: whose, where, when; its length in time and on the wall.

use jiff::civil::DateTime;

use super::slots::{Length, Span};
use super::wall::{self, NoSuchHour};
use crate::base::ids::{AppointmentId, ArtistId, BedId, ClientId, ServiceId};
use crate::base::time::{Instant, MINUTE};
use crate::base::zone::Zone;

/// How an appointment stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum State {
    /// It holds: artist and bed are taken.
    Booked,
    /// Called off; its time is free.
    Cancelled,
    /// The client did not come.
    NoShow,
}

impl State {
    /// Every state.
    pub const ALL: [Self; 3] = [Self::Booked, Self::Cancelled, Self::NoShow];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Booked => "booked",
            Self::Cancelled => "cancelled",
            Self::NoShow => "no_show",
        }
    }

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Booked => "booked",
            Self::Cancelled => "called off",
            Self::NoShow => "did not come",
        }
    }

    /// The state with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

/// Who comes: a client's record where there is one, and how she is called on screens that others see.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Booked {
    /// Her record.
    pub client: Option<ClientId>,
    /// "Ada L."
    pub short: String,
    /// For the first time.
    pub first_visit: bool,
}

impl Booked {
    /// Her initials: all that leaves the house in a calendar.
    ///
    /// ```
    /// let ada = stillroom::book::Booked { client: None, short: "Ada L.".into(), first_visit: false };
    /// assert_eq!(ada.initials(), "A. L.");
    /// ```
    #[must_use]
    pub fn initials(&self) -> String {
        let first = |word: &str| word.chars().find(|c| c.is_alphanumeric()).map(|c| format!("{}.", c.to_uppercase()));
        self.short.split_whitespace().filter_map(first).take(3).collect::<Vec<_>>().join(" ")
    }
}

/// When something lies: what was said, and what that is in instants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct When {
    /// The hour on the wall.
    pub wall: DateTime,
    /// The name of the wall's zone.
    pub zone: String,
    /// The visit.
    pub visit: Span,
    /// The visit with the time kept free around it.
    pub busy: Span,
}

impl When {
    /// The time that was typed, in instants.
    ///
    /// # Errors
    /// [`NoSuchHour`] for an hour that the spring leaves out.
    pub fn typed(wall: DateTime, zone: &Zone, length: &Length) -> Result<Self, NoSuchHour> {
        let from = wall::instant(wall, zone)?;
        Ok(Self { wall, zone: zone.name().to_owned(), visit: length.visit(from), busy: length.busy(from) })
    }

    /// How long the visit is, minutes.
    #[must_use]
    pub fn minutes(&self) -> i64 {
        self.visit.to.since(self.visit.from) / MINUTE
    }

    /// A time that was found, as an instant.
    #[must_use]
    pub fn found(from: Instant, zone: &Zone, length: &Length) -> Self {
        Self {
            wall: zone.wall(from).datetime(),
            zone: zone.name().to_owned(),
            visit: length.visit(from),
            busy: length.busy(from),
        }
    }
}

/// An appointment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appointment {
    /// Its id.
    pub id: AppointmentId,
    /// Who treats.
    pub artist: ArtistId,
    /// On which bed; none for what takes none.
    pub bed: Option<BedId>,
    /// What is done.
    pub service: ServiceId,
    /// Who comes.
    pub booked: Booked,
    /// When.
    pub when: When,
    /// How it stands.
    pub state: State,
    /// Counts every change, from 1.
    pub version: i64,
    /// A few words without health.
    pub note: String,
    /// When it was made.
    pub created: Instant,
    /// When it was last changed.
    pub changed: Instant,
}

/// A version of an appointment, for its history.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Version {
    /// Its number, from 1.
    pub(super) number: i64,
    /// Who treated.
    pub(super) artist: ArtistId,
    /// When it lay.
    pub(super) starts: Instant,
    /// How it stood.
    pub(super) state: State,
    /// Why it was called off.
    pub(super) reason: String,
    /// Who made it: an actor's mark.
    pub(super) by: String,
    /// When it was made.
    pub(super) at: Instant,
}

/// What has just happened to an appointment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Change {
    /// It was made, or holds again.
    Made,
    /// It lies elsewhere: another time, artist, bed or service.
    Moved,
    /// It was called off.
    Cancelled,
    /// The client did not come.
    NoShow,
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    #[test]
    fn an_appointment_over_a_clock_change_keeps_its_minutes() {
        // Begun before the change, two hours of work: the wall then shows three hours later in spring, one in autumn.
        let length = Length { minutes: 120, before: 0, after: 0 };
        for (name, day, hour, ends) in [
            ("Europe/Copenhagen", date(2026, 3, 29), 1, "04:00"),
            ("Europe/Copenhagen", date(2026, 10, 25), 2, "03:00"),
            ("America/New_York", date(2026, 3, 8), 1, "04:00"),
            ("America/New_York", date(2026, 11, 1), 1, "02:00"),
            ("Australia/Lord_Howe", date(2026, 10, 4), 1, "03:30"),
            ("Australia/Lord_Howe", date(2026, 4, 5), 1, "02:30"),
        ] {
            let zone = Zone::named(name).unwrap();
            let when = When::typed(day.at(hour, 0, 0, 0), &zone, &length).unwrap();
            assert_eq!(zone.clock(when.visit.to), ends, "{name} {day}");
            assert_eq!(When::found(when.visit.from, &zone, &length), when);
        }
    }

    #[test]
    fn initials_hold_no_name() {
        let of = |short: &str| Booked { client: None, short: short.into(), first_visit: false }.initials();
        assert_eq!(of("Åse Ø."), "Å. Ø.");
        assert_eq!(of("Ada Maria van Lovell"), "A. M. V.");
        assert_eq!(of("–"), "");
    }
}
