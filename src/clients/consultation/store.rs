//! SQL of consultations, of "anything changed?" and of medical advice.

use std::collections::BTreeMap;

use sqlx::Row;

use super::{AdviceGiven, GivenBy, HealthAnswers, LeadTo, SealedAnswers};
use crate::base::ids::{ClientId, ConsultationId, CopyId, MedicalAdviceId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, many, sealed};

/// Where a consultation's answers are sealed.
pub(in crate::clients) fn answers_place(id: ConsultationId) -> String {
    format!("consultation.answers.{id}")
}

/// Where a doctor's answer is sealed.
pub(in crate::clients) fn advice_place(id: MedicalAdviceId) -> String {
    format!("medical_advice.advice.{id}")
}

/// A consultation without what was said.
#[derive(Debug, Clone)]
pub(in crate::clients) struct Consultation {
    pub(in crate::clients) id: ConsultationId,
    pub(in crate::clients) client: ClientId,
    pub(in crate::clients) version: i64,
    pub(in crate::clients) at: Instant,
    pub(in crate::clients) given_by: GivenBy,
    pub(in crate::clients) taken_by: PersonId,
}

/// Keeps a consultation, its answers sealed.
pub(in crate::clients) async fn add(
    tx: &mut Tx,
    keys: &Keys,
    consultation: &Consultation,
    answers: &SealedAnswers,
) -> Result<(), Problem> {
    let plain = serde_json::to_vec(answers).map_err(Problem::broken)?;
    let (client, id) = (consultation.client, consultation.id);
    // Answers that waited on a device may come behind newer ones: they follow what was said before them.
    let all = of_client(tx.db(), client).await?;
    let (newer, older) = all.split_at(all.partition_point(|own| own.at > consultation.at));
    let differs = match older.first() {
        None => false,
        Some(before) => differ(tx.db(), keys, before, answers).await?.unwrap_or(false),
    };
    let sealed = sealed::seal(tx.db(), keys, client, &answers_place(id), &plain).await?;
    sqlx::query(
        "insert into consultation (id, client, version, at, given_by, taken_by, answers, differs) values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(consultation.version)
    .bind(consultation.at.0)
    .bind(consultation.given_by.word())
    .bind(consultation.taken_by.to_string())
    .bind(sealed)
    .bind(i64::from(differs))
    .execute(tx.db())
    .await?;
    match newer.last() {
        // She answered anew: what counted beside the newest answers does no more.
        None => {
            let text = "delete from consultation_beside where client = $1";
            sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
        }
        Some(next) => stand_behind(tx, keys, consultation, answers, next).await?,
    }
    tx.raise(crate::clients::DOOR);
    tx.audit("add consultation", client, &id.to_string()).await
}

/// Whether the answers of a consultation lead to something else than these; `None` where they are dark and say nothing.
async fn differ(
    db: &mut Db,
    keys: &Keys,
    other: &Consultation,
    answers: &SealedAnswers,
) -> Result<Option<bool>, Problem> {
    let said = self::answers(db, keys, other.client, other.id).await?;
    Ok(said.map(|said| said.leads_to() != answers.leads_to()))
}

/// Answers that came behind newer ones: the next newer follow them from now on, and what stands against a treatment in them counts
/// beside the newest until she answers anew. Nobody has looked at it yet, and the clock that put it behind may be wrong.
async fn stand_behind(
    tx: &mut Tx,
    keys: &Keys,
    consultation: &Consultation,
    answers: &SealedAnswers,
    next: &Consultation,
) -> Result<(), Problem> {
    if let Some(differs) = differ(tx.db(), keys, next, answers).await? {
        let text = "update consultation set differs = $1 where id = $2";
        sqlx::query(text).bind(i64::from(differs)).bind(next.id.to_string()).execute(tx.db()).await?;
    }
    if answers.stand_against() {
        sqlx::query("insert into consultation_beside (client, consultation) values ($1, $2)")
            .bind(consultation.client.to_string())
            .bind(consultation.id.to_string())
            .execute(tx.db())
            .await?;
    }
    Ok(())
}

/// A client's consultations, newest first.
pub(in crate::clients) async fn of_client(db: &mut Db, client: ClientId) -> Result<Vec<Consultation>, Problem> {
    let rows = sqlx::query(
        "select id, client, version, at, given_by, taken_by from consultation where client = $1 order by at desc, id desc",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

fn read(row: &sqlx::any::AnyRow) -> Result<Consultation, Problem> {
    Ok(Consultation {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        client: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        version: row.get(2),
        at: Instant(row.get(3)),
        given_by: GivenBy::from_word(&row.get::<String, _>(4))
            .ok_or_else(|| Problem::broken("a consultation given by nobody we know"))?,
        taken_by: row.get::<String, _>(5).parse().map_err(Problem::broken)?,
    })
}

/// What was said in one consultation of this client; `None` where her key was destroyed.
pub(in crate::clients) async fn answers(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    id: ConsultationId,
) -> Result<Option<SealedAnswers>, Problem> {
    let row = sqlx::query("select answers from consultation where id = $1 and client = $2")
        .bind(id.to_string())
        .bind(client.to_string())
        .fetch_optional(&mut *db)
        .await?
        .ok_or(Problem::NotHere("consultation"))?;
    let opened = sealed::open(db, keys, client, &answers_place(id), &row.get::<Vec<u8>, _>(0)).await?;
    opened.map(|plain| serde_json::from_slice(&plain).map_err(Problem::broken)).transpose()
}

/// Keeps what she said when asked, at this instant, whether anything has changed.
pub(in crate::clients) async fn asked(
    tx: &mut Tx,
    client: ClientId,
    by: PersonId,
    changed: Changed,
    at: Instant,
) -> Result<(), Problem> {
    sqlx::query("insert into consultation_asked (id, client, at, asked_by, changed) values ($1, $2, $3, $4, $5)")
        .bind(CopyId::new().to_string())
        .bind(client.to_string())
        .bind(at.0)
        .bind(by.to_string())
        .bind(i64::from(changed == Changed::Something))
        .execute(tx.db())
        .await?;
    // Not even whether something changed: that, too, is about her health.
    tx.raise(crate::clients::DOOR);
    tx.audit("ask whether anything changed", client, "").await
}

/// The answer to "anything changed?".
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::clients) enum Changed {
    /// Something has.
    Something,
    /// Nothing has.
    Nothing,
}

/// Keeps what a doctor answered to a consultation of this client, sealed.
pub(in crate::clients) async fn add_advice(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    consultation: ConsultationId,
    by: PersonId,
    advice: &AdviceGiven,
) -> Result<(), Problem> {
    let (id, now) = (MedicalAdviceId::new(), tx.now.0);
    let plain = serde_json::to_vec(advice).map_err(Problem::broken)?;
    let sealed = sealed::seal(tx.db(), keys, client, &advice_place(id), &plain).await?;
    sqlx::query(
        "insert into medical_advice (id, client, consultation, at, taken_by, advice) values ($1, $2, $3, $4, $5, $6)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(consultation.to_string())
    .bind(now.0)
    .bind(by.to_string())
    .bind(sealed)
    .execute(tx.db())
    .await?;
    tx.raise(crate::clients::DOOR);
    tx.audit("add medical advice", client, &id.to_string()).await
}

/// A doctor's answer with when it was entered and by whom; dark ones are left out.
pub(in crate::clients) async fn advice_of(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    consultation: ConsultationId,
) -> Result<Vec<(Instant, PersonId, AdviceGiven)>, Problem> {
    let rows = sqlx::query(
        "select id, at, taken_by, advice from medical_advice where consultation = $1 and client = $2 order by at desc, id desc",
    )
    .bind(consultation.to_string())
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    let Some(key) = sealed::key_of(db, keys, client).await? else { return Ok(Vec::new()) };
    rows.iter()
        .map(|row| {
            let id: MedicalAdviceId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            let plain = key.open(&advice_place(id), &row.get::<Vec<u8>, _>(3))?;
            let by = row.get::<String, _>(2).parse().map_err(Problem::broken)?;
            Ok((Instant(row.get(1)), by, serde_json::from_slice(&plain).map_err(Problem::broken)?))
        })
        .collect()
}

/// The newest answers of several clients, sorted by what they lead to; without what the clock says of them.
pub(super) async fn newest_of(
    db: &mut Db,
    keys: &Keys,
    clients: &[ClientId],
) -> Result<BTreeMap<ClientId, HealthAnswers>, Problem> {
    let opened = sealed::keys_of(db, keys, clients).await?;
    let mut all: BTreeMap<ClientId, HealthAnswers> = BTreeMap::new();
    let ids = many(clients);
    let newest = sqlx::query(among!(
        "select c.client, c.id, c.at, c.answers from consultation c",
        "c.client",
        "and not exists (select 1 from consultation n where n.client = c.client and (n.at > c.at or (n.at = c.at and n.id > c.id)))"
    ));
    for row in newest.bind(&ids).fetch_all(&mut *db).await? {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let id: ConsultationId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        // Without her key nothing can be said of her answers: as if she had given none.
        let Some(key) = opened.get(&client) else { continue };
        let plain = key.open(&answers_place(id), &row.get::<Vec<u8>, _>(3))?;
        let answers: LeadTo<'_> = serde_json::from_slice(&plain).map_err(Problem::broken)?;
        let health = all.entry(client).or_default();
        health.consultation = Some(id);
        health.answered = Some(Instant(row.get(2)));
        health.sort_sealed(&answers);
    }
    let mut beside_since: BTreeMap<ClientId, ConsultationId> = BTreeMap::new();
    let beside = sqlx::query(among!(
        "select b.client, c.id, c.answers from consultation_beside b join consultation c on c.id = b.consultation",
        "b.client",
        ""
    ));
    for row in beside.bind(&ids).fetch_all(&mut *db).await? {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let id: ConsultationId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        let (Some(key), Some(health)) = (opened.get(&client), all.get_mut(&client)) else { continue };
        if health.consultation != Some(id) {
            let plain = key.open(&answers_place(id), &row.get::<Vec<u8>, _>(2))?;
            let answers: LeadTo<'_> = serde_json::from_slice(&plain).map_err(Problem::broken)?;
            if answers.advice_first() {
                let since = beside_since.entry(client).or_insert(id);
                *since = id.max(*since);
            }
            health.sort_sealed(&answers);
        }
    }
    let advice = sqlx::query(among!(
        "select m.client, m.id, m.consultation, m.advice from medical_advice m",
        "m.client",
        "order by m.at, m.id"
    ));
    for row in advice.bind(&ids).fetch_all(&mut *db).await? {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let id: MedicalAdviceId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        let about: ConsultationId = row.get::<String, _>(2).parse().map_err(Problem::broken)?;
        // A doctor knew nothing of answers that came in after the letter; ids made later sort later.
        if beside_since.get(&client).is_some_and(|since| since.to_string() > id.to_string()) {
            continue;
        }
        let (Some(key), Some(health)) = (opened.get(&client), all.get_mut(&client)) else { continue };
        if health.consultation == Some(about) {
            let plain = key.open(&advice_place(id), &row.get::<Vec<u8>, _>(3))?;
            health.advice = Some(serde_json::from_slice(&plain).map_err(Problem::broken)?);
        }
    }
    let asked = sqlx::query(among!(
        "select a.client, a.changed, max(a.at) from consultation_asked a",
        "a.client",
        "group by a.client, a.changed"
    ));
    for row in asked.bind(&ids).fetch_all(&mut *db).await? {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let (changed, at) = (row.get::<i64, _>(1) == 1, Instant(row.get(2)));
        let health = all.entry(client).or_default();
        health.last_asked = health.last_asked.max(Some(at));
        if changed {
            health.changed = Some(at);
        }
    }
    Ok(all)
}
