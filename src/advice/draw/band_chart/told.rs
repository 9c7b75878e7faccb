//! What goes with the picture: its finding, how to read it, and the same as a table.

use super::{HUMIDITY, Map, TableRow};
use crate::advice::band::BandRow;
use crate::advice::judge::Verdict;
use crate::base::units::RelHumidity;

/// Temperatures of the table, °C.
const TABLE: [f64; 4] = [18.0, 20.0, 22.0, 24.0];

pub(super) fn finding(map: &Map<'_>, rows: &[BandRow]) -> String {
    let Some(reading) = map.reading else {
        return "The room's air has not been read, so it is not on the map.".replace('\'', "’");
    };
    let (t, h) = (reading.spot.temperature.get(), reading.spot.humidity.get());
    let row = rows.iter().min_by(|a, b| (a.temperature.get() - t).abs().total_cmp(&(b.temperature.get() - t).abs()));
    let shown = map.mark.show(h, 0);
    let Some((low, high)) = row.and_then(|row| row.likely) else {
        return format!(
            "At this temperature no humidity from 20 to 80\u{a0}%RH likely suits {}; the room is at {shown}\u{a0}%RH.",
            map.bottle
        );
    };
    let stands = if h < low.get() {
        "drier than the band"
    } else if h > high.get() {
        "damper than the band"
    } else if matches!(map.band.reading, Verdict::NearTooQuick | Verdict::NearTooSlow | Verdict::Fits) {
        "inside it"
    } else {
        "inside it, but see the verdict"
    };
    format!(
        "At this temperature the band of {} runs from {} to {}\u{a0}%RH. The room is at {shown}\u{a0}%RH: {stands}.",
        map.bottle,
        map.mark.show(low.get(), 0),
        map.mark.show(high.get(), 0)
    )
}

pub(super) fn caption(map: &Map<'_>) -> String {
    let mut said = "Tinted between two lines: likely suits. Hatched: may suit.".to_owned();
    if map.reading.is_some() {
        said.push_str(" The cross is the reading, the box around it where it may be, 8 times in 10.");
    }
    if !map.trail.is_empty() {
        said.push_str(" Dots: the day so far.");
    }
    if map.aim.is_some() {
        said.push_str(" The disc is the aim.");
    }
    if !map.guards.is_empty() {
        said.push_str(" Dashed: not to be passed in this room.");
    }
    said
}

pub(super) fn table(map: &Map<'_>, rows: &[BandRow]) -> Vec<TableRow> {
    let range = |ends: Option<(RelHumidity, RelHumidity)>| match ends {
        // An end at the map's edge is not an end: the map stops there.
        Some((low, high)) => {
            let (low, high) = (low.get(), high.get());
            match (low <= HUMIDITY.0 + 1e-9, high >= HUMIDITY.1 - 1e-9) {
                (true, true) => "20 and below to 80 and above".to_owned(),
                (true, false) => format!("up to {}", map.mark.show(high, 0)),
                (false, true) => format!("{} and above", map.mark.show(low, 0)),
                (false, false) => format!("{}–{}", map.mark.show(low, 0), map.mark.show(high, 0)),
            }
        }
        None => "none".to_owned(),
    };
    let guard = |t: f64| {
        let points = map.guards.first()?.points;
        let near =
            points.iter().min_by(|a, b| (a.temperature.get() - t).abs().total_cmp(&(b.temperature.get() - t).abs()))?;
        ((near.temperature.get() - t).abs() < 0.6).then(|| map.mark.show(near.humidity.get(), 0))
    };
    TABLE
        .into_iter()
        .filter_map(|t| {
            let row = rows.iter().find(|row| (row.temperature.get() - t).abs() < 0.5)?;
            let temperature = if map.fahrenheit {
                format!("{}\u{a0}°F", map.mark.show(t * 1.8 + 32.0, 0))
            } else {
                format!("{}\u{a0}°C", map.mark.show(t, 0))
            };
            Some(TableRow {
                temperature,
                likely: range(row.likely),
                may: range(row.may),
                guard: guard(t).unwrap_or_else(|| "–".to_owned()),
            })
        })
        .collect()
}
