//! What is kept of one sitting: enough for its line in a list and its row in a picture, however many placements it has.

use serde::{Deserialize, Serialize};

use crate::base::stats::sample::quantile_of;
use crate::base::units::Seconds;

/// At most so many marks of each kind are kept for drawing.
const MOST_MARKS: usize = 60;

/// One sitting's settle in short.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct KeptSitting {
    /// Placements that count.
    pub counted: u32,
    /// Placements struck out.
    pub struck: u32,
    /// How those that count spread; `None` while none does.
    pub settle: Option<SittingSpread>,
    /// The first of those that count, in their order.
    pub marks: Vec<Seconds>,
    /// The first of those struck out.
    pub struck_marks: Vec<Seconds>,
}

/// Shares of one sitting's placements that are quicker.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SittingSpread {
    /// One in ten is quicker, nine in ten are.
    pub likely: (Seconds, Seconds),
    /// One in four is quicker, three in four are.
    pub half: (Seconds, Seconds),
    /// Half are quicker.
    pub median: Seconds,
    /// Nineteen in twenty are quicker.
    pub p95: Seconds,
}

impl KeptSitting {
    /// From the settle of those that count and of those struck out, each in their order.
    #[must_use]
    pub fn of(counted: &[Seconds], struck: &[Seconds]) -> Self {
        let mut values: Vec<f64> = counted.iter().map(|time| time.get()).collect();
        let mut share = |p: f64| Seconds::clamped(quantile_of(&mut values, p));
        let settle = (!counted.is_empty()).then(|| SittingSpread {
            likely: (share(0.1), share(0.9)),
            half: (share(0.25), share(0.75)),
            median: share(0.5),
            p95: share(0.95),
        });
        Self {
            counted: counted.len() as u32,
            struck: struck.len() as u32,
            settle,
            marks: counted[..counted.len().min(MOST_MARKS)].to_vec(),
            struck_marks: struck[..struck.len().min(MOST_MARKS)].to_vec(),
        }
    }

    /// The middle settle.
    #[must_use]
    pub fn median(&self) -> Option<Seconds> {
        self.settle.map(|settle| settle.median)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(count: u32) -> Vec<Seconds> {
        (0..count).map(|i| Seconds::new(1.0 + 0.01 * f64::from(i)).unwrap()).collect()
    }

    #[test]
    fn ten_times_the_placements_keep_no_more_marks_and_the_same_kind_of_figures() {
        let (few, many) = (KeptSitting::of(&seconds(60), &seconds(2)), KeptSitting::of(&seconds(600), &seconds(200)));
        assert_eq!((few.marks.len(), many.marks.len(), many.struck_marks.len()), (60, 60, 60));
        assert_eq!((many.counted, many.struck), (600, 200));
        let spread = many.settle.unwrap();
        assert!((spread.median.get() - 3.995).abs() < 0.02, "{spread:?}");
        assert!(spread.likely.0 < spread.half.0 && spread.half.1 < spread.likely.1 && spread.likely.1 < spread.p95);
    }

    #[test]
    fn where_nothing_counts_there_is_no_middle() {
        assert_eq!(KeptSitting::of(&[], &seconds(3)).median(), None);
    }
}
