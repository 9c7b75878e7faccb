//! SQL of what this part keeps of a client: read out whole, moved to another record, erased.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use sqlx::Row;

use super::consents::{self, given::Signed};
use super::consultation::store as consultations;
use super::file::{FilePart, FileRecord, FileValue};
use super::rights::{Erasing, Stays};
use super::{Client, Keeper, handed, photos, store};
use crate::base::ids::{ClientId, ConsentId, ConsultationId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, many, query_with_nulls, sealed};
use crate::web::studio::Studio;

/// The records that belong to a client: her own, and those that were put together into it.
async fn hers(db: &mut Db, client: ClientId) -> Result<Vec<ClientId>, Problem> {
    let rows = sqlx::query("select id from client where id = $1 or merged_into = $1 order by id")
        .bind(client.to_string())
        .fetch_all(db)
        .await?;
    rows.iter().map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).collect()
}

pub(super) async fn file(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FilePart>, Problem> {
    let ids = hers(db, client).await?;
    let records = store::clients(db, &ids).await?;
    let about = records.iter().map(client_record).collect();
    let said = said(db, keys, client).await?;
    let signed = signed(db, keys, client).await?;
    let pictures = photos::store::file(db, client).await?;
    let mut parts =
        vec![FilePart::new("Record", about), FilePart::new("Consultations", said), FilePart::new("Consents", signed)];
    if !pictures.is_empty() {
        parts.push(FilePart::new("Photos", pictures));
    }
    Ok(parts)
}

fn client_record(client: &Client) -> FileRecord {
    let keeper = match client.keeper {
        Keeper::Studio => FileValue::from("studio"),
        Keeper::Artist(id) => FileValue::from(vec![FileValue::from("artist "), FileValue::Person(id)]),
    };
    let artists = client.artists.iter().map(|id| FileValue::Person(*id));
    FileRecord::new(
        if client.merged_into.is_some() { "Earlier record, put together with this one" } else { "Record" },
        vec![
            ("id", FileValue::for_programs(client.id)),
            ("name", client.name.clone().into()),
            ("phone", client.phone.clone().into()),
            ("email", client.email.clone().into()),
            ("born", client.born.into()),
            ("keeper", keeper),
            ("looked after by", FileValue::joined(artists, ", ")),
            ("notes", client.notes.clone().into()),
            ("begun", client.created.into()),
            ("restricted since", client.restricted.into()),
        ],
    )
}

/// Consultations with every answer, what doctors said, and when she was asked whether anything changed.
async fn said(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FileRecord>, Problem> {
    let mut records = Vec::new();
    let mut all = consultations::of_client(db, client).await?;
    all.reverse();
    for one in all {
        let mut fields = vec![
            ("at", one.at.into()),
            ("given by", FileValue::Code(one.given_by.word().to_owned(), one.given_by.words())),
            ("questions version", FileValue::for_programs(one.version)),
        ];
        if let Some(said) = consultations::answers(db, keys, client, one.id).await? {
            if !said.guardian.is_empty() {
                fields.push(("guardian", said.guardian.into()));
            }
            let mut answered = FileRecord::new("Consultation", fields);
            for answer in said.answers {
                let effect = answer.effect.words();
                answered.fields.push((answer.question, format!("{} ({effect})", answer.answer).into()));
            }
            records.push(answered);
        }
        for (at, _, advice) in consultations::advice_of(db, keys, client, one.id).await? {
            let may = if advice.may_be_treated { "may be treated" } else { "may not be treated now" };
            let fields = vec![
                ("entered", at.into()),
                ("from", advice.from.into()),
                ("dated", advice.dated.into()),
                ("words", advice.words.into()),
                ("means", may.into()),
            ];
            records.push(FileRecord::new("Medical advice", fields));
        }
    }
    let rows = sqlx::query("select at, changed from consultation_asked where client = $1 order by at, id")
        .bind(client.to_string())
        .fetch_all(db)
        .await?;
    for row in rows {
        let changed = if row.get::<i64, _>(1) == 1 { "something has changed" } else { "nothing has changed" };
        let fields = vec![("at", Instant(row.get(0)).into()), ("answer", changed.into())];
        records.push(FileRecord::new("Anything changed?", fields));
    }
    Ok(records)
}

async fn signed(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FileRecord>, Problem> {
    let mut records = Vec::new();
    let mut all = consents::store::of_client(db, client).await?;
    all.reverse();
    for consent in all {
        let Some(plain) = consents::store::signed(db, keys, &consent).await? else { continue };
        let signed: Signed = serde_json::from_slice(&plain).map_err(Problem::broken)?;
        let mut fields = vec![
            ("purpose", consent.purpose.words().into()),
            ("signed", consent.at.into()),
            ("withdrawn", consent.withdrawn.into()),
            ("wording version", FileValue::for_programs(consent.version)),
            ("wording", consent.body.clone().into()),
            ("wording SHA-256", FileValue::for_programs(&consent.text_hash)),
            ("digest", FileValue::for_programs(&consent.digest)),
            ("language", consent.language.clone().into()),
            ("name printed", signed.printed_name.into()),
            ("signature", FileValue::signature(&signed.mark)?),
            ("witness", signed.witness.into()),
            ("read or translated by", signed.reader.into()),
        ];
        if let Some(guardian) = signed.guardian {
            fields.push(("guardian", format!("{}, {}", guardian.name, guardian.relation).into()));
            fields.push(("guardian’s identity seen by", guardian.identity_seen_by.into()));
            fields.push(("guardian’s signature", FileValue::signature(&guardian.mark)?));
        }
        let copies = consents::store::copies(db, consent.id).await?;
        let copies = copies.iter().map(|(at, _, way)| FileValue::from(vec![format!("{way} ").into(), (*at).into()]));
        fields.push(("copies", FileValue::joined(copies, "; ")));
        let mut kept = FileRecord::new(format!("Consent to {}", consent.purpose.words()), fields);
        for answer in signed.answers {
            kept.fields.push((format!("answer then: {}", answer.question), answer.answer.into()));
        }
        records.push(kept);
    }
    Ok(records)
}

pub(super) async fn merge(tx: &mut Tx, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    let now = tx.now.0;
    let of_from = consultations::of_client(tx.db(), from).await?.first().map(|newest| newest.id);
    let of_into = consultations::of_client(tx.db(), into).await?.first().map(|newest| newest.id);
    let both_said = of_from.is_some() && of_into.is_some();
    seal_anew(tx.db(), keys, from, into).await?;
    // A form she is filling in under the record that goes has to be begun anew.
    handed::store::forget_of(tx, from).await?;
    for text in [
        "insert into consultation_beside (client, consultation) select $2, consultation from consultation_beside where client = $1 on conflict (client, consultation) do nothing",
        "update consultation_asked set client = $2 where client = $1",
        "update client set came_back = $2 where came_back = $1",
        "insert into client_word (client, word) select $2, word from client_word where client = $1 on conflict (client, word) do nothing",
        "insert into client_artist (client, person, since, until) select $2, person, since, until from client_artist where client = $1 on conflict (client, person) do nothing",
        "update client set merged_into = $2 where id = $1 or merged_into = $1",
    ] {
        sqlx::query(text).bind(from.to_string()).bind(into.to_string()).execute(tx.db()).await?;
    }
    for text in [
        "delete from consultation_beside where client = $1",
        "delete from client_word where client = $1",
        "delete from client_artist where client = $1",
        "delete from client_apart where client = $1 or other = $1",
    ] {
        sqlx::query(text).bind(from.to_string()).execute(tx.db()).await?;
    }
    if both_said {
        // Whichever is older of the two newest goes on counting until she answers anew.
        for one in [of_from, of_into].into_iter().flatten() {
            sqlx::query("insert into consultation_beside (client, consultation) values ($1, $2) on conflict (client, consultation) do nothing")
                .bind(into.to_string())
                .bind(one.to_string())
                .execute(tx.db())
                .await?;
        }
        // The newest answers count from now on, and the other record's may have been stricter: they hold no longer, so she is asked anew.
        let by = match &tx.actor {
            crate::base::actor::Actor::Person(who) => who.id,
            _ => return Err(Problem::broken("records are put together by a person")),
        };
        sqlx::query("insert into consultation_asked (id, client, at, asked_by, changed) values ($1, $2, $3, $4, 1)")
            .bind(ConsultationId::new().to_string())
            .bind(into.to_string())
            .bind(now.0)
            .bind(by.to_string())
            .execute(tx.db())
            .await?;
    }
    Ok(())
}

/// Opens everything sealed for one client and seals it with the other's key.
async fn seal_anew(db: &mut Db, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    let Some(key) = sealed::key_of(db, keys, from).await? else { return Ok(()) };
    for (read, write, place) in [
        (
            "select id, answers from consultation where client = $1",
            "update consultation set client = $1, answers = $2 where id = $3",
            "consultation.answers",
        ),
        (
            "select id, advice from medical_advice where client = $1",
            "update medical_advice set client = $1, advice = $2 where id = $3",
            "medical_advice.advice",
        ),
        (
            "select id, picture from photo where client = $1",
            "update photo set client = $1, picture = $2 where id = $3",
            "photo.picture",
        ),
        (
            "select id, signed from consent where client = $1",
            "update consent set client = $1, signed = $2 where id = $3",
            "consent.signed",
        ),
    ] {
        let rows = sqlx::query(read).bind(from.to_string()).fetch_all(&mut *db).await?;
        for row in rows {
            let (id, kept): (String, Vec<u8>) = (row.get(0), row.get(1));
            let place = format!("{place}.{id}");
            let plain = key.open(&place, &kept)?;
            let sealed = sealed::seal(db, keys, into, &place, &plain).await?;
            sqlx::query(write).bind(into.to_string()).bind(sealed).bind(id).execute(&mut *db).await?;
        }
    }
    Ok(())
}

pub(super) async fn erase(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Vec<Stays>, Problem> {
    let zone = Studio::load(tx.db()).await?.zone;
    let until = erasing.keep_until(&zone);
    handed::store::forget_of(tx, client).await?;
    photos::store::erase_all(tx, client).await?;
    let consents = consents::store::of_client(tx.db(), client).await?;
    let said = consultations::of_client(tx.db(), client).await?;
    let mut stays = Vec::new();
    for consent in &consents {
        let must_stay = !consent.purpose.for_adults_only() && consent.purpose != consents::Purpose::RecordPhotos;
        match until {
            Some(until) if must_stay => {
                push(&mut stays, "signed consents", "shows what was agreed to before a test or treatment", until);
            }
            _ => erase_consent(tx, consent.id).await?,
        }
    }
    match until {
        Some(until) if !said.is_empty() => {
            push(&mut stays, "consultations", "shows what was known of her health before a test or treatment", until);
        }
        _ => erase_consultations(tx, client).await?,
    }
    let rest = match until {
        Some(until) => {
            push(
                &mut stays,
                "name, birth date and how to reach her, sealed",
                "say whose records these are, and find her when a lot is stopped",
                until,
            );
            Some(seal_rest(tx, keys, client).await?)
        }
        None => None,
    };
    wipe(tx, client, rest).await?;
    Ok(stays)
}

fn push(stays: &mut Vec<Stays>, what: &'static str, reason: &str, until: Instant) {
    if !stays.iter().any(|one| one.what == what) {
        stays.push(Stays { what, reason: format!("keeping time: {reason}"), until });
    }
}

async fn erase_consent(tx: &mut Tx, id: ConsentId) -> Result<(), Problem> {
    for text in [
        "delete from consent_copy where consent = $1",
        "delete from consent_withdrawal where consent = $1",
        "delete from consent where id = $1",
    ] {
        sqlx::query(text).bind(id.to_string()).execute(tx.db()).await?;
    }
    tx.audit("erase consent", id, "").await
}

async fn erase_consultations(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    for text in [
        "delete from consultation_beside where client = $1",
        "delete from medical_advice where client = $1",
        "delete from consultation_asked where client = $1",
        "delete from consultation where client = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    Ok(())
}

/// Whose records these are, for as long as some must stay. Once erased, the name is only here.
async fn seal_rest(tx: &mut Tx, keys: &Keys, client: ClientId) -> Result<Vec<u8>, Problem> {
    let place = rest_place(client);
    let db = tx.db();
    let row = sqlx::query("select rest from client where id = $1").bind(client.to_string()).fetch_one(&mut *db).await?;
    if let Some(kept) = row.get::<Option<Vec<u8>>, _>(0) {
        return Ok(kept);
    }
    let known = store::client(db, client).await?.ok_or(Problem::NotHere("client"))?;
    if let Some(echo) = echo(keys, &known.name, known.born) {
        sqlx::query("update client set echo = $1 where id = $2")
            .bind(echo)
            .bind(client.to_string())
            .execute(&mut *db)
            .await?;
    }
    let rest = Rest {
        name: known.name,
        born: known.born.map(|born| born.to_string()),
        phone: known.phone,
        email: known.email,
    };
    let plain = serde_json::to_vec(&rest).map_err(Problem::broken)?;
    sealed::seal(db, keys, client, &place, &plain).await
}

/// What says whose records these are, once she is erased.
#[derive(Serialize, Deserialize)]
struct Rest {
    name: String,
    born: Option<String>,
    phone: String,
    email: String,
}

/// By which somebody erased is known again: the same name and birth date. Without a birth date too many people would be her.
fn echo(keys: &Keys, name: &str, born: Option<Date>) -> Option<String> {
    let born = born?.to_string();
    Some(keys.digest("client echo", &[super::alike::name_key(name).as_bytes(), born.as_bytes()]))
}

/// Ties a record to what had to stay of an erased one with the same name and birth date: a reaction of then holds her now.
pub(super) async fn recognise(tx: &mut Tx, keys: &Keys, client: &Client) -> Result<(), Problem> {
    let Some(echo) = echo(keys, &client.name, client.born) else { return Ok(()) };
    let known = sqlx::query("update client set came_back = $1 where echo = $2 and erased is not null and id <> $1")
        .bind(client.id.to_string())
        .bind(echo)
        .execute(tx.db())
        .await?;
    if known.rows_affected() == 0 {
        return Ok(());
    }
    tx.raise(super::DOOR);
    tx.audit("recognise erased client", client.id, "").await
}

/// Name and ways to reach those of these clients who were erased while records of theirs must stay.
pub(super) async fn rests(
    db: &mut Db,
    keys: &Keys,
    clients: &[ClientId],
) -> Result<BTreeMap<ClientId, (String, String, String)>, Problem> {
    let left = sqlx::query(among!("select c.id, c.rest from client c", "c.id", "and c.rest is not null"));
    let rows = left.bind(many(clients)).fetch_all(&mut *db).await?;
    let opened = sealed::keys_of(db, keys, clients).await?;
    let mut found = BTreeMap::new();
    for row in rows {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let Some(key) = opened.get(&client) else { continue };
        let plain = key.open(&rest_place(client), &row.get::<Vec<u8>, _>(1))?;
        let rest: Rest = serde_json::from_slice(&plain).map_err(Problem::broken)?;
        found.insert(client, (rest.name, rest.phone, rest.email));
    }
    Ok(found)
}

/// Where name and birth date of an erased client are sealed.
pub(super) fn rest_place(client: ClientId) -> String {
    format!("client.rest.{client}")
}

/// Empties the record, and those that were put together into it.
async fn wipe(tx: &mut Tx, client: ClientId, rest: Option<Vec<u8>>) -> Result<(), Problem> {
    let now = tx.now.0;
    for text in [
        "delete from client_word where client = $1",
        "delete from client_artist where client = $1",
        "delete from client_apart where client = $1 or other = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    query_with_nulls(
        "update client set name = '', name_key = '', sound = '', phone = '', phone_digits = '', email = '', email_key = '', born = null,
         notes = '', erased = coalesce(erased, $2) where id = $1 or merged_into = $1",
    )
    .bind(client.to_string())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    let gone = rest.is_none();
    query_with_nulls("update client set rest = $2 where id = $1")
        .bind(client.to_string())
        .bind(rest)
        .execute(tx.db())
        .await?;
    if gone {
        sqlx::query("update client set echo = null, came_back = null where id = $1")
            .bind(client.to_string())
            .execute(tx.db())
            .await?;
    }
    Ok(())
}

pub(super) async fn restrict(tx: &mut Tx, client: ClientId, since: Option<Instant>) -> Result<(), Problem> {
    query_with_nulls("update client set restricted = $2 where id = $1")
        .bind(client.to_string())
        .bind(since.map(|at| at.0))
        .execute(tx.db())
        .await?;
    tx.raise(super::DOOR);
    tx.audit(if since.is_some() { "restrict client" } else { "lift restriction of client" }, client, "").await
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::MedicalAdviceId;

    #[test]
    fn what_is_sealed_anew_is_sealed_for_the_place_it_is_read_from() {
        let consultation = ConsultationId::new();
        assert_eq!(consultations::answers_place(consultation), format!("consultation.answers.{consultation}"));
        let advice = MedicalAdviceId::new();
        assert_eq!(consultations::advice_place(advice), format!("medical_advice.advice.{advice}"));
        let consent = ConsentId::new();
        assert_eq!(consents::store::signed_place(consent), format!("consent.signed.{consent}"));
    }
}
