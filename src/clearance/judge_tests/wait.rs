//! The wait after placing, and the last instant for a test.

use super::*;

#[test]
fn a_wait_is_counted_in_elapsed_hours_and_its_end_is_included() {
    for (read_after, expected) in
        [(47 * HOUR, "not yet: reading"), (48 * HOUR - 1, "not yet: reading"), (48 * HOUR, "cleared")]
    {
        check(
            "wait",
            |facts, _, _| {
                facts.tests[0].placed = NOW.plus(-3 * DAY);
                facts.tests[0].read = Some(facts.tests[0].placed.plus(read_after));
            },
            expected,
        );
    }
}

#[test]
fn the_same_clock_time_two_days_later_over_the_spring_change_is_47_hours() {
    let zone = zone();
    let at = |day: i8| {
        Instant::from_timestamp(
            zone.inner().to_ambiguous_timestamp(date(2026, 3, day).at(10, 0, 0, 0)).compatible().unwrap(),
        )
    };
    let (placed, two_days_later) = (at(28), at(30));
    assert_eq!(two_days_later.since(placed), 47 * HOUR);
    let shelf = Shelf::new();
    let mut facts = shelf.cleared_client();
    (facts.tests[0].placed, facts.tests[0].read) = (placed, Some(two_days_later));
    let later = two_days_later.plus(HOUR);
    facts.health.expires = Some(later.plus(DAY));
    let answer = clearance(&facts, &Rules::default(), &shelf.plan(), later, later);
    assert_eq!(said(&answer), "not yet: reading");
    facts.tests[0].read = Some(later);
    assert_eq!(said(&clearance(&facts, &Rules::default(), &shelf.plan(), later, later)), "cleared");
}

#[test]
fn a_wait_that_is_over_is_not_a_result() {
    check(
        "nobody looked",
        |facts, _, _| {
            (facts.tests[0].result, facts.tests[0].read) = (TestResult::Waiting, None);
            facts.tests[0].placed = NOW.plus(-5 * DAY);
        },
        "not yet: reading",
    );
    for (over, expected) in [(0, "not yet: reading"), (1, "not yet: test: NotRead")] {
        check(
            "nobody looked in time",
            |facts, rules, _| {
                (facts.tests[0].result, facts.tests[0].read) = (TestResult::Waiting, None);
                facts.tests[0].placed = NOW.plus(-rules.wait() - LOOK_WITHIN - over);
            },
            expected,
        );
    }
}

#[test]
fn the_last_instant_for_a_test_is_the_wait_before_the_treatment() {
    let (shelf, rules) = (Shelf::new(), Rules::default());
    let mut facts = shelf.cleared_client();
    facts.tests.clear();
    for (hours, overdue) in [(47, true), (48, false), (49, false)] {
        let at = NOW.plus(hours * HOUR);
        let Clearance::NotYet(not_yet) = judge(&facts, &rules, &shelf.plan(), at) else { panic!() };
        assert_eq!(not_yet.last_instant_for_a_test, at.plus(-48 * HOUR));
        assert_eq!((not_yet.is_overdue(&rules, NOW), not_yet.due(&rules)), (overdue, at.plus(-48 * HOUR)), "{hours}");
    }
    // A test that runs is due at the treatment, and too late when its wait ends after it.
    let mut running = shelf.good_test(40 * HOUR);
    (running.read, running.result) = (None, TestResult::Waiting);
    facts.tests.push(running);
    for (hours, overdue) in [(7, true), (8, false)] {
        let at = NOW.plus(hours * HOUR);
        let Clearance::NotYet(not_yet) = judge(&facts, &rules, &shelf.plan(), at) else { panic!() };
        assert_eq!((not_yet.is_overdue(&rules, NOW), not_yet.due(&rules)), (overdue, at), "{hours}");
    }
}
