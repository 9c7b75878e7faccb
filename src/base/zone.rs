//! The studio's zone: civil days, clock times and dates as pages print them. Bundled zone data, no files of the machine.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{ToSpan, ZonedDateTime};

use super::time::Instant;

/// An IANA time zone by name.
#[derive(Debug, Clone)]
pub struct Zone {
    name: String,
    zone: TimeZone,
}

impl Zone {
    /// The zone with this IANA name, for instance `Europe/Berlin`, however its letters were typed; `None` when there is no such zone.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let zone = TimeZone::get(name).ok()?;
        Some(Self { name: zone.iana_name().unwrap_or(name).to_owned(), zone })
    }

    /// Coordinated universal time.
    #[must_use]
    pub fn utc() -> Self {
        Self { name: "UTC".to_owned(), zone: TimeZone::UTC }
    }

    /// Its IANA name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The zone for the zone library.
    #[must_use]
    pub fn inner(&self) -> &TimeZone {
        &self.zone
    }

    /// The instant as wall time here.
    #[must_use]
    pub fn wall(&self, at: Instant) -> ZonedDateTime {
        at.timestamp().to_zoned_datetime(self.zone.clone())
    }

    /// "10:12", in 24 hours.
    #[must_use]
    pub fn clock(&self, at: Instant) -> String {
        self.wall(at).strftime("%H:%M").to_string()
    }

    /// "Thu 18 Feb", with the year only when it is not `now`'s.
    #[must_use]
    pub fn date(&self, at: Instant, now: Instant) -> String {
        let (day, today) = (self.wall(at), self.wall(now));
        let form = if day.year() == today.year() { "%a %-d %b" } else { "%a %-d %b %Y" };
        day.strftime(form).to_string()
    }

    /// "today 10:12", "yesterday 10:12" or "Thu 18 Feb 10:12".
    #[must_use]
    pub fn date_and_clock(&self, at: Instant, now: Instant) -> String {
        let (day, today) = (self.wall(at).date(), self.wall(now).date());
        if day == today {
            format!("today {}", self.clock(at))
        } else if Some(day) == today.yesterday().ok() {
            format!("yesterday {}", self.clock(at))
        } else {
            format!("{} {}", self.date(at, now), self.clock(at))
        }
    }

    /// The civil day of the instant.
    #[must_use]
    pub fn day(&self, at: Instant) -> Date {
        self.wall(at).date()
    }

    /// The instant a civil day begins.
    #[must_use]
    pub fn start_of(&self, day: Date) -> Instant {
        day.to_zoned_datetime(self.zone.clone()).map_or(Instant(0), |start| Instant::from_timestamp(start.timestamp()))
    }

    /// The instant `days` civil days before the start of the instant's own day.
    #[must_use]
    pub fn start_of_day_before(&self, at: Instant, days: i64) -> Instant {
        let day = self.day(at);
        self.start_of(day.checked_sub(days.days()).unwrap_or(day))
    }
}

/// "just now", "4 min ago" up to an hour, then the time.
#[must_use]
pub fn ago(zone: &Zone, at: Instant, now: Instant) -> String {
    let minutes = now.since(at) / super::time::MINUTE;
    match minutes {
        i64::MIN..=0 => "just now".to_owned(),
        1..=60 => format!("{minutes} min ago"),
        _ => zone.date_and_clock(at, now),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::time::{DAY, HOUR, MINUTE};

    #[test]
    fn a_zone_has_its_name_however_the_letters_were_typed() {
        for typed in ["Europe/Lisbon", "europe/lisbon", "EUROPE/LISBON"] {
            assert_eq!(Zone::named(typed).unwrap().name(), "Europe/Lisbon");
        }
        assert!(Zone::named("Europe/Nowhere").is_none());
    }

    #[test]
    fn a_spring_day_is_an_hour_shorter() {
        let zone = Zone::named("Europe/Berlin").unwrap();
        let start = zone.start_of(Date::constant(2026, 3, 29));
        let next = zone.start_of(Date::constant(2026, 3, 30));
        assert_eq!(next.since(start), DAY - HOUR);
    }

    #[test]
    fn old_things_are_minutes_ago_up_to_an_hour_and_then_a_time() {
        let zone = Zone::utc();
        let now = Instant(1_771_409_520_000_000);
        assert_eq!(zone.clock(now), "10:12");
        assert_eq!(ago(&zone, now.plus(-4 * MINUTE), now), "4 min ago");
        assert_eq!(ago(&zone, now.plus(-2 * HOUR), now), "today 08:12");
        assert_eq!(zone.date(now, now), "Wed 18 Feb");
    }

    #[test]
    fn zones_come_from_the_program_and_not_from_the_machine() {
        assert_eq!(format!("{:?}", jiff::tz::db()), "TimeZoneDatabase(Bundled(available))");
    }

    #[test]
    fn an_unknown_zone_is_none() {
        assert!(Zone::named("Europe/Atlantis").is_none());
    }
}
