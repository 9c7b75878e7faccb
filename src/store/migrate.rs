//! Brings a database to the shape this program knows; makes a backup first when it holds data; refuses a newer one.

use std::path::{Path, PathBuf};

use sqlx::AnyConnection;
use sqlx::migrate::Migrator;
use sqlx::{Connection, Row};

use super::keys::make_private_folder;
use super::{Engine, archive};

static MIGRATIONS: Migrator = sqlx::migrate!("./migrations");

/// The number of the newest migration compiled into this program. A test keeps it equal to the folder.
pub const SCHEMA_OF_THIS_PROGRAM: i64 = 19;

const PROGRAM: &str = env!("CARGO_PKG_VERSION");

/// Which schema the database has, and which program last changed it.
struct Found {
    schema: i64,
    program: String,
}

/// Refuses a database of a newer program and says which two versions met; `Ok(schema)` otherwise (0 for an empty one).
pub(super) async fn check_version(engine: Engine, db: &mut AnyConnection) -> Result<i64, String> {
    let found = find(engine, db).await.map_err(|cause| format!("the database's version cannot be read: {cause}"))?;
    if found.schema > SCHEMA_OF_THIS_PROGRAM {
        return Err(format!(
            "this database was last used by Stillroom {} with schema {}; this is Stillroom {PROGRAM}, which knows schemas up to {}. \
             Start the newer program, or restore a backup made before the upgrade.",
            found.program, found.schema, SCHEMA_OF_THIS_PROGRAM
        ));
    }
    Ok(found.schema)
}

/// Checks, backs up, migrates. The caller holds the data folder's lock.
pub(super) async fn migrate(
    engine: Engine,
    db: &mut AnyConnection,
    backups: &Path,
    keep: usize,
    stamp: &str,
) -> Result<(), String> {
    let schema = check_version(engine, db).await?;
    if schema == SCHEMA_OF_THIS_PROGRAM {
        return Ok(());
    }
    if schema > 0 {
        let made = back_up(engine, db, backups, schema, stamp).await?;
        tracing::info!(file = %made.display(), "backup made before the migration");
        archive::rotate(backups, keep).map_err(|cause| format!("cannot tidy {}: {cause}", backups.display()))?;
    }
    MIGRATIONS
        .run_direct(None, db, false)
        .await
        .map_err(|cause| format!("the database could not be migrated: {cause}"))?;
    sqlx::query(
        "insert into setting (name, value) values ('house.program', $1)
         on conflict (name) do update set value = excluded.value",
    )
    .bind(PROGRAM)
    .execute(db)
    .await
    .map_err(|cause| format!("the database could not be marked: {cause}"))?;
    Ok(())
}

/// Only a database without our tables counts as empty; one that cannot be read is not migrated.
async fn find(engine: Engine, db: &mut AnyConnection) -> Result<Found, sqlx::Error> {
    let listed = match engine {
        Engine::Sqlite => "select count(*) from sqlite_master where name in ('_sqlx_migrations', 'setting')",
        Engine::Postgres => {
            "select count(*) from information_schema.tables
             where table_schema = current_schema() and table_name in ('_sqlx_migrations', 'setting')"
        }
    };
    let tables: i64 = sqlx::query(listed).fetch_one(&mut *db).await?.get(0);
    if tables < 2 {
        return Ok(Found { schema: 0, program: String::new() });
    }
    let schema = sqlx::query("select cast(max(version) as bigint) from _sqlx_migrations").fetch_one(&mut *db).await?;
    let program =
        sqlx::query("select value from setting where name = 'house.program'").fetch_optional(&mut *db).await?;
    Ok(Found {
        schema: schema.try_get::<Option<i64>, _>(0)?.unwrap_or(0),
        program: program.map_or_else(|| "of an unknown version".to_owned(), |row| row.get(0)),
    })
}

async fn back_up(
    engine: Engine,
    db: &mut AnyConnection,
    folder: &Path,
    schema: i64,
    stamp: &str,
) -> Result<PathBuf, String> {
    make_private_folder(folder).map_err(|cause| format!("cannot make {}: {cause}", folder.display()))?;
    let name = format!("before-migration-from-{schema:04}-{stamp}");
    let made = match engine {
        Engine::Sqlite => archive::sqlite_copy(db, &folder.join(format!("{name}.db"))).await,
        Engine::Postgres => {
            let mut snapshot = db
                .begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
                .await
                .map_err(|cause| format!("cannot begin the backup: {cause}"))?;
            archive::lines(&mut snapshot, &folder.join(format!("{name}.jsonl"))).await
        }
    };
    made.map_err(|cause| format!("no backup could be made before the migration, so nothing was migrated: {cause}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_schema_number_is_that_of_the_newest_migration() {
        let newest = MIGRATIONS.iter().map(|migration| migration.version).max();
        assert_eq!(newest, Some(SCHEMA_OF_THIS_PROGRAM));
    }
}
