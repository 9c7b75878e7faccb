//! How long the book takes with five years behind it: `cargo bench --bench book`. 250,000 appointments of twelve artists, every
//! day full but for one free end of an afternoon in thirty days; the day page, the week page, and the search for two hours with
//! one artist after four - once where she has time now and then, once where she has none for a year.

use std::net::SocketAddr;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use criterion::{Criterion, criterion_group, criterion_main};
use sqlx::AssertSqlSafe;
use stillroom::base::ids::{ArtistId, BedId, PersonId, ServiceId};
use stillroom::base::time::Clock;
use stillroom::base::zone::Zone;
use stillroom::book::hours::MINUTES_A_DAY;
use stillroom::book::search::{self, Ask};
use stillroom::book::slots::Length;
use stillroom::config::Config;
use stillroom::store::{FormKey, Kept, OpenOptions, Store};
use stillroom::web::{House, serve};
use stillroom::{book, demo, places};
use tower::ServiceExt;

/// Twelve appointments a day, so 20,833 days of one artist.
const APPOINTMENTS: i64 = 250_000;
const ARTISTS: i64 = 12;
/// Days of one artist that lie ahead: over a year.
const AHEAD: i64 = 400;

struct Studio {
    house: House,
    app: Router,
    cookies: String,
    /// One who has time now and then, and one who has none.
    artists: [ArtistId; 2],
    _folder: tempfile::TempDir,
}

impl Studio {
    async fn begin() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let flags = [("data_dir", folder.path().join("data"))]
            .map(|(name, path)| (name.to_owned(), path.display().to_string()));
        let (config, _) = Config::resolve(&flags.into(), std::iter::empty()).expect("a configuration");
        let config = config.listening_at(SocketAddr::from(([127, 0, 0, 1], 8270)));
        let store = Store::open(&OpenOptions::of(&config, Clock::System)).await.expect("a database");
        let house = House::new(store, config, true);
        demo::fill_with(&house, 1).await.expect("people, rooms and services");
        let artists = furnish(&house).await;
        let app = serve::app(&house, places::routes());
        let cookies = sign_in(&app).await;
        Self { house, app, cookies, artists, _folder: folder }
    }

    async fn open(&self, path: &str) -> String {
        let asked = Request::get(path).header(header::COOKIE, &self.cookies).body(Body::empty()).expect("a request");
        let answer = self.app.clone().oneshot(asked).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::OK);
        let page = to_bytes(answer.into_body(), usize::MAX).await.expect("a page");
        String::from_utf8(page.to_vec()).expect("text")
    }

    /// Two hours after four, within a year.
    async fn look(&self, artist: ArtistId) -> usize {
        let mut db = self.house.store.read().await.expect("a snapshot");
        let zone = Zone::named("Europe/Copenhagen").expect("a zone");
        let now = self.house.store.clock().now().0;
        let ask = Ask {
            length: Length { minutes: 120, before: 5, after: 10 },
            takes_bed: true,
            artists: vec![artist],
            after: 16 * 60,
            before: MINUTES_A_DAY,
            from: zone.day(now),
            days: 365,
            most_a_day: 4,
            most: 24,
        };
        let beds = book::beds(&mut db).await.expect("beds");
        let beds: Vec<_> = beds.iter().collect();
        search::search(&mut db, &ask, &beds, &zone, now).await.expect("an answer").len()
    }
}

