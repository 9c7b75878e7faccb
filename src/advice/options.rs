//! What could be changed when something would be better, each with its effect, side effect and the time it takes;
//! and what was considered and left out, with the reason.
//!
//! Never offered: slowing an adhesive by a liquid, mist to speed placing, an accelerator on natural lashes, air past
//! the guards or the maker's window, less airing or extraction.

use serde::{Deserialize, Serialize};

use crate::adhesives::set_time::Climate;
use crate::adhesives::{Air, Bead, Liquid, Liquids};
use crate::base::units::{Celsius, RelHumidity};

use super::judge::{AirDraws, HandsTables, Judgement, Outcome, Question, RoomNow, Stand, Subject, Verdict};
use super::words;

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

/// One change that would be better.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// What to do.
    pub change: String,
    /// What it brings along, as a clause; empty when nothing to speak of.
    pub side_effect: &'static str,
    /// What it costs in money, time or work, as a clause; empty when nothing to speak of.
    pub cost: &'static str,
    /// When it works.
    pub takes: Takes,
    /// The verdict after it.
    pub verdict_after: Verdict,
    /// What is to be expected after it.
    pub after: Outcome,
}

impl Offer {
    /// What to do, its side effect and its cost.
    #[must_use]
    pub fn words(&self) -> String {
        let cost = if self.cost.is_empty() { String::new() } else { format!("costs {}", self.cost) };
        let besides = [self.side_effect, &cost].into_iter().filter(|clause| !clause.is_empty());
        match besides.collect::<Vec<_>>().join("; ") {
            none if none.is_empty() => self.change.clone(),
            some => format!("{} ({some})", self.change),
        }
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

/// What a primer costs.
const PRIMING: &str = "a step more and its drying time in every set";

/// Never cooler than this for a client lying still.
pub const COOLEST_C: f64 = 20.0;
/// Warmest air proposed for someone lying under a cover (common practice).
pub const WARMEST_C: f64 = 26.0;
/// Driest air proposed: below it most hygrometers tell too little, eyes and skin suffer (common practice).
pub const DRIEST_PCT: f64 = 30.0;
/// Dampest air proposed: the usual limit against mould.
pub const DAMPEST_PCT: f64 = 60.0;

/// Looks for changes. Empty when the base already fits.
#[must_use]
pub fn options(q: &Question<'_>, judged: &Judgement) -> Options {
    if judged.verdict(judged.base) == Verdict::Fits {
        return Options::default();
    }
    let mut search = Search::new(q, judged);
    let tables = HandsTables::of(q.hands, None);
    search.beads(&tables);
    search.bottles();
    search.classes();
    search.liquids(&tables);
    search.air(&tables);
    search.never();
    let mut found = search.found;
    found.offers.sort_by(|a, b| a.takes.cmp(&b.takes).then(a.after.ratio().total_cmp(&b.after.ratio())));
    found
}

/// A change under consideration.
struct Idea {
    change: String,
    side_effect: &'static str,
    cost: &'static str,
}

impl Idea {
    fn new(change: impl Into<String>, side_effect: &'static str) -> Self {
        Self { change: change.into(), side_effect, cost: "" }
    }

    const fn costing(mut self, cost: &'static str) -> Self {
        self.cost = cost;
        self
    }
}

struct Search<'a> {
    q: &'a Question<'a>,
    judged: &'a Judgement,
    /// Ratio of the base now: an offer must be better.
    now: f64,
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
            now: base.ratio(),
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
        if verdict_after == Verdict::Fits || after.ratio() < 0.98 * self.now {
            let Idea { change, side_effect, cost } = idea;
            self.found.offers.push(Offer { change, side_effect, cost, takes, verdict_after, after });
        } else {
            self.leave_out(idea.change, "it would not be better here");
        }
    }

    /// The verdict on the base in some air.
    fn verdict(&self, after: &Outcome, air: &Air) -> Verdict {
        if self.climate.is_some_and(|c| !c.holds(air)) { Verdict::at_most_near(after) } else { Verdict::of(after) }
    }

    /// One step of bead, and at most one step from what was tested.
    fn beads(&mut self, tables: &HandsTables) {
        let work = self.q.work;
        for bead in Bead::ALL {
            if (bead.step() - work.bead.step()).abs() != 1 {
                continue;
            }
            let idea = match bead {
                Bead::Thin => Idea::new(
                    "Pick up a thin bead: draw out more slowly",
                    "never wipe it off, dip again; it holds less: not for heavy fans or thick classics; check five bonds after the first drop",
                ),
                Bead::Medium => Idea::new("Pick up a medium bead", ""),
                Bead::Full => Idea::new(
                    "Pick up a full bead: draw out faster",
                    "it brings stickies and more vapour: keep the extraction close",
                ),
            };
            match self.judged.base {
                Subject::Bottle(b) if !self.q.bottles[b].tested.within_a_step(bead) => {
                    self.leave_out(idea.change, "it is more than one step from any bead this bottle was tested with");
                }
                _ => self.try_with(tables, bead, work.liquids, idea),
            }
        }
    }

