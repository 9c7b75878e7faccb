//! Kills the program without warning while people and sensors write - readings, bookings, treatment cards -, starts it again, lets them
//! ask again, and counts: nothing acknowledged may be lost, nothing doubled, nothing half there, no time given twice.
//!
//! `beside.rs` starts the same program for what other processes do beside it.
//!
//! `STILLROOM_TEST_KILLS` sets how often (50; a release run takes 1000), `STILLROOM_TEST_SEED` the chance. A loop that
//! finds nothing proves nothing unless it can find something: two controls misbehave on purpose and must be caught.

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it must be")]
#![allow(clippy::print_stdout, reason = "the counts of a run are its result")]

mod beside;
mod books;
mod chance;
mod clients;
mod early;
mod http;
mod pages;
mod program;
mod studio;
mod the_loop;

use the_loop::{Front, Plan, run};

use books::Verdict;
use clients::Manners;
use program::Place;

/// A variable as a number.
fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name)
        .ok()
        .map_or(otherwise, |text| text.parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

fn kills() -> usize {
    usize::try_from(number("STILLROOM_TEST_KILLS", 50)).unwrap()
}

fn seed() -> u64 {
    number("STILLROOM_TEST_SEED", 20_260_218)
}

/// The tests share a name so that `--skip kill_loop::` leaves out all of them, and run one at a time: each wants the
/// whole machine.
mod kill_loop {
    use super::*;

    #[test]
    fn nothing_acknowledged_is_lost_or_doubled_on_sqlite() {
        let folder = tempfile::tempdir().unwrap();
        let place = Place { data: folder.path().join("data"), postgres: None };
        check_good(&place);
    }

    #[test]
    fn nothing_acknowledged_is_lost_or_doubled_on_postgresql() {
        let Ok(server) = std::env::var("STILLROOM_TEST_POSTGRES") else {
            // tests/run says so too, and counts it.
            println!("left out: STILLROOM_TEST_POSTGRES names no server");
            return;
        };
        let folder = tempfile::tempdir().unwrap();
        let database = books::Database::create(&server);
        check_good(&Place { data: folder.path().join("data"), postgres: Some(database.url.clone()) });
    }

    fn check_good(place: &Place) {
        let outcome = run(place, &Plan { kills: kills(), seed: seed(), manners: Manners::Good, front: Front::None });
        println!("{outcome}");
        assert_eq!(outcome.refusals, Vec::<String>::new());
        assert_eq!(outcome.wounds, Vec::<String>::new());
        assert!(outcome.verdict.is_clean(), "{:?}", outcome.verdict);
        assert!(outcome.audit_holds, "the audit chain does not hold:\n{}", outcome.audit_says);
        // A loop in which hardly anything was written or nothing had to be asked again shows nothing.
        let verdict = &outcome.verdict;
        assert!(verdict.acknowledged > kills(), "only {} entries were acknowledged", verdict.acknowledged);
        assert!(verdict.refused > 0, "nobody wanted a time that somebody else had");
        assert!(verdict.sent_again > kills() / 2, "only {} entries were sent again", verdict.sent_again);
    }

    #[test]
    fn a_house_that_acknowledges_before_it_commits_is_caught() {
        let verdict = run_control(Manners::Good, Front::AcknowledgesEarly, |verdict| verdict.lost > 0);
        assert!(verdict.lost > 0, "the loop did not see the loss: {verdict:?}");
    }

    #[test]
    fn clients_that_forget_their_keys_are_caught() {
        let verdict = run_control(Manners::ForgetsItsKey, Front::None, |verdict| verdict.doubled > 0);
        assert!(verdict.doubled > 0, "the loop did not see the doubles: {verdict:?}");
    }

    /// Ten kills at a time until it is caught, four times at most: on a busy machine few kills fall between commit and answer.
    fn run_control(manners: Manners, front: Front, is_caught: impl Fn(&Verdict) -> bool) -> Verdict {
        let mut round = 0;
        loop {
            let folder = tempfile::tempdir().unwrap();
            let place = Place { data: folder.path().join("data"), postgres: None };
            let outcome = run(&place, &Plan { kills: 10, seed: seed() + round, manners, front });
            println!("control: {outcome}");
            round += 1;
            if is_caught(&outcome.verdict) || round == 4 {
                return outcome.verdict;
            }
        }
    }
}
