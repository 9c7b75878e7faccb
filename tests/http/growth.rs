//! What a page reads does not grow with the tests and timings behind it: statements and rows are counted, not timed.

use std::collections::HashMap;
use std::sync::{Mutex, Once};

use stillroom::artists::hands::KeptSitting;
use stillroom::base::ids::{BenchTestId, PlacementId, SittingId, TimingSessionId};
use stillroom::base::time::MINUTE;
use stillroom::base::units::Seconds;
use tracing::field::{Field, Visit};
use tracing::{Event, Instrument as _, Level, Subscriber};
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::{Context, Layer, SubscriberExt as _};
use tracing_subscriber::registry::LookupSpan;

use crate::browser::Browser;
use crate::house::{TestHouse, both_databases};
use crate::schema::id;
use crate::shelf::bench;
use crate::studio::Actor;

/// Statements and the rows they gave, by the span they ran in.
static READ: Mutex<Option<HashMap<u64, Read>>> = Mutex::new(None);

#[derive(Debug, Clone, Default)]
struct Read {
    /// How each statement begins, in order.
    statements: Vec<String>,
    rows: u64,
}

impl Read {
    /// The statements of this reading beyond those of another one: what a failure must show to be understood.
    fn beyond(&self, other: &Self) -> Vec<String> {
        let mut left = other.statements.clone();
        let mut beyond = self.statements.clone();
        beyond.retain(|statement| match left.iter().position(|one| one == statement) {
            Some(at) => {
                left.swap_remove(at);
                false
            }
            None => true,
        });
        beyond
    }
}

/// Counts what the driver tells of each statement, for the span of this file around it; other tests go on unseen.
struct Count;

impl<S: Subscriber + for<'a> LookupSpan<'a>> Layer<S> for Count {
    fn on_event(&self, event: &Event<'_>, context: Context<'_, S>) {
        let own = context.event_scope(event).into_iter().flatten().find(|span| span.metadata().name() == "counted");
        let Some(own) = own else { return };
        let mut told = Told::default();
        event.record(&mut told);
        // A connection that the pool opens meanwhile is set up; no page asked for that.
        if ["pragma", "set time zone"].iter().any(|opening| told.summary.to_lowercase().starts_with(opening)) {
            return;
        }
        let mut read = READ.lock().unwrap();
        let read = read.get_or_insert_default().entry(own.id().into_u64()).or_default();
        read.statements.push(told.summary);
        read.rows += told.rows;
    }
}

/// What the driver tells of one statement.
#[derive(Default)]
struct Told {
    rows: u64,
    summary: String,
}

impl Visit for Told {
    fn record_u64(&mut self, field: &Field, value: u64) {
        if field.name() == "rows_returned" {
            self.rows = value;
        }
    }

    fn record_str(&mut self, field: &Field, value: &str) {
        if field.name() == "summary" {
            value.clone_into(&mut self.summary);
        }
    }

    fn record_debug(&mut self, _: &Field, _: &dyn std::fmt::Debug) {}
}

/// What one page reads.
async fn read(browser: &mut Browser, path: &str) -> Read {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let only = Targets::new().with_target("sqlx::query", Level::DEBUG).with_target("http", Level::INFO);
        let counting = tracing_subscriber::registry().with(Count.with_filter(only));
        tracing::subscriber::set_global_default(counting).unwrap();
    });
    let span = tracing::info_span!(target: "http", "counted");
    let id = span.id().unwrap().into_u64();
    browser.page(path).instrument(span).await;
    READ.lock().unwrap().as_ref().and_then(|read| read.get(&id)).cloned().unwrap_or_default()
}

