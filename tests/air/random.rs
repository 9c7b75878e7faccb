//! Broken input that can be made again.

/// A small generator (splitmix64), so that a failing body can be made again.
pub(crate) struct Random(pub(crate) u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    pub(crate) fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[0]
    }

    /// A few bytes changed, cut, put in, taken out or doubled.
    pub(crate) fn broken(&mut self, good: &[u8]) -> Vec<u8> {
        let mut body = good.to_vec();
        for _ in 0..self.below(4) {
            let at = self.below(body.len().max(1));
            match self.below(5) {
                _ if body.is_empty() => body.push(self.byte()),
                0 => body[at] = self.byte(),
                1 => body.truncate(at),
                2 => body.insert(at, self.byte()),
                3 => drop(body.remove(at)),
                _ => body.extend_from_within(at..),
            }
        }
        body
    }
}
