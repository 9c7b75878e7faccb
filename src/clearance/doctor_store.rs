//! SQL of what doctors found and wrote, of decisions over validity and gap, and of complaints.

use sqlx::Row;

use super::bound;
use super::facts::Overridable;
use super::sealing::{open_words, seal_words};
use super::seen::still_here;
use crate::adhesives::Family;
use crate::base::ids::{ClientId, ComplaintId, DoctorNoteId, OverrideId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls, sealed};

/// A doctor's finding, typed in from a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Finding {
    /// When it was read.
    pub(super) at: Instant,
    /// The sign of the scale.
    pub(super) grade: String,
    /// Days after the patches were put on.
    pub(super) day: Option<u32>,
    /// To what, by whom.
    pub(super) words: String,
}

/// Keeps a doctor's finding.
pub(super) async fn add_finding(tx: &mut Tx, keys: &Keys, client: ClientId, finding: &Finding) -> Result<(), Problem> {
    still_here(tx, client, false).await?;
    let (now, by, id) = (tx.now.0, tx.actor.mark(), DoctorNoteId::new());
    let words = seal_words(tx.db(), keys, client, &format!("doctor_finding.words.{id}"), &finding.words).await?;
    query_with_nulls(
        "insert into doctor_finding (id, client, at, grade, day, words, entered, entered_by) values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(finding.at.0)
    .bind(&finding.grade)
    .bind(finding.day.map(i64::from))
    .bind(words)
    .bind(now.0)
    .bind(&by)
    .execute(tx.db())
    .await?;
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::FINDING, id).await
}

/// A client's findings, newest first.
pub(super) async fn findings_of(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<Finding>, Problem> {
    let rows =
        sqlx::query("select id, at, grade, day, words from doctor_finding where client = $1 order by at desc, id desc")
            .bind(client.to_string())
            .fetch_all(&mut *db)
            .await?;
    let mut findings = Vec::new();
    for row in &rows {
        let place = format!("doctor_finding.words.{}", row.get::<String, _>(0));
        findings.push(Finding {
            at: Instant(row.get(1)),
            grade: row.get(2),
            day: row.get::<Option<i64>, _>(3).and_then(|day| u32::try_from(day).ok()),
            words: open_words(db, keys, client, &place, row.get(4)).await?,
        });
    }
    Ok(findings)
}

/// A doctor's statement as it is kept: she may have this family again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Written {
    /// The family.
    pub(super) family: Family,
    /// When it was written.
    pub(super) written: Instant,
    /// Who wrote what.
    pub(super) words: String,
}

/// Keeps a doctor's statement.
pub(super) async fn add_statement(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    written: &Written,
) -> Result<(), Problem> {
    still_here(tx, client, false).await?;
    let (now, by, id) = (tx.now.0, tx.actor.mark(), DoctorNoteId::new());
    let words = seal_words(tx.db(), keys, client, &format!("doctor_statement.words.{id}"), &written.words).await?;
    query_with_nulls(
        "insert into doctor_statement (id, client, family, written, words, entered, entered_by) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(written.family.key())
    .bind(written.written.0)
    .bind(words)
    .bind(now.0)
    .bind(&by)
    .execute(tx.db())
    .await?;
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::STATEMENT, id).await
}

