//! What an artist sees of her own seconds.

use serde::{Deserialize, Serialize};

use super::nig::{Nig, Sums};
use super::sittings::Sittings;
use super::summary::Hands;
use crate::base::stats::shapiro_francia;
use crate::base::stats::student;
use crate::base::units::Seconds;

/// A time with nine in ten of its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Best guess.
    pub best: Seconds,
    /// Lower end of the 90 % interval.
    pub low: Seconds,
    /// Upper end of the 90 % interval.
    pub high: Seconds,
}

/// One quantity of the hands: half, nine in ten and nineteen in twenty placements are quicker than these.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Half the placements are quicker.
    pub median: Known,
    /// Nine in ten are quicker.
    pub p90: Known,
    /// Nineteen in twenty are quicker.
    pub p95: Known,
    /// Logarithms far from normal (Shapiro–Francia, p below 0.01): the outer figures are then rough.
    pub far_from_normal: bool,
}

/// Change from one session to the next, as a factor (0.97: three in a hundred quicker each time).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Trend {
    /// Best guess of the factor.
    pub factor: f64,
    /// Lower end of its 90 % interval.
    pub low: f64,
    /// Upper end of its 90 % interval.
    pub high: f64,
}

/// Report on one artist in one technique.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Placements counted.
    pub placements: u32,
    /// Sessions they came in.
    pub sessions: u32,
    /// Pick-up to contact.
    pub travel: Quantity,
    /// Contact until no longer moved.
    pub settle: Quantity,
    /// Settle plus the share of the travel that uses up the set, at the openness asked for.
    pub hands_time: Quantity,
    /// Change of the settle by session; `None` below three sessions.
    pub trend: Option<Trend>,
    /// Placements still worth timing until nine in ten of the hands time is known to ±10 %; 0 when it is.
    pub more_placements: u32,
}

/// What is kept for the report besides the summary, so that a page reads no placement: as it was when a timing was
/// last added or struck.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptReport {
    /// The summary.
    pub hands: Hands,
    /// Which logarithms are far from normal: travel, settle, hands time at openness 4.
    pub far_from_normal: [bool; 3],
    /// Change of the settle by session.
    pub trend: Option<Trend>,
    /// Placements still worth timing, by the hands time at openness 4.
    pub more_placements: u32,
}

/// κ of an adhesive nobody has tested.
pub const USUAL_OPENNESS: f64 = 4.0;

impl KeptReport {
    /// Works it out from all timings.
    #[must_use]
    pub fn of(sittings: &Sittings) -> Self {
        Self::at(sittings, USUAL_OPENNESS)
    }

    fn at(sittings: &Sittings, kappa: f64) -> Self {
        let hands = Hands::from_sittings(sittings);
        let (travel, settle, hands_time) = (sittings.travel(), sittings.settle(), sittings.hands_time(kappa));
        Self {
            far_from_normal: [&travel, &settle, &hands_time].map(|logs| is_far_from_normal(logs)),
            trend: trend(&settle),
            more_placements: more_placements(&hands.hands_time_at(kappa.ln()), &hands_time),
            hands,
        }
    }

    /// The report, with the hands time at this openness.
    #[must_use]
    pub fn report(&self, openness: f64) -> Report {
        let kappa = openness.clamp(1.2, 13.0);
        let [travel, settle, hands_time] = self.far_from_normal;
        Report {
            placements: self.hands.placements,
            sessions: self.hands.sessions,
            travel: quantity(&self.hands.travel, travel),
            settle: quantity(&self.hands.settle, settle),
            hands_time: quantity(&self.hands.hands_time_at(kappa.ln()), hands_time),
            trend: self.trend,
            more_placements: self.more_placements,
        }
    }
}

fn quantity(fit: &Nig, far_from_normal: bool) -> Quantity {
    let known = |p: f64| {
        let (best, low, high) = fit.quantile_with_doubt(p, 0.9);
        let seconds = |ln: f64| Seconds::clamped(ln.exp());
        Known { best: seconds(best), low: seconds(low), high: seconds(high) }
    };
    Quantity { median: known(0.5), p90: known(0.9), p95: known(0.95), far_from_normal }
}

fn is_far_from_normal(logs: &[Vec<f64>]) -> bool {
    let flat: Vec<f64> = logs.iter().flatten().copied().take(5000).collect();
    shapiro_francia::test(&flat).is_some_and(|t| t.p < 0.01)
}

