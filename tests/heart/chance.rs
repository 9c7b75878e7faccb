//! A small generator of random numbers with a stated seed, for the simulations. The program itself draws none.

/// xorshift64* (Vigna 2016, from memory), good enough for shares to a thousandth.
pub(crate) struct Chance {
    state: u64,
    /// The second normal of a pair, until it is asked for.
    spare: Option<f64>,
}

impl Chance {
    pub(crate) fn seeded(seed: u64) -> Self {
        let mut chance = Self { state: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1, spare: None };
        for _ in 0..20 {
            chance.next();
        }
        chance
    }

    fn next(&mut self) -> u64 {
        self.state ^= self.state >> 12;
        self.state ^= self.state << 25;
        self.state ^= self.state >> 27;
        self.state.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// Strictly between 0 and 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Evenly spread in the logarithm.
    pub(crate) fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (low.ln() + (high / low).ln() * self.uniform()).exp()
    }

    /// Standard normal, by Box and Muller's pairs.
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(z) = self.spare.take() {
            return z;
        }
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        self.spare = Some(radius * sin);
        radius * cos
    }

    pub(crate) fn around(&mut self, mean: f64, sd: f64) -> f64 {
        mean + sd * self.normal()
    }
}