/// Twelve artists with a bed each, and their appointments: half an hour on every three quarters from nine to six. What the
/// invented studio itself has booked is called off, so that nothing else is in the way.
async fn furnish(house: &House) -> [ArtistId; 2] {
    let now = house.store.clock().now().0;
    let zone = Zone::named("Europe/Copenhagen").expect("a zone");
    let service = ServiceId::new();
    let mut texts = vec![
        "update appointment set state = 'cancelled'".to_owned(),
        format!(
            "insert into service (id, name, name_key, kind, minutes, before_minutes, after_minutes, first_minutes, techniques,
             patch_test, takes_bed) values ('{service}', 'Set', 'set', 'full_set', 120, 5, 10, 0, '', 0, 1)"
        ),
    ];
    let mut artists = Vec::new();
    let days = APPOINTMENTS / ARTISTS / 12;
    // Noon, so that no clock change moves the first day; hours are counted in UTC, an hour aside in summer does no harm here.
    let first = zone.start_of(search::later(zone.day(now), AHEAD - days)).0 + 9 * 3_600_000_000;
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
        // The last artist has no free end of an afternoon.
        let free = if n == ARTISTS - 1 { "1 = 0" } else { "d % 30 = 7 and s >= 9" };
        texts.push(format!(
            "insert into appointment (id, artist, bed, service, short_name, first_visit, wall, zone, starts, ends, busy_from, busy_to,
             state, version, note, created, changed)
             with recursive n (n) as (select 0 union all select n + 1 from n where n + 1 < {all}), slot (d, s) as (select n / 12, n % 12 from n)
             select '01890000-0000-7000-8{n:03x}-' || substr('000000000000' || (d * 12 + s), -12), '{artist}', '{bed}', '{service}',
             'Ada L.', 0, '2026-02-18T10:00:00', 'Europe/Copenhagen', {first} + d * 86400000000 + s * 2700000000,
             {first} + d * 86400000000 + s * 2700000000 + 1800000000, {first} + d * 86400000000 + s * 2700000000 - 300000000,
             {first} + d * 86400000000 + s * 2700000000 + 2400000000, 'booked', 1, '', 1, 1 from slot where not ({free})",
            all = days * 12
        ));
        artists.push(artist);
    }
    let key = FormKey::house();
    let written = house.store.write(&key, move |tx| {
        let texts = texts.clone();
        Box::pin(async move {
            for text in texts {
                // Made of ids and numbers above.
                sqlx::query(AssertSqlSafe(text)).execute(tx.db()).await?;
            }
            tx.record_tells_itself();
            Ok(Kept::see(""))
        })
    });
    written.await.expect("five years");
    [artists[0], artists[11]]
}

async fn sign_in(app: &Router) -> String {
    let asked = Request::get("/sign-in").body(Body::empty()).expect("a request");
    let answer = app.clone().oneshot(asked).await.expect("an answer");
    let guest = cookies_of(&answer);
    let page = to_bytes(answer.into_body(), usize::MAX).await.expect("a page");
    let page = String::from_utf8(page.to_vec()).expect("text");
    let hidden = |name: &str| {
        let from = page.find(&format!("name=\"{name}\" value=\"")).expect("a hidden field") + name.len() + 15;
        page[from..].split('"').next().expect("its value").to_owned()
    };
    let (name, phrase) = (demo::PEOPLE[0].0.replace(' ', "+"), demo::PASSPHRASE.replace(' ', "+"));
    let body = format!("csrf={}&form_key={}&name={name}&passphrase={phrase}", hidden("csrf"), hidden("form_key"));
    let asked = Request::post("/sign-in")
        .header(header::COOKIE, &guest)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(body))
        .expect("a request");
    let answer = app.clone().oneshot(asked).await.expect("an answer");
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "the sign-in was refused");
    cookies_of(&answer)
}

fn cookies_of(answer: &axum::http::Response<Body>) -> String {
    let cookies = answer.headers().get_all(header::SET_COOKIE).iter();
    cookies.filter_map(|cookie| cookie.to_str().ok()?.split(';').next()).collect::<Vec<_>>().join("; ")
}

fn pages(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let studio = runtime.block_on(Studio::begin());
    let page = runtime.block_on(studio.open("/book"));
    assert!(page.matches("class=\"visit\"").count() > 100, "the day is full");
    bench.bench_function("day page, 12 artists, five years of appointments", |bench| {
        bench.iter(|| runtime.block_on(studio.open("/book")));
    });
    let week = format!("/book/week?only={}", studio.artists[0]);
    bench.bench_function("week page of one artist", |bench| bench.iter(|| runtime.block_on(studio.open(&week))));
    let [sometimes, never] = studio.artists;
    assert!(runtime.block_on(studio.look(sometimes)) > 3, "she has time now and then");
    bench.bench_function("two hours after four, a year ahead, now and then free", |bench| {
        bench.iter(|| runtime.block_on(studio.look(sometimes)));
    });
    assert_eq!(runtime.block_on(studio.look(never)), 0, "she has no time");
    bench.bench_function("two hours after four, a year ahead, never free", |bench| {
        bench.iter(|| runtime.block_on(studio.look(never)));
    });
}

criterion_group!(all_pages, pages);
criterion_main!(all_pages);
