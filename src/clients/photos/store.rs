//! SQL of photos.

use std::collections::BTreeSet;

use sqlx::Row;

use super::Moment;
use super::clean::Picture;
use crate::base::ids::{ClientId, ConsentId, PersonId, PhotoId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clients::file::{FileRecord, FileValue};
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls, sealed};

/// A photo, the picture aside.
#[derive(Debug, Clone)]
pub(in crate::clients) struct Photo {
    pub(in crate::clients) id: PhotoId,
    pub(in crate::clients) at: Instant,
    pub(in crate::clients) taken_by: PersonId,
    pub(in crate::clients) moment: Moment,
    pub(in crate::clients) width: i64,
    pub(in crate::clients) height: i64,
    /// The patch test, complaint or treatment card it shows.
    pub(in crate::clients) about: Option<String>,
    /// When the consent it was taken under was withdrawn: then it is not shown.
    pub(in crate::clients) withdrawn: Option<Instant>,
}

impl Photo {
    /// The id of the treatment card it was taken on.
    pub(in crate::clients) fn card(&self) -> Option<&str> {
        let of_a_card = !matches!(self.moment, Moment::Test | Moment::Complaint);
        self.about.as_deref().filter(|_| of_a_card)
    }
}

fn place(id: PhotoId) -> String {
    format!("photo.picture.{id}")
}

pub(in crate::clients) async fn add(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    consent: ConsentId,
    (moment, about): (Moment, Option<&str>),
    by: PersonId,
    picture: &Picture,
) -> Result<PhotoId, Problem> {
    let id = PhotoId::new();
    let now = tx.now.0;
    let sealed = sealed::seal(tx.db(), keys, client, &place(id), &picture.jpeg).await?;
    query_with_nulls(
        "insert into photo (id, client, consent, at, taken_by, moment, about, width, height, picture)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(consent.to_string())
    .bind(now.0)
    .bind(by.to_string())
    .bind(moment.word())
    .bind(about)
    .bind(i64::from(picture.width))
    .bind(i64::from(picture.height))
    .bind(sealed)
    .execute(tx.db())
    .await?;
    tx.audit("add photo", client, &id.to_string()).await?;
    Ok(id)
}

/// A client's photos, newest first, those of withdrawn consents among them.
pub(in crate::clients) async fn of_client(db: &mut Db, client: ClientId) -> Result<Vec<Photo>, Problem> {
    let rows = sqlx::query(
        "select p.id, p.at, p.taken_by, p.moment, p.width, p.height, w.at, p.about
         from photo p left join consent_withdrawal w on w.consent = p.consent
         where p.client = $1 order by p.at desc, p.id desc",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            let text = |place: usize| row.get::<String, _>(place);
            Ok(Photo {
                id: text(0).parse().map_err(Problem::broken)?,
                at: Instant(row.get(1)),
                taken_by: text(2).parse().map_err(Problem::broken)?,
                moment: Moment::from_word(&text(3)).ok_or_else(|| Problem::broken("a photo of no moment of ours"))?,
                width: row.get(4),
                height: row.get(5),
                withdrawn: row.get::<Option<i64>, _>(6).map(Instant),
                about: row.get(7),
            })
        })
        .collect()
}

/// The picture of one photo of this client whose consent is in force; anything else is not here.
pub(in crate::clients) async fn picture(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    id: PhotoId,
) -> Result<Vec<u8>, Problem> {
    let row = sqlx::query(
        "select p.picture from photo p where p.id = $1 and p.client = $2
         and not exists (select 1 from consent_withdrawal w where w.consent = p.consent)",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .fetch_optional(&mut *db)
    .await?;
    let row = row.ok_or(Problem::NotHere("photo"))?;
    let opened = sealed::open(db, keys, client, &place(id), &row.get::<Vec<u8>, _>(0)).await?;
    opened.ok_or(Problem::NotHere("photo"))
}

/// What her file says about her photos, oldest first.
pub(in crate::clients) async fn file(db: &mut Db, client: ClientId) -> Result<Vec<FileRecord>, Problem> {
    let mut all = of_client(db, client).await?;
    all.reverse();
    Ok(all
        .into_iter()
        .map(|photo| {
            let fields = [
                ("id", FileValue::for_programs(photo.id)),
                ("taken", photo.at.into()),
                ("of the record", FileValue::for_programs(photo.about.unwrap_or_default())),
                ("size", format!("{} × {}", photo.width, photo.height).into()),
                ("consent withdrawn", photo.withdrawn.into()),
            ];
            FileRecord::new(photo.moment.words(), fields)
        })
        .collect())
}

/// Every picture kept of her, also those no longer shown: they are hers. One after the other, so that memory holds one at a time
/// besides what the caller makes of them.
pub(in crate::clients) async fn pictures(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
) -> Result<Vec<(PhotoId, Vec<u8>)>, Problem> {
    let Some(key) = sealed::key_of(db, keys, client).await? else { return Ok(Vec::new()) };
    let mut opened = Vec::new();
    for photo in of_client(db, client).await?.into_iter().rev() {
        let row = sqlx::query("select picture from photo where id = $1")
            .bind(photo.id.to_string())
            .fetch_one(&mut *db)
            .await?;
        opened.push((photo.id, key.open(&place(photo.id), &row.get::<Vec<u8>, _>(0))?));
    }
    Ok(opened)
}

/// Erases the photos taken under one consent, which was taken back.
pub(in crate::clients) async fn erase_under(tx: &mut Tx, consent: ConsentId) -> Result<(), Problem> {
    let rows =
        sqlx::query("select id from photo where consent = $1").bind(consent.to_string()).fetch_all(tx.db()).await?;
    sqlx::query("delete from photo where consent = $1").bind(consent.to_string()).execute(tx.db()).await?;
    for row in rows {
        tx.audit("erase photo", row.get::<String, _>(0), "").await?;
    }
    Ok(())
}

/// Photos go with an erasure. Only those of records that stay with them do not, unless their consent was taken back. Gives the consents
/// that what is left was taken under.
pub(in crate::clients) async fn erase(
    tx: &mut Tx,
    client: ClientId,
    of: Option<&BTreeSet<String>>,
) -> Result<BTreeSet<ConsentId>, Problem> {
    let rows = sqlx::query(
        "select p.id, p.consent, p.about, w.at from photo p left join consent_withdrawal w on w.consent = p.consent where p.client = $1",
    )
    .bind(client.to_string())
    .fetch_all(tx.db())
    .await?;
    let mut under = BTreeSet::new();
    for row in rows {
        let (about, withdrawn) = (row.get::<Option<String>, _>(2), row.get::<Option<i64>, _>(3));
        let stays = about.zip(of).is_some_and(|(about, of)| of.contains(&about)) && withdrawn.is_none();
        if stays {
            under.insert(row.get::<String, _>(1).parse().map_err(Problem::broken)?);
            continue;
        }
        sqlx::query("delete from photo where id = $1").bind(row.get::<String, _>(0)).execute(tx.db()).await?;
    }
    Ok(under)
}
