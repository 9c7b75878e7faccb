//! A database for each test: a copy of one that was made once for the run.
//!
//! SQLite: a file copied into a folder of its own. PostgreSQL: `create database … template …` on the server that
//! `STILLROOM_TEST_POSTGRES` names, dropped afterwards; at most four at once, since each takes a dozen connections.

use std::io::Write as _;
use std::path::Path;
use std::sync::{Condvar, Mutex, OnceLock};

use sqlx::{AnyConnection, AssertSqlSafe, Connection, Row};

/// The server for the PostgreSQL half; `None` without one, and then it says so where `tests/run` counts it.
pub(crate) fn server(test: &str) -> Option<String> {
    let server = std::env::var("STILLROOM_TEST_POSTGRES").ok().filter(|url| !url.is_empty());
    if server.is_none() {
        // Not `eprintln!`: the test harness would keep that to itself as long as the test passes.
        let _told = std::io::stderr().write_all(format!("skipped: no PostgreSQL for {test}\n").as_bytes());
        assert!(std::env::var_os("CI").is_none(), "CI is set and STILLROOM_TEST_POSTGRES names no server");
    }
    server
}

/// A connection past the house, for looking and for tampering.
pub(crate) async fn connect(url: &str) -> AnyConnection {
    sqlx::any::install_default_drivers();
    AnyConnection::connect(url).await.unwrap()
}

/// Runs statements on the server itself.
pub(crate) fn on_server<T>(work: impl AsyncFnOnce(&mut AnyConnection) -> T, server: &str) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut db = connect(server).await;
        let out = work(&mut db).await;
        db.close().await.unwrap();
        out
    })
}

/// A database of the server, dropped with its value.
pub(crate) struct Database {
    server: String,
    name: String,
    pub(crate) url: String,
}

static MADE: Mutex<u32> = Mutex::new(0);

impl Database {
    /// An empty database, or a copy of another one to which nobody may be connected.
    pub(crate) fn create(server: &str, like: Option<&Database>) -> Self {
        // One after the other: a template that is just being copied cannot be copied again on every server version.
        let mut made = MADE.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if *made == 0 {
            on_server(drop_leftovers, server);
        }
        *made += 1;
        let name = format!("stillroom_http_{}_{made}", std::process::id());
        let template = like.map(|other| format!(" template \"{}\"", other.name)).unwrap_or_default();
        // Both names were made here.
        let text = format!("create database \"{name}\"{template}{}", copied_by(server));
        on_server(async |db| sqlx::query(AssertSqlSafe(text)).execute(db).await.map(|_| ()).unwrap(), server);
        let (host, _) = server.rsplit_once('/').unwrap();
        Self { server: server.to_owned(), url: format!("{host}/{name}"), name }
    }
}

/// How a new database is copied. From version 15 on the server would write every page into its log, which takes six times as long
/// and is of no use to a database that nobody restores.
fn copied_by(server: &str) -> &'static str {
    static BY: OnceLock<&str> = OnceLock::new();
    BY.get_or_init(|| {
        let version = on_server(
            async |db| {
                let asked = sqlx::query("select cast(current_setting('server_version_num') as bigint)");
                asked.fetch_one(db).await.unwrap().get::<i64, _>(0)
            },
            server,
        );
        if version >= 150_000 { " strategy file_copy" } else { "" }
    })
}

impl Drop for Database {
    fn drop(&mut self) {
        let text = format!("drop database if exists \"{}\" with (force)", self.name);
        on_server(async |db| sqlx::query(AssertSqlSafe(text)).execute(db).await.map(|_| ()).unwrap(), &self.server);
    }
}

/// Databases of runs that ended without tidying up: their process is gone.
async fn drop_leftovers(db: &mut AnyConnection) {
    let found = sqlx::query("select cast(datname as text) from pg_database where datname like 'stillroom_http_%'");
    for row in found.fetch_all(&mut *db).await.unwrap() {
        let name: String = row.get(0);
        let process = name.split('_').nth(2).unwrap_or_default();
        if Path::new("/proc/self").exists() && !Path::new("/proc").join(process).exists() {
            // The name comes from the server's own list and begins as ours do.
            let dropped =
                sqlx::query(AssertSqlSafe(format!("drop database if exists \"{name}\""))).execute(&mut *db).await;
            // Another run may be doing the same.
            drop(dropped);
        }
    }
}

/// Leave to use the server; at most four at once.
pub(crate) struct Turn;

static TURNS: (Mutex<u32>, Condvar) = (Mutex::new(4), Condvar::new());

impl Turn {
    pub(crate) fn take() -> Self {
        let free = TURNS.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let mut free = TURNS.1.wait_while(free, |free| *free == 0).unwrap_or_else(std::sync::PoisonError::into_inner);
        *free -= 1;
        Self
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        *TURNS.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner) += 1;
        TURNS.1.notify_one();
    }
}
