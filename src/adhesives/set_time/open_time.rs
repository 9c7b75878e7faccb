//! Open time: how long a bead can wait in air and still bond.
//!
//! Taken as κ times the set time. κ is not published; ln κ starts as normal about ln 4 with sd 0.4 (an assumption)
//! on a fixed grid and is corrected by tests "placed after x seconds: held or popped".

use serde::{Deserialize, Deserializer, Serialize};

use super::design::row;
use super::posterior::Posterior;
use crate::adhesives::{AirDoubt, Conditions, PickUp};
use crate::base::stats::mixture::{Mixture, Part, weights_from_logs};
use crate::base::stats::normal;
use crate::base::stats::openness::{OPENNESS_MIDDLE, OPENNESS_POINTS, ln_openness, openness_step};
use crate::base::units::Seconds;

/// How sharply a test's outcome turns with the delay, as a log sd.
const SHARPNESS: f64 = 0.25;
/// Log sd of the effect of the pick-up.
pub const PICK_UP_DOUBT: f64 = 0.15;
/// Log sd of κ before any test.
const OPENNESS_SD: f64 = 0.4;

/// One open-time test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenTest {
    /// Seconds between pick-up and contact; above 0.
    pub delay: Seconds,
    /// Whether the bond held.
    pub held: bool,
    /// How the bead sat, when noted.
    pub pick_up: Option<PickUp>,
    /// Air, bead, liquids, age.
    pub conditions: Conditions,
}

/// ln of the factor a pick-up puts on the open time (common practice: a ball keeps its core wet); 0 when not stated.
#[must_use]
pub const fn pick_up_shift(pick_up: Option<PickUp>) -> f64 {
    match pick_up {
        Some(PickUp::Ball) => 0.15,
        Some(PickUp::Coat) => -0.15,
        None => 0.0,
    }
}

/// Probability of each κ on the grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Openness {
    #[serde(deserialize_with = "whole_grid")]
    weights: Vec<f64>,
    /// Open-time tests it was learned from.
    pub tests: u32,
}

/// Refuses a kept summary whose grid is not the one this program works on.
fn whole_grid<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<f64>, D::Error> {
    let grid = Vec::deserialize(from)?;
    if grid.len() == OPENNESS_POINTS {
        Ok(grid)
    } else {
        Err(serde::de::Error::invalid_length(grid.len(), &"41 points"))
    }
}

impl Openness {
    /// Before any test.
    #[must_use]
    pub fn untested() -> Self {
        Self { weights: weights_from_logs(&prior_logs()), tests: 0 }
    }

    /// Learns from tests of the bottle whose set time is given. Tests with a delay of 0 are left out.
    #[must_use]
    pub fn of(bottle: &Posterior, tests: &[OpenTest]) -> Self {
        let mut logs = prior_logs();
        let mut counted = 0;
        for test in tests.iter().filter(|t| t.delay.get() > 0.0) {
            counted += 1;
            let ln_set = bottle.line_mean(&row(&test.conditions));
            let spread = match test.pick_up {
                Some(_) => SHARPNESS.hypot(PICK_UP_DOUBT),
                None => SHARPNESS,
            };
            let shift = pick_up_shift(test.pick_up) + ln_set - test.delay.get().ln();
            for (i, log) in logs.iter_mut().enumerate() {
                let z = (ln_openness(i) + shift) / spread;
                *log += ln_area(if test.held { z } else { -z });
            }
        }
        Self { weights: weights_from_logs(&logs), tests: counted }
    }

    /// Probability of each point of the grid; they sum to 1.
    #[must_use]
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// Best guess of κ: the median of the grid, interpolated.
    #[must_use]
    pub fn median(&self) -> f64 {
        self.ln_at(0.5).exp()
    }

    /// ln κ below which the share `u` (0…1) lies, each grid point spread evenly over its cell.
    #[must_use]
    pub fn ln_at(&self, u: f64) -> f64 {
        let mut below = 0.0;
        let step = openness_step();
        for (i, w) in self.weights.iter().enumerate() {
            if below + w >= u && *w > 0.0 {
                return ln_openness(i) + step * ((u - below) / w - 0.5).clamp(-0.5, 0.5);
            }
            below += w;
        }
        ln_openness(OPENNESS_POINTS - 1) + 0.5 * step
    }

    /// ln seconds a bead of a new placement can wait in these conditions.
    #[must_use]
    pub fn open_time(&self, bottle: &Posterior, at: &Conditions, doubt: AirDoubt, pick_up: Option<PickUp>) -> Mixture {
        let set = bottle.placement_coarsely(at, doubt);
        let extra = if pick_up.is_some() { PICK_UP_DOUBT } else { 0.0 };
        let mut parts = Vec::with_capacity(set.parts().len() * OPENNESS_POINTS);
        for part in set.parts() {
            let sd = part.sd.hypot(extra);
            for (i, w) in self.weights.iter().enumerate() {
                parts.push(Part {
                    weight: part.weight * w,
                    mean: part.mean + ln_openness(i) + pick_up_shift(pick_up),
                    sd,
                });
            }
        }
        Mixture::new(parts)
    }
}

fn prior_logs() -> Vec<f64> {
    (0..OPENNESS_POINTS).map(|i| -0.5 * ((ln_openness(i) - OPENNESS_MIDDLE) / OPENNESS_SD).powi(2)).collect()
}

/// ln of the normal area below z; far out the leading term of its series, which never reaches −∞.
fn ln_area(z: f64) -> f64 {
    if z > -30.0 { normal::cdf(z).max(1e-300).ln() } else { -0.5 * z * z - (-z).ln() - 0.918_938_533_204_672_7 }
}

#[cfg(test)]
mod tests {
    use super::super::{Prior, Sums};
    use super::*;
    use crate::adhesives::{Air, Bead, Liquids};
    use crate::base::units::{Celsius, RelHumidity};

    fn plain() -> Conditions {
        let air = Air { temperature: Celsius::new(22.0).unwrap(), humidity: RelHumidity::new(50.0).unwrap() };
        Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 0.0 }
    }

    fn test(delay: f64, held: bool) -> OpenTest {
        OpenTest { delay: Seconds::new(delay).unwrap(), held, pick_up: None, conditions: plain() }
    }

    #[test]
    fn a_bond_that_held_after_long_means_more_openness_and_one_that_popped_less() {
        let bottle = Posterior::of(&Prior::from_label(None), &Sums::none());
        let start = Openness::untested().median();
        assert!((start - 4.0).abs() < 0.05, "{start}");
        assert!(Openness::of(&bottle, &[test(9.0, true)]).median() > start);
        assert!(Openness::of(&bottle, &[test(4.0, false)]).median() < start);
    }

    #[test]
    fn outlandish_tests_leave_a_usable_answer() {
        let bottle = Posterior::of(&Prior::from_label(None), &Sums::none());
        let wild = Openness::of(&bottle, &vec![test(1e6, true); 300]);
        assert!(wild.median().is_finite() && (wild.weights().iter().sum::<f64>() - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_ball_waits_longer_than_a_coat() {
        let bottle = Posterior::of(&Prior::from_label(None), &Sums::none());
        let open = Openness::untested();
        let median = |p| open.open_time(&bottle, &plain(), AirDoubt::NONE, p).quantile(0.5);
        assert!(median(Some(PickUp::Ball)) > median(None) && median(None) > median(Some(PickUp::Coat)));
        assert!((median(None) - 6.0_f64.ln()).abs() < 0.01);
    }
}
