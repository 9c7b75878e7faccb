//! SQL of the waiting list.

use jiff::civil::Date;
use sqlx::Row;
use sqlx::any::AnyRow;

use super::appointment::Booked;
use crate::base::ids::{ArtistId, ServiceId, WaitingId};
use crate::base::problem::Problem;
use crate::store::{Db, Tx};

/// Somebody who would come if a time came free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Waiting {
    pub(super) id: WaitingId,
    pub(super) service: ServiceId,
    /// With whom; none where any artist will do.
    pub(super) artist: Option<ArtistId>,
    pub(super) booked: Booked,
    /// The first and the last day that would do.
    pub(super) days: (Date, Date),
    /// Minutes of the day between which it should begin.
    pub(super) minutes: (i64, i64),
    pub(super) note: String,
}

/// Who is waiting, longest first.
pub(super) async fn all(db: &mut Db) -> Result<Vec<Waiting>, Problem> {
    let rows = sqlx::query(
        "select id, service, artist, client, short_name, first_visit, from_day, to_day, after_minute, before_minute, note
         from waiting where done is null order by created, id",
    )
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// How many are waiting.
pub(super) async fn how_many(db: &mut Db) -> Result<i64, Problem> {
    Ok(sqlx::query("select count(*) from waiting where done is null").fetch_one(db).await?.get(0))
}

/// One who is waiting.
pub(super) async fn one(db: &mut Db, id: WaitingId) -> Result<Option<Waiting>, Problem> {
    let row = sqlx::query(
        "select id, service, artist, client, short_name, first_visit, from_day, to_day, after_minute, before_minute, note
         from waiting where id = $1 and done is null",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read).transpose()
}

fn read(row: &AnyRow) -> Result<Waiting, Problem> {
    let artist: Option<String> = row.get(2);
    let client: Option<String> = row.get(3);
    let day = |column: usize| row.get::<String, _>(column).parse::<Date>().map_err(Problem::broken);
    Ok(Waiting {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        service: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        artist: artist.map(|id| id.parse().map_err(Problem::broken)).transpose()?,
        booked: Booked {
            client: client.map(|id| id.parse().map_err(Problem::broken)).transpose()?,
            short: row.get(4),
            first_visit: row.get::<i64, _>(5) == 1,
        },
        days: (day(6)?, day(7)?),
        minutes: (row.get(8), row.get(9)),
        note: row.get(10),
    })
}

/// Puts somebody on the list.
pub(super) async fn add(tx: &mut Tx, waiting: &Waiting) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into waiting (id, service, artist, client, short_name, first_visit, from_day, to_day, after_minute, before_minute,
         note, created, done) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, null)",
    )
    .bind(waiting.id.to_string())
    .bind(waiting.service.to_string())
    .bind(waiting.artist.map(|artist| artist.to_string()))
    .bind(waiting.booked.client.map(|client| client.to_string()))
    .bind(&waiting.booked.short)
    .bind(i64::from(waiting.booked.first_visit))
    .bind(waiting.days.0.to_string())
    .bind(waiting.days.1.to_string())
    .bind(waiting.minutes.0)
    .bind(waiting.minutes.1)
    .bind(&waiting.note)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.raise(super::TOPIC);
    tx.audit("add to the waiting list", waiting.id, "").await
}

/// Takes somebody off the list: booked, or no longer waiting. Who is off it already stays off.
pub(super) async fn finish(tx: &mut Tx, id: WaitingId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("update waiting set done = $1 where id = $2 and done is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(super::TOPIC);
    tx.audit("take off the waiting list", id, "").await
}
