//! The answer in the machine form.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::adhesives::set_time::Times;
use crate::advice::judge::{BottleJudged, ClassJudged, Judgement, Outcome, Question, ShelfBottle, Spread, Verdict};
use crate::advice::options::{Offer, Options, Takes};
use crate::advice::reasons;
use crate::advice::surest::NextStep;

/// The answer to a question.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Answer {
    /// Window of the recommended class, seconds; null when no class is within the limit for disturbed bonds.
    pub recommended_s: Option<[f64; 2]>,
    /// Without a recommendation: window of the class nearest to the limits.
    pub least_bad_s: Option<[f64; 2]>,
    /// How sure the recommendation is, 0 to 1.
    pub sure: Option<f64>,
    /// Every class, in the order asked.
    pub classes: Vec<ClassAnswer>,
    /// Every bottle, in the order asked.
    pub bottles: Vec<BottleAnswer>,
    /// Changes that would be better, soonest first.
    pub options: Vec<OptionAnswer>,
    /// What to do to make the answer surer.
    pub surest_next_step: String,
    /// Why, in sentences.
    pub reasons: Vec<String>,
    /// What to look out for.
    pub cautions: Vec<String>,
}

/// How a class fares.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ClassAnswer {
    /// Its window in seconds.
    pub window_s: [f64; 2],
    /// The verdict.
    pub verdict: Verdict,
    /// Share of placements disturbed, 0 to 1.
    pub disturbed: SpreadAnswer,
    /// Share cured in the air, 0 to 1.
    pub cured_in_air: SpreadAnswer,
    /// Extra holding of one placement, seconds.
    pub extra_hold_s: SpreadAnswer,
    /// Extra holding of a set, minutes.
    pub extra_hold_min_per_set: f64,
    /// Share of the possibilities in which the disturbed share is within the limit.
    pub sure: f64,
}

/// How a bottle fares.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BottleAnswer {
    /// Its name.
    pub name: String,
    /// The verdict.
    pub verdict: Verdict,
    /// Set time of a new placement here, seconds.
    pub set_time_s: TimesAnswer,
    /// Open time here, seconds.
    pub open_time_s: TimesAnswer,
    /// Share of placements disturbed, 0 to 1.
    pub disturbed: SpreadAnswer,
    /// Share cured in the air, 0 to 1.
    pub cured_in_air: SpreadAnswer,
    /// Extra holding of one placement, seconds.
    pub extra_hold_s: SpreadAnswer,
    /// Extra holding of a set, minutes.
    pub extra_hold_min_per_set: f64,
    /// Share of the possibilities in which the disturbed share is within the limit.
    pub sure: f64,
    /// Tests it was learned from.
    pub learned_from: LearnedAnswer,
}

/// A change that would be better.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OptionAnswer {
    /// What to do, with its side effect.
    pub change: String,
    /// When it works.
    pub takes: Takes,
    /// The verdict after it.
    pub verdict_after: Verdict,
    /// Mean share disturbed after it, 0 to 1.
    pub disturbed_after: f64,
    /// Extra holding of a set after it, minutes.
    pub extra_hold_min_per_set_after: f64,
}

/// Mean with its 8-in-10 range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SpreadAnswer {
    /// Mean.
    pub mean: f64,
    /// 10 % quantile.
    pub low: f64,
    /// 90 % quantile.
    pub high: f64,
}

/// Median with its 8-in-10 range, seconds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TimesAnswer {
    /// Median.
    pub median: f64,
    /// 10 % quantile.
    pub low: f64,
    /// 90 % quantile.
    pub high: f64,
}

/// Tests a bottle was learned from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LearnedAnswer {
    /// Set-time tests.
    pub set_tests: u32,
    /// Open-time tests.
    pub open_tests: u32,
}

impl Answer {
    /// Puts a judgement and what goes with it into the machine form.
    #[must_use]
    pub(crate) fn of(q: &Question<'_>, judged: &Judgement, options: &Options, next: &NextStep, why: &[String]) -> Self {
        let window = |c: usize| {
            let (low, high) = q.classes[c].window();
            [low, high]
        };
        Self {
            recommended_s: judged.recommended.map(window),
            least_bad_s: judged.least_bad.map(window),
            sure: judged.sure().map(short),
            classes: judged.classes.iter().map(ClassAnswer::of).collect(),
            bottles: q.bottles.iter().zip(&judged.bottles).map(|(b, j)| BottleAnswer::of(b, j)).collect(),
            options: options.offers.iter().map(OptionAnswer::of).collect(),
            surest_next_step: next.words.clone(),
            reasons: reasons::with_options(why, options),
            cautions: reasons::cautions(q, judged),
        }
    }
}

impl ClassAnswer {
    fn of(judged: &ClassJudged) -> Self {
        let (low, high) = judged.class.window();
        let Outcome { disturbed, cured_in_air, extra_hold_s, extra_hold_min_per_set, sure, .. } = judged.outcome;
        Self {
            window_s: [low, high],
            verdict: judged.verdict,
            disturbed: disturbed.into(),
            cured_in_air: cured_in_air.into(),
            extra_hold_s: extra_hold_s.into(),
            extra_hold_min_per_set: short(extra_hold_min_per_set),
            sure: short(sure),
        }
    }
}

impl BottleAnswer {
    fn of(bottle: &ShelfBottle, judged: &BottleJudged) -> Self {
        let Outcome { disturbed, cured_in_air, extra_hold_s, extra_hold_min_per_set, sure, .. } = judged.outcome;
        Self {
            name: bottle.name.clone(),
            verdict: judged.verdict,
            set_time_s: judged.set_time.into(),
            open_time_s: judged.open_time.into(),
            disturbed: disturbed.into(),
            cured_in_air: cured_in_air.into(),
            extra_hold_s: extra_hold_s.into(),
            extra_hold_min_per_set: short(extra_hold_min_per_set),
            sure: short(sure),
            learned_from: LearnedAnswer { set_tests: bottle.set_time.tests, open_tests: bottle.openness.tests },
        }
    }
}

impl OptionAnswer {
    fn of(offer: &Offer) -> Self {
        Self {
            change: offer.words(),
            takes: offer.takes,
            verdict_after: offer.verdict_after,
            disturbed_after: short(offer.after.disturbed.mean),
            extra_hold_min_per_set_after: short(offer.after.extra_hold_min_per_set),
        }
    }
}

impl From<Spread> for SpreadAnswer {
    fn from(s: Spread) -> Self {
        Self { mean: short(s.mean), low: short(s.low), high: short(s.high) }
    }
}

impl From<Times> for TimesAnswer {
    fn from(t: Times) -> Self {
        Self { median: short(t.median.get()), low: short(t.low.get()), high: short(t.high.get()) }
    }
}

/// Five decimals: far finer than anything here is known, and readable.
fn short(x: f64) -> f64 {
    (x * 1e5).round() / 1e5
}
