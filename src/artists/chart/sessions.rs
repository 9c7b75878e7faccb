//! Placements session by session: each a tick on the rule of seconds, struck ones as crosses below, the median as a
//! circle with what half and what eight in ten placements take. All sessions together stand first.

use super::{Chart, Ink, Wording, axis, tick_words};
use crate::artists::hands::{KeptSitting, SittingSpread};
use crate::artists::words::bare;
use crate::base::chart::{Px, Scale};
use crate::base::stats::sample::quantile_of;
use crate::base::units::Seconds;

/// What lies on a row's rule besides its ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Half are quicker.
    pub median: Seconds,
    /// One in four is quicker, three in four are.
    pub half: (Seconds, Seconds),
    /// One in ten is quicker, nine in ten are.
    pub likely: (Seconds, Seconds),
}

/// All sessions together, also those no longer drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pooled {
    /// Placements that count.
    pub placements: u32,
    /// How they spread.
    pub spread: Spread,
    /// Nineteen in twenty are quicker.
    pub p95: Seconds,
}

/// A session on the picture.
#[derive(Debug, Clone, Default)]
pub struct Row {
    /// The day: "Thu 18 Feb".
    pub label: String,
    /// What is kept of it.
    pub sitting: KeptSitting,
}

const LEFT: f64 = 96.0;
const RIGHT: f64 = 354.0;
const TOP: f64 = 6.0;
const ROW: f64 = 28.0;
/// At most so many sessions are drawn; older ones stand in the list.
const MOST_ROWS: usize = 8;

/// Draws them: `pooled` over all sessions (`None` while nothing counts), `rows` newest first. `what` names the span in a
/// sentence: "settle".
#[must_use]
pub fn sessions(what: &str, pooled: Option<Pooled>, rows: &[Row], wording: &Wording<'_>) -> Chart {
    let drawn = &rows[..rows.len().min(MOST_ROWS)];
    let finding = finding(what, drawn, wording);
    let lines = drawn.len() + usize::from(pooled.is_some());
    let foot = TOP + lines as f64 * ROW + 4.0;
    let mut ink = Ink::begin(wording, foot + 38.0, &format!("{}: {what} by session", wording.whose), &finding);
    let (x, ticks) = axis(longest(pooled, drawn), (LEFT, RIGHT));
    for tick in &ticks {
        ink.path("grid", &format!("M{} {}V{}", Px(x.at(*tick)), Px(TOP), Px(foot)));
        ink.text("q", (x.at(*tick), foot + 16.0), "middle", &tick_words(&ticks, *tick, wording.decimal));
    }
    ink.path("ax", &format!("M{} {}H{}", Px(LEFT), Px(foot), Px(RIGHT)));
    ink.text("q", (RIGHT, foot + 33.0), "end", &format!("{what}, seconds"));
    let mut y = TOP + ROW / 2.0;
    if let Some(pooled) = pooled {
        ink.text("", (0.0, y + 4.0), "start", "all together");
        spread(&mut ink, &x, y, &pooled.spread);
        y += ROW;
    }
    for row in drawn {
        ink.text("q", (0.0, y + 4.0), "start", &row.label);
        session(&mut ink, &x, y, row);
        y += ROW;
    }
    let head = ["Session", "Placements", "Half", "9 in 10", "19 in 20"].map(str::to_owned).into();
    Chart { svg: ink.end(), caption: caption(what), finding, head, rows: table(pooled, rows, wording) }
}

fn caption(what: &str) -> String {
    format!(
        "Each mark is the {what} of one placement; a cross below is one struck out. Circle: half are quicker. Thick line: half of all; thin line: 8 in 10."
    )
}

fn finding(what: &str, rows: &[Row], wording: &Wording<'_>) -> String {
    let medians: Vec<Seconds> = rows.iter().filter_map(|row| row.sitting.median()).collect();
    let (low, high) = (medians.iter().copied().reduce(least), medians.iter().copied().reduce(most));
    match (low, high) {
        (Some(low), Some(high)) if medians.len() > 1 => format!(
            "Over {} sessions the middle {what} lay between {} and {}\u{a0}s.",
            medians.len(),
            bare(low, wording.decimal),
            bare(high, wording.decimal)
        ),
        (Some(only), _) => format!("The middle {what} of the session is {}\u{a0}s.", bare(only, wording.decimal)),
        _ => "No placement counts yet.".to_owned(),
    }
}

fn least(a: Seconds, b: Seconds) -> Seconds {
    if a < b { a } else { b }
}

fn most(a: Seconds, b: Seconds) -> Seconds {
    if a > b { a } else { b }
}

fn longest(pooled: Option<Pooled>, rows: &[Row]) -> f64 {
    let mut values: Vec<f64> = rows.iter().flat_map(|row| &row.sitting.marks).map(|s| s.get()).collect();
    let of_rows = if values.is_empty() { 0.0 } else { quantile_of(&mut values, 0.99) };
    of_rows.max(pooled.map_or(0.0, |pooled| pooled.spread.likely.1.get()))
}

