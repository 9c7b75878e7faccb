//! A weighted mixture of normal distributions: the shape every prediction of a logarithm has here.

use super::normal;

/// One normal of a mixture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Weight, above 0; the weights of a mixture sum to 1.
    pub weight: f64,
    /// Mean.
    pub mean: f64,
    /// Standard deviation, above 0.
    pub sd: f64,
}

/// A mixture of normals.
#[derive(Debug, Clone, PartialEq)]
pub struct Mixture {
    parts: Vec<Part>,
}

impl Mixture {
    /// Takes parts of any positive weights and scales the weights to sum to 1; parts lighter than a millionth of the
    /// whole are dropped, because they cost time and change no printed figure.
    ///
    /// An empty list, or one without a positive weight, becomes a single standard normal: the callers all build from
    /// fixed grids, where this cannot happen.
    #[must_use]
    pub fn new(parts: Vec<Part>) -> Self {
        let total: f64 = parts.iter().map(|p| p.weight).sum();
        let mut kept: Vec<Part> = parts.into_iter().filter(|p| p.weight > total * 1e-6).collect();
        let total: f64 = kept.iter().map(|p| p.weight).sum();
        if kept.is_empty() {
            kept.push(Part { weight: 1.0, mean: 0.0, sd: 1.0 });
        } else {
            for part in &mut kept {
                part.weight /= total;
            }
        }
        Self { parts: kept }
    }

    /// The parts, weights summing to 1.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Mean.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.parts.iter().map(|p| p.weight * p.mean).sum()
    }

    /// Standard deviation: spread within the parts and between them.
    #[must_use]
    pub fn sd(&self) -> f64 {
        let mean = self.mean();
        self.parts.iter().map(|p| p.weight * (p.sd * p.sd + (p.mean - mean).powi(2))).sum::<f64>().sqrt()
    }

    /// Probability of a value below `x`, within 1e-8.
    #[must_use]
    pub fn cdf(&self, x: f64) -> f64 {
        let table = normal::table();
        self.parts.iter().map(|p| p.weight * table.cdf((x - p.mean) / p.sd)).sum()
    }

    fn cdf_and_pdf_quick(&self, x: f64) -> (f64, f64) {
        let table = normal::table();
        self.parts.iter().fold((0.0, 0.0), |(area, height), p| {
            let (a, h) = table.cdf_and_pdf((x - p.mean) / p.sd);
            (area + p.weight * a, height + p.weight * h / p.sd)
        })
    }

    /// Density at `x`.
    #[must_use]
    pub fn pdf(&self, x: f64) -> f64 {
        self.parts.iter().map(|p| p.weight * normal::pdf((x - p.mean) / p.sd) / p.sd).sum()
    }

    /// The value below which the share `p` (inside 1e-6…1 − 1e-6) of the mixture lies, to 1e-6 of a unit.
    ///
    /// Newton's steps inside a bracket that only shrinks, from the normal of the same mean and spread.
    #[must_use]
    pub fn quantile(&self, p: f64) -> f64 {
        let p = p.clamp(1e-6, 1.0 - 1e-6);
        let widest = |sign: f64| move |q: &Part| q.mean + sign * 6.5 * q.sd;
        let mut low = self.parts.iter().map(widest(-1.0)).fold(f64::INFINITY, f64::min);
        let mut high = self.parts.iter().map(widest(1.0)).fold(f64::NEG_INFINITY, f64::max);
        let mut x = (self.mean() + normal::quantile(p) * self.sd()).clamp(low, high);
        for _ in 0..80 {
            let (area, height) = self.cdf_and_pdf_quick(x);
            let off = area - p;
            if off > 0.0 {
                high = x;
            } else {
                low = x;
            }
            let newton = x - off / height.max(1e-300);
            let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
            if (next - x).abs() < 1e-6 {
                return next;
            }
            x = next;
        }
        x
    }
}

/// The logarithm of the sum of the exponentials, without overflow; −∞ for an empty list.
#[must_use]
pub fn ln_sum_exp(logs: &[f64]) -> f64 {
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + logs.iter().map(|l| (l - most).exp()).sum::<f64>().ln()
}

/// Turns logarithms of weights into weights that sum to 1.
#[must_use]
pub fn weights_from_logs(logs: &[f64]) -> Vec<f64> {
    let whole = ln_sum_exp(logs);
    logs.iter().map(|l| (l - whole).exp()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_humps() -> Mixture {
        Mixture::new(vec![Part { weight: 3.0, mean: 0.0, sd: 0.5 }, Part { weight: 1.0, mean: 4.0, sd: 0.1 }])
    }

    #[test]
    fn quantile_undoes_the_area_even_between_two_humps() {
        let m = two_humps();
        for p in [0.01, 0.1, 0.5, 0.7, 0.76, 0.9, 0.999] {
            let x = m.quantile(p);
            assert!((m.cdf(x) - p).abs() < 1e-6, "p {p}, x {x}, area {}", m.cdf(x));
        }
    }

    #[test]
    fn mean_and_spread_count_the_distance_between_the_parts() {
        let m = two_humps();
        assert!((m.mean() - 1.0).abs() < 1e-12);
        // 0.75·0.25 + 0.25·0.01 within, 0.75·1 + 0.25·9 between.
        assert!((m.sd().powi(2) - (0.1875 + 0.0025 + 0.75 + 2.25)).abs() < 1e-9);
    }

    #[test]
    fn weights_from_logs_survive_values_that_overflow() {
        let w = weights_from_logs(&[2000.0, 2000.0 + 3.0_f64.ln(), f64::NEG_INFINITY]);
        assert!((w[0] - 0.25).abs() < 1e-12 && (w[1] - 0.75).abs() < 1e-12 && w[2].abs() < 1e-300);
    }
}
