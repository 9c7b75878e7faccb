//! How clients stand: the facts of the store before the judge, for one client or for everybody expected.

use std::collections::HashMap;

use super::facts::{ClientFacts, Known, PlannedProduct};
use super::facts_store::{self, ShelfProduct, Whose, gather};
use super::judge::{Clearance, Missing, Reason, Why, clearance};
use super::rules::Rules;
use super::test_store::Met;
use super::visit_store::{Expected, HouseAdhesive, VisitKind, expected, house_adhesive_at, house_adhesives};
use super::{lot_store, words};
use crate::base::actor::{Role, Who};
use crate::base::ids::{BottleId, ClientId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::keys::Keys;
use crate::store::{Db, many};
use crate::web::studio::Studio;

/// What is needed to judge anybody: rules, zone, shelf, house adhesives.
pub(super) struct Bench {
    pub(super) rules: Rules,
    pub(super) zone: Zone,
    pub(super) products: HashMap<ProductId, ShelfProduct>,
    pub(super) house: Vec<HouseAdhesive>,
}

impl Bench {
    pub(super) async fn load(db: &mut Db, zone: &Zone) -> Result<Self, Problem> {
        Ok(Self {
            rules: Rules::load(db).await?,
            zone: zone.clone(),
            products: facts_store::products(db).await?,
            house: house_adhesives(db).await?,
        })
    }

    /// What a visit may use: the adhesives planned for it, else the house adhesive of its day, and the liquids planned; a removal remover
    /// and no adhesive. Empty where the adhesive has to be chosen: liquids alone are no set.
    pub(super) fn planned(&self, visit: &Expected) -> Vec<PlannedProduct> {
        let mut planned = match visit.kind {
            VisitKind::Removal => vec![PlannedProduct::removal()],
            VisitKind::Set | VisitKind::Infill | VisitKind::Test if !visit.products.is_empty() => {
                visit.products.iter().filter_map(|id| self.adhesive(*id)).collect()
            }
            VisitKind::Set | VisitKind::Infill | VisitKind::Test | VisitKind::Other => self.house_adhesive(visit.at),
        };
        if !planned.is_empty() {
            let liquids = visit.liquids.iter().map(|wet| wet.planned()).filter(|liquid| !planned.contains(liquid));
            planned.extend(liquids.collect::<Vec<_>>());
        }
        planned
    }

    /// The house adhesive at an instant, as a plan; empty where none is set.
    pub(super) fn house_adhesive(&self, at: Instant) -> Vec<PlannedProduct> {
        house_adhesive_at(&self.house, at).and_then(|id| self.adhesive(id)).into_iter().collect()
    }

    pub(super) fn adhesive(&self, id: ProductId) -> Option<PlannedProduct> {
        let product = self.products.get(&id)?;
        Some(PlannedProduct { stopped: product.stopped, ..PlannedProduct::adhesive(id, product.family) })
    }

    pub(super) fn name(&self, id: Option<ProductId>) -> String {
        let liquid = super::wet::Wet::ALL.into_iter().find(|wet| Some(wet.id()) == id);
        match (id.and_then(|id| self.products.get(&id)), liquid) {
            (Some(product), _) => product.name.clone(),
            (None, Some(wet)) => wet.word().to_owned(),
            (None, None) => "the adhesive".to_owned(),
        }
    }

    /// A product and lot in words: "the adhesive, lot H-417".
    pub(super) fn met_words(&self, met: &Met) -> String {
        let lot = if met.lot.is_empty() { "no lot printed".to_owned() } else { format!("lot {}", met.lot) };
        format!("{}, {lot}", self.name(Some(met.product)))
    }
}

/// How somebody expected stands.
pub(super) struct Standing {
    pub(super) visit: Expected,
    pub(super) short: String,
    pub(super) answer: Clearance,
}

/// Everybody expected in a span of time, as she stands now.
pub(super) async fn standings(
    db: &mut Db,
    keys: &Keys,
    bench: &Bench,
    (from, to): (Instant, Instant),
    now: Instant,
) -> Result<Vec<Standing>, Problem> {
    let visits = expected(db, from, to).await?;
    let all = gather(db, keys, Whose::Expected(from, to), &bench.zone, now).await?;
    let standing = |visit: Expected| {
        let gathered = all.get(&visit.client)?;
        let answer = judge_visit(&gathered.facts, bench, &visit, now);
        Some(Standing { short: gathered.known.short.clone(), answer, visit })
    };
    Ok(visits.into_iter().filter_map(standing).collect())
}

/// A visit for a patch test asks for nothing but the person: what may not be treated may not be tested either. So does one for
/// another service, whose products stand on no shelf here.
pub(super) fn judge_visit(facts: &ClientFacts, bench: &Bench, visit: &Expected, now: Instant) -> Clearance {
    let answer = clearance(facts, &bench.rules, &bench.planned(visit), visit.at, now);
    match (visit.kind, answer) {
        (VisitKind::Test | VisitKind::Other, Clearance::NotYet(mut not_yet)) => {
            not_yet.missing.retain(|missing| matches!(missing, Missing::BirthDate | Missing::Answers { .. }));
            if not_yet.missing.is_empty() { Clearance::Cleared(Vec::new()) } else { Clearance::NotYet(not_yet) }
        }
        // She comes to decide again.
        (VisitKind::Test, Clearance::Held(reasons)) if reasons.iter().all(|why| matches!(why, Reason::Declined(_))) => {
            Clearance::Cleared(Vec::new())
        }
        (_, answer) => answer,
    }
}

/// The facts of one client.
pub(super) async fn facts_of(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    zone: &Zone,
    now: Instant,
) -> Result<ClientFacts, Problem> {
    let mut all = gather(db, keys, Whose::These(&many([client])), zone, now).await?;
    all.remove(&client).map(|gathered| gathered.facts).ok_or(Problem::NotHere("client"))
}

/// The facts of one client, and whether a guardian's consent to a patch test is in force.
pub(super) async fn facts_for_test(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    zone: &Zone,
    now: Instant,
) -> Result<(ClientFacts, bool), Problem> {
    let mut all = gather(db, keys, Whose::These(&many([client])), zone, now).await?;
    let gathered = all.remove(&client).ok_or(Problem::NotHere("client"))?;
    Ok((gathered.facts, gathered.known.guardian_for_test))
}

/// Whether this client may have what is planned at an instant, by everything that is recorded now.
///
/// # Errors
/// [`Problem::NotHere`] without such a client; when the database cannot be read.
pub async fn may_treat(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    planned: &[PlannedProduct],
    at: Instant,
    now: Instant,
) -> Result<Clearance, Problem> {
    let zone = Studio::load(db).await?.zone;
    let (facts, rules) = (facts_of(db, keys, client, &zone, now).await?, Rules::load(db).await?);
    Ok(clearance(&facts, &rules, planned, at, now))
}

/// Whether lashes may be taken off this client at an instant, by what is known now or was known then.
///
/// # Errors
/// [`Problem::NotHere`] without such a client; when the database cannot be read.
pub async fn may_remove(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    at: Instant,
    known: Known,
) -> Result<Clearance, Problem> {
    let zone = Studio::load(db).await?.zone;
    let (facts, rules) = (facts_of(db, keys, client, &zone, at).await?, Rules::load(db).await?);
    Ok(clearance(&known.of(facts, at), &rules, &[PlannedProduct::removal()], at, at))
}

/// Why a bottle is not for today for this client.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotToday {
    /// It, its lot or its product is stopped.
    Stopped,
    /// She is held or referred: nothing with adhesive now.
    NotNow,
    /// She has not been tested with it, or the test does not count.
    NotTested(Why),
    /// Her test has not been looked at.
    NotRead,
    /// Something else is missing before any treatment.
    NotCleared,
    /// Told to those who treat alone.
    NotSaid,
}

