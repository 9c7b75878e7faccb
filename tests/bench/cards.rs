//! What treatment cards cost: `cargo bench --bench cards`.
//!
//! First, how many cards a second are written, against how many bare commits SQLite makes with `synchronous=FULL` on the same disk in
//! the same run, in turns; the ratio is printed. The disk is that of `TMPDIR`: in memory the ratio says nothing about a house.
//! Then the pages of a studio with five years behind it, 250,000 cards of twelve artists, on SQLite and, where
//! `STILLROOM_TEST_POSTGRES` names a server, on PostgreSQL: day page, list of cards, day sheet, free times a year ahead.

#![allow(clippy::print_stdout, reason = "what a bench found is for the terminal")]

mod studio;

use std::path::Path;
use std::time::Instant as Watch;

use criterion::{Criterion, criterion_group, criterion_main};
use sqlx::{AnyConnection, AssertSqlSafe, Connection, Row};
use stillroom::adhesives::{Bead, Liquids};
use stillroom::base::ids::{ArtistId, BedId, BottleId, CardId, CardPartId, ClientId, PersonId, RoomId, ServiceId};
use stillroom::base::time::{DAY, Instant, MINUTE};
use stillroom::base::zone::Zone;
use stillroom::book::VisitKind;
use stillroom::book::search;
use stillroom::cards::card::{Aftercare, Card, Count, Lash, Lids, Remover, Side};
use stillroom::cards::{SeedCard, seed_cards};
use stillroom::web::House;
use studio::{Studio, hidden};

/// Cards, one a past appointment.
const CARDS: i64 = 250_000;
const ARTISTS: i64 = 12;
/// Appointments of an artist on each of her days.
const A_DAY: i64 = 12;
/// Days that lie ahead: over a year.
const AHEAD: i64 = 400;
const CLIENTS: i64 = 600;

/// A studio with five years behind it, and an artist who has time now and then.
async fn old(postgres: Option<&str>) -> (Studio, ArtistId) {
    let studio = Studio::of_days_on(1, postgres).await;
    let file = studio.folder.path().join("data/stillroom.db");
    let url = postgres.map_or_else(|| format!("sqlite://{}", file.display()), str::to_owned);
    let begun = Watch::now();
    let artist = five_years(&studio.house, &url).await;
    println!("filled in {:.0?}", begun.elapsed());
    (studio, artist)
}

/// Who and where the cards of this bench are of.
async fn whose(studio: &Studio) -> Whose {
    let mut db = studio.house.store.read().await.expect("a snapshot");
    let mut one = async |text: &'static str| {
        let row = sqlx::query(text).fetch_one(&mut *db).await.expect("a row");
        row.get::<String, _>(0)
    };
    Whose {
        client: one("select min(id) from client where erased is null").await.parse().expect("an id"),
        artist: one("select min(id) from artist").await.parse().expect("an id"),
        room: one("select min(id) from room").await.parse().expect("an id"),
        bottle: one("select min(id) from bottle where finished is null").await.parse().expect("an id"),
    }
}

#[derive(Clone, Copy)]
struct Whose {
    client: ClientId,
    artist: ArtistId,
    room: RoomId,
    bottle: BottleId,
}

impl Whose {
    /// A classic set with a number on each eye.
    fn card(self, begun: Instant, closed: bool) -> SeedCard {
        let at = begun.plus(90 * MINUTE);
        let count =
            |side| Count { id: CardPartId::new(), side, lash: Lash::Single, placed: 92, zone: None, strips: None, at };
        SeedCard {
            card: Card {
                id: CardId::new(),
                appointment: None,
                client: self.client,
                artist: self.artist,
                room: self.room,
                kind: VisitKind::FullSet,
                lids: Lids::Upper,
                begun,
                closed: closed.then_some(begun.plus(120 * MINUTE)),
                paper: None,
                entered: (begun, "person:of the bench".to_owned()),
                clearance: "cleared".to_owned(),
                air: Some((21.5, 44.0)),
                advice: None,
                advised_class: String::new(),
                advised_bottle: None,
                bottle: Some(self.bottle),
                lot: "H-417".to_owned(),
                bead: Bead::Medium,
                liquids: Liquids::NONE,
                style: None,
                supervisor: None,
                elsewhere: false,
                first_card: None,
                remover: Remover::default(),
                next_visit: String::new(),
                aftercare: Aftercare::NotGiven,
                hygiene: Vec::new(),
                version: 1,
            },
            counts: if closed { vec![count(Side::Left), count(Side::Right)] } else { Vec::new() },
            zones: Vec::new(),
            arrival: Vec::new(),
            corrected: None,
        }
    }
}

/// A database of its own beside the house's, as SQLite alone commits: one small row a transaction.
async fn bare(folder: &Path) -> AnyConnection {
    let mut db = connect(&format!("sqlite://{}?mode=rwc", folder.join("bare.db").display())).await;
    for text in [
        "pragma journal_mode = wal",
        "pragma synchronous = full",
        "create table line (id integer primary key, words text not null)",
    ] {
        sqlx::query(text).execute(&mut db).await.expect("a table");
    }
    db
}