    /// Another bottle of the shelf in place of the base. The base comes nearest in its figures, so another is better where
    /// the air is outside the window of the base's maker and not of its own.
    fn bottles(&mut self) {
        let Subject::Bottle(base) = self.judged.base else { return };
        for (bottle, own) in self.q.bottles.iter().zip(&self.judged.bottles) {
            if std::ptr::eq(bottle, &raw const self.q.bottles[base]) {
                continue;
            }
            let change = format!("Use {} in place of {}", bottle.name, self.q.bottles[base].name);
            if let Some(why) = own.not_today {
                self.leave_out(change, why.words());
            } else if own.verdict.is_better_than(self.judged.verdict(self.judged.base)) {
                let idea = Idea::new(change, "one this client was tested with").costing("a new drop");
                self.found.offers.push(Offer {
                    change: idea.change,
                    side_effect: idea.side_effect,
                    cost: idea.cost,
                    takes: Takes::Now,
                    verdict_after: own.verdict,
                    after: own.outcome,
                });
            } else {
                self.leave_out(change, "it would not be better here");
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
        let idea = Idea::new(change, "one the studio knows and this client was tested with");
        self.offer(idea.costing("a bottle to fetch or buy, and its first bench tests"), Takes::Now, verdict, outcome);
    }

    fn liquids(&mut self, tables: &HandsTables) {
        let work = self.q.work;
        for liquid in [Liquid::AlcoholPrimer, Liquid::PhPrimer, Liquid::Accelerator] {
            if work.liquids.has(liquid) {
                let idea =
                    Idea::new(format!("Leave out the {}", liquid.words()), "lashes must still be clean and fully dry");
                self.try_with(tables, work.bead, work.liquids.without(liquid), idea);
                continue;
            }
            let idea = match liquid {
                Liquid::AlcoholPrimer => {
                    Idea::new("Use an alcohol primer and let it dry fully", "much alcohol dries lashes out")
                        .costing(PRIMING)
                }
                Liquid::PhPrimer => {
                    Idea::new("Use a pH primer and let it dry fully", "one more liquid near the eye").costing(PRIMING)
                }
                _ => Idea::new(
                    "Put an accelerator on the strip, if the adhesive's maker allows it",
                    "never on natural lashes; it then sets like a class of 0.5–1\u{a0}s",
                )
                .costing("a step more at every strip"),
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
            let helps = (matches!(way, Way::Drier | Way::Cooler) == self.too_quick && self.now > 1.0)
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

/// A way to change the air in one respect.
#[derive(Clone, Copy)]
enum Way {
    Drier,
    Damper,
    Cooler,
    Warmer,
}

impl Way {
    const fn name(self) -> &'static str {
        match self {
            Self::Drier => "Drier air",
            Self::Damper => "Damper air",
            Self::Cooler => "Cooler air",
            Self::Warmer => "Warmer air",
        }
    }

    /// The air some steps on (2 %RH or 1 °C each), if there is such air.
    fn step(self, from: &Air, steps: u32) -> Option<Air> {
        let by = f64::from(steps);
        let (t, h) = (from.temperature.get(), from.humidity.get());
        Some(match self {
            Self::Drier => Air { humidity: RelHumidity::new(h - 2.0 * by).ok()?, ..*from },
            Self::Damper => Air { humidity: RelHumidity::new(h + 2.0 * by).ok()?, ..*from },
            Self::Cooler => Air { temperature: Celsius::new(t - by).ok()?, ..*from },
            Self::Warmer => Air { temperature: Celsius::new(t + by).ok()?, ..*from },
        })
    }

    /// How far air is outside the maker's window in the respect this way changes.
    fn outside(self, climate: &Climate, air: &Air) -> f64 {
        let (low, high, x) = match self {
            Self::Drier | Self::Damper => (climate.humidity.0.get(), climate.humidity.1.get(), air.humidity.get()),
            Self::Cooler | Self::Warmer => {
                (climate.temperature.0.get(), climate.temperature.1.get(), air.temperature.get())
            }
        };
        (low - x).max(x - high).max(0.0)
    }

    /// Why this air must not be aimed at by going this way; a room already past a guard may still be brought back.
    fn past_a_guard(self, to: &Air) -> Option<&'static str> {
        let (t, h) = (to.temperature.get(), to.humidity.get());
        match self {
            Self::Drier if h < DRIEST_PCT => {
                Some("it would take less than 30\u{a0}%RH: hard on eyes, and no hygrometer is sure there")
            }
            Self::Damper if h > DAMPEST_PCT => Some("it would take more than 60\u{a0}%RH: wet glass and mould"),
            Self::Cooler if t < COOLEST_C => {
                Some("it would take less than 20\u{a0}°C, too cold for a client lying still")
            }
            Self::Warmer if t > WARMEST_C => Some("it would take more than 26\u{a0}°C, too warm under a cover"),
            _ => None,
        }
    }

    fn idea(self, air: &Air) -> Idea {
        let (t, h) = (air.temperature.get(), air.humidity.get());
        match self {
            Self::Drier => Idea::new(
                format!("Dry the room to {h:.0}\u{a0}%RH at the same temperature"),
                "drier air is harder on eyes",
            )
            .costing("the dehumidifier's power, and its noise"),
            Self::Damper => Idea::new(
                format!("Humidify the room to {h:.0}\u{a0}%RH at the same temperature"),
                "watch cold glass for wet",
            )
            .costing("water to fill, and the humidifier's power"),
            Self::Cooler => Idea::new(
                format!("Cool the room to {t:.0}\u{a0}°C at the same humidity"),
                "cooling alone raises the humidity; a client lying still needs a cover",
            )
            .costing("the cooler's power, or heating turned down"),
            Self::Warmer => Idea::new(
                format!("Warm the room to {t:.0}\u{a0}°C at the same humidity"),
                "warming alone lowers the humidity, so water must be added to keep it",
            )
            .costing("heating"),
        }
    }
}
