//! Holds decisions over the rules, doctors' papers, patch tests with every look at them, reactions with their follow-ups, complaints, stops,
//! incidents of staff, who met what and who was told against the lines the audit chain has of them: what holds somebody, clears her, lifts a
//! hold or finds her again cannot be changed, added or taken away later without being told.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::Row;
use sqlx::any::AnyRow;

use super::bound::{self, Beside, DECIDED, DECLINED, ERASED, FORGOTTEN, KINDS, Kind, TIED, fields, line, words};
use super::facts::TestResult;
use super::test_store::newest_look;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::audit::{self, Broken};
use crate::store::keys::Keys;
use crate::store::{Db, among, many};

/// What the chain tells of a record.
struct Told {
    action: String,
    client: String,
    detail: String,
    /// The line's number and instant.
    line: i64,
    at: Instant,
    /// When it was struck out, or recorded to be over.
    ended: Option<Instant>,
    /// Of a complaint: what the chain has of the newest decision, and the card it is about.
    decided: Option<String>,
    card: String,
}

type Chain = BTreeMap<String, Told>;

/// Every record of clearance that is not as it was kept. The chain itself is walked by `audit::verify`.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(db: &mut Db, keys: &Keys) -> Result<Vec<Broken>, Problem> {
    let chain = in_the_chain(db).await?;
    let mut broken = Vec::new();
    let (mut here, mut changed) = (BTreeSet::new(), BTreeSet::new());
    for kind in KINDS {
        let mut last = String::new();
        loop {
            let some = sqlx::query(kind.rows.0).bind(&last).fetch_all(&mut *db).await?;
            let ids: Vec<String> = some.iter().map(|row| row.get(0)).collect();
            let Some(newest) = ids.last() else { break };
            last.clone_from(newest);
            let beside = bound::beside(db, kind, &many(&ids)).await?;
            for (row, id) in some.iter().zip(ids) {
                match chain.get(&id) {
                    None => broken.push(Broken::NotInTheChain(id.clone())),
                    Some(told) if is_as_told(db, keys, kind, (row, &beside), told).await? => {}
                    Some(_) => {
                        changed.insert(id.clone());
                    }
                }
                here.insert(id);
            }
        }
    }
    changed.extend(reactions_not_over_as_told(db, &chain).await?);
    changed.extend(tests_not_read_as_told(db, &chain).await?);
    changed.extend(complaints_not_decided_as_told(db, keys, &chain).await?);
    changed.extend(stops_not_on_the_shelf(db, &chain).await?);
    broken.extend(changed.into_iter().map(Broken::Changed));
    broken.extend(chain.into_keys().filter(|id| !here.contains(id)).map(Broken::Gone));
    Ok(broken)
}

async fn is_as_told(
    db: &mut Db,
    keys: &Keys,
    kind: &Kind,
    (row, beside): (&AnyRow, &Beside),
    told: &Told,
) -> Result<bool, Problem> {
    let (id, client): (String, String) = (row.get(0), row.get(1));
    let Some(words) = words(db, keys, kind, row).await? else { return Ok(false) };
    // The line names the record it was kept under; that may have been put together with another since.
    let then = told.detail.split(' ').next().unwrap_or_default();
    Ok(kind.actions.contains(&told.action.as_str())
        && told.client == client
        && told.detail == line(keys, then, &id, &fields(row, beside), &words))
}

/// Reactions that are over, or are not, otherwise than the chain tells.
async fn reactions_not_over_as_told(db: &mut Db, chain: &Chain) -> Result<Vec<String>, Problem> {
    let rows = sqlx::query("select id, closed from reaction").fetch_all(db).await?;
    let reaction = |row: &AnyRow| (row.get::<String, _>(0), row.get::<Option<i64>, _>(1).map(Instant));
    let other = |(id, closed): &(String, Option<Instant>)| chain.get(id).is_some_and(|told| told.ended != *closed);
    Ok(rows.iter().map(reaction).filter(other).map(|(id, _)| id).collect())
}

/// Complaints that say another decision or card than the chain tells. One the chain tells no decision of is open.
async fn complaints_not_decided_as_told(db: &mut Db, keys: &Keys, chain: &Chain) -> Result<Vec<String>, Problem> {
    let rows =
        sqlx::query("select id, decision, fix_until, fixed, refund_minor, card from complaint").fetch_all(db).await?;
    let mut changed = Vec::new();
    for row in rows {
        let id: String = row.get(0);
        let Some(told) = chain.get(&id) else { continue };
        let instant = |place: usize| row.get::<Option<i64>, _>(place).map(Instant);
        let says = |decided: &str, instants: [Option<Instant>; 2], refund: Option<i64>| {
            bound::decision(keys, &id, decided, instants, refund)
        };
        let now = says(&row.get::<String, _>(1), [instant(2), instant(3)], row.get(4));
        let as_told = told.decided.clone().unwrap_or_else(|| says("open", [None; 2], None));
        if now != as_told || row.get::<String, _>(5) != told.card {
            changed.push(id);
        }
    }
    Ok(changed)
}

