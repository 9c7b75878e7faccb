//! What is known of a bottle after its tests: a normal for each scatter of the grid, mixed by how well each scatter
//! explains the tests. Exact for the model, and the same every time.
//!
//! Normal linear model with a grid for the variance: Gelman et al., Bayesian Data Analysis, 3rd ed., chapter 14 (from
//! memory); the shared shifts of sittings and bottles are removed by the Sherman–Morrison identity.

use nalgebra::{SMatrix, SVector};
use serde::{Deserialize, Serialize};

use super::design::{PARAMETERS, Parameter, Row};
use super::prior::{BOTTLE_SD, Prior};
use super::sums::{ProductSums, SCATTER_POINTS, Sums, scatter_at, scatter_prior};
use crate::base::stats::mixture::weights_from_logs;

/// Log sd between repeats taken for an adhesive of a class.
const CLASS_SCATTER: f64 = 0.15;

/// A covariance of the parameters.
pub(crate) type Covariance = SMatrix<f64, PARAMETERS, PARAMETERS>;

/// One scatter of the grid and the normal that belongs to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "Plain", try_from = "Plain")]
pub struct Scatter {
    /// Log sd between repeats.
    pub sigma: f64,
    /// Probability of this scatter.
    pub weight: f64,
    /// Mean of the parameters given this scatter.
    pub mean: Row,
    pub(crate) covariance: Covariance,
}

/// A scatter as it is written down: the covariance by the lines of its lower half.
#[derive(Serialize, Deserialize)]
struct Plain {
    sigma: f64,
    weight: f64,
    mean: Vec<f64>,
    covariance: Vec<f64>,
}

impl From<Scatter> for Plain {
    fn from(of: Scatter) -> Self {
        let half = (0..PARAMETERS).flat_map(|row| (0..=row).map(move |column| (row, column)));
        Self {
            sigma: of.sigma,
            weight: of.weight,
            mean: of.mean.iter().copied().collect(),
            covariance: half.map(|at| of.covariance[at]).collect(),
        }
    }
}

impl TryFrom<Plain> for Scatter {
    type Error = String;

    fn try_from(of: Plain) -> Result<Self, String> {
        let (means, halves) = (of.mean.len(), of.covariance.len());
        if means != PARAMETERS || halves != PARAMETERS * (PARAMETERS + 1) / 2 {
            return Err(format!("{means} means and {halves} covariances are not those of {PARAMETERS} parameters"));
        }
        let covariance = Covariance::from_fn(|row, column| {
            let (row, column) = (row.max(column), row.min(column));
            of.covariance[row * (row + 1) / 2 + column]
        });
        Ok(Self { sigma: of.sigma, weight: of.weight, mean: Row::from_iterator(of.mean), covariance })
    }
}

/// What is known of one bottle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Posterior {
    scatters: Vec<Scatter>,
    /// Set-time tests of this bottle it was learned from.
    pub tests: u32,
    /// Untouched baselines among them.
    pub baselines: u32,
    /// Tests of other bottles of the same product.
    pub sibling_tests: u32,
}

impl Posterior {
    /// Learns a bottle from its own tests.
    #[must_use]
    pub fn of(prior: &Prior, own: &Sums) -> Self {
        Self::with_siblings(prior, &[], own)
    }

    /// Learns a bottle from its own tests and those of other bottles of the same product, which share everything but
    /// a bottle's own deviation (log sd 0.12).
    #[must_use]
    pub fn with_siblings(prior: &Prior, siblings: &[&Sums], own: &Sums) -> Self {
        let mut product = ProductSums::none();
        for sibling in siblings {
            product.add_bottle(sibling);
        }
        Self::within_product(prior, &product, own)
    }

    /// As [`Posterior::with_siblings`], the other bottles' tests already put together.
    #[must_use]
    pub fn within_product(prior: &Prior, siblings: &ProductSums, own: &Sums) -> Self {
        Self::learn(prior, siblings.sums(), own)
    }

    /// All products taken together in one posterior: what air, bead and liquids do to any adhesive here. Each product's
    /// own speed is taken out, so its reference time means nothing and is not to be used.
    #[must_use]
    pub fn pooled<'a>(products: impl IntoIterator<Item = &'a ProductSums>) -> Self {
        let mut all = Sums::none();
        for product in products {
            all.add(&product.about_any_adhesive());
        }
        Self::learn(&Prior::from_label(None), &all, &Sums::none())
    }

    fn learn(prior: &Prior, product: &Sums, own: &Sums) -> Self {
        let mut logs = Vec::with_capacity(SCATTER_POINTS);
        let mut scatters = Vec::with_capacity(SCATTER_POINTS);
        for i in 0..SCATTER_POINTS {
            let start = Normal::from_prior(prior);
            let (of_product, first) = start.learn(product, i);
            let (of_bottle, second) = of_product.for_another_bottle().learn(own, i);
            logs.push(scatter_prior(i) + first + second);
            scatters.push(Scatter {
                sigma: scatter_at(i),
                weight: 0.0,
                mean: of_bottle.mean,
                covariance: of_bottle.covariance,
            });
        }
        for (scatter, weight) in scatters.iter_mut().zip(weights_from_logs(&logs)) {
            scatter.weight = weight;
        }
        Self { scatters, tests: own.tests, baselines: own.baselines, sibling_tests: product.tests }
    }

    /// The grid of scatters with their normals; weights sum to 1.
    #[must_use]
    pub fn scatters(&self) -> &[Scatter] {
        &self.scatters
    }

    /// Mean and standard deviation of one parameter, mixed over the scatter.
    #[must_use]
    pub fn parameter(&self, parameter: Parameter) -> (f64, f64) {
        let mut x = Row::zeros();
        x[parameter.place()] = 1.0;
        self.line(&x)
    }

    /// Mean and standard deviation of Σ x·parameter, mixed over the scatter.
    #[must_use]
    pub fn line(&self, x: &Row) -> (f64, f64) {
        let mean = self.line_mean(x);
        let variance: f64 =
            self.scatters.iter().map(|s| s.weight * (s.variance_of(x) + (s.mean.dot(x) - mean).powi(2))).sum();
        (mean, variance.max(0.0).sqrt())
    }

    /// Mean of Σ x·parameter.
    #[must_use]
    pub fn line_mean(&self, x: &Row) -> f64 {
        self.scatters.iter().map(|s| s.weight * s.mean.dot(x)).sum()
    }

    /// Mean scatter.
    #[must_use]
    pub fn sigma(&self) -> f64 {
        self.scatters.iter().map(|s| s.weight * s.sigma).sum()
    }
}

