//! Hours as they are typed and as they lie in time: a week of spans on the studio's wall. Pure.

use jiff::ToSpan;
use jiff::civil::{Date, Weekday};

use super::slots::{Span, Spans};
use crate::base::time::Instant;
use crate::base::zone::Zone;

/// Minutes of a civil day; the wall's, not the elapsed ones.
pub const MINUTES_A_DAY: i64 = 24 * 60;

/// The days of a week in the order pages show them, with their words.
pub const DAYS: [(Weekday, &str); 7] = [
    (Weekday::Monday, "Monday"),
    (Weekday::Tuesday, "Tuesday"),
    (Weekday::Wednesday, "Wednesday"),
    (Weekday::Thursday, "Thursday"),
    (Weekday::Friday, "Friday"),
    (Weekday::Saturday, "Saturday"),
    (Weekday::Sunday, "Sunday"),
];

/// From one minute of the day up to and without another.
pub type MinuteSpan = (i64, i64);

/// A week of working hours, Monday first. What lies between two spans of a day is a break.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Week(pub [Vec<MinuteSpan>; 7]);

/// Why typed hours cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnreadableHours;

impl Week {
    /// A week that is the same from Monday to Friday, shorter on Saturday: what a new house begins with.
    #[must_use]
    pub fn usual() -> Self {
        let long = vec![(9 * 60, 18 * 60)];
        let short = vec![(9 * 60, 14 * 60)];
        Self([long.clone(), long.clone(), long.clone(), long.clone(), long, short, Vec::new()])
    }

    /// The spans of a weekday.
    #[must_use]
    pub fn of(&self, day: Weekday) -> &[MinuteSpan] {
        &self.0[usize::try_from(day.to_monday_zero_offset()).unwrap_or(0)]
    }

    /// The hours of a civil day as spans of instants. Where the clocks change, an hour that does not exist begins when it would
    /// have, and one that comes twice is counted from its first time to its last.
    #[must_use]
    pub fn on(&self, day: Date, zone: &Zone) -> Spans {
        Spans::of(
            self.of(day.weekday()).iter().map(|(from, to)| Span::new(edge(day, *from, zone), edge(day, *to, zone))),
        )
    }

    /// The text that is kept: seven days between bars.
    #[must_use]
    pub fn kept(&self) -> String {
        let day = |spans: &Vec<MinuteSpan>| {
            spans.iter().map(|(from, to)| format!("{from}-{to}")).collect::<Vec<_>>().join(" ")
        };
        self.0.iter().map(day).collect::<Vec<_>>().join("|")
    }

    /// Reads what [`Week::kept`] wrote.
    #[must_use]
    pub fn from_kept(text: &str) -> Option<Self> {
        let mut week = Self::default();
        let mut days = text.split('|');
        for day in &mut week.0 {
            for span in days.next()?.split_whitespace() {
                let (from, to) = span.split_once('-')?;
                day.push((from.parse().ok()?, to.parse().ok()?));
            }
        }
        days.next().is_none().then_some(week)
    }
}

/// The instant of a minute of a civil day; 1440 is the start of the next.
#[must_use]
pub fn edge(day: Date, minute: i64, zone: &Zone) -> Instant {
    if minute >= MINUTES_A_DAY {
        return day.checked_add(1.day()).map_or_else(|_| zone.start_of(day), |next| zone.start_of(next));
    }
    let wall = day.at(0, 0, 0, 0).checked_add(minute.minutes()).unwrap_or(day.at(0, 0, 0, 0));
    let ambiguous = zone.inner().to_ambiguous_timestamp(wall);
    ambiguous.compatible().map_or_else(|_| zone.start_of(day), Instant::from_timestamp)
}

