//! Timings by sitting, as logarithms, with what a tapping person adds taken off.

use super::timing::{TAPPING_S, Timing, spread_without, tapping_of_hands_time};
use crate::base::units::Seconds;

/// Timings grouped by sitting.
///
/// A tapped sitting's scatter is that of the hands and that of the taps together. The taps' share is taken off the
/// scatter *within* tapped sittings: their logarithms are drawn towards the mean of their own sitting, so that the
/// means stay where they were. Sittings timed otherwise are left alone.
#[derive(Debug, Clone)]
pub struct Sittings {
    all: Vec<Vec<Timing>>,
    tapped: Vec<bool>,
}

impl Sittings {
    /// Groups timings by their session number; `tapped` names the sessions a second person tapped.
    #[must_use]
    pub fn of(timings: &[Timing], tapped: &[u32]) -> Self {
        let all = by_session(timings);
        let tapped = all.iter().map(|sitting| tapped.contains(&sitting[0].session)).collect();
        Self { all, tapped }
    }

    /// How many placements there are.
    #[must_use]
    pub fn placements(&self) -> u32 {
        self.all.iter().map(|sitting| sitting.len() as u32).sum()
    }

    /// How many sittings there are.
    #[must_use]
    pub fn count(&self) -> u32 {
        self.all.len() as u32
    }

    /// Logarithms of the travel, by sitting.
    #[must_use]
    pub fn travel(&self) -> Vec<Vec<f64>> {
        self.logs(TAPPING_S, |t| t.travel.get())
    }

    /// Logarithms of the settle, by sitting.
    #[must_use]
    pub fn settle(&self) -> Vec<Vec<f64>> {
        self.logs(TAPPING_S, |t| t.settle.get())
    }

    /// Logarithms of settle + travel/κ, by sitting.
    #[must_use]
    pub fn hands_time(&self, kappa: f64) -> Vec<Vec<f64>> {
        self.logs(tapping_of_hands_time(kappa), |t| t.settle.get() + t.travel.get() / kappa)
    }

    fn logs(&self, error_s: f64, seconds: impl Fn(&Timing) -> f64) -> Vec<Vec<f64>> {
        let mut logs: Vec<Vec<f64>> =
            self.all.iter().map(|sitting| sitting.iter().map(|t| seconds(t).ln()).collect()).collect();
        let mut tapped: Vec<&mut Vec<f64>> =
            logs.iter_mut().zip(&self.tapped).filter(|(_, tapped)| **tapped).map(|(sitting, _)| sitting).collect();
        let shrink = shrink(&tapped, error_s);
        for sitting in &mut tapped {
            let mean = mean(sitting);
            for y in sitting.iter_mut() {
                *y = mean + shrink * (*y - mean);
            }
        }
        logs
    }
}

/// The factor that leaves of the scatter within tapped sittings what is the hands' own; their spread is pooled, since
/// one sitting alone says little about it.
fn shrink(tapped: &[&mut Vec<f64>], error_s: f64) -> f64 {
    let placements: usize = tapped.iter().map(|sitting| sitting.len()).sum();
    if placements <= tapped.len() {
        return 1.0;
    }
    let middle = tapped.iter().flat_map(|sitting| sitting.iter()).sum::<f64>() / placements as f64;
    let squares: f64 = tapped
        .iter()
        .map(|sitting| {
            let mean = mean(sitting);
            sitting.iter().map(|y| (y - mean).powi(2)).sum::<f64>()
        })
        .sum();
    let spread = (squares / (placements - tapped.len()) as f64).sqrt();
    if spread < 1e-9 {
        return 1.0;
    }
    (spread_without(error_s, spread, Seconds::clamped(middle.exp())) / spread).min(1.0)
}

fn mean(sitting: &[f64]) -> f64 {
    sitting.iter().sum::<f64>() / sitting.len().max(1) as f64
}

/// Usable timings in order of their session number.
pub(super) fn by_session(timings: &[Timing]) -> Vec<Vec<Timing>> {
    let mut usable: Vec<Timing> =
        timings.iter().copied().filter(|t| t.travel.get() > 0.0 && t.settle.get() > 0.0).collect();
    usable.sort_by_key(|t| t.session);
    usable.chunk_by(|a, b| a.session == b.session).map(<[Timing]>::to_vec).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::artists::hands::Hands;
    use crate::base::stats::normal;

    /// Hands of log spread 0.2 around a settle of 1 s, timed without error.
    fn true_settle(i: u32) -> f64 {
        (0.2 * normal::quantile((f64::from((i * 7) % 40) + 0.5) / 40.0)).exp()
    }

    /// Forty placements, each tap off by a deviate of 0.1 s that has nothing to do with the placement.
    fn tapped(session: u32) -> Vec<Timing> {
        let tap = |i: u32| 0.1 * normal::quantile((f64::from(i % 40) + 0.5) / 40.0);
        (0..40)
            .map(|i| {
                let (p, t, q) = (tap(i * 11 + 3), tap(i * 17 + 29), tap(i * 23 + 13));
                let seconds = |s: f64| Seconds::new(s).unwrap();
                Timing { session, travel: seconds(2.5 + t - p), settle: seconds(true_settle(i) + q - t) }
            })
            .collect()
    }

    fn spread(logs: &[Vec<f64>]) -> f64 {
        let all: Vec<f64> = logs.iter().flatten().copied().collect();
        let mean = mean(&all);
        (all.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / (all.len() - 1) as f64).sqrt()
    }

    #[test]
    fn what_taps_add_is_taken_off_and_the_means_stay() {
        let timings = tapped(1);
        let (raw, own) = (Sittings::of(&timings, &[]), Sittings::of(&timings, &[1]));
        assert!(spread(&raw.settle()) > 0.23, "the taps widen: {}", spread(&raw.settle()));
        assert!((spread(&own.settle()) - 0.2).abs() < 0.035, "back to the hands: {}", spread(&own.settle()));
        assert!((mean(&raw.settle()[0]) - mean(&own.settle()[0])).abs() < 1e-12);
    }

    #[test]
    fn only_tapped_sittings_are_drawn_together() {
        let mut timings = tapped(1);
        timings.extend(tapped(2));
        let (raw, one) = (Sittings::of(&timings, &[]), Sittings::of(&timings, &[2]));
        assert_eq!(raw.travel()[0], one.travel()[0]);
        assert!(spread(&one.travel()[1..]) < spread(&raw.travel()[1..]));
    }

    #[test]
    fn the_correction_reaches_the_kept_summary() {
        let timings = tapped(1);
        let raw = Hands::from_sittings(&Sittings::of(&timings, &[]));
        let own = Hands::from_sittings(&Sittings::of(&timings, &[1]));
        assert!(own.settle.spread() < raw.settle.spread() && own.travel.spread() < raw.travel.spread());
        let at = |hands: &Hands| hands.hands_time_at(4.0_f64.ln());
        assert!(at(&own).spread() < at(&raw).spread());
        assert!((own.settle.mean - raw.settle.mean).abs() < 1e-9);
    }

    #[test]
    fn one_tapped_placement_tells_nothing_of_scatter() {
        let timings = &tapped(1)[..1];
        assert_eq!(Sittings::of(timings, &[1]).settle(), Sittings::of(timings, &[]).settle());
        assert_eq!(Sittings::of(&[], &[1]).placements(), 0);
    }
}
