//! Puts the facts of one client, or of everybody expected in a span of time, together for the judge: the same few statements
//! whether one or five hundred.

use std::collections::HashMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use super::facts::{
    ClientFacts, FindingFacts, Kind, Overridable, OverrideFacts, ReactionFacts, Statement, TestFacts, TestedProduct,
};
use super::known::{self, Known};
use super::test_store::{read_wet, result_of};
use crate::adhesives::Family;
use crate::base::ids::{ClientId, PatchTestId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::keys::Keys;
use crate::store::{Db, many};

/// Whose facts.
#[derive(Debug, Clone, Copy)]
pub(super) enum Whose<'w> {
    /// These clients', their ids as one text by [`many`].
    These(&'w str),
    /// Everybody's expected in a span of time, the end not included.
    Expected(Instant, Instant),
}

/// A statement for these clients and the same for all expected. Two texts instead of one with "or": each then finds its index.
macro_rules! of {
    ($head:literal, $client:literal, $tail:literal) => {
        (
            crate::store::among!($head, $client, $tail),
            concat!(
                $head,
                " where ",
                $client,
                " in (select v.client from expected_visit v where v.gone is null and v.at >= $1 and v.at < $2) ",
                $tail
            ),
        )
    };
}
pub(super) use of;

/// Runs the text that fits.
pub(super) async fn rows(
    db: &mut Db,
    whose: Whose<'_>,
    (these, all): (&'static str, &'static str),
) -> Result<Vec<AnyRow>, Problem> {
    Ok(match whose {
        Whose::These(ids) => sqlx::query(these).bind(ids).fetch_all(db).await?,
        Whose::Expected(from, to) => sqlx::query(all).bind(from.0).bind(to.0).fetch_all(db).await?,
    })
}

/// What is known of a client besides what this part keeps, and the facts for the judge.
pub(super) struct Gathered {
    pub(super) known: Known,
    pub(super) facts: ClientFacts,
}

/// The facts of these clients.
pub(super) async fn gather(
    db: &mut Db,
    keys: &Keys,
    whose: Whose<'_>,
    zone: &Zone,
    now: Instant,
) -> Result<HashMap<ClientId, Gathered>, Problem> {
    let mut all: HashMap<ClientId, Gathered> = HashMap::new();
    for known in known::of(db, keys, whose, now).await? {
        let facts = ClientFacts {
            born: known.born,
            guardian: known.guardian,
            restricted: known.restricted,
            withdrawn: known.withdrawn,
            health: known.health.clone(),
            ..ClientFacts::unknown(zone.clone())
        };
        all.insert(known.id, Gathered { known, facts });
    }
    add_records(db, whose, &mut all).await?;
    add_those_who_came_back(db, whose, &mut all).await?;
    Ok(all)
}

async fn add_records(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    add_tests(db, whose, all).await?;
    add_reactions(db, whose, all).await?;
    add_doctors(db, whose, all).await?;
    add_decisions(db, whose, all).await
}

/// What had to stay of somebody erased holds her again once she came back under a new record.
async fn add_those_who_came_back(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!("select e.came_back, e.id from client e", "e.came_back", "");
    let mut back: Vec<(ClientId, ClientId)> = Vec::new();
    let mut earlier = All::new();
    for row in rows(db, whose, texts).await? {
        let now: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let then: ClientId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        let Some(zone) = all.get(&now).map(|gathered| gathered.facts.zone.clone()) else { continue };
        earlier.insert(then, Gathered { known: Known::nobody(then), facts: ClientFacts::unknown(zone) });
        back.push((now, then));
    }
    if back.is_empty() {
        return Ok(());
    }
    add_records(db, Whose::These(&many(earlier.keys())), &mut earlier).await?;
    for (now, then) in back {
        let (Some(gathered), Some(earlier)) = (all.get_mut(&now), earlier.remove(&then)) else { continue };
        gathered.facts.tests.extend(earlier.facts.tests);
        gathered.facts.reactions.extend(earlier.facts.reactions);
        gathered.facts.findings.extend(earlier.facts.findings);
        gathered.facts.statements.extend(earlier.facts.statements);
        gathered.facts.last_treatment = gathered.facts.last_treatment.max(earlier.facts.last_treatment);
    }
    Ok(())
}

type All = HashMap<ClientId, Gathered>;

fn facts_of<'a>(all: &'a mut All, row: &AnyRow) -> Result<Option<&'a mut ClientFacts>, Problem> {
    let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    Ok(all.get_mut(&client).map(|gathered| &mut gathered.facts))
}

