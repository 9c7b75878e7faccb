//! How long the advice page takes with a year of ten-minute readings behind it, the day sheet with twelve artists in four
//! rooms, and the desk's list with five hundred expected: `cargo bench --bench pages`. At its end the pages that rest on tests and
//! timings are opened with ten times as many of them, and the ratio of the times is printed. The whole way of a request is timed:
//! session, snapshot, statements, judging, the pictures, the page's text.

mod studio;

use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::adhesives::bench::{BenchTest, Found};
use stillroom::adhesives::forecasts::Tally;
use stillroom::adhesives::set_time::{Openness, Prior, ProductSums, SetTest, Sums, TestPiece};
use stillroom::adhesives::summary::{Covered, Summary};
use stillroom::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids};
use stillroom::artists::hands::{KeptReport, KeptSitting, Sittings, Timing};
use stillroom::base::ids::{
    ArtistId, BenchTestId, BottleId, ClientId, ConsultationId, ExpectedVisitId, InstrumentId, PersonId, PlacementId,
    ProductId, ReadingId, RoomId, SittingId, TimingSessionId,
};
use stillroom::base::problem::Problem;
use stillroom::base::time::{DAY, Instant, MINUTE};
use stillroom::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};
use stillroom::store::{FormKey, Kept, sealed};
use stillroom::web::House;
use stillroom::{artists, clearance, rooms};
use studio::Studio;

const ARTISTS: u32 = 12;
const BOTTLES: u32 = 12;
/// Clients expected in the next days, with those of the studio, each with sealed health answers.
const EXPECTED: i64 = 500;

/// A furnished studio, and a room the owner looks at.
struct Visit {
    studio: Studio,
    room: String,
}

impl Visit {
    /// A studio with a year of readings, four rooms, and five hundred clients expected.
    async fn begin() -> Self {
        let studio = Studio::of_days(365).await;
        let room = furnish(&studio).await;
        expect_many(&studio.house).await.expect("clients");
        Self { studio, room }
    }

    /// A studio of a few days with so many times the tests and timings.
    async fn grown(times: u32) -> Self {
        let studio = Studio::of_days(3).await;
        let room = furnish(&studio).await;
        grow(&studio, times).await;
        Self { studio, room }
    }

    async fn open(&self, path: &str) -> String {
        self.studio.open(path).await
    }
}

/// Until there are twelve artists with kept hands and four rooms with air; and twelve bottles with kept tests, three a room, beside
/// those of the studio.
async fn furnish(studio: &Studio) -> String {
    let house = &studio.house;
    let now = house.store.clock().now().0;
    let mut texts = Vec::new();
    let fourth = (RoomId::new(), InstrumentId::new());
    texts.push(format!(
        "insert into room (id, name, name_key, volume_m3, air_changes_per_hour, coldest_surface, created)
         values ('{}', 'Fourth', 'fourth', 30, 0.5, 'window', 1)",
        fourth.0
    ));
    texts.push(format!(
        "insert into instrument (id, room, name, name_key, kind, place, bought, mapping)
         select '{}', '{}', 'dial', 'dial', 'hand', 'bed', 1, mapping from instrument limit 1",
        fourth.1, fourth.0
    ));
    for ago in [2 * MINUTE, DAY + 2 * MINUTE] {
        texts.push(format!(
            "insert into reading (id, room, instrument, at, temperature_c, humidity_pct, given_by, received, set_aside)
             values ('{}', '{}', '{}', {}, 22, 44, 'house', 1, '')",
            ReadingId::new(),
            fourth.0,
            fourth.1,
            now.plus(-ago).0
        ));
    }
    let mut db = house.store.read().await.expect("a snapshot");
    let mut all: Vec<RoomId> = rooms::all(&mut db).await.expect("rooms").iter().map(|room| room.id).collect();
    let artists = artists::all(&mut db).await.expect("artists");
    drop(db);
    let first = all[0].to_string();
    all.push(fourth.0);
    for n in u32::try_from(artists.len()).expect("few")..ARTISTS {
        texts.extend(artist(n));
    }
    for n in 0..BOTTLES {
        texts.extend(bottle(n, all[n as usize % all.len()]));
    }
    studio.write(texts).await.expect("a furnished house");
    first
}

