//! SQL of what the book rests on: services, hours, days off, beds.

use std::collections::BTreeMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use super::hours::Week;
use super::plan::{Bed, Hours, Off, Reason};
use super::service::{Service, VisitKind};
use super::slots::{Length, Span};
use crate::artists::Technique;
use crate::base::ids::{ArtistId, BedId, RoomId, ServiceId, TimeOffId};
use crate::base::problem::Problem;
use crate::base::text::fold;
use crate::base::time::Instant;
use crate::store::rows::{flag, may_be, parsed};
use crate::store::{Db, Tx};

/// Whose week is the house's own.
const HOUSE: &str = "house";

/// Every service there ever was, sorted by name; those offered no more are marked.
pub(super) async fn services(db: &mut Db) -> Result<Vec<Service>, Problem> {
    let rows = sqlx::query(
        "select id, name, kind, minutes, before_minutes, after_minutes, first_minutes, techniques, patch_test, takes_bed,
         coalesce(closed, 0) from service",
    )
    .fetch_all(db)
    .await?;
    let mut services = rows.iter().map(read_service).collect::<Result<Vec<_>, _>>()?;
    services.sort_by_key(|service| fold(&service.name));
    Ok(services)
}

fn read_service(row: &AnyRow) -> Result<Service, Problem> {
    Ok(Service {
        id: parsed(row, 0)?,
        name: row.get(1),
        kind: VisitKind::from_word(&row.get::<String, _>(2))
            .ok_or_else(|| Problem::broken("a service of no kind of ours"))?,
        length: Length { minutes: row.get(3), before: row.get(4), after: row.get(5) },
        first_minutes: row.get(6),
        techniques: row.get::<String, _>(7).split_whitespace().filter_map(Technique::from_word).collect(),
        patch_test: flag(row, 8),
        takes_bed: flag(row, 9),
        closed: row.get::<i64, _>(10) != 0,
    })
}

fn techniques_kept(service: &Service) -> String {
    service.techniques.iter().map(|technique| technique.word()).collect::<Vec<_>>().join(" ")
}

/// Adds a service.
pub(super) async fn add_service(tx: &mut Tx, service: &Service) -> Result<(), Problem> {
    name_is_free(tx, service).await?;
    sqlx::query(
        "insert into service (id, name, name_key, kind, minutes, before_minutes, after_minutes, first_minutes, techniques,
         patch_test, takes_bed, closed) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, null)",
    )
    .bind(service.id.to_string())
    .bind(&service.name)
    .bind(fold(&service.name))
    .bind(service.kind.word())
    .bind(service.length.minutes)
    .bind(service.length.before)
    .bind(service.length.after)
    .bind(service.first_minutes)
    .bind(techniques_kept(service))
    .bind(i64::from(service.patch_test))
    .bind(i64::from(service.takes_bed))
    .execute(tx.db())
    .await?;
    tx.audit("add service", service.id, service.kind.word()).await
}

async fn name_is_free(tx: &mut Tx, service: &Service) -> Result<(), Problem> {
    let row = sqlx::query("select id from service where name_key = $1 and id <> $2")
        .bind(fold(&service.name))
        .bind(service.id.to_string())
        .fetch_optional(tx.db())
        .await?;
    match row {
        Some(_) => Err(Problem::mistake("name", "There is, or was, a service of this name. Give it another.")),
        None => Ok(()),
    }
}

/// Changes a service. What is booked keeps its length until it is moved.
pub(super) async fn change_service(tx: &mut Tx, service: &Service) -> Result<(), Problem> {
    name_is_free(tx, service).await?;
    let done = sqlx::query(
        "update service set name = $1, name_key = $2, kind = $3, minutes = $4, before_minutes = $5, after_minutes = $6,
         first_minutes = $7, techniques = $8, patch_test = $9, takes_bed = $10 where id = $11 and closed is null",
    )
    .bind(&service.name)
    .bind(fold(&service.name))
    .bind(service.kind.word())
    .bind(service.length.minutes)
    .bind(service.length.before)
    .bind(service.length.after)
    .bind(service.first_minutes)
    .bind(techniques_kept(service))
    .bind(i64::from(service.patch_test))
    .bind(i64::from(service.takes_bed))
    .bind(service.id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("service"));
    }
    tx.audit("change service", service.id, service.kind.word()).await
}

/// Offers a service no more.
pub(super) async fn close_service(tx: &mut Tx, id: ServiceId) -> Result<(), Problem> {
    let now = tx.now.0;
    tx.raise(super::TOPIC);
    let done = sqlx::query("update service set closed = $1 where id = $2 and closed is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("service"));
    }
    tx.audit("close service", id, "").await
}

/// The hours of the house and its artists, with what is off between two instants.
pub(super) async fn hours(db: &mut Db, between: Span) -> Result<Hours, Problem> {
    let rows = sqlx::query("select whose, week from week_hours").fetch_all(&mut *db).await?;
    let mut hours = Hours { house: Week::usual(), artists: BTreeMap::new(), off: offs(db, between).await? };
    for row in &rows {
        let (whose, week) = (row.get::<String, _>(0), row.get::<String, _>(1));
        let week = Week::from_kept(&week).ok_or_else(|| Problem::broken("a week that cannot be read"))?;
        match whose.parse::<ArtistId>() {
            Ok(artist) => {
                hours.artists.insert(artist, week);
            }
            Err(_) => hours.house = week,
        }
    }
    Ok(hours)
}

