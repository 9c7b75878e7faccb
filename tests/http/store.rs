//! The store: one writer at a time, the audit chain, versions that do not fit, backups before migrations, the lock, and
//! what SQLite promises.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::{AssertSqlSafe, Connection, Row};
use stillroom::base::problem::Problem;
use stillroom::base::time::Clock;
use stillroom::store::audit::{self, Verdict};
use stillroom::store::{FormKey, Kept, OpenOptions, SCHEMA_OF_THIS_PROGRAM, Store, Tx, settings};

use crate::databases::{self, Database};
use crate::house::{both_databases, config, in_runtime, ten_twelve};
use crate::random::Random;

/// Adds one to a number kept as a setting, in one write.
async fn count_up(store: &Store) -> Result<Kept, Problem> {
    store
        .write(&FormKey::house(), |tx| {
            Box::pin(async move {
                let kept = settings::all(tx.db()).await?;
                let before: i64 = kept.get("test.count").and_then(|text| text.parse().ok()).unwrap_or(0);
                // Whoever else writes would have every chance to come between.
                tokio::task::yield_now().await;
                settings::set(tx, "test.count", &(before + 1).to_string()).await?;
                tx.audit("count", "", "").await?;
                Ok(Kept::see(""))
            })
        })
        .await
}

both_databases!(fifty_writers_at_once_lose_no_count, async |house| {
    let lines = house.number("select count(*) from audit").await;
    let writers: Vec<_> = (0..50)
        .map(|_| {
            let store = house.house.store.clone();
            tokio::spawn(async move { count_up(&store).await })
        })
        .collect();
    for writer in writers {
        writer.await.unwrap().unwrap();
    }
    assert_eq!(house.look("select value from setting where name = 'test.count'").await, "50");
    assert_eq!(house.number("select count(*) from audit").await, lines + 50);
    let mut db = house.house.store.read().await.unwrap();
    assert!(
        matches!(audit::verify(&mut db, house.house.store.keys(), &[]).await.unwrap(), Verdict::Whole { lines: found, .. } if found == lines + 50)
    );
});