/// Hours of a day as typed: "9:00–12:30, 13:00–18:00", "9-18"; nothing, or "closed", is no hours.
///
/// # Errors
/// [`UnreadableHours`] for anything else, and for hours that overlap or run backwards.
pub fn typed_hours(text: &str) -> Result<Vec<MinuteSpan>, UnreadableHours> {
    let text = text.trim();
    if text.is_empty() || text.eq_ignore_ascii_case("closed") {
        return Ok(Vec::new());
    }
    let mut spans = Vec::new();
    for part in text.split([',', ';']) {
        let (from, to) = part.split_once(['–', '-', '—']).ok_or(UnreadableHours)?;
        let span = (typed_minute(from).ok_or(UnreadableHours)?, typed_minute(to).ok_or(UnreadableHours)?);
        if span.0 >= span.1 || spans.last().is_some_and(|before: &MinuteSpan| span.0 < before.1) {
            return Err(UnreadableHours);
        }
        spans.push(span);
    }
    Ok(spans)
}

/// A time of day as typed: "9", "9:30", "09.30", "24:00"; as minutes.
#[must_use]
pub fn typed_minute(text: &str) -> Option<i64> {
    let text = text.trim();
    let (hour, minute) = text.split_once([':', '.']).unwrap_or((text, "0"));
    let digits = |part: &str| (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
    if !digits(hour) || !digits(minute) {
        return None;
    }
    let (hour, minute): (i64, i64) = (hour.parse().ok()?, minute.parse().ok()?);
    (minute < 60 && hour * 60 + minute <= MINUTES_A_DAY).then_some(hour * 60 + minute)
}

/// A minute of the day as printed: "09:30".
#[must_use]
pub fn minute_words(minute: i64) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// Hours as printed: "09:00–12:30, 13:00–18:00", or nothing.
#[must_use]
pub fn hours_words(spans: &[MinuteSpan]) -> String {
    let one = |(from, to): &MinuteSpan| format!("{}–{}", minute_words(*from), minute_words(*to));
    spans.iter().map(one).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::base::time::{HOUR, MINUTE};

    #[test]
    fn hours_are_read_as_people_type_them_and_kept_as_they_are() {
        for (typed, read) in [
            ("9:00–12:30, 13:00–18:00", vec![(540, 750), (780, 1080)]),
            ("9-18", vec![(540, 1080)]),
            ("9.30 - 24:00", vec![(570, 1440)]),
            ("", vec![]),
            ("Closed", vec![]),
        ] {
            assert_eq!(typed_hours(typed), Ok(read.clone()), "{typed}");
            assert_eq!(typed_hours(&hours_words(&read)), Ok(read));
        }
        for wrong in ["9", "18-9", "9-12, 11-14", "9:75-10", "25-26", "nine to five", "9--10"] {
            assert_eq!(typed_hours(wrong), Err(UnreadableHours), "{wrong}");
        }
        assert_eq!(Week::from_kept(&Week::usual().kept()), Some(Week::usual()));
        assert_eq!(Week::from_kept("540-600"), None);
    }

    #[test]
    fn a_night_shift_over_a_clock_change_is_as_long_as_it_was() {
        // 00:00 to 08:00 on the wall: seven elapsed hours in spring, nine in autumn; half an hour either way on Lord Howe.
        let night = Week(std::array::from_fn(|_| vec![(0, 480)]));
        for (name, day, hours) in [
            ("Europe/Copenhagen", date(2026, 3, 29), 7 * HOUR),
            ("Europe/Copenhagen", date(2026, 10, 25), 9 * HOUR),
            ("America/New_York", date(2026, 3, 8), 7 * HOUR),
            ("America/New_York", date(2026, 11, 1), 9 * HOUR),
            ("Australia/Lord_Howe", date(2026, 10, 4), 7 * HOUR + 30 * MINUTE),
            ("Australia/Lord_Howe", date(2026, 4, 5), 8 * HOUR + 30 * MINUTE),
        ] {
            let zone = Zone::named(name).unwrap();
            let spans = night.on(day, &zone);
            let [span] = spans.as_slice() else { panic!("{name}: {spans:?}") };
            assert_eq!(span.to.since(span.from), hours, "{name} {day}");
            assert_eq!(zone.clock(span.to), "08:00");
        }
    }
}