async fn connect(url: &str) -> AnyConnection {
    sqlx::any::install_default_drivers();
    AnyConnection::connect(url).await.expect("a connection")
}

/// Writes of one turn, and turns.
const TURN: usize = 40;
const TURNS: usize = 12;

/// Cards against bare commits. Whole cards in the one write that keeps them; and what an artist taps at the bed, as the whole request.
fn against_bare_commits(_: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let studio = Studio::of_days(1).await;
        let whose = whose(&studio).await;
        let mut db = bare(studio.folder.path()).await;
        let now = studio.house.store.clock().now().0;
        let open: Vec<SeedCard> = (0..TURN).map(|_| whose.card(now, false)).collect();
        let addresses: Vec<String> = open.iter().map(|own| format!("/cards/{}", own.card.id)).collect();
        seed_cards(&studio.house, open).await.expect("open cards");
        let csrf = hidden(&studio.open(&addresses[0]).await, "csrf");
        let (mut commits, mut cards, mut forms) = (0.0, 0.0, 0.0);
        for turn in 0..TURNS {
            let begun = Watch::now();
            for _ in 0..TURN {
                sqlx::query("begin immediate").execute(&mut db).await.expect("begun");
                sqlx::query("insert into line (words) values ('ninety-two on the left eye')")
                    .execute(&mut db)
                    .await
                    .expect("a line");
                sqlx::query("commit").execute(&mut db).await.expect("committed");
            }
            commits += begun.elapsed().as_secs_f64();
            let begun = Watch::now();
            for _ in 0..TURN {
                let one = whose.card(now.plus(-DAY), true);
                seed_cards(&studio.house, vec![one]).await.expect("a card");
            }
            cards += begun.elapsed().as_secs_f64();
            let begun = Watch::now();
            for (n, address) in addresses.iter().enumerate() {
                let body = format!("csrf={csrf}&form_key=bench-{turn:04}-{n:04}&left_single=9&right_single=8&do=keep");
                studio.send(&format!("{address}/placed"), body).await;
            }
            forms += begun.elapsed().as_secs_f64();
        }
        let all = (TURN * TURNS) as f64;
        let rate = |seconds: f64| all / seconds;
        println!("bare commits, synchronous=FULL: {:.0} a second", rate(commits));
        for (what, seconds) in [("whole cards", cards), ("numbers at the bed, the whole request", forms)] {
            println!("{what}: {:.0} a second, {:.2} of the bare commits", rate(seconds), commits / seconds);
        }
    });
}

