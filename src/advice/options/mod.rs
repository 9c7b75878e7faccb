//! What could be changed when something would be better, each with its effect, side effect, cost and the time it
//! takes; and what was considered and left out, with the reason.
//!
//! Never offered: slowing an adhesive by a liquid, mist to speed placing, an accelerator on natural lashes, air past
//! the guards or the maker's window, less airing or extraction.

mod way;

use serde::{Deserialize, Serialize};

use crate::adhesives::set_time::Climate;
use crate::adhesives::{Air, Bead, Liquid, Liquids};

use super::judge::{AirDraws, HandsTables, Judgement, Outcome, Question, RoomNow, Stand, Subject, Verdict};
use super::words;
use way::Way;
pub use way::{COOLEST_C, DAMPEST_PCT, DRIEST_PCT, WARMEST_C};

/// How long a change takes to work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Takes {
    /// At the next placement.
    Now,
    /// Before the set is over.
    Minutes,
    /// Longer.
    Hours,
}

impl Takes {
    /// As printed after "works".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Minutes => "in minutes",
            Self::Hours => "in hours",
        }
    }
}

/// What a change is, for whoever acts on it: words are for people alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// This bottle, by its place on the shelf, in place of the one in use.
    Bottle(usize),
    /// This class, by its place in the question, in place of the base bottle.
    Class(usize),
    /// This bead.
    Bead(Bead),
    /// One liquid more.
    With(Liquid),
    /// One liquid less.
    Without(Liquid),
    /// This air.
    Air(Air),
}

/// One change that would be better.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// What it is.
    pub what: Change,
    /// What to do, in words.
    pub change: String,
    /// What it brings along, as a clause; empty when nothing to speak of.
    pub side_effect: &'static str,
    /// What it costs, as printed after "costs"; empty when nothing to speak of.
    pub cost: &'static str,
    /// When it works.
    pub takes: Takes,
    /// What is to be expected of what would be changed, as it is now.
    pub before: Outcome,
    /// The verdict after it.
    pub verdict_after: Verdict,
    /// What is to be expected after it.
    pub after: Outcome,
}

impl Offer {
    /// The air it asks for, where it is a change of air.
    #[must_use]
    pub const fn air(&self) -> Option<Air> {
        match self.what {
            Change::Air(air) => Some(air),
            _ => None,
        }
    }

    /// What to do, its side effect and its cost.
    #[must_use]
    pub fn words(&self) -> String {
        let cost = if self.cost.is_empty() { String::new() } else { format!("costs {}", self.cost) };
        let brings: Vec<&str> = [self.side_effect, &cost].into_iter().filter(|clause| !clause.is_empty()).collect();
        if brings.is_empty() { self.change.clone() } else { format!("{} ({})", self.change, brings.join("; ")) }
    }
}

/// A change considered and left out.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// The change.
    pub change: String,
    /// Why it is not offered.
    pub why: &'static str,
}

/// Offers, soonest and then best first, and what was left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// Changes that would be better.
    pub offers: Vec<Offer>,
    /// Changes considered and refused.
    pub left_out: Vec<LeftOut>,
}

/// Looks for changes: another bottle in place of the one in use, and everything that could be done with the base.
/// Empty when both already fit.
#[must_use]
pub fn options(q: &Question<'_>, judged: &Judgement) -> Options {
    options_by(q, judged, &HandsTables::of(q.hands))
}

/// As [`options`], by tables of these hands already made.
pub(crate) fn options_by(q: &Question<'_>, judged: &Judgement, tables: &HandsTables) -> Options {
    let mut search = Search::new(q, judged);
    search.bottles();
    if judged.verdict(judged.base) != Verdict::Fits {
        search.beads(tables);
        search.classes();
        search.liquids(tables);
        search.air(tables);
        search.never();
    }
    let mut found = search.found;
    found.offers.sort_by(|a, b| a.takes.cmp(&b.takes).then(a.after.ratio().total_cmp(&b.after.ratio())));
    found
}

/// A change under consideration.
struct Idea {
    what: Change,
    change: String,
    side_effect: &'static str,
    cost: &'static str,
}

impl Idea {
    fn new(what: Change, change: impl Into<String>, side_effect: &'static str) -> Self {
        Self { what, change: change.into(), side_effect, cost: "" }
    }

    fn costing(self, cost: &'static str) -> Self {
        Self { cost, ..self }
    }

    fn offered(self, takes: Takes, before: Outcome, verdict_after: Verdict, after: Outcome) -> Offer {
        let Self { what, change, side_effect, cost } = self;
        Offer { what, change, side_effect, cost, takes, before, verdict_after, after }
    }
}

/// What a primer costs.
const A_STEP_MORE: &str = "a step more in every set, and its drying";

