//! What is assumed of a bottle before its first test.

use serde::{Deserialize, Serialize};

use super::design::{PARAMETERS, Parameter, coolness, dryness};
use super::posterior::Posterior;
use crate::adhesives::Liquid;
use crate::base::units::{Celsius, RelHumidity, Seconds};

/// Log deviation of one bottle from its product.
pub const BOTTLE_SD: f64 = 0.12;
/// Log error that all tests of one sitting share.
pub const SESSION_SD: f64 = 0.08;

/// Log deviation of one product from another: the trade's classes reach from 0.3 to 8 s (common practice). Wide, so that
/// products lend each other what air, bead and liquids do, and hardly their speed.
pub(super) const PRODUCT_SD: f64 = 0.9;

/// ln 1.5: the assumed ln of the factor for 10 °C cooler.
const LN_TEN_DEGREES: f64 = 0.405_465_108_108_164_4;
/// ln 1.35: the assumed ln of the factor for one step of bead.
const LN_BEAD: f64 = 0.300_104_592_450_338_2;
/// How far the labels of different makers differ for the same adhesive, as a log sd.
const LABEL_SD: f64 = 0.35;
/// Log sd when there is no label at all.
const NO_LABEL_SD: f64 = 0.7;
/// A normal has four fifths of itself within ±1.28 sd: the label's window is taken as that.
const WINDOW_IN_SDS: f64 = 2.56;

/// The maker's climate window.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Climate {
    /// Lowest and highest temperature.
    pub temperature: (Celsius, Celsius),
    /// Lowest and highest relative humidity.
    pub humidity: (RelHumidity, RelHumidity),
}

impl Climate {
    /// Whether the air lies inside, edges included.
    #[must_use]
    pub fn holds(&self, air: &crate::adhesives::Air) -> bool {
        let (t, h) = (self.temperature, self.humidity);
        (t.0..=t.1).contains(&air.temperature) && (h.0..=h.1).contains(&air.humidity)
    }
}

/// What the maker prints: a window of seconds, and perhaps the climate it holds in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Label {
    low: f64,
    high: f64,
    /// The climate the window is printed for.
    pub climate: Option<Climate>,
}

impl Label {
    /// A window from `low` to `high`, both above 0 and `low` not above `high`.
    #[must_use]
    pub fn window(low: Seconds, high: Seconds, climate: Option<Climate>) -> Option<Self> {
        let (low, high) = (low.get(), high.get());
        (low > 0.0 && low <= high).then_some(Self { low, high, climate })
    }

    /// One figure x, taken as 0.8x–1.25x; above 0.
    #[must_use]
    pub fn figure(x: Seconds, climate: Option<Climate>) -> Option<Self> {
        let x = x.get();
        (x > 0.0).then_some(Self { low: 0.8 * x, high: 1.25 * x, climate })
    }

    /// The printed window in seconds.
    #[must_use]
    pub fn seconds(&self) -> (f64, f64) {
        (self.low, self.high)
    }
}

/// Means and variances of the parameters before any test; the parameters are independent. The reference's variance
/// is that of the product: the bottle's own deviation is added by the fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Prior {
    pub(super) mean: [f64; PARAMETERS],
    pub(super) variance: [f64; PARAMETERS],
}

impl Prior {
    /// From a label, or without one (`None`: ln 1.5 s with a log sd of 0.7, as wide as the trade's range).
    ///
    /// Marks of the table: humidity none read, range 0.7–1.5 derived; temperature trade pages, 1.0–2.4; bead from the
    /// thickness law of handbooks; liquids and ageing common practice.
    #[must_use]
    pub fn from_label(label: Option<&Label>) -> Self {
        let (reference, variance) = label.map_or((1.5_f64.ln(), NO_LABEL_SD.powi(2)), |label| {
            let middle = 0.5 * (label.low.ln() + label.high.ln());
            let shift = label.climate.map_or(0.0, |climate| {
                let humidity = 0.5 * (climate.humidity.0.get() + climate.humidity.1.get());
                let temperature = 0.5 * (climate.temperature.0.get() + climate.temperature.1.get());
                dryness(humidity) + LN_TEN_DEGREES * coolness(temperature)
            });
            let width = (label.high / label.low).ln() / WINDOW_IN_SDS;
            (middle - shift, width.powi(2) + LABEL_SD.powi(2))
        });
        let mut prior = Self { mean: [0.0; PARAMETERS], variance: [0.0; PARAMETERS] };
        for parameter in Parameter::ALL {
            let (mean, sd) = match parameter {
                Parameter::Reference => (reference, variance.sqrt()),
                Parameter::Humidity => (1.0, 0.25),
                Parameter::Temperature => (LN_TEN_DEGREES, 0.18),
                Parameter::Bead => (LN_BEAD, 0.15),
                Parameter::Liquid(Liquid::Cleanser | Liquid::Mist) => (0.0, 0.05),
                Parameter::Liquid(Liquid::AlcoholPrimer) => (-0.22, 0.20),
                Parameter::Liquid(Liquid::PhPrimer) => (-0.29, 0.25),
                Parameter::Liquid(Liquid::Accelerator) => (-1.2, 0.5),
                Parameter::Age => (0.05, 0.05),
            };
            prior.mean[parameter.place()] = mean;
            prior.variance[parameter.place()] = sd * sd;
        }
        prior
    }

