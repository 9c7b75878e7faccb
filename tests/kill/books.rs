//! Counts afterwards what is in the database, and says what is wrong with it.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use sqlx::{AnyConnection, Connection, Row};

use crate::clients::Entry;

/// What the database holds of the entries.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct Kept {
    /// How many readings, bookings or cards carry each entry's number.
    pub(crate) readings: BTreeMap<u64, u32>,
    /// Cards without their aftercare steps, bookings without their version: half a record.
    pub(crate) torn: usize,
    /// Pairs of bookings that lie over each other.
    pub(crate) overlaps: usize,
    /// The keys whose first result is kept.
    pub(crate) keys: BTreeSet<String>,
}

/// The count of one run. All but what was acknowledged, sent again and refused must be zero.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub(crate) struct Verdict {
    pub(crate) acknowledged: usize,
    pub(crate) sent_again: usize,
    /// Acknowledged, and not there.
    pub(crate) lost: usize,
    /// There more than once.
    pub(crate) doubled: usize,
    /// A reading without its key, or a key without its reading: half a record.
    pub(crate) half: usize,
    /// What nobody entered, or was told that it is not there.
    pub(crate) invented: usize,
    /// Times that were given twice.
    pub(crate) overlaps: usize,
    /// Bookings that came second.
    pub(crate) refused: usize,
}

impl Verdict {
    pub(crate) fn is_clean(&self) -> bool {
        (self.lost, self.doubled, self.half, self.invented, self.overlaps) == (0, 0, 0, 0, 0)
    }
}

/// Compares what the clients know with what is kept.
pub(crate) fn judge(entries: &[Entry], kept: &Kept) -> Verdict {
    let mut verdict = Verdict { half: kept.torn, overlaps: kept.overlaps, ..Verdict::default() };
    for entry in entries {
        let times = kept.readings.get(&entry.number).copied().unwrap_or(0);
        verdict.acknowledged += usize::from(entry.acknowledged);
        verdict.sent_again += usize::from(entry.sent > 1);
        verdict.lost += usize::from(entry.acknowledged && times == 0);
        verdict.doubled += usize::from(times > 1);
        verdict.refused += usize::from(entry.refused);
        verdict.invented += usize::from(entry.refused && times > 0);
        verdict.half += usize::from((times > 0) != kept.keys.contains(&entry.key));
    }
    let entered: BTreeSet<u64> = entries.iter().map(|entry| entry.number).collect();
    verdict.invented += kept.readings.keys().filter(|number| !entered.contains(number)).count();
    verdict
}

/// How many clients work at once.
pub(crate) const CLIENTS: u64 = 8;

/// The client an entry is from: each has an instrument of its own, with this name.
pub(crate) fn instrument_of(client: u64) -> String {
    format!("Client {client}")
}

/// Temperature and humidity that stand for an entry's number among those of its client: each gets a pair of its own,
/// one decimal each, inside what a room can be. Room for 160,000 entries a client.
pub(crate) fn air_of(number: u64) -> (f64, f64) {
    let local = number / CLIENTS;
    (15.0 + (local % 200) as f64 / 10.0, 10.0 + (local / 200) as f64 / 10.0)
}

/// The number of the entry that this client's instrument shows.
fn number_of(instrument: &str, temperature: f64, humidity: f64) -> u64 {
    let client: u64 = instrument.trim_start_matches("Client ").parse().unwrap();
    let step = ((temperature - 15.0) * 10.0).round() as u64;
    let turn = ((humidity - 10.0) * 10.0).round() as u64;
    (turn * 200 + step) * CLIENTS + client
}

/// The words that carry an entry's number where there are words: the note of a booking, the remover of a card.
pub(crate) fn words_of(number: u64) -> String {
    format!("entry {number}")
}

/// The number such words carry.
fn number_in(words: &str) -> u64 {
    words.trim_start_matches("entry ").parse().unwrap()
}

const READINGS: &str = "select instrument.name, reading.temperature_c, reading.humidity_pct
  from reading join instrument on instrument.id = reading.instrument";

