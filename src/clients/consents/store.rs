//! SQL of consents: added, withdrawn, copied; never changed.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::Purpose;
use super::given::{Consent, Signed};
use crate::base::ids::{ClientId, ConsentId, CopyId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, among, many, sealed};

/// Where the signed part of a consent is sealed.
pub(in crate::clients) fn signed_place(id: ConsentId) -> String {
    format!("consent.signed.{id}")
}

/// The wording of a purpose in force: its version and text.
pub(in crate::clients) async fn text(db: &mut Db, purpose: Purpose) -> Result<(i64, String), Problem> {
    let row = sqlx::query("select version, body from consent_text where purpose = $1 order by version desc limit 1")
        .bind(purpose.word())
        .fetch_optional(db)
        .await?;
    Ok(row.map_or_else(|| (0, super::texts::starting(purpose)), |row| (row.get(0), row.get(1))))
}

/// Keeps a changed wording as the next version; those signed before keep theirs.
pub(in crate::clients) async fn keep_text(
    tx: &mut Tx,
    by: PersonId,
    purpose: Purpose,
    body: &str,
) -> Result<(), Problem> {
    let (newest, _) = text(tx.db(), purpose).await?;
    let now = tx.now.0;
    sqlx::query("insert into consent_text (purpose, version, body, made_by, at) values ($1, $2, $3, $4, $5)")
        .bind(purpose.word())
        .bind(newest + 1)
        .bind(body)
        .bind(by.to_string())
        .bind(now.0)
        .execute(tx.db())
        .await?;
    tx.audit("change consent text", purpose.word(), &(newest + 1).to_string()).await
}

/// Keeps a consent, its signed part sealed, its digest in the audit chain too. The digest is filled in here.
pub(in crate::clients) async fn add(
    tx: &mut Tx,
    keys: &Keys,
    consent: &Consent,
    signed: &Signed,
) -> Result<(), Problem> {
    let plain = serde_json::to_vec(signed).map_err(Problem::broken)?;
    let digest = consent.digest_with(&plain);
    let sealed = sealed::seal(tx.db(), keys, consent.client, &signed_place(consent.id), &plain).await?;
    sqlx::query(
        "insert into consent (id, client, given_as, purpose, version, language, body, text_hash, by_guardian, at, taken_by, signed, digest)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
    )
    .bind(consent.id.to_string())
    .bind(consent.client.to_string())
    .bind(consent.given_as.to_string())
    .bind(consent.purpose.word())
    .bind(consent.version)
    .bind(&consent.language)
    .bind(&consent.body)
    .bind(&consent.text_hash)
    .bind(i64::from(consent.by_guardian))
    .bind(consent.at.0)
    .bind(consent.taken_by.to_string())
    .bind(sealed)
    .bind(&digest)
    .execute(tx.db())
    .await?;
    tx.raise(crate::clients::DOOR);
    tx.audit("sign consent", consent.id, &format!("{} {digest}", consent.purpose.word())).await
}

