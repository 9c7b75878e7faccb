//! A normal with unknown mean and spread, learned from placements that come in sessions.
//!
//! Conjugate normal-inverse-gamma arithmetic as in Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.3 (from
//! memory), on an effective number of placements: those of one session resemble each other, so that twenty from one
//! morning tell less than twenty from five.

use serde::{Deserialize, Serialize};

use crate::base::stats::{gamma, mixture::Mixture, mixture::Part, normal, student};

/// Placements the starting guess is worth, for the mean.
pub(super) const PRIOR_PLACEMENTS: f64 = 1.0;
/// Shape of the starting guess of the variance.
pub(super) const PRIOR_SHAPE: f64 = 3.0;
/// Scale of the starting guess of the variance: a log spread of about 0.35.
pub(super) const PRIOR_SCALE: f64 = 3.0 * 0.35 * 0.35;
/// Likeness of placements within a session when only one session was timed.
pub(super) const LIKENESS_OF_ONE_SESSION: f64 = 0.15;

/// What is kept of one quantity: enough for every later page, however many placements were timed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Nig {
    /// Effective number of placements, 0 when untimed.
    pub effective: f64,
    /// Centre of the mean of the logarithm.
    pub mean: f64,
    /// Scale of the variance.
    pub scale: f64,
}

impl Nig {
    /// Nothing timed: the starting guess around `prior_mean` (a natural logarithm of seconds).
    #[must_use]
    pub const fn untimed(prior_mean: f64) -> Self {
        Self { effective: 0.0, mean: prior_mean, scale: PRIOR_SCALE }
    }

    /// Learns from logarithms grouped by session. Empty sessions are ignored.
    #[must_use]
    pub fn fit(prior_mean: f64, sessions: &[Vec<f64>]) -> Self {
        let Some(sums) = Sums::of(sessions) else { return Self::untimed(prior_mean) };
        let effective = sums.n / sums.design_effect();
        let squares = sums.total_squares() * effective / sums.n;
        let k = PRIOR_PLACEMENTS + effective;
        let off = sums.mean - prior_mean;
        Self {
            effective,
            mean: (PRIOR_PLACEMENTS * prior_mean + effective * sums.mean) / k,
            scale: PRIOR_SCALE + 0.5 * squares + PRIOR_PLACEMENTS * effective * off * off / (2.0 * k),
        }
    }

    /// A share `f` (0…1) of the way from this fit to another.
    #[inline]
    #[must_use]
    pub fn towards(&self, other: &Self, f: f64) -> Self {
        let mix = |a: f64, b: f64| a + f * (b - a);
        Self {
            effective: mix(self.effective, other.effective),
            mean: mix(self.mean, other.mean),
            scale: mix(self.scale, other.scale),
        }
    }

    /// Shape of the variance's inverse gamma.
    #[must_use]
    pub fn shape(&self) -> f64 {
        PRIOR_SHAPE + 0.5 * self.effective
    }

    /// What the mean is worth, in placements.
    #[must_use]
    pub fn worth(&self) -> f64 {
        PRIOR_PLACEMENTS + self.effective
    }

    /// Best guess of the log spread: the root of the mean variance.
    #[must_use]
    pub fn spread(&self) -> f64 {
        (self.scale / (self.shape() - 1.0)).sqrt()
    }

    /// The logarithm of seconds below which a new placement stays with probability `p`, the doubt about mean and
    /// spread included: a Student's t.
    #[must_use]
    pub fn new_placement(&self, p: f64) -> f64 {
        let scale = (self.scale / self.shape() * (1.0 + 1.0 / self.worth())).sqrt();
        self.mean + scale * student::quantile(p, 2.0 * self.shape())
    }

    /// The logarithm of the share-`p` quantile of placements (0.5 the median, 0.9 "nine in ten are quicker"), as
    /// (best guess, lower, upper) with `within` (0.9: nine in ten) of the doubt between the last two.
    #[must_use]
    pub fn quantile_with_doubt(&self, p: f64, within: f64) -> (f64, f64, f64) {
        let tail = 0.5 * (1.0 - within);
        if (p - 0.5).abs() < 1e-12 {
            // The mean alone is a Student's t.
            let sd = (self.scale / (self.shape() * self.worth())).sqrt();
            let reach = student::quantile(1.0 - tail, 2.0 * self.shape()) * sd;
            return (self.mean, self.mean - reach, self.mean + reach);
        }
        // Otherwise a mixture over the variance, at the middles of 64 equal slices of its probability.
        const SLICES: usize = 64;
        let z = normal::quantile(p);
        let parts = (0..SLICES)
            .map(|i| {
                let score = normal::quantile((i as f64 + 0.5) / SLICES as f64);
                let variance = self.scale / gamma::quantile_at_score(self.shape(), score);
                Part { weight: 1.0, mean: self.mean + z * variance.sqrt(), sd: (variance / self.worth()).sqrt() }
            })
            .collect();
        let doubt = Mixture::new(parts);
        (doubt.quantile(0.5), doubt.quantile(tail), doubt.quantile(1.0 - tail))
    }
}

