//! How a pair of hands and an adhesive get on: the three shares, in each draw and over all.
//!
//! With ln h, ln x, ln t normal within a draw, *disturbed* is P(t < h), *cured in the air* P(κt < x), and the *extra
//! holding* E max(0, t − h), which has the closed form of an option to exchange one asset for another (Margrabe,
//! Journal of Finance 33 (1978), from memory; derived again and simulated in the tests).

use crate::base::stats::lattice::POINTS;
use crate::base::stats::normal;
use crate::base::stats::sample::two_quantiles_of;

use super::draws::HandsDraws;
use super::question::{CureClass, Limits};

/// Mean over the draws, and what one draw in ten lies below and above.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Mean.
    pub mean: f64,
    /// 10 % quantile.
    pub low: f64,
    /// 90 % quantile.
    pub high: f64,
}

impl Spread {
    fn of(values: &[f64]) -> Self {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let (low, high) = two_quantiles_of(values, 0.1, 0.9);
        Self { mean, low, high }
    }
}

/// What is to be expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Share of placements still being moved after the bond began to set, 0…1.
    pub disturbed: Spread,
    /// Share of placements whose bead set before contact, 0…1.
    pub cured_in_air: Spread,
    /// Seconds longer than the hands need that a placement must be kept still.
    pub extra_hold_s: Spread,
    /// The mean of that over a set, in minutes.
    pub extra_hold_min_per_set: f64,
    /// Share of the draws in which the disturbed share is within the limit, 0…1.
    pub sure: f64,
    /// Mean disturbed ÷ limit.
    pub disturbed_ratio: f64,
    /// Mean extra minutes ÷ limit.
    pub holding_ratio: f64,
}

impl Outcome {
    /// The larger of the two ratios: at most 1 fits.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.disturbed_ratio.max(self.holding_ratio)
    }
}

/// Share and seconds in each draw.
pub(crate) struct PerDraw {
    pub(crate) disturbed: Vec<f64>,
    pub(crate) cured_in_air: Vec<f64>,
    pub(crate) extra_hold_s: Vec<f64>,
}

impl PerDraw {
    fn with_room() -> Self {
        Self {
            disturbed: Vec::with_capacity(POINTS),
            cured_in_air: Vec::with_capacity(POINTS),
            extra_hold_s: Vec::with_capacity(POINTS),
        }
    }

    pub(crate) fn outcome(&self, limits: Limits, placements_per_set: u32) -> Outcome {
        let within = self.disturbed.iter().filter(|d| **d <= limits.disturbed_share).count();
        let disturbed = Spread::of(&self.disturbed);
        let extra_hold_s = Spread::of(&self.extra_hold_s);
        let minutes = extra_hold_s.mean * f64::from(placements_per_set) / 60.0;
        Outcome {
            disturbed,
            cured_in_air: Spread::of(&self.cured_in_air),
            extra_hold_s,
            extra_hold_min_per_set: minutes,
            sure: within as f64 / POINTS as f64,
            disturbed_ratio: disturbed.mean / limits.disturbed_share,
            holding_ratio: minutes / limits.extra_hold_min_per_set,
        }
    }
}

/// Share of placements disturbed when ln h has mean `mu` and variance `v` and ln t mean `m` and variance `s2`.
///
/// ```
/// use stillroom::advice::judge::disturbed;
/// use stillroom::base::stats::normal;
/// // Hands of 1 s against 2 s, spreads 0.3 and 0.15: Φ(ln ½ ÷ √(0.09 + 0.0225)) = 1.9 in 100.
/// assert!((disturbed(0.0, 0.09, 2.0_f64.ln(), 0.0225) - normal::cdf(-2.066_6)).abs() < 1e-4);
/// ```
#[must_use]
pub fn disturbed(mu: f64, v: f64, m: f64, s2: f64) -> f64 {
    normal::cdf_quick((mu - m) / (v + s2).sqrt())
}

/// Share of placements cured in the air: ln x has mean `mu` and variance `v`, ln t mean `m` and variance `s2`.
#[must_use]
pub fn cured_in_air(mu: f64, v: f64, ln_kappa: f64, m: f64, s2: f64) -> f64 {
    normal::cdf_quick((mu - ln_kappa - m) / (v + s2).sqrt())
}

/// Mean seconds of extra holding: ln h has mean `mu` and variance `v`, ln t mean `m` and variance `s2`.
#[must_use]
pub fn extra_hold_s(mu: f64, v: f64, m: f64, s2: f64) -> f64 {
    let s = (v + s2).sqrt();
    let d1 = (m - mu + s2) / s;
    let (t, h) = ((m + 0.5 * s2).exp(), (mu + 0.5 * v).exp());
    (t * normal::cdf_quick(d1) - h * normal::cdf_quick(d1 - s)).max(0.0)
}

/// A bottle's set time in each draw.
#[derive(Debug, Clone)]
pub(crate) struct SetTimeDraws {
    /// ln of the median.
    ln_median: Vec<f64>,
    /// Variance of the logarithm between repeats.
    variance: Vec<f64>,
    /// Mean in seconds.
    mean: Vec<f64>,
}

impl SetTimeDraws {
    pub(crate) fn new(ln_median: Vec<f64>, sigma: &[f64]) -> Self {
        let variance: Vec<f64> = sigma.iter().map(|s| s * s).collect();
        let mean = ln_median.iter().zip(&variance).map(|(m, s2)| (m + 0.5 * s2).exp()).collect();
        Self { ln_median, variance, mean }
    }
}

