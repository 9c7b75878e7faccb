//! Holds decisions over the rules, doctors' papers, patch tests with every look at them, and reactions with their follow-ups against the
//! lines the audit chain has of them: what holds somebody, clears her or lifts a hold cannot be changed, added or taken away later without
//! being told. The chain has ids and keyed digests, and no word about health.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::Row;
use sqlx::any::AnyRow;

use super::facts::TestResult;
use super::test_store::newest_look;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::audit::{self, Broken};
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, many, sealed};

/// The next five hundred rows after an id, and the one row with this id.
macro_rules! rows {
    ($head:literal, $id:literal) => {
        rows!($head, $id, "")
    };
    ($head:literal, $id:literal, $only:literal) => {
        (
            concat!($head, " where ", $only, $id, " > $1 order by ", $id, " limit 500"),
            concat!($head, " where ", $id, " = $1"),
        )
    };
}

/// One kind of record that is bound to the chain.
pub(super) struct Kind {
    /// The actions that the chain may have of it.
    actions: &'static [&'static str],
    /// Table and column of its sealed words.
    place: &'static str,
    /// Id, client, sealed words, and then as text every field that never changes.
    rows: (&'static str, &'static str),
    /// What else belongs to several of them: the id of each, and a text.
    beside: &'static [&'static str],
}

/// A decision to go on over validity or gap.
pub(super) const DECISION: Kind = Kind {
    actions: &["override clearance"],
    place: "clearance_override.reason",
    rows: rows!(
        "select o.id, o.client, o.reason, o.of_rule, cast(o.from_at as text), cast(o.until as text), o.by_person, cast(o.at as text)
         from clearance_override o",
        "o.id"
    ),
    beside: &[],
};

/// A doctor's statement.
pub(super) const STATEMENT: Kind = Kind {
    actions: &["record doctor statement"],
    place: "doctor_statement.words",
    rows: rows!(
        "select s.id, s.client, s.words, s.family, cast(s.written as text), s.entered_by, cast(s.entered as text)
         from doctor_statement s",
        "s.id"
    ),
    beside: &[],
};

/// A doctor's finding.
pub(super) const FINDING: Kind = Kind {
    actions: &["record doctor finding"],
    place: "doctor_finding.words",
    rows: rows!(
        "select f.id, f.client, f.words, f.grade, cast(f.at as text), coalesce(cast(f.day as text), ''), f.entered_by,
           cast(f.entered as text)
         from doctor_finding f",
        "f.id"
    ),
    beside: &[],
};

/// A patch test as it was placed or declined. What it says now follows from the looks at it.
pub(super) const PATCH_TEST: Kind = Kind {
    actions: &[PLACED, DECLINED],
    place: "patch_test.site",
    rows: rows!(
        "select t.id, t.client, t.site, t.method, cast(t.number_placed as text), cast(t.placed as text), t.placed_by,
           cast(t.created as text)
         from patch_test t",
        "t.id"
    ),
    beside: &[
        among!("select p.test, p.product || ' ' || p.lot from patch_test_product p", "p.test", ""),
        among!("select l.test, l.liquid from patch_test_liquid l", "l.test", ""),
    ],
};
/// What the chain calls a test that was placed.
pub(super) const PLACED: &str = "place patch test";
/// And one that she did not want.
pub(super) const DECLINED: &str = "record declined patch test";

/// A look at a patch test.
pub(super) const LOOK: Kind = Kind {
    actions: &["read patch test"],
    place: "patch_test_look.words",
    rows: rows!(
        "select l.id, l.client, l.words, l.test, cast(l.at as text), l.result, l.by_person from patch_test_look l",
        "l.id"
    ),
    beside: &[],
};

/// A reaction, with what was met before it and when somebody is to look again.
pub(super) const REACTION: Kind = Kind {
    actions: &["record reaction"],
    place: "reaction.details",
    rows: rows!(
        "select r.id, r.client, r.details, cast(r.noticed as text), coalesce(cast(r.exposed as text), ''), cast(r.acute as text),
           coalesce(r.artist, ''), cast(r.entered as text), r.entered_by
         from reaction r",
        "r.id"
    ),
    beside: &[
        among!("select p.reaction, p.product || ' ' || p.lot from reaction_product p", "p.reaction", ""),
        among!("select l.reaction, l.liquid from reaction_liquid l", "l.reaction", ""),
        among!("select u.reaction, u.id || ' ' || cast(u.due as text) from follow_up u", "u.reaction", ""),
    ],
};

/// What a follow-up of a reaction found. One that is only due stands with its reaction.
pub(super) const FOLLOW_UP: Kind = Kind {
    actions: &["follow up reaction"],
    place: "follow_up.words",
    rows: rows!(
        "select u.id, u.client, u.words, u.reaction, cast(u.due as text), coalesce(cast(u.done as text), ''), u.done_by
         from follow_up u",
        "u.id",
        "u.done is not null and "
    ),
    beside: &[],
};