both_databases!(two_processes_on_one_server_write_one_after_the_other, async |house| {
    if house.is_sqlite() {
        // One process a folder there; the lock's own test shows it.
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let mut options = OpenOptions::of(&house.house.config, house.clock.clone());
    options.data_dir = folder.path().join("data");
    let second = Store::open(&options).await.unwrap();
    let writers: Vec<_> = (0..50)
        .map(|n| {
            let store = if n % 2 == 0 { house.house.store.clone() } else { second.clone() };
            tokio::spawn(async move { count_up(&store).await })
        })
        .collect();
    for writer in writers {
        writer.await.unwrap().unwrap();
    }
    assert_eq!(house.look("select value from setting where name = 'test.count'").await, "50");
    second.close().await;
});

both_databases!(a_write_waits_while_another_program_holds_the_database_for_a_moment, async |house| {
    let other = house.hold_the_writer().await;
    let store = house.house.store.clone();
    let writer = tokio::spawn(async move { count_up(&store).await });
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert!(!writer.is_finished(), "it wrote past the other program");
    other.close().await.unwrap();
    writer.await.unwrap().unwrap();
    assert_eq!(house.look("select value from setting where name = 'test.count'").await, "1");
});

both_databases!(a_database_held_for_longer_than_a_write_waits_is_busy_and_nothing_is_written, async |house| {
    let before = house.counts().await;
    let other = house.hold_the_writer().await;
    let told = count_up(&house.house.store).await;
    assert!(matches!(told, Err(Problem::Busy)), "{told:?}");
    other.close().await.unwrap();
    assert_eq!(house.counts().await, before);
    count_up(&house.house.store).await.unwrap();
    assert_eq!(house.look("select value from setting where name = 'test.count'").await, "1");
});

/// Loses the transaction in the middle of its work: on PostgreSQL the server ends the connection, as it does when it is stopped;
/// SQLite has no such way, so it is said to be busy.
async fn lose_the_transaction(tx: &mut Tx, on_sqlite: bool) -> Result<(), Problem> {
    if on_sqlite {
        return Err(Problem::Busy);
    }
    sqlx::query("select pg_terminate_backend(pg_backend_pid())").execute(tx.db()).await?;
    Ok(())
}

both_databases!(a_write_whose_transaction_is_lost_half_way_is_begun_anew_and_counts_once, async |house| {
    let (before, on_sqlite) = (house.counts().await, house.is_sqlite());
    let runs = Arc::new(AtomicU32::new(0));
    let count = Arc::clone(&runs);
    house
        .write(move |tx| {
            let run = count.fetch_add(1, Ordering::SeqCst);
            Box::pin(async move {
                settings::set(tx, "test.run", &run.to_string()).await?;
                tx.audit("run", "", "").await?;
                if run == 0 {
                    lose_the_transaction(tx, on_sqlite).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .unwrap();
    assert_eq!(runs.load(Ordering::SeqCst), 2);
    assert_eq!(house.look("select value from setting where name = 'test.run'").await, "1");
    let after = house.counts().await;
    assert_eq!((after["audit"], after["setting"]), (before["audit"] + 1, before["setting"] + 1));
});

both_databases!(a_write_that_is_lost_every_time_is_given_up_with_nothing_written, async |house| {
    let (before, on_sqlite) = (house.counts().await, house.is_sqlite());
    let told = house
        .write(move |tx| {
            Box::pin(async move {
                settings::set(tx, "test.run", "1").await?;
                tx.audit("run", "", "").await?;
                lose_the_transaction(tx, on_sqlite).await?;
                Ok(Kept::see(""))
            })
        })
        .await;
    assert!(matches!(told, Err(Problem::Busy)), "{told:?}");
    assert_eq!(house.counts().await, before);
});

both_databases!(a_house_without_its_database_lives_and_is_not_ready, async |house| {
    let mut watcher = house.stranger();
    watcher.get("/readyz").await.must(200);
    if house.is_sqlite() {
        house.house.store.close().await;
    } else {
        let (host, name) = house.url.rsplit_once('/').unwrap();
        let mut server = databases::connect(&format!("{host}/postgres")).await;
        let gone = format!("drop database \"{name}\" with (force)");
        // The name is one the test made.
        sqlx::query(AssertSqlSafe(gone)).execute(&mut server).await.unwrap();
        server.close().await.unwrap();
    }
    assert_eq!(watcher.get("/readyz").await.must(503).text(), "not ready\n");
    watcher.get("/healthz").await.must(200);
});

both_databases!(a_write_that_says_nothing_of_itself_is_refused_and_undone, async |house| {
    let before = house.counts().await;
    let refused = house
        .write(|tx| {
            Box::pin(async move {
                settings::set(tx, "test.silent", "1").await?;
                Ok(Kept::see(""))
            })
        })
        .await;
    assert!(matches!(refused, Err(Problem::Broken(_))), "{refused:?}");
    assert_eq!(house.counts().await, before);
});

both_databases!(a_write_that_fails_half_way_leaves_nothing, async |house| {
    let before = house.counts().await;
    let failed = house
        .write(|tx| {
            Box::pin(async move {
                settings::set(tx, "test.half", "1").await?;
                tx.audit("half", "", "").await?;
                Err(Problem::NotHere("second half"))
            })
        })
        .await;
    assert!(matches!(failed, Err(Problem::NotHere(_))));
    assert_eq!(house.counts().await, before);
});

both_databases!(a_page_reads_one_state_of_the_house, async |house| {
    let mut db = house.house.store.read().await.unwrap();
    let count = "select count(*) from setting";
    let before: i64 = sqlx::query(count).fetch_one(&mut *db).await.unwrap().get(0);
    house.run("insert into setting (name, value) values ('test.later', '1')").await.unwrap();
    let after: i64 = sqlx::query(count).fetch_one(&mut *db).await.unwrap().get(0);
    assert_eq!(after, before);
    assert!(sqlx::query("delete from setting").execute(&mut *db).await.is_err(), "a read may not write");
});

/// The columns of a line that somebody could change, and how to change one character of each.
async fn tamper(db: &mut sqlx::AnyConnection, random: &mut Random, lines: i64) -> String {
    let line = 1 + i64::try_from(random.below(usize::try_from(lines).unwrap())).unwrap();
    let column = ["at", "actor", "action", "subject", "detail", "chain"][random.below(6)];
    let text = format!("select cast({column} as text) from audit where line = $1");
    let before: String = sqlx::query(AssertSqlSafe(text)).bind(line).fetch_one(&mut *db).await.unwrap().get(0);
    let mut bytes = before.clone().into_bytes();
    if bytes.is_empty() {
        bytes.push(b'0');
    } else {
        let at = random.below(bytes.len());
        bytes[at] = match (column, bytes[at]) {
            ("at", b'9') => b'1',
            ("at", digit) => digit + 1,
            (_, b'~') => b'!',
            (_, byte) => byte + 1,
        };
    }
    let cast = if column == "at" { "cast($1 as bigint)" } else { "$1" };
    let text = format!("update audit set {column} = {cast} where line = $2");
    let changed = String::from_utf8(bytes).unwrap();
    sqlx::query(AssertSqlSafe(text)).bind(changed).bind(line).execute(&mut *db).await.unwrap();
    format!("line {line}, {column}, {before:?}")
}

both_databases!(every_edit_and_every_missing_line_of_the_audit_chain_is_noticed, async |house| {
    let mut db = house.past().await;
    let keys = house.house.store.keys();
    let whole = audit::verify(&mut db, keys, &[]).await.unwrap();
    let Verdict::Whole { lines, head } = whole else { panic!("broken from the start") };
    let heads = [(lines, head.clone())];
    assert!(lines > 20, "only {lines} lines to tamper with");
    let mut random = Random(20_260_218);
    let mut noticed = (0, 0, 0);
    for _ in 0..1000 {
        let mut transaction = db.begin().await.unwrap();
        let what = tamper(&mut transaction, &mut random, lines).await;
        let verdict = audit::verify(&mut transaction, keys, &[]).await.unwrap();
        assert!(matches!(verdict, Verdict::BrokenAt(_)), "not noticed: {what}");
        noticed.0 += 1;
        transaction.rollback().await.unwrap();
    }
    for n in 0..100 {
        let line = 1 + n % (lines - 1);
        let mut transaction = db.begin().await.unwrap();
        sqlx::query("delete from audit where line = $1").bind(line).execute(&mut *transaction).await.unwrap();
        assert_eq!(audit::verify(&mut transaction, keys, &[]).await.unwrap(), Verdict::BrokenAt(line));
        noticed.1 += 1;
        transaction.rollback().await.unwrap();
    }
    for n in 0..100 {
        // A cut tail leaves a whole chain: only the head kept elsewhere shows it.
        let from = 2 + n % (lines - 1);
        let mut transaction = db.begin().await.unwrap();
        sqlx::query("delete from audit where line >= $1").bind(from).execute(&mut *transaction).await.unwrap();
        let alone = audit::verify(&mut transaction, keys, &[]).await.unwrap();
        assert!(matches!(alone, Verdict::Whole { lines: left, .. } if left == from - 1), "what is left is whole");
        assert_eq!(audit::verify(&mut transaction, keys, &heads).await.unwrap(), Verdict::BrokenAt(from));
        noticed.2 += 1;
        transaction.rollback().await.unwrap();
    }
    assert_eq!(noticed, (1000, 100, 100));
    assert_eq!(audit::verify(&mut db, keys, &heads).await.unwrap(), Verdict::Whole { lines, head });
});

both_databases!(the_audit_chain_holds_ids_and_never_names_or_values, async |house| {
    let mut db = house.past().await;
    for line in audit::newest(&mut db, 1000).await.unwrap() {
        let whole = format!("{} {} {} {}", line.actor, line.action, line.subject, line.detail);
        for word in ["Ines", "Okafor", "Gable", "Marram", "attic.csv", "copper", "sr_", "tower"] {
            assert!(!whole.contains(word), "{word} stands in {whole}");
        }
    }
});

both_databases!(an_older_program_refuses_a_newer_database_and_names_both, async |house| {
    house.run("update setting set value = '9.4.1' where name = 'house.program'").await.unwrap();
    let mut db = house.past().await;
    let newer = "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
                 select version + 1000, description, success, checksum, execution_time from _sqlx_migrations where version = 1";
    sqlx::query(newer).execute(&mut db).await.unwrap();
    house.house.store.close().await;
    let folder = tempfile::tempdir().unwrap();
    for beside in [false, true] {
        let mut options = OpenOptions::of(&house.house.config, house.clock.clone());
        // Its own lock: the house under test still holds the other one.
        options.data_dir = folder.path().join("data");
        let told = if beside { Store::open_beside(&options).await } else { Store::open(&options).await };
        let told = told.err().expect("it must refuse").to_string();
        assert!(told.contains("Stillroom 9.4.1 with schema 1001"), "{told}");
        assert!(told.contains(&format!("Stillroom {}", env!("CARGO_PKG_VERSION"))), "{told}");
        assert!(told.contains(&format!("schemas up to {SCHEMA_OF_THIS_PROGRAM}")), "{told}");
    }
    db.close().await.unwrap();
});

/// Migrates an empty database as far as an earlier program would have, and puts rows into it.
async fn earlier_house(url: &str, folder: &Path) {
    for name in ["0001_house.sql", "0002_people.sql"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(name);
        std::fs::copy(from, folder.join(name)).unwrap();
    }
    let mut db = databases::connect(url).await;
    Migrator::new(folder).await.unwrap().run_direct(None, &mut db, false).await.unwrap();
    for text in [
        "insert into setting (name, value) values ('house.program', '0.0.9')",
        "insert into setting (name, value) values ('studio.name', 'Marram House, Ø 1')",
        "insert into person (id, name, name_key, role, passphrase, created) values
         ('01890000-0000-7000-8000-000000000001', 'Runa Marsh', 'runa marsh', 'owner', 'hash', 1700000000000000)",
    ] {
        sqlx::query(text).execute(&mut db).await.unwrap();
    }
    db.close().await.unwrap();
}

/// Opens an earlier house with this program; the folder of its backups.
async fn upgrade(folder: &Path, postgres: Option<&str>) -> Vec<std::path::PathBuf> {
    let config = config(folder, postgres);
    let store = Store::open(&OpenOptions::of(&config, Clock::standing_at(ten_twelve()))).await.unwrap();
    let mut db = store.read().await.unwrap();
    let schema: i64 = sqlx::query("select cast(max(version) as bigint) from _sqlx_migrations")
        .fetch_one(&mut *db)
        .await
        .unwrap()
        .get(0);
    assert_eq!(schema, SCHEMA_OF_THIS_PROGRAM);
    let name: String = sqlx::query("select name from person").fetch_one(&mut *db).await.unwrap().get(0);
    assert_eq!(name, "Runa Marsh");
    assert_eq!(settings::all(&mut db).await.unwrap()["house.program"], env!("CARGO_PKG_VERSION"));
    drop(db);
    let backups = std::fs::read_dir(store.backups()).unwrap().map(|entry| entry.unwrap().path()).collect();
    store.close().await;
    backups
}

#[test]
fn a_backup_is_made_before_a_migration_and_holds_what_was_there_on_sqlite() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("data")).unwrap();
    let file = folder.path().join("data/stillroom.db");
    in_runtime(async {
        let migrations = tempfile::tempdir().unwrap();
        earlier_house(&format!("sqlite://{}?mode=rwc", file.display()), migrations.path()).await;
        let backups = upgrade(folder.path(), None).await;
        let [backup] = backups.as_slice() else { panic!("{backups:?}") };
        assert_eq!(backup.file_name().unwrap(), "before-migration-from-0002-2026-02-18T091200Z.db");
        let mut db = databases::connect(&format!("sqlite://{}?mode=ro", backup.display())).await;
        let kept: String = sqlx::query("select value from setting where name = 'studio.name'")
            .fetch_one(&mut db)
            .await
            .unwrap()
            .get(0);
        assert_eq!(kept, "Marram House, Ø 1");
        let schema: i64 = sqlx::query("select cast(max(version) as bigint) from _sqlx_migrations")
            .fetch_one(&mut db)
            .await
            .unwrap()
            .get(0);
        assert_eq!(schema, 2, "the copy is from before the migration");
        assert!(upgrade(folder.path(), None).await.len() == 1, "nothing to migrate, nothing to back up");
    });
}

#[test]
fn a_backup_is_made_before_a_migration_and_holds_what_was_there_on_postgres() {
    let Some(server) = databases::server("a_backup_is_made_before_a_migration") else { return };
    let _turn = databases::Turn::take();
    let database = Database::create(&server, None);
    let folder = tempfile::tempdir().unwrap();
    in_runtime(async {
        let migrations = tempfile::tempdir().unwrap();
        earlier_house(&database.url, migrations.path()).await;
        let backups = upgrade(folder.path(), Some(&database.url)).await;
        let [backup] = backups.as_slice() else { panic!("{backups:?}") };
        assert_eq!(backup.file_name().unwrap(), "before-migration-from-0002-2026-02-18T091200Z.jsonl");
        let text = std::fs::read_to_string(backup).unwrap();
        let lines: Vec<serde_json::Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        assert!(lines.contains(&serde_json::json!({ "name": "studio.name", "value": "Marram House, Ø 1" })));
        assert!(lines.contains(&serde_json::json!({ "table": "person", "rows": 1 })));
        assert_eq!(lines.last(), Some(&serde_json::json!({ "end": true })));
        assert!(!text.contains("reading_import"), "the copy is from before the migration");
    });
}

both_databases!(a_second_process_on_the_same_data_folder_is_told_so, async |house| {
    let options = OpenOptions::of(&house.house.config, house.clock.clone());
    let told = Store::open(&options).await.err().expect("the folder is in use").to_string();
    assert!(told.contains("another Stillroom already uses the data folder"), "{told}");
    assert!(told.contains(&options.data_dir.display().to_string()) && !told.contains('\n'), "{told}");
    // A command that works beside a running house may come in.
    Store::open_beside(&options).await.unwrap().close().await;
});

both_databases!(sqlite_is_opened_with_what_is_promised, async |house| {
    if !house.is_sqlite() {
        return;
    }
    let promised = [
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("trusted_schema", 0),
        ("secure_delete", 1),
        ("busy_timeout", 5000),
        ("query_only", 1),
    ];
    // Every connection, not only the first one made.
    let mut held = Vec::new();
    for _ in 0..house.house.config.read_connections {
        let mut db = house.house.store.read().await.unwrap();
        for (name, expected) in promised {
            let text = format!("pragma {name}");
            let value: i64 = sqlx::query(AssertSqlSafe(text)).fetch_one(&mut *db).await.unwrap().get(0);
            assert_eq!(value, expected, "{name} for reading");
        }
        let mode: String = sqlx::query("pragma journal_mode").fetch_one(&mut *db).await.unwrap().get(0);
        assert_eq!(mode, "wal");
        held.push(db);
    }
    drop(held);
    house
        .write(move |tx| {
            Box::pin(async move {
                for (name, expected) in promised.into_iter().filter(|(name, _)| *name != "query_only") {
                    let text = format!("pragma {name}");
                    let value: i64 =
                        sqlx::query(AssertSqlSafe(text)).fetch_one(tx.db()).await.map_err(Problem::broken)?.get(0);
                    assert_eq!(value, expected, "{name} for writing");
                }
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .unwrap();
});