impl NotToday {
    /// Words for a page beside the bottle. Nothing about health.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Stopped => "stopped",
            Self::NotNow => "not now: see her clearance",
            Self::NotTested(Why::NeverTested) => "not tested with this client",
            Self::NotTested(_) => "her test with it no longer counts",
            Self::NotRead => "her patch test has not been looked at",
            Self::NotCleared => "she is not cleared yet",
            Self::NotSaid => "whoever treats her says whether it is for her",
        }
    }
}

/// Those of these bottles that must not be used on this client now, and why.
///
/// # Errors
/// [`Problem::NotHere`] without such a client; when the database cannot be read.
pub async fn not_today(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    bottles: &[BottleId],
    now: Instant,
) -> Result<Vec<(BottleId, NotToday)>, Problem> {
    let zone = Studio::load(db).await?.zone;
    let bench = Bench::load(db, &zone).await?;
    let facts = facts_of(db, keys, client, &zone, now).await?;
    bottles_not_today(db, &facts, &bench, bottles, now).await
}

/// The same for facts that were read already.
pub(super) async fn bottles_not_today(
    db: &mut Db,
    facts: &ClientFacts,
    bench: &Bench,
    bottles: &[BottleId],
    now: Instant,
) -> Result<Vec<(BottleId, NotToday)>, Problem> {
    let on_shelf = lot_store::bottles(db).await?;
    let mut out = Vec::new();
    for bottle in on_shelf.iter().filter(|bottle| bottles.contains(&bottle.bottle)) {
        if bottle.stopped.is_some() {
            out.push((bottle.bottle, NotToday::Stopped));
            continue;
        }
        let Some(planned) = bench.adhesive(bottle.met.product) else { continue };
        if let Some(why) = why_not(&clearance(facts, &bench.rules, &[planned], now, now)) {
            out.push((bottle.bottle, why));
        }
    }
    Ok(out)
}

