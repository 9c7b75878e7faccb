//! What becomes of a logger's rows once they are taken, told before anything is kept. Pure, and by the rules of the taking: row by
//! row in the file's order, each beside those believed before it.

use std::collections::{BTreeMap, HashMap};
use std::ops::Bound::{Excluded, Unbounded};

use super::logger_file::GoodRow;
use super::plausible::{self, Arrived, Reading, SetAside};
use crate::base::units::{Celsius, RelHumidity};

/// What the instrument gave earlier.
#[derive(Debug, Clone, Copy)]
pub(super) struct Earlier {
    /// The instant, µs since 1970, UTC.
    pub(super) at_us: i64,
    /// °C, if given.
    pub(super) temperature: Option<f64>,
    /// %RH, if given.
    pub(super) humidity: Option<f64>,
    /// True where it counts, false where it was set aside.
    pub(super) believed: bool,
}

/// What the rows become.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Foreseen {
    /// How many will count.
    pub(super) counting: usize,
    /// Those that will be kept apart, with the reason, in the file's order.
    pub(super) aside: Vec<(GoodRow, SetAside)>,
    /// How many have an instant at which the instrument gave a reading before.
    pub(super) here: usize,
}

/// Judges the rows of a file as if they were taken at `now_us`, beside what their instrument gave earlier from an hour before
/// the first of them to an hour after the last.
#[must_use]
pub(super) fn foresee(rows: &[GoodRow], earlier: &[Earlier], now_us: i64) -> Foreseen {
    let mut known: HashMap<i64, (Option<f64>, Option<f64>)> =
        earlier.iter().map(|one| (one.at_us, (one.temperature, one.humidity))).collect();
    let mut believed: BTreeMap<i64, Reading> = earlier.iter().filter_map(Earlier::reading).collect();
    let mut found = Foreseen::default();
    for row in rows {
        let (temperature, humidity) = known.get(&row.at_us).copied().unwrap_or_default();
        if temperature.is_some() && humidity.is_some() {
            found.here += 1;
            continue;
        }
        // Half a reading of the same instant is made whole by the row.
        let arrived = Arrived {
            at_us: row.at_us,
            temperature: temperature.unwrap_or(row.temperature),
            humidity: humidity.unwrap_or(row.humidity),
        };
        known.insert(row.at_us, (Some(arrived.temperature), Some(arrived.humidity)));
        match plausible::judge(&arrived, nearest(&believed, row.at_us), now_us) {
            Ok(reading) => {
                found.counting += 1;
                believed.insert(row.at_us, reading);
            }
            Err(why) => found.aside.push((*row, why)),
        }
    }
    found
}

impl Earlier {
    fn reading(&self) -> Option<(i64, Reading)> {
        let temperature = Celsius::new(self.temperature.filter(|_| self.believed)?).ok()?;
        let humidity = RelHumidity::new(self.humidity?).ok()?;
        Some((self.at_us, Reading { at_us: self.at_us, temperature, humidity }))
    }
}

/// The believed reading nearest in time; of two as near the one before.
fn nearest(believed: &BTreeMap<i64, Reading>, at_us: i64) -> Option<&Reading> {
    let before = believed.range(..at_us).next_back();
    let after = believed.range((Excluded(at_us), Unbounded)).next();
    before.into_iter().chain(after).map(|(_, reading)| reading).min_by_key(|reading| reading.at_us.abs_diff(at_us))
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: i64 = 60_000_000;
    const NOW: i64 = 1_760_000_000_000_000;

    fn row(minutes: i64, temperature: f64, humidity: f64) -> GoodRow {
        GoodRow { line: 2, at_us: NOW + minutes * MINUTE, temperature, humidity, repeated_hour: false }
    }

    fn earlier(minutes: i64, temperature: Option<f64>, humidity: Option<f64>, believed: bool) -> Earlier {
        Earlier { at_us: NOW + minutes * MINUTE, temperature, humidity, believed }
    }

    /// How many count, the words of those set aside, and how many are here.
    #[track_caller]
    fn check(rows: &[GoodRow], there: &[Earlier], expected: (usize, &[&str], usize)) {
        let found = foresee(rows, there, NOW);
        let aside: Vec<&str> = found.aside.iter().map(|(_, why)| why.key()).collect();
        assert_eq!((found.counting, aside.as_slice(), found.here), expected, "{rows:?} beside {there:?}");
    }

    #[test]
    fn rows_that_no_room_can_have_are_told_apart_from_those_that_count() {
        let rows = [row(-30, 21.0, 40.0), row(-20, 21.0, 140.0), row(-10, 85.0, 40.0), row(5, 21.0, 40.0)];
        check(&rows, &[], (1, &["off_humidity_scale", "off_temperature_scale", "future"], 0));
    }

    #[test]
    fn a_row_is_judged_beside_the_believed_ones_of_the_file_and_of_the_house() {
        // What was set aside is no neighbour: the third is as near to the first as a room can be.
        let rows = [row(-30, 21.0, 40.0), row(-20, 39.0, 40.0), row(-10, 22.0, 41.0)];
        check(&rows, &[], (2, &["temperature_jump"], 0));
        check(&rows[1..2], &[], (1, &[], 0));
        check(&rows[1..2], &[earlier(-15, Some(21.0), Some(40.0), true)], (0, &["temperature_jump"], 0));
        check(&rows[1..2], &[earlier(-15, Some(21.0), Some(40.0), false)], (1, &[], 0));
    }

    #[test]
    fn an_instant_counts_once_and_half_a_reading_is_made_whole() {
        let rows = [row(-30, 21.0, 40.0), row(-30, 21.5, 41.0)];
        check(&rows, &[], (1, &[], 1));
        check(&rows, &[earlier(-30, Some(21.0), Some(140.0), false)], (0, &[], 2));
        check(&rows, &[earlier(-30, None, Some(41.0), false)], (1, &[], 1));
        check(&rows, &[earlier(-30, None, Some(140.0), false)], (0, &["off_humidity_scale"], 1));
    }
}