/// Straight line through the session means of the logarithm, each session counting once: placements of one session
/// share its day, so that more of them do not make the trend surer.
fn trend(sessions: &[Vec<f64>]) -> Option<Trend> {
    let n = sessions.len();
    if n < 3 {
        return None;
    }
    let means: Vec<f64> = sessions.iter().map(|s| s.iter().sum::<f64>() / s.len() as f64).collect();
    let middle = (n - 1) as f64 / 2.0;
    let mean = means.iter().sum::<f64>() / n as f64;
    let (mut cross, mut own) = (0.0, 0.0);
    for (j, y) in means.iter().enumerate() {
        let x = j as f64 - middle;
        cross += x * (y - mean);
        own += x * x;
    }
    let slope = cross / own;
    let left: f64 = means.iter().enumerate().map(|(j, y)| (y - mean - slope * (j as f64 - middle)).powi(2)).sum();
    let freedom = (n - 2) as f64;
    let reach = student::quantile(0.95, freedom) * (left / freedom / own).sqrt();
    Some(Trend { factor: slope.exp(), low: (slope - reach).exp(), high: (slope + reach).exp() })
}

/// The nine-in-ten quantile is known to ±10 % (nine times in ten) once the effective number of placements reaches
/// ((1.645·σ·√(1 + 1.282²/2))/0.1)²; turned into placements at the present size and likeness of sessions.
fn more_placements(fit: &Nig, logs: &[Vec<f64>]) -> u32 {
    let needed = (1.645 * fit.spread() * (1.0 + 1.282_f64.powi(2) / 2.0).sqrt() / 0.1).powi(2);
    // Untimed: as if sessions of twenty were to come.
    let design = Sums::of(logs).map_or(1.0 + 19.0 * super::nig::LIKENESS_OF_ONE_SESSION, |s| s.design_effect());
    ((needed - fit.effective).max(0.0) * design).ceil().min(1e6) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::artists::hands::Timing;

    fn report(timings: &[Timing], kappa: f64) -> Report {
        KeptReport::at(&Sittings::of(timings, &[]), kappa).report(kappa)
    }

    fn timing(session: u32, travel: f64, settle: f64) -> Timing {
        Timing { session, travel: Seconds::new(travel).unwrap(), settle: Seconds::new(settle).unwrap() }
    }

    /// Twenty placements a session, log spread about 0.3, settle shortening by `step` a session.
    fn sessions(count: u32, step: f64) -> Vec<Timing> {
        (0..count)
            .flat_map(|s| {
                (0..20).map(move |i| {
                    let z = crate::base::stats::normal::quantile((f64::from((i * 7 + s * 3) % 20) + 0.5) / 20.0);
                    let wobble = [0.02, -0.015, 0.0, 0.01][s as usize % 4];
                    timing(s, (1.0 + 0.3 * z).exp(), (0.2 + 0.3 * z + step * f64::from(s) + wobble).exp())
                })
            })
            .collect()
    }

    #[test]
    fn figures_stand_in_order_and_inside_their_doubt() {
        let r = report(&sessions(3, 0.0), 4.0);
        for q in [r.travel, r.settle, r.hands_time] {
            assert!(q.median.best < q.p90.best && q.p90.best < q.p95.best);
            for k in [q.median, q.p90, q.p95] {
                assert!(k.low < k.best && k.best < k.high);
            }
            assert!(!q.far_from_normal);
        }
        assert_eq!((r.placements, r.sessions), (60, 3));
    }

    #[test]
    fn a_steady_gain_by_session_is_found_and_a_flat_record_is_not_called_one() {
        let gain = report(&sessions(6, -0.05), 4.0).trend.unwrap();
        assert!((gain.factor - 0.951).abs() < 0.01 && gain.high < 1.0, "{gain:?}");
        let flat = report(&sessions(6, 0.0), 4.0).trend.unwrap();
        assert!(flat.low < 1.0 && flat.high > 1.0, "{flat:?}");
        assert!(report(&sessions(2, 0.0), 4.0).trend.is_none());
    }

    #[test]
    fn more_timing_is_asked_for_until_enough_is_known() {
        let (none, few, many) = (report(&[], 4.0), report(&sessions(2, 0.0), 4.0), report(&sessions(40, 0.0), 4.0));
        assert!(none.more_placements > 100);
        assert!(
            few.more_placements > 0 && many.more_placements == 0,
            "{} {}",
            few.more_placements,
            many.more_placements
        );
    }

    #[test]
    fn hands_that_come_in_two_clusters_are_told() {
        let two: Vec<Timing> =
            (0..40).map(|i| timing(1, 2.0, if i % 2 == 0 { 0.5 } else { 3.0 } + 0.01 * f64::from(i))).collect();
        assert!(report(&two, 4.0).settle.far_from_normal);
    }
}
