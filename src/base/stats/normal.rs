//! The standard normal curve. Two ways to its area: exact, and a table for the inner loops.

use std::sync::LazyLock;

use statrs::function::erf::{erfc, erfc_inv};

/// Height of the standard normal curve at `z`.
#[must_use]
pub fn pdf(z: f64) -> f64 {
    const ONE_OVER_ROOT_TWO_PI: f64 = 0.398_942_280_401_432_7;
    ONE_OVER_ROOT_TWO_PI * (-0.5 * z * z).exp()
}

/// Area of the standard normal curve below `z`, to about 1e-10, through the complementary error function.
///
/// ```
/// use stillroom::base::stats::normal;
/// assert!((normal::cdf(1.281_551_565_5) - 0.9).abs() < 1e-10);
/// ```
#[must_use]
pub fn cdf(z: f64) -> f64 {
    0.5 * erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The value below which the share `p` of a standard normal lies, to about 1e-9; ±∞ at 0 and 1,
/// not-a-number outside.
#[must_use]
pub fn quantile(p: f64) -> f64 {
    if p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    -std::f64::consts::SQRT_2 * erfc_inv(2.0 * p)
}

/// The area below `z` by cubic interpolation in a table, within 1e-8 of [`cdf`]; about five times as quick.
///
/// Shares are needed to a thousandth, and a judgement takes some hundred thousand of them.
#[must_use]
pub fn cdf_quick(z: f64) -> f64 {
    TABLE.cdf(z)
}

/// The table behind [`cdf_quick`], for loops that want to fetch it once.
#[must_use]
pub fn table() -> &'static Table {
    &TABLE
}

/// Areas and heights of the normal curve at equal steps.
#[derive(Debug)]
pub struct Table {
    /// Area at the node, and height times the step: what the cubic needs.
    nodes: [(f64, f64); NODES],
}

/// Beyond this many standard deviations the area stays what it is there, less than 1e-9 from 0 or 1.
const REACH: f64 = 6.0;
/// Nodes to each unit of z.
const PER_UNIT: f64 = 32.0;
const NODES: usize = 2 * 6 * 32 + 1;

static TABLE: LazyLock<Table> = LazyLock::new(Table::new);

impl Table {
    fn new() -> Self {
        let nodes = std::array::from_fn(|i| {
            let z = i as f64 / PER_UNIT - REACH;
            (cdf(z), pdf(z) / PER_UNIT)
        });
        Self { nodes }
    }

    /// The area below `z`, within 1e-8.
    #[inline]
    #[must_use]
    pub fn cdf(&self, z: f64) -> f64 {
        let (f, [y0, d0, bend, twist]) = self.cubic(z);
        y0 + f * (d0 + f * (bend + f * twist))
    }

    /// The area below `z` and the height there, the latter within 1e-5: enough for the slope of a search.
    #[inline]
    #[must_use]
    pub fn cdf_and_pdf(&self, z: f64) -> (f64, f64) {
        let (f, [y0, d0, bend, twist]) = self.cubic(z);
        let height = d0 + f * (2.0 * bend + f * 3.0 * twist);
        (y0 + f * (d0 + f * (bend + f * twist)), height * PER_UNIT)
    }

    /// Place inside the cell of `z` and the four coefficients of its cubic. Held at the ends rather than branched on:
    /// the processor guesses such branches wrong.
    #[inline]
    fn cubic(&self, z: f64) -> (f64, [f64; 4]) {
        let place = ((z + REACH) * PER_UNIT).clamp(0.0, (NODES - 1) as f64 - 1e-9);
        // Not-a-number becomes index 0 and stays not-a-number through the place inside the cell.
        let i = place as usize;
        let (y0, d0) = self.nodes[i];
        let (y1, d1) = self.nodes[i + 1];
        let rise = y1 - y0;
        (place - i as f64, [y0, d0, 3.0 * rise - 2.0 * d0 - d1, d0 + d1 - 2.0 * rise])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_stays_within_a_hundred_millionth_of_the_exact_area() {
        for i in -100_000..=100_000 {
            let z = f64::from(i) * 1e-4;
            let off = (cdf_quick(z) - cdf(z)).abs();
            assert!(off < 1e-8, "z {z}: off by {off:e}");
        }
        assert!(cdf_quick(f64::NAN).is_nan());
        assert!((cdf_quick(f64::INFINITY) - 1.0).abs() < 1e-8 && cdf_quick(f64::NEG_INFINITY).abs() < 1e-8);
    }

    #[test]
    fn the_height_from_the_table_serves_as_a_slope() {
        for i in -500..=500 {
            let z = f64::from(i) * 0.011;
            assert!((table().cdf_and_pdf(z).1 - pdf(z)).abs() < 1e-5, "z {z}");
        }
    }

    #[test]
    fn quantile_and_area_undo_each_other() {
        for p in [1e-9, 1e-4, 0.01, 0.1, 0.5, 0.8, 0.975, 0.999_99] {
            assert!((cdf(quantile(p)) - p).abs() < 1e-9, "{p}");
        }
        assert!((quantile(0.975) - 1.959_963_984_540_054).abs() < 1e-9);
        assert!(quantile(1.5).is_nan());
    }
}
