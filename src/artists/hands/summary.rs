//! What is kept of an artist's timings in one technique.

use serde::{Deserialize, Serialize};

use super::nig::Nig;
use super::sittings::Sittings;
use super::timing::Timing;
use crate::base::stats::openness::{OPENNESS_POINTS, ln_openness, openness_cell};

/// Median travel and settle assumed for every technique until timed, in seconds (common practice).
pub const UNTIMED_TRAVEL_S: f64 = 2.8;
/// See [`UNTIMED_TRAVEL_S`].
pub const UNTIMED_SETTLE_S: f64 = 1.2;

/// What is kept of the timings of one artist in one technique. Its size does not grow with the placements timed.
///
/// *Hands time* is h = settle + travel/κ: a second in the air uses up part of the set, the smaller a part the longer
/// the bead stays open (κ = open time ÷ set time, not known exactly, hence a grid).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hands {
    /// Placements timed.
    pub placements: u32,
    /// Sessions they came in.
    pub sessions: u32,
    /// Logarithm of the travel.
    pub travel: Nig,
    /// Logarithm of the settle.
    pub settle: Nig,
    /// Logarithm of the hands time at each point of the openness grid.
    #[serde(deserialize_with = "whole_grid")]
    hands_time: Vec<Nig>,
}

/// Refuses a kept summary whose grid is not the one this program works on.
fn whole_grid<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Vec<Nig>, D::Error> {
    let grid = Vec::deserialize(from)?;
    if grid.len() == OPENNESS_POINTS {
        Ok(grid)
    } else {
        Err(serde::de::Error::invalid_length(grid.len(), &"41 points"))
    }
}

impl Hands {
    /// The starting guess for hands nobody has timed.
    #[must_use]
    pub fn untimed() -> Self {
        Self::from_timings(&[])
    }

    /// Learns from timings. Placements with a travel or settle of 0 are left out: a logarithm has no place for them,
    /// and nobody places in no time.
    #[must_use]
    pub fn from_timings(timings: &[Timing]) -> Self {
        Self::from_sittings(&Sittings::of(timings, &[]))
    }

    /// Learns from sittings, some of which a second person tapped.
    #[must_use]
    pub fn from_sittings(sittings: &Sittings) -> Self {
        let hands_time = (0..OPENNESS_POINTS)
            .map(|i| {
                let kappa = ln_openness(i).exp();
                let prior = (UNTIMED_SETTLE_S + UNTIMED_TRAVEL_S / kappa).ln();
                Nig::fit(prior, &sittings.hands_time(kappa))
            })
            .collect();
        Self {
            placements: sittings.placements(),
            sessions: sittings.count(),
            travel: Nig::fit(UNTIMED_TRAVEL_S.ln(), &sittings.travel()),
            settle: Nig::fit(UNTIMED_SETTLE_S.ln(), &sittings.settle()),
            hands_time,
        }
    }

    /// The hands time at each point of the openness grid.
    #[must_use]
    pub fn hands_time(&self) -> &[Nig] {
        &self.hands_time
    }

    /// The hands time at any ln κ, interpolated on the grid and held at its ends.
    #[inline]
    #[must_use]
    pub fn hands_time_at(&self, ln_kappa: f64) -> Nig {
        let (cell, f) = openness_cell(ln_kappa);
        self.hands_time[cell].towards(&self.hands_time[cell + 1], f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::artists::hands::sittings::by_session;
    use crate::base::units::Seconds;

    fn timings() -> Vec<Timing> {
        (0..60)
            .map(|i| Timing {
                session: 1 + i / 20,
                travel: Seconds::new(2.0 + 0.07 * f64::from(i % 17)).unwrap(),
                settle: Seconds::new(0.8 + 0.05 * f64::from(i % 11)).unwrap(),
            })
            .collect()
    }

    #[test]
    fn the_kept_summary_agrees_with_a_fresh_fit_between_grid_points() {
        let hands = Hands::from_timings(&timings());
        for ln_kappa in [0.33_f64, 1.0, 1.4, 2.02, 2.5] {
            let kept = hands.hands_time_at(ln_kappa);
            let kappa = ln_kappa.exp();
            let logs: Vec<Vec<f64>> = by_session(&timings())
                .iter()
                .map(|s| s.iter().map(|t| (t.settle.get() + t.travel.get() / kappa).ln()).collect())
                .collect();
            let fresh = Nig::fit((UNTIMED_SETTLE_S + UNTIMED_TRAVEL_S / kappa).ln(), &logs);
            assert!((kept.mean - fresh.mean).abs() < 1e-3);
            assert!((kept.scale / fresh.scale - 1.0).abs() < 1e-2);
            assert!((kept.effective / fresh.effective - 1.0).abs() < 1e-2);
        }
    }

    #[test]
    fn the_order_in_which_timings_arrive_does_not_matter() {
        let mut turned = timings();
        turned.reverse();
        assert_eq!(Hands::from_timings(&turned).sessions, 3);
        let off = Hands::from_timings(&turned).travel.mean - Hands::from_timings(&timings()).travel.mean;
        assert!(off.abs() < 1e-12);
    }

    #[test]
    fn a_summary_survives_being_written_down_and_a_cut_one_is_refused() {
        let hands = Hands::from_timings(&timings());
        let mut written = serde_json::to_value(&hands).unwrap();
        assert_eq!(serde_json::from_value::<Hands>(written.clone()).unwrap().placements, 60);
        written["hands_time"].as_array_mut().unwrap().pop();
        assert!(serde_json::from_value::<Hands>(written).is_err());
    }

    #[test]
    fn untimed_hands_carry_the_starting_guess() {
        let hands = Hands::untimed();
        assert_eq!(hands.placements, 0);
        assert!((hands.hands_time_at(4.0_f64.ln()).mean - (1.2_f64 + 0.7).ln()).abs() < 1e-9);
    }
}
