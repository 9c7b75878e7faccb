//! What arrives too large, too slowly or not whole, and what takes longer than a request may: told as that, in words, and nothing
//! half done.

use std::time::Duration;

use axum::body::{Body, Bytes};
use futures_util::stream::{self, StreamExt as _};

use crate::browser::{Answer, URLENCODED};
use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

/// A room as its form has to hold it.
const A_ROOM: [(&str, &str); 3] = [("name", "Byre"), ("volume_m3", "40"), ("coldest_surface", "door")];

/// Stops the test unless a person reads what happened, what is kept and what to do.
#[track_caller]
fn tells(answer: &Answer, sentences: [&str; 3]) {
    assert!(answer.is_page(), "{}: no page", answer.asked);
    for sentence in sentences {
        answer.says(sentence);
    }
}

/// The same for a program.
#[track_caller]
fn tells_a_program(answer: &Answer, happened: &str, kept: &str) {
    assert_eq!(answer.header("content-type"), "application/problem+json");
    let told = answer.json();
    assert_eq!(told["status"], answer.status);
    assert_eq!(told["title"], happened);
    assert!(told["detail"].as_str().unwrap().starts_with(kept), "{told}");
}

/// A body that begins and then says nothing more, without an end.
fn endless(beginning: &str) -> Body {
    let first = Bytes::from(beginning.to_owned());
    Body::from_stream(stream::iter([Ok::<_, std::io::Error>(first)]).chain(stream::pending()))
}

/// A body whose sender goes away in the middle.
fn cut_off(beginning: &str) -> Body {
    let first = Bytes::from(beginning.to_owned());
    Body::from_stream(stream::iter([Ok(first), Err(std::io::Error::from(std::io::ErrorKind::ConnectionReset))]))
}

fn readings(house: &TestHouse) -> String {
    format!("/api/v1/rooms/{}/readings", house.things.gable)
}

both_databases!(a_form_larger_than_any_page_sends_is_told_as_too_large, async |house| {
    let before = house.counts().await;
    let mut owner = house.owner();
    let form = owner.form("/rooms/new", "/rooms").await.with_all(&A_ROOM);
    // Just past the limit, far past it, and past what is still listened to.
    for size in [256 * 1024, 3 << 20, 6 << 20] {
        let answer = owner.submit(&form.clone().with("coldest_surface", &"x".repeat(size))).await.must(413);
        tells(
            &answer,
            ["The form holds more than a page of ours sends.", "Nothing was changed.", "Send less at once."],
        );
    }
    // Whoever sends it: nobody has to sign in to be told.
    let pairs = [("name", "x".repeat(300_000))];
    let body = serde_urlencoded::to_string(pairs).unwrap();
    house.stranger().post_body("/rooms", URLENCODED, body.clone()).await.must(413);
    house.actor(Actor::Sensor).post_body(&readings(house), URLENCODED, body).await.must(413).json();
    assert_eq!(house.counts().await, before);
    // The form is as good as it was.
    owner.submit(&form.with("coldest_surface", "door")).await.goes_to();
});

both_databases!(a_form_up_to_the_limit_is_judged_by_its_fields, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/rooms/new", "/rooms").await.with("volume_m3", "40");
    let room = 256 * 1024 - form.body().len();
    let form = form.with("name", &"x".repeat(room - "name=&".len()));
    assert!(form.body().len() > 255 * 1024);
    owner.submit(&form).await.must(422);
});

both_databases!(a_message_larger_than_the_limit_is_told_as_too_large, async |house| {
    let before = house.counts().await;
    for (actor, path) in [(Actor::Sensor, readings(house)), (Actor::Reader, "/api/v1/advice".to_owned())] {
        let answer = house.actor(actor).post_json(&path, vec![b' '; (2 << 20) + 1]).await.must(413);
        tells_a_program(&answer, "The message is larger than 2 MB.", "Nothing was changed.");
    }
    assert_eq!(house.counts().await, before);
});

both_databases!(what_arrives_too_slowly_is_told_as_that_and_writes_nothing, async |house| {
    let before = house.counts().await;
    let hurried = house.configured(|config| config.request_timeout = Duration::from_secs(2));
    let form = house.owner().form("/rooms/new", "/rooms").await.with_all(&A_ROOM);
    let answer = hurried.owner().post_body("/rooms", URLENCODED, endless(&form.body())).await.must(503);
    let kept = "Nothing was written; what you typed is still in the form.";
    let happened = "What was sent arrived too slowly and was not waited for any longer.";
    tells(&answer, [happened, kept, "The same form counts only once."]);
    assert_eq!(answer.header("retry-after"), "2");
    let body = endless(r#"{"temperature": 21.4, "#);
    let answer = hurried.actor(Actor::Sensor).post_json(&readings(house), body).await.must(503);
    tells_a_program(&answer, happened, "Nothing was written.");
    // A file as well: nothing was begun with it, so nobody is left in doubt whether it was kept.
    let beginning = "--edge\r\ncontent-disposition: form-data; name=\"file\"; filename=\"gable.csv\"\r\n\r\ntime;temp";
    let path = format!("/rooms/{}/imports", house.things.gable);
    let answer =
        hurried.owner().post_body(&path, "multipart/form-data; boundary=edge", endless(beginning)).await.must(503);
    tells(&answer, [happened, kept, "The same form counts only once."]);
    assert_eq!(house.counts().await, before);
    house.owner().submit(&form).await.goes_to();
});

both_databases!(what_is_cut_off_in_the_middle_is_not_taken_for_the_whole, async |house| {
    let before = house.counts().await;
    let mut owner = house.owner();
    let form = owner.form("/rooms/new", "/rooms").await.with_all(&A_ROOM);
    let answer = owner.post_body("/rooms", URLENCODED, cut_off(&form.body())).await.must(400);
    tells(&answer, ["What was sent did not arrive whole.", "Nothing was changed.", "Send it again from its page."]);
    let body = cut_off(r#"{"temperature": 21.4, "humidity": 38}"#);
    let answer = house.actor(Actor::Sensor).post_json(&readings(house), body).await.must(400);
    tells_a_program(&answer, "What was sent did not arrive whole.", "Nothing was changed.");
    assert_eq!(house.counts().await, before);
});

both_databases!(a_write_that_runs_out_of_time_is_told_as_not_known_and_its_form_counts_once, async |house| {
    let hurried = house.configured(|config| config.request_timeout = Duration::from_secs(1));
    let mut owner = hurried.owner();
    let form = owner.form("/rooms/new", "/rooms").await.with_all(&A_ROOM);
    let before = house.counts().await;
    let other = house.hold_the_writer().await;
    let answer = owner.submit(&form).await.must(503);
    tells(
        &answer,
        [
            "The answer of the database was lost on its way.",
            "It is not known yet whether your entry was kept.",
            "Send the same form again: it counts only once",
        ],
    );
    assert_eq!(answer.header("retry-after"), "2");
    drop(other);
    assert_eq!(house.counts().await, before, "it was still waiting for its turn");
    // The other program may take a moment to be gone.
    let mut patient = house.owner();
    let first = patient.submit(&form).await.goes_to();
    assert_eq!(patient.submit(&form).await.goes_to(), first);
    assert_eq!(house.number("select count(*) from room").await, before["room"] + 1);
});
