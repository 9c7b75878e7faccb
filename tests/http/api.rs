//! The API: its document and its doors are the same list, advice over HTTP, problems as JSON.

use std::collections::BTreeSet;

use axum::body::Body;
use axum::http::Method;
use serde_json::{Value, json};
use stillroom::places;

use crate::browser::Answer;
use crate::house::both_databases;
use crate::studio::Actor;

/// Where the document itself is read; it does not describe itself.
const DOCUMENT: &str = "/api/v1/openapi.json";

const QUESTION: &str = include_str!("../../docs/examples/one_bottle.json");

#[test]
fn the_document_and_the_router_name_the_same_doors() {
    let document: Value = serde_json::to_value(places::api_document("")).unwrap();
    let described: BTreeSet<(String, String)> = document["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, operations)| {
            operations.as_object().unwrap().keys().map(move |method| (method.to_uppercase(), path.clone()))
        })
        .collect();
    let doors: BTreeSet<(String, String)> = places::routes()
        .doors()
        .into_iter()
        .filter(|door| door.path.starts_with("/api/v1/") && door.path != DOCUMENT)
        .map(|door| (door.method, door.path))
        .collect();
    assert!(doors.len() >= 4);
    assert_eq!(described, doors);
}

#[test]
fn every_operation_says_who_may_ask_and_what_may_come_back() {
    let document: Value = serde_json::to_value(places::api_document("/studio")).unwrap();
    assert_eq!(document["servers"], json!([{ "url": "/studio" }]));
    for (path, operations) in document["paths"].as_object().unwrap() {
        for (method, operation) in operations.as_object().unwrap() {
            assert!(operation["security"].is_array(), "{method} {path}");
            for status in ["200", "401", "403"] {
                assert!(operation["responses"][status].is_object(), "{method} {path}: {status} is not described");
            }
        }
    }
}

/// Stops the test unless the answer is a problem as RFC 9457 writes it.
#[track_caller]
fn problem(answer: &Answer, status: u16) -> Value {
    assert_eq!(answer.status, status, "{}: {}", answer.asked, answer.words());
    assert_eq!(answer.header("content-type"), "application/problem+json", "{}", answer.asked);
    let told = answer.json();
    assert_eq!((&told["type"], &told["status"]), (&json!("about:blank"), &json!(status)), "{}", answer.asked);
    assert!(told["title"].as_str().is_some_and(|words| words.len() > 10), "{}: {told}", answer.asked);
    let detail = told["detail"].as_str().unwrap();
    assert!(detail.ends_with('.'), "{}: {told}", answer.asked);
    // A program has no form that comes back, no page to open and no way to sign in.
    for words in ["typed", "form", "its page", "Sign in", "Today"] {
        assert!(!detail.contains(words), "{}: {told}", answer.asked);
    }
    told
}

both_databases!(advice_is_for_readers_alone_and_keeps_nothing, async |house| {
    let before = house.counts().await;
    let answer = house.actor(Actor::Reader).post_json("/api/v1/advice", QUESTION).await.must(200).json();
    assert!(answer.as_object().is_some_and(|answer| answer.len() > 3), "{answer}");
    // The same question asked of the library, as the command does.
    let by_library = serde_json::to_value(stillroom::advice::file::answer(QUESTION).unwrap()).unwrap();
    assert_eq!(answer, by_library);
    problem(&house.actor(Actor::Sensor).post_json("/api/v1/advice", QUESTION).await, 403);
    problem(&house.owner().post_json("/api/v1/advice", QUESTION).await, 401);
    assert_eq!(house.counts().await, before);
});