/// Sums over sessions of logarithms.
#[derive(Debug, Clone)]
pub(super) struct Sums {
    /// Placements.
    pub(super) n: f64,
    /// Sessions with at least one placement.
    pub(super) sessions: f64,
    /// Plain mean of all placements.
    pub(super) mean: f64,
    between: f64,
    within: f64,
}

impl Sums {
    /// `None` when nothing was timed.
    pub(super) fn of(sessions: &[Vec<f64>]) -> Option<Self> {
        let n: usize = sessions.iter().map(Vec::len).sum();
        if n == 0 {
            return None;
        }
        let mean = sessions.iter().flatten().sum::<f64>() / n as f64;
        let (mut between, mut within, mut count) = (0.0, 0.0, 0.0);
        for session in sessions.iter().filter(|s| !s.is_empty()) {
            let own = session.iter().sum::<f64>() / session.len() as f64;
            count += 1.0;
            between += session.len() as f64 * (own - mean).powi(2);
            within += session.iter().map(|y| (y - own).powi(2)).sum::<f64>();
        }
        Some(Self { n: n as f64, sessions: count, mean, between, within })
    }

    /// Squares about the plain mean.
    pub(super) fn total_squares(&self) -> f64 {
        self.between + self.within
    }

    /// Likeness ρ of two placements of one session, drawn towards 0.15 by four sessions' worth.
    pub(super) fn likeness(&self) -> f64 {
        if self.sessions < 2.0 {
            return LIKENESS_OF_ONE_SESSION;
        }
        let per_session = self.n / self.sessions;
        let between = self.between / (self.sessions - 1.0);
        let within = if self.n > self.sessions { self.within / (self.n - self.sessions) } else { 0.0 };
        let whole = between + (per_session - 1.0) * within;
        let raw = if whole > 0.0 { ((between - within) / whole).max(0.0) } else { 0.0 };
        (self.sessions * raw + 4.0 * LIKENESS_OF_ONE_SESSION) / (self.sessions + 4.0)
    }

    /// How many placements are worth one independent placement.
    pub(super) fn design_effect(&self) -> f64 {
        1.0 + (self.n / self.sessions - 1.0) * self.likeness()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_placement_moves_the_mean_half_way() {
        let fit = Nig::fit(0.0, &[vec![1.0]]);
        assert!((fit.mean - 0.5).abs() < 1e-12 && (fit.effective - 1.0).abs() < 1e-12);
        // β = 3·0.35² + 1·1·1²/(2·2)
        assert!((fit.scale - (0.3675 + 0.25)).abs() < 1e-12);
    }

    #[test]
    fn placements_of_one_session_count_less_than_the_same_over_many() {
        let y: Vec<f64> = (0..20).map(|i| 0.1 * f64::from(i % 5)).collect();
        let one = Nig::fit(0.0, std::slice::from_ref(&y));
        let four = Nig::fit(0.0, &y.chunks(5).map(<[f64]>::to_vec).collect::<Vec<_>>());
        assert!((one.effective - 20.0 / (1.0 + 19.0 * 0.15)).abs() < 1e-9);
        assert!(four.effective > one.effective);
    }

    #[test]
    fn sessions_that_differ_lower_the_effective_number() {
        let alike = Nig::fit(0.0, &[vec![0.0, 0.2, 0.4], vec![0.0, 0.2, 0.4], vec![0.0, 0.2, 0.4]]);
        let apart = Nig::fit(0.0, &[vec![0.0, 0.1, 0.2], vec![1.0, 1.1, 1.2], vec![2.0, 2.1, 2.2]]);
        assert!(apart.effective < 0.7 * alike.effective, "{} {}", apart.effective, alike.effective);
    }

    #[test]
    fn the_nine_in_ten_quantile_lies_above_the_median_and_its_doubt_shrinks() {
        let y: Vec<Vec<f64>> = (0..12).map(|s| (0..10).map(|i| 0.06 * f64::from((i * 7 + s) % 10)).collect()).collect();
        let few = Nig::fit(0.0, &y[..2]);
        let many = Nig::fit(0.0, &y);
        for fit in [few, many] {
            let (median, ..) = fit.quantile_with_doubt(0.5, 0.9);
            let (p90, low, high) = fit.quantile_with_doubt(0.9, 0.9);
            assert!(median < p90 && low < p90 && p90 < high);
        }
        let width = |f: Nig| {
            let (_, low, high) = f.quantile_with_doubt(0.9, 0.9);
            high - low
        };
        assert!(width(many) < 0.6 * width(few));
    }
}