/// Reads everything the loop entered.
pub(crate) async fn kept(url: &str) -> Kept {
    let mut db = open(url).await;
    let mut kept = Kept::default();
    let rows = sqlx::query(READINGS).fetch_all(&mut db).await.unwrap();
    for row in rows {
        *kept.readings.entry(number_of(row.get(0), row.get(1), row.get(2))).or_default() += 1;
    }
    for words in ["select note from appointment", "select remover from card"] {
        for row in sqlx::query(words).fetch_all(&mut db).await.unwrap() {
            *kept.readings.entry(number_in(row.get(0))).or_default() += 1;
        }
    }
    for torn in [
        "select count(*) from card c where (select count(*) from card_step s where s.card = c.id) = 0",
        "select count(*) from appointment a where not exists (select 1 from appointment_version v where v.appointment = a.id)",
    ] {
        let row = sqlx::query(torn).fetch_one(&mut db).await.unwrap();
        kept.torn += usize::try_from(row.get::<i64, _>(0)).unwrap();
    }
    let booked =
        "select busy_from, busy_to from appointment where state = 'booked' order by artist, busy_from, busy_to";
    let spans: Vec<(i64, i64)> =
        sqlx::query(booked).fetch_all(&mut db).await.unwrap().iter().map(|row| (row.get(0), row.get(1))).collect();
    kept.overlaps = overlaps(&spans);
    let rows = sqlx::query("select form from form_key where form like 'entry-%'").fetch_all(&mut db).await.unwrap();
    kept.keys = rows.iter().map(|row| row.get(0)).collect();
    db.close().await.unwrap();
    kept
}

/// How many spans of one artist, sorted by their beginning, begin before the one before them ends.
fn overlaps(spans: &[(i64, i64)]) -> usize {
    spans.windows(2).filter(|pair| pair[1].0 < pair[0].1).count()
}

async fn open(url: &str) -> AnyConnection {
    sqlx::any::install_default_drivers();
    AnyConnection::connect(url).await.unwrap()
}

/// A PostgreSQL database of one test's own, dropped with it.
pub(crate) struct Database {
    pub(crate) url: String,
    server: String,
    name: String,
}

impl Database {
    pub(crate) fn create(server: &str) -> Self {
        let name = format!("kill_loop_{}", std::process::id());
        on_server(server, format!("create database {name}"));
        let url = format!("{}/{name}", server.rsplit_once('/').unwrap().0);
        Self { url, server: server.to_owned(), name }
    }
}

impl Drop for Database {
    fn drop(&mut self) {
        on_server(&self.server, format!("drop database {} with (force)", self.name));
    }
}

fn on_server(server: &str, statement: String) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut db = open(server).await;
        // The name is made of letters and a number of ours.
        sqlx::query(sqlx::AssertSqlSafe(statement)).execute(&mut db).await.unwrap();
        db.close().await.unwrap();
    });
}

/// What SQLite finds wrong with a file: nothing, for a whole one. Looks at a copy, so that the program itself and not
/// this check recovers what the kill left.
pub(crate) async fn wounds(data: &Path) -> Vec<String> {
    let copy = tempfile::tempdir().unwrap();
    for name in ["stillroom.db", "stillroom.db-wal"] {
        if data.join(name).exists() {
            std::fs::copy(data.join(name), copy.path().join(name)).unwrap();
        }
    }
    let mut db = open(&format!("sqlite://{}", copy.path().join("stillroom.db").display())).await;
    let mut found = Vec::new();
    // A file can be so broken that the very question fails; that is a wound too.
    match sqlx::query("pragma integrity_check").fetch_all(&mut db).await {
        Ok(rows) => found.extend(rows.iter().map(|row| row.get::<String, _>(0)).filter(|line| line != "ok")),
        Err(cause) => found.push(cause.to_string()),
    }
    match sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await {
        Ok(rows) => {
            found.extend(rows.iter().map(|row| format!("a row of {} points to nothing", row.get::<String, _>(0))));
        }
        Err(cause) => found.push(cause.to_string()),
    }
    db.close().await.ok();
    found
}