both_databases!(what_is_wrong_with_a_question_is_named, async |house| {
    let mut reader = house.actor(Actor::Reader);
    let good: Value = serde_json::from_str(QUESTION).unwrap();
    let mut cases: Vec<(String, &str)> = vec![
        ("not json at all".to_owned(), "not JSON, line 1"),
        ("{\n\"room\": ".to_owned(), "not JSON, line 2"),
        (String::new(), "not JSON"),
        ("[]".to_owned(), ""),
    ];
    let mut with = |change: fn(&mut Value), word: &'static str| {
        let mut bad = good.clone();
        change(&mut bad);
        assert_ne!(bad, good, "{word}: the example has changed, so this case tries nothing");
        cases.push((bad.to_string(), word));
    };
    with(|bad| bad["surprise"] = json!(1), "surprise");
    with(|bad| bad["room"]["relative_humidity_pct"] = json!(140), "relative_humidity_pct");
    with(|bad| bad["room"]["temperature_c"] = json!("warm"), "temperature_c");
    with(|bad| bad["room"] = json!(null), "room");
    for (body, word) in cases {
        let told = problem(&reader.post_json("/api/v1/advice", body.clone()).await, 422);
        let sentence = told["fields"][0]["sentence"].as_str().unwrap().to_owned();
        assert!(sentence.contains(word), "{word} is not named: {sentence}");
        assert_eq!(told["fields"].as_array().unwrap().len(), 1, "{told}");
    }
    problem(&reader.post_json("/api/v1/advice", vec![0xff, 0xfe, 0x00]).await, 400);
    problem(&reader.post_json("/api/v1/advice", vec![b' '; 2_200_000]).await, 413);
});

both_databases!(problems_of_the_api_are_json_and_tell_what_to_do, async |house| {
    let mut nobody = house.stranger();
    let answer = nobody.get("/api/v1/rooms").await;
    problem(&answer, 401);
    assert_eq!(answer.header("www-authenticate"), "Bearer");
    problem(&house.actor(Actor::Sensor).get("/api/v1/rooms").await, 403);
    let mut reader = house.actor(Actor::Reader);
    problem(&reader.get("/api/v1/nothing").await, 404);
    problem(&reader.get("/api/v1/rooms/none/readings").await, 404);
    for hours in ["0", "745", "-1", "many", "1.5", "99999999999999999999"] {
        let path = format!("/api/v1/rooms/{}/readings?hours={hours}", house.things.gable);
        let told = problem(&reader.get(&path).await, 422);
        assert_eq!(told["fields"][0]["field"], "hours");
    }
    for method in [Method::DELETE, Method::PUT, Method::PATCH] {
        let answer = reader.ask(method, "/api/v1/rooms", &[], Body::empty()).await;
        assert_eq!(answer.status, 405, "{}", answer.asked);
        assert_eq!(answer.header("content-type"), "application/problem+json");
        assert!(answer.header("allow").contains("GET"), "{}: {}", answer.asked, answer.header("allow"));
    }
    // No cookie is given out where none counts.
    assert!(nobody.jar.is_empty());
});

both_databases!(rooms_are_read_with_and_without_air, async |house| {
    let mut reader = house.actor(Actor::Reader);
    let rooms = reader.page("/api/v1/rooms").await.json();
    let names: Vec<_> =
        rooms.as_array().unwrap().iter().map(|room| room["name"].as_str().unwrap().to_owned()).collect();
    assert_eq!(names, ["Cellar", "Gable", "Lantern"]);
    assert!(rooms.as_array().unwrap().iter().all(|room| room["air"].is_null()));
    let path = format!("/api/v1/rooms/{}/readings", house.things.gable);
    house.actor(Actor::Sensor).post_json(&path, r#"{"temperature": 21.0, "humidity": 38}"#).await.must(200);
    let air = reader.page("/api/v1/rooms").await.json()[1]["air"].clone();
    assert_eq!((&air["at"], &air["stale"]), (&json!("2026-02-18T09:12:00Z"), &json!(false)));
    assert!((air["temperature_c"].as_f64().unwrap() - 21.0).abs() < 1e-9, "{air}");
    assert!(air["dew_point_c"].as_f64().unwrap() > 6.0 && air["vapour_density_g_m3"].as_f64().unwrap() > 6.9, "{air}");
});
