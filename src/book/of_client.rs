//! What the book keeps of a client: for her file, when two records are put together, and when hers is erased.

use sqlx::Row;

use super::appointment::{Appointment, Booked, Change, State};
use super::around::Around;
use super::{booking, store};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clients::file::{FilePart, FileRecord, FileValue};
use crate::clients::rights::{Erasing, Stays};
use crate::store::keys::Keys;
use crate::store::{Db, Tx};

/// The tables of this part that name a client, for the list of privacy.
pub const TABLES: &[&str] = &["appointment", "waiting"];

/// What stands in the place of a name that was erased.
const NOBODY: &str = "–";

/// Her appointments and what she waited for, oldest first, instants in UTC.
///
/// # Errors
/// When the database cannot be read.
pub async fn client_file(db: &mut Db, _keys: &Keys, client: ClientId) -> Result<Vec<FilePart>, Problem> {
    let around = Around::load(db).await?;
    let booked = store::of_client(db, client).await?;
    let booked = booked.iter().map(|own| appointment_record(&around, own)).collect();
    let rows = sqlx::query(
        "select w.short_name, s.name, w.from_day, w.to_day, w.note, w.created from waiting w join service s on s.id = w.service
         where w.client = $1 order by w.created",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    let waited = rows.iter().map(|row| {
        let text = |column: usize| row.get::<String, _>(column);
        let days = format!("{} to {}", text(2), text(3));
        let fields = [
            ("at", Instant(row.get(5)).into()),
            ("as", text(0).into()),
            ("for", text(1).into()),
            ("days", days.into()),
            ("note", text(4).into()),
        ];
        record("Waiting", fields)
    });
    Ok(vec![FilePart::new("Appointments", booked), FilePart::new("Waiting list", waited.collect())])
}

fn appointment_record(around: &Around, own: &Appointment) -> FileRecord {
    let fields = [
        ("at", own.when.visit.from.into()),
        ("until", own.when.visit.to.into()),
        ("as", own.booked.short.as_str().into()),
        ("for", around.service_name(own.service).into()),
        ("with", around.first_name(own.artist).into()),
        ("state", own.state.words().into()),
        ("note", own.note.as_str().into()),
    ];
    record("Appointment", fields)
}

fn record<const N: usize>(title: &str, fields: [(&str, FileValue); N]) -> FileRecord {
    FileRecord::new(title, fields.into_iter().filter(|(_, value)| !value.text().is_empty()))
}

/// Moves her appointments and waiting to another record of the same person.
///
/// # Errors
/// When the database refuses it.
pub async fn client_merge(tx: &mut Tx, _keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    for text in
        ["update appointment set client = $1 where client = $2", "update waiting set client = $1 where client = $2"]
    {
        sqlx::query(text).bind(into.to_string()).bind(from.to_string()).execute(tx.db()).await?;
    }
    tx.raise(super::TOPIC);
    tx.audit("move appointments", into, &from.to_string()).await
}

/// Calls off what is still to come and takes her name out of the rest: that somebody lay on a bed at an hour stays, and nothing of
/// who it was. Nothing of the book has to be kept of her.
///
/// # Errors
/// When the database refuses it.
pub async fn client_erase(
    tx: &mut Tx,
    _keys: &Keys,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Vec<Stays>, Problem> {
    for own in store::of_client(tx.db(), client).await? {
        let to_come = own.state == State::Booked && own.when.visit.from > erasing.at;
        if to_come {
            let off = Appointment {
                state: State::Cancelled,
                version: own.version + 1,
                changed: tx.now.0,
                booked: Booked { short: NOBODY.to_owned(), ..own.booked.clone() },
                ..own
            };
            booking::finish(tx, &off, "", Change::Cancelled).await?;
        }
    }
    for text in [
        "update appointment_version set reason = '' where appointment in (select id from appointment where client = $1)",
        "update appointment set short_name = '–', note = '', client = null where client = $1",
        "delete from waiting where client = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    tx.raise(super::TOPIC);
    tx.audit("erase appointments", client, "names").await?;
    Ok(Vec::new())
}
