//! Air change and moisture capacity out of a stretch of readings during which no device was switched.
//!
//! In such a stretch C(t) = C∞ + (C₀ − C∞)·e^(−t/τ). Least squares give τ = M/n and C∞. While a known source runs, C∞ = C_out + G/(nV)
//! tells n, and M = τ·n. With every device off C∞ is the outside air and tells nothing of n: then only M for the n that stands. The
//! ranges are those of a straight-line approximation; readings that follow each other share their errors, so no range narrower than
//! 15 % each way is told. Neither the source nor the outside air is perfectly known, which the range leaves out.

use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::Capacity;
use crate::base::units::{AirChanges, CubicMetres};

/// Fewer readings tell nothing.
pub const LEAST_READINGS: usize = 6;
/// A shorter stretch tells nothing.
pub const LEAST_HOURS: f64 = 3.0;
/// What the humidity must change by at least, g/m³: four times what a hygrometer's steps of 1 %RH make of it.
pub const LEAST_CHANGE: f64 = 0.8;
/// Scatter about the curve above which something else was going on, as a share of the change.
pub const MOST_SCATTER: f64 = 0.2;
/// No range is told narrower than this, each way.
const LEAST_DOUBT: f64 = 0.15;
/// Time constants tried, hours: M from 1 to 100, n from 0.05 to 20.
const TAU: (f64, f64) = (0.2, 200.0);

/// A stretch of readings with devices unchanged.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Hours since its beginning and g/m³.
    pub readings: Vec<(f64, f64)>,
    /// The mean vapour density outside during it, g/m³.
    pub outside: f64,
    /// What the devices gave all the while, g an hour; 0 when all were off.
    pub source: f64,
    /// The room's volume.
    pub volume: CubicMetres,
    /// The air change that stands, used when every device was off.
    pub air_changes: AirChanges,
}

/// What a stretch of readings tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The air change, and whether it was measured here.
    pub air_changes: AirChanges,
    /// True when the readings told the air change, not only the capacity.
    pub tells_air_change: bool,
    /// The moisture capacity.
    pub capacity: Capacity,
    /// τ, hours.
    pub tau: f64,
    /// Scatter of the readings about the curve, g/m³.
    pub scatter: f64,
}

/// Why a stretch tells nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unfit {
    /// Fewer than six readings.
    TooFew(usize),
    /// Less than three hours, given in hours.
    TooShort(f64),
    /// The humidity hardly changed: g/m³.
    TooLittleChange(f64),
    /// The readings do not follow one curve: something was switched, opened, or people came in.
    NotOneCurve,
    /// The curve is so nearly a straight line that it leads anywhere.
    TooStraight,
    /// It leads where the outside air and the devices cannot.
    Impossible,
}

/// Fits air change and moisture capacity.
///
/// # Errors
/// [`Unfit`] with the reason when the stretch tells nothing.
pub fn fit(stretch: &Stretch) -> Result<Fit, Unfit> {
    let readings = &stretch.readings;
    if readings.len() < LEAST_READINGS {
        return Err(Unfit::TooFew(readings.len()));
    }
    let hours = readings.last().map_or(0.0, |last| last.0) - readings[0].0;
    if hours < LEAST_HOURS {
        return Err(Unfit::TooShort(hours));
    }
    let (low, high) = readings.iter().fold((f64::MAX, f64::MIN), |(low, high), (_, c)| (low.min(*c), high.max(*c)));
    if high - low < LEAST_CHANGE {
        return Err(Unfit::TooLittleChange(high - low));
    }
    let end = (stretch.source.abs() < 1e-9).then_some(stretch.outside);
    let curve = best_curve(readings, end);
    if curve.scatter > MOST_SCATTER * (high - low) {
        return Err(Unfit::NotOneCurve);
    }
    let on_edge = curve.tau <= TAU.0 * 1.01 || curve.tau >= TAU.1 * 0.99;
    let doubt = curve.doubt(readings, end.is_none()).filter(|_| !on_edge).ok_or(Unfit::TooStraight)?;
    as_fit(stretch, &curve, &doubt)
}

fn as_fit(stretch: &Stretch, curve: &Curve, doubt: &Doubt) -> Result<Fit, Unfit> {
    let tells_air_change = stretch.source.abs() >= 1e-9;
    let (n, relative) = if tells_air_change {
        let above = curve.end - stretch.outside;
        let n = stretch.source / (stretch.volume.get() * above);
        // M = τ·G/(V·(C∞ − C_out)): both doubts count, and how they go together.
        let (a, b) = (1.0 / curve.tau, -1.0 / above);
        let variance = a * a * doubt.tau + b * b * doubt.end + 2.0 * a * b * doubt.both;
        (AirChanges::new(n).map_err(|_| Unfit::Impossible)?, variance.max(0.0).sqrt() * doubt.times)
    } else {
        (stretch.air_changes, doubt.tau.sqrt() / curve.tau * doubt.times)
    };
    if relative > 1.0 {
        return Err(Unfit::TooStraight);
    }
    let best = curve.tau * n.get();
    if !(1.0..=200.0).contains(&best) {
        return Err(Unfit::Impossible);
    }
    let relative = relative.max(LEAST_DOUBT);
    let capacity = Capacity { low: (best / (1.0 + relative)).max(1.0), best, high: best * (1.0 + relative) };
    Ok(Fit { air_changes: n, tells_air_change, capacity, tau: curve.tau, scatter: curve.scatter })
}

