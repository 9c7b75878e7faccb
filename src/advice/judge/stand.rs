//! One adhesive with one pair of hands, ready to be asked about any air.

use crate::adhesives::{Air, Bead, Conditions, Liquids};

use super::draws::{AdhesiveDraws, AirDraws, Doubt, HandsDraws, HandsTables, openness_draws};
use super::question::{CureClass, Question};
use super::shares::{self, Outcome, PerDraw, SetTimeDraws};
use crate::adhesives::set_time::Openness;

/// A class or a bottle, by its place in the question.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A cure-speed class.
    Class(usize),
    /// A bottle on the shelf.
    Bottle(usize),
}

/// An adhesive and hands, drawn.
pub(crate) struct Stand<'a> {
    pub(crate) hands: HandsDraws<'a>,
    pub(crate) adhesive: AdhesiveDraws,
    class: Option<CureClass>,
}

impl<'a> Stand<'a> {
    /// The subject with this bead and these liquids.
    pub(crate) fn of(
        q: &Question<'_>,
        tables: &'a HandsTables,
        subject: Subject,
        bead: Bead,
        liquids: Liquids,
        held: Option<Doubt>,
    ) -> Self {
        match subject {
            Subject::Bottle(b) => {
                let bottle = &q.bottles[b];
                let at = bottle.conditions(q.room.air, bead, liquids);
                let kappa = openness_draws(&bottle.openness, q.work.pick_up, held);
                Stand {
                    hands: tables.with_openness(kappa),
                    adhesive: AdhesiveDraws::of_bottle(&bottle.set_time, &at, held),
                    class: None,
                }
            }
            Subject::Class(c) => {
                let at = fresh(q.room.air, bead, liquids);
                let kappa = openness_draws(&Openness::untested(), q.work.pick_up, held);
                Stand {
                    hands: tables.with_openness(kappa),
                    adhesive: AdhesiveDraws::of_class(q.any_adhesive, &at, held),
                    class: Some(q.classes[c]),
                }
            }
        }
    }

    fn per_draw(&self, air: &AirDraws) -> PerDraw {
        let ln_set = self.adhesive.ln_set_time(air);
        match self.class {
            None => shares::of_bottle(&self.hands, &SetTimeDraws::new(ln_set, &self.adhesive.sigma)),
            Some(class) => shares::of_class(&self.hands, class, &ln_set, self.adhesive.sigma[0]),
        }
    }

    /// All figures in this air.
    pub(crate) fn outcome(&self, q: &Question<'_>, air: &AirDraws) -> Outcome {
        self.per_draw(air).outcome(q.limits, q.work.placements_per_set)
    }

    /// Mean disturbed and mean extra minutes a set over their limits: enough for a search.
    pub(crate) fn ratio(&self, q: &Question<'_>, air: &AirDraws) -> f64 {
        let all = self.per_draw(air);
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
        let minutes = mean(&all.extra_hold_s) * f64::from(q.work.placements_per_set) / 60.0;
        (mean(&all.disturbed) / q.limits.disturbed_share).max(minutes / q.limits.extra_hold_min_per_set)
    }
}

/// Conditions of a class: freshly opened by definition.
pub(super) fn fresh(air: Air, bead: Bead, liquids: Liquids) -> Conditions {
    Conditions { air, bead, liquids, days_open: 0.0 }
}
