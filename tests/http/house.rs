//! The house under test: the whole service in this process, on a copy of a furnished studio, with a clock that stands
//! where the test puts it. `both_databases!` makes two tests of one body.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use axum::Router;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use stillroom::base::problem::Problem;
use stillroom::base::time::MINUTE;
use stillroom::base::time::{Clock, Instant};
use stillroom::config::Config;
use stillroom::places;
use stillroom::store::{FormKey, Kept, OpenOptions, Store, Tx};
use stillroom::web::{House, serve};
use tempfile::TempDir;

use crate::browser::{Browser, Jar};
use crate::databases::{self, Database, Turn};
use crate::studio::{self, Actor, Things};

/// Two tests, `name::sqlite` and `name::postgres`, of one body. It gets a furnished studio; with `unclaimed` before the
/// body a house that nobody has claimed yet, with `invented` the demonstration with forty days of air.
macro_rules! both_databases {
    ($name:ident, async |$house:ident| $body:block) => {
        crate::house::both_databases!(@ $name, crate::house::Furnishing::Furnished, $house, $body);
    };
    ($name:ident, unclaimed, async |$house:ident| $body:block) => {
        crate::house::both_databases!(@ $name, crate::house::Furnishing::Unclaimed, $house, $body);
    };
    ($name:ident, invented, async |$house:ident| $body:block) => {
        crate::house::both_databases!(@ $name, crate::house::Furnishing::Invented, $house, $body);
    };
    (@ $name:ident, $furnishing:expr, $house:ident, $body:block) => {
        mod $name {
            #[allow(unused_imports, reason = "bodies differ in what they need")]
            use super::*;

            async fn body($house: &crate::house::TestHouse) $body

            #[test]
            fn sqlite() {
                crate::house::on_sqlite($furnishing, body);
            }

            #[test]
            fn postgres() {
                crate::house::on_postgres(stringify!($name), $furnishing, body);
            }
        }
    };
}
pub(crate) use both_databases;

/// What the database of a test begins with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Furnishing {
    /// The studio of `studio.rs`.
    Furnished,
    /// No row at all.
    Unclaimed,
    /// The invented studio of the demonstration, with forty days of air.
    Invented,
}

/// A house with its clock, its folder and its people.
pub(crate) struct TestHouse {
    pub(crate) house: House,
    pub(crate) clock: Clock,
    pub(crate) app: Router,
    /// What the furnished studio holds.
    pub(crate) things: Arc<Things>,
    /// For connections past the house.
    pub(crate) url: String,
    pub(crate) folder: PathBuf,
}

/// When every test begins: a Wednesday in February, 10:12 in Copenhagen.
pub(crate) fn ten_twelve() -> Instant {
    Instant::from_timestamp("2026-02-18T09:12:00Z".parse().unwrap())
}

impl TestHouse {
    /// Opens whatever lies in the folder; `postgres` is the database's URL, none for SQLite.
    pub(crate) async fn open(folder: &Path, postgres: Option<&str>, things: Arc<Things>, at: Instant) -> Self {
        let config = config(folder, postgres);
        let clock = Clock::standing_at(at);
        let store = Store::open(&OpenOptions::of(&config, clock.clone())).await.unwrap();
        let file = || format!("sqlite://{}", config.data_dir.join("stillroom.db").display());
        let url = postgres.map_or_else(file, str::to_owned);
        let house = House::new(store, config, false);
        let app = serve::app(&house, places::routes());
        Self { house, clock, app, things, url, folder: folder.to_owned() }
    }

    /// The same house after its process has gone and another one has begun. The first one's store must be closed; its lock
    /// is still held by this value, so the second comes in beside it.
    pub(crate) async fn restarted(&self) -> Self {
        let config = (*self.house.config).clone();
        let store = Store::open_beside(&OpenOptions::of(&config, self.clock.clone())).await.unwrap();
        let house = House::new(store, config, false);
        let app = serve::app(&house, places::routes());
        let (clock, things) = (self.clock.clone(), Arc::clone(&self.things));
        Self { house, clock, app, things, url: self.url.clone(), folder: self.folder.clone() }
    }

    /// The same database behind another configuration.
    pub(crate) fn configured(&self, change: impl FnOnce(&mut Config)) -> Self {
        let mut config = (*self.house.config).clone();
        change(&mut config);
        let house = House::new(self.house.store.clone(), config, false);
        let app = serve::app(&house, places::routes());
        let (clock, things) = (self.clock.clone(), Arc::clone(&self.things));
        Self { house, clock, app, things, url: self.url.clone(), folder: self.folder.clone() }
    }

    pub(crate) fn is_sqlite(&self) -> bool {
        self.url.starts_with("sqlite:")
    }

