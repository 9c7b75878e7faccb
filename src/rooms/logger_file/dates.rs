//! Dates and times of day as files write them.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

use super::{Dates, DayOrder};

/// A date as three numbers, not yet put in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct DateParts {
    numbers: [u32; 3],
    year_first: bool,
    dotted: bool,
}

/// What one cell holds of an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell<'t> {
    /// A date, and what stands behind it (empty for a date alone).
    Date(DateParts, &'t str),
    /// A time of day alone.
    Time,
    /// Seconds or milliseconds since 1970, as µs.
    Since1970(i64),
    /// None of these.
    Other,
}

/// What one cell holds.
pub(super) fn cell(text: &str) -> Cell<'_> {
    let text = text.trim();
    if let Some((parts, rest)) = date_parts(text) {
        Cell::Date(parts, rest)
    } else if time_of_day(text).is_some() {
        Cell::Time
    } else {
        since_1970(text).map_or(Cell::Other, Cell::Since1970)
    }
}

/// Whole or broken seconds with ten digits, or milliseconds with thirteen: 2001 to 2286.
fn since_1970(text: &str) -> Option<i64> {
    let whole = text.split(['.', ',']).next()?;
    let scale = match whole.len() {
        10 => 1e6,
        13 => 1e3,
        _ => return None,
    };
    if !whole.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let number: f64 = text.replace(',', ".").parse().ok()?;
    Some((number * scale).round() as i64)
}

/// Three numbers with one kind of separator between, at the beginning of a text.
fn date_parts(text: &str) -> Option<(DateParts, &str)> {
    let (first, separator, rest) = leading_number(text)?;
    let (second, same, rest) = leading_number(rest)?;
    if separator != same {
        return None;
    }
    let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
    let third = rest.get(..digits).filter(|d| (1..=4).contains(&d.len()))?;
    let year_first = first.len() == 4;
    let dated = if year_first { digits <= 2 } else { digits == 2 || digits == 4 };
    if !dated || first.len() > 4 || second.len() > 2 || (!year_first && first.len() > 2) {
        return None;
    }
    let numbers = [first.parse().ok()?, second.parse().ok()?, third.parse().ok()?];
    let after = rest[digits..].trim_start_matches(['.', ',', 'T', 't', ' ', '\u{a0}']);
    // "2025-04-03T" ends the date; "2025-04-03x" is something else.
    let behind = &rest[digits..];
    let ends = behind.is_empty() || behind.starts_with([' ', ',', 'T', 't', '\u{a0}', '.']);
    ends.then_some((DateParts { numbers, year_first, dotted: separator == b'.' }, after))
}

/// Digits, the separator behind them, and the rest.
fn leading_number(text: &str) -> Option<(&str, u8, &str)> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let separator = *text.as_bytes().get(digits)?;
    let is_one = digits > 0 && matches!(separator, b'-' | b'/' | b'.');
    is_one.then(|| (&text[..digits], separator, text[digits + 1..].trim_start_matches(' ')))
}

impl DateParts {
    /// How this date is written, as far as it shows; `None` when day and month could be either.
    pub(super) fn form(self) -> Option<Dates> {
        if self.year_first {
            Some(Dates::YearFirst)
        } else if self.dotted {
            Some(Dates::YearLast(DayOrder::DayFirst))
        } else {
            None
        }
    }

    /// The first two numbers: day and month in some order.
    pub(super) fn first_two(self) -> (u32, u32) {
        (self.numbers[0], self.numbers[1])
    }

    /// The calendar day, if there is such a day.
    pub(super) fn date(self, dates: Dates) -> Option<Date> {
        let [a, b, c] = self.numbers;
        let (year, month, day) = match (self.form(), dates) {
            (Some(Dates::YearFirst), _) => (a, b, c),
            (_, Dates::YearLast(DayOrder::MonthFirst)) => (c, a, b),
            _ => (c, b, a),
        };
        let year = if year < 100 { 2000 + year } else { year };
        Date::new(i16::try_from(year).ok()?, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
    }
}

/// A time of day and, where written, its offset from UTC: "14:05", "2:05:09.5 PM", "14.05", "14:05Z", "14:05+02:00".
pub(super) fn time_of_day(text: &str) -> Option<(Time, Option<Offset>)> {
    let text = text.trim();
    let (clock, behind) = split_clock(text);
    let mut parts = clock.splitn(3, if clock.contains(':') { ':' } else { '.' });
    let hour: i8 = digits(parts.next()?)?;
    // Two digits always: "21.4" is a temperature.
    let minute: i8 = parts.next().filter(|minute| minute.len() == 2).and_then(digits)?;
    let (second, nanosecond) = parts.next().map_or(Some((0, 0)), seconds)?;
    let (hour, offset) = match behind.trim().to_ascii_lowercase().replace(['.', '\u{202f}', '\u{a0}'], "").as_str() {
        "" => (hour, None),
        "am" if (1..=12).contains(&hour) => (hour % 12, None),
        "pm" if (1..=12).contains(&hour) => (hour % 12 + 12, None),
        zone => (hour, Some(offset(zone)?)),
    };
    Some((Time::new(hour, minute, second, nanosecond).ok()?, offset))
}

fn split_clock(text: &str) -> (&str, &str) {
    let ends = text.find(|c: char| !(c.is_ascii_digit() || ":.,".contains(c))).unwrap_or(text.len());
    text.split_at(ends)
}

fn digits(text: &str) -> Option<i8> {
    ((1..=2).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())).then(|| text.parse().ok())?
}

