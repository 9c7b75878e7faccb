//! What holds for any client, whatever her facts and the rules.

use super::*;

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
        over: None,
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
            over: None,
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
