//! What would make the answer surer: each source of doubt is held at its mean in turn, and the one without which the
//! disturbed share is known best is the next thing to do.

use super::judge::{AirDraws, Doubt, HandsTables, Judgement, Question, Stand, Subject};

/// The next thing to find out.
#[derive(Debug, Clone, PartialEq)]
pub struct NextStep {
    /// Which doubt it takes away; `None` when no single one narrows the answer.
    pub doubt: Option<Doubt>,
    /// Width of the disturbed share's 8-in-10 range now.
    pub width_now: f64,
    /// The same with that doubt gone altogether: the most the step could do.
    pub width_without: f64,
    /// What to do.
    pub words: String,
}

/// Finds it for the base of a judgement.
#[must_use]
pub fn surest_next_step(q: &Question<'_>, judged: &Judgement) -> NextStep {
    surest_by(q, judged, &HandsTables::of(q.hands))
}

/// As [`surest_next_step`], by tables of these hands already made.
pub(crate) fn surest_by(q: &Question<'_>, judged: &Judgement, tables: &HandsTables) -> NextStep {
    let held = HandsTables::held(q.hands);
    let now = judged.outcome(judged.base).disturbed;
    let width_now = now.high - now.low;
    let mut best: Option<(Doubt, f64)> = None;
    for doubt in Doubt::ALL {
        let width = width_without(q, judged.base, doubt, if doubt == Doubt::Hands { &held } else { tables });
        if width < best.map_or(width_now, |(_, w)| w) {
            best = Some((doubt, width));
        }
    }
    let doubt = best.map(|(doubt, _)| doubt);
    NextStep {
        doubt,
        width_now,
        width_without: best.map_or(width_now, |(_, w)| w),
        words: step_words(q, judged.base, doubt),
    }
}

fn width_without(q: &Question<'_>, subject: Subject, doubt: Doubt, tables: &HandsTables) -> f64 {
    let stand = Stand::of(q, tables, subject, q.work.bead, q.work.liquids, Some(doubt));
    let d = stand.outcome(q, &AirDraws::of(&q.room, Some(doubt))).disturbed;
    d.high - d.low
}

fn step_words(q: &Question<'_>, base: Subject, doubt: Option<Doubt>) -> String {
    let bottle = match base {
        Subject::Bottle(b) => q.bottles[b].name.as_str(),
        Subject::Class(_) => "a bottle of this class",
    };
    match doubt {
        Some(Doubt::Hands) if q.hands.placements == 0 => {
            "time 12 placements, the first three on practice lashes".to_owned()
        }
        Some(Doubt::Hands) => "time 12 more placements".to_owned(),
        Some(Doubt::Adhesive) => format!("bench-test {bottle} three times today"),
        Some(Doubt::HumidityExponent) => {
            format!("bench-test {bottle} three times on a day at least 10\u{a0}%RH drier or damper")
        }
        Some(Doubt::Instrument) => "check the hygrometer over salt".to_owned(),
        Some(Doubt::Openness) => {
            format!("test the open time of {bottle}: place after a growing wait and note held or popped")
        }
        None => "nothing single: the answer is about as sure as one sitting can make it".to_owned(),
    }
}
