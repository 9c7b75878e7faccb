//! How somebody stands for a visit that is booked or about to be. The book stands where others can see it: mark, steps and the last
//! instant for a patch test; no reason, and nothing about health.

use super::facts::Known;
use super::judge::{Clearance, Missing};
use super::standing::{Bench, facts_of, judge_visit};
use super::visit_store::Expected;
use super::words;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::store::Db;
use crate::store::keys::Keys;
use crate::web::studio::Studio;

/// How somebody stands for a visit, in words that anybody may read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AtBooking {
    /// "fit", "near" or "stop".
    pub mark: &'static str,
    /// The word beside it.
    pub word: &'static str,
    /// What is missing, a sentence each.
    pub steps: Vec<String>,
    /// Until when a patch test can be placed for this visit, where one is missing.
    pub last_test: Option<String>,
}

impl AtBooking {
    /// True where nothing is missing.
    #[must_use]
    pub fn is_cleared(&self) -> bool {
        self.mark == "fit"
    }
}

/// How this visit stands by what is recorded now; it need not be kept yet. `artist` is who is to be spoken with.
///
/// # Errors
/// [`Problem::NotHere`] without such a client; when the database cannot be read.
pub async fn at_booking(
    db: &mut Db,
    keys: &Keys,
    visit: &Expected,
    artist: &str,
    now: Instant,
    known: Known,
) -> Result<AtBooking, Problem> {
    let zone = Studio::load(db).await?.zone;
    let bench = Bench::load(db, &zone).await?;
    let facts = known.of(facts_of(db, keys, visit.client, &zone, now).await?, now);
    let answer = judge_visit(&facts, &bench, visit, now);
    let mark = words::shared_mark(&answer, &bench.rules, now);
    let (mut steps, mut last_test) = (Vec::new(), None);
    match &answer {
        Clearance::Cleared(_) => {}
        Clearance::Held(_) | Clearance::Refer(_) => {
            steps.push(format!("{}.", capital(&words::shared_step(&answer, artist))));
        }
        Clearance::NotYet(not_yet) => {
            for missing in &not_yet.missing {
                let step = format!("{}.", capital(&words::step(missing)));
                if !steps.contains(&step) {
                    steps.push(step);
                }
            }
            let deadline = words::deadline(not_yet, &bench.rules, &zone, now);
            // With no adhesive chosen a test will be asked for all the same.
            let test = |missing: &Missing| matches!(missing, Missing::Test { .. } | Missing::Adhesive);
            if not_yet.missing.iter().any(test) {
                let last = not_yet.last_instant_for_a_test;
                last_test = Some(if now <= last {
                    let (when, left) = (zone.date_and_clock(last, now), words::left(last, now));
                    format!("A patch test can be placed until {when}, {left}.")
                } else {
                    capital(&deadline)
                });
            } else {
                steps.push(capital(&deadline));
            }
        }
    }
    Ok(AtBooking { mark: mark.mark, word: mark.word, steps, last_test })
}
