//! Bench tests reduced to sums. The sums are all that need be kept: two bottles' or two days' sums add up.

use serde::{Deserialize, Serialize};

use super::design::{PARAMETERS, row};
use super::prior::{BOTTLE_SD, PRODUCT_SD, SESSION_SD};
use crate::adhesives::{Bead, Conditions};
use crate::base::units::Seconds;

/// Points of the grid for the scatter between repeats.
pub const SCATTER_POINTS: usize = 16;
const LEAST_SCATTER: f64 = 0.05;
const MOST_SCATTER: f64 = 0.60;

/// Scatter σ (log sd between repeats) at grid point `i` (0…15), equal steps of the logarithm from 0.05 to 0.60.
#[must_use]
pub fn scatter_at(i: usize) -> f64 {
    LEAST_SCATTER * (MOST_SCATTER / LEAST_SCATTER).powf(i as f64 / (SCATTER_POINTS - 1) as f64)
}

/// Logarithm of the prior weight of grid point `i`, up to a constant: ln σ normal about ln 0.15 with sd 0.5.
#[must_use]
pub fn scatter_prior(i: usize) -> f64 {
    let z = (scatter_at(i) / 0.15).ln() / 0.5;
    -0.5 * z * z
}

/// What a test bond was made on. Times on different pieces are not comparable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TestPiece {
    /// A clean practice lash.
    #[default]
    PracticeLash,
    /// A shed hair.
    ShedHair,
    /// The strip of extensions.
    Strip,
    /// A glass slide.
    Glass,
}

/// One bench test of the set time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetTest {
    /// Which sitting it belongs to; tests of one sitting share an error.
    pub session: u32,
    /// First nudge that no longer moved the extension; above 0.
    pub set: Seconds,
    /// Time between nudges when it was nudged at intervals; `None` when watched all the time.
    pub nudge_every: Option<Seconds>,
    /// What it was made on.
    pub piece: TestPiece,
    /// Air, bead, liquids, age.
    pub conditions: Conditions,
}

impl SetTest {
    /// Logarithm of the time and the extra variance from nudging at intervals: the bond set somewhere in
    /// (max(s − Δ, s/3), s], taken at the middle of its logarithm with the variance of an even spread over it.
    #[must_use]
    pub fn ln_time(&self) -> (f64, f64) {
        let s = self.set.get();
        let Some(every) = self.nudge_every.map(Seconds::get).filter(|d| *d > 0.0) else { return (s.ln(), 0.0) };
        let low = (s - every).max(s / 3.0);
        let width = (s / low).ln();
        (0.5 * (low.ln() + s.ln()), width * width / 12.0)
    }

    /// An untouched baseline: medium bead, no liquid.
    #[must_use]
    pub fn is_baseline(&self) -> bool {
        self.conditions.bead == Bead::Medium && self.conditions.liquids.is_empty()
    }
}

/// The tests made on the piece most often used (the first in the list of pieces when equal), and that piece.
#[must_use]
pub fn of_one_piece(tests: &[SetTest]) -> (TestPiece, Vec<SetTest>) {
    let count = |piece| tests.iter().filter(|t| t.piece == piece).count();
    let mut chosen = TestPiece::PracticeLash;
    for piece in [TestPiece::ShedHair, TestPiece::Strip, TestPiece::Glass] {
        if count(piece) > count(chosen) {
            chosen = piece;
        }
    }
    (chosen, tests.iter().copied().filter(|t| t.piece == chosen).collect())
}

/// Weighted sums at one scatter, the shared error of each sitting already taken out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Reduced {
    /// Σ x·xᵗ.
    pub(super) xx: [[f64; PARAMETERS]; PARAMETERS],
    /// Σ x·y.
    pub(super) xy: [f64; PARAMETERS],
    /// Σ y².
    pub(super) yy: f64,
    /// Logarithm of the determinant of the tests' covariance.
    pub(super) ln_det: f64,
}

impl Reduced {
    const ZERO: Self = Self { xx: [[0.0; PARAMETERS]; PARAMETERS], xy: [0.0; PARAMETERS], yy: 0.0, ln_det: 0.0 };

    fn add(&mut self, other: &Self) {
        self.add_times(other, 1.0);
    }

    /// Adds the other `times` over; −1 takes it out again.
    fn add_times(&mut self, other: &Self, times: f64) {
        for (mine, theirs) in self.xx.iter_mut().zip(&other.xx) {
            for (m, t) in mine.iter_mut().zip(theirs) {
                *m += times * t;
            }
        }
        for (m, t) in self.xy.iter_mut().zip(&other.xy) {
            *m += times * t;
        }
        self.yy += times * other.yy;
        self.ln_det += times * other.ln_det;
    }

    /// Takes out a random shift of the given sd that all of these tests share. Its design is that of the reference
    /// parameter: 1 in every test.
    fn without_shared_shift(&mut self, sd: f64) {
        let (weight, wx, wy) = (self.xx[0][0], self.xx[0], self.xy[0]);
        let gain = sd * sd / (1.0 + sd * sd * weight);
        for (i, line) in self.xx.iter_mut().enumerate() {
            for (j, cell) in line.iter_mut().enumerate() {
                *cell -= gain * wx[i] * wx[j];
            }
            self.xy[i] -= gain * wx[i] * wy;
        }
        self.yy -= gain * wy * wy;
        self.ln_det += (sd * sd * weight).ln_1p();
    }
}

