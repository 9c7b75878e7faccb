//! May this client have this treatment at this time? One pure function; its answers stand in `verdict`.
//!
//! What is never passed over: a reaction or doubtful result, a *do not treat now* answer, *medical advice first* without an answer,
//! a minimum wait not over, a declined test, a minor without guardian. What a person may pass over with a written reason: validity
//! and the largest gap. A recorded reaction is never relaxed by another adhesive, by time or by a negative test; only by a doctor's
//! written statement that this client may have this family again. A hold on adhesive never blocks a removal.
//!
//! Medicine's reasons: families of cyanoacrylate react alike in part, so another family is no way round a reaction (Asai et al.,
//! Contact Dermatitis 2021, doi 10.1111/cod.13700); one early reading misses late reactions (Johansen et al., Contact Dermatitis
//! 2015;73:195).

use super::facts::{ClientFacts, Kind, Overridable, PlannedProduct, ReactionFacts, TestFacts, TestResult};
use super::rules::Rules;
pub use super::verdict::{Clearance, Missing, NotYet, Reason, Why};
use crate::adhesives::Family;
use crate::base::ids::{PatchTestId, ProductId};
use crate::base::time::{DAY, Instant};
use crate::clients::minors::AgeVerdict;

/// Whether the client may have what is planned at an instant, by what is known now.
///
/// An empty plan is never cleared: it says that the adhesive has to be chosen.
#[must_use]
pub fn clearance(
    facts: &ClientFacts,
    rules: &Rules,
    planned: &[PlannedProduct],
    at: Instant,
    now: Instant,
) -> Clearance {
    let mut found = Found::default();
    let with_adhesive = planned.is_empty() || planned.iter().any(PlannedProduct::is_adhesive);
    found.judge_person(facts, rules, at);
    found.judge_health(facts, rules, with_adhesive, at);
    if planned.is_empty() {
        found.missing.push(Missing::Adhesive);
        // Chosen or not, every adhesive is held by these.
        found.hold_adhesive(facts, Family::NotStated);
    }
    for product in planned {
        found.judge_product(facts, rules, product, at, now);
    }
    found.settle(rules, at)
}

#[derive(Default)]
struct Found {
    reasons: Vec<Reason>,
    missing: Vec<Missing>,
    overridden: Vec<Overridable>,
}

impl Found {
    fn hold(&mut self, reason: Reason) {
        if !self.reasons.contains(&reason) {
            self.reasons.push(reason);
        }
    }

    fn judge_person(&mut self, facts: &ClientFacts, rules: &Rules, at: Instant) {
        if facts.restricted {
            self.hold(Reason::Restricted);
        }
        match rules.ages.judge(facts.born, facts.zone.day(at)) {
            AgeVerdict::NotKnown => self.missing.push(Missing::BirthDate),
            AgeVerdict::Refused => self.hold(Reason::TooYoung),
            AgeVerdict::WithGuardian if !facts.guardian => self.hold(Reason::NoGuardian),
            AgeVerdict::WithGuardian | AgeVerdict::OfAge => {}
        }
        if facts.reactions.iter().any(ReactionFacts::is_acute_still) {
            self.hold(Reason::Acute);
        }
    }

    fn judge_health(&mut self, facts: &ClientFacts, rules: &Rules, with_adhesive: bool, at: Instant) {
        // Lashes that have to come off come off: that she took a consent back bars no removal.
        if facts.withdrawn && with_adhesive {
            self.missing.push(Missing::Consent);
        }
        let health = &facts.health;
        if health.advice_first {
            self.hold(Reason::AdviceFirst);
        }
        if health.do_not_treat {
            // The answer may be an allergy to the very adhesive that has to come off: a removal asks a doctor instead of being barred.
            self.hold(if with_adhesive { Reason::DoNotTreat } else { Reason::AdviceFirst });
        }
        let expired = health.expires.is_some_and(|expires| at >= expires);
        if rules.answers_needed && (health.answered.is_none() || expired) {
            self.missing.push(Missing::Answers { expired: health.answered.is_some() });
        }
    }

    /// Reactions, doubtful results and findings that no doctor's statement on this family has lifted. A statement knows of what happened
    /// before it was written and was on record when it was entered: a letter never lifts what came to light after it.
    fn hold_adhesive(&mut self, facts: &ClientFacts, family: Family) {
        let is_lifted = |since: Instant, known: Instant| {
            facts.statements.iter().any(|statement| {
                is_same(statement.family, family) && statement.written >= since && statement.entered >= known
            })
        };
        for reaction in facts.reactions.iter().filter(|reaction| !is_lifted(reaction.noticed, reaction.known)) {
            self.hold(Reason::Reaction(reaction.noticed));
        }
        for test in facts.tests.iter().filter(|test| test.result.holds()) {
            let seen = test.read.unwrap_or(test.placed);
            if !is_lifted(seen, test.known.unwrap_or(seen)) {
                self.hold(reason_of(test.result, seen));
            }
        }
        for finding in facts.findings.iter().filter(|finding| !is_lifted(finding.at, finding.known)) {
            self.hold(Reason::Finding(finding.at));
        }
    }

