//! SQL of appointments and their versions.
//!
//! Whatever asks for appointments of a span asks for those that begin less than a day before it: none is longer, and so an index
//! over their beginnings finds all of them.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::appointment::{Appointment, Booked, State, Version, When};
use super::slots::Span;
use crate::base::ids::{AppointmentId, ArtistId, BedId, ClientId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::store::rows::{flag, may_be, parsed};
use crate::store::{Db, Tx};

/// What an appointment takes of artist and bed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Taken {
    /// The artist.
    pub(super) artist: ArtistId,
    /// The bed, where one is taken.
    pub(super) bed: Option<BedId>,
    /// With the time kept free around it.
    pub(super) busy: Span,
    /// The visit's beginning.
    pub(super) starts: Instant,
}

/// One appointment.
pub(super) async fn one(db: &mut Db, id: AppointmentId) -> Result<Option<Appointment>, Problem> {
    let row = sqlx::query(
        "select id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state,
         version, note, created, changed from appointment where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read).transpose()
}

/// Appointments that hold, or that nobody came to, and lie between two instants; by their beginning.
pub(super) async fn between(db: &mut Db, span: Span) -> Result<Vec<Appointment>, Problem> {
    let rows = sqlx::query(
        "select id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state,
         version, note, created, changed from appointment
         where busy_from < $1 and busy_from > $2 and busy_to > $3 and state <> 'cancelled' order by busy_from, id",
    )
    .bind(span.to.0)
    .bind(span.from.plus(-DAY).0)
    .bind(span.from.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// As [`between`], of one artist, cancelled ones too: for her calendar.
pub(super) async fn of_artist(db: &mut Db, artist: ArtistId, span: Span) -> Result<Vec<Appointment>, Problem> {
    let rows = sqlx::query(
        "select id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state,
         version, note, created, changed from appointment
         where artist = $1 and busy_from < $2 and busy_from > $3 and busy_to > $4 order by busy_from, id",
    )
    .bind(artist.to_string())
    .bind(span.to.0)
    .bind(span.from.plus(-DAY).0)
    .bind(span.from.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// Appointments that were hers and are another's now, as they last lay with her: gone from her calendar.
pub(super) async fn gone_from(
    db: &mut Db,
    artist: ArtistId,
    span: Span,
) -> Result<Vec<(AppointmentId, Span, i64, Instant)>, Problem> {
    let rows = sqlx::query(
        "select own.appointment, own.starts, own.ends, now.version, now.changed
         from appointment_version own join appointment now on now.id = own.appointment
         where own.artist = $1 and own.starts < $2 and own.starts > $3 and now.artist <> $4
         order by own.appointment, own.version",
    )
    .bind(artist.to_string())
    .bind(span.to.0)
    .bind(span.from.0)
    .bind(artist.to_string())
    .fetch_all(db)
    .await?;
    let mut gone: Vec<(AppointmentId, Span, i64, Instant)> = Vec::new();
    for row in &rows {
        let id = parsed(row, 0)?;
        let last = (id, Span::new(Instant(row.get(1)), Instant(row.get(2))), row.get(3), Instant(row.get(4)));
        match gone.last_mut() {
            Some(before) if before.0 == id => *before = last,
            _ => gone.push(last),
        }
    }
    Ok(gone)
}

/// Every appointment of a client, called off or not, by their beginning.
pub(super) async fn of_client(db: &mut Db, client: ClientId) -> Result<Vec<Appointment>, Problem> {
    let rows = sqlx::query(
        "select id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to, state,
         version, note, created, changed from appointment where client = $1 order by starts, id",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

/// Whether a client came, or is to come, before an instant.
pub(super) async fn came_before(db: &mut Db, client: ClientId, before: Instant) -> Result<bool, Problem> {
    let row = sqlx::query("select id from appointment where client = $1 and starts < $2 and state = 'booked' limit 1")
        .bind(client.to_string())
        .bind(before.0)
        .fetch_optional(db)
        .await?;
    Ok(row.is_some())
}

/// What is taken between two instants, of everybody; `except` is the appointment that is to be moved.
pub(super) async fn taken(db: &mut Db, span: Span, except: Option<AppointmentId>) -> Result<Vec<Taken>, Problem> {
    let rows = sqlx::query(
        "select artist, bed, busy_from, busy_to, starts from appointment
         where busy_from < $1 and busy_from > $2 and busy_to > $3 and state = 'booked' and id <> $4",
    )
    .bind(span.to.0)
    .bind(span.from.plus(-DAY).0)
    .bind(span.from.0)
    .bind(except.map_or_else(String::new, |id| id.to_string()))
    .fetch_all(db)
    .await?;
    rows.iter().map(read_taken).collect()
}

/// As [`taken`], of one artist.
pub(super) async fn taken_of(
    db: &mut Db,
    artist: ArtistId,
    span: Span,
    except: Option<AppointmentId>,
) -> Result<Vec<Taken>, Problem> {
    let rows = sqlx::query(
        "select artist, bed, busy_from, busy_to, starts from appointment
         where artist = $1 and busy_from < $2 and busy_from > $3 and busy_to > $4 and state = 'booked' and id <> $5",
    )
    .bind(artist.to_string())
    .bind(span.to.0)
    .bind(span.from.plus(-DAY).0)
    .bind(span.from.0)
    .bind(except.map_or_else(String::new, |id| id.to_string()))
    .fetch_all(db)
    .await?;
    rows.iter().map(read_taken).collect()
}

/// What other appointments have taken of these instants, of whatever artist and bed. Asked inside the write that books, of which
/// there is one at a time on both databases: nothing can come between asking and booking.
pub(super) async fn in_the_way(tx: &mut Tx, busy: Span, except: AppointmentId) -> Result<Vec<Taken>, Problem> {
    let rows = sqlx::query(
        "select artist, bed, busy_from, busy_to, starts from appointment
         where busy_from < $1 and busy_from > $2 and busy_to > $3 and state = 'booked' and id <> $4 order by busy_from",
    )
    .bind(busy.to.0)
    .bind(busy.from.plus(-DAY).0)
    .bind(busy.from.0)
    .bind(except.to_string())
    .fetch_all(tx.db())
    .await?;
    rows.iter().map(read_taken).collect()
}

fn read_taken(row: &AnyRow) -> Result<Taken, Problem> {
    Ok(Taken {
        artist: parsed(row, 0)?,
        bed: may_be(row, 1)?,
        busy: Span::new(Instant(row.get(2)), Instant(row.get(3))),
        starts: Instant(row.get(4)),
    })
}

/// Adds an appointment, or its next version: both rows in the write's transaction. Who asks has asked what is in the way.
pub(super) async fn keep(tx: &mut Tx, appointment: &Appointment, reason: &str) -> Result<(), Problem> {
    let (a, when) = (appointment, &appointment.when);
    sqlx::query(
        "insert into appointment (id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from,
         busy_to, state, version, note, created, changed)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18)
         on conflict (id) do update set artist = excluded.artist, bed = excluded.bed, service = excluded.service,
         client = excluded.client, short_name = excluded.short_name, first_visit = excluded.first_visit, wall = excluded.wall,
         zone = excluded.zone, starts = excluded.starts, ends = excluded.ends, busy_from = excluded.busy_from,
         busy_to = excluded.busy_to, state = excluded.state, version = excluded.version, note = excluded.note,
         changed = excluded.changed",
    )
    .bind(a.id.to_string())
    .bind(a.artist.to_string())
    .bind(a.bed.map(|bed| bed.to_string()))
    .bind(a.service.to_string())
    .bind(a.booked.client.map(|client| client.to_string()))
    .bind(&a.booked.short)
    .bind(i64::from(a.booked.first_visit))
    .bind(when.wall.to_string())
    .bind(&when.zone)
    .bind(when.visit.from.0)
    .bind(when.visit.to.0)
    .bind(when.busy.from.0)
    .bind(when.busy.to.0)
    .bind(a.state.word())
    .bind(a.version)
    .bind(&a.note)
    .bind(a.created.0)
    .bind(a.changed.0)
    .execute(tx.db())
    .await?;
    keep_version(tx, appointment, reason).await
}

async fn keep_version(tx: &mut Tx, a: &Appointment, reason: &str) -> Result<(), Problem> {
    let by = tx.actor.mark();
    sqlx::query(
        "insert into appointment_version (appointment, version, artist, bed, service, wall, zone, starts, ends, state, reason,
         by_mark, at) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)",
    )
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
    .bind(reason)
    .bind(by)
    .bind(a.changed.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The versions of an appointment, oldest first.
pub(super) async fn versions(db: &mut Db, id: AppointmentId) -> Result<Vec<Version>, Problem> {
    let rows = sqlx::query(
        "select version, artist, starts, state, reason, by_mark, at from appointment_version where appointment = $1 order by version",
    )
    .bind(id.to_string())
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Version {
                number: row.get(0),
                artist: parsed(row, 1)?,
                starts: Instant(row.get(2)),
                state: state(&row.get::<String, _>(3))?,
                reason: row.get(4),
                by: row.get(5),
                at: Instant(row.get(6)),
            })
        })
        .collect()
}

fn state(word: &str) -> Result<State, Problem> {
    State::from_word(word).ok_or_else(|| Problem::broken("an appointment in no state of ours"))
}

fn read(row: &AnyRow) -> Result<Appointment, Problem> {
    Ok(Appointment {
        id: parsed(row, 0)?,
        artist: parsed(row, 1)?,
        bed: may_be(row, 2)?,
        service: parsed(row, 3)?,
        booked: Booked { client: may_be(row, 4)?, short: row.get(5), first_visit: flag(row, 6) },
        when: When {
            wall: parsed(row, 7)?,
            zone: row.get(8),
            visit: Span::new(Instant(row.get(9)), Instant(row.get(10))),
            busy: Span::new(Instant(row.get(11)), Instant(row.get(12))),
        },
        state: state(&row.get::<String, _>(13))?,
        version: row.get(14),
        note: row.get(15),
        created: Instant(row.get(16)),
        changed: Instant(row.get(17)),
    })
}
