//! Health answers and ages.

use super::*;

#[test]
fn a_change_of_health_asks_for_a_test_placed_after_it() {
    check("changed", |facts, _, _| facts.health.changed = Some(NOW.plus(-DAY)), "not yet: test: HealthChanged");
    check("before the test", |facts, _, _| facts.health.changed = Some(NOW.plus(-10 * DAY)), "cleared");
    check(
        "not asked for",
        |facts, rules, _| {
            facts.health.changed = Some(NOW.plus(-DAY));
            rules.on_health = false;
        },
        "cleared",
    );
}

#[test]
fn health_answers_stop_counting_on_their_day_and_a_hold_in_them_does_not() {
    for (from_at, expected) in [(1, "cleared"), (0, "not yet: answers again")] {
        check("expires", |facts, _, _| facts.health.expires = Some(NOW.plus(3 * DAY + from_at)), expected);
    }
    check(
        "an old hold",
        |facts, _, _| {
            facts.health.expires = Some(NOW.plus(-DAY));
            facts.health.do_not_treat = true;
        },
        "held: do not treat",
    );
}

#[test]
fn ages_are_taken_on_the_studios_calendar_on_the_day_of_the_treatment() {
    let shelf = Shelf::new();
    let mut facts = shelf.cleared_client();
    let day = zone().day(NOW.plus(3 * DAY));
    let turns = |years: i16| Some(day.with().year(day.year() - years).build().unwrap());
    for (born, guardian, expected) in [
        (turns(18), false, "cleared"),
        (turns(18).and_then(|born| born.tomorrow().ok()), false, "held: no guardian"),
        (turns(18).and_then(|born| born.tomorrow().ok()), true, "cleared"),
        (turns(16), true, "cleared"),
        (turns(16).and_then(|born| born.tomorrow().ok()), true, "held: too young"),
        (None, true, "not yet: birth date"),
    ] {
        (facts.born, facts.guardian) = (born, guardian);
        assert_eq!(said(&judge(&facts, &Rules::default(), &shelf.plan(), NOW.plus(3 * DAY))), expected, "{born:?}");
    }
}
