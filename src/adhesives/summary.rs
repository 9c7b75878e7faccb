//! What a bottle's tests come to, kept so that no page reads all tests: sums, openness, what was covered, how honest the
//! model has been. Pure.

use serde::{Deserialize, Serialize};

use super::bench::{BenchTest, open_tests, set_tests};
use super::set_time::{
    Openness, Posterior, Prior, ProductSums, SetTest, Sums, TestPiece, leave_one_session_out, of_one_piece,
};
use crate::base::units::Seconds;

/// How many foretold tests are kept for showing: more would make the summary grow with every test.
const FORETOLD_KEPT: usize = 40;

/// What a bottle's tests come to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// The one kind of piece whose tests entered.
    pub piece: TestPiece,
    /// What was assumed before them: openness and honesty rest on it, and are made again when it changes.
    pub prior: Prior,
    /// The set-time tests as sums.
    pub sums: Sums,
    /// The open-time tests, as what they say about the openness.
    pub openness: Openness,
    /// What the tests covered.
    pub covered: Covered,
    /// How the tests were foretold, each without its own sitting; `None` below two sittings.
    pub honest: Option<Honest>,
    /// Tests on other pieces, which entered nothing.
    pub left_out: u32,
}

/// What a bottle's own set-time tests covered.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Covered {
    /// Beads tested: thin, medium, full.
    pub beads: [bool; 3],
    /// Driest and dampest %RH tested.
    pub humidity_pct: Option<(f64, f64)>,
    /// Coolest and warmest °C tested.
    pub temperature_c: Option<(f64, f64)>,
}

/// How tests were foretold that the model had not seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Honest {
    /// Tests foretold.
    pub tests: u32,
    /// Share of them inside the range called likely (8 in 10).
    pub coverage_80: f64,
    /// Half of them were off by less than this factor; 1 would be not at all.
    pub typical_factor: f64,
    /// The newest of them, oldest first.
    pub newest: Vec<Foretold>,
}

/// One test, foretold without its own sitting.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Foretold {
    /// Its sitting, counted from 0.
    pub sitting: u32,
    /// Seconds measured.
    pub measured: f64,
    /// Seconds foretold, best guess.
    pub foretold: f64,
    /// Whether the measured ones lay inside the likely range.
    pub inside: bool,
}

impl Summary {
    /// Before any test.
    #[must_use]
    pub fn none() -> Self {
        Self {
            piece: TestPiece::default(),
            prior: Prior::from_label(None),
            sums: Sums::none(),
            openness: Openness::untested(),
            covered: Covered::default(),
            honest: None,
            left_out: 0,
        }
    }

    /// From all tests of a bottle. `before` gives what is assumed and what the sisters told, on a piece: needed for the
    /// openness, which is a multiple of the set time.
    #[must_use]
    pub fn of(tests: &[BenchTest], before: impl Fn(TestPiece) -> (Prior, ProductSums)) -> Self {
        let all = set_tests(tests);
        let piece = piece_of(&all, tests);
        let set: Vec<SetTest> = all.iter().copied().filter(|test| test.piece == piece).collect();
        let sums = Sums::of(&set);
        let open = open_tests(tests, piece);
        let (prior, siblings) = before(piece);
        let bottle = Posterior::within_product(&prior, &siblings, &sums);
        let counted = tests.iter().filter(|test| !test.struck).count();
        Self {
            piece,
            openness: Openness::of(&bottle, &open),
            covered: Covered::of(&set),
            honest: Honest::of(&prior, &set),
            left_out: u32::try_from(counted - set.len() - open.len()).unwrap_or(u32::MAX),
            prior,
            sums,
        }
    }

    /// Tests that entered, of both kinds.
    #[must_use]
    pub fn tests(&self) -> u32 {
        self.sums.tests + self.openness.tests
    }
}

