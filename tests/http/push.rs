//! Readings pushed by a sensor: shapes, mapping, duplicates, other rooms, keys, and ten thousand bodies nobody should send.

use std::collections::BTreeMap;

use serde_json::{Value, json};
use stillroom::base::time::{MINUTE, SECOND};

use crate::browser::{Answer, Browser};
use crate::house::{TestHouse, both_databases};
use crate::random::Random;
use crate::studio::{Actor, add_sensor};

fn door(house: &TestHouse) -> String {
    format!("/api/v1/rooms/{}/readings", house.things.gable)
}

async fn push(house: &TestHouse, sensor: &mut Browser, body: &str) -> Answer {
    sensor.post_json(&door(house), body.to_owned()).await
}

/// Changes how Gable's sensor is read.
async fn map(house: &TestHouse, pairs: &[(&str, &str)]) {
    let mut owner = house.owner();
    let page = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let form = owner.form(&page, &page).await.with_all(pairs);
    owner.submit(&form).await.must(303);
}

both_databases!(a_pushed_reading_is_kept_with_its_sensor_and_shown, async |house| {
    let mut sensor = house.actor(Actor::Sensor);
    let told = push(house, &mut sensor, r#"{"temperature": 21.4, "humidity": 45}"#).await.must(200).json();
    assert_eq!(told, json!({ "kept": 1, "already": 0, "set_aside": [], "faults": [] }));
    let mark = format!("sensor:{}", house.things.sensor_token);
    assert_eq!(house.look("select given_by from reading").await, mark);
    assert_eq!(house.look("select instrument from reading").await, house.things.sensor);
    let mut artist = house.actor(Actor::ArtistA);
    artist.page("/rooms").await.says("21.4 °C");
    let kept = house.actor(Actor::Reader).page(&door(house)).await.json();
    assert_eq!(
        kept,
        json!([{ "at": "2026-02-18T09:12:00Z", "temperature_c": 21.4, "relative_humidity_pct": 45.0,
        "instrument": house.things.sensor, "set_aside": null }])
    );
});

both_databases!(an_array_says_of_each_item_what_became_of_it, async |house| {
    map(house, &[("time_field", "when")]).await;
    let body = r#"[
        {"when": "2026-02-18T09:00:00Z", "temperature": 21.0, "humidity": 45},
        {"when": 1771405260, "temperature": "21,5", "humidity": "45 %"},
        {"when": "2026-02-18T09:02:00Z", "temperature": 85, "humidity": 45},
        {"when": "yesterday", "temperature": 21, "humidity": 45},
        {"when": "2026-02-18T09:00:00+00:00", "temperature": 29.0, "humidity": 99},
        {"when": "2027-01-01T00:00:00Z", "temperature": 21.0, "humidity": 45},
        "21"
    ]"#;
    let mut sensor = house.actor(Actor::Sensor);
    let told = push(house, &mut sensor, body).await.must(200).json();
    assert_eq!((&told["kept"], &told["already"]), (&json!(2), &json!(1)), "{told}");
    let items = |name: &str| -> Vec<u64> {
        told[name].as_array().unwrap().iter().map(|item| item["item"].as_u64().unwrap()).collect()
    };
    assert_eq!((items("set_aside"), items("faults")), (vec![3, 6], vec![4, 7]), "{told}");
    for item in ["set_aside", "faults"].iter().flat_map(|name| told[name].as_array().unwrap()) {
        let sentence = item["sentence"].as_str().unwrap();
        assert!(sentence.starts_with(char::is_uppercase) || sentence.starts_with(char::is_numeric), "{sentence}");
        assert!(sentence.ends_with('.'), "{sentence}");
    }
    assert_eq!(house.number("select count(*) from reading").await, 4);
    assert_eq!(house.number("select count(*) from reading where set_aside <> ''").await, 2);
    house.actor(Actor::ArtistA).page(&format!("/rooms/{}", house.things.gable)).await.says("off the scale");
    // All of it again: nothing new.
    house.clock.advance(MINUTE);
    let told = push(house, &mut sensor, body).await.must(200).json();
    assert_eq!((&told["kept"], &told["already"]), (&json!(0), &json!(5)), "{told}");
    assert_eq!(house.number("select count(*) from reading").await, 4);
});