/// Until five hundred are expected: clients who have answered the questions, one after the other in the next five days.
async fn expect_many(house: &House) -> Result<(), Problem> {
    let key = FormKey::house();
    let inner = house.clone();
    let write = house.store.write(&key, move |tx| {
        let inner = inner.clone();
        Box::pin(async move {
            let now = tx.now.0;
            let there = clearance::expected(tx.db(), now, now.plus(7 * DAY)).await?.len();
            for n in i64::try_from(there).map_err(Problem::broken)?..EXPECTED {
                let client = ClientId::new();
                let row = sqlx::query(
                    "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, born, notes, created)
                     values ($1, $2, $2, '', '', '', '', '', '1990-01-01', '', 1)",
                );
                row.bind(client.to_string()).bind(format!("guest {n}")).execute(tx.db()).await?;
                let visit = "insert into expected_visit (id, client, at, kind, created) values ($1, $2, $3, 'set', 1)";
                let row = sqlx::query(visit).bind(ExpectedVisitId::new().to_string()).bind(client.to_string());
                row.bind(now.plus(MINUTE * (15 * n + 60)).0).execute(tx.db()).await?;
                let id = ConsultationId::new();
                let answers = serde_json::json!({
                    "answers": (0..24).map(|n| serde_json::json!({
                        "key": format!("q{n}"), "group": "Eyes", "question": "Is there anything to know about the eyes?",
                        "answer": "no", "effect": "nothing", "then": "",
                    })).collect::<Vec<_>>(),
                    "guardian": "",
                });
                let place = format!("consultation.answers.{id}");
                let plain = answers.to_string();
                let sealed = sealed::seal(tx.db(), inner.store.keys(), client, &place, plain.as_bytes()).await?;
                let row = sqlx::query(
                    "insert into consultation (id, client, version, at, given_by, taken_by, answers)
                     select $1, $2, 0, $3, 'asked', person, $4 from claim",
                );
                row.bind(id.to_string()).bind(client.to_string()).bind(now.0).bind(sealed).execute(tx.db()).await?;
            }
            tx.record_tells_itself();
            Ok(Kept::see(""))
        })
    });
    write.await.map(|_| ())
}

fn artist(n: u32) -> Vec<String> {
    let (person, artist) = (PersonId::new(), ArtistId::new());
    let seconds = |value: f64| Seconds::new(value).expect("seconds");
    let timings: Vec<Timing> = (0..60)
        .map(|i| Timing {
            session: 1 + i / 20,
            travel: seconds(1.3 + 0.03 * f64::from(i % 17)),
            settle: seconds(0.4 + 0.1 * f64::from(n) + 0.03 * f64::from(i % 11)),
        })
        .collect();
    let kept = serde_json::to_string(&KeptReport::of(&Sittings::of(&timings, &[]))).expect("JSON");
    vec![
        format!(
            "insert into person (id, name, name_key, role, passphrase, created) values ('{person}', 'Artist {n}', 'artist {n}', 'artist', '', 1)"
        ),
        format!(
            "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created)
             values ('{artist}', '{person}', 'employed', 0, 'volume-4', 'volume-4', 180, 1)"
        ),
        format!("insert into hands_kept (artist, technique, fan, summary) values ('{artist}', 'volume', 4, '{kept}')"),
    ]
}

fn bottle(n: u32, room: RoomId) -> Vec<String> {
    let (product, bottle) = (ProductId::new(), BottleId::new());
    let tests: Vec<SetTest> = (0..30)
        .map(|i| SetTest {
            session: i / 3,
            set: Seconds::new(0.6 + 0.3 * f64::from(n) + 0.02 * f64::from(i % 5)).expect("seconds"),
            nudge_every: None,
            piece: TestPiece::default(),
            conditions: Conditions {
                air: Air {
                    temperature: Celsius::new(20.0 + f64::from(i % 4)).expect("a temperature"),
                    humidity: RelHumidity::new(35.0 + f64::from(i % 20)).expect("a humidity"),
                },
                bead: Bead::ALL[i as usize % 3],
                liquids: Liquids::NONE,
                days_open: f64::from(i),
            },
        })
        .collect();
    let summary = Summary {
        sums: Sums::of(&tests),
        openness: Openness::untested(),
        covered: Covered::of(&tests),
        ..Summary::none()
    };
    let kept = serde_json::to_string(&summary).expect("JSON");
    vec![
        format!(
            "insert into product (id, name, name_key, label_low_s, label_high_s, family, colour, storage, accelerator, created)
             values ('{product}', 'Adhesive {n}', 'adhesive {n}', 1, 2, 'ethyl', 'black', '', 'no', 1)"
        ),
        format!(
            "insert into bottle (id, product, lot, received, room, in_use, created)
             values ('{bottle}', '{product}', '', '2026-01-01', '{room}', 0, 1)"
        ),
        format!("insert into bottle_summary (bottle, tests, summary) values ('{bottle}', 30, '{kept}')"),
    ]
}

/// Whose hands and which bottle the growth is looked at with.
const GROWN_ARTIST: &str = "0192f0c1-7e57-7000-8000-00000000a001";
const GROWN_BOTTLE: &str = "0192f0c1-7e57-7000-8000-00000000b001";