fn session(ink: &mut Ink, x: &Scale, y: f64, row: &Row) {
    let ticks: String =
        row.sitting.marks.iter().map(|s| format!("M{} {}v10", Px(x.at_or_edge(s.get())), Px(y - 5.0))).collect();
    ink.path("placed", &ticks);
    let crosses: String = row
        .sitting
        .struck_marks
        .iter()
        .map(|s| format!("M{} {}l5 5m0-5l-5 5", Px(x.at_or_edge(s.get()) - 2.5), Px(y + 7.0)))
        .collect();
    ink.path("struck", &crosses);
    if let Some(settle) = row.sitting.settle.filter(|_| row.sitting.counted >= 5) {
        spread(ink, x, y, &settle.into());
    }
}

fn spread(ink: &mut Ink, x: &Scale, y: f64, of: &Spread) {
    let line = |(low, high): (Seconds, Seconds)| {
        format!("M{} {}H{}", Px(x.at_or_edge(low.get())), Px(y), Px(x.at_or_edge(high.get())))
    };
    ink.path("thin", &line(of.likely));
    ink.path("thick", &line(of.half));
    ink.add(format_args!(
        "<circle class=\"best\" cx=\"{}\" cy=\"{}\" r=\"4.5\"/>",
        Px(x.at_or_edge(of.median.get())),
        Px(y)
    ));
}

impl From<SittingSpread> for Spread {
    fn from(of: SittingSpread) -> Self {
        Self { median: of.median, half: of.half, likely: of.likely }
    }
}

/// An outer figure is given only where at least two placements lie beyond it.
fn table(pooled: Option<Pooled>, rows: &[Row], wording: &Wording<'_>) -> Vec<Vec<String>> {
    let figure = |of: &KeptSitting, time: fn(&SittingSpread) -> Seconds, from: u32| match &of.settle {
        Some(settle) if of.counted >= from => bare(time(settle), wording.decimal),
        _ => "–".to_owned(),
    };
    let mut table = Vec::with_capacity(rows.len() + 1);
    if let Some(pooled) = pooled {
        let [half, nine, outer] =
            [pooled.spread.median, pooled.spread.likely.1, pooled.p95].map(|time| bare(time, wording.decimal));
        table.push(vec!["All together".to_owned(), pooled.placements.to_string(), half, nine, outer]);
    }
    for row in rows {
        table.push(vec![
            row.label.clone(),
            row.sitting.counted.to_string(),
            figure(&row.sitting, |settle| settle.median, 1),
            figure(&row.sitting, |settle| settle.likely.1, 20),
            figure(&row.sitting, |settle| settle.p95, 40),
        ]);
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::number::DecimalMark;

    const WORDING: Wording<'static> =
        Wording { id: "sessions", whose: "Ines Okafor, classic", decimal: DecimalMark::Point };

    fn row(label: &str, placements: usize, from: f64) -> Row {
        let counted: Vec<Seconds> =
            (0..placements).map(|i| Seconds::new(from + 0.05 * (i % 20) as f64).unwrap()).collect();
        Row { label: label.to_owned(), sitting: KeptSitting::of(&counted, &[Seconds::new(3.0).unwrap()]) }
    }

    #[test]
    fn each_placement_is_a_tick_and_each_struck_one_a_cross() {
        let chart = sessions("settle", None, &[row("Tue 3 Nov", 20, 0.8), row("Mon 2 Nov", 4, 1.0)], &WORDING);
        assert_eq!(chart.svg.matches("v10").count(), 24);
        assert_eq!(chart.svg.matches("m0-5l-5 5").count(), 2);
        assert_eq!(chart.svg.matches("class=\"best\"").count(), 1, "four placements have no spread");
        assert_eq!(chart.finding, "Over 2 sessions the middle settle lay between 1.1 and 1.3\u{a0}s.");
        assert_eq!(chart.rows[0], ["Tue 3 Nov", "20", "1.3", "1.7", "–"]);
        assert_eq!(chart.rows[1], ["Mon 2 Nov", "4", "1.1", "–", "–"]);
    }

    #[test]
    fn many_sessions_stay_a_small_picture_and_all_stand_in_the_table() {
        let rows: Vec<Row> = (0..20).map(|i| row(&format!("day {i}"), 300, 0.5)).collect();
        let seconds = |value: f64| Seconds::new(value).unwrap();
        let spread =
            Spread { median: seconds(1.0), half: (seconds(0.8), seconds(1.2)), likely: (seconds(0.6), seconds(1.5)) };
        let pooled = Pooled { placements: 7000, spread, p95: seconds(1.7) };
        let chart = sessions("settle", Some(pooled), &rows, &WORDING);
        assert!(chart.svg.len() < 12_000, "{}", chart.svg.len());
        assert_eq!(chart.rows.len(), 21);
        assert_eq!(chart.rows[0], ["All together", "7000", "1.0", "1.5", "1.7"]);
    }

    #[test]
    fn nothing_counted_is_said() {
        let struck = Row { label: "Tue".to_owned(), sitting: KeptSitting::of(&[], &[Seconds::new(1.0).unwrap()]) };
        assert_eq!(sessions("settle", None, &[struck], &WORDING).finding, "No placement counts yet.");
    }
}
