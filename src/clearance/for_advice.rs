//! What an advice page needs of a client: whether she may be treated, and which bottles and liquids are not for today for her. An
//! advice page stands where others can see it: short name and step, no reason.

use super::facts::{ClientFacts, Known};
use super::judge::{Clearance, Missing, clearance};
use super::seen::{client_for, treats};
use super::standing::{Bench, NotToday, bottles_not_today, facts_of, judge_visit};
use super::visit_store::{expected, visits_of};
use super::wet::Wet;
use super::words;
use crate::base::actor::Who;
use crate::base::ids::{BottleId, ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::base::zone::Zone;
use crate::store::Db;
use crate::store::keys::Keys;

/// A client as an advice page knows her.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForHer {
    /// Who.
    pub client: ClientId,
    /// Her short name.
    pub short: String,
    /// "fit", "near" or "stop".
    pub mark: &'static str,
    /// The word and the missing step, nothing about health.
    pub words: String,
    /// Whether nothing is missing and nothing stands against it.
    pub cleared: bool,
    /// Bottles that must not be used on her now.
    pub bottles: Vec<(BottleId, NotToday)>,
    /// Liquids that must not be used on her now.
    pub liquids: Vec<(Wet, NotToday)>,
}

/// How a client stands now: for what she is expected for within the day, else for the house adhesive; and which of these bottles, and
/// which liquids, are not for today for her. Who does not treat her is told the same of every bottle and of no liquid: bottle by bottle she
/// would learn what a hold is about.
///
/// # Errors
/// [`Problem::NotHere`] without such a client, or where this person may not see her; when the database cannot be read.
pub async fn for_advice(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    who: &Who,
    bottles: &[BottleId],
    now: Instant,
    known: Known,
) -> Result<ForHer, Problem> {
    let her = client_for(db, client, who, now).await?;
    let zone = crate::web::studio::Studio::load(db).await?.zone;
    let bench = Bench::load(db, &zone).await?;
    let facts = known.of(facts_of(db, keys, client, &zone, now).await?, now);
    let next = visits_of(db, client, now.plus(-DAY / 2)).await?.into_iter().find(|visit| visit.at.since(now) < DAY);
    let answer = match &next {
        Some(visit) => judge_visit(&facts, &bench, visit, visit.at.max(now)),
        None => clearance(&facts, &bench.rules, &bench.house_adhesive(now), now, now),
    };
    // Late is only who is expected: whoever is not booked has no hour to miss.
    let mark = match (&next, &answer) {
        (None, Clearance::NotYet(_)) => words::Mark { mark: "near", word: "not yet" },
        _ => words::shared_mark(&answer, &bench.rules, now),
    };
    let step = match &answer {
        Clearance::Cleared(_) => String::new(),
        other => format!(": {}", words::shared_step(other, "the artist or the owner")),
    };
    let (bottles, liquids) = if treats(who) {
        // Remover takes lashes off: no step of a set, and judged with the removal.
        let liquids = Wet::ALL.into_iter().filter(|wet| *wet != Wet::Remover);
        let liquids = liquids.filter_map(|wet| Some((wet, liquid_not_today(&facts, &bench, wet, now)?))).collect();
        (bottles_not_today(db, &facts, &bench, bottles, now).await?, liquids)
    } else {
        (bottles.iter().map(|bottle| (*bottle, NotToday::NotSaid)).collect(), Vec::new())
    };
    Ok(ForHer {
        client,
        short: her.short,
        mark: mark.mark,
        words: format!("{}{step}", mark.word),
        cleared: matches!(answer, Clearance::Cleared(_)),
        bottles,
        liquids,
    })
}

/// Why a liquid is not for today: held for her, or not tested where the rules ask for it. What is missing before any treatment is told
/// with her clearance and not with each liquid.
fn liquid_not_today(facts: &ClientFacts, bench: &Bench, wet: Wet, now: Instant) -> Option<NotToday> {
    match clearance(facts, &bench.rules, &[wet.planned()], now, now) {
        Clearance::Cleared(_) => None,
        Clearance::Held(_) | Clearance::Refer(_) => Some(NotToday::NotNow),
        Clearance::NotYet(not_yet) => not_yet.missing.iter().find_map(|missing| match missing {
            Missing::Test { why, .. } => Some(NotToday::NotTested(*why)),
            Missing::Reading { .. } => Some(NotToday::NotRead),
            _ => None,
        }),
    }
}

/// Those expected today with this artist or with nobody chosen, as far as this person may see them: id, short name, when.
///
/// # Errors
/// When the database cannot be read.
pub async fn of_today(
    db: &mut Db,
    who: &Who,
    artist: PersonId,
    zone: &Zone,
    now: Instant,
) -> Result<Vec<(ClientId, String, Instant)>, Problem> {
    let (from, to) = (zone.start_of_day_before(now, 0), zone.start_of_day_before(now, -1));
    let mut all: Vec<(ClientId, String, Instant)> = Vec::new();
    for visit in expected(db, from, to).await? {
        let hers = visit.artist.is_none_or(|own| own == artist);
        if !hers || all.iter().any(|(client, ..)| *client == visit.client) {
            continue;
        }
        match client_for(db, visit.client, who, now).await {
            Ok(client) => all.push((visit.client, client.short, visit.at)),
            Err(Problem::NotHere(_)) => {}
            Err(other) => return Err(other),
        }
    }
    Ok(all)
}
