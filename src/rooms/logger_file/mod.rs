//! A logger's file: delimited text as loggers and spreadsheets write it, in several languages, with points or commas,
//! with the date in one column or two. Says what was understood, gives the good rows, and names the faulty ones.
//!
//! Two steps, so that a person can look before anything is kept: [`understand`] reads the header and looks through the
//! dates; [`rows()`] then gives one row after another, which a page can show progress by. Whether a reading is believed
//! is [`super::plausible`]'s matter, and what was there before is the store's.

mod dates;
mod header;
mod records;
mod rows;

use std::borrow::Cow;

use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::rooms::written::{HumidityUnit, TemperatureUnit};
pub use rows::{Rows, rows};

/// The longest file taken, bytes: three years of minutes.
pub const MAX_FILE_BYTES: usize = 64 * 1024 * 1024;

/// The most faulty rows [`read_all`] keeps; the others are counted.
pub const MAX_FAULTY_KEPT: usize = 1_000;

/// Which of day and month comes first in dates like 03/04/2025.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayOrder {
    /// 3 April.
    DayFirst,
    /// March 4.
    MonthFirst,
}

/// What the person or the studio's settings say beside the file.
#[derive(Debug, Clone)]
pub struct Hints {
    /// The studio's zone: the logger's wall clock is taken to show it, unless the file says otherwise.
    pub zone: TimeZone,
    /// The answer to [`Question::DayOrder`].
    pub day_order: Option<DayOrder>,
    /// The answer to [`Question::TemperatureUnit`].
    pub temperature_unit: Option<TemperatureUnit>,
}

/// How the dates of a file are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dates {
    /// 2025-04-03, 2025/04/03, 2025.04.03.
    YearFirst,
    /// Day and month first, in this order, and the year last, with two or four digits.
    YearLast(DayOrder),
    /// Seconds or milliseconds since 1970.
    Since1970,
}

/// Why the order of day and month is believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderFrom {
    /// It cannot be mistaken: the year comes first, or dots stand between.
    Form,
    /// The dates themselves: a number above 12, or rows that follow each other in one order only.
    Data,
    /// The person said so.
    Asked,
}

/// Which columns hold the instant, counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimeColumns {
    /// One column with date and time of day.
    One(usize),
    /// Date and time of day apart.
    Two {
        /// The column of the date.
        date: usize,
        /// The column of the time of day.
        time: usize,
    },
}

/// What was understood of a file, for the person to confirm.
#[derive(Debug, Clone)]
pub struct Understood {
    /// What stands between columns.
    pub separator: char,
    /// The line of the header, from 1.
    pub header_line: u64,
    /// The names of all columns, as written.
    pub names: Vec<String>,
    /// Which columns hold the instant.
    pub time: TimeColumns,
    /// Which column holds the temperature, from 0.
    pub temperature: usize,
    /// Which column holds the humidity, from 0.
    pub humidity: usize,
    /// In what temperatures are read where a cell says nothing else.
    pub temperature_unit: TemperatureUnit,
    /// Whether header or cells name the unit, or the person did; otherwise °C is assumed.
    pub temperature_unit_said: bool,
    /// Per cent, or a fraction where every value lies in 0…1.
    pub humidity_unit: HumidityUnit,
    /// How dates are written.
    pub dates: Dates,
    /// Why the order of day and month is believed.
    pub order_from: OrderFrom,
    /// The zone that wall times are read in.
    pub zone: TimeZone,
    /// Whether the header names that zone (UTC or an offset); otherwise it is the studio's.
    pub zone_from_file: bool,
    /// Rows below the header, good or not.
    pub rows: u64,
    /// Where in the text the rows begin, bytes; and how many line ends come before.
    body: (usize, u64),
}

/// What the file leaves open. The page asks, and calls again with the answer in [`Hints`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Question {
    /// Day or month first? Holds a date of the file that could be both.
    DayOrder(String),
    /// °C or °F? Holds a value of the file that is no room's temperature in °C.
    TemperatureUnit(String),
}

