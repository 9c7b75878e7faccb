//! What a person says about time: a day and an hour on the studio's wall. A future appointment keeps exactly that, beside its
//! zone, so that a change of the zone's rules moves the instant and not the hour.

use jiff::civil::DateTime;
use jiff::tz::AmbiguousOffset;

use crate::base::time::Instant;
use crate::base::zone::Zone;

/// Why a wall time names no one instant that could be booked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoSuchHour {
    /// The first wall time after the gap, as minutes of the day.
    pub next: DateTime,
}

impl NoSuchHour {
    /// What to tell who typed it.
    #[must_use]
    pub fn sentence(&self) -> String {
        format!(
            "The clocks go forward in this night: this hour does not exist. {} is the first time after it.",
            self.next.strftime("%H:%M")
        )
    }
}

/// The instant of a wall time. Of an hour that comes twice in autumn, the first.
///
/// # Errors
/// [`NoSuchHour`] for an hour that the spring leaves out.
pub fn instant(wall: DateTime, zone: &Zone) -> Result<Instant, NoSuchHour> {
    let ambiguous = zone.inner().to_ambiguous_timestamp(wall);
    match ambiguous.offset() {
        AmbiguousOffset::Gap { .. } => {
            let after = ambiguous.compatible().map(|at| zone.inner().to_datetime(at)).unwrap_or(wall);
            // The compatible reading is the typed time moved by the gap's length; the first after the gap is the full step.
            let next = first_after(zone, wall).unwrap_or(after);
            Err(NoSuchHour { next })
        }
        AmbiguousOffset::Unambiguous { .. } | AmbiguousOffset::Fold { .. } => {
            let earlier = ambiguous.earlier().map_err(|_| NoSuchHour { next: wall })?;
            Ok(Instant::from_timestamp(earlier))
        }
    }
}

/// The wall time with which the day goes on after the gap that holds `inside`.
fn first_after(zone: &Zone, inside: DateTime) -> Option<DateTime> {
    let earlier = zone.inner().to_ambiguous_timestamp(inside).earlier().ok()?;
    let step = zone.inner().following(earlier).next()?;
    Some(zone.inner().to_datetime(step.timestamp()))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::base::time::HOUR;

    #[test]
    fn an_hour_in_the_spring_gap_is_refused_with_the_first_time_after_it() {
        // Central Europe skips an hour, Lord Howe Island half of one.
        for (name, day, typed, next) in [
            ("Europe/Copenhagen", date(2026, 3, 29), (2, 30), "03:00"),
            ("America/New_York", date(2026, 3, 8), (2, 0), "03:00"),
            ("Australia/Lord_Howe", date(2026, 10, 4), (2, 15), "02:30"),
        ] {
            let zone = Zone::named(name).unwrap();
            let refused = instant(day.at(typed.0, typed.1, 0, 0), &zone).unwrap_err();
            assert_eq!(refused.next.strftime("%H:%M").to_string(), next, "{name}");
            assert!(refused.sentence().contains(next));
            assert!(instant(refused.next, &zone).is_ok());
        }
    }

    #[test]
    fn of_an_hour_that_comes_twice_the_first_is_meant() {
        for (name, day, typed, length) in [
            ("Europe/Copenhagen", date(2026, 10, 25), (2, 30), HOUR),
            ("America/New_York", date(2026, 11, 1), (1, 30), HOUR),
            ("Australia/Lord_Howe", date(2026, 4, 5), (1, 45), HOUR / 2),
        ] {
            let zone = Zone::named(name).unwrap();
            let first = instant(day.at(typed.0, typed.1, 0, 0), &zone).unwrap();
            assert_eq!(zone.wall(first).datetime(), day.at(typed.0, typed.1, 0, 0), "{name}");
            assert_eq!(zone.wall(first.plus(length)).datetime(), day.at(typed.0, typed.1, 0, 0), "{name} again");
        }
    }

    #[test]
    fn every_other_hour_comes_back_as_it_was_typed() {
        let zone = Zone::named("Australia/Lord_Howe").unwrap();
        for hour in 3..24 {
            let wall = date(2026, 10, 4).at(hour, 5, 0, 0);
            assert_eq!(zone.wall(instant(wall, &zone).unwrap()).datetime(), wall);
        }
    }
}
