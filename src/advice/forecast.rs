//! Were the forecasts any good? Scores of what was measured against what was foretold.

use crate::base::stats::mixture::Mixture;
use crate::base::units::Seconds;

/// A measured set time with what was foretold of it: as learned, and from the label alone.
#[derive(Debug, Clone)]
pub struct Kept {
    /// ln seconds as foretold.
    pub foretold: Mixture,
    /// ln seconds as the label alone would have it.
    pub from_label: Mixture,
    /// What was measured; above 0.
    pub measured: Seconds,
}

/// Bins of the rank histogram.
pub const RANKS: usize = 10;

/// How the forecasts did.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// Forecasts counted.
    pub count: usize,
    /// Share of measurements inside the middle half, 8 in 10, and 19 in 20 of what was foretold.
    pub coverage: [(f64, f64); 3],
    /// How many measurements fell into each tenth of what was foretold: flat when the doubt is right, a valley when
    /// too sure, a hill when too unsure.
    pub ranks: [u32; RANKS],
    /// Mean gain in ln probability density of a forecast over the label alone; above 0 when testing paid.
    pub log_score_gain: f64,
}

/// Where one measurement lay in what was foretold of it: all that a score needs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Share of what was foretold below the measurement, 0…1.
    pub place: f64,
    /// ln of the density the forecast gave it.
    pub ln_density: f64,
    /// ln of the density the label alone gave it.
    pub label_ln_density: f64,
}

/// Scores kept forecasts; `None` without any. Measurements of 0 are left out.
#[must_use]
pub fn score(kept: &[Kept]) -> Option<Score> {
    // A density of 0 has no logarithm; 1e-12 is below any a reasonable forecast gives.
    let ln_density = |m: &Mixture, ln: f64| m.pdf(ln).max(1e-12).ln();
    let placed: Vec<Placed> = kept
        .iter()
        .filter(|k| k.measured.get() > 0.0)
        .map(|k| {
            let ln = k.measured.get().ln();
            Placed {
                place: k.foretold.cdf(ln),
                ln_density: ln_density(&k.foretold, ln),
                label_ln_density: ln_density(&k.from_label, ln),
            }
        })
        .collect();
    score_placed(&placed)
}

/// As [`score`], from measurements already placed; `None` without any.
#[must_use]
pub fn score_placed(placed: &[Placed]) -> Option<Score> {
    if placed.is_empty() {
        return None;
    }
    let n = placed.len() as f64;
    let coverage = [0.5, 0.8, 0.95].map(|level| {
        let tail = 0.5 * (1.0 - level);
        let inside = placed.iter().filter(|p| (tail..=1.0 - tail).contains(&p.place)).count();
        (level, inside as f64 / n)
    });
    let mut ranks = [0; RANKS];
    for p in placed {
        ranks[((p.place * RANKS as f64) as usize).min(RANKS - 1)] += 1;
    }
    let gain = placed.iter().map(|p| p.ln_density - p.label_ln_density).sum::<f64>();
    Some(Score { count: placed.len(), coverage, ranks, log_score_gain: gain / n })
}

/// Shares of closed cards (for instance disturbed bonds counted) against the 8-in-10 range that was foretold:
/// the share of cards inside it; `None` without any.
#[must_use]
pub fn share_coverage(cards: &[(f64, f64, f64)]) -> Option<f64> {
    if cards.is_empty() {
        return None;
    }
    let inside = cards.iter().filter(|(low, high, measured)| (*low..=*high).contains(measured)).count();
    Some(inside as f64 / cards.len() as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::stats::mixture::Part;
    use crate::base::stats::normal;

    fn one(mean: f64, sd: f64) -> Mixture {
        Mixture::new(vec![Part { weight: 1.0, mean, sd }])
    }

    fn kept(sd_foretold: f64) -> Vec<Kept> {
        (0..200)
            .map(|i| {
                let z = normal::quantile((f64::from(i) + 0.5) / 200.0);
                Kept {
                    foretold: one(0.5, sd_foretold),
                    from_label: one(0.0, 0.5),
                    measured: Seconds::new((0.5 + 0.2 * z).exp()).unwrap(),
                }
            })
            .collect()
    }

    #[test]
    fn a_right_doubt_covers_what_it_says_and_ranks_flat() {
        let s = score(&kept(0.2)).unwrap();
        for (level, found) in s.coverage {
            assert!((level - found).abs() < 0.011, "{level} {found}");
        }
        assert!(s.ranks.iter().all(|r| *r == 20), "{:?}", s.ranks);
        assert!(s.log_score_gain > 0.5);
    }

    #[test]
    fn too_sure_a_forecast_shows_a_valley_and_too_unsure_a_hill() {
        let sure = score(&kept(0.1)).unwrap();
        let unsure = score(&kept(0.4)).unwrap();
        assert!(sure.ranks[0] > 30 && sure.coverage[1].1 < 0.6);
        assert!(unsure.ranks[0] < 5 && unsure.coverage[1].1 > 0.95);
        assert!(score(&[]).is_none());
    }
}