/// Why a file cannot be read, or not yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stop {
    /// Nothing in it.
    Empty,
    /// Longer than [`MAX_FILE_BYTES`].
    TooLong,
    /// No line names time, temperature and humidity.
    NoHeader,
    /// A header, but this column is missing from it.
    NoColumn(&'static str),
    /// There are dates, but no time of day.
    NoTimeOfDay,
    /// Whoever asked did not want to wait longer.
    GivenUp,
    /// A question for the person.
    Ask(Question),
}

impl std::fmt::Display for Stop {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Stop::Empty => f.write_str("The file is empty. Nothing was added."),
            Stop::TooLong => write!(
                f,
                "The file is longer than {} MB. Nothing was added. Export a shorter span from the logger.",
                MAX_FILE_BYTES / (1024 * 1024)
            ),
            Stop::NoHeader => f.write_str(
                "No line names the columns. Nothing was added. The first lines need one with words for time, \
                 temperature and humidity, such as \"time,temperature,humidity\".",
            ),
            Stop::NoColumn(which) => write!(
                f,
                "No column is named for the {which}. Nothing was added. Name it in the header, or export it from the logger."
            ),
            Stop::NoTimeOfDay => {
                f.write_str("There are dates, but no time of day. Nothing was added. Export single readings, not days.")
            }
            Stop::GivenUp => {
                f.write_str("Reading the file took too long. Nothing was added. Export a shorter span from the logger.")
            }
            Stop::Ask(Question::DayOrder(example)) => {
                write!(f, "In \"{example}\", does the day come first, or the month?")
            }
            Stop::Ask(Question::TemperatureUnit(example)) => {
                write!(f, "Is a temperature of \"{example}\" in °C or in °F?")
            }
        }
    }
}

impl std::error::Error for Stop {}

/// A row that could be read, in °C and %RH, not yet judged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoodRow {
    /// The line of the file, from 1.
    pub line: u64,
    /// The instant, µs since 1970, UTC.
    pub at_us: i64,
    /// °C.
    pub temperature: f64,
    /// %RH.
    pub humidity: f64,
    /// The wall time came twice that night (clocks going back); the first pass was taken.
    pub repeated_hour: bool,
}

/// A row that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultyRow {
    /// The line of the file, from 1.
    pub line: u64,
    /// The row as written, at most 200 characters.
    pub text: String,
    /// One sentence why.
    pub reason: String,
}

/// One row below the header.
#[derive(Debug, Clone, PartialEq)]
pub enum Row {
    /// Could be read.
    Good(GoodRow),
    /// Could not.
    Faulty(FaultyRow),
}

/// A whole file.
#[derive(Debug, Clone)]
pub struct LoggerFile {
    /// What was understood.
    pub understood: Understood,
    /// The rows that could be read, in the file's order.
    pub rows: Vec<GoodRow>,
    /// The first [`MAX_FAULTY_KEPT`] rows that could not.
    pub faulty: Vec<FaultyRow>,
    /// How many could not.
    pub faulty_count: u64,
    /// How many good rows fall into the hour that came twice, read as its first pass.
    pub repeated_hour: u64,
}

