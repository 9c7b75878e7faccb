//! Every door × everybody who may stand before it. The list of doors is the router's own: a door without a row fails,
//! and so does a row without a door.

use std::collections::BTreeSet;

use stillroom::places;
use stillroom::web::{assets, serve};

use crate::browser::{Answer, Browser, URLENCODED};
use crate::doors::{Row, Sent, rows};
use crate::house::{TestHouse, both_databases};
use crate::studio::{Actor, Things};

/// What an answer amounts to, as the rows write it.
fn class(answer: &Answer) -> char {
    let to_sign_in = answer.location().starts_with("/sign-in?next=");
    match answer.status {
        200 => 'o',
        303 if to_sign_in => 's',
        303 => 'g',
        401 if answer.is_page() => 's',
        401 => 'u',
        403 => 'n',
        404 => 'x',
        409 => 'c',
        422 => 'm',
        _ => '?',
    }
}

#[test]
fn every_door_has_a_row_and_every_row_a_door() {
    let all = places::routes().join(assets::routes()).join(serve::health());
    let doors: BTreeSet<_> = all.doors().into_iter().map(|door| (door.method, door.path)).collect();
    let rows: BTreeSet<_> = rows().into_iter().map(|row| (row.method.to_owned(), row.path.to_owned())).collect();
    let without_row: Vec<_> = doors.difference(&rows).collect();
    let without_door: Vec<_> = rows.difference(&doors).collect();
    assert!(without_row.is_empty(), "doors without a row: {without_row:?}");
    assert!(without_door.is_empty(), "rows without a door: {without_door:?}");
    assert_eq!(doors.len(), all.doors().len(), "a door stands twice");
}

/// Sends what the row says, in the actor's own session.
pub(crate) async fn knock(browser: &mut Browser, row: &Row, things: &Things) -> Answer {
    let path = format!("{}{}", browser.base, row.address(things));
    match (row.sent)(things) {
        Sent::Nothing => browser.get(&path).await,
        Sent::Json(body) => browser.post_json(&path, body).await,
        Sent::Form(fields) => {
            let csrf = browser.csrf().await;
            let body = crate::doors::form_body(&csrf, &crate::doors::fresh_key(), &fields);
            browser.post_body(&path, URLENCODED, body).await
        }
        Sent::File(content) => {
            let form = crate::html::FormOnPage { action: path, multipart: true, ..Default::default() };
            let csrf = browser.csrf().await;
            let form =
                form.with_all(&[("csrf", &csrf), ("form_key", &crate::doors::fresh_key()), ("instrument", "new")]);
            browser.submit_file(&form, "attic.csv", content.as_bytes()).await
        }
        Sent::Photo => {
            let form = crate::html::FormOnPage { action: path, multipart: true, ..Default::default() };
            let csrf = browser.csrf().await;
            let form = form.with_all(&[("csrf", &csrf), ("form_key", &crate::doors::fresh_key()), ("moment", "after")]);
            browser.submit_file(&form, "photo.png", &crate::clients_photos::png(40, 30)).await
        }
    }
}

/// One actor before every door. Each gets a house of her own, so that nobody finds what another has moved.
async fn round(house: &TestHouse, place: usize) {
    let actor = Actor::ALL[place];
    let mut wrong = Vec::new();
    let mut rows = rows();
    if actor == Actor::HandedOver {
        // The way back comes after all that must be closed until then.
        rows.sort_by_key(|row| row.path == "/handed-over/leave");
    }
    for row in rows {
        // A clone: a door that signs somebody else in must not change who stands before the next.
        let mut browser = house.actor(actor);
        let answer = knock(&mut browser, &row, &house.things).await;
        let (expected, found) = (row.expects(place), class(&answer));
        if expected != found {
            let (status, to) = (answer.status, answer.location());
            wrong.push(format!("{} {}: {expected} expected, {found} came, {status} {to}", row.method, row.path));
        }
    }
    assert!(wrong.is_empty(), "{actor:?}:\n{}", wrong.join("\n"));
}