/// Adds sittings of ten placements and bench tests with what was foretold of them, older than everything that is there.
async fn add(house: &TestHouse, sittings: i64, tests: i64, before: i64) {
    let (artist, bottle) = (house.things.hands.artist.clone(), house.things.bottle.clone());
    let mut texts = Vec::new();
    for n in 0..sittings {
        let (id, at) = (TimingSessionId::new(), before - n * MINUTE);
        let settles: Vec<Seconds> = (0..10).map(|i| Seconds::clamped(0.9 + 0.05 * f64::from(i))).collect();
        let kept = serde_json::to_string(&KeptSitting::of(&settles, &[])).unwrap();
        texts.push(format!(
            "insert into timing_session (id, artist, technique, fan, at, received, source, bottle, bottle_name, dry, entered_by, kept)
             values ('{id}', '{artist}', 'classic', 0, {at}, {at}, 'typed', '', '', 1, '', '{kept}')"
        ));
        let rows: Vec<String> = (0..10)
            .map(|i| {
                format!(
                    "('{}', '{id}', {i}, {}, {})",
                    PlacementId::new(),
                    2.0 + 0.07 * f64::from(i),
                    0.9 + 0.05 * f64::from(i)
                )
            })
            .collect();
        texts.push(format!("insert into placement (id, session, n, travel_s, settle_s) values {}", rows.join(", ")));
    }
    let mut sitting = SittingId::new();
    for n in 0..tests {
        let (id, at) = (BenchTestId::new(), before - n * MINUTE);
        if n % 3 == 0 {
            sitting = SittingId::new();
            texts.push(format!(
                "insert into bench_sitting (id, bottle, piece, at) values ('{sitting}', '{bottle}', 'practice_lash', {at})"
            ));
        }
        texts.push(format!(
            "insert into bench_test (id, sitting, bottle, at, kind, seconds, bead, pick_up, liquids, days_open, temperature_c,
             humidity_pct, u_temperature_k, u_humidity_pct, by_person)
             values ('{id}', '{sitting}', '{bottle}', {at}, 'set', {}, 'medium', '', '', 3, 22, 45, 0.5, 2.5, '')",
            1.5 + 0.01 * (n % 30) as f64
        ));
        texts.push(format!(
            "insert into forecast (test, at, bottle, measured, low, middle, high, place, ln_density, label_middle,
             label_ln_density, tests_before) values ('{id}', {at}, '{bottle}', 0.5, 0.3, 0.5, 0.7, 0.5, 0.4, 0.4, 0.2, 3)"
        ));
    }
    house
        .write(move |tx| {
            let texts = texts.clone();
            Box::pin(async move {
                for text in texts {
                    // Made of ids and numbers above.
                    sqlx::query(sqlx::AssertSqlSafe(text)).execute(tx.db()).await?;
                }
                tx.record_tells_itself();
                Ok(stillroom::store::Kept::see(""))
            })
        })
        .await
        .unwrap();
    // One of each through the forms, so that what is kept is made anew from all.
    let mut owner = house.owner();
    bench(&mut owner, &bottle, &[("seconds", "1.6")]).await;
    let path = format!("/hands/{artist}/timing/typed");
    let form = owner.form(&format!("{path}?style=classic"), &path).await.with("travel1", "2.4").with("settle1", "1.1");
    owner.submit(&form).await.goes_to();
}

both_databases!(ten_times_the_tests_and_timings_are_no_more_statements_and_rows_for_a_page, async |house| {
    let things = &house.things;
    let pages = [
        format!("/shelf/bottles/{}", things.bottle),
        format!("/shelf/bottles/{}/bench", things.bottle),
        format!("/hands/{}?style=classic", things.hands.artist),
        "/hands".to_owned(),
        "/shelf".to_owned(),
        "/office/forecast".to_owned(),
        format!("/rooms/{}/advice", things.gable),
        format!("/rooms/{}/plan", things.gable),
        "/".to_owned(),
    ];
    let now = house.clock.now().0.0;
    let mut owner = house.owner();
    let air = format!("/rooms/{}/readings", things.gable);
    let form = owner.form(&format!("{air}/new"), &air).await;
    owner.submit(&form.with_all(&[("temperature", "22"), ("humidity", "45"), ("do", "keep")])).await.goes_to();
    add(house, 24, 60, now - MINUTE).await;
    let mut few = Vec::new();
    for page in &pages {
        few.push(read(&mut owner, page).await);
    }
    add(house, 9 * 24, 9 * 60, now - 1000 * MINUTE).await;
    assert!(few.iter().all(|read| read.statements.len() > 2 && read.rows > 10), "the counting counts: {few:?}");
    for (page, few) in pages.iter().zip(few) {
        let many = read(&mut owner, page).await;
        // Give or take two: what the house does now and then beside its pages is counted, too. One a test would be hundreds more.
        assert!(many.statements.len() <= few.statements.len() + 2, "{page}: {:#?} more", many.beyond(&few));
        assert!(many.rows <= few.rows + 2, "{page}: {} rows became {}", few.rows, many.rows);
    }
    // And they are there.
    owner.page(&format!("/hands/{}?style=classic", things.hands.artist)).await.says("240");
    assert!(house.number("select count(*) from bench_test").await > 600);
});

both_databases!(a_room_more_is_no_statement_more_for_the_day_sheet_and_the_timing_page, async |house| {
    let mut owner = house.owner();
    let read_air = async |owner: &mut Browser, room: &str| {
        let action = format!("/rooms/{room}/readings");
        let form = owner.form(&format!("{action}/new"), &action).await;
        owner.submit(&form.with_all(&[("temperature", "22"), ("humidity", "45"), ("do", "keep")])).await.goes_to();
    };
    read_air(&mut owner, &house.things.gable).await;
    let pages = ["/".to_owned(), format!("/hands/{}/timing", house.things.hands.artist)];
    let mut before = Vec::new();
    for page in &pages {
        before.push(read(&mut owner, page).await);
    }
    for name in ["Attic", "Byre", "Croft"] {
        let room = crate::studio::add_room(&mut owner, name).await;
        read_air(&mut owner, &room).await;
    }
    for (page, before) in pages.iter().zip(before) {
        let after = read(&mut owner, page).await;
        assert!(
            after.statements.len() <= before.statements.len(),
            "{page}: rooms are read together: {:#?} more",
            after.beyond(&before)
        );
    }
});

