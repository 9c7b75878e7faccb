//! How a pair of hands and an adhesive get on: the three shares, in each draw and over all.
//!
//! With ln h, ln x, ln t normal within a draw, *disturbed* is P(t < h), *cured in the air* P(κt < x), and the *extra
//! holding* E max(0, t − h), which has the closed form of an option to exchange one asset for another (Margrabe,
//! Journal of Finance 33 (1978), from memory; derived again and simulated in the tests).

use crate::base::stats::lattice::POINTS;
use crate::base::stats::normal;
use crate::base::stats::sample::quantile_of;

use super::draws::HandsDraws;
use super::question::{CureClass, Limits};

/// Inner points over which a class's window is averaged within a draw.
const WINDOW_POINTS: usize = 16;

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
    fn of(values: &mut [f64]) -> Self {
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        Self { mean, low: quantile_of(values, 0.1), high: quantile_of(values, 0.9) }
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

    pub(crate) fn outcome(mut self, limits: Limits, placements_per_set: u32) -> Outcome {
        let within = self.disturbed.iter().filter(|d| **d <= limits.disturbed_share).count();
        let disturbed = Spread::of(&mut self.disturbed);
        let extra_hold_s = Spread::of(&mut self.extra_hold_s);
        let minutes = extra_hold_s.mean * f64::from(placements_per_set) / 60.0;
        Outcome {
            disturbed,
            cured_in_air: Spread::of(&mut self.cured_in_air),
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

/// A bottle: one median set time in each draw.
pub(crate) fn of_bottle(hands: &HandsDraws<'_>, ln_set: &[f64], sigma: &[f64]) -> PerDraw {
    let mut all = PerDraw::with_room();
    for i in 0..POINTS {
        let (m, s2) = (ln_set[i], sigma[i] * sigma[i]);
        let ((mu, v), (mu_x, v_x)) = (hands.hands_time[i], hands.travel[i]);
        all.disturbed.push(disturbed(mu, v, m, s2));
        all.cured_in_air.push(cured_in_air(mu_x, v_x, hands.ln_kappa[i], m, s2));
        all.extra_hold_s.push(extra_hold_s(mu, v, m, s2));
    }
    all
}

/// A class: in each draw the mean over its window, log-uniform at the reference, moved by the draw's air.
pub(crate) fn of_class(hands: &HandsDraws<'_>, class: CureClass, ln_factor: &[f64], sigma: f64) -> PerDraw {
    let table = normal::table();
    let (low, high) = class.window();
    let s2 = sigma * sigma;
    let inner: [(f64, f64); WINDOW_POINTS] = std::array::from_fn(|j| {
        let u = (j as f64 + 0.5) / WINDOW_POINTS as f64;
        let ln = low.ln() + u * (high / low).ln();
        (ln, (ln + 0.5 * s2).exp())
    });
    let mut all = PerDraw::with_room();
    for (i, ln_factor) in ln_factor.iter().enumerate() {
        let ((mu, v), (mu_x, v_x)) = (hands.hands_time[i], hands.travel[i]);
        let (spread, spread_x) = ((v + s2).sqrt(), (v_x + s2).sqrt());
        let (factor, h) = (ln_factor.exp(), (mu + 0.5 * v).exp());
        let before_contact = mu_x - hands.ln_kappa[i];
        let (mut in_hand, mut in_air, mut held) = (0.0, 0.0, 0.0);
        for (ln, t) in inner {
            let m = ln + ln_factor;
            let d1 = (m - mu + s2) / spread;
            in_hand += table.cdf((mu - m) / spread);
            in_air += table.cdf((before_contact - m) / spread_x);
            held += (t * factor * table.cdf(d1) - h * table.cdf(d1 - spread)).max(0.0);
        }
        let points = WINDOW_POINTS as f64;
        all.disturbed.push(in_hand / points);
        all.cured_in_air.push(in_air / points);
        all.extra_hold_s.push(held / points);
    }
    all
}