/// Sets the week of the house, or of an artist; `None` lets her work as the house does.
pub(super) async fn set_week(tx: &mut Tx, artist: Option<ArtistId>, week: Option<&Week>) -> Result<(), Problem> {
    let whose = artist.map_or_else(|| HOUSE.to_owned(), |artist| artist.to_string());
    match week {
        Some(week) => {
            sqlx::query(
                "insert into week_hours (whose, week) values ($1, $2) on conflict (whose) do update set week = excluded.week",
            )
            .bind(&whose)
            .bind(week.kept())
            .execute(tx.db())
            .await?;
        }
        None => {
            sqlx::query("delete from week_hours where whose = $1").bind(&whose).execute(tx.db()).await?;
        }
    }
    tx.raise(super::TOPIC);
    tx.audit("set hours", whose, &week.map(Week::kept).unwrap_or_default()).await
}

/// What is off between two instants, struck ones left out, soonest first.
pub(super) async fn offs(db: &mut Db, between: Span) -> Result<Vec<Off>, Problem> {
    let rows = sqlx::query(
        "select id, artist, from_wall, to_wall, from_at, to_at, reason from time_off
         where to_at > $1 and from_at < $2 and struck is null order by from_at, id",
    )
    .bind(between.from.0)
    .bind(between.to.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_off).collect()
}

/// One time off that was not taken back.
pub(super) async fn off(db: &mut Db, id: TimeOffId) -> Result<Option<Off>, Problem> {
    let row = sqlx::query(
        "select id, artist, from_wall, to_wall, from_at, to_at, reason from time_off where id = $1 and struck is null",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_off).transpose()
}

fn read_off(row: &AnyRow) -> Result<Off, Problem> {
    Ok(Off {
        id: parsed(row, 0)?,
        artist: may_be(row, 1)?,
        from_wall: parsed(row, 2)?,
        to_wall: parsed(row, 3)?,
        span: Span::new(Instant(row.get(4)), Instant(row.get(5))),
        reason: Reason::from_word(&row.get::<String, _>(6))
            .ok_or_else(|| Problem::broken("a time off for no reason of ours"))?,
    })
}

/// Adds a time off.
pub(super) async fn add_off(tx: &mut Tx, off: &Off, zone: &str) -> Result<(), Problem> {
    let by = tx.actor.mark();
    sqlx::query(
        "insert into time_off (id, artist, from_wall, to_wall, zone, from_at, to_at, reason, made_by, struck)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, null)",
    )
    .bind(off.id.to_string())
    .bind(off.artist.map(|artist| artist.to_string()))
    .bind(off.from_wall.to_string())
    .bind(off.to_wall.to_string())
    .bind(zone)
    .bind(off.span.from.0)
    .bind(off.span.to.0)
    .bind(off.reason.word())
    .bind(by)
    .execute(tx.db())
    .await?;
    tx.raise(super::TOPIC);
    tx.audit("add time off", off.id, off.reason.word()).await
}

/// Takes a time off back.
pub(super) async fn strike_off(tx: &mut Tx, id: TimeOffId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query("update time_off set struck = $1 where id = $2 and struck is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("time off"));
    }
    tx.raise(super::TOPIC);
    tx.audit("strike time off", id, "").await
}

/// Every bed there ever was, sorted by room and name; those out of use, or in a closed room, are marked.
pub(super) async fn beds(db: &mut Db) -> Result<Vec<Bed>, Problem> {
    let rows = sqlx::query(
        "select bed.id, bed.room, bed.name, room.name, coalesce(bed.closed, room.closed, 0)
         from bed join room on room.id = bed.room",
    )
    .fetch_all(db)
    .await?;
    let mut beds = rows
        .iter()
        .map(|row| {
            Ok(Bed {
                id: parsed(row, 0)?,
                room: parsed(row, 1)?,
                name: row.get(2),
                room_name: row.get(3),
                closed: row.get::<i64, _>(4) != 0,
            })
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    beds.sort_by_key(|bed| (fold(&bed.room_name), fold(&bed.name)));
    Ok(beds)
}

/// Adds a bed to a room.
pub(super) async fn add_bed(tx: &mut Tx, id: BedId, room: RoomId, name: &str) -> Result<(), Problem> {
    let taken = sqlx::query("select id from bed where room = $1 and name_key = $2")
        .bind(room.to_string())
        .bind(fold(name))
        .fetch_optional(tx.db())
        .await?;
    if taken.is_some() {
        return Err(Problem::mistake("name", "This room has, or had, a bed of this name. Give it another."));
    }
    sqlx::query("insert into bed (id, room, name, name_key, closed) values ($1, $2, $3, $4, null)")
        .bind(id.to_string())
        .bind(room.to_string())
        .bind(name)
        .bind(fold(name))
        .execute(tx.db())
        .await?;
    tx.raise(super::TOPIC);
    tx.audit("add bed", id, "").await
}

/// Takes a bed out of use; what is booked on it stays and can be moved.
pub(super) async fn close_bed(tx: &mut Tx, id: BedId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query("update bed set closed = $1 where id = $2 and closed is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("bed"));
    }
    tx.raise(super::TOPIC);
    tx.audit("close bed", id, "").await
}