/// Three sittings of twenty placements and thirty bench tests in ten sittings, so many times over: every row, and what is kept of
/// them, as the writes that add them would keep it.
async fn grow(studio: &Studio, times: u32) {
    let now = studio.house.store.clock().now().0;
    let mut texts = Vec::new();
    let person = PersonId::new();
    texts.push(format!(
        "insert into person (id, name, name_key, role, passphrase, created) values ('{person}', 'Grown', 'grown', 'artist', '', 1)"
    ));
    texts.push(format!(
        "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created)
         values ('{GROWN_ARTIST}', '{person}', 'employed', 0, 'classic', 'classic', 180, 1)"
    ));
    let seconds = |value: f64| Seconds::new(value).expect("seconds");
    let mut timings = Vec::new();
    for session in 0..3 * times {
        let (id, at) = (TimingSessionId::new(), now.plus(-DAY - MINUTE * i64::from(session)).0);
        let placed: Vec<(Seconds, Seconds)> = (0..20)
            .map(|i| {
                (
                    seconds(2.0 + 0.05 * f64::from((i * 7 + session) % 20)),
                    seconds(0.9 + 0.04 * f64::from((i * 3 + session) % 17)),
                )
            })
            .collect();
        let settles: Vec<Seconds> = placed.iter().map(|(_, settle)| *settle).collect();
        let kept = serde_json::to_string(&KeptSitting::of(&settles, &[])).expect("JSON");
        texts.push(format!(
            "insert into timing_session (id, artist, technique, fan, at, received, source, bottle, bottle_name, dry, entered_by, kept)
             values ('{id}', '{GROWN_ARTIST}', 'classic', 0, {at}, {at}, 'typed', '', '', 1, '', '{kept}')"
        ));
        for (n, (travel, settle)) in placed.iter().enumerate() {
            texts.push(format!(
                "insert into placement (id, session, n, travel_s, settle_s) values ('{}', '{id}', {n}, {}, {})",
                PlacementId::new(),
                travel.get(),
                settle.get()
            ));
            timings.push(Timing { session, travel: *travel, settle: *settle });
        }
    }
    let kept = serde_json::to_string(&KeptReport::of(&Sittings::of(&timings, &[]))).expect("JSON");
    texts.push(format!(
        "insert into hands_kept (artist, technique, fan, summary) values ('{GROWN_ARTIST}', 'classic', 0, '{kept}')"
    ));
    texts.extend(grown_bottle(times, now));
    studio.write(texts).await.expect("a grown house");
}

fn grown_bottle(times: u32, now: Instant) -> Vec<String> {
    let product = ProductId::new();
    let mut texts = vec![
        format!(
            "insert into product (id, name, name_key, label_low_s, label_high_s, family, colour, storage, accelerator, created)
             values ('{product}', 'Grown', 'grown', 1, 2, 'ethyl', 'black', '', 'no', 1)"
        ),
        format!(
            "insert into bottle (id, product, lot, received, room, in_use, created)
             select '{GROWN_BOTTLE}', '{product}', '', '2026-01-01', min(id), 0, 1 from room"
        ),
    ];
    let (mut tests, mut tally) = (Vec::new(), Tally::default());
    for n in 0..30 * times {
        let (id, at) = (BenchTestId::new(), now.plus(-DAY - MINUTE * i64::from(n)));
        if n % 3 == 0 {
            let sitting = SittingId::new();
            texts.push(format!(
                "insert into bench_sitting (id, bottle, piece, at) values ('{sitting}', '{GROWN_BOTTLE}', 'practice_lash', {})",
                at.0
            ));
            tests.push((sitting, Vec::new()));
        }
        let Some((sitting, of_sitting)) = tests.last_mut() else { continue };
        let (time, humidity) = (1.4 + 0.02 * f64::from(n % 13), 40.0 + f64::from(n % 11));
        texts.push(format!(
            "insert into bench_test (id, sitting, bottle, at, kind, seconds, bead, pick_up, liquids, days_open, temperature_c,
             humidity_pct, u_temperature_k, u_humidity_pct, by_person)
             values ('{id}', '{sitting}', '{GROWN_BOTTLE}', {}, 'set', {time}, 'medium', '', '', 3, 22, {humidity}, 0.5, 2.5, '')",
            at.0
        ));
        let place = 0.05 + 0.9 * f64::from(n % 10) / 10.0;
        tally.add(place, 0.2);
        texts.push(format!(
            "insert into forecast (test, at, bottle, measured, low, middle, high, place, ln_density, label_middle,
             label_ln_density, tests_before) values ('{id}', {}, '{GROWN_BOTTLE}', 0.4, 0.2, 0.4, 0.6, {place}, 0.4, 0.4, 0.2, {n})",
            at.0
        ));
        let air = Air {
            temperature: Celsius::new(22.0).expect("a temperature"),
            humidity: RelHumidity::new(humidity).expect("a humidity"),
        };
        of_sitting.push(BenchTest {
            id,
            sitting: *sitting,
            at,
            found: Found::Set { seconds: Seconds::new(time).expect("seconds"), nudge_every: None },
            piece: TestPiece::PracticeLash,
            conditions: Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 3.0 },
            doubt: AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(2.5) },
            pick_up: None,
            drop_minutes: None,
            struck: false,
        });
    }
    let tests: Vec<BenchTest> = tests.into_iter().rev().flat_map(|(_, of_sitting)| of_sitting).collect();
    let summary = Summary::of(&tests, |_| (Prior::from_label(None), ProductSums::none()));
    texts.push(format!(
        "insert into bottle_summary (bottle, tests, summary) values ('{GROWN_BOTTLE}', {}, '{}')",
        tests.len(),
        serde_json::to_string(&summary).expect("JSON")
    ));
    let tally = serde_json::to_string(&tally).expect("JSON");
    texts.push(format!(
        "insert into forecast_kept (one, summary) values (1, '{tally}') on conflict (one) do update set summary = excluded.summary"
    ));
    texts
}