/// A client's consents, newest first.
pub(in crate::clients) async fn of_client(db: &mut Db, client: ClientId) -> Result<Vec<Consent>, Problem> {
    let rows = sqlx::query(
        "select c.id, c.client, c.given_as, c.purpose, c.version, c.language, c.body, c.text_hash, c.by_guardian, c.at, c.taken_by,
           c.digest, w.at
         from consent c left join consent_withdrawal w on w.consent = c.id
         where c.client = $1 order by c.at desc, c.id desc",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// One consent of this client.
pub(in crate::clients) async fn one(db: &mut Db, client: ClientId, id: ConsentId) -> Result<Consent, Problem> {
    let row = sqlx::query(
        "select c.id, c.client, c.given_as, c.purpose, c.version, c.language, c.body, c.text_hash, c.by_guardian, c.at, c.taken_by,
           c.digest, w.at
         from consent c left join consent_withdrawal w on w.consent = c.id
         where c.id = $1 and c.client = $2",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read).transpose()?.ok_or(Problem::NotHere("consent"))
}

/// The newest consent of a client for a purpose.
pub(in crate::clients) async fn newest(
    db: &mut Db,
    client: ClientId,
    purpose: Purpose,
) -> Result<Option<Consent>, Problem> {
    Ok(of_client(db, client).await?.into_iter().find(|consent| consent.purpose == purpose))
}

/// The newest consents of several clients for each purpose.
pub(in crate::clients) async fn newest_of(db: &mut Db, clients: &[ClientId]) -> Result<Vec<Consent>, Problem> {
    let newest = sqlx::query(among!(
        "select c.id, c.client, c.given_as, c.purpose, c.version, c.language, c.body, c.text_hash, c.by_guardian, c.at, c.taken_by,
           c.digest, w.at
         from consent c left join consent_withdrawal w on w.consent = c.id",
        "c.client",
        "and not exists (select 1 from consent n where n.client = c.client and n.purpose = c.purpose
                         and (n.at > c.at or (n.at = c.at and n.id > c.id)))"
    ));
    newest.bind(many(clients)).fetch_all(db).await?.iter().map(read).collect()
}

fn read(row: &AnyRow) -> Result<Consent, Problem> {
    let id = |place: usize| row.get::<String, _>(place);
    Ok(Consent {
        id: id(0).parse().map_err(Problem::broken)?,
        client: id(1).parse().map_err(Problem::broken)?,
        given_as: id(2).parse().map_err(Problem::broken)?,
        purpose: Purpose::from_word(&id(3)).ok_or_else(|| Problem::broken("a consent for no purpose of ours"))?,
        version: row.get(4),
        language: row.get(5),
        body: row.get(6),
        text_hash: row.get(7),
        by_guardian: row.get::<i64, _>(8) != 0,
        at: Instant(row.get(9)),
        taken_by: id(10).parse().map_err(Problem::broken)?,
        digest: row.get(11),
        withdrawn: row.get::<Option<i64>, _>(12).map(Instant),
    })
}

/// The signed part of a consent as it was before sealing; `None` where the client's key was destroyed.
pub(in crate::clients) async fn signed(
    db: &mut Db,
    keys: &Keys,
    consent: &Consent,
) -> Result<Option<Vec<u8>>, Problem> {
    let row = sqlx::query("select signed from consent where id = $1")
        .bind(consent.id.to_string())
        .fetch_one(&mut *db)
        .await?;
    sealed::open(db, keys, consent.client, &signed_place(consent.id), &row.get::<Vec<u8>, _>(0)).await
}

/// Withdraws a consent of this client, and whatever she signed for the same purpose before it: a record may hold two where it was put
/// together with another. A second time changes nothing. `at` is when she said so, never before she signed.
pub(in crate::clients) async fn withdraw(
    tx: &mut Tx,
    client: ClientId,
    id: ConsentId,
    by: PersonId,
    at: Instant,
) -> Result<(), Problem> {
    let consent = one(tx.db(), client, id).await?;
    let at = at.max(consent.at);
    let all = of_client(tx.db(), client).await?;
    let same = |own: &&Consent| own.id != id && own.purpose == consent.purpose && own.withdrawn.is_none();
    for earlier in all.iter().filter(same).filter(|own| own.at <= consent.at) {
        end(tx, earlier, by, at).await?;
    }
    end(tx, &consent, by, at).await?;
    tx.raise(crate::clients::DOOR);
    Ok(())
}

/// Ends what she signed under one record and took back later under the other, once the two are put together.
pub(in crate::clients) async fn end_what_was_taken_back(
    tx: &mut Tx,
    client: ClientId,
    by: PersonId,
) -> Result<(), Problem> {
    let (all, now) = (of_client(tx.db(), client).await?, tx.now.0);
    for own in all.iter().filter(|own| own.withdrawn.is_none()) {
        let taken_back =
            all.iter().filter(|other| other.purpose == own.purpose).filter_map(|other| other.withdrawn).max();
        if taken_back.is_some_and(|at| at >= own.at) {
            end(tx, own, by, now).await?;
        }
    }
    Ok(())
}

async fn end(tx: &mut Tx, consent: &Consent, by: PersonId, at: Instant) -> Result<(), Problem> {
    let id = consent.id;
    sqlx::query(
        "insert into consent_withdrawal (consent, at, by_person) values ($1, $2, $3) on conflict (consent) do nothing",
    )
    .bind(id.to_string())
    .bind(at.0)
    .bind(by.to_string())
    .execute(tx.db())
    .await?;
    if consent.purpose == Purpose::RecordPhotos {
        // As the wording promises: nothing obliges the studio to keep a picture.
        crate::clients::photos::store::erase_under(tx, id).await?;
    }
    tx.audit("withdraw consent", id, consent.purpose.word()).await
}

/// Writes down that she was given a copy, and when.
pub(in crate::clients) async fn add_copy(
    tx: &mut Tx,
    (client, id): (ClientId, ConsentId),
    by: PersonId,
    way: &'static str,
    at: Instant,
) -> Result<(), Problem> {
    let at = at.max(one(tx.db(), client, id).await?.at);
    sqlx::query("insert into consent_copy (id, consent, at, by_person, way) values ($1, $2, $3, $4, $5)")
        .bind(CopyId::new().to_string())
        .bind(id.to_string())
        .bind(at.0)
        .bind(by.to_string())
        .bind(way)
        .execute(tx.db())
        .await?;
    tx.audit("give copy of consent", id, way).await
}

/// When, by whom and how copies were given, oldest first.
pub(in crate::clients) async fn copies(
    db: &mut Db,
    id: ConsentId,
) -> Result<Vec<(Instant, PersonId, String)>, Problem> {
    let rows = sqlx::query("select at, by_person, way from consent_copy where consent = $1 order by at, id")
        .bind(id.to_string())
        .fetch_all(db)
        .await?;
    rows.iter()
        .map(|row| {
            let by = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
            Ok((Instant(row.get(0)), by, row.get(2)))
        })
        .collect()
}
