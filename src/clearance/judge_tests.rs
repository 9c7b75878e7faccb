//! Tables for every rule and boundary of clearance, and properties that no set of facts may break.

use jiff::civil::date;
use proptest::prelude::*;

use super::facts::*;
use super::judge::{Clearance, LOOK_WITHIN, Missing, Reason, clearance};
use super::rules::{MayOverride, Rules};
use super::wet::Wet;
use crate::adhesives::Family;
use crate::base::ids::{PatchTestId, ProductId};
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::base::zone::Zone;
use crate::clients::minors::AgeRule;

const NOW: Instant = Instant(1_771_405_920_000_000);

fn zone() -> Zone {
    Zone::named("Europe/Copenhagen").unwrap()
}

/// Slate and Heath of one family, Fen of another, a primer.
struct Shelf {
    slate: ProductId,
    heath: ProductId,
    fen: ProductId,
    primer: ProductId,
}

impl Shelf {
    fn new() -> Self {
        Self { slate: ProductId::new(), heath: ProductId::new(), fen: ProductId::new(), primer: ProductId::new() }
    }

    fn plan(&self) -> Vec<PlannedProduct> {
        vec![PlannedProduct::adhesive(self.slate, Family::Ethyl)]
    }

    fn tested(product: ProductId, family: Family) -> TestedProduct {
        TestedProduct { product, kind: Kind::Adhesive(family), stopped: false }
    }

    /// A test with Slate placed so long ago, read 49 hours after.
    fn good_test(&self, ago: i64) -> TestFacts {
        let placed = NOW.plus(-ago);
        TestFacts {
            id: PatchTestId::new(),
            placed,
            read: Some(placed.plus(49 * HOUR)),
            known: Some(placed.plus(49 * HOUR)),
            result: TestResult::NoneSeen,
            products: vec![Self::tested(self.slate, Family::Ethyl)],
        }
    }

    /// A grown client with answers and a test of ten days.
    fn cleared_client(&self) -> ClientFacts {
        ClientFacts {
            born: Some(date(1990, 5, 17)),
            health: HealthFacts {
                answered: Some(NOW.plus(-20 * DAY)),
                expires: Some(NOW.plus(160 * DAY)),
                ..HealthFacts::default()
            },
            tests: vec![self.good_test(10 * DAY)],
            ..ClientFacts::unknown(zone())
        }
    }
}

fn judge(facts: &ClientFacts, rules: &Rules, planned: &[PlannedProduct], at: Instant) -> Clearance {
    clearance(facts, rules, planned, at, NOW)
}

/// What changes in a client who is cleared, and what must come of it.
fn check(name: &str, change: impl FnOnce(&mut ClientFacts, &mut Rules, &Shelf), expected: &str) {
    let shelf = Shelf::new();
    let (mut facts, mut rules) = (shelf.cleared_client(), Rules::default());
    change(&mut facts, &mut rules, &shelf);
    assert_eq!(said(&judge(&facts, &rules, &shelf.plan(), NOW.plus(3 * DAY))), expected, "{name}");
}

/// The answer in one short line.
fn said(answer: &Clearance) -> String {
    let reason = |reason: &Reason| match reason {
        Reason::Acute => "acute",
        Reason::AdviceFirst => "advice",
        Reason::Reaction(_) => "reaction",
        Reason::TestReaction(_) => "test reaction",
        Reason::Doubtful(_) => "doubtful",
        Reason::Finding(_) => "finding",
        Reason::DoNotTreat => "do not treat",
        Reason::Declined(_) => "declined",
        Reason::TooYoung => "too young",
        Reason::NoGuardian => "no guardian",
        Reason::Stopped(_) => "stopped",
        Reason::Restricted => "restricted",
    };
    let missing = |missing: &Missing| match missing {
        Missing::Adhesive => "adhesive".to_owned(),
        Missing::BirthDate => "birth date".to_owned(),
        Missing::Consent => "consent".to_owned(),
        Missing::Answers { expired } => format!("answers{}", if *expired { " again" } else { "" }),
        Missing::Reading { .. } => "reading".to_owned(),
        Missing::Test { why, .. } => format!("test: {why:?}"),
    };
    match answer {
        Clearance::Cleared(by) if by.is_empty() => "cleared".to_owned(),
        Clearance::Cleared(by) => format!("cleared over {by:?}"),
        Clearance::NotYet(not_yet) => {
            format!("not yet: {}", not_yet.missing.iter().map(missing).collect::<Vec<_>>().join(", "))
        }
        Clearance::Held(why) => format!("held: {}", why.iter().map(reason).collect::<Vec<_>>().join(", ")),
        Clearance::Refer(why) => format!("refer: {}", why.iter().map(reason).collect::<Vec<_>>().join(", ")),
    }
}

fn reaction(ago: i64) -> ReactionFacts {
    ReactionFacts { noticed: NOW.plus(-ago), known: NOW.plus(-ago), liquids: Vec::new(), acute: false }
}

fn may_have(family: Family, ago: i64) -> Statement {
    Statement { family, written: NOW.plus(-ago), entered: NOW.plus(-ago) }
}