    /// For a new product of a family of which at least two products have six tests or more: their posterior means
    /// weighted by tests; the variance is their mean variance plus the variance of their means, not below half the
    /// table's sd. `None` below two such products.
    ///
    /// The reference time stays the label's: a family says how its members answer to air and bead, not how quick this
    /// one was made.
    #[must_use]
    pub fn from_family(label: Option<&Label>, products: &[(&Posterior, u32)]) -> Option<Self> {
        let tested: Vec<_> = products.iter().filter(|(_, tests)| *tests >= 6).collect();
        if tested.len() < 2 {
            return None;
        }
        let whole: f64 = tested.iter().map(|(_, tests)| f64::from(*tests)).sum();
        let mut prior = Self::from_label(label);
        for parameter in Parameter::ALL.into_iter().skip(1) {
            let at = parameter.place();
            let found: Vec<(f64, f64, f64)> = tested
                .iter()
                .map(|(p, tests)| {
                    let (mean, sd) = p.parameter(parameter);
                    (f64::from(*tests) / whole, mean, sd * sd)
                })
                .collect();
            let mean: f64 = found.iter().map(|(w, m, _)| w * m).sum();
            let within: f64 = found.iter().map(|(w, _, v)| w * v).sum();
            let between: f64 = found.iter().map(|(w, m, _)| w * (m - mean).powi(2)).sum();
            prior.mean[at] = mean;
            prior.variance[at] = (within + between).max(0.25 * prior.variance[at]);
        }
        Some(prior)
    }

    /// Whether two priors are the same for every purpose: no mean is off by more than a thousandth of a logarithm, no
    /// standard deviation by more than a hundredth of itself. A family's prior moves a little with each of its tests.
    #[must_use]
    pub fn is_about(&self, other: &Self) -> bool {
        let means = self.mean.iter().zip(&other.mean);
        let variances = self.variance.iter().zip(&other.variance);
        means.into_iter().all(|(a, b)| (a - b).abs() <= 1e-3)
            && variances.into_iter().all(|(a, b)| (a.sqrt() - b.sqrt()).abs() <= 0.01 * a.sqrt())
    }

    /// Mean and standard deviation of one parameter (for the reference: of the product, without the bottle).
    #[must_use]
    pub fn parameter(&self, parameter: Parameter) -> (f64, f64) {
        (self.mean[parameter.place()], self.variance[parameter.place()].sqrt())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(x: f64) -> Seconds {
        Seconds::new(x).unwrap()
    }

    fn climate(t: (f64, f64), h: (f64, f64)) -> Climate {
        let (c, r) = (|x| Celsius::new(x).unwrap(), |x| RelHumidity::new(x).unwrap());
        Climate { temperature: (c(t.0), c(t.1)), humidity: (r(h.0), r(h.1)) }
    }

    #[test]
    fn a_label_printed_for_drier_air_means_a_quicker_adhesive_at_the_reference() {
        let plain = Prior::from_label(Label::window(s(1.0), s(2.0), None).as_ref());
        assert!((plain.mean[0] - 2.0_f64.sqrt().ln()).abs() < 1e-12);
        let dry = climate((20.0, 24.0), (30.0, 40.0));
        let shifted = Prior::from_label(Label::window(s(1.0), s(2.0), Some(dry)).as_ref());
        assert!((plain.mean[0] - shifted.mean[0] - (50.0_f64 / 35.0).ln()).abs() < 1e-12);
    }

    #[test]
    fn the_doubt_of_a_label_is_its_window_and_the_makers_differences() {
        let p = Prior::from_label(Label::window(s(1.0), s(2.0), None).as_ref());
        let expected = (2.0_f64.ln() / 2.56).powi(2) + 0.35 * 0.35;
        assert!((p.variance[0] - expected).abs() < 1e-12);
        let one = Prior::from_label(Label::figure(s(1.0), None).as_ref());
        assert!(one.mean[0].abs() < 1e-12 && one.variance[0] < p.variance[0]);
        assert!((Prior::from_label(None).variance[0] - 0.49).abs() < 1e-12);
    }

    #[test]
    fn a_window_turned_round_is_no_label() {
        assert!(Label::window(s(2.0), s(1.0), None).is_none() && Label::window(s(0.0), s(1.0), None).is_none());
        assert!(Label::figure(s(0.0), None).is_none());
    }
}