    /// A browser nobody has used yet.
    pub(crate) fn stranger(&self) -> Browser {
        Browser::new(&self.app, &self.house.config.base_path, Jar::new())
    }

    /// The browser or program of an actor of the furnished studio.
    pub(crate) fn actor(&self, actor: Actor) -> Browser {
        let things = &self.things;
        match actor {
            Actor::Anonymous => self.stranger(),
            Actor::Sensor => self.stranger().with_token(&things.sensor_secret),
            Actor::Reader => self.stranger().with_token(&things.read_secret),
            signed_in => Browser::new(&self.app, &self.house.config.base_path, things.jars[&signed_in].clone()),
        }
    }

    pub(crate) fn owner(&self) -> Browser {
        self.actor(Actor::Owner)
    }

    /// Lets minutes go by in which these browsers are in use, so that no sign-in of theirs lies idle.
    pub(crate) async fn pass(&self, minutes: i64, in_use: &mut [&mut Browser]) {
        for gone in (0..minutes).step_by(15) {
            self.clock.advance((minutes - gone).min(15) * MINUTE);
            for browser in &mut *in_use {
                browser.page("/first-aid").await;
            }
        }
    }

    /// A connection past the house.
    pub(crate) async fn past(&self) -> AnyConnection {
        databases::connect(&self.url).await
    }

    /// Another program that holds the database for writing until it is dropped.
    pub(crate) async fn hold_the_writer(&self) -> AnyConnection {
        let mut other = self.past().await;
        let steps: &[&str] =
            if self.is_sqlite() { &["begin immediate"] } else { &["begin", "lock table writer in exclusive mode"] };
        for step in steps {
            sqlx::query(*step).execute(&mut other).await.unwrap();
        }
        other
    }

    /// A whole number from the database.
    pub(crate) async fn number(&self, sql: &str) -> i64 {
        let mut db = self.house.store.read().await.unwrap();
        // The text stands in a test.
        sqlx::query(AssertSqlSafe(sql.to_owned())).fetch_one(&mut *db).await.unwrap().get(0)
    }

    /// A text from the database.
    pub(crate) async fn look(&self, sql: &str) -> String {
        let mut db = self.house.store.read().await.unwrap();
        sqlx::query(AssertSqlSafe(sql.to_owned())).fetch_one(&mut *db).await.unwrap().get(0)
    }

