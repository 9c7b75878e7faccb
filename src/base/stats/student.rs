//! Student's t.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The value below which the share `p` (0…1) of Student's t with `freedom` degrees (above 0) lies; not-a-number
/// for other degrees.
///
/// ```
/// use stillroom::base::stats::student;
/// assert!((student::quantile(0.95, 3.0) - 2.353_363).abs() < 1e-5);
/// ```
#[must_use]
pub fn quantile(p: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(p))
}
