//! Tables for every rule and boundary of clearance, a file for each rule, and properties that no set of facts may break.

mod answers;
mod declined;
mod never;
mod products;
mod properties;
mod reactions;
mod validity;
mod wait;

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
    ReactionFacts { noticed: NOW.plus(-ago), known: NOW.plus(-ago), liquids: Vec::new(), acute: false, over: None }
}

fn may_have(family: Family, ago: i64) -> Statement {
    Statement { family, written: NOW.plus(-ago), entered: NOW.plus(-ago) }
}

#[test]
fn a_grown_client_with_answers_and_a_read_test_is_cleared() {
    check("nothing changed", |_, _, _| {}, "cleared");
}
