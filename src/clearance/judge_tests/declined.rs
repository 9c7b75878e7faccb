//! A test she did not want.

use super::*;

#[test]
fn a_declined_test_holds_until_one_is_taken_and_counts_for_nothing_where_none_is_needed() {
    let declined = |shelf: &Shelf, ago: i64| TestFacts {
        placed: NOW.plus(-ago),
        read: None,
        known: None,
        result: TestResult::Declined,
        products: Vec::new(),
        id: shelf.good_test(0).id,
    };
    check("after a good one", |facts, _, shelf| facts.tests.push(declined(shelf, DAY)), "held: declined");
    check("before a good one", |facts, _, shelf| facts.tests.push(declined(shelf, 11 * DAY)), "cleared");
    check(
        "no test needed",
        |facts, rules, shelf| {
            facts.tests = vec![declined(shelf, DAY)];
            rules.needed = false;
        },
        "cleared",
    );
}
