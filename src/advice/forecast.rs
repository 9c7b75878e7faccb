//! Were the forecasts any good? The score of everything measured against what was foretold of it.

use crate::adhesives::forecasts::{LEVELS, RANKS, Tally};

/// How the forecasts did.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// Forecasts counted.
    pub count: u64,
    /// Share of measurements inside the middle half, 8 in 10, and 19 in 20 of what was foretold.
    pub coverage: [(f64, f64); 3],
    /// How many measurements fell into each tenth of what was foretold: flat when the doubt is right, a valley when
    /// too sure, a hill when too unsure.
    pub ranks: [u64; RANKS],
    /// Mean gain in ln probability density of a forecast over the label alone; above 0 when testing paid.
    pub log_score_gain: f64,
}

impl Score {
    /// From what is kept of every forecast; `None` without any.
    #[must_use]
    pub fn of(tally: &Tally) -> Option<Self> {
        if tally.count == 0 {
            return None;
        }
        let n = tally.count as f64;
        let mut coverage = LEVELS.map(|level| (level, 0.0));
        for ((_, share), inside) in coverage.iter_mut().zip(tally.inside) {
            let inside = inside as f64;
            *share = inside / n;
        }
        Some(Self { count: tally.count, coverage, ranks: tally.ranks, log_score_gain: tally.gain / n })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::stats::mixture::{Mixture, Part};
    use crate::base::stats::normal;

    fn one(mean: f64, sd: f64) -> Mixture {
        Mixture::new(vec![Part { weight: 1.0, mean, sd }])
    }

    /// Two hundred measurements, ln seconds normal about 0.5 with sd 0.2, foretold with another sd.
    fn score(sd_foretold: f64) -> Score {
        let (foretold, from_label) = (one(0.5, sd_foretold), one(0.0, 0.5));
        let mut tally = Tally::default();
        for i in 0..200 {
            let ln = 0.5 + 0.2 * normal::quantile((f64::from(i) + 0.5) / 200.0);
            tally.add(foretold.cdf(ln), foretold.pdf(ln).ln() - from_label.pdf(ln).ln());
        }
        Score::of(&tally).unwrap()
    }

    #[test]
    fn a_right_doubt_covers_what_it_says_and_ranks_flat() {
        let s = score(0.2);
        for (level, found) in s.coverage {
            assert!((level - found).abs() < 0.011, "{level} {found}");
        }
        assert!(s.ranks.iter().all(|r| *r == 20), "{:?}", s.ranks);
        assert!(s.log_score_gain > 0.5);
    }

    #[test]
    fn too_sure_a_forecast_shows_a_valley_and_too_unsure_a_hill() {
        let (sure, unsure) = (score(0.1), score(0.4));
        assert!(sure.ranks[0] > 30 && sure.coverage[1].1 < 0.6);
        assert!(unsure.ranks[0] < 5 && unsure.coverage[1].1 > 0.95);
        assert!(Score::of(&Tally::default()).is_none());
    }
}