both_databases!(the_time_a_sensor_sends_counts_unless_its_owner_emptied_that_field, async |house| {
    let mut sensor = house.actor(Actor::Sensor);
    let old = r#"{"temperature": 21.4, "humidity": 45, "time": "2026-02-18T09:00:00Z"}"#;
    // As a new sensor is set up.
    for (told, body) in
        [("kept", old), ("already", old), ("kept", r#"{"temperature": 21.4, "humidity": 45, "time": null}"#)]
    {
        let answer = push(house, &mut sensor, body).await.must(200).json();
        assert_eq!(answer[told], json!(1), "{body}: {answer}");
    }
    let nine = "2026-02-18T09:00:00Z".parse::<jiff::Timestamp>().unwrap().as_microsecond();
    let now = house.clock.now().0.0;
    assert_eq!((readings_at(house, nine).await, readings_at(house, now).await), (1, 1));
    push(house, &mut sensor, r#"{"temperature": 21.4, "humidity": 45, "time": "at noon"}"#).await.must(422);
    map(house, &[("time_field", "")]).await;
    house.clock.advance(MINUTE);
    let answer = push(house, &mut sensor, old).await.must(200).json();
    assert_eq!(answer["kept"], json!(1), "{answer}");
    assert_eq!(readings_at(house, now + MINUTE).await, 1);
    // That is told, to whoever sends it and on the instrument's page.
    assert!(answer["notes"][0].as_str().unwrap().contains("was not looked at"), "{answer}");
    let page = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    house.actor(Actor::ArtistA).page(&page).await.says("No time in its messages is looked at");
    house.clock.advance(MINUTE);
    let untimed = r#"{"temperature": 21.4, "humidity": 45}"#;
    assert_eq!(push(house, &mut sensor, untimed).await.must(200).json()["notes"], json!(null));
    map(house, &[("time_field", "time")]).await;
    assert_eq!(push(house, &mut sensor, old).await.must(200).json()["notes"], json!(null));
    assert!(!house.owner().page(&page).await.words().contains("No time in its messages"));
});

async fn readings_at(house: &TestHouse, at: i64) -> i64 {
    house.number(&format!("select count(*) from reading where at = {at}")).await
}

both_databases!(a_sensor_is_read_as_its_owner_set_it_up, async |house| {
    map(
        house,
        &[
            ("temperature_field", "env.t.value"),
            ("temperature_unit", "fahrenheit"),
            ("humidity_field", "env.h"),
            ("humidity_unit", "fraction"),
        ],
    )
    .await;
    let mut sensor = house.actor(Actor::Sensor);
    push(house, &mut sensor, r#"{"env": {"t": {"value": 69.8}, "h": 0.45}, "battery": 3.1}"#).await.must(200);
    let air = house.actor(Actor::Reader).page(&door(house)).await.json()[0].clone();
    assert!((air["temperature_c"].as_f64().unwrap() - 21.0).abs() < 1e-9, "{air}");
    assert!((air["relative_humidity_pct"].as_f64().unwrap() - 45.0).abs() < 1e-9, "{air}");

    // Halves that come apart are put together.
    map(
        house,
        &[
            ("bare_number", "temperature"),
            ("temperature_unit", "celsius"),
            ("humidity_field", "h"),
            ("humidity_unit", "percent"),
        ],
    )
    .await;
    house.clock.advance(MINUTE);
    assert_eq!(push(house, &mut sensor, "21.6").await.must(200).json()["kept"], 1);
    house.clock.advance(MINUTE);
    assert_eq!(push(house, &mut sensor, r#"{"h": 46}"#).await.must(200).json()["kept"], 1);
});

both_databases!(a_bare_number_needs_to_be_set_up, async |house| {
    let mut sensor = house.actor(Actor::Sensor);
    let answer = push(house, &mut sensor, "21.6").await.must(400);
    assert!(answer.json()["title"].as_str().unwrap().contains("bare number"), "{}", answer.words());
    map(house, &[("bare_number", "humidity")]).await;
    let told = push(house, &mut sensor, "45.5").await.must(200).json();
    assert_eq!(told["set_aside"][0]["item"], 1, "one half alone, and no other near: {told}");
});

both_databases!(the_same_instant_of_the_same_sensor_counts_once_and_of_another_again, async |house| {
    let mut sensor = house.actor(Actor::Sensor);
    push(house, &mut sensor, r#"{"temperature": 21.4, "humidity": 45}"#).await.must(200);
    let told = push(house, &mut sensor, r#"{"temperature": 21.5, "humidity": 46}"#).await.must(200).json();
    assert_eq!((&told["kept"], &told["already"]), (&json!(0), &json!(1)));
    let (_, _, secret) = add_sensor(house, &mut house.owner(), &house.things.gable, "second").await;
    let told =
        push(house, &mut house.stranger().with_token(&secret), r#"{"temperature": 21.5, "humidity": 46}"#).await.json();
    assert_eq!(told["kept"], 1);
    assert_eq!(house.number("select count(*) from reading").await, 2);
});

both_databases!(a_message_with_a_key_is_answered_alike_and_taken_once, async |house| {
    let mut sensor = house.actor(Actor::Sensor).with_header("idempotency-key", "message-0001");
    let body = r#"{"temperature": 21.4, "humidity": 45}"#;
    let first = push(house, &mut sensor, body).await.must(200).json();
    house.clock.advance(MINUTE);
    assert_eq!(push(house, &mut sensor, body).await.must(200).json(), first);
    assert_eq!(house.number("select count(*) from reading").await, 1);
    let other = push(house, &mut sensor, r#"{"temperature": 22.4, "humidity": 45}"#).await.must(422);
    assert_eq!(other.header("content-type"), "application/problem+json");
    assert_eq!(house.number("select count(*) from reading").await, 1);
    for key in ["short", "with space in it", &"k".repeat(101)] {
        let mut sensor = house.actor(Actor::Sensor).with_header("idempotency-key", key);
        push(house, &mut sensor, body).await.must(400);
    }
});

both_databases!(a_sensor_moved_to_a_closed_room_or_revoked_writes_nothing, async |house| {
    let body = r#"{"temperature": 21.4, "humidity": 45}"#;
    let mut owner = house.owner();
    let lantern = format!("/rooms/{}", house.things.lantern);
    let form = owner.form(&format!("{lantern}/edit"), &format!("{lantern}/close")).await;
    owner.submit(&form).await.must(303);
    let mut other = house.stranger().with_token(&house.things.lantern_secret);
    other.post_json(&format!("/api/v1{lantern}/readings"), body).await.must(404);
    let page = format!("/office/tokens/{}", house.things.sensor_token);
    let form = owner.form(&page, &format!("{page}/revoke")).await;
    owner.submit(&form).await.must(303);
    push(house, &mut house.actor(Actor::Sensor), body).await.must(401);
    assert_eq!(house.number("select count(*) from reading").await, 0);
});

/// Bodies as sensors send them, and bodies next to them.
const SHAPES: [&str; 16] = [
    r#"{"temperature": 21.4, "humidity": 38}"#,
    r#"{"temperature": "21,4 °C", "humidity": "38 %RH", "battery": 97}"#,
    r#"[{"temperature": 21.4, "humidity": 38}, {"temperature": 21.5, "humidity": 39}]"#,
    r#"{"time": "2026-02-18T09:00:00Z", "temperature": 21.4, "humidity": 38}"#,
    r#"{"time": 1771405200, "temperature": 21.4, "humidity": 38}"#,
    r#"{"time": 1771405200123, "data": {"t": [70.1, 70.3], "h": 0.38}}"#,
    r#"[{"time": "2026-02-18T10:00:00+01:00", "data": {"t": [70.5], "h": 0.5}}]"#,
    "21.4",
    "\"38 %\"",
    "27,3 °C",
    r#"{"temperature": null, "humidity": 38}"#,
    r#"{"temperature": 1e400, "humidity": -0.0}"#,
    r#"{"temperature": 85, "humidity": 140}"#,
    "[]",
    "{}",
    "null",
];

/// Values put in place of a number.
const ODD: [&str; 20] = [
    "NaN",
    "Infinity",
    "-1e308",
    "1e308",
    "1e-320",
    "0",
    "-0",
    "99999999999999999999",
    "9223372036854775807",
    "\"\"",
    "\"\\u0000\"",
    "\"\\ud800\"",
    "\"21.4\\n\"",
    "true",
    "[[]]",
    "{\"a\":{}}",
    "-300",
    "1.7976931348623157e308",
    "0x10",
    "\"٣\"",
];

/// One body: a known shape, with bytes changed, numbers replaced, nested, repeated, or noise.
fn some_body(random: &mut Random) -> Vec<u8> {
    let shape = *random.one(&SHAPES);
    let mut body = match random.below(10) {
        0..=3 => shape.as_bytes().to_vec(),
        4 | 5 => {
            let (number, odd) = (*random.one(&["21.4", "38", "1771405200", "null"]), *random.one(&ODD));
            shape.replacen(number, odd, 1).into_bytes()
        }
        6 => [vec![b'['; random.below(300)], shape.as_bytes().to_vec(), vec![b']'; random.below(300)]].concat(),
        7 => format!("[{}]", vec![shape; 1 + random.below(30)].join(",")).into_bytes(),
        8 => {
            let temperature = random.below(90_000) as f64 / 1000.0 - 20.0;
            let humidity = random.below(120_000) as f64 / 1000.0 - 10.0;
            json!({ "temperature": temperature, "humidity": humidity }).to_string().into_bytes()
        }
        _ => (0..random.below(200)).map(|_| random.next().to_le_bytes()[0]).collect(),
    };
    for _ in 0..random.below(4).saturating_sub(1) {
        let at = random.below(body.len());
        match random.below(5) {
            _ if body.is_empty() => body.push(b'{'),
            0 => body[at] = random.next().to_le_bytes()[0],
            1 => body.truncate(at),
            2 => body.insert(at, random.next().to_le_bytes()[0]),
            3 => drop(body.remove(at)),
            _ => body.extend_from_within(at..),
        }
    }
    body
}

/// Ten thousand on SQLite; on PostgreSQL, where each is a way to another process and back, two thousand.
fn how_many(house: &TestHouse) -> u32 {
    if house.is_sqlite() { 10_000 } else { 2_000 }
}

both_databases!(ten_thousand_broken_bodies_are_answered_in_words, async |house| {
    let mut owner = house.owner();
    let room = &house.things.gable;
    let (mapped, _, mapped_secret) = add_sensor(house, &mut owner, room, "mapped").await;
    let (bare, _, bare_secret) = add_sensor(house, &mut owner, room, "bare").await;
    for (id, pairs) in [
        (
            mapped,
            vec![
                ("temperature_field", "data.t.0"),
                ("temperature_unit", "fahrenheit"),
                ("humidity_field", "data.h"),
                ("humidity_unit", "fraction"),
                ("time_field", "time"),
            ],
        ),
        (bare, vec![("bare_number", "temperature"), ("time_field", "time")]),
    ] {
        let page = format!("/rooms/{room}/instruments/{id}");
        let form = owner.form(&page, &page).await.with_all(&pairs);
        owner.submit(&form).await.must(303);
    }
    let mut sensors =
        [&house.things.sensor_secret, &mapped_secret, &bare_secret].map(|secret| house.stranger().with_token(secret));
    let mut random = Random(20_260_218);
    let mut answers: BTreeMap<u16, u32> = BTreeMap::new();
    for n in 0..how_many(house) {
        let body = some_body(&mut random);
        let sensor = &mut sensors[random.below(3)];
        let kind = *random.one(&["application/json", "text/plain", "application/x-www-form-urlencoded", ""]);
        house.clock.advance(7 * SECOND);
        let answer = sensor.post_body(&door(house), kind, body.clone()).await;
        let shown = || String::from_utf8_lossy(&body).into_owned();
        assert!(matches!(answer.status, 200 | 400 | 413 | 422), "body {n} got {}: {}", answer.status, shown());
        let told: Value = answer.json();
        let title = told["title"].as_str();
        assert!(
            answer.status == 200 || title.is_some_and(|title| !title.is_empty()),
            "body {n}, no words: {}",
            shown()
        );
        *answers.entry(answer.status).or_default() += 1;
    }
    // Both kinds must come often, or the bodies try nothing.
    let tenth = how_many(house) / 10;
    assert!(answers[&200] > tenth && answers[&400] > tenth && answers[&422] > tenth / 2, "{answers:?}");
    let wrong = "select count(*) from reading where set_aside = '' and
                 (temperature_c is null or humidity_pct is null or temperature_c < 2 or temperature_c > 45 or humidity_pct < 2 or humidity_pct > 98)";
    assert_eq!(house.number(wrong).await, 0, "an implausible reading counts");
    assert!(house.number("select count(*) from reading where set_aside <> ''").await > 0);
    // What came in can be looked at.
    house.actor(Actor::Reader).page(&format!("{}?hours=744", door(house))).await;
    let mut artist = house.stranger();
    artist.sign_in(Actor::ArtistA.name(), crate::studio::PHRASE).await.must(303);
    artist.page(&format!("/rooms/{room}")).await;
});

both_databases!(a_body_too_large_is_refused_as_such, async |house| {
    let mut sensor = house.actor(Actor::Sensor);
    let large = format!("[{}]", vec![r#"{"temperature":21,"humidity":45}"#; 9000].join(","));
    sensor.post_json(&door(house), large).await.must(413);
    let many = format!("[{}]", vec!["1"; 2001].join(","));
    sensor.post_json(&door(house), many).await.must(413);
    assert_eq!(house.number("select count(*) from reading").await, 0);
});