/// Twelve artists with a bed each, their appointments (half an hour on every three quarters from nine to six), and a card with two
/// numbers for each that is past. What the invented studio itself has booked is called off. One transaction, past the house.
async fn five_years(house: &House, url: &str) -> ArtistId {
    let now = house.store.clock().now().0;
    let zone = Zone::named("Europe/Copenhagen").expect("a zone");
    let service = ServiceId::new();
    // A number as twelve digits, and the last part of an id.
    let digits = |n: &str| format!("substr(cast(1000000000000 + {n} as text), 2)");
    let mut texts = vec![
        "update appointment set state = 'cancelled'".to_owned(),
        format!(
            "insert into service (id, name, name_key, kind, minutes, before_minutes, after_minutes, first_minutes, techniques,
             patch_test, takes_bed) values ('{service}', 'Set', 'set', 'full_set', 120, 5, 10, 0, '', 0, 1)"
        ),
        format!(
            "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, born, keeper, notes, created)
             with recursive n (n) as (select 0 union all select n + 1 from n where n + 1 < {CLIENTS})
             select '01890000-0000-7000-9000-' || {}, 'Ada ' || cast(n as text), 'ada ' || cast(n as text), '', '', '', '', '', '1990-01-01',
             null, '', 1 from n",
            digits("n")
        ),
    ];
    let past = CARDS / ARTISTS / A_DAY;
    // Hours are counted in UTC, an hour aside in summer does no harm here.
    let first = zone.start_of(search::later(zone.day(now), -past)).0 + 9 * 3_600_000_000;
    let mut artists = Vec::new();
    for n in 0..ARTISTS {
        let (person, artist, bed) = (PersonId::new(), ArtistId::new(), BedId::new());
        texts.push(format!(
            "insert into person (id, name, name_key, role, passphrase, created) values ('{person}', 'Artist {n}', 'artist {n}', 'artist', '', 1)"
        ));
        texts.push(format!(
            "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created)
             values ('{artist}', '{person}', 'employed', 0, 'volume-4', 'volume-4', 180, 1)"
        ));
        texts.push(format!(
            "insert into bed (id, room, name, name_key) select '{bed}', min(id), 'Bench {n}', 'bench {n}' from room"
        ));
        texts.push(format!(
            "insert into appointment (id, artist, bed, service, client, short_name, first_visit, wall, zone, starts, ends, busy_from,
             busy_to, state, version, note, created, changed)
             with recursive n (n) as (select 0 union all select n + 1 from n where n + 1 < {all}),
             slot (n, d, s) as (select n, n / {A_DAY}, n % {A_DAY} from n)
             select '01890000-0000-7000-8{n:03x}-' || {id}, '{artist}', '{bed}', '{service}', '01890000-0000-7000-9000-' || {client},
             'Ada L.', 0, '2026-02-18T10:00:00', 'Europe/Copenhagen', {first} + d * 86400000000 + s * 2700000000,
             {first} + d * 86400000000 + s * 2700000000 + 1800000000, {first} + d * 86400000000 + s * 2700000000 - 300000000,
             {first} + d * 86400000000 + s * 2700000000 + 2400000000, 'booked', 1, '', 1, 1 from slot
             where not (d % 30 = 7 and s >= 9)",
            all = (past + AHEAD) * A_DAY,
            id = digits("n"),
            client = digits(&format!("(n * 7 + {n}) % {CLIENTS}"))
        ));
        artists.push(artist);
    }
    let Instant(now) = now;
    texts.push(format!(
        "insert into card (id, appointment, client, artist, room, kind, lids, begun, closed, entered, entered_by, from_paper, clearance,
         temperature_c, humidity_pct, advised_class, bottle, lot, bead, liquids, technique, elsewhere, remover, remover_lot, next_visit,
         aftercare, hygiene, version)
         select '01890003' || substr(a.id, 9), a.id, a.client, a.artist, b.room, 'full_set', 'upper', a.starts, a.ends, a.ends, 'house', 0,
         'cleared', 21.5, 44.0, '', (select min(id) from bottle), 'H-417', 'medium', '', 'volume-4', 0, '', '', '', 'told', '', 1
         from appointment a join bed b on b.id = a.bed where a.service = '{service}' and a.ends < {now}"
    ));
    for (part, side) in [("01890001", "left"), ("01890002", "right")] {
        texts.push(format!(
            "insert into card_count (id, card, side, lash, placed, at)
             select '{part}' || substr(c.id, 9), c.id, '{side}', 'fan', 92, c.begun from card c where c.clearance = 'cleared'
             and c.entered_by = 'house'"
        ));
    }
    let mut db = connect(url).await;
    let mut written = db.begin().await.expect("a transaction");
    for text in texts {
        // Made of ids and numbers above.
        sqlx::query(AssertSqlSafe(text)).execute(&mut *written).await.expect("five years");
    }
    written.commit().await.expect("five years");
    sqlx::query("analyze").execute(&mut db).await.expect("statistics");
    let row = sqlx::query("select count(*) from card").fetch_one(&mut db).await.expect("a count");
    let cards: i64 = row.get(0);
    // One afternoon in thirty has an end that is free.
    assert!(cards > CARDS * 98 / 100, "{cards} cards");
    println!("{cards} cards");
    db.close().await.expect("closed");
    artists[0]
}

fn timed(bench: &mut Criterion, runtime: &tokio::runtime::Runtime, (studio, artist): &(Studio, ArtistId), on: &str) {
    let page = runtime.block_on(studio.open("/book"));
    assert!(page.matches("class=\"visit\"").count() > 100, "the day is full");
    for (what, path) in [("day page of the book", "/book"), ("list of cards", "/cards"), ("day sheet", "/")] {
        bench.bench_function(&format!("{what}, 250,000 cards, {on}"), |bench| {
            bench.iter(|| runtime.block_on(studio.open(path)));
        });
    }
    assert!(runtime.block_on(studio.two_hours_after_four(*artist)) > 3, "she has time now and then");
    bench.bench_function(&format!("two hours after four, a year ahead of 12 artists, {on}"), |bench| {
        bench.iter(|| runtime.block_on(studio.two_hours_after_four(*artist)));
    });
}

fn pages(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let studio = runtime.block_on(old(None));
    timed(bench, &runtime, &studio, "SQLite");
    drop(studio);
    let Ok(server) = std::env::var("STILLROOM_TEST_POSTGRES") else {
        println!("left out: STILLROOM_TEST_POSTGRES names no server");
        return;
    };
    let name = format!("bench_cards_{}", std::process::id());
    let on_server = |statement: String| async {
        let mut db = connect(&server).await;
        // Made of letters and a number of ours.
        sqlx::query(AssertSqlSafe(statement)).execute(&mut db).await.expect("a database");
    };
    runtime.block_on(on_server(format!("create database {name}")));
    let url = format!("{}/{name}", server.rsplit_once('/').expect("a database in the address").0);
    let studio = runtime.block_on(old(Some(&url)));
    timed(bench, &runtime, &studio, "PostgreSQL");
    drop(studio);
    runtime.block_on(on_server(format!("drop database {name} with (force)")));
}

criterion_group!(cards, against_bare_commits, pages);
criterion_main!(cards);
