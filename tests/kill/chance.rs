//! Chance that a seed brings back (splitmix64, Steele, Lea and Flood 2014; constants from memory).

/// A stream of numbers that the same seed gives again.
#[derive(Debug, Clone)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number in `0..limit`. (The bias of the remainder does not matter at these sizes.)
    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        self.next() % limit
    }

    pub(crate) fn one_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}
