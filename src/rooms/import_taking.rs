//! The taking of a logger's file: its rows go in by small writes, and it goes on after a restart.

use super::imports::{Import, being_taken, content, forget_content, read};
use super::readings::{self, NewReading, Outcome, Wording};
use super::written::TemperatureUnit;
use crate::base::actor::Actor;
use crate::base::problem::Problem;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::studio::Studio;

/// Rows taken in one write: long enough to be quick, short enough that nobody waits behind it.
const ROWS_A_WRITE: usize = 250;

/// Goes on with every file whose rows are being taken. Safe to run any number of times at once.
///
/// # Errors
/// When the database cannot be used.
pub(super) async fn go_on(house: &House) -> Result<(), Problem> {
    let waiting = {
        let mut db = house.store.read().await?;
        being_taken(&mut db).await?
    };
    for import in waiting {
        // One file that cannot go on must not keep the others waiting.
        if let Err(cause) = take(house, &import).await {
            tracing::warn!(import = %import.id, %cause, "a logger file could not go on; it is tried again");
        }
    }
    Ok(())
}

/// Takes the rows of one file in small writes; each notes how far it came in the same transaction.
async fn take(house: &House, import: &Import) -> Result<(), Problem> {
    let (bytes, wording) = {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let unit = if studio.fahrenheit { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
        (content(&mut db, import.id).await?, (unit, studio.decimal))
    };
    // It could be read when the person decided; only the program itself could have changed since.
    let file = read(house, bytes, import).await?.map_err(Problem::broken)?;
    let mut done = usize::try_from(import.rows_done).unwrap_or(0);
    while done < file.rows.len() {
        let rows = &file.rows[done..file.rows.len().min(done + ROWS_A_WRITE)];
        let news: Vec<NewReading> = rows.iter().map(|row| import.reading(row)).collect();
        if !take_some(house, import, done, news, wording).await? {
            return Ok(()); // Another process goes on with it.
        }
        done += rows.len();
    }
    let id = import.id;
    house
        .store
        .write(&FormKey::house(), move |tx| {
            Box::pin(async move {
                let done = sqlx::query("update reading_import set state = 'taken' where id = $1 and state = 'taking'")
                    .bind(id.to_string())
                    .execute(tx.db())
                    .await?;
                tx.record_tells_itself();
                if done.rows_affected() == 1 {
                    forget_content(tx, id).await?;
                    tx.audit("logger file", id, "taken").await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

async fn take_some(
    house: &House,
    import: &Import,
    was: usize,
    news: Vec<NewReading>,
    wording: Wording,
) -> Result<bool, Problem> {
    let (id, by) = (import.id, import.made_by.clone());
    let kept = house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            let (news, by) = (news.clone(), by.clone());
            Box::pin(async move {
                let done = was + news.len();
                let (mut new, mut aside) = (0_i64, 0_i64);
                for reading in &news {
                    match readings::keep_for(tx, reading, wording, &by).await? {
                        Outcome::Already => {}
                        Outcome::Kept => new += 1,
                        Outcome::SetAside(_) => {
                            new += 1;
                            aside += 1;
                        }
                    }
                }
                let moved = sqlx::query(
                    "update reading_import set rows_done = $1, rows_new = rows_new + $2, rows_aside = rows_aside + $5
                     where id = $3 and rows_done = $4 and state = 'taking'",
                )
                .bind(i64::try_from(done).unwrap_or(i64::MAX))
                .bind(new)
                .bind(id.to_string())
                .bind(i64::try_from(was).unwrap_or(i64::MAX))
                .bind(aside)
                .execute(tx.db())
                .await?;
                tx.record_tells_itself();
                Ok(Kept::see(if moved.rows_affected() == 1 { "moved" } else { "" }))
            })
        })
        .await?;
    Ok(kept.location == "moved")
}