both_databases!(doors_for_somebody_unknown, async |house| { round(house, 0).await });
both_databases!(doors_for_a_sign_in_that_ended, async |house| { round(house, 1).await });
both_databases!(doors_for_an_artist, async |house| { round(house, 2).await });
both_databases!(doors_for_another_artist, async |house| { round(house, 3).await });
both_databases!(doors_for_the_desk, async |house| { round(house, 4).await });
both_databases!(doors_for_the_accountant, async |house| { round(house, 5).await });
both_databases!(doors_for_the_owner, async |house| { round(house, 6).await });
both_databases!(doors_for_a_sensor, async |house| { round(house, 7).await });
both_databases!(doors_for_a_device_in_a_clients_hands, async |house| { round(house, 9).await });
both_databases!(doors_for_a_program_that_reads, async |house| { round(house, 8).await });

/// An id of ours that belongs to nothing.
const NOTHING: &str = "0192f0c1-7e57-7000-8000-00000000beef";

both_databases!(what_is_not_there_and_what_is_no_id_answer_alike, async |house| {
    let mut owner = house.owner();
    for row in rows().into_iter().filter(|row| row.path.contains('{') && !row.path.contains("{hash}")) {
        if row.path.starts_with("/claim") || row.path.starts_with("/invited") || row.path.starts_with("/api") {
            continue;
        }
        let before = house.counts().await;
        // The last name of the path is the thing itself; the others are where it belongs.
        let open = row.path.rfind('{').unwrap();
        let close = open + row.path[open..].find('}').unwrap();
        let name = row.path[open..=close].to_owned();
        let mut said = BTreeSet::new();
        for id in
            [NOTHING, "1", "-1", "NULL", "0192F0C1-7E57-7000-8000-00000000BEEF", "9223372036854775808", "..%2F..%2Fx"]
        {
            let mut missing = row.clone();
            missing.names.push((name.clone(), id.to_owned()));
            let answer = knock(&mut owner, &missing, &house.things).await.must(404);
            if id == NOTHING {
                said.insert(answer.words());
            }
        }
        assert_eq!(said.len(), 1);
        assert_eq!(house.counts().await, before, "{} {} wrote something", row.method, row.path);
    }
});

both_databases!(what_belongs_to_another_answers_as_if_it_were_not_there, async |house| {
    let things = &house.things;
    // Artist B before a sign-in of artist A, and before none at all.
    let mut other = house.actor(Actor::ArtistB);
    let mut said = Vec::new();
    for session in [things.second_session.as_str(), NOTHING] {
        let csrf = other.csrf().await;
        let pairs = [("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test")];
        said.push(other.post(&format!("/office/sessions/{session}/end"), &pairs).await.must(404).words());
    }
    assert_eq!(said[0], said[1]);
    assert_eq!(house.number("select count(*) from session where ended is not null").await, 0);

    // Gable's sensor before Lantern, and before no room.
    let mut sensor = house.actor(Actor::Sensor);
    let mut said = Vec::new();
    for room in [things.lantern.as_str(), NOTHING] {
        let answer =
            sensor.post_json(&format!("/api/v1/rooms/{room}/readings"), r#"{"temperature":21,"humidity":40}"#).await;
        said.push(answer.must(404).json());
    }
    assert_eq!(said[0], said[1]);
    assert_eq!(house.number("select count(*) from reading").await, 0);

    // A thing of one room asked for in another.
    let mut owner = house.owner();
    for path in [
        format!("/rooms/{}/instruments/{}", things.lantern, things.sensor),
        format!("/rooms/{}/imports/{}", things.lantern, things.import),
    ] {
        let nothing = format!("{}/{NOTHING}", path.rsplit_once('/').unwrap().0);
        assert_eq!(owner.get(&path).await.must(404).words(), owner.get(&nothing).await.must(404).words());
    }
});
