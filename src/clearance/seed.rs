//! What the invented studio has recorded of its clients' tests, reactions and visits, kept through this part's own functions.

use super::doctor_store::{
    Complaint, Decision, Finding, Written, add_complaint, add_decision, add_finding, add_statement,
};
use super::facts::{Overridable, TestResult};
use super::lot_store::{Stop, stop};
use super::reaction::Details;
use super::reaction_store::{
    Reaction, StaffIncident, add_reaction, add_staff_incident, do_follow_up, follow_ups_of, tell,
};
use super::test_store::{Meeting, Met, Method, PatchTest, add_exposure, add_test, look_at};
use super::visit_store::{Expected, HouseAdhesive, expect_visit, set_house_adhesive};
use super::wet::Wet;
use crate::adhesives::Family;
use crate::base::actor::{Actor, Who};
use crate::base::ids::{ClientId, ComplaintId, PatchTestId, PersonId, ProductId, ReactionId, StaffIncidentId, StopId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{FormKey, Kept, Tx};
use crate::web::House;

/// One thing recorded.
#[derive(Debug, Clone)]
pub(crate) enum Seed {
    /// The house works with this from then on.
    House(ProductId, Instant),
    /// A patch test, with every look at it.
    Test {
        client: ClientId,
        met: Met,
        liquids: Vec<Wet>,
        placed: Instant,
        looks: Vec<(Instant, TestResult, &'static str)>,
    },
    /// She did not want a test with this.
    Declined { client: ClientId, met: Met, at: Instant },
    /// She met a product in a treatment.
    Treated { client: ClientId, met: Met, at: Instant },
    /// The same, by a treatment card.
    Card { client: ClientId, met: Met, at: Instant, card: crate::base::ids::CardId },
    /// Somebody is expected.
    Visit(Expected),
    /// A reaction; the first so many follow-ups are done.
    Reaction {
        client: ClientId,
        met: Vec<Met>,
        noticed: Instant,
        exposed: Instant,
        details: Details,
        artist: PersonId,
        done: usize,
    },
    /// A doctor's finding.
    Finding { client: ClientId, at: Instant, grade: &'static str, day: u32, words: &'static str },
    /// A doctor's statement.
    Statement { client: ClientId, family: Family, written: Instant, words: &'static str },
    /// Somebody went on with a written reason.
    Decision { client: ClientId, of: Overridable, from: Instant, until: Instant, reason: &'static str },
    /// A complaint.
    Complaint {
        client: ClientId,
        at: Instant,
        what: &'static str,
        met: Met,
        fix_until: Instant,
        /// The card whose set it is about, and when the fix at no charge was done.
        fixed: Option<(crate::base::ids::CardId, Instant)>,
    },
    /// A stop of a lot.
    Stop { met: Met, at: Instant, why: &'static str },
    /// An incident of somebody who works here.
    Staff { person: PersonId, at: Instant, what: &'static str, first_aid: &'static str },
}

/// Keeps these in one go.
pub(crate) async fn seed(house: &House, by: &Who, all: Vec<Seed>) -> Result<(), Problem> {
    let (keeping, actor) = (house.clone(), Actor::Person(by.clone()));
    house
        .store
        .write(&FormKey::unkeyed(actor), move |tx| {
            let (house, all) = (keeping.clone(), all.clone());
            Box::pin(async move {
                for one in all {
                    keep(tx, house.store.keys(), one).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

async fn keep(tx: &mut Tx, keys: &Keys, one: Seed) -> Result<(), Problem> {
    let now = tx.now.0;
    match one {
        Seed::House(product, from) => set_house_adhesive(tx, HouseAdhesive { product, from }).await,
        Seed::Test { client, met, liquids, placed, looks } => {
            let test = PatchTest { liquids, ..a_test(tx, client, met, placed) };
            add_test(tx, keys, &test, "outer corners").await?;
            for (at, result, words) in looks {
                look_at(tx, keys, test.id, at, result, words).await?;
            }
            Ok(())
        }
        Seed::Declined { client, met, at } => {
            let test = PatchTest { number_placed: 0, result: TestResult::Declined, ..a_test(tx, client, met, at) };
            add_test(tx, keys, &test, "").await
        }
        Seed::Treated { client, met, at } => {
            add_exposure(tx, keys, client, &met, (at, Meeting::Treatment), &StopId::new().to_string()).await
        }
        Seed::Card { client, met, at, card } => {
            add_exposure(tx, keys, client, &met, (at, Meeting::Treatment), &card.to_string()).await
        }
        Seed::Visit(visit) => expect_visit(tx, &visit).await,
        Seed::Reaction { client, met, noticed, exposed, details, artist, done } => {
            let reaction = Reaction {
                id: ReactionId::new(),
                client,
                noticed,
                exposed: Some(exposed),
                acute: super::reaction::is_acute(&details.symptoms),
                artist: Some(artist),
                closed: None,
                products: met,
                liquids: Vec::new(),
            };
            add_reaction(tx, keys, &reaction, &details).await?;
            tell(tx, keys, &reaction.id.to_string(), "owner", now).await?;
            for look in follow_ups_of(tx.db(), reaction.id).await?.into_iter().take(done) {
                do_follow_up(tx, keys, &look, "She called back: less than the day before.", now).await?;
            }
            Ok(())
        }
        Seed::Finding { client, at, grade, day, words } => {
            let finding = Finding { at, grade: grade.to_owned(), day: Some(day), words: words.to_owned() };
            add_finding(tx, keys, client, &finding).await
        }
        Seed::Statement { client, family, written, words } => {
            add_statement(tx, keys, client, &Written { family, written, words: words.to_owned() }).await
        }
        Seed::Decision { client, of, from, until, reason } => {
            let (by, at) = (tx.actor.mark(), tx.now.0);
            add_decision(tx, keys, client, &Decision { of, from, until, reason: reason.to_owned(), by, at }).await
        }
        Seed::Complaint { client, at, what, met, fix_until, fixed } => {
            let complaint = Complaint {
                id: ComplaintId::new(),
                client,
                at,
                what: what.to_owned(),
                product: Some(met.product),
                lot: met.lot,
                card: fixed.map(|(card, _)| card.to_string()).unwrap_or_default(),
                decision: "fix".to_owned(),
                fix_until: Some(fix_until),
                fixed: fixed.map(|(_, at)| at),
                refund_minor: None,
            };
            add_complaint(tx, keys, &complaint).await
        }
        Seed::Stop { met, at, why } => {
            let one = Stop { id: StopId::new(), product: met.product, lot: Some(met.lot), at, why: why.to_owned() };
            stop(tx, keys, &one).await?;
            tell(tx, keys, &one.id.to_string(), "supplier", now).await
        }
        Seed::Staff { person, at, what, first_aid } => {
            let incident = StaffIncident {
                id: StaffIncidentId::new(),
                person,
                at,
                what: what.to_owned(),
                product: None,
                lot: String::new(),
                first_aid: first_aid.to_owned(),
            };
            add_staff_incident(tx, keys, &incident).await
        }
    }
}

/// Three extensions with one adhesive, not looked at yet.
fn a_test(tx: &Tx, client: ClientId, met: Met, placed: Instant) -> PatchTest {
    PatchTest {
        id: PatchTestId::new(),
        client,
        method: Method::Lashes,
        number_placed: 3,
        placed,
        placed_by: tx.actor.mark(),
        read: None,
        read_by: String::new(),
        result: TestResult::Waiting,
        products: vec![met],
        liquids: Vec::new(),
    }
}