/// Stops that the shelf does not have, or has as later: their bottles would be used, and their tests would count.
async fn stops_not_on_the_shelf(db: &mut Db, chain: &Chain) -> Result<Vec<String>, Problem> {
    let rows = sqlx::query(
        "select s.id from stop s join product p on p.id = s.product left join stopped_lot l on l.product = s.product and l.lot = s.lot
         where (s.lot is null and (p.stopped is null or p.stopped > s.at)) or (s.lot is not null and (l.at is null or l.at > s.at))",
    );
    let rows = rows.fetch_all(db).await?;
    Ok(rows.iter().map(|row| row.get(0)).filter(|id| chain.contains_key(id)).collect())
}

/// What a test says: its result, the newest look with by whom, and when the house learnt of it.
#[derive(PartialEq, Eq)]
struct Says {
    result: Option<TestResult>,
    read: Option<Instant>,
    by: String,
    entered: Option<Instant>,
}

/// Tests that say something else than follows from the looks at them in the order in which the chain has those, or that were struck out
/// otherwise.
async fn tests_not_read_as_told(db: &mut Db, chain: &Chain) -> Result<Vec<String>, Problem> {
    let (mut last, mut changed) = (String::new(), Vec::new());
    loop {
        let tests = sqlx::query(
            "select id, result, read_at, read_by, read_entered, struck from patch_test where id > $1 order by id limit 500",
        );
        let tests = tests.bind(&last).fetch_all(&mut *db).await?;
        let ids: Vec<String> = tests.iter().map(|row| row.get(0)).collect();
        let Some(newest) = ids.last() else { return Ok(changed) };
        last.clone_from(newest);
        let text = among!("select l.id, l.test, l.at, l.result, l.by_person from patch_test_look l", "l.test", "");
        let mut looks = BTreeMap::<String, Vec<(&Told, AnyRow)>>::new();
        for row in sqlx::query(text).bind(many(&ids)).fetch_all(&mut *db).await? {
            if let Some(told) = chain.get(&row.get::<String, _>(0)) {
                looks.entry(row.get(1)).or_default().push((told, row));
            }
        }
        for row in tests {
            let id: String = row.get(0);
            let Some(told) = chain.get(&id) else { continue };
            let says = what_it_says(told, looks.remove(&id).unwrap_or_default());
            let instant = |place: usize| row.get::<Option<i64>, _>(place).map(Instant);
            let now = Says {
                result: TestResult::from_word(&row.get::<String, _>(1)),
                read: instant(2),
                by: row.get(3),
                entered: instant(4),
            };
            if now != says || instant(5) != told.ended {
                changed.push(id);
            }
        }
    }
}

/// What a test says after these looks, in the order in which the chain has them.
fn what_it_says(placed: &Told, mut looks: Vec<(&Told, AnyRow)>) -> Says {
    let first = if placed.action == DECLINED { TestResult::Declined } else { TestResult::Waiting };
    let mut says = Says { result: Some(first), read: None, by: String::new(), entered: None };
    looks.sort_by_key(|(told, _)| told.line);
    for (told, look) in looks {
        let before = says.result.unwrap_or(TestResult::Waiting);
        says = Says {
            result: TestResult::from_word(&look.get::<String, _>(3)),
            read: Some(newest_look(before, says.read, Instant(look.get(2)))),
            by: look.get(4),
            entered: Some(told.at),
        };
    }
    says
}

/// What the chain tells of each record that was not erased since, under the client's record that has it now.
async fn in_the_chain(db: &mut Db) -> Result<Chain, Problem> {
    let mut chain = Chain::new();
    audit::each_line(db, |line| match line.action.as_str() {
        action if KINDS.iter().any(|kind| kind.actions.contains(&action)) => {
            let client = line.detail.split(' ').next().unwrap_or_default().to_owned();
            let (action, detail) = (line.action, line.detail);
            let (decided, card) = (None, String::new());
            let told = Told { action, client, detail, line: line.line, at: line.at, ended: None, decided, card };
            chain.insert(line.subject, told);
        }
        "close reaction" | "strike patch test" => {
            if let Some(told) = chain.get_mut(&line.subject) {
                told.ended.get_or_insert(line.at);
            }
        }
        DECIDED => {
            if let Some(told) = chain.get_mut(&line.subject) {
                told.decided = Some(line.detail);
            }
        }
        TIED => {
            if let Some(told) = chain.get_mut(&line.subject) {
                told.card = line.detail;
            }
        }
        FORGOTTEN | ERASED => {
            chain.remove(&line.subject);
        }
        "move clearance records" => {
            for record in chain.values_mut().filter(|record| record.client == line.detail) {
                record.client.clone_from(&line.subject);
            }
        }
        "erase clearance records" if line.detail == "all" => {
            chain.retain(|_, record| record.client != line.subject);
        }
        _ => {}
    })
    .await?;
    Ok(chain)
}
