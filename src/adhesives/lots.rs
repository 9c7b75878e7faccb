//! Lots that were put right on a bottle: under which others one was written down, and what became of one. Pure.

use crate::base::ids::BottleId;
use crate::base::time::Instant;

/// That another lot was put on a bottle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CorrectedLot {
    /// Which bottle.
    pub bottle: BottleId,
    /// The lot until then; empty where none was written down.
    pub was: String,
    /// The lot since then.
    pub became: String,
    /// When.
    pub at: Instant,
}

/// What was put right of one product's lots, oldest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CorrectedLots(pub Vec<CorrectedLot>);

impl CorrectedLots {
    /// Under which other lots a meeting with what bears `lot` may have been written down, and until when. Where another bottle rightly
    /// bears such a lot, meetings with that one are among them: too many are told rather than too few.
    #[must_use]
    pub fn written_as(&self, lot: &str) -> Vec<(&str, Instant)> {
        let mut found: Vec<(&str, Instant)> = Vec::new();
        for (n, own) in self.0.iter().enumerate().filter(|(_, own)| own.was != lot) {
            if !self.0[n..].iter().any(|later| later.bottle == own.bottle && later.became == lot) {
                continue;
            }
            match found.iter_mut().find(|(was, _)| *was == own.was) {
                Some((_, until)) => *until = own.at.max(*until),
                None => found.push((&own.was, own.at)),
            }
        }
        found
    }

    /// What became of a lot written down at an instant: for each bottle that bore it and was put right since, every lot it got, with when.
    #[must_use]
    pub fn became(&self, lot: &str, at: Instant) -> Vec<Vec<(&str, Instant)>> {
        let mut bottles = Vec::new();
        for (n, own) in self.0.iter().enumerate().filter(|(_, own)| own.was == lot && own.at >= at) {
            if self.0[..n].iter().any(|before| before.bottle == own.bottle && before.was == lot && before.at >= at) {
                continue;
            }
            let later = self.0[n..].iter().filter(|later| later.bottle == own.bottle);
            bottles.push(later.map(|later| (later.became.as_str(), later.at)).collect());
        }
        bottles
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lots(rows: &[(&BottleId, &str, &str, i64)]) -> CorrectedLots {
        let row = |&(bottle, was, became, at): &(&BottleId, &str, &str, i64)| CorrectedLot {
            bottle: *bottle,
            was: was.to_owned(),
            became: became.to_owned(),
            at: Instant(at),
        };
        CorrectedLots(rows.iter().map(row).collect())
    }

    #[test]
    fn a_lot_put_right_is_found_by_the_right_one_and_never_the_other_way_round() {
        let (one, other) = (BottleId::new(), BottleId::new());
        let all = lots(&[(&one, "A-1", "A-7", 10), (&other, "", "B-1", 20), (&one, "A-7", "A-9", 30)]);
        assert_eq!(all.written_as("A-9"), [("A-1", Instant(10)), ("A-7", Instant(30))]);
        assert_eq!(all.written_as("A-7"), [("A-1", Instant(10))]);
        assert_eq!(all.written_as("A-1"), []);
        assert_eq!(all.written_as("B-1"), [("", Instant(20))]);
        assert_eq!(all.became("A-1", Instant(10)), [[("A-7", Instant(10)), ("A-9", Instant(30))]]);
        assert_eq!(
            all.became("A-1", Instant(11)),
            Vec::<Vec<_>>::new(),
            "another bottle, after that one was put right"
        );
        assert_eq!(all.became("A-9", Instant(0)), Vec::<Vec<_>>::new());
    }

    #[test]
    fn a_lot_taken_back_is_found_by_both_and_until_the_last_bottle_was_put_right() {
        let (one, other) = (BottleId::new(), BottleId::new());
        let all = lots(&[(&one, "A", "B", 10), (&other, "A", "B", 15), (&one, "B", "A", 20)]);
        assert_eq!(all.written_as("B"), [("A", Instant(15))]);
        assert_eq!(all.written_as("A"), [("B", Instant(20))]);
        let became = all.became("A", Instant(5));
        assert_eq!(became, [vec![("B", Instant(10)), ("A", Instant(20))], vec![("B", Instant(15))]]);
    }
}
