//! What nobody passes over, and what is told first.

use super::*;

/// Her test is past its days, and somebody decided to go on all the same, so long ago.
fn go_on(facts: &mut ClientFacts, ago: i64) {
    let over = Rules::default().validity() + DAY;
    facts.tests[0].placed = NOW.plus(-over);
    let (from, until, entered) = (NOW.plus(-DAY), NOW.plus(DAY), NOW.plus(-ago));
    facts.overrides = vec![OverrideFacts { of: Overridable::Validity, from, until, entered }];
}

#[test]
fn as_it_was_then_nothing_counts_that_came_since() {
    let shelf = Shelf::new();
    let then = NOW.plus(-HOUR);
    type Change = fn(&mut ClientFacts);
    let table: [(&str, Change, &str, &str); 10] = [
        ("nothing since", |_| {}, "cleared", "cleared"),
        ("answers given since", |facts| facts.health.answered = Some(NOW), "cleared", "not yet"),
        ("answers given at that instant", |facts| facts.health.answered = Some(NOW.plus(-HOUR)), "cleared", "cleared"),
        (
            "answers given since that stand against it",
            |facts| (facts.health.answered, facts.health.do_not_treat) = (Some(NOW), true),
            "held",
            "held",
        ),
        (
            "a statement of before",
            |facts| {
                facts.reactions.push(reaction(60 * DAY));
                facts.statements.push(may_have(Family::Ethyl, 20 * DAY));
            },
            "cleared",
            "cleared",
        ),
        (
            "a statement entered since",
            |facts| {
                facts.reactions.push(reaction(60 * DAY));
                facts.statements.push(Statement { entered: NOW, ..may_have(Family::Ethyl, 20 * DAY) });
            },
            "cleared",
            "held",
        ),
        (
            "a statement written since",
            |facts| {
                facts.reactions.push(reaction(60 * DAY));
                facts.statements.push(may_have(Family::Ethyl, 0));
            },
            "cleared",
            "held",
        ),
        ("a decision to go on of before", |facts| go_on(facts, HOUR), "cleared over", "cleared over"),
        ("a decision to go on since", |facts| go_on(facts, MINUTE), "cleared over", "not yet: test: Lapsed"),
        ("a reaction since", |facts| facts.reactions.push(reaction(MINUTE)), "held", "cleared"),
    ];
    for (name, change, by_now, by_then) in table {
        let mut facts = shelf.cleared_client();
        change(&mut facts);
        let say = |facts: &ClientFacts, at| said(&judge(facts, &Rules::default(), &shelf.plan(), at));
        let (now, before) = (say(&facts, NOW), say(&facts.clone().as_of(then), then));
        assert!(now.starts_with(by_now), "{name}, by now: {now}");
        assert!(before.starts_with(by_then), "{name}, by then: {before}");
    }
}

#[test]
fn what_never_may_be_passed_over_holds_or_refers_whatever_was_decided() {
    let decided = |facts: &mut ClientFacts| {
        for of in Overridable::ALL {
            facts.overrides.push(OverrideFacts {
                of,
                from: NOW.plus(-DAY),
                until: NOW.plus(30 * DAY),
                entered: NOW.plus(-DAY),
            });
        }
    };
    let case = |name: &str, change: fn(&mut ClientFacts, &Shelf), expected: &str| {
        check(
            name,
            |facts, _, shelf| {
                decided(facts);
                change(facts, shelf);
            },
            expected,
        );
    };
    case("a reaction", |facts, _| facts.reactions.push(reaction(DAY)), "held: reaction");
    case("a doubtful result", |facts, _| facts.tests[0].result = TestResult::Doubtful, "held: doubtful");
    case("a reaction in a test", |facts, _| facts.tests[0].result = TestResult::Reaction, "held: test reaction");
    case("a late reaction", |facts, _| facts.tests[0].result = TestResult::Late, "held: test reaction");
    case("a doctor's finding", |facts, _| facts.findings.push(FindingFacts { at: NOW, known: NOW }), "held: finding");
    case("do not treat now", |facts, _| facts.health.do_not_treat = true, "held: do not treat");
    case("medical advice first", |facts, _| facts.health.advice_first = true, "refer: advice");
    case(
        "a wait not over",
        |facts, _| {
            facts.tests[0].placed = NOW.plus(-10 * HOUR);
            facts.tests[0].read = Some(NOW);
        },
        "not yet: reading",
    );
    case(
        "a declined test",
        |facts, _| {
            facts.tests[0].result = TestResult::Declined;
            facts.tests[0].products.clear();
        },
        "held: declined",
    );
    case("a minor without guardian", |facts, _| facts.born = Some(date(2009, 1, 1)), "held: no guardian");
    case("too young", |facts, _| (facts.born, facts.guardian) = (Some(date(2011, 1, 1)), true), "held: too young");
    case("not read", |facts, _| facts.tests[0].result = TestResult::NotRead, "not yet: test: NotRead");
    case("a restricted file", |facts, _| facts.restricted = true, "held: restricted");
    case("nobody asked", |facts, _| facts.health = HealthFacts::default(), "not yet: answers");
}

#[test]
fn a_consent_taken_back_asks_for_another_and_bars_no_removal() {
    check("taken back", |facts, _, _| facts.withdrawn = true, "not yet: consent");
    let shelf = Shelf::new();
    let facts = ClientFacts { withdrawn: true, ..shelf.cleared_client() };
    assert_eq!(said(&judge(&facts, &Rules::default(), &[PlannedProduct::removal()], NOW.plus(DAY))), "cleared");
}

#[test]
fn a_hold_goes_before_a_referral_and_both_are_told() {
    check(
        "both",
        |facts, _, _| {
            facts.health.advice_first = true;
            facts.reactions.push(reaction(DAY));
        },
        "held: advice, reaction",
    );
}
