//! From what is known of a bottle to seconds in this air.

use super::design::{Parameter, Row, coolness, dryness, row};
use super::posterior::{Posterior, Scatter};
use super::prior::SESSION_SD;
use crate::adhesives::{AirDoubt, Conditions};
use crate::base::stats::mixture::{Mixture, Part};
use crate::base::units::Seconds;

/// A time with eight in ten of its possibilities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times {
    /// Half lie below.
    pub median: Seconds,
    /// One in ten lies below.
    pub low: Seconds,
    /// One in ten lies above.
    pub high: Seconds,
}

/// Reads 10, 50 and 90 % off a mixture of logarithms of seconds.
#[must_use]
pub fn times(ln_seconds: &Mixture) -> Times {
    let at = |p| Seconds::clamped(ln_seconds.quantile(p).exp());
    Times { median: at(0.5), low: at(0.1), high: at(0.9) }
}

/// How a prediction was learned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    /// Set-time tests of this bottle.
    pub tests: u32,
    /// Share of the doubt about the mean of ln t, in variance, that the tests have taken away: 0 label only, towards
    /// 1 well tested.
    pub share: f64,
}

/// Nodes and weights of the seven-point Gauss–Hermite rule for a standard normal.
const HERMITE: [(f64, f64); 7] = [
    (0.0, 0.457_142_857_142_857_1),
    (1.154_405_394_739_968_2, 0.240_123_178_605_012_6),
    (-1.154_405_394_739_968_2, 0.240_123_178_605_012_6),
    (2.366_759_410_734_541_5, 0.030_757_123_967_586_5),
    (-2.366_759_410_734_541_5, 0.030_757_123_967_586_5),
    (3.750_439_717_725_742_5, 0.000_548_268_855_972_2),
    (-3.750_439_717_725_742_5, 0.000_548_268_855_972_2),
];

impl Posterior {
    /// ln seconds of a *new placement of a new sitting* in these conditions, the air known as well as said.
    #[must_use]
    pub fn placement(&self, at: &Conditions, doubt: AirDoubt) -> Mixture {
        Mixture::new(self.parts(at, doubt, |s| SESSION_SD.powi(2) + s.sigma.powi(2)))
    }

    /// ln seconds of the *mean* bond in these conditions: without the sitting's error and the scatter.
    #[must_use]
    pub fn mean_bond(&self, at: &Conditions, doubt: AirDoubt) -> Mixture {
        Mixture::new(self.parts(at, doubt, |_| 0.0))
    }

    /// The same as [`Posterior::placement`] with one normal for each four neighbouring scatters, of their mean and
    /// spread: close enough where the result is spread out further anyway.
    pub(super) fn placement_coarsely(&self, at: &Conditions, doubt: AirDoubt) -> Mixture {
        let parts = self.parts(at, doubt, |s| SESSION_SD.powi(2) + s.sigma.powi(2));
        let group = 4 * parts.len() / self.scatters().len();
        let merged = parts
            .chunks(group)
            .map(|group| {
                let own = Mixture::new(group.to_vec());
                Part { weight: group.iter().map(|p| p.weight).sum(), mean: own.mean(), sd: own.sd() }
            })
            .collect();
        Mixture::new(merged)
    }

    /// How much the tests have taught about the mean bond in these conditions.
    #[must_use]
    pub fn learned(&self, prior: &super::Prior, at: &Conditions) -> Learned {
        let x = row(at);
        let before = Self::of(prior, &super::Sums::none()).line(&x).1.powi(2);
        let after = self.line(&x).1.powi(2);
        Learned { tests: self.tests + self.sibling_tests, share: (1.0 - after / before).clamp(0.0, 1.0) }
    }

    /// One part for each scatter and, when the humidity is in doubt, each node of a seven-point rule over it.
    /// The temperature enters as a straight line, so its doubt adds variance exactly.
    fn parts(&self, at: &Conditions, doubt: AirDoubt, own_variance: impl Fn(&Scatter) -> f64) -> Vec<Part> {
        let u_humidity = doubt.humidity.get();
        let nodes = if u_humidity > 0.0 { &HERMITE[..] } else { &HERMITE[..1] };
        let total: f64 = nodes.iter().map(|(_, w)| w).sum();
        let cool_sd = coolness(22.0 - doubt.temperature.get());
        let q = Parameter::Temperature.place();
        let mut x: Row = row(at);
        let mut parts = Vec::with_capacity(self.scatters().len() * nodes.len());
        for s in self.scatters() {
            for (z, weight) in nodes {
                x[Parameter::Humidity.place()] = dryness(at.air.humidity.get() + z * u_humidity);
                let air = cool_sd.powi(2) * (s.covariance[(q, q)] + s.mean[q].powi(2));
                parts.push(Part {
                    weight: s.weight * weight / total,
                    mean: s.mean.dot(&x),
                    sd: (s.variance_of(&x) + air + own_variance(s)).max(1e-12).sqrt(),
                });
            }
        }
        parts
    }
}
