//! The strip of seconds that suits a pair of hands, whatever the adhesive.

use crate::base::stats::lattice::POINTS;
use crate::base::stats::normal;
use crate::base::stats::sample::quantile_of;
use crate::base::units::Seconds;

use super::judge::{HandsDraws, HandsTables, Limits, Question, Stand, Subject, extra_hold_s};

/// Set times that suit: from where disturbed bonds reach their limit to where holding reaches its own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suits {
    /// Quickest median set time that suits.
    pub from: Seconds,
    /// Slowest.
    pub to: Seconds,
}

/// The strip for these hands, with the scatter and openness of an adhesive nobody has tested; `None`: no time suits.
#[must_use]
pub fn suits(q: &Question<'_>) -> Option<Suits> {
    suits_by(q, &HandsTables::of(q.hands))
}

/// As [`suits`], by tables of these hands already made.
pub(crate) fn suits_by(q: &Question<'_>, tables: &HandsTables) -> Option<Suits> {
    let stand = Stand::of(q, tables, Subject::Class(0), q.work.bead, q.work.liquids, None);
    let (mut low, mut high) = edges(&stand.hands, &stand.adhesive.sigma, q.limits, q.work.placements_per_set);
    let (from, to) = (quantile_of(&mut low, 0.5).exp(), quantile_of(&mut high, 0.5).exp());
    (from <= to).then(|| Suits { from: Seconds::clamped(from), to: Seconds::clamped(to) })
}

/// ln of both edges in each draw.
pub(crate) fn edges(
    hands: &HandsDraws<'_>,
    sigma: &[f64],
    limits: Limits,
    placements_per_set: u32,
) -> (Vec<f64>, Vec<f64>) {
    let z = normal::quantile(1.0 - limits.disturbed_share);
    let hold = limits.extra_hold_min_per_set * 60.0 / f64::from(placements_per_set.max(1));
    let mut low = Vec::with_capacity(POINTS);
    let mut high = Vec::with_capacity(POINTS);
    for ((mu, v), sigma) in hands.hands_time.iter().zip(sigma) {
        let s2 = sigma * sigma;
        low.push(mu + z * (v + s2).sqrt());
        high.push(slowest(*mu, *v, s2, hold));
    }
    (low, high)
}

/// ln of the median set time at which the mean extra holding reaches `hold` seconds a placement.
///
/// The holding is a convex, rising function of ln t, at least E t − E h; so Newton's steps from the time at which
/// that bound reaches `hold` come down to the root and never pass it.
fn slowest(mu: f64, v: f64, s2: f64, hold: f64) -> f64 {
    let spread = (v + s2).sqrt();
    let mut m = ((mu + 0.5 * v).exp() + hold).ln() - 0.5 * s2;
    for _ in 0..40 {
        let slope = (m + 0.5 * s2).exp() * normal::cdf_quick((m - mu + s2) / spread);
        let step = (extra_hold_s(mu, v, m, s2) - hold) / slope.max(1e-12);
        m -= step;
        if step.abs() < 1e-6 {
            break;
        }
    }
    m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_the_slow_edge_the_holding_is_the_limit() {
        for (mu, v, s2, hold) in
            [(0.0, 0.1, 0.02, 4.0), (0.9, 0.4, 0.1, 1.0), (-0.5, 0.02, 0.3, 0.2), (0.3, 2.4, 0.04, 5.0)]
        {
            let m = slowest(mu, v, s2, hold);
            assert!((extra_hold_s(mu, v, m, s2) / hold - 1.0).abs() < 1e-3, "{mu} {v} {s2} {hold}: {m}");
        }
    }
}