const KINDS: [&Kind; 7] = [&DECISION, &STATEMENT, &FINDING, &PATCH_TEST, &LOOK, &REACTION, &FOLLOW_UP];

/// Binds a record that stands in the database to the chain, by its first action, in the write that keeps it.
pub(super) async fn bind(tx: &mut Tx, keys: &Keys, kind: &Kind, id: impl std::fmt::Display) -> Result<(), Problem> {
    bind_as(tx, keys, kind, kind.actions[0], id).await
}

/// Binds a record by one of its actions.
pub(super) async fn bind_as(
    tx: &mut Tx,
    keys: &Keys,
    kind: &Kind,
    action: &str,
    id: impl std::fmt::Display,
) -> Result<(), Problem> {
    let id = id.to_string();
    let row = sqlx::query(kind.rows.1).bind(&id).fetch_one(tx.db()).await?;
    let beside = beside(tx.db(), kind, &id).await?;
    let client: ClientId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
    let words = words(tx.db(), keys, kind, client, &row).await?;
    let words = words.ok_or_else(|| Problem::broken("what was sealed a moment ago does not open"))?;
    let told = line(keys, client, &id, &fields(&row, &beside), &words);
    tx.audit(action, &id, &told).await
}

/// What the chain is told of a record: whose it was then, and a keyed digest over every field and its words before sealing.
fn line(keys: &Keys, client: ClientId, id: &str, fields: &[String], words: &str) -> String {
    let parts: Vec<&[u8]> =
        [id].into_iter().chain(fields.iter().map(String::as_str)).chain([words]).map(str::as_bytes).collect();
    format!("{client} {}", keys.digest("clearance paper", &parts))
}

/// What belongs to records of a kind, a list each, by their ids.
type Beside = Vec<BTreeMap<String, Vec<String>>>;

/// `ids` as one text by [`many`].
async fn beside(db: &mut Db, kind: &Kind, ids: &str) -> Result<Beside, Problem> {
    let mut all = Beside::new();
    for text in kind.beside {
        let mut of = BTreeMap::<String, Vec<String>>::new();
        for row in sqlx::query(*text).bind(ids).fetch_all(&mut *db).await? {
            of.entry(row.get(0)).or_default().push(row.get(1));
        }
        // Sorted here: the databases order texts each in its own way.
        of.values_mut().for_each(|lines| lines.sort_unstable());
        all.push(of);
    }
    Ok(all)
}

/// Every field of a record as text; of each list first how long it is, so that no line can be read as two.
fn fields(row: &AnyRow, beside: &Beside) -> Vec<String> {
    let id: String = row.get(0);
    let mut fields: Vec<String> = (3..row.len()).map(|place| row.get(place)).collect();
    for of in beside {
        let lines = of.get(&id).map(Vec::as_slice).unwrap_or_default();
        fields.push(lines.len().to_string());
        fields.extend_from_slice(lines);
    }
    fields
}

/// A record's words, opened; `None` for what does not open. Records go before the key does, so that none is merely dark.
async fn words(
    db: &mut Db,
    keys: &Keys,
    kind: &Kind,
    client: ClientId,
    row: &AnyRow,
) -> Result<Option<String>, Problem> {
    let Some(kept) = row.get::<Option<Vec<u8>>, _>(2) else { return Ok(Some(String::new())) };
    let place = format!("{}.{}", kind.place, row.get::<String, _>(0));
    match sealed::open(db, keys, client, &place, &kept).await {
        Ok(opened) => Ok(opened.map(|plain| String::from_utf8_lossy(&plain).into_owned())),
        Err(Problem::Broken(_)) => Ok(None),
        Err(other) => Err(other),
    }
}

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
            let beside = beside(db, kind, &many(&ids)).await?;
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
    let Ok(client_id) = client.parse::<ClientId>() else { return Ok(false) };
    let Some(words) = words(db, keys, kind, client_id, row).await? else { return Ok(false) };
    // The line names the record it was kept under; that may have been put together with another since.
    let Some(then) = told.detail.split(' ').next().and_then(|id| id.parse().ok()) else { return Ok(false) };
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
    let mut from = 1;
    loop {
        let lines = audit::lines_from(db, from, 1000).await?;
        let Some(last) = lines.last() else { return Ok(chain) };
        from = last.line + 1;
        for line in lines {
            match line.action.as_str() {
                action if KINDS.iter().any(|kind| kind.actions.contains(&action)) => {
                    let client = line.detail.split(' ').next().unwrap_or_default().to_owned();
                    let (action, detail) = (line.action, line.detail);
                    let told = Told { action, client, detail, line: line.line, at: line.at, ended: None };
                    chain.insert(line.subject, told);
                }
                "close reaction" | "strike patch test" => {
                    if let Some(told) = chain.get_mut(&line.subject) {
                        told.ended.get_or_insert(line.at);
                    }
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
            }
        }
    }
}