/// Nearer to the limits by more than a rounding.
fn is_nearer(after: &Outcome, before: &Outcome) -> bool {
    after.ratio() < 0.98 * before.ratio()
}

struct Search<'a> {
    q: &'a Question<'a>,
    judged: &'a Judgement,
    /// The base now: an offer must be better.
    now: Outcome,
    too_quick: bool,
    /// The maker's window of the base, when it is a bottle with one.
    climate: Option<Climate>,
    found: Options,
}

impl<'a> Search<'a> {
    fn new(q: &'a Question<'a>, judged: &'a Judgement) -> Self {
        let base = judged.outcome(judged.base);
        Self {
            q,
            judged,
            now: *base,
            too_quick: base.disturbed_ratio >= base.holding_ratio,
            climate: match judged.base {
                Subject::Bottle(b) => q.bottles[b].climate,
                Subject::Class(_) => None,
            },
            found: Options::default(),
        }
    }

    fn leave_out(&mut self, change: impl Into<String>, why: &'static str) {
        self.found.left_out.push(LeftOut { change: change.into(), why });
    }

    /// Offers a change of bead or liquids to the base, if it helps.
    fn try_with(&mut self, tables: &HandsTables, bead: Bead, liquids: Liquids, idea: Idea) {
        let stand = Stand::of(self.q, tables, self.judged.base, bead, liquids, None);
        let after = stand.outcome(self.q, &AirDraws::of(&self.q.room, None));
        self.offer(idea, Takes::Now, self.verdict(&after, &self.q.room.air), after);
    }

    /// Better is: it comes to fit, or it comes nearer by more than a rounding.
    fn offer(&mut self, idea: Idea, takes: Takes, verdict_after: Verdict, after: Outcome) {
        if verdict_after == Verdict::Fits || is_nearer(&after, &self.now) {
            self.found.offers.push(idea.offered(takes, self.now, verdict_after, after));
        } else {
            self.leave_out(idea.change, "it would not be better here");
        }
    }

    /// The verdict on the base in some air.
    fn verdict(&self, after: &Outcome, air: &Air) -> Verdict {
        if self.climate.is_some_and(|c| !c.holds(air)) { Verdict::at_most_near(after) } else { Verdict::of(after) }
    }

    /// The bottle whose place another could take: the one in daily use, else the base.
    fn in_use(&self) -> Option<usize> {
        let daily = self.q.daily.filter(|b| self.judged.bottles[*b].not_today.is_none());
        daily.or(match self.judged.base {
            Subject::Bottle(b) => Some(b),
            Subject::Class(_) => None,
        })
    }

    /// Every bottle on the shelf that would do better than the one in use.
    fn bottles(&mut self) {
        let Some(b) = self.in_use() else { return };
        let now = &self.judged.bottles[b];
        if now.verdict == Verdict::Fits {
            return;
        }
        for (i, other) in self.judged.bottles.iter().enumerate() {
            let better = other.verdict.is_better_than(now.verdict)
                || (!now.verdict.is_better_than(other.verdict) && is_nearer(&other.outcome, &now.outcome));
            if i == b || other.not_today.is_some() || !better {
                continue;
            }
            let change = format!("Use {} in place of {}", self.q.bottles[i].name, self.q.bottles[b].name);
            let side_effect = if self.q.bottles[i].is_untested() {
                "known from its label alone: bench-test it first; and this client must have been tested with it"
            } else {
                "this client must have been tested with it"
            };
            let idea = Idea::new(Change::Bottle(i), change, side_effect).costing("a fresh drop");
            self.found.offers.push(idea.offered(Takes::Now, now.outcome, other.verdict, other.outcome));
        }
    }

    /// One step of bead, and at most one step from what was tested.
    fn beads(&mut self, tables: &HandsTables) {
        let work = self.q.work;
        for bead in Bead::ALL {
            if (bead.step() - work.bead.step()).abs() != 1 {
                continue;
            }
            let what = Change::Bead(bead);
            let idea = match bead {
                Bead::Thin => Idea::new(
                    what,
                    "Pick up a thin bead: draw out more slowly",
                    "never wipe it off, dip again; it holds less: not for heavy fans or thick classics; check five bonds after the first drop",
                )
                .costing("a moment more at each dip"),
                Bead::Medium => Idea::new(what, "Pick up a medium bead", ""),
                Bead::Full => Idea::new(
                    what,
                    "Pick up a full bead: draw out faster",
                    "it brings stickies and more vapour: keep the extraction close",
                )
                .costing("more adhesive"),
            };
            match self.judged.base {
                Subject::Bottle(b) if !self.q.bottles[b].tested.within_a_step(bead) => {
                    self.leave_out(idea.change, "it is more than one step from any bead this bottle was tested with");
                }
                _ => self.try_with(tables, bead, work.liquids, idea),
            }
        }
    }

