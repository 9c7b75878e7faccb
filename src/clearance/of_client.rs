//! What this part keeps of one client: her file, the move of her history to another record of hers, and what may go when she asks
//! for erasure.

use serde_json::{Value, json};
use sqlx::Row;

use super::doctor_store::{complaints_of, decisions_of, findings_of, statements_of};
use super::lot_store::exposures_of;
use super::reaction_store::{details, follow_up_words, follow_ups_of, reactions_of, told};
use super::test_store::{looks, tests_of, words_of};
use super::visit_store::visits_of;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, sealed};

/// Everything this part keeps of a client, opened, as JSON with instants in UTC. Whoever asks for it writes the audit row.
///
/// # Errors
/// When the database cannot be read, or something sealed was changed.
pub async fn client_file(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Value, Problem> {
    let mut tests = Vec::new();
    for test in tests_of(db, client).await? {
        let looks = looks(db, test.id).await?;
        let looks: Vec<Value> =
            looks.iter().map(|look| json!({ "at": look.at.iso(), "result": look.result.word() })).collect();
        let with: Vec<Value> =
            test.products.iter().map(|met| json!({ "product": met.product.to_string(), "lot": met.lot })).collect();
        tests.push(json!({
            "placed": test.placed.iso(), "method": test.method.word(), "site": test.site, "number": test.number_placed,
            "with": with, "result": test.result.word(), "looks": looks, "words": words_of(db, keys, &test).await?,
        }));
    }
    let mut reactions = Vec::new();
    for reaction in reactions_of(db, client).await? {
        let kept = details(db, keys, &reaction).await?;
        let mut looks = Vec::new();
        for look in follow_ups_of(db, reaction.id).await? {
            let words = follow_up_words(db, keys, &look).await?;
            looks.push(json!({ "due": look.due.iso(), "done": look.done.map(Instant::iso), "words": words }));
        }
        let told: Vec<Value> = told(db, &reaction.id.to_string())
            .await?
            .into_iter()
            .map(|(whom, at)| json!({ "whom": whom, "at": at.iso() }))
            .collect();
        reactions.push(json!({
            "noticed": reaction.noticed.iso(), "over": reaction.closed.map(Instant::iso), "details": kept, "looks": looks, "told": told,
        }));
    }
    let (ever, end) = (Instant(i64::MIN), Instant(i64::MAX));
    let exposures: Vec<Value> = exposures_of(db, client, ever, end)
        .await?
        .into_iter()
        .map(|met| json!({ "at": met.at.iso(), "in": met.kind, "product": met.met.product.to_string(), "lot": met.met.lot }))
        .collect();
    let visits: Vec<Value> = visits_of(db, client, ever)
        .await?
        .into_iter()
        .map(|visit| json!({ "at": visit.at.iso(), "for": visit.kind.word() }))
        .collect();
    let mut file = doctors_and_decisions(db, keys, client).await?;
    file["patch_tests"] = tests.into();
    file["reactions"] = reactions.into();
    file["exposures"] = exposures.into();
    file["expected"] = visits.into();
    Ok(file)
}

async fn doctors_and_decisions(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Value, Problem> {
    let findings: Vec<Value> = findings_of(db, keys, client)
        .await?
        .into_iter()
        .map(|own| json!({ "at": own.at.iso(), "grade": own.grade, "day": own.day, "words": own.words }))
        .collect();
    let statements: Vec<Value> = statements_of(db, keys, client)
        .await?
        .into_iter()
        .map(|own| json!({ "written": own.written.iso(), "family": own.family.key(), "words": own.words }))
        .collect();
    let decisions: Vec<Value> = decisions_of(db, keys, client)
        .await?
        .into_iter()
        .map(|own| json!({ "at": own.at.iso(), "over": own.of.word(), "from": own.from.iso(), "until": own.until.iso(), "reason": own.reason }))
        .collect();
    let complaints: Vec<Value> = complaints_of(db, keys, client)
        .await?
        .into_iter()
        .map(|own| json!({ "at": own.at.iso(), "what": own.what, "decision": own.decision, "refund_minor": own.refund_minor }))
        .collect();
    Ok(json!({ "findings": findings, "statements": statements, "decisions": decisions, "complaints": complaints }))
}

/// Sealed columns of this part: the statement that reads them, the one that writes them, and the name of their place.
const SEALED: [(&str, &str, &str); 7] = [
    (
        "select id, words from patch_test where client = $1",
        "update patch_test set words = $1 where id = $2",
        "patch_test.words",
    ),
    (
        "select id, words from doctor_finding where client = $1",
        "update doctor_finding set words = $1 where id = $2",
        "doctor_finding.words",
    ),
    (
        "select id, words from doctor_statement where client = $1",
        "update doctor_statement set words = $1 where id = $2",
        "doctor_statement.words",
    ),
    (
        "select id, reason from clearance_override where client = $1",
        "update clearance_override set reason = $1 where id = $2",
        "clearance_override.reason",
    ),
    (
        "select id, details from reaction where client = $1",
        "update reaction set details = $1 where id = $2",
        "reaction.details",
    ),
    (
        "select id, words from follow_up where client = $1",
        "update follow_up set words = $1 where id = $2",
        "follow_up.words",
    ),
    (
        "select id, what from complaint where client = $1",
        "update complaint set what = $1 where id = $2",
        "complaint.what",
    ),
];

/// Tables whose rows belong to a client, each with the statement that moves them.
const MOVES: [&str; 9] = [
    "update patch_test set client = $1 where client = $2",
    "update doctor_finding set client = $1 where client = $2",
    "update doctor_statement set client = $1 where client = $2",
    "update clearance_override set client = $1 where client = $2",
    "update reaction set client = $1 where client = $2",
    "update follow_up set client = $1 where client = $2",
    "update complaint set client = $1 where client = $2",
    "update exposure set client = $1 where client = $2",
    "update expected_visit set client = $1 where client = $2",
];

/// Moves everything to another record of the same person; what is sealed is sealed anew with that record's key. Both histories count
/// from then on: a reaction of either holds.
///
/// # Errors
/// When the database refuses it, or something sealed was changed.
pub async fn client_merge(tx: &mut Tx, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    for (read, write, place) in SEALED {
        let rows = sqlx::query(read).bind(from.to_string()).fetch_all(tx.db()).await?;
        for row in rows {
            let (id, Some(kept)) = (row.get::<String, _>(0), row.get::<Option<Vec<u8>>, _>(1)) else { continue };
            let place = format!("{place}.{id}");
            // Without a key it is dark already, and stays so.
            let Some(plain) = sealed::open(tx.db(), keys, from, &place, &kept).await? else { continue };
            let anew = sealed::seal(tx.db(), keys, into, &place, &plain).await?;
            sqlx::query(write).bind(anew).bind(id).execute(tx.db()).await?;
        }
    }
    for text in MOVES {
        sqlx::query(text).bind(into.to_string()).bind(from.to_string()).execute(tx.db()).await?;
    }
    tx.audit("move clearance records", into, &from.to_string()).await
}

/// What has to stay of a client after she asked for erasure: what, why, and from when its keeping time runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stays {
    /// What stays.
    pub what: &'static str,
    /// Why.
    pub reason: &'static str,
    /// The newest of its records.
    pub newest: Instant,
}

/// What stays, with the statement that finds its newest record.
const STAYS: [(&str, &str, &str); 4] = [
    (
        "patch tests",
        "they answer a claim about a treatment that relied on them",
        "select max(placed) from patch_test where client = $1",
    ),
    (
        "reactions and doctors’ papers",
        "they answer a claim, and hold her should she come back",
        "select max(noticed) from reaction where client = $1",
    ),
    (
        "products and lots she met",
        "she has to be found when a lot is stopped",
        "select max(at) from exposure where client = $1",
    ),
    ("complaints", "they answer a claim", "select max(at) from complaint where client = $1"),
];

/// Takes away what may go at once (visits she is expected for) and says what has to stay. [`client_forget`] takes the rest once its
/// keeping time is over.
///
/// # Errors
/// When the database refuses it.
pub async fn client_erase(tx: &mut Tx, client: ClientId) -> Result<Vec<Stays>, Problem> {
    remove_visits(tx, client).await?;
    let mut stays = Vec::new();
    for (what, reason, text) in STAYS {
        let row = sqlx::query(text).bind(client.to_string()).fetch_one(tx.db()).await?;
        if let Some(newest) = row.get::<Option<i64>, _>(0) {
            stays.push(Stays { what, reason, newest: Instant(newest) });
        }
    }
    tx.audit("erase clearance records", client, "visits").await?;
    Ok(stays)
}

async fn remove_visits(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    for text in [
        "delete from expected_product where visit in (select id from expected_visit where client = $1)",
        "delete from expected_visit where client = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    Ok(())
}

/// Takes away everything this part keeps of a client, once nothing has to stay any more.
///
/// # Errors
/// When the database refuses it.
pub async fn client_forget(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    remove_visits(tx, client).await?;
    for text in [
        "delete from patch_test_look where test in (select id from patch_test where client = $1)",
        "delete from patch_test_product where test in (select id from patch_test where client = $1)",
        "delete from patch_test where client = $1",
        "delete from told where about in (select id from reaction where client = $1)",
        "delete from reaction_product where reaction in (select id from reaction where client = $1)",
        "delete from follow_up where client = $1",
        "delete from reaction where client = $1",
        "delete from doctor_finding where client = $1",
        "delete from doctor_statement where client = $1",
        "delete from clearance_override where client = $1",
        "delete from complaint where client = $1",
        "delete from exposure where client = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    tx.audit("erase clearance records", client, "all").await
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables of this part that have a column of the client, by the migration.
    fn tables_of_a_client() -> Vec<&'static str> {
        let text = include_str!("../../migrations/0010_clearance.sql");
        let mut table = "";
        let mut found = Vec::new();
        for line in text.lines() {
            if let Some(name) = line.strip_prefix("create table ") {
                table = name.trim_end_matches(" (");
            }
            if line.starts_with("  client text") {
                found.push(table);
            }
        }
        found
    }

    #[test]
    fn every_table_with_a_client_moves_with_her() {
        let tables = tables_of_a_client();
        assert_eq!(tables.len(), MOVES.len());
        for table in tables {
            assert!(MOVES.iter().any(|text| text.starts_with(&format!("update {table} set client"))), "{table}");
        }
    }

    #[test]
    fn every_sealed_column_is_sealed_anew_when_she_moves() {
        let text = include_str!("../../migrations/0010_clearance.sql");
        let sealed = text.lines().filter(|line| line.starts_with("  ") && line.contains(" bytea")).count();
        assert_eq!(sealed, SEALED.len());
    }
}