/// How often each page is opened in either house.
const OPENINGS: usize = 41;

/// The middle of many openings of a page in two houses, in milliseconds, in turns, so that whatever else the machine does slows both.
async fn middles_ms(visits: [&Visit; 2], paths: [&str; 2]) -> [f64; 2] {
    let mut taken = [Vec::new(), Vec::new()];
    for opening in 0..=OPENINGS {
        for ((visit, path), taken) in visits.iter().zip(paths).zip(&mut taken) {
            let begun = std::time::Instant::now();
            visit.open(path).await;
            // The first fills connections and prepared statements.
            if opening > 0 {
                taken.push(begun.elapsed().as_secs_f64() * 1000.0);
            }
        }
    }
    taken.map(|mut taken| {
        taken.sort_by(f64::total_cmp);
        taken[taken.len() / 2]
    })
}

/// Opens the pages that rest on tests and timings with one and with ten times as many, and prints how much longer they take.
#[expect(clippy::print_stdout, reason = "what a bench found is for the terminal")]
fn growth(_: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    runtime.block_on(async {
        let (few, many) = (Visit::grown(1).await, Visit::grown(10).await);
        let of = |visit: &Visit| {
            [
                ("bottle page", format!("/shelf/bottles/{GROWN_BOTTLE}")),
                ("bench page", format!("/shelf/bottles/{GROWN_BOTTLE}/bench")),
                ("hands page", format!("/hands/{GROWN_ARTIST}?style=classic")),
                ("advice page", format!("/rooms/{}/advice?artist={GROWN_ARTIST}&bottle={GROWN_BOTTLE}", visit.room)),
                ("day sheet", "/".to_owned()),
                ("forecast page", "/office/forecast".to_owned()),
            ]
        };
        let mut ratios = Vec::new();
        for ((page, path), (_, grown)) in of(&few).into_iter().zip(of(&many)) {
            let [one, ten] = middles_ms([&few, &many], [&path, &grown]).await;
            println!("{page}: {one:.2} ms, with ten times the tests and timings {ten:.2} ms");
            ratios.push((page, ten / one));
        }
        for (page, ratio) in &ratios {
            println!("ratio {page}: {ratio:.2}");
        }
        for (page, ratio) in ratios {
            assert!(ratio <= 2.0, "{page} grows with what is behind it");
        }
    });
}

fn pages(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let visit = runtime.block_on(Visit::begin());
    let advice = format!("/rooms/{}/advice", visit.room);
    let page = runtime.block_on(visit.open(&advice));
    assert!(page.contains("id=\"band\""), "the advice has its map");
    bench.bench_function("advice page, a year of readings, 12 bottles in the house", |bench| {
        bench.iter(|| runtime.block_on(visit.open(&advice)));
    });
    let page = runtime.block_on(visit.open("/"));
    assert_eq!(page.matches("class=\"cell").count(), 48, "the board has twelve artists in four rooms");
    bench.bench_function("day sheet, 12 artists in 4 rooms", |bench| {
        bench.iter(|| runtime.block_on(visit.open("/")));
    });
    let page = runtime.block_on(visit.open("/door/not-cleared"));
    let expected = page
        .split(" expected in the next")
        .next()
        .and_then(|before| before.split(|c: char| !c.is_ascii_digit()).next_back());
    assert!(expected.and_then(|many| many.parse().ok()).is_some_and(|many: i64| many >= EXPECTED), "{expected:?}");
    bench.bench_function("desk list, 500 expected", |bench| {
        bench.iter(|| runtime.block_on(visit.open("/door/not-cleared")));
    });
}

criterion_group!(all_pages, pages, growth);
criterion_main!(all_pages);