    /// The recommended or least bad class in place of the base bottle.
    fn classes(&mut self) {
        let Subject::Bottle(b) = self.judged.base else { return };
        let Some(c) = self.judged.recommended.or(self.judged.least_bad) else { return };
        let judged = &self.judged.classes[c];
        let change = format!(
            "Use an adhesive of the {} class in place of {}",
            words::class(judged.class),
            self.q.bottles[b].name
        );
        let (verdict, outcome) = (judged.verdict, judged.outcome);
        self.offer(
            Idea::new(Change::Class(c), change, "one the studio knows and this client was tested with")
                .costing("a bottle to fetch or buy"),
            Takes::Now,
            verdict,
            outcome,
        );
    }

    fn liquids(&mut self, tables: &HandsTables) {
        let work = self.q.work;
        for liquid in [Liquid::AlcoholPrimer, Liquid::PhPrimer, Liquid::Accelerator] {
            if work.liquids.has(liquid) {
                let idea = Idea::new(
                    Change::Without(liquid),
                    format!("Leave out the {}", liquid.words()),
                    "lashes must still be clean and fully dry",
                );
                self.try_with(tables, work.bead, work.liquids.without(liquid), idea);
                continue;
            }
            let what = Change::With(liquid);
            let idea = match liquid {
                Liquid::AlcoholPrimer => {
                    Idea::new(what, "Use an alcohol primer and let it dry fully", "much alcohol dries lashes out")
                        .costing(A_STEP_MORE)
                }
                Liquid::PhPrimer => {
                    Idea::new(what, "Use a pH primer and let it dry fully", "one more liquid near the eye")
                        .costing(A_STEP_MORE)
                }
                _ => Idea::new(
                    what,
                    "Put an accelerator on the strip, if the adhesive's maker allows it",
                    "never on natural lashes; it then sets like a class of 0.5–1\u{a0}s",
                )
                .costing("a step more for each strip"),
            };
            if self.too_quick {
                self.leave_out(idea.change, "a liquid only makes it set faster");
            } else if liquid == Liquid::Accelerator && self.refuses_accelerator() {
                self.leave_out(idea.change, "the maker does not allow it");
            } else {
                self.try_with(tables, work.bead, work.liquids.with(liquid), idea);
            }
        }
    }

    fn refuses_accelerator(&self) -> bool {
        matches!(self.judged.base, Subject::Bottle(b) if self.q.bottles[b].accelerator_allowed == Some(false))
    }

    /// The nearest air, changed in one respect, in which the base fits.
    fn air(&mut self, tables: &HandsTables) {
        let work = self.q.work;
        let stand = Stand::of(self.q, tables, self.judged.base, work.bead, work.liquids, None);
        let now = self.q.room.air;
        for way in [Way::Drier, Way::Damper, Way::Cooler, Way::Warmer] {
            // Slower is drier or cooler. The other way helps only back into the maker's window.
            let helps = (matches!(way, Way::Drier | Way::Cooler) == self.too_quick && self.now.ratio() > 1.0)
                || self
                    .climate
                    .is_some_and(|c| way.outside(&c, &way.step(&now, 1).unwrap_or(now)) < way.outside(&c, &now));
            if helps {
                self.nearest_air(&stand, way);
            }
        }
    }

    fn nearest_air(&mut self, stand: &Stand<'_>, way: Way) {
        let now = self.q.room.air;
        let outside = |air: &Air| self.climate.map_or(0.0, |c| way.outside(&c, air));
        for steps in 1..=50 {
            let Some(air) = way.step(&now, steps) else { break };
            if let Some(why) = way.past_a_guard(&air) {
                self.leave_out(way.name(), why);
                return;
            }
            if outside(&air) > outside(&now) {
                self.leave_out(way.name(), "it would leave the air the maker prints it for");
                return;
            }
            let draws = AirDraws::of(&RoomNow { air, ..self.q.room }, None);
            if outside(&air) <= 0.0 && stand.ratio(self.q, &draws) <= 1.0 {
                let after = stand.outcome(self.q, &draws);
                self.offer(way.idea(&air), Takes::Hours, self.verdict(&after, &air), after);
                return;
            }
        }
        self.leave_out(way.name(), "no air that can be had makes it fit");
    }

    fn never(&mut self) {
        if self.too_quick {
            self.leave_out("A liquid that slows the adhesive", "there is none");
        } else {
            self.leave_out("Water mist while placing", "mist is for finished bonds only, never to speed placing");
        }
        self.leave_out("Less airing or extraction", "the air at the work comes first");
    }
}