async fn add_tests(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!(
        // A test counts for nothing, too, where the lot it was written down with was put right since, and that one is stopped.
        "select t.client, t.id, t.placed, t.read_at, t.result, p.product, d.family, d.stopped,
           coalesce(l.at, (select min(s.at) from corrected_lot c join corrected_lot r on r.bottle = c.bottle and r.at >= c.at
                           join stopped_lot s on s.product = c.product and s.lot = r.became
                           where c.product = p.product and c.was = p.lot and c.at >= t.placed)),
           t.read_entered from patch_test t
         left join patch_test_product p on p.test = t.id left join product d on d.id = p.product
         left join stopped_lot l on l.product = p.product and l.lot = p.lot",
        "t.client",
        "and t.struck is null order by t.placed, t.id"
    );
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        let id: PatchTestId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        if facts.tests.last().is_none_or(|test| test.id != id) {
            facts.tests.push(TestFacts {
                id,
                placed: Instant(row.get(2)),
                read: row.get::<Option<i64>, _>(3).map(Instant),
                known: row.get::<Option<i64>, _>(9).map(Instant),
                result: result_of(&row.get::<String, _>(4))?,
                products: Vec::new(),
            });
        }
        let Some(product) = row.get::<Option<String>, _>(5) else { continue };
        let stopped = row.get::<Option<i64>, _>(7).is_some() || row.get::<Option<i64>, _>(8).is_some();
        let tested = TestedProduct {
            product: product.parse().map_err(Problem::broken)?,
            kind: Kind::Adhesive(family(&row.get::<String, _>(6))?),
            stopped,
        };
        if let Some(test) = facts.tests.last_mut() {
            test.products.push(tested);
        }
    }
    add_tested_liquids(db, whose, all).await
}

async fn add_tested_liquids(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!(
        "select t.client, t.id, l.liquid from patch_test t join patch_test_liquid l on l.test = t.id",
        "t.client",
        "and t.struck is null order by t.placed, t.id"
    );
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        let id: PatchTestId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        let wet = read_wet(&row.get::<String, _>(2))?;
        if let Some(test) = facts.tests.iter_mut().find(|test| test.id == id) {
            test.products.push(TestedProduct { product: wet.id(), kind: Kind::Liquid, stopped: false });
        }
    }
    Ok(())
}

/// The family with this key.
pub(super) fn family(key: &str) -> Result<Family, Problem> {
    Family::from_key(key).ok_or_else(|| Problem::broken("a product of no family of ours"))
}

async fn add_reactions(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!(
        "select r.client, r.noticed, r.acute, r.closed, r.id, l.liquid, r.entered from reaction r left join reaction_liquid l on l.reaction = r.id",
        "r.client",
        "order by r.noticed, r.id"
    );
    let mut newest = String::new();
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        let id: String = row.get(4);
        if id != newest {
            let (acute, over) = (row.get::<i64, _>(2) != 0, row.get::<Option<i64>, _>(3).map(Instant));
            let (noticed, known) = (Instant(row.get(1)), Instant(row.get(6)));
            facts.reactions.push(ReactionFacts { noticed, known, liquids: Vec::new(), acute, over });
            newest = id;
        }
        if let (Some(reaction), Some(word)) = (facts.reactions.last_mut(), row.get::<Option<String>, _>(5)) {
            reaction.liquids.push(read_wet(&word)?.id());
        }
    }
    Ok(())
}

async fn add_doctors(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!("select f.client, f.at, f.grade, f.entered from doctor_finding f", "f.client", "order by f.at");
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        // Nothing seen and nothing tested clear nobody, and hold nobody.
        if !matches!(row.get::<String, _>(2).as_str(), "-" | "NT") {
            facts.findings.push(FindingFacts { at: Instant(row.get(1)), known: Instant(row.get(3)) });
        }
    }
    let texts = of!(
        "select s.client, s.family, s.written, s.entered from doctor_statement s",
        "s.client",
        "order by s.written"
    );
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        facts.statements.push(Statement {
            family: family(&row.get::<String, _>(1))?,
            written: Instant(row.get(2)),
            entered: Instant(row.get(3)),
        });
    }
    Ok(())
}

async fn add_decisions(db: &mut Db, whose: Whose<'_>, all: &mut All) -> Result<(), Problem> {
    let texts = of!(
        "select o.client, o.of_rule, o.from_at, o.until, o.at from clearance_override o",
        "o.client",
        "order by o.at"
    );
    for row in rows(db, whose, texts).await? {
        let Some(facts) = facts_of(all, &row)? else { continue };
        facts.overrides.push(OverrideFacts {
            of: Overridable::from_word(&row.get::<String, _>(1))
                .ok_or_else(|| Problem::broken("a decision over no rule of ours"))?,
            from: Instant(row.get(2)),
            until: Instant(row.get(3)),
            entered: Instant(row.get(4)),
        });
    }
    let texts =
        of!("select e.client, max(e.at) from exposure e", "e.client", "and e.kind = 'treatment' group by e.client");
    for row in rows(db, whose, texts).await? {
        if let Some(facts) = facts_of(all, &row)? {
            facts.last_treatment = row.get::<Option<i64>, _>(1).map(Instant);
        }
    }
    Ok(())
}

/// Products planned by their ids, with what the shelf says of them.
pub(super) async fn products(db: &mut Db) -> Result<HashMap<ProductId, ShelfProduct>, Problem> {
    let rows = sqlx::query("select id, name, family, stopped from product").fetch_all(db).await?;
    rows.iter()
        .map(|row| {
            let id: ProductId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            let product = ShelfProduct {
                id,
                name: row.get(1),
                family: family(&row.get::<String, _>(2))?,
                stopped: row.get::<Option<i64>, _>(3).is_some(),
            };
            Ok((id, product))
        })
        .collect()
}

/// A product of the shelf as clearance sees it.
#[derive(Debug, Clone)]
pub(super) struct ShelfProduct {
    /// Its id.
    pub(super) id: ProductId,
    /// Its name.
    pub(super) name: String,
    /// Its family.
    pub(super) family: Family,
    /// The studio stopped it.
    pub(super) stopped: bool,
}