/// C∞ + A·e^(−t/τ).
#[derive(Debug, Clone, Copy)]
struct Curve {
    tau: f64,
    end: f64,
    amplitude: f64,
    scatter: f64,
    squares: f64,
}

/// Variances of τ and C∞, how they go together, and how many standard deviations hold 8 in 10.
struct Doubt {
    tau: f64,
    end: f64,
    both: f64,
    times: f64,
}

/// The least squares over τ, by a grid and golden sections around its best point; C∞ and A follow linearly.
fn best_curve(readings: &[(f64, f64)], end: Option<f64>) -> Curve {
    let steps = 200;
    let ratio = (TAU.1 / TAU.0).ln();
    let tau_at = |step: f64| TAU.0 * (ratio * step / f64::from(steps)).exp();
    let squares = |step: f64| curve_with(readings, end, tau_at(step)).squares;
    let best = (0..=steps).map(f64::from).min_by(|a, b| squares(*a).total_cmp(&squares(*b))).unwrap_or(0.0);
    let (mut low, mut high) = ((best - 1.0).max(0.0), (best + 1.0).min(f64::from(steps)));
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    for _ in 0..40 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if squares(a) < squares(b) {
            high = b;
        } else {
            low = a;
        }
    }
    curve_with(readings, end, tau_at(f64::midpoint(low, high)))
}

#[expect(clippy::cast_precision_loss, reason = "readings of a night are few")]
fn curve_with(readings: &[(f64, f64)], end: Option<f64>, tau: f64) -> Curve {
    let falls = |hours: f64| (-(hours - readings[0].0) / tau).exp();
    let count = readings.len() as f64;
    let (end, amplitude) = match end {
        Some(end) => {
            let (top, bottom) = readings.iter().fold((0.0, 0.0), |(top, bottom), (hours, c)| {
                (top + falls(*hours) * (c - end), bottom + falls(*hours).powi(2))
            });
            (end, top / bottom)
        }
        None => {
            let mean_e = readings.iter().map(|(hours, _)| falls(*hours)).sum::<f64>() / count;
            let mean_c = readings.iter().map(|(_, c)| c).sum::<f64>() / count;
            let (top, bottom) = readings.iter().fold((0.0, 0.0), |(top, bottom), (hours, c)| {
                let off = falls(*hours) - mean_e;
                (top + off * (c - mean_c), bottom + off * off)
            });
            let amplitude = if bottom > 1e-18 { top / bottom } else { 0.0 };
            (mean_c - amplitude * mean_e, amplitude)
        }
    };
    let squares: f64 = readings.iter().map(|(hours, c)| (c - end - amplitude * falls(*hours)).powi(2)).sum();
    Curve { tau, end, amplitude, scatter: (squares / count).sqrt(), squares }
}

impl Curve {
    /// From the slopes of the curve at its best point; none when they do not tell the numbers apart.
    #[expect(clippy::cast_precision_loss, reason = "readings of a night are few")]
    fn doubt(&self, readings: &[(f64, f64)], end_is_free: bool) -> Option<Doubt> {
        let numbers = if end_is_free { 3 } else { 2 };
        let first = readings[0].0;
        let slopes = DMatrix::from_fn(readings.len(), numbers, |row, column| {
            let since = readings[row].0 - first;
            let falls = (-since / self.tau).exp();
            match column {
                0 => self.amplitude * falls * since / self.tau.powi(2),
                1 => falls,
                _ => 1.0,
            }
        });
        let inverse = (slopes.transpose() * &slopes).try_inverse()?;
        let free = readings.len().checked_sub(numbers).filter(|free| *free > 0)? as f64;
        // A curve drawn through readings rounded to the last digit is not known better than that digit.
        let variance = (self.squares / free).max(1e-6);
        let covariance: DVector<f64> = inverse.column(0) * variance;
        let end = if end_is_free { inverse[(2, 2)] * variance } else { 0.0 };
        let both = if end_is_free { covariance[2] } else { 0.0 };
        let times = StudentsT::new(0.0, 1.0, free).ok()?.inverse_cdf(0.9);
        let doubt = Doubt { tau: covariance[0], end, both, times };
        (doubt.tau.is_finite() && doubt.tau > 0.0).then_some(doubt)
    }
}
