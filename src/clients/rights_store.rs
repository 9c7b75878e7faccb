//! SQL of a client's rights in this part: her records moved to another, erased, restricted.

use sqlx::Row;

use super::consents;
use super::consultation::store as consultations;
use super::rest_store::seal_rest;
use super::rights::{Erasing, Stays};
use super::{handed, photos};
use crate::base::ids::{ClientId, ConsentId, ConsultationId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls, sealed};
use crate::web::studio::Studio;

pub(super) async fn merge(tx: &mut Tx, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    let now = tx.now.0;
    let by = match &tx.actor {
        crate::base::actor::Actor::Person(who) => who.id,
        _ => return Err(Problem::broken("records are put together by a person")),
    };
    let of_from = consultations::of_client(tx.db(), from).await?.first().map(|newest| newest.id);
    let of_into = consultations::of_client(tx.db(), into).await?.first().map(|newest| newest.id);
    let both_said = of_from.is_some() && of_into.is_some();
    seal_anew(tx.db(), keys, from, into).await?;
    consents::store::end_what_was_taken_back(tx, into, by).await?;
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
    handed::store::forget_of(tx, client).await?;
    let under = photos::store::erase(tx, client, erasing.pictured.as_ref().map(|(_, of)| of)).await?;
    let pictured = erasing.pictured.as_ref().map(|(until, _)| *until);
    let consents = consents::store::of_client(tx.db(), client).await?;
    let said = consultations::of_client(tx.db(), client).await?;
    let mut stays = Vec::new();
    let until = erasing.stays_until(CONSENTS, None, &zone);
    for consent in &consents {
        let must_stay = !consent.purpose.for_adults_only() && consent.purpose != consents::Purpose::RecordPhotos;
        match (until, pictured) {
            (Some(until), _) if must_stay => {
                push(&mut stays, CONSENTS, "shows what was agreed to before a test or treatment", until);
            }
            (_, Some(_)) if under.contains(&consent.id) => {}
            _ => erase_consent(tx, consent.id).await?,
        }
    }
    if let Some(until) = pictured.filter(|_| !under.is_empty()) {
        push(&mut stays, PHOTOS, "the complaint cannot be answered without them", until);
    }
    match erasing.stays_until(CONSULTATIONS, None, &zone) {
        Some(until) if !said.is_empty() => {
            push(&mut stays, CONSULTATIONS, "shows what was known of her health before a test or treatment", until);
        }
        _ => erase_consultations(tx, client).await?,
    }
    // Whatever stays longest has to be somebody's.
    let longest = stays.iter().map(|own| own.until).max().max(erasing.others);
    let rest = match erasing.stays_until(WHOSE, None, &zone).max(longest) {
        Some(until) => {
            push(&mut stays, WHOSE, "say whose records these are, and find her when a lot is stopped", until);
            Some(seal_rest(tx, keys, client).await?)
        }
        None => None,
    };
    wipe(tx, client, rest).await?;
    Ok(stays)
}

/// What an erasure calls what it leaves here. By these words a date that was told is found again.
const CONSENTS: &str = "signed consents";
const CONSULTATIONS: &str = "consultations";
const PHOTOS: &str = "photos of what a complaint is about, with the consent to them";
const WHOSE: &str = "name, birth date and how to reach her, sealed";

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