/// A bottle: one median set time in each draw.
pub(crate) fn of_bottle(hands: &HandsDraws<'_>, set: &SetTimeDraws) -> PerDraw {
    let table = normal::table();
    let mut all = PerDraw::with_room();
    for (i, (m, s2)) in set.ln_median.iter().zip(&set.variance).enumerate() {
        let ((mu, v), (mu_x, v_x)) = (hands.hands_time[i], hands.travel[i]);
        let per_spread = (v + s2).sqrt().recip();
        let late = (m - mu) * per_spread;
        let h = (mu + 0.5 * v).exp();
        let hold = set.mean[i] * table.cdf(late + s2 * per_spread) - h * table.cdf(late - v * per_spread);
        all.disturbed.push(table.cdf(-late));
        all.cured_in_air.push(table.cdf((mu_x - hands.ln_kappa[i] - m) / (v_x + s2).sqrt()));
        all.extra_hold_s.push(hold.max(0.0));
    }
    all
}

/// A class: in each draw the mean over its window, log-uniform at the reference, moved by the draw's air.
pub(crate) fn of_class(hands: &HandsDraws<'_>, class: CureClass, ln_factor: &[f64], sigma: f64) -> PerDraw {
    let (low, high) = class.window();
    let (low, wide) = (low.ln(), (high / low).ln());
    let mut all = PerDraw::with_room();
    for (i, ln_factor) in ln_factor.iter().enumerate() {
        let window = Window { from: low + ln_factor, wide };
        let ((mu, v), (mu_x, v_x)) = (hands.hands_time[i], hands.travel[i]);
        all.disturbed.push(window.mean_share_below(mu, (v + sigma * sigma).sqrt()));
        all.cured_in_air.push(window.mean_share_below(mu_x - hands.ln_kappa[i], (v_x + sigma * sigma).sqrt()));
        all.extra_hold_s.push(window.mean_hold(mu, v, sigma * sigma));
    }
    all
}

/// A window of ln of the median set time, evenly spread: from `from`, `wide` wide. The means over it are integrals of
/// the normal curve in closed form; they agree with the mean over 16 points of the window to better than a thousandth.
struct Window {
    from: f64,
    wide: f64,
}

impl Window {
    /// Narrower than this a window is taken as its middle: the closed forms would divide rounding by its width.
    const NARROW: f64 = 0.02;
    /// Standard deviations beyond which a share is none at all.
    const FAR: f64 = 6.0;

    fn middle(&self) -> f64 {
        self.from + 0.5 * self.wide
    }

    /// Mean over the window of P(t < y), ln y − ln t having the given sd and ln y the mean `mu`.
    fn mean_share_below(&self, mu: f64, sd: f64) -> f64 {
        let first = (self.from - mu) / sd;
        if first > Self::FAR {
            return 0.0;
        }
        if self.wide < Self::NARROW {
            return normal::cdf_quick((mu - self.middle()) / sd);
        }
        // ∫ Φ(−z) dz = z·Φ(−z) − φ(z)
        let integral = |z: f64| z * normal::cdf_quick(-z) - normal::pdf(z);
        (sd / self.wide * (integral(first + self.wide / sd) - integral(first))).clamp(0.0, 1.0)
    }

    /// Mean over the window of the extra holding: with d₁, d₂ as in [`extra_hold_s`] and s the sd of their
    /// difference, ∫ (E t·Φ(d₁) − E h·Φ(d₂)) dm = E t·Φ(d₁) − E h·Φ(d₂) − E h·s·(d₂·Φ(d₂) + φ(d₂)), by parts.
    fn mean_hold(&self, mu: f64, v: f64, s2: f64) -> f64 {
        if self.wide < Self::NARROW {
            return extra_hold_s(mu, v, self.middle(), s2);
        }
        let sd = (v + s2).sqrt();
        let h = (mu + 0.5 * v).exp();
        let integral = |m: f64| {
            let d1 = (m - mu + s2) / sd;
            let d2 = d1 - sd;
            let below = normal::cdf_quick(d2);
            (m + 0.5 * s2).exp() * normal::cdf_quick(d1) - h * (below + sd * (d2 * below + normal::pdf(d2)))
        };
        ((integral(self.from + self.wide) - integral(self.from)) / self.wide).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_over_a_window_is_that_over_many_points_of_it() {
        for (low, high) in [(0.3_f64, 0.5_f64), (1.0, 2.0), (5.0, 8.0), (0.05, 600.0), (1.0, 1.001)] {
            for (mu, v, s2) in [(0.3, 0.1, 0.0225), (1.2, 0.02, 0.0225), (-0.5, 0.6, 0.0225)] {
                let window = Window { from: low.ln(), wide: (high / low).ln() };
                let over = |points: u32, f: &dyn Fn(f64) -> f64| {
                    (0..points)
                        .map(|j| f(window.from + window.wide * (f64::from(j) + 0.5) / f64::from(points)))
                        .sum::<f64>()
                        / f64::from(points)
                };
                let share = window.mean_share_below(mu, f64::sqrt(v + s2));
                let hold = window.mean_hold(mu, v, s2);
                let fine = over(20_000, &|m| disturbed(mu, v, m, s2));
                assert!((share - fine).abs() < 1e-5, "{low} {high} {mu}: {share} {fine}");
                let fine = over(20_000, &|m| extra_hold_s(mu, v, m, s2));
                assert!((hold - fine).abs() < 1e-5 * (1.0 + fine), "{low} {high} {mu}: {hold} {fine}");
                // Sixteen points, which is how the share of a class is defined, for windows as classes have them.
                if high / low < 3.0 {
                    let sixteen = over(16, &|m| disturbed(mu, v, m, s2));
                    assert!((share - sixteen).abs() < 1e-3, "{low} {high} {mu}: {share} {sixteen}");
                }
            }
        }
    }
}
