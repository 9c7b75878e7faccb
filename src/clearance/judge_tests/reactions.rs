//! Reactions, what lifts them, and removals.

use super::*;

#[test]
fn a_reaction_is_lifted_by_a_statement_on_this_family_and_a_new_test_and_by_nothing_else() {
    let shelf = Shelf::new();
    let old = 100 * DAY;
    let base = || {
        let mut facts = shelf.cleared_client();
        facts.reactions.push(reaction(old));
        facts.tests.insert(0, shelf.good_test(old + 10 * DAY));
        facts
    };
    let rules = Rules::default();
    let say = |facts: &ClientFacts, plan: &[PlannedProduct]| said(&judge(facts, &rules, plan, NOW.plus(DAY)));
    // By time and a test without reaction: no.
    assert_eq!(say(&base(), &shelf.plan()), "held: reaction");
    // By another adhesive of the family, or of another: no.
    for (product, family) in
        [(shelf.heath, Family::Ethyl), (shelf.fen, Family::ButylOctyl), (shelf.fen, Family::NotStated)]
    {
        let mut facts = base();
        facts.tests.push(TestFacts { products: vec![Shelf::tested(product, family)], ..shelf.good_test(9 * DAY) });
        assert_eq!(say(&facts, &[PlannedProduct::adhesive(product, family)]), "held: reaction", "{family:?}");
    }
    // By a statement on another family, or one older than the reaction: no.
    for statement in
        [may_have(Family::ButylOctyl, DAY), may_have(Family::Ethyl, old + DAY), may_have(Family::NotStated, DAY)]
    {
        let mut facts = base();
        facts.statements.push(statement);
        assert_eq!(say(&facts, &shelf.plan()), "held: reaction");
    }
    let mut facts = base();
    facts.statements.push(may_have(Family::Ethyl, 30 * DAY));
    assert_eq!(say(&facts, &shelf.plan()), "cleared");
    // What came to light only after the statement was entered is not lifted by it, however old it is: a reaction told of late,
    let mut told_late = facts.clone();
    told_late.reactions.push(ReactionFacts { known: NOW.plus(-2 * DAY), ..reaction(60 * DAY) });
    assert_eq!(say(&told_late, &shelf.plan()), "held: reaction");
    // a look entered late,
    let mut looked_late = facts.clone();
    let look = TestFacts { result: TestResult::Reaction, known: Some(NOW.plus(-DAY)), ..shelf.good_test(50 * DAY) };
    looked_late.tests.push(look);
    assert_ne!(say(&looked_late, &shelf.plan()), "cleared");
    assert!(say(&looked_late, &shelf.plan()).starts_with("held"));
    // or a doctor's finding.
    let mut found_late = facts.clone();
    found_late.findings.push(FindingFacts { at: NOW.plus(-70 * DAY), known: NOW.plus(-DAY) });
    assert!(say(&found_late, &shelf.plan()).starts_with("held"));
    // Without a test after the reaction it is not cleared yet.
    facts.tests.pop();
    assert_eq!(say(&facts, &shelf.plan()), "not yet: test: AfterReaction");
    // A new reaction holds again.
    facts.reactions.push(reaction(DAY));
    assert_eq!(say(&facts, &shelf.plan()), "held: reaction");
}

#[test]
fn a_hold_on_adhesive_never_blocks_a_removal() {
    let shelf = Shelf::new();
    let mut facts = shelf.cleared_client();
    facts.reactions.push(reaction(DAY));
    facts.tests[0].result = TestResult::Reaction;
    facts.findings.push(FindingFacts { at: NOW, known: NOW });
    let rules = Rules { liquids_too: true, ..Rules::default() };
    let say = |facts: &ClientFacts, plan: &[PlannedProduct]| said(&judge(facts, &rules, plan, NOW));
    let removal = [PlannedProduct::removal()];
    // Where the rules ask for a test with liquids, remover is one of them; a test with it alone can be placed while adhesive is held.
    assert_eq!(say(&facts, &removal), "not yet: test: NeverTested");
    assert_eq!(said(&judge(&facts, &Rules::default(), &removal, NOW)), "cleared");
    let remover = TestedProduct { product: Wet::Remover.id(), kind: Kind::Liquid, stopped: false };
    facts.tests.push(TestFacts { products: vec![remover], ..shelf.good_test(20 * DAY) });
    assert_eq!(say(&facts, &removal), "cleared");
    // Cleanser planned with it is judged as well.
    let with_cleanser = [PlannedProduct::removal(), Wet::Cleanser.planned()];
    assert_eq!(say(&facts, &with_cleanser), "not yet: test: NeverTested");
    // A declined test says nothing about a removal either.
    facts.tests[0].result = TestResult::Declined;
    assert_eq!(say(&facts, &removal), "cleared");
    // An answer that says "do not treat" may be about the adhesive that has to come off: a doctor is asked.
    facts.health.do_not_treat = true;
    assert_eq!(say(&facts, &removal), "refer: advice");
    facts.health.do_not_treat = false;
    // Pain, swelling, changed vision: medical help first, no remover.
    facts.reactions[0].acute = true;
    assert_eq!(say(&facts, &removal), "refer: acute");
    // Recorded as over an hour ago it bars nothing now, and it did two hours ago.
    facts.reactions[0].over = Some(NOW.plus(-HOUR));
    assert_eq!(say(&facts, &removal), "cleared");
    let (then, later) = (NOW.plus(-2 * HOUR), NOW.plus(-HOUR));
    assert_eq!(said(&judge(&facts.clone().as_of(then), &Rules::default(), &removal, then)), "refer: acute");
    assert_eq!(said(&judge(&facts.clone().as_of(later), &Rules::default(), &removal, later)), "cleared");
    facts.reactions[0].over = None;
    // The remover that was met before the reaction is held itself.
    facts.reactions[0].acute = false;
    facts.reactions[0].liquids.push(Wet::Remover.id());
    assert_eq!(said(&judge(&facts, &Rules::default(), &removal, NOW)), "held: reaction");
    // So is one that stood in a test with a reaction.
    facts.reactions.clear();
    facts.tests[1].result = TestResult::Doubtful;
    assert_eq!(said(&judge(&facts, &Rules::default(), &removal, NOW)), "held: doubtful");
}
