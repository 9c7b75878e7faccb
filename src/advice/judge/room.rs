//! A room drawn once for all its artists: air, classes and shelf in each draw, before any hands come in.

use crate::adhesives::set_time::{Openness, Times, times};
use crate::base::stats::sample::quantile_of;
use crate::base::units::Seconds;

use super::draws::{AdhesiveDraws, AirDraws, HandsTables, openness_draws};
use super::question::{Question, ShelfBottle};
use super::shares::{self, SetTimeDraws};
use super::stand::fresh;
use super::verdict::Verdict;
use super::{BottleJudged, ClassJudged, Judgement, conclude};

/// The part of a judgement that does not depend on the hands.
#[derive(Debug, Clone)]
pub struct RoomDraws {
    any_adhesive: AnyAdhesive,
    shelf: ShelfDraws,
}

/// The bottles of it alone: what a board of many artists and rooms needs.
#[derive(Debug, Clone)]
pub(crate) struct ShelfDraws(Vec<DrawnBottle>);

/// What air, bead and liquids do to an adhesive of a class.
#[derive(Debug, Clone)]
struct AnyAdhesive {
    ln_factor: Vec<f64>,
    /// Median of the factor.
    factor: f64,
    sigma: f64,
    ln_kappa: Vec<f64>,
}

#[derive(Debug, Clone)]
struct DrawnBottle {
    set: SetTimeDraws,
    ln_kappa: Vec<f64>,
    set_time: Times,
    open_time: Times,
    outside_climate: bool,
}

impl RoomDraws {
    /// Draws the room of a question: its air, bead, pick-up, liquids, and shelf.
    #[must_use]
    pub fn of(q: &Question<'_>) -> Self {
        let air = AirDraws::of(&q.room, None);
        Self { any_adhesive: AnyAdhesive::of(q, &air), shelf: ShelfDraws::in_air(q, &air) }
    }

    /// Judges one pair of hands in this room. The question must ask about the room, bead, pick-up, liquids and shelf
    /// that were drawn; hands, technique, placements, classes, limits and bars may differ from artist to artist.
    ///
    /// # Panics
    /// When the question holds no class, or another number of bottles than were drawn.
    #[must_use]
    pub fn judge(&self, q: &Question<'_>) -> Judgement {
        self.judge_by(q, &HandsTables::of(q.hands))
    }

    /// As [`RoomDraws::judge`], by tables of these hands already made.
    ///
    /// # Panics
    /// As [`RoomDraws::judge`].
    pub(crate) fn judge_by(&self, q: &Question<'_>, tables: &HandsTables) -> Judgement {
        assert!(!q.classes.is_empty(), "a question holds at least one class");
        conclude(q, self.classes(q, tables), self.shelf.judge(q, tables))
    }

    fn classes(&self, q: &Question<'_>, tables: &HandsTables) -> Vec<ClassJudged> {
        let any = &self.any_adhesive;
        let hands = tables.with_openness(any.ln_kappa.clone());
        q.classes
            .iter()
            .map(|class| {
                let all = shares::of_class(&hands, *class, &any.ln_factor, any.sigma);
                let outcome = all.outcome(q.limits, q.work.placements_per_set);
                let (low, high) = class.window();
                ClassJudged {
                    class: *class,
                    verdict: Verdict::of(&outcome),
                    outcome,
                    here: (Seconds::clamped(low * any.factor), Seconds::clamped(high * any.factor)),
                }
            })
            .collect()
    }
}

impl ShelfDraws {
    /// Draws the shelf of a question in its room.
    pub(crate) fn of(q: &Question<'_>) -> Self {
        Self::in_air(q, &AirDraws::of(&q.room, None))
    }

    fn in_air(q: &Question<'_>, air: &AirDraws) -> Self {
        Self(q.bottles.iter().map(|bottle| DrawnBottle::of(q, air, bottle)).collect())
    }

    /// As [`RoomDraws::judge`], the bottles alone.
    ///
    /// # Panics
    /// When the question holds another number of bottles than were drawn.
    pub(crate) fn judge(&self, q: &Question<'_>, tables: &HandsTables) -> Vec<BottleJudged> {
        assert_eq!(q.bottles.len(), self.0.len(), "the shelf that was drawn");
        let judged = |(b, bottle): (usize, &DrawnBottle)| {
            let DrawnBottle { set, ln_kappa, set_time, open_time, outside_climate } = bottle;
            let hands = tables.with_openness(ln_kappa.clone());
            let all = shares::of_bottle(&hands, set);
            let outcome = all.outcome(q.limits, q.work.placements_per_set);
            let not_today = q.not_today(b);
            let verdict = match (not_today, outside_climate) {
                (Some(_), _) => Verdict::NotForToday,
                (None, true) => Verdict::at_most_near(&outcome),
                (None, false) => Verdict::of(&outcome),
            };
            BottleJudged {
                outcome,
                verdict,
                not_today,
                outside_climate: *outside_climate,
                set_time: *set_time,
                open_time: *open_time,
            }
        };
        self.0.iter().enumerate().map(judged).collect()
    }
}

impl AnyAdhesive {
    fn of(q: &Question<'_>, air: &AirDraws) -> Self {
        let at = fresh(q.room.air, q.work.bead, q.work.liquids);
        let draws = AdhesiveDraws::of_class(q.any_adhesive, &at, None);
        let ln_factor = draws.ln_set_time(air);
        Self {
            factor: quantile_of(&mut ln_factor.clone(), 0.5).exp(),
            ln_factor,
            sigma: q.any_adhesive.sigma,
            ln_kappa: openness_draws(&Openness::untested(), q.work.pick_up, None),
        }
    }
}

impl DrawnBottle {
    fn of(q: &Question<'_>, air: &AirDraws, bottle: &ShelfBottle) -> Self {
        let at = bottle.conditions(q.room.air, q.work.bead, q.work.liquids);
        let (set, open) = (&bottle.set_time, &bottle.openness);
        let draws = AdhesiveDraws::of_bottle(set, &at, None);
        Self {
            set: SetTimeDraws::new(draws.ln_set_time(air), &draws.sigma),
            ln_kappa: openness_draws(open, q.work.pick_up, None),
            set_time: times(&set.placement(&at, q.room.doubt)),
            open_time: times(&open.open_time(set, &at, q.room.doubt, q.work.pick_up)),
            outside_climate: bottle.climate.is_some_and(|c| !c.holds(&q.room.air)),
        }
    }
}