fn why_not(answer: &Clearance) -> Option<NotToday> {
    match answer {
        Clearance::Cleared(_) => None,
        Clearance::Held(_) | Clearance::Refer(_) => Some(NotToday::NotNow),
        Clearance::NotYet(not_yet) => Some(match not_yet.missing.first() {
            Some(Missing::Test { why, .. }) => NotToday::NotTested(*why),
            Some(Missing::Reading { .. }) => NotToday::NotRead,
            _ => NotToday::NotCleared,
        }),
    }
}

/// How a client stands, in words for a page of another part: mark, word, sentences. Only those who treat her and the owner read
/// why; the desk reads the step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandingWords {
    /// "fit", "near" or "stop".
    pub mark: &'static str,
    /// The word beside it.
    pub word: &'static str,
    /// What is missing or why, a sentence each.
    pub sentences: Vec<String>,
}

/// A client's clearance for her next visit, or for the house adhesive now where she is not expected.
///
/// # Errors
/// [`Problem::NotHere`] without such a client; when the database cannot be read.
pub async fn block(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    who: &Who,
    now: Instant,
) -> Result<StandingWords, Problem> {
    let zone = Studio::load(db).await?.zone;
    let bench = Bench::load(db, &zone).await?;
    let facts = facts_of(db, keys, client, &zone, now).await?;
    let next = super::visit_store::visits_of(db, client, now).await?.into_iter().next();
    let (answer, at) = match &next {
        Some(visit) => (judge_visit(&facts, &bench, visit, now), visit.at),
        None => (clearance(&facts, &bench.rules, &bench.house_adhesive(now), now, now), now),
    };
    let mut told = words_for(&answer, &bench, who, now);
    let what = match &next {
        Some(visit) => format!("For her {} on {}.", visit.kind.words(), zone.date_and_clock(at, now)),
        None => "For a treatment with the house adhesive now.".to_owned(),
    };
    told.sentences.insert(0, what);
    Ok(told)
}

/// The answer in words that this person may read.
pub(super) fn words_for(answer: &Clearance, bench: &Bench, who: &Who, now: Instant) -> StandingWords {
    let treats = matches!(who.role, Role::Owner | Role::Artist);
    let mark =
        if treats { words::own_mark(answer, &bench.rules, now) } else { words::shared_mark(answer, &bench.rules, now) };
    let mut sentences = Vec::new();
    match answer {
        Clearance::Cleared(over) if !over.is_empty() => {
            sentences.push(
                "A person decided to go on although the rules ask for a new test. Name, reason and time are kept."
                    .to_owned(),
            );
        }
        Clearance::Cleared(_) => {}
        Clearance::NotYet(not_yet) => {
            for missing in &not_yet.missing {
                let product = match missing {
                    Missing::Test { product, .. } => bench.name(*product),
                    _ => String::new(),
                };
                sentences.push(if treats {
                    words::missing(missing, &product, &bench.zone, now)
                } else {
                    format!("{}.", crate::base::text::capital(&words::step(missing)))
                });
            }
            sentences.push(crate::base::text::capital(&words::deadline(not_yet, &bench.rules, &bench.zone, now)));
        }
        Clearance::Held(reasons) | Clearance::Refer(reasons) if treats => {
            sentences.extend(reasons.iter().map(|why| words::reason(*why, &bench.zone, now)));
        }
        Clearance::Held(_) | Clearance::Refer(_) => sentences.push("Speak with the artist or the owner.".to_owned()),
    }
    StandingWords { mark: mark.mark, word: mark.word, sentences }
}