/// A bottle's bench tests as sums, for each scatter of the grid.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sums {
    #[serde(deserialize_with = "whole_grid")]
    pub(super) by_scatter: Vec<Reduced>,
    /// Tests counted.
    pub tests: u32,
    /// Untouched baselines among them.
    pub baselines: u32,
}

/// Refuses kept sums whose grid is not the one this program works on.
fn whole_grid<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Vec<Reduced>, D::Error> {
    let grid = Vec::deserialize(from)?;
    if grid.len() == SCATTER_POINTS {
        Ok(grid)
    } else {
        Err(serde::de::Error::invalid_length(grid.len(), &"16 scatters"))
    }
}

impl Sums {
    /// No test yet.
    #[must_use]
    pub fn none() -> Self {
        Self { by_scatter: vec![Reduced::ZERO; SCATTER_POINTS], tests: 0, baselines: 0 }
    }

    /// Sums of the tests of one bottle, all on one kind of piece. Tests with a set time of 0 are left out.
    #[must_use]
    pub fn of(tests: &[SetTest]) -> Self {
        let mut ordered: Vec<&SetTest> = tests.iter().filter(|t| t.set.get() > 0.0).collect();
        ordered.sort_by_key(|t| t.session);
        let mut whole = Self::none();
        for session in ordered.chunk_by(|a, b| a.session == b.session) {
            whole.add_session(session);
        }
        whole
    }

    /// Adds the sums of other sittings of the same bottle.
    pub fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.by_scatter.iter_mut().zip(&other.by_scatter) {
            mine.add(theirs);
        }
        self.tests += other.tests;
        self.baselines += other.baselines;
    }

    /// Takes sums out again that were added.
    pub(super) fn take_out(&mut self, other: &Self) {
        for (mine, theirs) in self.by_scatter.iter_mut().zip(&other.by_scatter) {
            mine.add_times(theirs, -1.0);
        }
        self.tests = self.tests.saturating_sub(other.tests);
        self.baselines = self.baselines.saturating_sub(other.baselines);
    }

    /// The same with a random shift of the given log sd taken out that all of its tests share.
    fn without_shared_shift(&self, sd: f64) -> Self {
        let mut without = self.clone();
        if self.tests > 0 {
            for reduced in &mut without.by_scatter {
                reduced.without_shared_shift(sd);
            }
        }
        without
    }

    fn add_session(&mut self, session: &[&SetTest]) {
        let prepared: Vec<_> = session
            .iter()
            .map(|t| {
                let (y, extra) = t.ln_time();
                (row(&t.conditions), y, extra)
            })
            .collect();
        for (i, whole) in self.by_scatter.iter_mut().enumerate() {
            let variance = scatter_at(i).powi(2);
            let mut sums = Reduced::ZERO;
            for (x, y, extra) in &prepared {
                let weight = 1.0 / (variance + extra);
                for a in 0..PARAMETERS {
                    let wx = weight * x[a];
                    if wx.abs() > 0.0 {
                        for b in 0..PARAMETERS {
                            sums.xx[a][b] += wx * x[b];
                        }
                        sums.xy[a] += wx * y;
                    }
                }
                sums.yy += weight * y * y;
                sums.ln_det -= weight.ln();
            }
            sums.without_shared_shift(SESSION_SD);
            whole.add(&sums);
        }
        self.tests += session.len() as u32;
        self.baselines += session.iter().filter(|t| t.is_baseline()).count() as u32;
    }
}

/// What the bottles of one product tell about it together: each bottle's own deviation taken out. Products' sums add up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ProductSums(Sums);

impl ProductSums {
    /// No bottle yet.
    #[must_use]
    pub fn none() -> Self {
        Self(Sums::none())
    }

    /// Adds what one bottle tells about the product.
    pub fn add_bottle(&mut self, bottle: &Sums) {
        if bottle.tests > 0 {
            self.0.add(&bottle.without_shared_shift(BOTTLE_SD));
        }
    }

    /// Takes out one bottle that was added; without another left, nothing is left, not even the rounding.
    pub fn remove_bottle(&mut self, bottle: &Sums) {
        if bottle.tests == 0 {
            return;
        }
        if bottle.tests >= self.0.tests {
            self.0 = Sums::none();
            return;
        }
        self.0.take_out(&bottle.without_shared_shift(BOTTLE_SD));
    }

    /// Adds what other bottles of the same product told.
    pub fn add(&mut self, others: &Self) {
        self.0.add(&others.0);
    }

    /// Tests of all these bottles.
    #[must_use]
    pub fn tests(&self) -> u32 {
        self.0.tests
    }

    pub(super) fn sums(&self) -> &Sums {
        &self.0
    }

    /// What the product tells about adhesives at large: how quick it is itself taken out.
    pub(super) fn about_any_adhesive(&self) -> Sums {
        self.0.without_shared_shift(PRODUCT_SD)
    }
}
