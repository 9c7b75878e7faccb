//! A bench test as a line of a table.

use super::bench::{BenchTest, Found};
use super::words;
use crate::base::time::Instant;
use crate::web::studio::Studio;

pub(super) struct TestRow {
    pub(super) when: String,
    pub(super) found: String,
    pub(super) with: String,
    pub(super) air: String,
    pub(super) piece: &'static str,
    pub(super) struck: bool,
    /// Where striking it out, or taking that back, is sent.
    pub(super) mark: String,
}

pub(super) fn test_row(studio: &Studio, path: &str, test: &BenchTest, now: Instant) -> TestRow {
    let doing = if test.struck { "take-back" } else { "strike" };
    let air = test.conditions.air;
    TestRow {
        when: studio.zone.date_and_clock(test.at, now),
        found: found_words(studio, test),
        with: with_words(studio, test),
        air: format!(
            "{}\u{a0}{}, {}\u{a0}%RH",
            studio.temperature(air.temperature),
            studio.temperature_unit(),
            studio.number(air.humidity.get(), 0)
        ),
        piece: test.piece.words(),
        struck: test.struck,
        mark: format!("{path}/tests/{}/{doing}", test.id),
    }
}

/// "set in 1.7 s", "held after 4.0 s", "popped after 4.0 s".
pub(super) fn found_words(studio: &Studio, test: &BenchTest) -> String {
    match test.found {
        Found::Set { seconds, nudge_every: None } => format!("set in {}", words::seconds(studio, seconds.get())),
        Found::Set { seconds, nudge_every: Some(every) } => format!(
            "set in {}, nudged every {}",
            words::seconds(studio, seconds.get()),
            words::seconds(studio, every.get())
        ),
        Found::Open { delay, held } => {
            let word = if held { "held" } else { "popped" };
            format!("{word} after {}", words::seconds(studio, delay.get()))
        }
    }
}

/// "medium bead, ball at the tip, no liquid, drop 5 min old".
fn with_words(studio: &Studio, test: &BenchTest) -> String {
    let mut parts = vec![format!("{} bead", test.conditions.bead.word())];
    parts.extend(test.pick_up.map(|pick_up| pick_up.words().to_owned()));
    parts.push(test.conditions.liquids.words());
    parts.extend(test.drop_minutes.map(|minutes| format!("drop {}\u{a0}min old", words::plain(studio, minutes))));
    parts.push(format!("open {}\u{a0}days", studio.number(test.conditions.days_open, 0)));
    parts.join(", ")
}
