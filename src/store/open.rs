//! Opening the house's database: folder, lock, keys, pools, migrations.

use std::fmt;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Once};
use std::time::Duration;

use sqlx::any::{AnyConnectOptions, AnyPoolOptions};
use sqlx::{AnyConnection, AnyPool, ConnectOptions, Connection, Row};

use super::keys::{Keys, make_private_folder, private_file};
use super::{Engine, Store, migrate};
use crate::base::time::Clock;
use crate::config::{Config, Database};

/// Where the database is and how it is opened.
#[derive(Debug, Clone)]
pub struct OpenOptions {
    /// The data folder: SQLite's file, the lock, the backups.
    pub data_dir: PathBuf,
    /// The keys folder, outside the data folder.
    pub keys_dir: PathBuf,
    /// Which database.
    pub database: Database,
    /// Connections that only read.
    pub read_connections: u32,
    /// Copies made before migrations that are kept.
    pub backups_keep: usize,
    /// The clock.
    pub clock: Clock,
}

impl OpenOptions {
    /// From the options of the service.
    #[must_use]
    pub fn of(config: &Config, clock: Clock) -> Self {
        Self {
            data_dir: config.data_dir.clone(),
            keys_dir: config.keys_dir.clone(),
            database: config.database.clone(),
            read_connections: config.read_connections,
            backups_keep: config.backups_keep as usize,
            clock,
        }
    }
}

/// Why the database could not be opened: one line for the terminal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenError(pub String);

impl fmt::Display for OpenError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for OpenError {}

impl From<String> for OpenError {
    fn from(line: String) -> Self {
        Self(line)
    }
}

impl Store {
    /// Opens for serving: takes the folder's lock, migrates (with a backup first), opens the pools.
    ///
    /// # Errors
    /// One line: the folder is in use, the database is newer, cannot be reached, or could not be migrated.
    pub async fn open(options: &OpenOptions) -> Result<Self, OpenError> {
        let lock = take_lock(&options.data_dir)?;
        Self::open_with(options, Some(lock)).await
    }

    /// Opens beside a running server for a command that writes little: no lock, no migration, same schema only.
    ///
    /// # Errors
    /// One line, also when the database has another schema than this program.
    pub async fn open_beside(options: &OpenOptions) -> Result<Self, OpenError> {
        Self::open_with(options, None).await
    }

    async fn open_with(options: &OpenOptions, lock: Option<File>) -> Result<Self, OpenError> {
        install_drivers();
        let serving = lock.is_some();
        let mut keys = if serving { Keys::open(&options.keys_dir)?.0 } else { Keys::open_existing(&options.keys_dir)? };
        let (engine, url) = where_to(options, serving)?;
        let backups = options.data_dir.join("backups");
        let mut first = connect(engine, &url).await?;
        if serving {
            let stamp = options.clock.now().0.iso().replace(':', "");
            migrate::migrate(engine, &mut first, &backups, options.backups_keep, &stamp).await?;
        } else {
            let schema = migrate::check_version(engine, &mut first).await?;
            if schema != migrate::SCHEMA_OF_THIS_PROGRAM {
                return Err(OpenError(format!(
                    "the database has schema {schema}, this program schema {}: start the service once so that it is migrated",
                    migrate::SCHEMA_OF_THIS_PROGRAM
                )));
            }
        }
        check_key(&mut first, &keys, serving).await?;
        open_sealing(&mut first, &mut keys, serving).await?;
        first.close().await.map_err(|cause| cause.to_string())?;
        let readers = pool(engine, &url, options.read_connections.max(1), true).await?;
        // One writing connection on both: who waits, waits for it here, and among processes for PostgreSQL's lock. An answer is due
        // within five seconds, so neither wait is longer than half of that.
        let writer = pool(engine, &url, 1, false).await?;
        let (keys, clock) = (Arc::new(keys), options.clock.clone());
        Ok(Self {
            engine,
            readers,
            writer,
            keys,
            clock,
            _lock: lock.map(Arc::new),
            folder: options.data_dir.clone(),
            backups,
        })
    }

    /// Where copies made before migrations lie.
    #[must_use]
    pub fn backups(&self) -> &Path {
        &self.backups
    }
}

/// A database remembers which key it was made with: links, tokens and the audit chain of another would not hold.
async fn check_key(db: &mut AnyConnection, keys: &Keys, serving: bool) -> Result<(), OpenError> {
    let tell = |cause: sqlx::Error| OpenError(format!("the database cannot be read: {cause}"));
    let row = sqlx::query("select value from setting where name = 'house.key'")
        .fetch_optional(&mut *db)
        .await
        .map_err(tell)?;
    match row.map(|row| row.get::<String, _>(0)) {
        Some(id) if id == keys.id() => Ok(()),
        Some(id) => Err(OpenError(format!(
            "this database belongs to key {id}; the keys folder {} holds key {}. Put the right keys folder there, or name it with keys_dir",
            keys.folder().display(),
            keys.id()
        ))),
        None if serving => {
            sqlx::query("insert into setting (name, value) values ('house.key', $1) on conflict (name) do nothing")
                .bind(keys.id())
                .execute(db)
                .await
                .map_err(tell)?;
            Ok(())
        }
        None => Ok(()),
    }
}

