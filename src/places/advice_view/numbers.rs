//! The figures of the answer: the chosen bottle's numbers, each class as a row, and the hands against the bottle as a picture.

use super::Around;
use crate::adhesives::set_time::Times;
use crate::advice::board::{mark, word};
use crate::advice::for_work::ForWork;
use crate::advice::judge::{Question, Spread, Subject};
use crate::advice::words::{self, Basis};
use crate::artists::chart::{self, Chart, Wording, dots_of, hands_against};
use crate::places::advice_asked::Asked;

/// A number with what it is compared with, and perhaps its rule.
pub(in crate::places) struct Number {
    pub(in crate::places) label: String,
    pub(in crate::places) value: String,
    pub(in crate::places) unit: &'static str,
    pub(in crate::places) against: String,
    pub(in crate::places) rule: String,
}

/// A class in the table.
pub(in crate::places) struct ClassRow {
    pub(in crate::places) name: String,
    pub(in crate::places) state: (&'static str, String),
    pub(in crate::places) here: String,
    pub(in crate::places) disturbed: String,
    pub(in crate::places) holding: String,
}

pub(super) fn numbers(q: &Question<'_>, work: &ForWork, rule: String) -> Vec<Number> {
    let outcome = work.judged.outcome(work.judged.base);
    let basis = if work.poor.is_some() { Basis::Assumed } else { Basis::Measured };
    let placements = f64::from(q.work.placements_per_set);
    let (set_label, set) = match work.judged.base {
        Subject::Bottle(b) => (
            format!("Set time, {}, {} bead", q.bottles[b].name, q.work.bead.word()),
            Some(work.judged.bottles[b].set_time),
        ),
        Subject::Class(_) => (String::new(), None),
    };
    let mut numbers = Vec::new();
    if let Some(Times { median, low, high }) = set {
        let times = Times { median, low, high };
        numbers.push(Number {
            label: set_label,
            value: words::bare_seconds(median),
            unit: "s",
            against: format!("likely {}; {}", words::seconds_range(low, high), words::sureness_of_times(&times, basis)),
            rule,
        });
    }
    let share = |label: &str, of: &Spread, against: String| Number {
        label: label.to_owned(),
        value: words::in_hundred(of.mean),
        unit: "in 100",
        against,
        rule: String::new(),
    };
    let d = outcome.disturbed;
    numbers.push(share(
        "Disturbed",
        &d,
        format!(
            "likely {}; the studio accepts up to {}",
            words::share_range(d.low, d.high),
            words::share(q.limits.disturbed_share)
        ),
    ));
    let minutes = |seconds: f64| clock(seconds * placements);
    numbers.push(Number {
        label: "Extra holding".to_owned(),
        value: clock(outcome.extra_hold_min_per_set * 60.0),
        unit: "min a set",
        against: format!(
            "likely {}–{}; up to {} accepted",
            minutes(outcome.extra_hold_s.low),
            minutes(outcome.extra_hold_s.high),
            clock(q.limits.extra_hold_min_per_set * 60.0)
        ),
        rule: String::new(),
    });
    let c = outcome.cured_in_air;
    let wait = match work.judged.base {
        Subject::Bottle(b) => {
            format!("; its bead stays open {}", words::seconds(work.judged.bottles[b].open_time.median))
        }
        Subject::Class(_) => String::new(),
    };
    numbers.push(share("Cured in the air", &c, format!("likely {}{wait}", words::share_range(c.low, c.high))));
    numbers
}

pub(super) fn classes(work: &ForWork) -> Vec<ClassRow> {
    let judged = &work.judged;
    judged
        .classes
        .iter()
        .enumerate()
        .map(|(c, class)| {
            let (word, wrong) = word(class.verdict);
            let mut state = if wrong.is_empty() { word.to_owned() } else { format!("{word}, {wrong}") };
            if judged.recommended == Some(c) {
                state.push_str("; recommended");
            } else if judged.least_bad == Some(c) {
                state.push_str("; comes nearest");
            }
            ClassRow {
                name: words::class(class.class),
                state: (mark(class.verdict), state),
                here: words::seconds_range(class.here.0, class.here.1),
                disturbed: words::share(class.outcome.disturbed.mean),
                holding: clock(class.outcome.extra_hold_min_per_set * 60.0),
            }
        })
        .collect()
}

/// When the hands are done against when the bond sets; `None` for hands nobody has timed, or without a bottle.
pub(super) fn against(q: &Question<'_>, work: &ForWork, asked: &Asked, around: &Around<'_>) -> Option<Chart> {
    let Subject::Bottle(b) = work.judged.base else { return None };
    if q.hands.placements == 0 {
        return None;
    }
    let bottle = &q.bottles[b];
    let fit = q.hands.hands_time_at(bottle.openness.median().ln());
    let hands = dots_of(|p| fit.new_placement(p).exp());
    let times = work.judged.bottles[b].set_time;
    let bond = chart::dots_between(times.low, times.median, times.high);
    let whose = format!("{}, {}", asked.artist.name, asked.style.words());
    let wording = Wording { id: "hands-against", whose: &whose, decimal: around.studio.decimal };
    Some(hands_against(&hands, Some(chart::Times { name: &bottle.name, seconds: &bond }), &wording))
}

/// Minutes and seconds as on a rule: "2:50".
pub(super) fn clock(seconds: f64) -> String {
    let whole = seconds.round().max(0.0);
    format!("{:.0}:{:02.0}", (whole / 60.0).floor(), whole % 60.0)
}