#[test]
fn a_grown_client_with_answers_and_a_read_test_is_cleared() {
    check("nothing changed", |_, _, _| {}, "cleared");
}

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
fn a_consent_taken_back_asks_for_another_and_bars_no_removal() {
    check("taken back", |facts, _, _| facts.withdrawn = true, "not yet: consent");
    let shelf = Shelf::new();
    let facts = ClientFacts { withdrawn: true, ..shelf.cleared_client() };
    assert_eq!(said(&judge(&facts, &Rules::default(), &[PlannedProduct::removal()], NOW.plus(DAY))), "cleared");
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
    // The remover that was met before the reaction is held itself.
    facts.reactions[0].acute = false;
    facts.reactions[0].liquids.push(Wet::Remover.id());
    assert_eq!(said(&judge(&facts, &Rules::default(), &removal, NOW)), "held: reaction");
    // So is one that stood in a test with a reaction.
    facts.reactions.clear();
    facts.tests[1].result = TestResult::Doubtful;
    assert_eq!(said(&judge(&facts, &Rules::default(), &removal, NOW)), "held: doubtful");
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

// ---- properties ----------------------------------------------------------------------------------------------------

/// A client whose facts come by chance, with what may be planned for her.
fn any_client() -> impl Strategy<Value = (ClientFacts, Vec<PlannedProduct>)> {
    let ids: Vec<ProductId> = (0..4).map(|_| ProductId::new()).collect();
    let families = [Family::Ethyl, Family::ButylOctyl, Family::NotStated];
    let kind = move |n: usize| match n {
        0 | 1 => Kind::Adhesive(families[0]),
        2 => Kind::Adhesive(families[1]),
        _ => Kind::Liquid,
    };
    let at_ids = ids.clone();
    let test = (0..400_i64, 0..120_i64, 0..7_usize, 0..4_usize, any::<bool>()).prop_map(
        move |(days, read_h, result, product, stopped)| {
            let placed = NOW.plus(-days * DAY);
            let read = placed.plus(read_h * HOUR);
            TestFacts {
                id: PatchTestId::new(),
                placed,
                read: (read <= NOW).then_some(read),
                known: (read <= NOW).then_some(read),
                result: TestResult::ALL[result],
                products: vec![TestedProduct {
                    product: at_ids[product],
                    kind: kind(product),
                    stopped: stopped && days % 3 == 0,
                }],
            }
        },
    );
    let reaction = (0..400_i64, any::<bool>()).prop_map(|(days, acute)| ReactionFacts {
        noticed: NOW.plus(-days * DAY),
        known: NOW.plus(-days * DAY),
        liquids: Vec::new(),
        acute,
    });
    let finding =
        (0..400_i64).prop_map(|days| FindingFacts { at: NOW.plus(-days * DAY), known: NOW.plus(-days * DAY) });
    let statement = (0..400_i64, 0..3_usize).prop_map(move |(days, family)| may_have(families[family], days));
    let health = (any::<bool>(), 0..400_i64, proptest::option::of(0..400_i64), 0..10_u8, 0..10_u8).prop_map(
        |(answered, expires, changed, hold, advice)| HealthFacts {
            answered: answered.then(|| NOW.plus(-30 * DAY)),
            expires: answered.then(|| NOW.plus((expires - 30) * DAY)),
            changed: changed.map(|days| NOW.plus(-days * DAY)),
            do_not_treat: hold == 0,
            advice_first: advice == 0,
        },
    );
    let decision = (any::<bool>(), 0..60_i64, 0..60_i64).prop_map(|(gap, from, days)| OverrideFacts {
        of: if gap { Overridable::Gap } else { Overridable::Validity },
        from: NOW.plus(-from * DAY),
        until: NOW.plus(days * DAY),
        entered: NOW.plus(-from * DAY),
    });
    let plan = proptest::collection::vec((0..4_usize, any::<bool>()), 0..3).prop_map(move |picked| {
        picked
            .into_iter()
            .map(|(n, removal)| {
                if removal && n == 3 {
                    PlannedProduct::removal()
                } else {
                    PlannedProduct { product: Some(ids[n]), kind: kind(n), stopped: false }
                }
            })
            .collect::<Vec<_>>()
    });
    let lists = (
        proptest::collection::vec(test, 0..4),
        proptest::collection::vec(reaction, 0..2),
        proptest::collection::vec(finding, 0..2),
        proptest::collection::vec(statement, 0..3),
        proptest::collection::vec(decision, 0..3),
    );
    (lists, health, proptest::option::of(0..400_i64), 1960..2012_i16, any::<bool>(), plan).prop_map(
        |((tests, reactions, findings, statements, overrides), health, last, year, guardian, plan)| {
            let facts = ClientFacts {
                born: Some(date(year, 6, 1)),
                guardian,
                health,
                tests,
                reactions,
                findings,
                statements,
                overrides,
                last_treatment: last.map(|days| NOW.plus(-days * DAY)),
                ..ClientFacts::unknown(zone())
            };
            (facts, plan)
        },
    )
}

fn any_rules() -> impl Strategy<Value = Rules> {
    (any::<[bool; 7]>(), 24..120_u32, 1..400_u32, 1..400_u32, 0..18_i16, 0..22_i16).prop_map(
        |(switches, wait_hours, valid_days, largest_gap_days, refused_below, guardian_below)| {
            let [needed, on_product, on_family, on_health, on_reaction, liquids_too, answers_needed] = switches;
            Rules {
                needed,
                wait_hours,
                valid_days,
                largest_gap_days,
                on_product,
                on_family,
                on_health,
                on_reaction,
                liquids_too,
                answers_needed,
                may_override: MayOverride::Owner,
                ages: AgeRule { refused_below, guardian_below },
                ..Rules::default()
            }
        },
    )
}

/// Rules at least as strict as both.
fn stricter(a: &Rules, b: &Rules) -> Rules {
    Rules {
        needed: a.needed || b.needed,
        wait_hours: a.wait_hours.max(b.wait_hours),
        valid_days: a.valid_days.min(b.valid_days),
        largest_gap_days: a.largest_gap_days.min(b.largest_gap_days),
        on_product: a.on_product || b.on_product,
        on_family: a.on_family || b.on_family,
        on_health: a.on_health || b.on_health,
        on_reaction: a.on_reaction || b.on_reaction,
        liquids_too: a.liquids_too || b.liquids_too,
        answers_needed: a.answers_needed || b.answers_needed,
        may_override: MayOverride::Nobody,
        ages: AgeRule {
            refused_below: a.ages.refused_below.max(b.ages.refused_below),
            guardian_below: a.ages.guardian_below.max(b.ages.guardian_below),
        },
        ..Rules::default()
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn another_reaction_never_makes_it_laxer((facts, plan) in any_client(), rules in any_rules(), days in 0..400_i64, acute: bool) {
        let at = NOW.plus(3 * DAY);
        let before = judge(&facts, &rules, &plan, at);
        let mut worse = facts;
        worse.reactions.push(ReactionFacts {
            noticed: NOW.plus(-days * DAY),
            known: NOW.plus(-days * DAY),
            liquids: Vec::new(),
            acute,
        });
        let after = judge(&worse, &rules, &plan, at);
        prop_assert!(after.strictness() >= before.strictness(), "{before:?} became {after:?}");
    }

    #[test]
    fn a_stricter_rule_never_makes_it_laxer((facts, plan) in any_client(), a in any_rules(), b in any_rules()) {
        let at = NOW.plus(3 * DAY);
        let (before, after) = (judge(&facts, &a, &plan, at), judge(&facts, &stricter(&a, &b), &plan, at));
        // A longer wait turns a test that could be passed over into one to be read: both are not yet.
        prop_assert!(after.strictness() >= before.strictness(), "{before:?} became {after:?}");
    }

    #[test]
    fn a_later_instant_never_clears_a_grown_client((facts, plan) in any_client(), rules in any_rules(), first in 0..60_i64, more in 0..400_i64) {
        // Growing up is the one thing that time does.
        let facts = ClientFacts { born: Some(date(1970, 1, 1)), overrides: Vec::new(), ..facts };
        let (early, late) = (NOW.plus(first * DAY), NOW.plus((first + more) * DAY));
        let (before, after) = (judge(&facts, &rules, &plan, early), judge(&facts, &rules, &plan, late));
        prop_assert!(after.strictness() >= before.strictness(), "{before:?} became {after:?}");
    }

    #[test]
    fn a_reaction_without_statement_holds_every_adhesive((facts, plan) in any_client(), rules in any_rules(), days in 0..400_i64, at in 0..4000_i64) {
        let mut facts = facts;
        facts.statements.clear();
        facts.reactions.push(reaction(days * DAY));
        let answer = judge(&facts, &rules, &plan, NOW.plus(at * DAY));
        if plan.is_empty() || plan.iter().any(PlannedProduct::is_adhesive) {
            prop_assert!(matches!(answer, Clearance::Held(_)), "{answer:?}");
        }
    }

    #[test]
    fn a_stop_or_a_decision_taken_back_never_makes_it_laxer((facts, plan) in any_client(), rules in any_rules()) {
        let at = NOW.plus(3 * DAY);
        let before = judge(&facts, &rules, &plan, at);
        let mut undecided = facts.clone();
        undecided.overrides.clear();
        prop_assert!(judge(&undecided, &rules, &plan, at).strictness() >= before.strictness());
        let mut stopped = facts;
        for tested in stopped.tests.iter_mut().flat_map(|test| &mut test.products) {
            tested.stopped = true;
        }
        prop_assert!(judge(&stopped, &rules, &plan, at).strictness() >= before.strictness());
    }

    #[test]
    fn what_is_not_yet_names_the_wait_before_the_treatment((facts, plan) in any_client(), rules in any_rules(), minutes in 0..50_000_i64) {
        let at = NOW.plus(minutes * MINUTE);
        if let Clearance::NotYet(not_yet) = judge(&facts, &rules, &plan, at) {
            prop_assert_eq!(not_yet.last_instant_for_a_test, at.plus(-rules.wait()));
            prop_assert!(!not_yet.missing.is_empty());
        }
    }
}