/// A client's statements, newest first.
pub(super) async fn statements_of(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<Written>, Problem> {
    let rows = sqlx::query(
        "select id, family, written, words from doctor_statement where client = $1 order by written desc, id desc",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut statements = Vec::new();
    for row in &rows {
        let place = format!("doctor_statement.words.{}", row.get::<String, _>(0));
        statements.push(Written {
            family: super::facts_store::family(&row.get::<String, _>(1))?,
            written: Instant(row.get(2)),
            words: open_words(db, keys, client, &place, row.get(3)).await?,
        });
    }
    Ok(statements)
}

/// A decision to go on although validity or gap is over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Decision {
    /// Over what.
    pub(super) of: Overridable,
    /// For treatments from then.
    pub(super) from: Instant,
    /// Until then, not included.
    pub(super) until: Instant,
    /// The written reason.
    pub(super) reason: String,
    /// Who decided: an actor's mark.
    pub(super) by: String,
    /// When.
    pub(super) at: Instant,
}

/// Keeps a decision.
pub(super) async fn add_decision(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    decision: &Decision,
) -> Result<(), Problem> {
    still_here(tx, client, true).await?;
    let (now, by, id) = (tx.now.0, tx.actor.mark(), OverrideId::new());
    let place = format!("clearance_override.reason.{id}");
    let reason = sealed::seal(tx.db(), keys, client, &place, decision.reason.as_bytes()).await?;
    sqlx::query(
        "insert into clearance_override (id, client, of_rule, from_at, until, reason, by_person, at) values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(decision.of.word())
    .bind(decision.from.0)
    .bind(decision.until.0)
    .bind(reason)
    .bind(&by)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::DECISION, id).await
}

/// A client's decisions, newest first.
pub(super) async fn decisions_of(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<Decision>, Problem> {
    let rows = sqlx::query(
        "select id, of_rule, from_at, until, reason, by_person, at from clearance_override where client = $1 order by at desc, id desc",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut decisions = Vec::new();
    for row in &rows {
        let place = format!("clearance_override.reason.{}", row.get::<String, _>(0));
        decisions.push(Decision {
            of: Overridable::from_word(&row.get::<String, _>(1))
                .ok_or_else(|| Problem::broken("a decision over no rule of ours"))?,
            from: Instant(row.get(2)),
            until: Instant(row.get(3)),
            reason: open_words(db, keys, client, &place, Some(row.get(4))).await?,
            by: row.get(5),
            at: Instant(row.get(6)),
        });
    }
    Ok(decisions)
}

/// What was decided on a complaint: key and words.
pub(super) const DECISIONS: [(&str, &str); 5] = [
    ("open", "not decided yet"),
    ("fix", "a fix at no charge"),
    ("refund", "a refund"),
    ("explained", "explained, nothing to put right"),
    ("refused", "refused"),
];

/// A complaint.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Complaint {
    /// Its id.
    pub(super) id: ComplaintId,
    /// Whose.
    pub(super) client: ClientId,
    /// When she complained.
    pub(super) at: Instant,
    /// What about.
    pub(super) what: String,
    /// With which adhesive.
    pub(super) product: Option<ProductId>,
    /// And lot.
    pub(super) lot: String,
    /// The card it is about; empty without one.
    pub(super) card: String,
    /// A key of [`DECISIONS`].
    pub(super) decision: String,
    /// A fix at no charge until then.
    pub(super) fix_until: Option<Instant>,
    /// When it was put right.
    pub(super) fixed: Option<Instant>,
    /// Given back, in minor units.
    pub(super) refund_minor: Option<i64>,
}

/// Keeps a complaint.
pub(super) async fn add_complaint(tx: &mut Tx, keys: &Keys, complaint: &Complaint) -> Result<(), Problem> {
    still_here(tx, complaint.client, false).await?;
    let (now, by) = (tx.now.0, tx.actor.mark());
    let place = format!("complaint.what.{}", complaint.id);
    let what = sealed::seal(tx.db(), keys, complaint.client, &place, complaint.what.as_bytes()).await?;
    query_with_nulls(
        "insert into complaint (id, client, at, what, product, lot, card, decision, fix_until, fixed, refund_minor, entered, entered_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
    )
    .bind(complaint.id.to_string())
    .bind(complaint.client.to_string())
    .bind(complaint.at.0)
    .bind(what)
    .bind(complaint.product.map(|product| product.to_string()))
    .bind(&complaint.lot)
    .bind(&complaint.card)
    .bind(&complaint.decision)
    .bind(complaint.fix_until.map(|until| until.0))
    .bind(complaint.fixed.map(|fixed| fixed.0))
    .bind(complaint.refund_minor)
    .bind(now.0)
    .bind(by)
    .execute(tx.db())
    .await?;
    bound::bind(tx, keys, &bound::COMPLAINT, complaint.id).await?;
    if !complaint.card.is_empty() {
        tx.audit(bound::TIED, complaint.id, &complaint.card).await?;
    }
    if complaint.decision == "open" { Ok(()) } else { tell_decision(tx, keys, complaint).await }
}

/// Tells the chain what is decided, as a digest.
async fn tell_decision(tx: &mut Tx, keys: &Keys, complaint: &Complaint) -> Result<(), Problem> {
    let instants = [complaint.fix_until, complaint.fixed];
    let id = complaint.id.to_string();
    let decided = bound::decision(keys, &id, &complaint.decision, instants, complaint.refund_minor);
    tx.audit(bound::DECIDED, id, &decided).await
}

/// Keeps what was decided, once `still_stands` has looked.
pub(super) async fn decide_complaint(tx: &mut Tx, keys: &Keys, complaint: &Complaint) -> Result<(), Problem> {
    let done = query_with_nulls(
        "update complaint set decision = $1, fix_until = $2, fixed = $3, refund_minor = $4 where id = $5 and client = $6",
    )
        .bind(&complaint.decision)
        .bind(complaint.fix_until.map(|until| until.0))
        .bind(complaint.fixed.map(|fixed| fixed.0))
        .bind(complaint.refund_minor)
        .bind(complaint.id.to_string())
        .bind(complaint.client.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("complaint"));
    }
    tell_decision(tx, keys, complaint).await
}

/// A complaint as a card names it: when, and what was decided. Nothing of what she said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ComplaintBrief {
    /// Its id.
    pub id: ComplaintId,
    /// When she complained.
    pub at: Instant,
    /// What was decided, in words.
    pub decided: &'static str,
    /// The card it is about; empty while it is tied to none.
    pub card: String,
}