impl Scatter {
    /// What air, bead and liquids do to *any* adhesive, with the table's priors: no reference time, no age, log sd
    /// between repeats 0.15. For a cure-speed class, which is no bottle.
    #[must_use]
    pub fn of_any_adhesive() -> Self {
        let normal = Normal::from_prior(&Prior::from_label(None));
        Self { sigma: CLASS_SCATTER, weight: 1.0, mean: normal.mean, covariance: normal.covariance }.without_reference()
    }

    /// The same from the studio's own tests, those of all its bottles taken together in one posterior.
    #[must_use]
    pub fn of_any_adhesive_here(pooled: &Posterior) -> Self {
        Self { sigma: CLASS_SCATTER, ..Self::mixed(&pooled.scatters) }.without_reference()
    }

    /// One normal in place of several: mean scatter, mean and whole covariance of the mixture, weight 1.
    pub(crate) fn mixed(scatters: &[Self]) -> Self {
        let mean: Row = scatters.iter().map(|s| s.weight * s.mean).sum();
        let covariance =
            scatters.iter().map(|s| s.weight * (s.covariance + (s.mean - mean) * (s.mean - mean).transpose())).sum();
        Self { sigma: scatters.iter().map(|s| s.weight * s.sigma).sum(), weight: 1.0, mean, covariance }
    }

    fn without_reference(mut self) -> Self {
        let at = Parameter::Reference.place();
        self.mean[at] = 0.0;
        self.covariance.row_mut(at).fill(0.0);
        self.covariance.column_mut(at).fill(0.0);
        self
    }

    /// Variance of Σ x·parameter given this scatter.
    #[inline]
    #[must_use]
    pub fn variance_of(&self, x: &Row) -> f64 {
        self.covariance_of(x, x)
    }

    /// Covariance of two lines given this scatter.
    #[inline]
    #[must_use]
    pub fn covariance_of(&self, x: &Row, y: &Row) -> f64 {
        (self.covariance * y).dot(x)
    }
}

/// A normal over the parameters.
struct Normal {
    mean: Row,
    covariance: Covariance,
}

impl Normal {
    fn from_prior(prior: &Prior) -> Self {
        Self { mean: Row::from(prior.mean), covariance: Covariance::from_diagonal(&SVector::from(prior.variance)) }
    }

    /// The same for one more bottle of the product.
    fn for_another_bottle(mut self) -> Self {
        let at = Parameter::Reference.place();
        self.covariance[(at, at)] += BOTTLE_SD * BOTTLE_SD;
        self
    }

    /// Learns from sums at scatter `i`; also gives the logarithm of how well they were foretold.
    ///
    /// Written with the covariance C and residual sums about the present mean, so that nothing is inverted but
    /// I + LᵗAL with C = LLᵗ, which is never worse conditioned than the tests themselves.
    fn learn(self, sums: &Sums, i: usize) -> (Self, f64) {
        if sums.tests == 0 {
            return (self, 0.0);
        }
        let reduced = &sums.by_scatter[i];
        let a = Covariance::from_fn(|r, c| reduced.xx[r][c]);
        let b = Row::from(reduced.xy);
        let Some(root) = self.covariance.cholesky() else { return (self, f64::NEG_INFINITY) };
        let l = root.l();
        let residual = b - a * self.mean;
        let squares = reduced.yy - 2.0 * self.mean.dot(&b) + self.mean.dot(&(a * self.mean));
        let inner = Covariance::identity() + l.transpose() * a * l;
        let Some(inner) = inner.cholesky() else { return (self, f64::NEG_INFINITY) };
        let turned = l.transpose() * residual;
        let solved = inner.solve(&turned);
        let ln_det_inner = 2.0 * inner.l_dirty().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        let evidence = -0.5 * (reduced.ln_det + ln_det_inner + squares - turned.dot(&solved));
        let covariance = l * inner.solve(&l.transpose());
        (Self { mean: self.mean + l * solved, covariance: 0.5 * (covariance + covariance.transpose()) }, evidence)
    }
}
