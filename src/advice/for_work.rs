//! Advice for one piece of work: everything a page of one artist in one room needs, from values alone. Knows no client,
//! no clock, no storage; what must not be used comes with the question.

use super::band::{Band, working_band_by};
use super::file::Answer;
use super::judge::{HandsTables, Judgement, Question, RoomDraws, Subject, Verdict};
use super::options::{Change, Options, Takes, options_by};
use super::reasons::{is_starting_guess, why, why_in_assumed_air};
use super::strip::{Suits, suits_by};
use super::surest::{NextStep, surest_by};
use super::words;

/// Which version of the model and its rules gave an advice: kept with it. Raised by whoever changes what they answer.
pub const MODEL: &str = "2";

/// Why an advice carries no filled button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Poor {
    /// Nobody has timed these hands.
    Untimed,
    /// Nothing was tested about what the advice rests on.
    Untested,
    /// The air is assumed.
    AirNotKnown,
}

/// Everything one page needs.
#[derive(Debug, Clone)]
pub struct ForWork {
    /// The judgement, its base moved to what was chosen.
    pub judged: Judgement,
    /// What would be better, and what was left out.
    pub options: Options,
    /// The surest next step.
    pub next: NextStep,
    /// Seconds that suit.
    pub suits: Option<Suits>,
    /// The working band of the chosen bottle.
    pub band: Option<Band>,
    /// Reasons in sentences, those that options tell left out.
    pub reasons: Vec<String>,
    /// Cautions that go with it.
    pub cautions: Vec<String>,
    /// Why it is a starting guess, if it is.
    pub poor: Option<Poor>,
    /// The machine form, kept with an advice that was taken.
    pub answer: Answer,
}

/// Judges, with the bottle at place `wanted` of the shelf as what the figures speak of; otherwise the one that comes
/// nearest: of the first `near`, which stand in the room, where one of these fits, since the others must be fetched.
/// `air_known` is false where the question's air is only assumed.
#[must_use]
pub fn for_work(q: &Question<'_>, wanted: Option<usize>, near: usize, air_known: bool) -> ForWork {
    let tables = HandsTables::of(q.hands);
    let mut judged = RoomDraws::of(q).judge_by(q, &tables);
    let here = || {
        let fits = |at: &usize| judged.bottles[*at].verdict == Verdict::Fits;
        let ratio = |at: usize| judged.bottles[at].outcome.ratio();
        (0..near.min(q.bottles.len())).filter(fits).min_by(|a, b| ratio(*a).total_cmp(&ratio(*b)))
    };
    if let Some(bottle) = wanted.filter(|bottle| *bottle < q.bottles.len()).or_else(here) {
        judged.base = Subject::Bottle(bottle);
    }
    let options = options_by(q, &judged, &tables);
    let next = surest_by(q, &judged, &tables);
    let band = match judged.base {
        Subject::Bottle(bottle) => Some(working_band_by(q, bottle, judged.bottles[bottle].verdict, &tables)),
        Subject::Class(_) => None,
    };
    let reasons = if air_known { why(q, &judged) } else { why_in_assumed_air(q, &judged) };
    let answer = Answer::of(q, &judged, &options, &next, &reasons);
    ForWork {
        suits: suits_by(q, &tables),
        reasons,
        cautions: answer.cautions.clone(),
        poor: poor(q, &judged, air_known),
        judged,
        options,
        next,
        band,
        answer,
    }
}

fn poor(q: &Question<'_>, judged: &Judgement, air_known: bool) -> Option<Poor> {
    if q.hands.placements == 0 {
        Some(Poor::Untimed)
    } else if is_starting_guess(q, judged) {
        Some(Poor::Untested)
    } else {
        (!air_known).then_some(Poor::AirNotKnown)
    }
}

/// The sentence that stands first: what to take, or how things stand. `room` is the room's name. Names bottle and bead;
/// a class, whose name is its seconds, only where `seconds` of these hands may be shown.
#[must_use]
pub fn lead(q: &Question<'_>, work: &ForWork, room: &str, seconds: bool) -> String {
    let bead = q.work.bead.word();
    let judged = &work.judged;
    let Subject::Bottle(b) = judged.base else { return without_bottle(q, judged, room, seconds) };
    let (name, own) = (&q.bottles[b].name, &judged.bottles[b]);
    if let Some(why) = own.not_today {
        return format!("{name} is not for today: {}.", why.words());
    }
    let close = match own.verdict {
        Verdict::Fits if work.poor.is_some() => format!("{name} with a {bead} bead comes within the limits"),
        Verdict::Fits => return format!("Take {name}, {bead} bead."),
        verdict => format!("{name} with a {bead} bead {}", stands(verdict)),
    };
    if work.poor.is_some() {
        return format!("A starting guess: {close}.");
    }
    let any_fits = judged.bottles.iter().any(|bottle| bottle.verdict == Verdict::Fits);
    let first = if any_fits { String::new() } else { format!("Nothing on {room}’s shelf fits as it stands. ") };
    let with = work.options.offers.iter().find_map(|offer| match offer.what {
        Change::Bead(bead) if offer.takes == Takes::Now && offer.verdict_after == Verdict::Fits => Some(bead.word()),
        _ => None,
    });
    match with {
        Some(with) => format!("{first}{close}; with a {with} bead it fits."),
        None => format!("{first}{close}."),
    }
}

const fn stands(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fits => "fits",
        Verdict::NearTooQuick => "comes near and is too quick",
        Verdict::NearTooSlow => "comes near and is too slow",
        Verdict::TooQuick => "does not fit: it is too quick",
        Verdict::TooSlow => "does not fit: it is too slow",
        Verdict::NotForToday => "is not for today",
    }
}

fn without_bottle(q: &Question<'_>, judged: &Judgement, room: &str, seconds: bool) -> String {
    let stands = if q.bottles.is_empty() {
        format!("No bottle stands in {room}.")
    } else {
        format!("Every bottle in {room} is not for today.")
    };
    let class = judged.recommended.or(judged.least_bad).filter(|_| seconds).map(|c| words::class(q.classes[c]));
    match (class, judged.recommended, q.hands.placements) {
        (Some(class), Some(_), 1..) => format!("{stands} The {class} class would suit here."),
        (Some(class), _, 0) => format!("{stands} As a starting guess the {class} class comes nearest."),
        (Some(class), None, _) => format!("{stands} No class is within the limits; {class} comes nearest."),
        (None, ..) => stands,
    }
}

/// What a starting guess asks for first.
#[must_use]
pub const fn asks_first(poor: Poor) -> &'static str {
    match poor {
        Poor::Untimed => {
            "These hands have not been timed. Time three practice placements first, and do not buy on this."
        }
        Poor::Untested => {
            "This bottle has not been bench-tested here. Place three on a practice lash first, and do not buy on this."
        }
        Poor::AirNotKnown => {
            "The air of this room has not been read: 22\u{a0}°C and 50\u{a0}%RH are assumed. Enter a reading first."
        }
    }
}

/// How sure the whole answer is, in one of the words of the house: by the share of disturbed placements.
#[must_use]
pub fn how_sure(work: &ForWork) -> &'static str {
    let basis = if work.poor.is_some() { words::Basis::Assumed } else { words::Basis::Measured };
    words::sureness_of_share(&work.judged.outcome(work.judged.base).disturbed, basis)
}
