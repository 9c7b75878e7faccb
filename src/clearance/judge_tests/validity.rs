//! How long a test counts, and decisions to go on over it.

use super::*;

#[test]
fn validity_ends_after_its_days_and_not_before() {
    for (over, expected) in [(-1, "cleared"), (0, "cleared"), (1, "not yet: test: Lapsed")] {
        // Judged three days from now.
        check(
            "validity",
            |facts, rules, shelf| facts.tests = vec![shelf.good_test(rules.validity() - 3 * DAY + over)],
            expected,
        );
    }
}

#[test]
fn the_largest_gap_counts_from_the_last_treatment_unless_a_test_came_after_it() {
    for (over, expected) in [(0, "cleared"), (1, "not yet: test: Gap")] {
        check(
            "gap",
            |facts, rules, shelf| {
                facts.tests = vec![shelf.good_test(100 * DAY)];
                facts.last_treatment = Some(NOW.plus(3 * DAY - rules.largest_gap() - over));
            },
            expected,
        );
    }
    check(
        "a test after the last treatment",
        |facts, rules, _| facts.last_treatment = Some(NOW.plus(-rules.largest_gap() - DAY)),
        "cleared",
    );
}

#[test]
fn validity_and_gap_are_passed_over_by_decisions_on_both_and_only_in_their_span() {
    let both_fail = |facts: &mut ClientFacts, rules: &Rules, shelf: &Shelf| {
        facts.tests = vec![shelf.good_test(rules.validity() + DAY)];
        facts.last_treatment = Some(NOW.plus(-rules.largest_gap() - DAY));
    };
    let decision = |of| OverrideFacts { of, from: NOW.plus(-HOUR), until: NOW.plus(4 * DAY), entered: NOW.plus(-HOUR) };
    check("neither", |facts, rules, shelf| both_fail(facts, rules, shelf), "not yet: test: Gap, test: Lapsed");
    check(
        "one",
        |facts, rules, shelf| {
            both_fail(facts, rules, shelf);
            facts.overrides = vec![decision(Overridable::Gap)];
        },
        "not yet: test: Lapsed",
    );
    check(
        "both",
        |facts, rules, shelf| {
            both_fail(facts, rules, shelf);
            facts.overrides = Overridable::ALL.map(decision).to_vec();
        },
        "cleared over [Gap, Validity]",
    );
    check(
        "another day",
        |facts, rules, shelf| {
            both_fail(facts, rules, shelf);
            facts.overrides =
                Overridable::ALL.map(|of| OverrideFacts { until: NOW.plus(3 * DAY), ..decision(of) }).to_vec();
        },
        "not yet: test: Gap, test: Lapsed",
    );
    check(
        "a new test runs already",
        |facts, rules, shelf| {
            both_fail(facts, rules, shelf);
            facts.overrides = Overridable::ALL.map(decision).to_vec();
            let mut running = shelf.good_test(HOUR);
            (running.read, running.result) = (None, TestResult::Waiting);
            facts.tests.push(running);
        },
        "not yet: reading",
    );
}
