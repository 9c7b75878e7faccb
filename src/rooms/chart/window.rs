//! The span of a chart in the studio's own days, which are not always 24 hours long.

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

/// How much a chart shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Span {
    /// One day.
    Day,
    /// Seven days.
    Week,
    /// Thirty days.
    Month,
}

impl Span {
    /// How many of the studio's days.
    #[must_use]
    pub const fn days(self) -> i64 {
        match self {
            Span::Day => 1,
            Span::Week => 7,
            Span::Month => 30,
        }
    }
}

/// The days of a chart and the instants at which they begin.
#[derive(Debug, Clone)]
pub struct Window {
    /// How much is shown.
    pub span: Span,
    /// The days, oldest first, each with its first instant.
    days: Vec<(Date, i64)>,
    /// The first instant after the last day.
    ends: i64,
    zone: TimeZone,
}

/// µs of one hour.
pub(super) const HOUR: i64 = 3_600_000_000;

impl Window {
    /// The days that end with `last`, in the studio's zone. `None` at the edge of the calendar.
    #[must_use]
    pub fn ending(span: Span, last: Date, zone: &TimeZone) -> Option<Window> {
        let begins = |date: Date| Some(date.to_zoned_datetime(zone.clone()).ok()?.timestamp().as_microsecond());
        let mut date = last;
        for _ in 1..span.days() {
            date = date.yesterday().ok()?;
        }
        let mut days = Vec::new();
        for _ in 0..span.days() {
            days.push((date, begins(date)?));
            date = date.tomorrow().ok()?;
        }
        Some(Window { span, days, ends: begins(date)?, zone: zone.clone() })
    }

    /// The first instant, µs since 1970.
    #[must_use]
    pub fn from_us(&self) -> i64 {
        self.days.first().map_or(0, |(_, at)| *at)
    }

    /// The first instant after, µs since 1970.
    #[must_use]
    pub const fn to_us(&self) -> i64 {
        self.ends
    }

    /// Whether an instant lies in it.
    #[must_use]
    pub fn holds(&self, at_us: i64) -> bool {
        (self.from_us()..self.ends).contains(&at_us)
    }

    /// Each day with its first instant and the first instant after it.
    pub(super) fn days(&self) -> impl Iterator<Item = (Date, i64, i64)> + '_ {
        let ends = self.days.iter().skip(1).map(|(_, at)| *at).chain(std::iter::once(self.ends));
        self.days.iter().zip(ends).map(|((date, from), to)| (*date, *from, to))
    }

    /// The first and the last day.
    pub(super) fn first_and_last(&self) -> Option<(Date, Date)> {
        Some((self.days.first()?.0, self.days.last()?.0))
    }

    /// The wall clock at an instant, as "14:05".
    pub(super) fn clock(&self, at_us: i64) -> String {
        let at = Timestamp::from_microsecond(at_us).unwrap_or_default();
        self.zone.to_datetime(at).strftime("%H:%M").to_string()
    }

    /// The day and the wall clock at an instant, as "Thu 18 Feb, 14:05"; on a chart of one day "at 14:05".
    pub(super) fn moment(&self, at_us: i64) -> String {
        let at = self.zone.to_datetime(Timestamp::from_microsecond(at_us).unwrap_or_default());
        match self.span {
            Span::Day => at.strftime("at %H:%M").to_string(),
            Span::Week | Span::Month => at.strftime("%a %-d %b, %H:%M").to_string(),
        }
    }

    /// The instant of a full hour of the only or first day, the first of two if it comes twice; `None` if it is skipped.
    pub(super) fn hour_of_day(&self, hour: i8) -> Option<i64> {
        let (date, from) = *self.days.first()?;
        if hour == 24 {
            return self.days.get(1).map(|(_, at)| *at).or(Some(self.ends));
        }
        let ambiguous = self.zone.to_ambiguous_timestamp(date.at(hour, 0, 0, 0));
        let at = ambiguous.earlier().ok()?.as_microsecond();
        let shown = self.zone.to_datetime(Timestamp::from_microsecond(at).ok()?);
        (at >= from && shown.hour() == hour).then_some(at)
    }

    /// A sentence for each day that has not 24 hours.
    pub(super) fn odd_days(&self) -> Vec<String> {
        let odd = self.days().filter(|(_, from, to)| to - from != 24 * HOUR);
        odd.map(|(date, from, to)| {
            let (hours, minutes) = ((to - from) / HOUR, (to - from) % HOUR / (HOUR / 60));
            let length = if minutes == 0 { format!("{hours} hours") } else { format!("{hours} h {minutes} min") };
            let turned = if to - from > 24 * HOUR { "back" } else { "forward" };
            let day = match self.span {
                Span::Day => "This day".to_owned(),
                Span::Week | Span::Month => date.strftime("%a %-d %b").to_string(),
            };
            format!("{day} has {length}, as the clocks went {turned}.")
        })
        .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn window(span: Span, last: &str) -> Window {
        Window::ending(span, last.parse().unwrap(), &TimeZone::get("Europe/Berlin").unwrap()).unwrap()
    }

    #[test]
    fn days_are_as_long_as_the_clocks_make_them() {
        let length = |last| (window(Span::Day, last).to_us() - window(Span::Day, last).from_us()) / HOUR;
        assert_eq!((length("2025-06-01"), length("2025-03-30"), length("2025-10-26")), (24, 23, 25));
        assert_eq!(window(Span::Week, "2025-06-01").days().count(), 7);
        assert_eq!(window(Span::Month, "2025-06-01").days().count(), 30);
    }

    #[test]
    fn a_day_that_is_not_24_hours_long_is_said() {
        assert_eq!(window(Span::Day, "2025-03-30").odd_days(), ["This day has 23 hours, as the clocks went forward."]);
        assert_eq!(window(Span::Week, "2025-10-28").odd_days(), ["Sun 26 Oct has 25 hours, as the clocks went back."]);
        assert!(window(Span::Month, "2025-06-01").odd_days().is_empty());
    }

    #[test]
    fn a_full_hour_that_was_skipped_has_no_place_and_a_repeated_one_has_its_first() {
        let spring = window(Span::Day, "2025-03-30");
        assert_eq!(spring.hour_of_day(2), None);
        assert_eq!(spring.hour_of_day(3), Some(spring.from_us() + 2 * HOUR));
        let autumn = window(Span::Day, "2025-10-26");
        assert_eq!(autumn.hour_of_day(2), Some(autumn.from_us() + 2 * HOUR));
        assert_eq!(autumn.hour_of_day(3), Some(autumn.from_us() + 4 * HOUR));
        assert_eq!(autumn.hour_of_day(24), Some(autumn.to_us()));
    }

    #[test]
    fn the_edge_of_the_calendar_has_no_window() {
        assert!(Window::ending(Span::Day, Date::MAX, &TimeZone::UTC).is_none());
        assert!(Window::ending(Span::Month, Date::MIN, &TimeZone::UTC).is_none());
    }
}