    /// A liquid is held where it was met before a reaction or stood in a test with one. No doctor's statement names liquids.
    fn hold_liquid(&mut self, facts: &ClientFacts, product: ProductId) {
        for reaction in facts.reactions.iter().filter(|reaction| reaction.liquids.contains(&product)) {
            self.hold(Reason::Reaction(reaction.noticed));
        }
        let stood_in = |test: &&TestFacts| test.products.iter().any(|tested| tested.product == product);
        for test in facts.tests.iter().filter(|test| test.result.holds()).filter(stood_in) {
            self.hold(reason_of(test.result, test.read.unwrap_or(test.placed)));
        }
    }

    fn judge_product(
        &mut self,
        facts: &ClientFacts,
        rules: &Rules,
        product: &PlannedProduct,
        at: Instant,
        now: Instant,
    ) {
        if product.stopped {
            self.hold(Reason::Stopped(product.product));
        }
        match (&product.kind, product.product) {
            (Kind::Adhesive(family), _) => self.hold_adhesive(facts, *family),
            // A removal is never barred by what the adhesive did; only by what this remover did.
            (Kind::Liquid | Kind::Remover, Some(id)) => self.hold_liquid(facts, id),
            (Kind::Liquid | Kind::Remover, None) => {}
        }
        let is_asked_for = product.is_adhesive() || (rules.liquids_too && product.product.is_some());
        if rules.needed && is_asked_for {
            self.judge_tests(facts, rules, product, at, now);
        }
    }

    fn judge_tests(&mut self, facts: &ClientFacts, rules: &Rules, product: &PlannedProduct, at: Instant, now: Instant) {
        let covering: Vec<&TestFacts> = facts.tests.iter().filter(|test| covers(test, rules, product)).collect();
        let newest_declined = facts.tests.iter().filter(|test| declines(test, product)).map(|test| test.placed).max();
        let newest_taken = covering.iter().map(|test| test.placed).max();
        if let Some(when) = newest_declined.filter(|declined| newest_taken.is_none_or(|taken| *declined >= taken)) {
            self.hold(Reason::Declined(when));
        }
        let judged: Vec<Judged> =
            covering.iter().filter_map(|test| judge_test(test, facts, rules, product, at, now)).collect();
        if judged.iter().any(|judged| judged.state == State::Counts) {
            return;
        }
        let waiting = judged.iter().filter(|judged| matches!(judged.state, State::Waits { .. }));
        if let Some(newest) = waiting.max_by_key(|judged| judged.placed) {
            let State::Waits { from } = newest.state else { return };
            return self.need(Missing::Reading { test: newest.test, from });
        }
        let decided = |of: Overridable| {
            facts.overrides.iter().any(|decision| decision.of == of && decision.from <= at && at < decision.until)
        };
        for judged in &judged {
            if let State::MayBePassedOver { left } = &judged.state
                && left.iter().all(|of| decided(*of))
            {
                for of in left {
                    if !self.overridden.contains(of) {
                        self.overridden.push(*of);
                    }
                }
                return;
            }
        }
        self.need_test(&judged, product, decided);
    }

    fn need_test(&mut self, judged: &[Judged], product: &PlannedProduct, decided: impl Fn(Overridable) -> bool) {
        let passable = judged.iter().find_map(|judged| match &judged.state {
            State::MayBePassedOver { left } => Some(left),
            _ => None,
        });
        if let Some(left) = passable {
            for of in left.iter().filter(|of| !decided(**of)) {
                let why = if *of == Overridable::Gap { Why::Gap } else { Why::Lapsed };
                self.need(Missing::Test { product: product.product, why });
            }
            return;
        }
        let least = judged.iter().filter_map(|judged| match judged.state {
            State::Fails(why) => Some(why),
            _ => None,
        });
        let why = least.min().unwrap_or(Why::NeverTested);
        self.need(Missing::Test { product: product.product, why });
    }

    fn need(&mut self, missing: Missing) {
        if !self.missing.contains(&missing) {
            self.missing.push(missing);
        }
    }