both_databases!(an_advice_page_reads_the_settings_of_the_house_once, async |house| {
    let mut owner = house.owner();
    let page = read(&mut owner, &format!("/rooms/{}/advice", house.things.gable)).await;
    let of_settings = page.statements.iter().filter(|statement| statement.contains("name, value")).count();
    assert_eq!(of_settings, 1, "{:#?}", page.statements);
});

/// Clients with health answers and a visit in the next days, who met one lot; every third is a minor, every fifth came back after an
/// erasure, every seventh waits for a call.
async fn add_expected(house: &TestHouse, numbers: std::ops::Range<usize>) {
    let artist = &house.things.people[Actor::ArtistA.name()];
    let product = &house.things.clearance["product"];
    let now = house.clock.now().0.0;
    for n in numbers {
        let (client, earlier) = (id(700_000 + n), id(710_000 + n));
        let born = if n % 3 == 0 { "2009-05-01" } else { "1990-01-01" };
        let at = now + MINUTE * (i64::try_from(n).unwrap() * 15 + 60);
        let columns = "id, name, name_key, sound, phone, phone_digits, email, email_key, born, keeper, notes, created, erased, came_back";
        let met = |client: &str, n: usize| {
            format!(
                "insert into exposure (id, client, product, lot, at, kind, source)
                 values ('{}', '{client}', '{product}', 'T-1', {}, 'treatment', 'card-{n}')",
                id(720_000 + n),
                now - MINUTE
            )
        };
        let mut texts = vec![
            format!(
                "insert into client ({columns})
                 values ('{client}', 'N{n} Guest', 'n{n} guest', '', '', '', '', '', '{born}', '{artist}', '', 1, null, null)"
            ),
            format!(
                "insert into expected_visit (id, client, at, kind, created) values ('{}', '{client}', {at}, 'set', 1)",
                id(730_000 + n)
            ),
            met(&client, n),
        ];
        if n % 5 == 0 {
            texts.push(format!(
                "insert into client ({columns})
                 values ('{earlier}', '', '', '', '', '', '', '', null, '{artist}', '', 1, 1, '{client}')"
            ));
            texts.push(met(&earlier, 1000 + n));
        }
        if n % 7 == 0 {
            let reaction = id(740_000 + n);
            texts.push(format!(
                "insert into reaction (id, client, noticed, acute, details, entered, entered_by)
                 values ('{reaction}', '{client}', 1, 0, '', 1, '')"
            ));
            texts.push(format!(
                "insert into follow_up (id, reaction, client, due, done_by) values ('{}', '{reaction}', '{client}', {now}, '')",
                id(750_000 + n)
            ));
        }
        for text in texts {
            house.run(&text).await.unwrap();
        }
        crate::clearance::answer(house, &client, "nothing").await;
    }
}

both_databases!(ten_times_the_clients_are_no_statement_more_for_the_desk_list_and_the_trace_of_a_lot, async |house| {
    let product = &house.things.clearance["product"];
    let mut owner = house.owner();
    let form = owner.form("/door/stops/new", "/door/stops").await;
    let form = form.with_all(&[("product", product), ("what", "lot"), ("lot", "T-1"), ("why", "Called back.")]);
    let stop = owner.submit(&form).await.goes_to();
    let pages = [
        "/door/not-cleared".to_owned(),
        format!("/door/lots?product={product}&lot=T-1"),
        stop,
        "/door/house-adhesive".to_owned(),
        "/".to_owned(),
    ];
    add_expected(house, 0..10).await;
    let mut few = Vec::new();
    for page in &pages {
        few.push(read(&mut owner, page).await);
    }
    assert!(few.iter().all(|read| read.statements.len() > 2 && read.rows > 10), "the counting counts: {few:?}");
    add_expected(house, 10..100).await;
    for (page, few) in pages.iter().zip(few) {
        let many = read(&mut owner, page).await;
        assert!(many.statements.len() <= few.statements.len(), "{page}: {:#?} more", many.beyond(&few));
        assert!(many.rows > few.rows, "{page}: {} rows for ten and {} for a hundred", few.rows, many.rows);
    }
    // And they are there.
    owner.page("/door/not-cleared").await.says("101 expected in the next 7 days");
    owner.page(&pages[1]).await.says("N99 Guest");
});