    /// Runs one statement as a write of the house itself.
    pub(crate) async fn run(&self, sql: &str) -> Result<Kept, Problem> {
        let sql = sql.to_owned();
        self.write(move |tx| {
            let sql = sql.clone();
            Box::pin(async move {
                sqlx::query(AssertSqlSafe(sql)).execute(tx.db()).await.map_err(Problem::broken)?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
    }

    /// A write of the house itself.
    pub(crate) async fn write<F>(&self, work: F) -> Result<Kept, Problem>
    where
        F: for<'t> Fn(&'t mut Tx) -> std::pin::Pin<Box<dyn Future<Output = Result<Kept, Problem>> + Send + 't>>
            + Send
            + Sync,
    {
        self.house.store.write(&FormKey::house(), work).await
    }

    /// How many rows each table holds: what a refused form must leave as it was.
    pub(crate) async fn counts(&self) -> BTreeMap<&'static str, i64> {
        // One statement for all of them: tests ask this hundreds of times.
        let each = TABLES.map(|table| format!("select '{table}', count(*) from {table}"));
        let mut db = self.house.store.read().await.unwrap();
        let rows = sqlx::query(AssertSqlSafe(each.join(" union all "))).fetch_all(&mut *db).await.unwrap();
        let counted: BTreeMap<String, i64> = rows.iter().map(|row| (row.get(0), row.get(1))).collect();
        TABLES.map(|table| (table, counted[table])).into()
    }
}

/// Every table of ours; a test compares the list with the migrations.
pub(crate) const TABLES: [&str; 94] = [
    "writer",
    "form_key",
    "audit",
    "setting",
    "person",
    "claim",
    "invitation",
    "sign_in_delay",
    "session",
    "token",
    "tablet",
    "code",
    "code_try",
    "room",
    "device",
    "instrument",
    "instrument_check",
    "reading",
    "reading_import",
    "client",
    "client_word",
    "client_artist",
    "client_key",
    "client_apart",
    "client_import",
    "questionnaire",
    "consultation",
    "consultation_beside",
    "consultation_asked",
    "medical_advice",
    "consent_text",
    "consent",
    "consent_withdrawal",
    "consent_copy",
    "handed_form",
    "photo",
    "erasure_rest",
    "artist",
    "timing_session",
    "placement",
    "hands_kept",
    "cure_class",
    "product",
    "stopped_lot",
    "bottle",
    "corrected_lot",
    "bench_sitting",
    "bench_test",
    "bottle_summary",
    "product_summary",
    "expected_visit",
    "expected_product",
    "house_adhesive",
    "patch_test",
    "patch_test_product",
    "patch_test_liquid",
    "patch_test_look",
    "doctor_finding",
    "doctor_statement",
    "clearance_override",
    "reaction",
    "reaction_product",
    "reaction_liquid",
    "follow_up",
    "exposure",
    "stop",
    "told",
    "told_client",
    "staff_incident",
    "complaint",
    "advice",
    "advice_shown",
    "advice_state",
    "works_in",
    "forecast",
    "forecast_kept",
    "topic",
    "outside_air",
    "service",
    "week_hours",
    "time_off",
    "bed",
    "appointment",
    "appointment_version",
    "waiting",
    "calendar_feed",
    "card",
    "card_zone",
    "card_count",
    "card_drop",
    "card_seen",
    "card_arrival",
    "card_step",
    "card_version",
];

/// The options of a house whose data lie in `folder`.
pub(crate) fn config(folder: &Path, postgres: Option<&str>) -> Config {
    let mut flags = BTreeMap::from([
        ("data_dir".to_owned(), folder.join("data").display().to_string()),
        ("keys_dir".to_owned(), folder.join("keys").display().to_string()),
        ("external_url".to_owned(), format!("http://{}", crate::browser::HOST)),
    ]);
    if let Some(url) = postgres {
        flags.insert("database_url".to_owned(), url.to_owned());
    }
    Config::resolve(&flags, []).unwrap().0
}

/// The furnished studio that tests get a copy of.
struct Template {
    folder: TempDir,
    things: Arc<Things>,
    database: Option<Database>,
}

impl Template {
    fn make(furnishing: Furnishing, database: Option<Database>) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let things = in_runtime(async {
            let url = database.as_ref().map(|database| database.url.as_str());
            let house = TestHouse::open(folder.path(), url, Arc::default(), ten_twelve()).await;
            let things = match furnishing {
                Furnishing::Furnished => studio::furnish(&house).await,
                Furnishing::Unclaimed => Things::default(),
                Furnishing::Invented => {
                    stillroom::demo::fill_with(&house.house, 40).await.unwrap();
                    Things::default()
                }
            };
            house.house.store.close().await;
            things
        });
        Self { folder, things: Arc::new(things), database }
    }
}

static ON_SQLITE: [OnceLock<Template>; 2] = [OnceLock::new(), OnceLock::new()];
static ON_POSTGRES: [OnceLock<Template>; 2] = [OnceLock::new(), OnceLock::new()];

pub(crate) fn on_sqlite(furnishing: Furnishing, body: impl AsyncFnOnce(&TestHouse)) {
    if furnishing == Furnishing::Unclaimed {
        return run(&tempfile::tempdir().unwrap(), None, Arc::default(), body);
    }
    let at = usize::from(furnishing == Furnishing::Invented);
    let template = ON_SQLITE[at].get_or_init(|| Template::make(furnishing, None));
    run(&copy(&template.folder), None, Arc::clone(&template.things), body);
}

pub(crate) fn on_postgres(test: &str, furnishing: Furnishing, body: impl AsyncFnOnce(&TestHouse)) {
    let Some(server) = databases::server(test) else { return };
    let _turn = Turn::take();
    if furnishing == Furnishing::Unclaimed {
        let database = Database::create(&server, None);
        return run(&tempfile::tempdir().unwrap(), Some(&database.url), Arc::default(), body);
    }
    let at = usize::from(furnishing == Furnishing::Invented);
    let template = ON_POSTGRES[at].get_or_init(|| Template::make(furnishing, Some(Database::create(&server, None))));
    let database = Database::create(&server, template.database.as_ref());
    run(&copy(&template.folder), Some(&database.url), Arc::clone(&template.things), body);
}

/// Data and keys of a template in a folder of their own.
fn copy(template: &TempDir) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for inner in ["data", "keys"] {
        std::fs::create_dir(folder.path().join(inner)).unwrap();
        for file in std::fs::read_dir(template.path().join(inner)).unwrap() {
            let file = file.unwrap();
            if file.file_type().unwrap().is_file() {
                std::fs::copy(file.path(), folder.path().join(inner).join(file.file_name())).unwrap();
            }
        }
    }
    folder
}

fn run(folder: &TempDir, postgres: Option<&str>, things: Arc<Things>, body: impl AsyncFnOnce(&TestHouse)) {
    in_runtime(async {
        let house = TestHouse::open(folder.path(), postgres, things, ten_twelve()).await;
        body(&house).await;
        house.house.store.close().await;
    });
}

pub(crate) fn in_runtime<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap().block_on(work)
}
