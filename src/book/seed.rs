//! Services, hours, beds and appointments of the invented studio, and of tests that need many.

use std::fmt::Write as _;

use sqlx::Row;

use super::appointment::{Appointment, State};
use super::hours::Week;
use super::plan::Off;
use super::slots::Span;
use super::{Service, expecting, plan_store, store};
use crate::base::ids::{AppointmentId, ArtistId, BedId, ClientId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::{Db, FormKey, Kept, Tx};
use crate::web::House;

/// What the invented studio's book begins with.
#[derive(Debug, Clone, Default)]
pub(crate) struct Beginning {
    /// What can be booked.
    pub(crate) services: Vec<Service>,
    /// Beds with their rooms and names.
    pub(crate) beds: Vec<(BedId, RoomId, String)>,
    /// Weeks of artists who have their own.
    pub(crate) weeks: Vec<(ArtistId, Week)>,
    /// Days off, and the zone they were said in.
    pub(crate) off: Vec<(Off, String)>,
}

/// Adds them.
pub(crate) async fn seed_beginning(house: &House, beginning: Beginning) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let beginning = beginning.clone();
            Box::pin(async move {
                for service in &beginning.services {
                    plan_store::add_service(tx, service).await?;
                }
                for (id, room, name) in &beginning.beds {
                    plan_store::add_bed(tx, *id, *room, name).await?;
                }
                for (artist, week) in &beginning.weeks {
                    plan_store::set_week(tx, Some(*artist), Some(week)).await?;
                }
                for (off, zone) in &beginning.off {
                    plan_store::add_off(tx, off, zone).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Who made appointments up, as their first version says.
const SEEDED_BY: &str = "house";

/// Rows in one statement: 40 × 18 values stay far below what either database takes.
const ROWS_A_STATEMENT: usize = 40;

/// Adds appointments as they are, many at a time. Whoever made them up has seen to it that none is in another's way.
pub(crate) async fn seed_appointments(house: &House, appointments: Vec<Appointment>) -> Result<(), Problem> {
    if appointments.is_empty() {
        return Ok(());
    }
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let appointments = appointments.clone();
            Box::pin(async move {
                for some in appointments.chunks(ROWS_A_STATEMENT) {
                    insert(tx, some).await?;
                    insert_versions(tx, some).await?;
                }
                tx.raise(super::TOPIC);
                tx.audit("seed the book", "house", &appointments.len().to_string()).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// "insert … values ($1, …), ($n, …)" for so many rows.
fn values(start: &str, columns: usize, rows: usize) -> String {
    let mut text = start.to_owned();
    for row in 0..rows {
        let places: Vec<String> = (1..=columns).map(|place| format!("${}", row * columns + place)).collect();
        let comma = if row == 0 { "" } else { ", " };
        // Writing to a String cannot fail.
        let _written = write!(text, "{comma}({})", places.join(", "));
    }
    text
}

async fn insert(tx: &mut Tx, appointments: &[Appointment]) -> Result<(), Problem> {
    let start =
        "insert into appointment (id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends,
         busy_from, busy_to, state, version, note, created, changed) values ";
    // Only numbered places were put into the text; every value is bound.
    let text = sqlx::AssertSqlSafe(values(start, 18, appointments.len()));
    let mut query = sqlx::query(text).persistent(false);
    for a in appointments {
        query = query
            .bind(a.id.to_string())
            .bind(a.artist.to_string())
            .bind(a.bed.map(|bed| bed.to_string()))
            .bind(a.service.to_string())
            .bind(a.booked.client.map(|client| client.to_string()))
            .bind(&a.booked.short)
            .bind(i64::from(a.booked.first_visit))
            .bind(a.when.wall.to_string())
            .bind(&a.when.zone)
            .bind(a.when.visit.from.0)
            .bind(a.when.visit.to.0)
            .bind(a.when.busy.from.0)
            .bind(a.when.busy.to.0)
            .bind(a.state.word())
            .bind(a.version)
            .bind(&a.note)
            .bind(a.created.0)
            .bind(a.changed.0);
    }
    query.execute(tx.db()).await?;
    Ok(())
}

async fn insert_versions(tx: &mut Tx, appointments: &[Appointment]) -> Result<(), Problem> {
    let start =
        "insert into appointment_version (appointment, version, artist, bed, service, wall, zone, starts, ends, state,
         reason, by_mark, at) values ";
    let text = sqlx::AssertSqlSafe(values(start, 13, appointments.len()));
    let mut query = sqlx::query(text).persistent(false);
    for a in appointments {
        query = query
            .bind(a.id.to_string())
            .bind(a.version)
            .bind(a.artist.to_string())
            .bind(a.bed.map(|bed| bed.to_string()))
            .bind(a.service.to_string())
            .bind(a.when.wall.to_string())
            .bind(&a.when.zone)
            .bind(a.when.visit.from.0)
            .bind(a.when.visit.to.0)
            .bind(a.state.word())
            .bind("")
            .bind(SEEDED_BY)
            .bind(a.changed.0);
    }
    query.execute(tx.db()).await?;
    Ok(())
}

/// The first and the last beginning of any appointment.
pub(crate) async fn first_and_last(db: &mut Db) -> Result<Option<(Instant, Instant)>, Problem> {
    let ends = [
        "select busy_from, starts from appointment order by busy_from limit 1",
        "select busy_from, starts from appointment order by busy_from desc limit 1",
    ];
    let mut found = Vec::new();
    for text in ends {
        found.extend(sqlx::query(text).fetch_optional(&mut *db).await?.map(|row| Instant(row.get(0))));
    }
    Ok(found.first().copied().zip(found.last().copied()))
}

/// Appointments made up in a span that hold, were never changed since, and have no record chosen, by their beginning.
pub(crate) async fn seeded_without_record(db: &mut Db, span: Span) -> Result<Vec<Appointment>, Problem> {
    let mut made = Vec::new();
    for own in store::between(db, span).await? {
        let made_up = own.version == 1 && own.state == State::Booked && own.booked.client.is_none();
        if !made_up || own.when.visit.from < span.from {
            continue;
        }
        let by = store::versions(db, own.id).await?.first().map(|version| version.by.clone());
        if by.as_deref() == Some(SEEDED_BY) {
            made.push(own);
        }
    }
    Ok(made)
}

/// Says of made-up appointments whose they are, and tells clearance who is expected.
pub(crate) async fn seed_records(house: &House, records: Vec<(AppointmentId, ClientId)>) -> Result<(), Problem> {
    if records.is_empty() {
        return Ok(());
    }
    house
        .store
        .write(&FormKey::house(), move |tx| {
            let records = records.clone();
            Box::pin(async move {
                for (id, client) in &records {
                    let Some(mut own) = store::one(tx.db(), *id).await? else { continue };
                    own.booked.client = Some(*client);
                    sqlx::query("update appointment set client = $2 where id = $1")
                        .bind(id.to_string())
                        .bind(client.to_string())
                        .execute(tx.db())
                        .await?;
                    expecting::tell(tx, &own).await?;
                }
                tx.raise(super::TOPIC);
                tx.audit("seed records of the book", "house", &records.len().to_string()).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
