//! The store: one writer at a time, the audit chain, versions that do not fit, backups before migrations, the lock, what
//! SQLite promises, words that both databases take, and statements that do not walk through long tables.

use std::collections::BTreeSet;
use std::path::Path;

use sqlx::migrate::Migrator;
use sqlx::{AssertSqlSafe, Connection, Row};
use stillroom::base::actor::Role;
use stillroom::base::problem::Problem;
use stillroom::base::time::Clock;
use stillroom::rooms::{DeviceKind, InstrumentKind};
use stillroom::store::audit::{self, Verdict};
use stillroom::store::{FormKey, Kept, OpenOptions, SCHEMA_OF_THIS_PROGRAM, Store, settings};

use crate::databases::{self, Database};
use crate::house::{TABLES, TestHouse, both_databases, config, in_runtime, ten_twelve};
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

/// Words a column takes, how a row with one of them is put there, and which the program knows.
struct Words {
    column: &'static str,
    insert: fn(&str, usize) -> String,
    known: Vec<&'static str>,
}

fn id(n: usize) -> String {
    format!("01890000-0000-7000-8000-{n:012}")
}

fn words() -> Vec<Words> {
    let roles: Vec<_> = Role::ALL.into_iter().map(Role::word).collect();
    let devices: Vec<_> = DeviceKind::ALL.into_iter().map(DeviceKind::word).collect();
    let instruments: Vec<_> = InstrumentKind::ALL.into_iter().map(InstrumentKind::word).collect();
    vec![
        Words {
            column: "person.role",
            insert: |word, n| {
                format!(
                    "insert into person (id, name, name_key, role, passphrase, created) values ('{}', 'n', 'n{n}', '{word}', '', 1)",
                    id(n)
                )
            },
            known: roles.clone(),
        },
        Words {
            column: "session.role",
            insert: |word, n| {
                format!(
                    "insert into session (id, token, person, name, role, browser, created, seen, expires) select '{}', 't{n}', person, 'n', '{word}', '', 1, 1, 1 from claim",
                    id(n)
                )
            },
            known: roles,
        },
        Words {
            column: "token.kind",
            insert: |word, n| {
                format!(
                    "insert into token (id, kind, name, secret, salt, made_by, created) select '{}', '{word}', 'n', 's{n}', '', person, 1 from claim",
                    id(n)
                )
            },
            // The two kinds of `web::token::Kind`, whose words stand beside its SQL.
            known: vec!["sensor", "read"],
        },
        Words {
            column: "device.kind",
            insert: |word, n| {
                format!(
                    "insert into device (id, room, kind, name) select '{}', min(id), '{word}', 'n' from room",
                    id(n)
                )
            },
            known: devices,
        },
        Words {
            column: "instrument.kind",
            insert: |word, n| {
                format!(
                    "insert into instrument (id, room, name, name_key, kind, place, bought, mapping) select '{}', min(id), 'n', 'n{n}', '{word}', 'bed', 1, '' from room",
                    id(n)
                )
            },
            known: instruments,
        },
        Words {
            column: "instrument.place",
            insert: |word, n| {
                format!(
                    "insert into instrument (id, room, name, name_key, kind, place, bought, mapping) select '{}', min(id), 'n', 'n{n}', 'hand', '{word}', 1, '' from room",
                    id(n)
                )
            },
            known: vec!["bed", "wall"],
        },
        Words {
            column: "instrument_check.quantity",
            insert: |word, n| {
                format!(
                    "insert into instrument_check (id, instrument, at, quantity, against, reference, shown, by_person) select '{}', min(id), 1, '{word}', 'other', 1, 1, '' from instrument",
                    id(n)
                )
            },
            known: vec!["humidity", "temperature"],
        },
        Words {
            column: "reading_import.state",
            insert: |word, n| {
                format!(
                    "insert into reading_import (id, room, instrument, file_name, content, day_order, temperature_unit, made_by, created, rows_all, rows_done, rows_new, state) select '{}', room, instrument, '', content, '', '', '', 1, 0, 0, 0, '{word}' from reading_import where created > 1",
                    id(n)
                )
            },
            // The states of `rooms::imports`, which no other part knows.
            known: vec!["preview", "taking", "taken", "dropped"],
        },
    ]
}

