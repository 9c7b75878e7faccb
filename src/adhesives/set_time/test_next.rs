//! Which bench test would tell most about this bottle in this room.

use super::design::row;
use super::posterior::Posterior;
use super::predict::Times;
use super::prior::SESSION_SD;
use crate::adhesives::{Air, Bead, Conditions, Liquid, Liquids};
use crate::base::stats::normal;
use crate::base::units::Seconds;

/// Untouched baselines a bottle needs before anything else about it is varied.
const BASELINES_FIRST: u32 = 3;
/// Repeats of a test in one sitting that the expected narrowing is worked out for.
const REPEATS: f64 = 3.0;

/// A test a person could make now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NextTest {
    /// Medium bead, no liquid, the air as it is.
    Baseline,
    /// Another bead, else untouched.
    Bead(Bead),
    /// One liquid, else untouched.
    Liquid(Liquid),
    /// Untouched in other air that can be reached.
    Air(Air),
}

/// The test to make next, and what three of it in one sitting are expected to do.
#[derive(Debug, Clone, PartialEq)]
pub struct TestNext {
    /// Which test.
    pub test: NextTest,
    /// A new placement's set time in this room as known now.
    pub now: Times,
    /// The same after the test, if it comes out as expected.
    pub then: Times,
    /// The sentence for the page.
    pub words: String,
}

/// The test that lowers the variance of ln t in these conditions most. Until three untouched baselines exist, always
/// a baseline: a factor measured on an unknown adhesive belongs to nothing. `reachable` is other air that the room
/// can be brought to; liquids are offered only from `liquids`.
#[must_use]
pub fn test_next(bottle: &Posterior, here: &Conditions, liquids: Liquids, reachable: &[Air]) -> TestNext {
    let mut candidates = vec![NextTest::Baseline];
    if bottle.baselines >= BASELINES_FIRST {
        candidates.extend([NextTest::Bead(Bead::Thin), NextTest::Bead(Bead::Full)]);
        candidates.extend(liquids.iter().map(NextTest::Liquid));
        candidates.extend(reachable.iter().copied().map(NextTest::Air));
    }
    let mut best = (NextTest::Baseline, f64::NEG_INFINITY);
    for test in candidates {
        let gain = taken_away(bottle, here, test);
        if gain > best.1 {
            best = (test, gain);
        }
    }
    let (test, gain) = best;
    let x = row(here);
    let centre = bottle.line_mean(&x);
    let scatter: f64 = bottle.scatters().iter().map(|s| s.weight * s.sigma * s.sigma).sum();
    let now = bottle.line(&x).1.powi(2) + SESSION_SD.powi(2) + scatter;
    let then = (now - gain).max(SESSION_SD.powi(2) + scatter);
    let (now, then) = (around(centre, now.sqrt()), around(centre, then.sqrt()));
    let words = sentence(test, bottle.baselines, now, then);
    TestNext { test, now, then, words }
}

/// Variance of ln t here that three repeats of the test are expected to take away.
fn taken_away(bottle: &Posterior, here: &Conditions, test: NextTest) -> f64 {
    let untouched = Conditions { bead: Bead::Medium, liquids: Liquids::NONE, ..*here };
    let made_at = match test {
        NextTest::Baseline => untouched,
        NextTest::Bead(bead) => Conditions { bead, ..untouched },
        NextTest::Liquid(liquid) => Conditions { liquids: Liquids::NONE.with(liquid), ..untouched },
        NextTest::Air(air) => Conditions { air, ..untouched },
    };
    let (x, y) = (row(here), row(&made_at));
    bottle
        .scatters()
        .iter()
        .map(|s| {
            let of_test = s.variance_of(&y) + SESSION_SD.powi(2) + s.sigma.powi(2) / REPEATS;
            s.weight * s.covariance_of(&x, &y).powi(2) / of_test
        })
        .sum()
}

fn around(centre: f64, sd: f64) -> Times {
    let reach = normal::quantile(0.9) * sd;
    let at = |ln: f64| Seconds::clamped(ln.exp());
    Times { median: at(centre), low: at(centre - reach), high: at(centre + reach) }
}

fn sentence(test: NextTest, baselines: u32, now: Times, then: Times) -> String {
    let what = match test {
        NextTest::Baseline if baselines < BASELINES_FIRST => {
            "Test it untouched three times: medium bead, no liquid, the air as it is".to_owned()
        }
        NextTest::Baseline => "Test it untouched three times again, in this air and in a new sitting".to_owned(),
        NextTest::Bead(bead) => format!("Test it three times with a {} bead, nothing else changed", bead.word()),
        NextTest::Liquid(liquid) => format!("Test it three times with {}, nothing else changed", liquid.words()),
        NextTest::Air(air) => format!(
            "Test it untouched three times at {:.0}\u{a0}°C and {:.0}\u{a0}%RH",
            air.temperature.get(),
            air.humidity.get()
        ),
    };
    let range = |t: Times| format!("{:.1}–{:.1}\u{a0}s", t.low.get(), t.high.get());
    format!("{what}: the likely range here should narrow from {} to about {}.", range(now), range(then))
}
