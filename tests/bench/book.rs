//! How long the book takes with five years behind it: `cargo bench --bench book`. 250,000 appointments of twelve artists, every
//! day full but for one free end of an afternoon in thirty days; the day page, the week page, and the search for two hours with
//! one artist after four - once where she has time now and then, once where she has none for a year.

mod studio;

use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::base::ids::{ArtistId, BedId, PersonId, ServiceId};
use stillroom::base::zone::Zone;
use stillroom::book::search;
use studio::Studio;

/// Twelve appointments a day, so 20,833 days of one artist.
const APPOINTMENTS: i64 = 250_000;
const ARTISTS: i64 = 12;
/// Days of one artist that lie ahead: over a year.
const AHEAD: i64 = 400;

/// Twelve artists with a bed each, and their appointments: half an hour on every three quarters from nine to six. What the
/// invented studio itself has booked is called off, so that nothing else is in the way. Gives one who has time now and then, and one
/// who has none.
async fn furnish(studio: &Studio) -> [ArtistId; 2] {
    let now = studio.house.store.clock().now().0;
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
    studio.write(texts).await.expect("five years");
    [artists[0], artists[11]]
}

fn pages(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let studio = runtime.block_on(Studio::of_days(1));
    let [sometimes, never] = runtime.block_on(furnish(&studio));
    let page = runtime.block_on(studio.open("/book"));
    assert!(page.matches("class=\"visit\"").count() > 100, "the day is full");
    bench.bench_function("day page, 12 artists, five years of appointments", |bench| {
        bench.iter(|| runtime.block_on(studio.open("/book")));
    });
    let week = format!("/book/week?only={sometimes}");
    bench.bench_function("week page of one artist", |bench| bench.iter(|| runtime.block_on(studio.open(&week))));
    assert!(runtime.block_on(studio.two_hours_after_four(sometimes)) > 3, "she has time now and then");
    bench.bench_function("two hours after four, a year ahead, now and then free", |bench| {
        bench.iter(|| runtime.block_on(studio.two_hours_after_four(sometimes)));
    });
    assert_eq!(runtime.block_on(studio.two_hours_after_four(never)), 0, "she has no time");
    bench.bench_function("two hours after four, a year ahead, never free", |bench| {
        bench.iter(|| runtime.block_on(studio.two_hours_after_four(never)));
    });
}

criterion_group!(all_pages, pages);
criterion_main!(all_pages);
