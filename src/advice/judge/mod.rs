//! The judgement: which cure-speed class suits these hands here and now, and how each bottle on the shelf fares.
//!
//! Takes from its caller which bottles must not be used now; knows no client and no reason behind it.

mod draws;
mod question;
mod room;
mod shares;
mod stand;
mod verdict;

use crate::adhesives::set_time::{Openness, Times};
use crate::artists::hands::Nig;
use crate::base::units::Seconds;

pub use draws::Doubt;
pub(crate) use draws::{AirDraws, HandsDraws, HandsTables};
pub use question::{CureClass, Limits, NotToday, Question, RoomNow, ShelfBottle, Tested, Work};
pub use room::RoomDraws;
pub(crate) use room::ShelfDraws;
pub use shares::{Outcome, Spread, cured_in_air, disturbed, extra_hold_s};
pub(crate) use stand::Stand;
pub use stand::Subject;
pub use verdict::Verdict;

/// How one class fares.
#[derive(Debug, Clone, PartialEq)]
pub struct ClassJudged {
    /// The class.
    pub class: CureClass,
    /// What is to be expected.
    pub outcome: Outcome,
    /// The word for it.
    pub verdict: Verdict,
    /// Its window as it is likely to be in this room, in seconds: lower and upper edge, best guess.
    pub here: (Seconds, Seconds),
}

/// How one bottle fares.
#[derive(Debug, Clone, PartialEq)]
pub struct BottleJudged {
    /// What is to be expected.
    pub outcome: Outcome,
    /// The word for it.
    pub verdict: Verdict,
    /// Why it must not be used now, if so.
    pub not_today: Option<NotToday>,
    /// Whether the room's air is outside the maker's window.
    pub outside_climate: bool,
    /// Set time of a new placement here.
    pub set_time: Times,
    /// How long its bead can wait here.
    pub open_time: Times,
}

/// The judgement.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Every class, in the order asked.
    pub classes: Vec<ClassJudged>,
    /// Every bottle, in the order of the shelf.
    pub bottles: Vec<BottleJudged>,
    /// The fastest class within the limit for disturbed bonds, by its place; every slower one would add holding.
    pub recommended: Option<usize>,
    /// Without one: the class nearest to the limits.
    pub least_bad: Option<usize>,
    /// What a change would be measured against: the bottle with the better word and then nearest to the limits, else
    /// the class.
    pub base: Subject,
    /// Contact until the extension lies still, 8 in 10 placements.
    pub settle: Times,
    /// The hands time, 8 in 10 placements: the same, counting what the travel in the air uses up of the set, at the
    /// openness of the base. What the set time has to beat.
    pub hands_time: Times,
}

impl Judgement {
    /// How sure the recommendation is: share of the draws in which its disturbed share is within the limit.
    #[must_use]
    pub fn sure(&self) -> Option<f64> {
        self.recommended.map(|c| self.classes[c].outcome.sure)
    }

    /// What is to be expected of a subject.
    #[must_use]
    pub fn outcome(&self, subject: Subject) -> &Outcome {
        match subject {
            Subject::Class(c) => &self.classes[c].outcome,
            Subject::Bottle(b) => &self.bottles[b].outcome,
        }
    }

    /// The word for a subject.
    #[must_use]
    pub fn verdict(&self, subject: Subject) -> Verdict {
        match subject {
            Subject::Class(c) => self.classes[c].verdict,
            Subject::Bottle(b) => self.bottles[b].verdict,
        }
    }
}

/// Judges every class and bottle. For several artists in one room draw the room once, with [`RoomDraws`].
///
/// # Panics
/// When the question holds no class: the callers refuse such a question before.
#[must_use]
pub fn judge(q: &Question<'_>) -> Judgement {
    RoomDraws::of(q).judge(q)
}

/// Conditions in which a class is judged.
pub(crate) fn any_adhesive_conditions(q: &Question<'_>) -> crate::adhesives::Conditions {
    stand::fresh(q.room.air, q.work.bead, q.work.liquids)
}

/// From how each class and bottle fares to what is recommended.
fn conclude(q: &Question<'_>, classes: Vec<ClassJudged>, bottles: Vec<BottleJudged>) -> Judgement {
    let recommended = (0..classes.len())
        .filter(|c| classes[*c].outcome.disturbed_ratio <= 1.0)
        .min_by(|a, b| q.classes[*a].ln_middle().total_cmp(&q.classes[*b].ln_middle()));
    let least_bad = match recommended {
        Some(_) => None,
        None => (0..classes.len()).min_by(|a, b| classes[*a].outcome.ratio().total_cmp(&classes[*b].outcome.ratio())),
    };
    // By the word first: outside its maker's window a bottle is at most near, however well its figures suit.
    let bottle = bottles.iter().enumerate().filter(|(_, b)| b.not_today.is_none()).min_by(|(_, a), (_, b)| {
        a.verdict.rank().cmp(&b.verdict.rank()).then(a.outcome.ratio().total_cmp(&b.outcome.ratio()))
    });
    let base = match bottle {
        Some((b, _)) => Subject::Bottle(b),
        None => Subject::Class(recommended.or(least_bad).unwrap_or(0)),
    };
    let kappa = match base {
        Subject::Bottle(b) => q.bottles[b].openness.median(),
        Subject::Class(_) => Openness::untested().median(),
    };
    let hands_time = of_placements(&q.hands.hands_time_at(kappa.ln()));
    Judgement { settle: of_placements(&q.hands.settle), hands_time, classes, bottles, recommended, least_bad, base }
}

/// Seconds of a new placement.
fn of_placements(fit: &Nig) -> Times {
    let at = |p| Seconds::clamped(fit.new_placement(p).exp());
    Times { median: at(0.5), low: at(0.1), high: at(0.9) }
}