/// The piece most used for the set time; without any such test, the one of the open-time tests.
fn piece_of(set: &[SetTest], tests: &[BenchTest]) -> TestPiece {
    if !set.is_empty() {
        return of_one_piece(set).0;
    }
    let count = |piece: TestPiece| tests.iter().filter(|test| !test.struck && test.piece == piece).count();
    let mut chosen = TestPiece::default();
    for piece in TestPiece::ALL {
        if count(piece) > count(chosen) {
            chosen = piece;
        }
    }
    chosen
}

impl Covered {
    /// What these tests covered.
    #[must_use]
    pub fn of(tests: &[SetTest]) -> Self {
        let mut covered = Self::default();
        let widen =
            |range: Option<(f64, f64)>, x: f64| Some(range.map_or((x, x), |(low, high)| (low.min(x), high.max(x))));
        for test in tests {
            if let Some(bead) =
                usize::try_from(test.conditions.bead.step() + 1).ok().and_then(|i| covered.beads.get_mut(i))
            {
                *bead = true;
            }
            covered.humidity_pct = widen(covered.humidity_pct, test.conditions.air.humidity.get());
            covered.temperature_c = widen(covered.temperature_c, test.conditions.air.temperature.get());
        }
        covered
    }
}

impl Honest {
    fn of(prior: &Prior, tests: &[SetTest]) -> Option<Self> {
        let honesty = leave_one_session_out(prior, tests)?;
        // In the order in which they are foretold: by sitting.
        let mut ordered: Vec<&SetTest> = tests.iter().filter(|test| test.set.get() > 0.0).collect();
        ordered.sort_by_key(|test| test.session);
        let foretold: Vec<Foretold> = ordered
            .iter()
            .zip(&honesty.tests)
            .map(|(test, held_out)| {
                let (ln_time, _) = test.ln_time();
                Foretold {
                    sitting: test.session,
                    measured: test.set.get(),
                    foretold: Seconds::clamped((ln_time - held_out.residual).exp()).get(),
                    inside: (0.1..=0.9).contains(&held_out.place),
                }
            })
            .collect();
        let mut off: Vec<f64> = honesty.tests.iter().map(|held_out| held_out.residual.abs()).collect();
        off.sort_by(f64::total_cmp);
        Some(Self {
            tests: u32::try_from(foretold.len()).unwrap_or(u32::MAX),
            coverage_80: honesty.coverage_80,
            typical_factor: off[(off.len() - 1) / 2].exp(),
            newest: foretold[foretold.len().saturating_sub(FORETOLD_KEPT)..].to_vec(),
        })
    }
}

/// What the finished bottles of a product told about it, by the piece they were tested on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Past(Vec<(TestPiece, ProductSums)>);

impl Past {
    /// From the summaries of the finished bottles.
    #[must_use]
    pub fn of<'a>(bottles: impl IntoIterator<Item = &'a Summary>) -> Self {
        let mut past = Self::default();
        for bottle in bottles {
            past.add_bottle(bottle);
        }
        past
    }

    fn add_bottle(&mut self, bottle: &Summary) {
        if bottle.sums.tests == 0 {
            return;
        }
        match self.0.iter_mut().find(|(piece, _)| *piece == bottle.piece) {
            Some((_, sums)) => sums.add_bottle(&bottle.sums),
            None => {
                let mut sums = ProductSums::none();
                sums.add_bottle(&bottle.sums);
                self.0.push((bottle.piece, sums));
            }
        }
    }

    /// The same without one of the bottles that entered: a finished bottle is not its own sister.
    pub fn remove_bottle(&mut self, bottle: &Summary) {
        if let Some((_, sums)) = self.0.iter_mut().find(|(piece, _)| *piece == bottle.piece) {
            sums.remove_bottle(&bottle.sums);
        }
        self.0.retain(|(_, sums)| sums.tests() > 0);
    }

    /// What they told, tested on this piece.
    #[must_use]
    pub fn on(&self, piece: TestPiece) -> ProductSums {
        self.0.iter().find(|(known, _)| *known == piece).map_or_else(ProductSums::none, |(_, sums)| sums.clone())
    }
}