both_databases!(columns_of_words_take_exactly_the_words_of_the_program, async |house| {
    let mut n = 0;
    for column in words() {
        for word in &column.known {
            n += 1;
            let kept = house.run(&(column.insert)(word, n)).await;
            assert!(kept.is_ok(), "{} refuses {word}: {kept:?}", column.column);
        }
        for wrong in ["", "other", &column.known[0].to_uppercase(), &format!("{} ", column.known[0])] {
            n += 1;
            assert!(house.run(&(column.insert)(wrong, n)).await.is_err(), "{} takes {wrong:?}", column.column);
        }
    }
});

/// `column` and its words, for every `check (column in (…))` of the migrations.
fn checks_of_migrations() -> Vec<(String, BTreeSet<String>)> {
    let mut found = Vec::new();
    for (_, text) in migrations() {
        let mut table = String::new();
        for line in text.lines() {
            if let Some(name) = line.strip_prefix("create table ") {
                table = name.trim_end_matches(" (").to_owned();
            }
            if let Some((_, rest)) = line.split_once(" check (") {
                let Some((column, list)) = rest.split_once(" in (") else { continue };
                let list = list.split(')').next().unwrap();
                let words = list.split(',').map(|word| word.trim().trim_matches('\'').to_owned()).collect();
                found.push((format!("{table}.{column}"), words));
            }
        }
    }
    found
}

fn migrations() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let read = |path: &std::path::PathBuf| {
        (path.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(path).unwrap())
    };
    files.iter().map(read).collect()
}

#[test]
fn every_column_of_words_in_the_migrations_is_tried_with_the_same_words() {
    let tried: Vec<(String, BTreeSet<String>)> = words()
        .into_iter()
        .map(|column| (column.column.to_owned(), column.known.iter().map(|word| (*word).to_owned()).collect()))
        .collect();
    let in_migrations = checks_of_migrations();
    assert!(in_migrations.len() >= 8);
    for check in &in_migrations {
        assert!(tried.contains(check), "{check:?} is not tried");
    }
    assert_eq!(tried.len(), in_migrations.len());
}

#[test]
fn the_list_of_tables_is_that_of_the_migrations() {
    let text: String = migrations().into_iter().map(|(_, text)| text).collect();
    let made: BTreeSet<_> = text
        .lines()
        .filter_map(|line| line.strip_prefix("create table "))
        .map(|name| name.trim_end_matches(" ("))
        .collect();
    assert_eq!(made, TABLES.into_iter().collect());
}

#[test]
fn columns_have_only_types_that_both_databases_read_alike() {
    for (file, text) in migrations() {
        for line in text.lines().filter(|line| line.starts_with("  ") && !line.trim_start().starts_with("--")) {
            let rest = line.trim().split_once(' ').map_or("", |(_, rest)| rest);
            let known = ["bigint", "double precision", "text", "bytea"].iter().any(|kind| rest.starts_with(kind));
            let constraint = ["primary key (", "unique ("].iter().any(|start| line.trim().starts_with(start));
            assert!(known || constraint, "{file}: {line}");
        }
    }
}

both_databases!(numbers_without_a_value_and_foreign_keys_are_refused, async |house| {
    for wrong in [
        "insert into session (id, token, person, name, role, browser, created, seen, expires) values ('x', 'x', 'nobody', '', 'owner', '', 1, 1, 1)",
        "insert into reading (id, room, instrument, at, given_by, received, set_aside) values ('x', 'nowhere', 'nothing', 1, '', 1, '')",
        "insert into claim (id, person, at) select 2, person, 1 from claim",
        "update room set volume_m3 = 0",
        "update room set volume_m3 = null",
        "delete from person",
    ] {
        assert!(house.run(wrong).await.is_err(), "{wrong}");
    }
});