/// The text of a file: UTF-8 with or without its mark, UTF-16 with its mark, or else Latin-1.
///
/// # Errors
/// [`Stop::Empty`] and [`Stop::TooLong`].
pub fn text(bytes: &[u8]) -> Result<Cow<'_, str>, Stop> {
    if bytes.len() > MAX_FILE_BYTES {
        return Err(Stop::TooLong);
    }
    let utf16 = |rest: &[u8], join: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = rest.chunks_exact(2).map(|pair| join([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => Cow::Owned(utf16(rest, u16::from_le_bytes)),
        [0xfe, 0xff, rest @ ..] => Cow::Owned(utf16(rest, u16::from_be_bytes)),
        [0xef, 0xbb, 0xbf, rest @ ..] => String::from_utf8_lossy(rest),
        plain => match std::str::from_utf8(plain) {
            Ok(text) => Cow::Borrowed(text),
            Err(_) => Cow::Owned(plain.iter().map(|&byte| char::from(byte)).collect()),
        },
    };
    if text.trim().is_empty() { Err(Stop::Empty) } else { Ok(text) }
}

/// Reads the header and looks through the rows for what only they can tell.
///
/// # Errors
/// [`Stop`] when the file cannot be read, or a person has to say something first.
pub fn understand(text: &str, hints: &Hints) -> Result<Understood, Stop> {
    header::understand(text, hints, &|| false)
}

/// Reads a whole file at once, however long it takes. See [`read_all_unless`].
///
/// ```
/// use jiff::tz::TimeZone;
/// use stillroom::rooms::logger_file::{Hints, read_all};
///
/// let hints = Hints { zone: TimeZone::UTC, day_order: None, temperature_unit: None };
/// let file = read_all(b"Datum;Uhrzeit;Temperatur;Luftfeuchte\n3.4.2025;14:05;21,4;38\n", &hints)?;
/// assert_eq!(file.rows[0].temperature, 21.4);
/// # Ok::<(), stillroom::rooms::logger_file::Stop>(())
/// ```
///
/// # Errors
/// [`Stop`] when the file cannot be read, or a person has to say something first.
pub fn read_all(bytes: &[u8], hints: &Hints) -> Result<LoggerFile, Stop> {
    read_all_unless(bytes, hints, &|| false)
}

/// Reads a whole file at once, unless `give_up`, asked at every row, says that nobody waits for it any more. The work
/// grows with the file's length and no faster, whatever is in it.
///
/// # Errors
/// [`Stop`] when the file cannot be read, a person has to say something first, or `give_up` said so.
pub fn read_all_unless(bytes: &[u8], hints: &Hints, give_up: &dyn Fn() -> bool) -> Result<LoggerFile, Stop> {
    let text = text(bytes)?;
    let understood = header::understand(&text, hints, give_up)?;
    let mut file = LoggerFile { understood, rows: Vec::new(), faulty: Vec::new(), faulty_count: 0, repeated_hour: 0 };
    for row in rows(&text, &file.understood) {
        if give_up() {
            return Err(Stop::GivenUp);
        }
        match row {
            Row::Good(row) => {
                file.repeated_hour += u64::from(row.repeated_hour);
                file.rows.push(row);
            }
            Row::Faulty(row) => {
                file.faulty_count += 1;
                if file.faulty.len() < MAX_FAULTY_KEPT {
                    file.faulty.push(row);
                }
            }
        }
    }
    Ok(file)
}

impl LoggerFile {
    /// What the person should know of the rows, in sentences for the preview.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.repeated_hour > 0 {
            notes.push(format!(
                "{} in the hour that came twice when the clocks went back: read as its first pass, so that the second pass \
                 adds nothing.",
                counted(self.repeated_hour)
            ));
        }
        let more = self.faulty_count - self.faulty.len() as u64;
        if more > 0 {
            notes.push(format!("{} more that could not be read, not listed.", counted(more)));
        }
        notes
    }
}

fn counted(rows: u64) -> String {
    if rows == 1 { "1 row".to_owned() } else { format!("{rows} rows") }
}