/// A database remembers which key seals what clients said of their health: with another one, or without it, nothing would open.
async fn open_sealing(db: &mut AnyConnection, keys: &mut Keys, serving: bool) -> Result<(), OpenError> {
    let tell = |cause: sqlx::Error| OpenError(format!("the database cannot be read: {cause}"));
    let named = "select value from setting where name = 'house.sealing_key'";
    let needed = sqlx::query(named).fetch_optional(&mut *db).await.map_err(tell)?;
    let needed: Option<String> = needed.map(|row| row.get(0));
    keys.open_sealing(needed.as_deref(), serving)?;
    if needed.is_none() && serving {
        sqlx::query("insert into setting (name, value) values ('house.sealing_key', $1) on conflict (name) do nothing")
            .bind(keys.sealing_id())
            .execute(&mut *db)
            .await
            .map_err(tell)?;
        // Another process on the same database may have been first, with a key of its own.
        let kept: String = sqlx::query(named).fetch_one(db).await.map_err(tell)?.get(0);
        keys.open_sealing(Some(&kept), false)?;
    }
    Ok(())
}

/// The URL of an SQLite file, with what URLs reserve escaped.
pub(super) fn sqlite_url(file: &Path, mode: &str) -> String {
    let mut path = String::new();
    for c in file.to_string_lossy().chars() {
        match c {
            '%' => path.push_str("%25"),
            '?' => path.push_str("%3F"),
            '#' => path.push_str("%23"),
            ' ' => path.push_str("%20"),
            c => path.push(c),
        }
    }
    format!("sqlite://{path}?mode={mode}")
}

fn install_drivers() {
    static ONCE: Once = Once::new();
    ONCE.call_once(sqlx::any::install_default_drivers);
}

fn take_lock(folder: &Path) -> Result<File, OpenError> {
    let tell =
        |cause: &dyn fmt::Display| OpenError(format!("cannot use the data folder {}: {cause}", folder.display()));
    make_private_folder(folder).map_err(|cause| tell(&cause))?;
    let lock = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(folder.join("stillroom.lock"))
        .map_err(|cause| tell(&cause))?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(std::fs::TryLockError::WouldBlock) => Err(OpenError(format!(
            "another Stillroom already uses the data folder {}: stop it first, or give this one a folder of its own",
            folder.display()
        ))),
        Err(std::fs::TryLockError::Error(cause)) => Err(tell(&cause)),
    }
}

/// Only serving makes a new database: a command beside it with a mistyped folder must not.
fn where_to(options: &OpenOptions, may_make: bool) -> Result<(Engine, String), OpenError> {
    match &options.database {
        Database::Sqlite(file) => {
            let tell = |cause: std::io::Error| OpenError(format!("cannot use {}: {cause}", file.display()));
            let file_at = std::path::absolute(file).map_err(tell)?;
            if !may_make && !file_at.exists() {
                return Err(OpenError(format!("there is no database at {}", file_at.display())));
            }
            if let Some(folder) = file_at.parent() {
                make_private_folder(folder).map_err(tell)?;
            }
            if may_make && !file_at.exists() {
                // SQLite gives its other files the same permissions.
                private_file(&file_at).map_err(tell)?;
            }
            Ok((Engine::Sqlite, sqlite_url(&file_at, if may_make { "rwc" } else { "rw" })))
        }
        Database::Postgres(url) => Ok((Engine::Postgres, url.reveal().to_owned())),
    }
}

async fn connect(engine: Engine, url: &str) -> Result<AnyConnection, OpenError> {
    let options: AnyConnectOptions = url.parse().map_err(|_| OpenError("database_url cannot be read".to_owned()))?;
    let mut db =
        options.connect().await.map_err(|cause| OpenError(format!("the database cannot be opened: {cause}")))?;
    prepare(engine, &mut db, false)
        .await
        .map_err(|cause| OpenError(format!("the database cannot be set up: {cause}")))?;
    Ok(db)
}

async fn pool(engine: Engine, url: &str, most: u32, reading: bool) -> Result<AnyPool, OpenError> {
    let options: AnyConnectOptions = url.parse().map_err(|_| OpenError("database_url cannot be read".to_owned()))?;
    let pool = AnyPoolOptions::new()
        .max_connections(most)
        .acquire_timeout(Duration::from_millis(2500))
        .after_connect(move |db, _| Box::pin(prepare(engine, db, reading)))
        .connect_lazy_with(options);
    // Whoever asks for a page is told soon that the house is busy; a house that begins, often with its whole machine, may wait longer.
    let mut tries = 4;
    loop {
        tries -= 1;
        match pool.acquire().await {
            Ok(_) => return Ok(pool),
            Err(sqlx::Error::PoolTimedOut) if tries > 0 => {}
            Err(cause) => return Err(OpenError(format!("the database cannot be opened: {cause}"))),
        }
    }
}

/// SQLite's promises are set by name, never left to a build's default: FULL is what keeps an acknowledged write through a power cut.
async fn prepare(engine: Engine, db: &mut AnyConnection, reading: bool) -> Result<(), sqlx::Error> {
    if engine == Engine::Postgres {
        sqlx::query("set time zone 'UTC'").execute(&mut *db).await?;
        return Ok(());
    }
    for pragma in [
        "pragma busy_timeout = 5000",
        "pragma journal_mode = wal",
        "pragma synchronous = full",
        "pragma foreign_keys = on",
        "pragma trusted_schema = off",
        "pragma secure_delete = on",
        "pragma wal_autocheckpoint = 1000",
        // In KiB. The desk's list alone goes through more than the 2 MB it is by default, and would read them twice.
        "pragma cache_size = -8192",
    ] {
        sqlx::query(pragma).fetch_all(&mut *db).await?;
    }
    let mode: i64 = sqlx::query("pragma synchronous").fetch_one(&mut *db).await?.get(0);
    if mode != 2 {
        return Err(sqlx::Error::Configuration("SQLite did not take synchronous = full".into()));
    }
    if reading {
        sqlx::query("pragma query_only = on").fetch_all(&mut *db).await?;
    }
    Ok(())
}
