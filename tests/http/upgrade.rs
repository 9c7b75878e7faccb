//! A database of an earlier schema with rows in it: what stood there is still there once this program has opened it, on both databases.

use std::path::Path;

use sqlx::migrate::Migrator;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use stillroom::base::time::Clock;
use stillroom::store::{OpenOptions, SCHEMA_OF_THIS_PROGRAM, Store};

use crate::databases::{self, Database};
use crate::house::{config, in_runtime, ten_twelve};

/// Migrates an empty database as far as this schema, and runs these statements on it.
async fn house_of_schema(schema: i64, url: &str, rows: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations")).unwrap() {
        let (path, name) = entry.map(|entry| (entry.path(), entry.file_name())).unwrap();
        if name.to_str().unwrap()[..4].parse::<i64>().unwrap() <= schema {
            std::fs::copy(path, folder.path().join(name)).unwrap();
        }
    }
    let mut db = databases::connect(url).await;
    Migrator::new(folder.path()).await.unwrap().run_direct(None, &mut db, false).await.unwrap();
    run(&mut db, rows).await;
    sqlx::Connection::close(db).await.unwrap();
}

async fn run(db: &mut AnyConnection, rows: &[&str]) {
    for text in rows {
        sqlx::query(AssertSqlSafe((*text).to_owned())).execute(&mut *db).await.unwrap();
    }
}

/// What a card of schema 17 had: a map of seven zones, and counts with and without a zone, by strips, and struck out.
const SEVEN_ZONES: [&str; 8] = [
    "insert into setting (name, value) values ('house.program', '0.0.17')",
    "insert into person (id, name, name_key, role, passphrase, created) values ('p', 'Runa Marsh', 'runa marsh', 'owner', 'hash', 1)",
    "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created)
     values ('a', 'p', 'employed', 0, '', '', 80, 1)",
    "insert into room (id, name, name_key, volume_m3, air_changes_per_hour, coldest_surface, created)
     values ('r', 'Gable', 'gable', 30, 1, '', 1)",
    "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, notes, created)
     values ('c', 'Zusa Quill', 'zusa quill', '', '', '', '', '', '', 1)",
    "insert into card (id, client, artist, room, kind, lids, begun, entered, entered_by, from_paper, clearance, advised_class, lot, bead,
     liquids, technique, elsewhere, remover, remover_lot, next_visit, aftercare, hygiene, version)
     values ('k', 'c', 'a', 'r', 'full_set', 'upper', 1, 1, '', 0, '', '', '', 'thin', '', '', 0, '', '', '', 'told', '', 1)",
    "insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan)
     values ('k', 'left', 1, 8.5, 'C', 0.05, 4), ('k', 'left', 7, 11, 'CC', 0.15, 1), ('k', 'right_lower', 3, 6, 'D', 0.07, 1)",
    "insert into card_count (id, card, side, lash, placed, zone, strips, per_strip, left_over, at, struck)
     values ('n', 'k', 'left', 'single', 40, 7, null, null, null, 2, null), ('o', 'k', 'right', 'fan', 39, null, 2, 20, 1, 3, null),
            ('q', 'k', 'right', 'single', 0, null, null, null, null, 4, 5)",
];

/// Every zone and every count, as text.
async fn zones_and_counts(db: &mut AnyConnection) -> Vec<String> {
    let mut all = Vec::new();
    for text in [
        "select card, side, cast(zone as text), cast(length_mm as text), curl, cast(diameter_mm as text), cast(fan as text)
         from card_zone order by side, zone",
        "select id, card, side, lash, cast(placed as text), coalesce(cast(zone as text), '-'), coalesce(cast(strips as text), '-'),
           coalesce(cast(per_strip as text), '-'), coalesce(cast(left_over as text), '-'), cast(at as text),
           coalesce(cast(struck as text), '-')
         from card_count order by id",
    ] {
        for row in sqlx::query(text).fetch_all(&mut *db).await.unwrap() {
            let parts: Vec<String> = (0..row.len()).map(|column| row.get(column)).collect();
            all.push(parts.join(" "));
        }
    }
    all
}

/// Opens a house of schema 17 with this program: its zones and counts are as they were, and there is room for two more.
async fn nine_zones_for_seven(url: &str, postgres: Option<&str>, folder: &Path) {
    house_of_schema(17, url, &SEVEN_ZONES).await;
    let mut db = databases::connect(url).await;
    let before = zones_and_counts(&mut db).await;
    assert_eq!(before.len(), 6);
    sqlx::Connection::close(db).await.unwrap();
    let config = config(folder, postgres);
    let store = Store::open(&OpenOptions::of(&config, Clock::standing_at(ten_twelve()))).await.unwrap();
    store.close().await;
    let mut db = databases::connect(url).await;
    let schema = sqlx::query("select cast(max(version) as bigint) from _sqlx_migrations").fetch_one(&mut db).await;
    assert_eq!(schema.unwrap().get::<i64, _>(0), SCHEMA_OF_THIS_PROGRAM);
    assert_eq!(zones_and_counts(&mut db).await, before);
    run(
        &mut db,
        &[
            "insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan) values ('k', 'left', 9, 8, 'C', 0.05, 1)",
            "update card_count set zone = 9 where id = 'n'",
        ],
    )
    .await;
    // What was refused before is refused still: a tenth zone, the same zone twice, a zone of no card.
    for wrong in [
        "update card_zone set zone = 10 where zone = 9",
        "update card_count set zone = 10",
        "insert into card_zone (card, side, zone, length_mm, curl, diameter_mm, fan) values ('k', 'left', 7, 8, 'C', 0.05, 1)",
        "update card_zone set card = 'nobody'",
        "update card_count set card = 'nobody'",
        "insert into card_count (id, card, side, lash, placed, at) values ('n', 'k', 'left', 'single', 1, 1)",
    ] {
        assert!(sqlx::query(wrong).execute(&mut db).await.is_err(), "{wrong}");
    }
    sqlx::Connection::close(db).await.unwrap();
}

#[test]
fn zones_and_counts_of_a_map_of_seven_are_kept_when_it_may_have_nine_on_sqlite() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("data")).unwrap();
    let file = folder.path().join("data/stillroom.db");
    in_runtime(async {
        nine_zones_for_seven(&format!("sqlite://{}?mode=rwc", file.display()), None, folder.path()).await;
    });
}

#[test]
fn zones_and_counts_of_a_map_of_seven_are_kept_when_it_may_have_nine_on_postgres() {
    let Some(server) = databases::server("zones_and_counts_of_a_map_of_seven") else { return };
    let _turn = databases::Turn::take();
    let database = Database::create(&server, None);
    let folder = tempfile::tempdir().unwrap();
    in_runtime(async {
        nine_zones_for_seven(&database.url, Some(&database.url), folder.path()).await;
    });
}