/// A client's complaints in brief, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn complaints_in_brief(db: &mut Db, client: ClientId) -> Result<Vec<ComplaintBrief>, Problem> {
    let rows = sqlx::query("select id, at, decision, card from complaint where client = $1 order by at desc, id desc")
        .bind(client.to_string())
        .fetch_all(db)
        .await?;
    rows.iter()
        .map(|row| {
            Ok(ComplaintBrief {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                at: Instant(row.get(1)),
                decided: super::reaction::words_of(&DECISIONS, &row.get::<String, _>(2)),
                card: row.get(3),
            })
        })
        .collect()
}

/// Whether amounts given back are kept: minor units of the studio's currency, which does not stand beside them.
///
/// # Errors
/// When the database cannot be read.
pub async fn keeps_amounts(db: &mut Db) -> Result<bool, Problem> {
    let row = sqlx::query("select id from complaint where refund_minor is not null limit 1").fetch_optional(db).await?;
    Ok(row.is_some())
}

/// Says which card a complaint is about.
///
/// # Errors
/// [`Problem::NotHere`] without such a complaint of this client; when the database refuses it.
pub async fn tie_complaint(tx: &mut Tx, client: ClientId, id: ComplaintId, card: &str) -> Result<(), Problem> {
    let done = sqlx::query("update complaint set card = $1 where id = $2 and client = $3")
        .bind(card)
        .bind(id.to_string())
        .bind(client.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("complaint"));
    }
    tx.audit(bound::TIED, id, card).await
}

/// One complaint.
pub(super) async fn complaint(db: &mut Db, keys: &Keys, id: ComplaintId) -> Result<Option<Complaint>, Problem> {
    let row = sqlx::query(
        "select id, client, at, what, product, lot, card, decision, fix_until, fixed, refund_minor from complaint where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(&mut *db)
    .await?;
    match row {
        Some(row) => read_complaint(db, keys, &row).await.map(Some),
        None => Ok(None),
    }
}

/// A client's complaints, newest first.
pub(super) async fn complaints_of(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<Complaint>, Problem> {
    let rows = sqlx::query(
        "select id, client, at, what, product, lot, card, decision, fix_until, fixed, refund_minor from complaint
         where client = $1 order by at desc, id desc",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut complaints = Vec::new();
    for row in &rows {
        complaints.push(read_complaint(db, keys, row).await?);
    }
    Ok(complaints)
}

async fn read_complaint(db: &mut Db, keys: &Keys, row: &sqlx::any::AnyRow) -> Result<Complaint, Problem> {
    let id: ComplaintId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    let client: ClientId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
    let what = open_words(db, keys, client, &format!("complaint.what.{id}"), Some(row.get(3))).await?;
    Ok(Complaint {
        id,
        client,
        at: Instant(row.get(2)),
        what,
        product: row.get::<Option<String>, _>(4).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
        lot: row.get(5),
        card: row.get(6),
        decision: row.get(7),
        fix_until: row.get::<Option<i64>, _>(8).map(Instant),
        fixed: row.get::<Option<i64>, _>(9).map(Instant),
        refund_minor: row.get(10),
    })
}
