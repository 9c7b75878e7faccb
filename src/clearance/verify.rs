//! Holds decisions over the rules and doctors' papers against the lines the audit chain has of them: what lifts a hold or passes over a
//! rule cannot be changed, added or taken away later without being told.

use std::collections::BTreeMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::audit::{self, Broken};
use crate::store::keys::Keys;
use crate::store::{Db, sealed};

/// What the chain is told of a paper: whose it was then, and a keyed digest over every field and its words before sealing.
pub(super) fn line(keys: &Keys, client: ClientId, id: &str, fields: &[&str], words: &str) -> String {
    let parts: Vec<&[u8]> = [id].into_iter().chain(fields.iter().copied()).chain([words]).map(str::as_bytes).collect();
    format!("{client} {}", keys.digest("clearance paper", &parts))
}

/// One kind of paper: the action that the chain has of it, the place of its words, and the statement that gives id, client, words and
/// then every other field as text.
struct Kind {
    action: &'static str,
    place: &'static str,
    rows: &'static str,
}

/// In the order in which they are asked for below.
const KINDS: [Kind; 3] = [
    Kind {
        action: "override clearance",
        place: "clearance_override.reason",
        rows: "select id, client, reason, of_rule, cast(from_at as text), cast(until as text), by_person, cast(at as text)
               from clearance_override order by id",
    },
    Kind {
        action: "record doctor statement",
        place: "doctor_statement.words",
        rows: "select id, client, words, family, cast(written as text), entered_by, cast(entered as text)
               from doctor_statement order by id",
    },
    Kind {
        action: "record doctor finding",
        place: "doctor_finding.words",
        rows: "select id, client, words, grade, cast(at as text), coalesce(cast(day as text), ''), entered_by, cast(entered as text)
               from doctor_finding order by id",
    },
];

/// What the chain tells of a paper.
struct Told {
    action: String,
    client: String,
    detail: String,
}

/// Every decision and doctor's paper that is not as it was kept. The chain itself is walked by `audit::verify`.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(db: &mut Db, keys: &Keys) -> Result<Vec<Broken>, Problem> {
    let mut told = in_the_chain(db).await?;
    let mut broken = Vec::new();
    for kind in KINDS {
        for row in sqlx::query(kind.rows).fetch_all(&mut *db).await? {
            let id: String = row.get(0);
            broken.extend(match told.remove(&id) {
                None => Some(Broken::NotInTheChain(id)),
                Some(told) if is_as_told(db, keys, &kind, &row, &told).await? => None,
                Some(_) => Some(Broken::Changed(id)),
            });
        }
    }
    broken.extend(told.into_keys().map(Broken::Gone));
    Ok(broken)
}

async fn is_as_told(db: &mut Db, keys: &Keys, kind: &Kind, row: &AnyRow, told: &Told) -> Result<bool, Problem> {
    let (id, client): (String, String) = (row.get(0), row.get(1));
    let Ok(client_id) = client.parse::<ClientId>() else { return Ok(false) };
    let words = match row.get::<Option<Vec<u8>>, _>(2) {
        None => String::new(),
        // What does not open was changed. Papers go before the key does, so that none is merely dark.
        Some(kept) => match sealed::open(db, keys, client_id, &format!("{}.{id}", kind.place), &kept).await {
            Ok(Some(plain)) => String::from_utf8_lossy(&plain).into_owned(),
            Ok(None) | Err(Problem::Broken(_)) => return Ok(false),
            Err(other) => return Err(other),
        },
    };
    let fields: Vec<String> = (3..row.len()).map(|place| row.get(place)).collect();
    let fields: Vec<&str> = fields.iter().map(String::as_str).collect();
    // The line names the record it was kept under; that may have been put together with another since.
    let Some(then) = told.detail.split(' ').next().and_then(|id| id.parse().ok()) else { return Ok(false) };
    Ok(told.action == kind.action && told.client == client && told.detail == line(keys, then, &id, &fields, &words))
}

/// What the chain tells of each paper that was not erased since, under the record that has it now.
async fn in_the_chain(db: &mut Db) -> Result<BTreeMap<String, Told>, Problem> {
    let mut told: BTreeMap<String, Told> = BTreeMap::new();
    let mut from = 1;
    loop {
        let lines = audit::lines_from(db, from, 1000).await?;
        let Some(last) = lines.last() else { return Ok(told) };
        from = last.line + 1;
        for line in lines {
            match line.action.as_str() {
                action if KINDS.iter().any(|kind| kind.action == action) => {
                    let client = line.detail.split(' ').next().unwrap_or_default().to_owned();
                    told.insert(line.subject, Told { action: line.action, client, detail: line.detail });
                }
                "move clearance records" => {
                    for paper in told.values_mut().filter(|paper| paper.client == line.detail) {
                        paper.client.clone_from(&line.subject);
                    }
                }
                "erase clearance records" if line.detail == "all" => {
                    told.retain(|_, paper| paper.client != line.subject);
                }
                _ => {}
            }
        }
    }
}
