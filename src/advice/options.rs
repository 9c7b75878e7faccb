//! What could be changed when something would be better, each with its effect, side effect and the time it takes;
//! and what was considered and left out, with the reason.
//!
//! Never offered: slowing an adhesive by a liquid, mist to speed placing, an accelerator on natural lashes, air past
//! the guards or the maker's window, less airing or extraction.

use serde::{Deserialize, Serialize};

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
    /// The word as printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Minutes => "minutes",
            Self::Hours => "hours",
        }
    }
}

/// One change that would be better.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// What to do, with its side effect.
    pub change: String,
    /// When it works.
    pub takes: Takes,
    /// The verdict after it.
    pub verdict_after: Verdict,
    /// What is to be expected after it.
    pub after: Outcome,
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
    let mut search = Search::new(q, judged);
    if judged.verdict(judged.base) == Verdict::Fits {
        return search.found;
    }
    let tables = HandsTables::of(q.hands, None);
    search.beads(&tables);
    search.classes();
    search.liquids(&tables);
    search.air(&tables);
    search.never();
    let mut found = search.found;
    found.offers.sort_by(|a, b| a.takes.cmp(&b.takes).then(a.after.ratio().total_cmp(&b.after.ratio())));
    found
}

struct Search<'a> {
    q: &'a Question<'a>,
    judged: &'a Judgement,
    /// Ratio of the base now: an offer must be better.
    now: f64,
    too_quick: bool,
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
            found: Options::default(),
        }
    }

    fn leave_out(&mut self, change: impl Into<String>, why: &'static str) {
        self.found.left_out.push(LeftOut { change: change.into(), why });
    }

    /// Offers a change of bead or liquids to the base, if it helps.
    fn try_with(&mut self, tables: &HandsTables<'_>, bead: Bead, liquids: Liquids, change: String) {
        let stand = Stand::of(self.q, tables, self.judged.base, bead, liquids, None);
        let after = stand.outcome(self.q, &AirDraws::of(&self.q.room, None));
        self.offer(change, Takes::Now, self.verdict(&after, self.q.room.air), after);
    }

    fn offer(&mut self, change: String, takes: Takes, verdict_after: Verdict, after: Outcome) {
        if after.ratio() < 0.98 * self.now {
            self.found.offers.push(Offer { change, takes, verdict_after, after });
        } else {
            self.leave_out(change, "it would not be better here");
        }
    }

    /// The verdict on the base in some air.
    fn verdict(&self, after: &Outcome, air: Air) -> Verdict {
        let outside = match self.judged.base {
            Subject::Bottle(b) => self.q.bottles[b].climate.is_some_and(|c| !c.holds(&air)),
            Subject::Class(_) => false,
        };
        if outside { Verdict::at_most_near(after) } else { Verdict::of(after) }
    }

    /// One step of bead, and at most one step from what was tested.
    fn beads(&mut self, tables: &HandsTables<'_>) {
        let work = self.q.work;
        for bead in Bead::ALL {
            if (bead.step() - work.bead.step()).abs() != 1 {
                continue;
            }
            let change = match bead {
                Bead::Thin => {
                    "Pick up a thin bead (draw out more slowly); it holds less: not for heavy fans or thick classics, and check five bonds after the first drop"
                }
                Bead::Medium => "Pick up a medium bead",
                Bead::Full => {
                    "Pick up a full bead (draw out faster); it brings stickies and more vapour: keep the extraction close"
                }
            };
            if let Subject::Bottle(b) = self.judged.base
                && !self.q.bottles[b].tested.within_a_step(bead)
            {
                self.leave_out(change, "it is more than one step from any bead this bottle was tested with");
                continue;
            }
            self.try_with(tables, bead, work.liquids, change.to_owned());
        }
    }

    /// The recommended or least bad class in place of the base bottle.
    fn classes(&mut self) {
        let Subject::Bottle(b) = self.judged.base else { return };
        let Some(c) = self.judged.recommended.or(self.judged.least_bad) else { return };
        let judged = &self.judged.classes[c];
        let change = format!(
            "Use an adhesive of the {} class in place of {}, if the studio has one that is known",
            words::class(judged.class),
            self.q.bottles[b].name
        );
        let (verdict, outcome) = (judged.verdict, judged.outcome);
        self.offer(change, Takes::Now, verdict, outcome);
    }

    fn liquids(&mut self, tables: &HandsTables<'_>) {
        let work = self.q.work;
        for liquid in [Liquid::AlcoholPrimer, Liquid::PhPrimer, Liquid::Accelerator] {
            if work.liquids.has(liquid) {
                let change = format!("Leave out the {}; lashes must still be clean and fully dry", liquid.words());
                self.try_with(tables, work.bead, work.liquids.without(liquid), change);
                continue;
            }
            let change = match liquid {
                Liquid::AlcoholPrimer => {
                    "Use an alcohol primer on the natural lashes and let it dry fully; much alcohol dries lashes out"
                }
                Liquid::PhPrimer => "Use a pH primer on the natural lashes and let it dry fully",
                _ => {
                    "Put an accelerator on the strip, never on natural lashes, and only where the adhesive's maker allows it"
                }
            };
            if self.too_quick {
                self.leave_out(change, "a liquid only makes it set faster");
            } else if liquid == Liquid::Accelerator && self.refuses_accelerator() {
                self.leave_out(change, "the maker does not allow it");
            } else {
                self.try_with(tables, work.bead, work.liquids.with(liquid), change.to_owned());
            }
        }
    }

    fn refuses_accelerator(&self) -> bool {
        matches!(self.judged.base, Subject::Bottle(b) if self.q.bottles[b].accelerator_allowed == Some(false))
    }

    /// The nearest air, changed in one respect, in which the base fits.
    fn air(&mut self, tables: &HandsTables<'_>) {
        let work = self.q.work;
        let stand = Stand::of(self.q, tables, self.judged.base, work.bead, work.liquids, None);
        let (t, h) = (self.q.room.air.temperature.get(), self.q.room.air.humidity.get());
        // Slower is cooler or drier.
        let too_quick = self.too_quick;
        let sign = if too_quick { -1.0 } else { 1.0 };
        let cooler: Vec<Air> = (1..=40)
            .filter_map(|k| Celsius::new(t + sign * f64::from(k)).ok())
            .map(|temperature| Air { temperature, ..self.q.room.air })
            .collect();
        let drier: Vec<Air> = (1..=50)
            .filter_map(|k| RelHumidity::new(h + sign * 2.0 * f64::from(k)).ok())
            .map(|humidity| Air { humidity, ..self.q.room.air })
            .collect();
        let way = |down, up| if too_quick { down } else { up };
        let side = way("; drier air is harder on eyes", "; watch cold glass for wet");
        self.nearest_air(
            &stand,
            &drier,
            |a| format!("Bring the room to {:.0}\u{a0}%RH at the same temperature{side}", a.humidity.get()),
            way("Drier air", "Damper air"),
        );
        let side =
            way("; a client lying still needs a cover", "; warming alone lowers the humidity, so add water to keep it");
        self.nearest_air(
            &stand,
            &cooler,
            |a| format!("Bring the room to {:.0}\u{a0}°C at the same humidity{side}", a.temperature.get()),
            way("Cooler air", "Warmer air"),
        );
    }

    fn nearest_air(&mut self, stand: &Stand<'_>, steps: &[Air], say: impl Fn(&Air) -> String, kind: &'static str) {
        let mut held_back = false;
        for air in steps {
            if let Some(outside) = self.past_a_guard(air) {
                self.leave_out(kind, outside);
                held_back = true;
                break;
            }
            let room = RoomNow { air: *air, ..self.q.room };
            let draws = AirDraws::of(&room, None);
            if stand.ratio(self.q, &draws) <= 1.0 {
                let after = stand.outcome(self.q, &draws);
                let verdict = self.verdict(&after, *air);
                self.offer(say(air), Takes::Hours, verdict, after);
                return;
            }
        }
        if !held_back {
            self.leave_out(kind, "no air that can be had makes it fit");
        }
    }

    /// Why this air must not be aimed at. Only what the step itself makes worse counts: a room already too damp may
    /// be dried.
    fn past_a_guard(&self, air: &Air) -> Option<&'static str> {
        let (from, to) = (self.q.room.air, air);
        if to.temperature < from.temperature && to.temperature.get() < COOLEST_C {
            return Some("it would take less than 20\u{a0}°C, too cold for a client lying still");
        }
        if to.temperature > from.temperature && to.temperature.get() > WARMEST_C {
            return Some("it would take more than 26\u{a0}°C, too warm under a cover");
        }
        if to.humidity < from.humidity && to.humidity.get() < DRIEST_PCT {
            return Some("it would take less than 30\u{a0}%RH, too dry for eyes and too uncertain");
        }
        if to.humidity > from.humidity && to.humidity.get() > DAMPEST_PCT {
            return Some("it would take more than 60\u{a0}%RH: wet glass and mould");
        }
        let outside = match self.judged.base {
            Subject::Bottle(b) => self.q.bottles[b].climate.is_some_and(|c| !c.holds(to) && c.holds(&from)),
            Subject::Class(_) => false,
        };
        outside.then_some("it would leave the air the maker prints it for")
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