/// Every SQL text of the program that reads or changes rows, with the file it stands in.
fn statements() -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let text = std::fs::read_to_string(&path).unwrap();
                let file = path.strip_prefix(env!("CARGO_MANIFEST_DIR")).unwrap().display().to_string();
                found.extend(sql_in(&text).into_iter().map(|sql| (file.clone(), sql)));
            }
        }
    }
    found
}

/// Texts in quotes that begin as a statement does.
fn sql_in(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for piece in text.split('"') {
        let sql = piece.split_whitespace().collect::<Vec<_>>().join(" ");
        let verb = ["select ", "update ", "delete from "].iter().any(|verb| sql.starts_with(verb));
        if verb && (sql.contains(" from ") || sql.starts_with("update ")) && !sql.contains('{') && !sql.contains('\\') {
            found.push(sql);
        }
    }
    found
}

/// Tables that grow with every day of work.
const LONG: [&str; 4] = ["reading", "session", "audit", "form_key"];

both_databases!(no_statement_walks_through_a_long_table, async |house| {
    if !house.is_sqlite() {
        return;
    }
    fill_long_tables(house).await;
    let mut db = house.past().await;
    let mut covered = 0;
    let mut walks = Vec::new();
    for (file, sql) in statements() {
        let touches = LONG
            .iter()
            .any(|table| sql.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).any(|word| word == *table));
        if !touches || sql.contains("information_schema") || sql.contains("_sqlx_migrations") {
            continue;
        }
        covered += 1;
        let places = (1..10).take_while(|n| sql.contains(&format!("${n}"))).count();
        let mut query = sqlx::query(AssertSqlSafe(format!("explain query plan {sql}")));
        for _ in 0..places {
            query = query.bind("x");
        }
        for row in query.fetch_all(&mut db).await.unwrap_or_else(|why| panic!("{file}: {sql}: {why}")) {
            let step: String = row.get(3);
            // In the order of an index and cut off after a few rows, a walk is no walk.
            let few = sql.contains(" limit ") && step.contains("USING INDEX");
            if LONG.iter().any(|table| step.starts_with(&format!("SCAN {table}"))) && !few {
                walks.push(format!("{file}: {step}: {sql}"));
            }
        }
    }
    assert!(covered >= 15, "only {covered} statements were found; are they written in another way now?");
    assert!(walks.is_empty(), "{}", walks.join("\n"));
});

/// Enough rows that a plan is chosen as it would be in a house at work.
async fn fill_long_tables(house: &TestHouse) {
    let numbers = "with recursive n (n) as (select 1 union all select n + 1 from n where n < 20000)";
    for text in [
        format!(
            "{numbers} insert into reading (id, room, instrument, at, given_by, received, set_aside)
                 select 'r' || n, (select min(id) from room), (select min(id) from instrument), n, '', n, '' from n"
        ),
        format!(
            "{numbers} insert into session (id, token, person, name, role, browser, created, seen, expires, ended)
                 select 's' || n, 't' || n, (select person from claim), '', 'owner', '', n, n, n, n from n"
        ),
        format!(
            "{numbers} insert into audit (line, at, actor, action, subject, detail, chain)
                 select n + 100000, n, '', '', '', '', '' from n"
        ),
        format!(
            "{numbers} insert into form_key (actor, route, form, fingerprint, status, location, answer, at)
                 select 'a' || (n % 7), '/', 'f' || n, '', 303, '', '', n from n"
        ),
    ] {
        // SQLite wants the recursive part behind the insert's target.
        let (with, insert) = text.split_at(text.find("insert").unwrap());
        let (target, select) = insert.split_at(insert.find("select").unwrap());
        house.run(&format!("{target} {with} {select}")).await.unwrap();
    }
    house.run("analyze").await.unwrap();
}

#[test]
fn statements_are_found_in_the_source() {
    let text = "sqlx::query(\"select id from room where id = $1\") // \"no statement\"\n\"update\n   room set a = $1\"";
    assert_eq!(sql_in(text), ["select id from room where id = $1", "update room set a = $1"]);
}
