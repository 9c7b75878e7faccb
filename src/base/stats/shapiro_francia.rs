//! The Shapiro–Francia test: are these values far from normal?

use super::normal;

/// What the test found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normality {
    /// Squared correlation of the sorted values with the normal scores, 0…1; near 1 when normal.
    pub w: f64,
    /// Probability of a value this low from normal data.
    pub p: f64,
}

/// The test on 5 to 5000 values; `None` outside that number or when all values are equal.
///
/// W′ with Blom's scores (i − 3/8)/(n + 1/4); p by the normal approximation of Royston, "A toolkit for testing for
/// non-normality in complete and censored samples", The Statistician 42 (1993), constants from memory and checked
/// here by the share of false alarms on normal samples.
#[must_use]
pub fn test(values: &[f64]) -> Option<Normality> {
    let n = values.len();
    if !(5..=5000).contains(&n) {
        return None;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let scores: Vec<f64> = (1..=n).map(|i| normal::quantile((i as f64 - 0.375) / (n as f64 + 0.25))).collect();
    let mean = sorted.iter().sum::<f64>() / n as f64;
    let (mut cross, mut own, mut score) = (0.0, 0.0, 0.0);
    for (y, z) in sorted.iter().zip(&scores) {
        cross += (y - mean) * z;
        own += (y - mean).powi(2);
        score += z * z;
    }
    if own <= 1e-20 {
        return None;
    }
    let w = (cross * cross / (own * score)).min(1.0 - 1e-15);
    let u = (n as f64).ln();
    let v = u.ln();
    let centre = -1.2725 + 1.0521 * (v - u);
    let spread = 1.0308 - 0.26758 * (v + 2.0 / u);
    let p = normal::cdf(-((1.0 - w).ln() - centre) / spread);
    Some(Normality { w, p })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Deterministic, close enough to uniform for a count of alarms.
    fn uniform(state: &mut u64) -> f64 {
        *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((*state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    #[test]
    fn about_one_normal_sample_in_a_hundred_raises_a_false_alarm() {
        let mut state = 7;
        for n in [10, 30, 120] {
            let alarms = (0..4000)
                .filter(|_| {
                    let values: Vec<f64> = (0..n).map(|_| normal::quantile(uniform(&mut state))).collect();
                    test(&values).is_some_and(|t| t.p < 0.01)
                })
                .count();
            assert!((20..=70).contains(&alarms), "{alarms} of 4000 at n {n}");
        }
    }

    #[test]
    fn two_clusters_and_a_long_tail_are_told_from_normal() {
        let clusters: Vec<f64> = (0..40).map(|i| f64::from(i % 2) * 4.0 + f64::from(i) * 0.01).collect();
        assert!(test(&clusters).unwrap().p < 0.001);
        let tail: Vec<f64> = (1..=40).map(|i| (f64::from(i) * 0.1).exp()).collect();
        assert!(test(&tail).unwrap().p < 0.01);
    }

    #[test]
    fn too_few_values_or_all_alike_give_no_verdict() {
        assert!(test(&[1.0, 2.0, 3.0, 4.0]).is_none());
        assert!(test(&[2.0; 9]).is_none());
    }
}
