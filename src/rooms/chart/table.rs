//! The same as the picture, as rows: hours of a day, or days.

use super::window::HOUR;
use super::{Air, Point, Span, Window};

/// Lowest, mean and highest of the readings in a row, in °C or %RH. The mean counts each reading once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// The lowest reading.
    pub low: f64,
    /// The mean of the readings.
    pub mean: f64,
    /// The highest reading.
    pub high: f64,
}

/// One row of the table behind a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct TableRow {
    /// "14:00", or "Thu 18 Feb". An hour that comes twice is "02:00, first" and "02:00, again".
    pub label: String,
    /// The first instant, µs since 1970.
    pub from_us: i64,
    /// The first instant after.
    pub to_us: i64,
    /// How many readings are believed.
    pub count: usize,
    /// What they were; `None` without any.
    pub summary: Option<Summary>,
    /// How many readings are set aside.
    pub set_aside: usize,
}

pub(super) fn rows(window: &Window, air: &Air<'_>) -> Vec<TableRow> {
    let rows = spans(window).into_iter().map(|(label, from_us, to_us)| {
        let inside = |points: &[Point]| -> Vec<f64> {
            points.iter().filter(|(at, _)| (from_us..to_us).contains(at)).map(|(_, value)| *value).collect()
        };
        let kept = inside(air.kept);
        let set_aside = inside(air.set_aside).len();
        TableRow { label, from_us, to_us, count: kept.len(), summary: summary(&kept), set_aside }
    });
    rows.collect()
}

fn summary(values: &[f64]) -> Option<Summary> {
    let low = values.iter().copied().reduce(f64::min)?;
    let high = values.iter().copied().reduce(f64::max)?;
    Some(Summary { low, mean: values.iter().sum::<f64>() / values.len() as f64, high })
}

fn spans(window: &Window) -> Vec<(String, i64, i64)> {
    match window.span {
        Span::Week | Span::Month => {
            window.days().map(|(date, from, to)| (date.strftime("%a %-d %b").to_string(), from, to)).collect()
        }
        Span::Day => hours(window),
    }
}

fn hours(window: &Window) -> Vec<(String, i64, i64)> {
    let mut hours: Vec<(String, i64, i64)> = Vec::new();
    let mut from = window.from_us();
    while from < window.to_us() {
        let to = (from + HOUR).min(window.to_us());
        let mut label = window.clock(from);
        if let Some(before) = hours.last_mut()
            && before.0 == label
        {
            before.0.push_str(", first");
            label.push_str(", again");
        }
        hours.push((label, from, to));
        from = to;
    }
    hours
}