#[test]
fn the_count_sees_what_is_lost_doubled_half_or_invented() {
    let entry = |number, acknowledged| Entry {
        number,
        key: format!("entry-{number:08}"),
        acknowledged,
        refused: false,
        sent: 1,
    };
    let entries = [entry(1, true), entry(2, true), entry(3, false), entry(4, true), entry(5, false)];
    let keys = [1, 2, 4].map(|number| format!("entry-{number:08}"));
    let readings = BTreeMap::from([(1, 1), (2, 1), (4, 1)]);
    let good = Kept { readings, keys: keys.into(), ..Kept::default() };
    assert!(judge(&entries, &good).is_clean());
    let check = |change: &dyn Fn(&mut Kept), expected: (usize, usize, usize, usize)| {
        let mut kept = good.clone();
        change(&mut kept);
        let verdict = judge(&entries, &kept);
        assert_eq!((verdict.lost, verdict.doubled, verdict.half, verdict.invented), expected);
    };
    let lose = |kept: &mut Kept| {
        kept.readings.remove(&1);
        kept.keys.remove("entry-00000001");
    };
    check(&lose, (1, 0, 0, 0));
    check(
        &|kept| {
            kept.readings.insert(2, 2);
        },
        (0, 1, 0, 0),
    );
    check(
        &|kept| {
            kept.keys.remove("entry-00000004");
        },
        (0, 0, 1, 0),
    );
    check(
        &|kept| {
            kept.keys.insert("entry-00000005".into());
        },
        (0, 0, 1, 0),
    );
    check(
        &|kept| {
            kept.readings.insert(9, 1);
        },
        (0, 0, 0, 1),
    );
    check(&|kept| kept.torn = 1, (0, 0, 1, 0));
    // Who was told that the time is somebody else's must not find it booked.
    let mut refused = entries.clone();
    refused[4].refused = true;
    assert!(judge(&refused, &good).is_clean());
    refused[3] = Entry { acknowledged: false, refused: true, ..refused[3].clone() };
    assert_eq!(judge(&refused, &good).invented, 1);
    assert!(!judge(&entries, &Kept { overlaps: 1, ..good.clone() }).is_clean());
    assert_eq!(overlaps(&[(0, 15), (15, 30), (29, 44), (60, 75)]), 1);
    assert_eq!(number_in(&words_of(77)), 77);
}

#[test]
fn every_number_has_an_air_of_its_own() {
    for number in (0..CLIENTS * 160_000).step_by(7) {
        let (temperature, humidity) = air_of(number);
        assert!((15.0..35.0).contains(&temperature) && (10.0..90.0).contains(&humidity));
        assert_eq!(number_of(&instrument_of(number % CLIENTS), temperature, humidity), number);
    }
}

#[tokio::test]
async fn a_broken_file_has_wounds() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("stillroom.db");
    let mut db = open(&format!("sqlite://{}?mode=rwc", file.display())).await;
    for line in [
        "create table room (id text primary key)",
        "create table reading (room text references room (id))",
        "insert into room select 'r' || value from (with recursive n(value) as (select 1 union all select value + 1 from n limit 5000) select value from n)",
        "pragma foreign_keys = off",
    ] {
        sqlx::query(line).execute(&mut db).await.unwrap();
    }
    assert_eq!(wounds(folder.path()).await, Vec::<String>::new());
    sqlx::query("insert into reading values ('nowhere')").execute(&mut db).await.unwrap();
    db.close().await.unwrap();
    assert_eq!(wounds(folder.path()).await, ["a row of reading points to nothing"]);
    let mut bytes = std::fs::read(&file).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 64].fill(0xff);
    std::fs::write(&file, bytes).unwrap();
    assert!(wounds(folder.path()).await.iter().any(|line| !line.contains("points to nothing")));
}