/// Seconds with a fraction of any length behind a point or comma, as seconds and nanoseconds.
fn seconds(text: &str) -> Option<(i8, i32)> {
    let (whole, fraction) = text.split_once(['.', ',']).unwrap_or((text, ""));
    if !fraction.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let nine: String = fraction.chars().chain("000000000".chars()).take(9).collect();
    Some((digits(whole)?, nine.parse().ok()?))
}

/// "z", "utc", "gmt", "+02:00", "+0200", "utc+2", in lower case.
pub(super) fn offset(text: &str) -> Option<Offset> {
    let text = text.trim();
    let signed = text.trim_start_matches("utc").trim_start_matches("gmt").trim();
    if signed.is_empty() || signed == "z" {
        return Some(Offset::UTC);
    }
    let (sign, rest) = match signed.strip_prefix('+') {
        Some(rest) => (1, rest),
        None => (-1, signed.strip_prefix(['-', '−'])?),
    };
    let rest = rest.trim();
    let (hours, minutes) = match rest.split_once(':') {
        Some(pair) => pair,
        None if rest.len() == 4 && rest.is_ascii() => rest.split_at(2),
        None => (rest, "0"),
    };
    let seconds = i32::from(digits(hours)?) * 3600 + i32::from(digits(minutes)?) * 60;
    Offset::from_seconds(sign * seconds).ok()
}

/// The instant of a wall time, µs since 1970, and whether that time came twice (the first is taken).
///
/// # Errors
/// A sentence, when the clocks skipped this time.
pub(super) fn instant(date: Date, time: Time, offset: Option<Offset>, zone: &TimeZone) -> Result<(i64, bool), String> {
    let wall = DateTime::from_parts(date, time);
    let outside = || format!("{wall} is outside the calendar");
    if let Some(offset) = offset {
        let at = offset.to_timestamp(wall).map_err(|_| outside())?;
        return Ok((at.as_microsecond(), false));
    }
    let ambiguous = zone.to_ambiguous_timestamp(wall);
    let kind = ambiguous.offset();
    if matches!(kind, AmbiguousOffset::Gap { .. }) {
        return Err(format!(
            "{} on {} did not exist there: the clocks went forward over it",
            time.strftime("%H:%M"),
            date.strftime("%-d %b %Y")
        ));
    }
    let at: Timestamp = ambiguous.earlier().map_err(|_| outside())?;
    Ok((at.as_microsecond(), matches!(kind, AmbiguousOffset::Fold { .. })))
}

/// The order of day and month, from dates in the order of their rows, as far as it can be told.
#[derive(Debug, Default)]
pub(super) struct OrderEvidence {
    day_first: u64,
    month_first: u64,
    before: Option<DateParts>,
    /// Days walked from row to row, reading day first and month first.
    walked: [i64; 2],
}

impl OrderEvidence {
    /// Takes the next row's date.
    pub(super) fn add(&mut self, parts: DateParts) {
        let (a, b) = parts.first_two();
        self.day_first += u64::from(a > 12 && b <= 12);
        self.month_first += u64::from(b > 12 && a <= 12);
        if let Some(before) = self.before.replace(parts)
            && before != parts
        {
            for (walked, order) in self.walked.iter_mut().zip([DayOrder::DayFirst, DayOrder::MonthFirst]) {
                *walked += days_between(before, parts, order);
            }
        }
    }