impl Understood {
    /// What was understood, in sentences for the preview.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let name = |column: usize| format!("\"{}\"", self.names.get(column).map_or("", String::as_str));
        let time = match self.time {
            TimeColumns::One(column) => name(column),
            TimeColumns::Two { date, time } => format!("{} and {}", name(date), name(time)),
        };
        let separator = match self.separator {
            '\t' => "tabs".to_owned(),
            other => format!("\"{other}\""),
        };
        let unit = if self.temperature_unit_said { "" } else { ", as nothing else is said" };
        let fraction = match self.humidity_unit {
            HumidityUnit::Percent => "",
            HumidityUnit::Fraction => ", written as a fraction of 1",
        };
        vec![
            format!("Columns stand apart by {separator}; line {} names them.", self.header_line),
            format!("Time from {time}, {}.", self.dates_sentence()),
            format!("Temperature from {}, in {}{unit}.", name(self.temperature), self.temperature_unit.symbol()),
            format!("Humidity from {}{fraction}.", name(self.humidity)),
        ]
    }

    fn dates_sentence(&self) -> String {
        let form = match (self.dates, self.order_from) {
            (Dates::Since1970, _) => return "as seconds or milliseconds since 1970".to_owned(),
            (Dates::YearFirst, _) => "year first",
            (Dates::YearLast(DayOrder::DayFirst), OrderFrom::Data) => "day before month, as the dates show",
            (Dates::YearLast(DayOrder::MonthFirst), OrderFrom::Data) => "month before day, as the dates show",
            (Dates::YearLast(DayOrder::DayFirst), _) => "day before month",
            (Dates::YearLast(DayOrder::MonthFirst), _) => "month before day",
        };
        let zone = self.zone.iana_name().unwrap_or("the offset named there");
        if self.zone_from_file {
            format!("{form}, in the zone its column names")
        } else {
            format!("{form}, in the studio’s time ({zone})")
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::records::steps;
    use super::*;

    const LONG: usize = 200_000;

    fn hints() -> Hints {
        Hints { zone: TimeZone::UTC, day_order: None, temperature_unit: None }
    }

    /// Bytes read and columns looked at while reading a file.
    fn steps_for(file: &str) -> usize {
        steps::take();
        // A refusal is as good as a file here: what counts is the way to it.
        let _read = read_all(file.as_bytes(), &hints());
        steps::take()
    }

    /// Each part of the reading may look at each byte once: four separators with their first rows, the dates, the rows.
    #[track_caller]
    fn is_linear(file: &str) {
        let steps = steps_for(file);
        assert!(steps <= 24 * (file.len() + 1), "{steps} steps for {} bytes: {:.60}", file.len(), file);
    }

    #[test]
    fn quotation_marks_left_open_on_every_line_cost_no_more_than_their_lines() {
        let lines = "a\"b,\"c\n".repeat(8_000);
        let file = format!("time,temperature,humidity\n2025-04-03 14:05,21.4,38\n{lines}");
        is_linear(&file);
        let read = read_all(file.as_bytes(), &hints()).unwrap();
        assert_eq!((read.rows.len(), read.faulty_count), (1, 8_000));
        assert_eq!(read.faulty[0].reason, "A quotation mark is opened and not closed on this line.");
    }

    #[test]
    fn a_header_of_many_time_columns_does_not_lengthen_every_row() {
        is_linear(&format!("temperature,humidity{}\n{}", ",time".repeat(20_000), "1\n".repeat(50_000)));
    }

    #[test]
    fn reading_stops_when_nobody_waits_any_more() {
        let file = "time,temp,rh\n".to_owned() + &"2025-04-03 14:05,21.4,38\n".repeat(100);
        // While the dates are looked through, and while the rows are read.
        for patience in [0, 50, 100, 150] {
            let asked = std::cell::Cell::new(0);
            let give_up = || asked.replace(asked.get() + 1) >= patience;
            let stop = read_all_unless(file.as_bytes(), &hints(), &give_up).unwrap_err();
            assert_eq!((stop, asked.get()), (Stop::GivenUp, patience + 1));
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]

        #[test]
        fn whatever_is_in_a_file_it_is_read_in_time_linear_in_its_length(
            header in prop::sample::select(vec!["", "time,temp,rh\n", "time;temp;rh\n2025-04-03 14:05;21;38\n", "\"time\n,rh\"\n"]),
            pattern in "[\",\n\r;\tabt0129]{1,40}",
            noise in "[\",\n;abt0129]{0,2000}",
        ) {
            let mut file = header.to_owned();
            while file.len() + noise.len() < LONG {
                file.push_str(&pattern);
            }
            file.push_str(&noise);
            is_linear(&file);
        }
    }
}
