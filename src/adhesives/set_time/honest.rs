//! Does the model foretell tests it has not seen? Each sitting is left out in turn and foretold from the others.

use super::posterior::Posterior;
use super::prior::Prior;
use super::sums::{SetTest, Sums};
use crate::adhesives::AirDoubt;

/// One test, foretold without its own sitting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldOut {
    /// Its sitting.
    pub session: u32,
    /// ln measured − ln foretold (median).
    pub residual: f64,
    /// Where the measurement fell in what was foretold, 0…1; even from 0 to 1 when the doubt is right.
    pub place: f64,
}

/// How honest a bottle's predictions have been.
#[derive(Debug, Clone, PartialEq)]
pub struct Honesty {
    /// Every test, foretold without its own sitting.
    pub tests: Vec<HeldOut>,
    /// Share of tests inside the range called likely (8 in 10).
    pub coverage_80: f64,
}

/// Leaves each sitting out in turn; `None` below two sittings, where nothing is left to learn from.
#[must_use]
pub fn leave_one_session_out(prior: &Prior, tests: &[SetTest]) -> Option<Honesty> {
    let mut ordered: Vec<SetTest> = tests.iter().copied().filter(|t| t.set.get() > 0.0).collect();
    ordered.sort_by_key(|t| t.session);
    let sittings: Vec<&[SetTest]> = ordered.chunk_by(|a, b| a.session == b.session).collect();
    if sittings.len() < 2 {
        return None;
    }
    let sums: Vec<Sums> = sittings.iter().map(|s| Sums::of(s)).collect();
    let mut all = Sums::none();
    for sum in &sums {
        all.add(sum);
    }
    let mut held_out = Vec::with_capacity(ordered.len());
    for (sitting, own) in sittings.iter().zip(&sums) {
        // Taken out of the whole, so that many sittings cost as many steps and not their square.
        let mut others = all.clone();
        others.take_out(own);
        let bottle = Posterior::of(prior, &others);
        for test in *sitting {
            let foretold = bottle.placement(&test.conditions, AirDoubt::NONE);
            let (ln_time, _) = test.ln_time();
            held_out.push(HeldOut {
                session: test.session,
                residual: ln_time - foretold.quantile(0.5),
                place: foretold.cdf(ln_time),
            });
        }
    }
    let inside = held_out.iter().filter(|t| (0.1..=0.9).contains(&t.place)).count();
    let coverage_80 = inside as f64 / held_out.len() as f64;
    Some(Honesty { tests: held_out, coverage_80 })
}