    fn settle(mut self, rules: &Rules, at: Instant) -> Clearance {
        if self.reasons.iter().any(|reason| !reason.refers()) {
            Clearance::Held(self.reasons)
        } else if !self.reasons.is_empty() {
            Clearance::Refer(self.reasons)
        } else if self.missing.is_empty() {
            Clearance::Cleared(self.overridden)
        } else {
            // A test takes longest, then a reading, then what can be asked at the door.
            self.missing.sort_by_key(|missing| match missing {
                Missing::Test { .. } => 0,
                Missing::Reading { .. } => 1,
                Missing::Adhesive => 2,
                Missing::Answers { .. } => 3,
                Missing::Consent => 4,
                Missing::BirthDate => 5,
            });
            Clearance::NotYet(NotYet { last_instant_for_a_test: at.plus(-rules.wait()), missing: self.missing })
        }
    }
}

const fn reason_of(result: TestResult, seen: Instant) -> Reason {
    if matches!(result, TestResult::Doubtful) { Reason::Doubtful(seen) } else { Reason::TestReaction(seen) }
}

/// True when both are one known family: what is not stated, or merely another one, is none.
fn is_same(one: Family, other: Family) -> bool {
    one == other && one.is_kin()
}

/// True when she did not want a test with this product, or with anything. By the product alone, whatever the rules: with a wider
/// cover a stricter rule would let go of her.
fn declines(test: &TestFacts, planned: &PlannedProduct) -> bool {
    // That she wanted no test with anything is about what is put on; what has to come off asks for its own name.
    let with_anything = test.products.is_empty() && planned.kind != Kind::Remover;
    test.result == TestResult::Declined
        && (with_anything || test.products.iter().any(|tested| planned.product == Some(tested.product)))
}

/// True when the test was taken and says something about this product by the rules.
fn covers(test: &TestFacts, rules: &Rules, planned: &PlannedProduct) -> bool {
    if test.result == TestResult::Declined {
        return false;
    }
    test.products.iter().any(|tested| {
        let same = planned.product == Some(tested.product);
        match (&planned.kind, &tested.kind) {
            _ if same => true,
            (Kind::Adhesive(family), Kind::Adhesive(of)) if !rules.on_product => {
                !rules.on_family || is_same(*family, *of)
            }
            _ => false,
        }
    })
}

/// How long after its wait a test can still be looked at: a week, as the last reading of a medical patch test (common practice).
pub const LOOK_WITHIN: i64 = 7 * DAY;

struct Judged {
    test: PatchTestId,
    placed: Instant,
    state: State,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum State {
    Counts,
    Waits { from: Instant },
    MayBePassedOver { left: Vec<Overridable> },
    Fails(Why),
}

/// `None` for results that hold by themselves.
fn judge_test(
    test: &TestFacts,
    facts: &ClientFacts,
    rules: &Rules,
    planned: &PlannedProduct,
    at: Instant,
    now: Instant,
) -> Option<Judged> {
    if test.result.holds() || test.placed > now {
        return None;
    }
    let judged = |state| Some(Judged { test: test.id, placed: test.placed, state });
    let spoiled = test.products.iter().filter(|tested| tested.stopped);
    // What counts is the part of the test that covers this product.
    let sound = TestFacts {
        products: test.products.iter().filter(|tested| !tested.stopped).cloned().collect(),
        ..test.clone()
    };
    if spoiled.count() > 0 && !covers(&sound, rules, planned) {
        return judged(State::Fails(Why::Stopped));
    }
    if test.result == TestResult::NotRead {
        return judged(State::Fails(Why::NotRead));
    }
    let newest_reaction = facts.reactions.iter().map(|reaction| reaction.noticed).max();
    let newest_seen =
        facts.tests.iter().filter(|other| other.result.holds()).map(|other| other.read.unwrap_or(other.placed)).max();
    // A reaction to the adhesive makes no remover wait: one that was met before it is held by itself.
    let asks_anew = rules.on_reaction && planned.kind != Kind::Remover;
    if asks_anew && newest_reaction.max(newest_seen).is_some_and(|when| test.placed <= when) {
        return judged(State::Fails(Why::AfterReaction));
    }
    if rules.on_health && facts.health.changed.is_some_and(|when| test.placed < when) {
        return judged(State::Fails(Why::HealthChanged));
    }
    let counts_from = test.placed.plus(rules.wait());
    // A wait that is over is not a result; and a look before it was over is none either.
    let is_read = test.result == TestResult::NoneSeen
        && test.read.is_some_and(|read| read >= counts_from && read <= now && read <= at);
    if !is_read {
        // What nobody looked at within a week after the wait shows nothing any more.
        let gone = now.since(counts_from) > LOOK_WITHIN;
        return judged(if gone { State::Fails(Why::NotRead) } else { State::Waits { from: counts_from } });
    }
    let mut left = Vec::new();
    if facts.last_treatment.is_some_and(|last| at.since(last) > rules.largest_gap() && test.placed <= last) {
        left.push(Overridable::Gap);
    }
    if at.since(test.placed) > rules.validity() {
        left.push(Overridable::Validity);
    }
    judged(if left.is_empty() { State::Counts } else { State::MayBePassedOver { left } })
}