    /// A number above 12 decides. Else rows a day apart under one order are a month apart under the other, so the
    /// order under which the file walks less than a fifth as far is the right one.
    pub(super) fn order(&self) -> Option<DayOrder> {
        let [day_first, month_first] = self.walked;
        if self.day_first != self.month_first {
            Some(if self.day_first > self.month_first { DayOrder::DayFirst } else { DayOrder::MonthFirst })
        } else if day_first * 5 < month_first {
            Some(DayOrder::DayFirst)
        } else if month_first * 5 < day_first {
            Some(DayOrder::MonthFirst)
        } else {
            None
        }
    }
}

fn days_between(a: DateParts, b: DateParts, order: DayOrder) -> i64 {
    let dates = Dates::YearLast(order);
    match (a.date(dates), b.date(dates)) {
        (Some(a), Some(b)) => (b.duration_since(a).as_hours() / 24).abs(),
        _ => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn day(text: &str, dates: Dates, expected: Option<&str>) {
        let found = match cell(text) {
            Cell::Date(parts, _) => parts.date(dates).map(|date| date.to_string()),
            _ => None,
        };
        assert_eq!(found.as_deref(), expected, "{text}");
    }

    #[test]
    fn dates_are_read_in_the_order_they_are_written_in() {
        let (day_first, month_first) = (Dates::YearLast(DayOrder::DayFirst), Dates::YearLast(DayOrder::MonthFirst));
        day("2025-04-03 10:00", Dates::YearFirst, Some("2025-04-03"));
        day("2025/4/3", Dates::YearFirst, Some("2025-04-03"));
        day("2025.04.03.", Dates::YearFirst, Some("2025-04-03"));
        day("3.4.2025", day_first, Some("2025-04-03"));
        day("03.04.25 10:00", day_first, Some("2025-04-03"));
        day("3. 4. 2025", day_first, Some("2025-04-03"));
        day("03/04/2025", day_first, Some("2025-04-03"));
        day("03/04/2025", month_first, Some("2025-03-04"));
        day("04-03-25 1:00 PM", month_first, Some("2025-04-03"));
        day("31/02/2025", day_first, None);
        day("13/14/2025", day_first, None);
        for text in ["", "3/4", "3/4.2025", "3/4/2", "3/4/202", "123/4/2025", "2025-04-03x", "12:30", "word", "1/2/3/4"]
        {
            day(text, day_first, None);
        }
    }

    #[track_caller]
    fn time(text: &str, expected: Option<&str>) {
        let found = time_of_day(text).map(|(time, offset)| match offset {
            Some(offset) => format!("{time} {}", offset.seconds()),
            None => time.to_string(),
        });
        assert_eq!(found.as_deref(), expected, "{text}");
    }

    #[test]
    fn times_of_day_are_read_with_halves_seconds_and_offsets() {
        time("14:05", Some("14:05:00"));
        time("9:05:07", Some("09:05:07"));
        time("14.05.07", Some("14:05:07"));
        time("14:05:07.250", Some("14:05:07.25"));
        time("14:05:07,25", Some("14:05:07.25"));
        time("2:05 PM", Some("14:05:00"));
        time("12:05 a.m.", Some("00:05:00"));
        time("12:05pm", Some("12:05:00"));
        time("14:05Z", Some("14:05:00 0"));
        time("14:05 UTC", Some("14:05:00 0"));
        time("14:05:00+02:00", Some("14:05:00 7200"));
        time("14:05:00-0330", Some("14:05:00 -12600"));
        for text in ["", "14", "24:00", "14:60", "13:05 PM", "0:05 AM", "14:05 soon", "14:5:7:9", "21.4", "-1:00"] {
            time(text, None);
        }
    }

    #[test]
    fn a_number_above_twelve_decides_the_order() {
        let mut evidence = OrderEvidence::default();
        for text in ["03/04/2025", "03/14/2025"] {
            if let Cell::Date(parts, _) = cell(text) {
                evidence.add(parts);
            }
        }
        assert_eq!(evidence.order(), Some(DayOrder::MonthFirst));
    }

    #[test]
    fn rows_that_follow_each_other_decide_the_order() {
        let order = |texts: &[&str]| {
            let mut evidence = OrderEvidence::default();
            for text in texts {
                if let Cell::Date(parts, _) = cell(text) {
                    evidence.add(parts);
                }
            }
            evidence.order()
        };
        assert_eq!(order(&["03/04/2025", "04/04/2025", "05/04/2025"]), Some(DayOrder::DayFirst));
        assert_eq!(order(&["03/04/2025", "03/05/2025", "03/06/2025"]), Some(DayOrder::MonthFirst));
        assert_eq!(order(&["03/04/2025", "03/04/2025"]), None);
    }
}
