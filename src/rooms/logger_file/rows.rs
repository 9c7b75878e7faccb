//! The rows below the header, one after another.

use jiff::civil::{Date, Time};
use jiff::tz::Offset;

use super::dates::{self, Cell, DateParts};
use super::records::Records;
use super::{FaultyRow, GoodRow, Row, TimeColumns, Understood};
use crate::rooms::written::{self, Suffix};

/// The longest text of a faulty row that is kept, characters.
const FAULTY_TEXT: usize = 200;

/// Walks over the rows of a file. Made by [`rows`].
pub struct Rows<'t> {
    understood: &'t Understood,
    records: Records<'t>,
    length: usize,
}

/// The rows of a file that was understood. `text` is the text given to [`super::understand`].
#[must_use]
pub fn rows<'t>(text: &'t str, understood: &'t Understood) -> Rows<'t> {
    let (from, lines_before) = understood.body;
    let below = text.get(from..).unwrap_or_default();
    let separator = u8::try_from(understood.separator).unwrap_or(b',');
    Rows { understood, records: Records::new(below, separator, lines_before), length: below.len() }
}

impl Rows<'_> {
    /// How much has been read, 0…1.
    #[must_use]
    pub fn progress(&self) -> f64 {
        if self.length == 0 { 1.0 } else { self.records.position() as f64 / self.length as f64 }
    }
}

impl Iterator for Rows<'_> {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        let place = self.records.next()?;
        let read = if place.unclosed {
            Err("A quotation mark is opened and not closed on this line.".to_owned())
        } else {
            good(place.line, &self.records.cells, self.understood)
        };
        Some(match read {
            Ok(row) => Row::Good(row),
            Err(reason) => {
                let text = place.text.chars().take(FAULTY_TEXT).collect();
                Row::Faulty(FaultyRow { line: place.line, text, reason })
            }
        })
    }
}

fn good(line: u64, cells: &csv::StringRecord, understood: &Understood) -> Result<GoodRow, String> {
    let named = understood.names.len();
    if cells.iter().skip(named).any(|cell| !cell.trim().is_empty()) {
        let hint = match understood.separator {
            ',' => " Decimal commas need quotation marks, or another separator.",
            _ => "",
        };
        return Err(format!("It has {} columns, the header names {named}.{hint}", cells.len()));
    }
    let (at_us, repeated_hour) = instant(cells, understood)?;
    Ok(GoodRow {
        line,
        at_us,
        temperature: temperature(cells, understood)?,
        humidity: humidity(cells, understood)?,
        repeated_hour,
    })
}

fn cell<'c>(cells: &'c csv::StringRecord, column: usize, what: &str) -> Result<&'c str, String> {
    let cell = cells.get(column).unwrap_or_default().trim();
    if cell.is_empty() { Err(format!("The {what} is missing.")) } else { Ok(cell) }
}

fn instant(cells: &csv::StringRecord, understood: &Understood) -> Result<(i64, bool), String> {
    let (date, time, offset) = match understood.time {
        TimeColumns::One(column) => {
            let whole = cell(cells, column, "time")?;
            match dates::cell(whole) {
                Cell::Since1970(at_us) => return Ok((at_us, false)),
                Cell::Date(parts, rest) => with_time(day(parts, whole, understood)?, rest, whole)?,
                Cell::Time | Cell::Other => return Err(no_time(whole)),
            }
        }
        TimeColumns::Two { date, time } => {
            let (date, time) = (cell(cells, date, "date")?, cell(cells, time, "time of day")?);
            let Cell::Date(parts, _) = dates::cell(date) else { return Err(no_time(date)) };
            with_time(day(parts, date, understood)?, time, time)?
        }
    };
    dates::instant(date, time, offset, &understood.zone).map_err(|why| format!("{why}."))
}

fn day(parts: DateParts, written: &str, understood: &Understood) -> Result<Date, String> {
    let read = parts.date(understood.dates.or_day_first());
    read.ok_or_else(|| format!("\"{}\" is no day of the calendar.", written::excerpt(written)))
}

fn with_time(date: Date, time: &str, written: &str) -> Result<(Date, Time, Option<Offset>), String> {
    let read = dates::time_of_day(time);
    let (time, offset) = read.ok_or_else(|| format!("\"{}\" has no time of day.", written::excerpt(written)))?;
    Ok((date, time, offset))
}

fn no_time(written: &str) -> String {
    format!("\"{}\" is not a date with a time.", written::excerpt(written))
}

fn temperature(cells: &csv::StringRecord, understood: &Understood) -> Result<f64, String> {
    let written = cell(cells, understood.temperature, "temperature")?;
    match written::number(written) {
        Some(number) => match number.suffix {
            // What stands in the cell itself is the truth.
            Some(Suffix::Temperature(unit)) => Ok(unit.to_celsius(number.value)),
            Some(Suffix::Percent) => Err(format!("The temperature \"{}\" is in per cent.", written::excerpt(written))),
            None => Ok(understood.temperature_unit.to_celsius(number.value)),
        },
        None => Err(format!("The temperature \"{}\" is not a number.", written::excerpt(written))),
    }
}

fn humidity(cells: &csv::StringRecord, understood: &Understood) -> Result<f64, String> {
    let written = cell(cells, understood.humidity, "humidity")?;
    match written::number(written) {
        Some(number) => match number.suffix {
            Some(Suffix::Percent) => Ok(number.value),
            Some(Suffix::Temperature(unit)) => {
                Err(format!("The humidity \"{}\" is in {}.", written::excerpt(written), unit.symbol()))
            }
            None => Ok(understood.humidity_unit.to_percent(number.value)),
        },
        None => Err(format!("The humidity \"{}\" is not a number.", written::excerpt(written))),
    }
}
