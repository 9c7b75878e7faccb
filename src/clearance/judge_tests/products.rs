//! What is planned, stopped or new.

use super::*;

#[test]
fn a_new_adhesive_or_family_asks_for_a_test_as_the_rules_say() {
    let shelf = Shelf::new();
    let facts = shelf.cleared_client();
    let plan = |product, family| vec![PlannedProduct::adhesive(product, family)];
    for (on_product, on_family, heath, fen) in [
        (true, true, false, false),
        (true, false, false, false),
        (false, true, true, false),
        (false, false, true, true),
    ] {
        let rules = Rules { on_product, on_family, ..Rules::default() };
        let at = NOW.plus(DAY);
        let cleared = |plan: &[PlannedProduct]| judge(&facts, &rules, plan, at).is_cleared();
        assert_eq!(cleared(&plan(shelf.heath, Family::Ethyl)), heath, "{on_product} {on_family}");
        assert_eq!(cleared(&plan(shelf.fen, Family::ButylOctyl)), fen, "{on_product} {on_family}");
        assert!(cleared(&shelf.plan()));
    }
    // A family nobody states is never the same as another.
    let rules = Rules { on_product: false, ..Rules::default() };
    let mut unstated = facts;
    unstated.tests[0].products = vec![Shelf::tested(shelf.slate, Family::NotStated)];
    assert!(!judge(&unstated, &rules, &plan(shelf.heath, Family::NotStated), NOW).is_cleared());
}

#[test]
fn every_product_planned_is_judged_and_an_empty_plan_is_never_cleared() {
    let shelf = Shelf::new();
    let facts = shelf.cleared_client();
    let mut plan = shelf.plan();
    plan.push(PlannedProduct { product: Some(shelf.primer), kind: Kind::Liquid, stopped: false });
    let (usual, liquids) = (Rules::default(), Rules { liquids_too: true, ..Rules::default() });
    assert!(judge(&facts, &usual, &plan, NOW).is_cleared());
    assert_eq!(said(&judge(&facts, &liquids, &plan, NOW)), "not yet: test: NeverTested");
    plan.push(PlannedProduct::adhesive(shelf.fen, Family::ButylOctyl));
    assert_eq!(said(&judge(&facts, &usual, &plan, NOW)), "not yet: test: NeverTested");
    assert_eq!(said(&judge(&facts, &usual, &[], NOW)), "not yet: adhesive");
}

#[test]
fn a_stop_holds_what_is_planned_and_unmakes_the_tests_made_with_it() {
    check("a test", |facts, _, _| facts.tests[0].products[0].stopped = true, "not yet: test: Stopped");
    check(
        "one of two in a test",
        |facts, _, shelf| {
            let fen = TestedProduct { stopped: true, ..Shelf::tested(shelf.fen, Family::ButylOctyl) };
            facts.tests[0].products.push(fen);
        },
        "cleared",
    );
    let shelf = Shelf::new();
    let plan = [PlannedProduct { stopped: true, ..PlannedProduct::adhesive(shelf.slate, Family::Ethyl) }];
    assert_eq!(said(&judge(&shelf.cleared_client(), &Rules::default(), &plan, NOW)), "held: stopped");
}
