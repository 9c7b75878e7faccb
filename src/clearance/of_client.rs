//! What this part keeps of one client: her file, and the move of her history to another record of hers. What goes when she asks for erasure
//! stands in `erasure.rs`.

use std::collections::HashMap;

use sqlx::Row;

use super::decided::shown;
use super::doctor_store::{DECISIONS, complaints_of, decisions_of, findings_of, statements_of};
use super::facts_store::{ShelfProduct, products};
use super::lot_store::{Exposure, exposures_of, stops_told};
use super::reaction::{EYES, LOOK_BACK, SEVERITIES, SYMPTOMS, WHOM, words_of as words_in};
use super::reaction_store::{details, follow_up_words, follow_ups_of, reactions_of, told};
use super::test_store::{Meeting, Met, looks, site_of, tests_of};
use super::visit_store::visits_of;
use crate::adhesives;
use crate::adhesives::lots::CorrectedLots;
use crate::base::ids::{ClientId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clients::file::{FilePart, FileRecord, FileValue};
use crate::store::keys::Keys;
use crate::store::{Db, Tx, sealed};
use crate::web::studio::Studio;

fn part(heading: &str, mut records: Vec<FileRecord>) -> FilePart {
    // The stores give the newest first, a file the oldest.
    records.reverse();
    FilePart::new(heading, records)
}

/// Products by name, for a file that is read without the shelf, and what was put right of their lots.
struct Shelf {
    products: HashMap<ProductId, ShelfProduct>,
    corrected: HashMap<ProductId, CorrectedLots>,
    /// What she met, newest first.
    met: Vec<Exposure>,
}

impl Shelf {
    async fn load(db: &mut Db, client: ClientId) -> Result<Self, Problem> {
        let products = products(db).await?;
        let mut corrected = HashMap::new();
        for product in products.keys() {
            corrected.insert(*product, adhesives::corrected_lots(db, *product).await?);
        }
        let met = exposures_of(db, client, Instant(i64::MIN), Instant(i64::MAX)).await?;
        Ok(Self { products, corrected, met })
    }

    /// As it was written down.
    fn written(&self, met: &Met) -> String {
        let name = self.products.get(&met.product).map_or("an adhesive", |product| product.name.as_str());
        if met.lot.is_empty() { name.to_owned() } else { format!("{name}, lot {}", met.lot) }
    }

    /// As it was written down at an instant, and what the lot was put right to since.
    fn met(&self, met: &Met, at: Instant) -> FileValue {
        let bottles = self.corrected.get(&met.product).map(|lots| lots.became(&met.lot, at)).unwrap_or_default();
        let mut words = vec![FileValue::from(self.written(met))];
        for (place, steps) in bottles.into_iter().enumerate() {
            words.push(if place == 0 { " as written down, put right" } else { "; another bottle put right" }.into());
            for (place, (lot, when)) in steps.into_iter().enumerate() {
                let then = if place == 0 { " to" } else { ", to" };
                let lot = if lot.is_empty() { "none printed" } else { lot };
                words.extend([format!("{then} {lot} on ").into(), when.into()]);
            }
        }
        match words.len() {
            1 => words.remove(0),
            _ => words.into(),
        }
    }

    /// As [`Shelf::met`], of something met in the eight weeks before an instant: since the earliest meeting with it, which may have been
    /// with any of its bottles.
    fn met_before(&self, met: &Met, before: Instant) -> FileValue {
        let span = before.plus(-LOOK_BACK)..=before;
        let first = self.met.iter().rfind(|own| own.met == *met && span.contains(&own.at)).map(|own| own.at);
        first.map_or_else(|| self.written(met).into(), |at| self.met(met, at))
    }
}

/// Everything this part keeps of a client, opened, instants in UTC. Whoever asks for it writes the audit row.
///
/// # Errors
/// When the database cannot be read, or something sealed was changed.
pub async fn client_file(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FilePart>, Problem> {
    let shelf = Shelf::load(db, client).await?;
    let mut parts = vec![
        part("Patch tests", tests(db, keys, &shelf, client).await?),
        part("Reactions", reactions(db, keys, &shelf, client).await?),
    ];
    parts.extend(doctors_and_decisions(db, keys, &shelf, client).await?);
    let met = shelf.met.iter().map(|met| {
        let words = if met.kind == Meeting::Test.word() { "patch test" } else { "treatment" };
        let words = if met.kind == Meeting::Removal.word() { "removal" } else { words };
        let how = FileValue::Code(met.kind.clone(), words);
        FileRecord::new("Met", [("at", met.at.into()), ("in a", how), ("what", shelf.met(&met.met, met.at))])
    });
    parts.push(part("Products and lots", met.collect()));
    let told = stops_told(db, client).await?;
    let told = told.iter();
    let told =
        told.map(|(met, at)| FileRecord::new("Told", [("at", (*at).into()), ("stopped", shelf.written(met).into())]));
    parts.push(part("Stops she was told of", told.collect()));
    let visits = visits_of(db, client, Instant(i64::MIN)).await?;
    let visits = visits.iter().rev().map(|visit| {
        let what = FileValue::Code(visit.kind.word().to_owned(), visit.kind.words());
        FileRecord::new("Expected", [("at", visit.at.into()), ("for", what)])
    });
    parts.push(part("Expected visits", visits.collect()));
    Ok(parts)
}

async fn tests(db: &mut Db, keys: &Keys, shelf: &Shelf, client: ClientId) -> Result<Vec<FileRecord>, Problem> {
    let mut records = Vec::new();
    for test in tests_of(db, client).await? {
        let liquids = test.liquids.iter().map(|wet| wet.word().into());
        let with = test.products.iter().map(|met| shelf.met(met, test.placed)).chain(liquids);
        let mut fields = vec![
            ("at", FileValue::from(test.placed)),
            ("how", test.method.words().into()),
            ("where", site_of(db, keys, &test).await?.into()),
            ("number", test.number_placed.to_string().into()),
            ("with", FileValue::joined(with, "; ")),
            ("result", test.result.word().into()),
        ];
        for look in looks(db, keys, &test).await? {
            let seen = format!(": {}. {}", look.result.word(), look.words);
            fields.push(("looked at", vec![look.at.into(), seen.into()].into()));
        }
        records.push(FileRecord::new("Patch test", fields));
    }
    Ok(records)
}

async fn reactions(db: &mut Db, keys: &Keys, shelf: &Shelf, client: ClientId) -> Result<Vec<FileRecord>, Problem> {
    let mut records = Vec::new();
    for reaction in reactions_of(db, client).await? {
        let liquids = reaction.liquids.iter().map(|wet| wet.word().into());
        let met = reaction.products.iter().map(|met| shelf.met_before(met, reaction.noticed)).chain(liquids);
        let mut fields = vec![
            ("noticed", FileValue::from(reaction.noticed)),
            ("last meeting before it", reaction.exposed.into()),
            ("products and lots", FileValue::joined(met, "; ")),
            ("over", reaction.closed.into()),
        ];
        if let Some(kept) = details(db, keys, &reaction).await? {
            let symptoms: Vec<&str> = SYMPTOMS
                .iter()
                .filter(|(key, ..)| kept.symptoms.iter().any(|own| own == key))
                .map(|(_, words, _)| *words)
                .collect();
            fields.extend([
                ("what", symptoms.join(", ").into()),
                ("where", words_in(&EYES, &kept.eyes).into()),
                ("how bad", words_in(&SEVERITIES, &kept.severity).into()),
                ("in words", kept.words.into()),
                ("first aid", kept.first_aid.into()),
                ("liquids", kept.liquids.into()),
            ]);
        }
        for look in follow_ups_of(db, reaction.id).await? {
            let words = follow_up_words(db, keys, &look).await?;
            let done = FileValue::from(look.done);
            let again = vec!["due ".into(), look.due.into(), ", done ".into(), done, format!(": {words}").into()];
            fields.push(("looked at again", again.into()));
        }
        for (whom, at) in told(db, &reaction.id.to_string()).await? {
            fields.push(("told", vec![at.into(), format!(" {}", words_in(&WHOM, &whom)).into()].into()));
        }
        records.push(FileRecord::new("Reaction", fields));
    }
    Ok(records)
}

async fn doctors_and_decisions(
    db: &mut Db,
    keys: &Keys,
    shelf: &Shelf,
    client: ClientId,
) -> Result<Vec<FilePart>, Problem> {
    let findings = findings_of(db, keys, client).await?.into_iter().map(|own| {
        let day = own.day.map(|day| day.to_string()).unwrap_or_default();
        let fields =
            [("at", own.at.into()), ("grade", own.grade.into()), ("day", day.into()), ("in words", own.words.into())];
        FileRecord::new("Finding", fields)
    });
    let findings = findings.collect();
    let statements = statements_of(db, keys, client).await?.into_iter().map(|own| {
        let family = own.family.words().into();
        let fields = [("written", own.written.into()), ("may have again", family), ("in words", own.words.into())];
        FileRecord::new("Statement", fields)
    });
    let statements = statements.collect();
    let decisions = decisions_of(db, keys, client).await?.into_iter().map(|own| {
        let span = vec![own.from.into(), " to ".into(), own.until.into()].into();
        let fields =
            [("at", own.at.into()), ("over", own.of.word().into()), ("for", span), ("reason", own.reason.into())];
        FileRecord::new("Decision", fields)
    });
    let decisions = decisions.collect();
    let studio = Studio::load(db).await?;
    let complaints = complaints_of(db, keys, client).await?.into_iter().map(|own| {
        let refund =
            own.refund_minor.map(|minor| format!("{} {}", shown(minor, &studio), studio.currency)).unwrap_or_default();
        let decided = words_in(&DECISIONS, &own.decision).into();
        let met = own.product.map(|product| shelf.met_before(&Met { product, lot: own.lot }, own.at));
        let fields = [
            ("at", own.at.into()),
            ("what", own.what.into()),
            ("adhesive and lot", met.into()),
            ("card", FileValue::for_programs(own.card)),
            ("decided", decided),
            ("a fix at no charge until", own.fix_until.into()),
            ("fixed", own.fixed.into()),
            ("given back", refund.into()),
        ];
        FileRecord::new("Complaint", fields)
    });
    let complaints = complaints.collect();
    Ok(vec![
        part("Doctors’ findings", findings),
        part("Doctors’ statements", statements),
        part("Decisions to go on", decisions),
        part("Complaints", complaints),
    ])
}

/// Sealed columns of this part: the statement that reads them, the one that writes them, and the name of their place.
const SEALED: [(&str, &str, &str); 8] = [
    (
        "select id, site from patch_test where client = $1",
        "update patch_test set site = $1 where id = $2",
        "patch_test.site",
    ),
    (
        "select id, words from patch_test_look where client = $1",
        "update patch_test_look set words = $1 where id = $2",
        "patch_test_look.words",
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

/// The tables of this part that name a client, for the list of privacy.
pub const TABLES: &[&str] = &[
    "expected_visit",
    "patch_test",
    "patch_test_look",
    "doctor_finding",
    "doctor_statement",
    "clearance_override",
    "reaction",
    "follow_up",
    "exposure",
    "told_client",
    "complaint",
];

/// Tables whose rows belong to a client, each with the statement that moves them.
const MOVES: [&str; 11] = [
    "update patch_test set client = $1 where client = $2",
    "update patch_test_look set client = $1 where client = $2",
    "update doctor_finding set client = $1 where client = $2",
    "update doctor_statement set client = $1 where client = $2",
    "update clearance_override set client = $1 where client = $2",
    "update reaction set client = $1 where client = $2",
    "update follow_up set client = $1 where client = $2",
    "update complaint set client = $1 where client = $2",
    "update exposure set client = $1 where client = $2",
    "update told_client set client = $1 where client = $2",
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
    tx.raise(super::DOOR);
    tx.audit("move clearance records", into, &from.to_string()).await
}

/// When a client last met an adhesive here: in a test or a treatment. `None` where nothing is recorded.
///
/// # Errors
/// When the database cannot be read.
pub async fn last_met(db: &mut Db, client: ClientId) -> Result<Option<Instant>, Problem> {
    let mut newest = None;
    for text in [
        "select max(placed) from patch_test where client = $1 and struck is null",
        "select max(at) from exposure where client = $1",
    ] {
        let row = sqlx::query(text).bind(client.to_string()).fetch_one(&mut *db).await?;
        newest = newest.max(row.get::<Option<i64>, _>(0).map(Instant));
    }
    Ok(newest)
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
        assert_eq!(tables, TABLES);
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
