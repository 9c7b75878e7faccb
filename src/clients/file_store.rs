//! SQL of what a client's file holds of this part: her record, what she said, what she signed, her photos.

use sqlx::Row;

use super::consents::{self, given::Signed};
use super::consultation::store as consultations;
use super::file::{FilePart, FileRecord, FileValue};
use super::{Client, Keeper, photos, store};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::store::keys::Keys;

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
