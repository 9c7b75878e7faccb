//! Pages that stay open: what is raised in a write reaches them, nobody else hears it, and a stream ends with its sign-in.

use std::time::Duration;

use axum::body::{Body, BodyDataStream};
use axum::http::{Request, header};
use futures_util::StreamExt as _;
use stillroom::base::problem::Problem;
use stillroom::base::time::MINUTE;
use stillroom::store::Kept;
use tower::ServiceExt as _;

use crate::browser::{Browser, HOST};
use crate::doors::{Row, get};
use crate::house::{TestHouse, both_databases};
use crate::studio::Actor;

pub(crate) fn rows() -> Vec<Row> {
    // Asked for nothing, the stream is empty and ends; those it is not for are told the same either way.
    vec![get("/live", "ssooonoss")]
}

/// A stream as a browser holds it open.
struct Stream {
    body: BodyDataStream,
    heard: String,
}

impl Stream {
    async fn open(browser: &Browser, path: &str, last: Option<&str>) -> Self {
        let cookies: Vec<_> = browser.jar.iter().map(|(name, value)| format!("{name}={value}")).collect();
        let mut request = Request::get(path)
            .header(header::HOST, HOST)
            .header(header::COOKIE, cookies.join("; "))
            .header(header::ACCEPT_ENCODING, "gzip");
        if let Some(last) = last {
            request = request.header("last-event-id", last);
        }
        let answer = browser.app.clone().oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
        assert_eq!(answer.status(), 200, "{path}");
        assert_eq!(answer.headers()[header::CONTENT_TYPE], "text/event-stream");
        assert!(!answer.headers().contains_key(header::CONTENT_ENCODING), "a compressed stream waits for more");
        Self { body: answer.into_body().into_data_stream(), heard: String::new() }
    }

    /// Listens until `words` came; false when the stream ended or was silent for `most`.
    async fn hears(&mut self, words: &str, most: Duration) -> bool {
        let listening = async {
            loop {
                if let Some(at) = self.heard.find(words) {
                    self.heard.drain(..at + words.len());
                    return true;
                }
                match self.body.next().await {
                    Some(chunk) => self.heard.push_str(std::str::from_utf8(&chunk.unwrap()).unwrap()),
                    None => return false,
                }
            }
        };
        tokio::time::timeout(most, listening).await.unwrap_or(false)
    }

    async fn ends(&mut self, most: Duration) -> bool {
        let ending = async { while self.body.next().await.is_some() {} };
        tokio::time::timeout(most, ending).await.is_ok()
    }
}

const SOON: Duration = Duration::from_secs(3);

async fn raise(house: &TestHouse, topic: &'static str) {
    house
        .write(move |tx| {
            Box::pin(async move {
                tx.raise(topic);
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .unwrap();
}

async fn reading(house: &TestHouse, humidity: u32) {
    let body = format!(r#"{{"temperature": 21.4, "humidity": {humidity}}}"#);
    house
        .actor(Actor::Sensor)
        .post_json(&format!("/api/v1/rooms/{}/readings", house.things.gable), body)
        .await
        .must(200);
}

both_databases!(a_reading_reaches_an_open_page_within_three_seconds, async |house| {
    for actor in [Actor::ArtistA, Actor::Desk, Actor::Owner] {
        let mut stream = Stream::open(&house.actor(actor), "/live?topic=air&topic=bottles", None).await;
        assert!(stream.hears("id: air=", SOON).await, "{actor:?}: where the topics stand");
        house.clock.advance(MINUTE);
        reading(house, 40).await;
        assert!(stream.hears("event: risen\ndata: air\n", SOON).await, "{actor:?}: {}", stream.heard);
        // What nobody asked for is not sent.
        raise(house, "other").await;
        assert!(!stream.hears("data:", Duration::from_millis(1500)).await);
    }
});

both_databases!(readings_by_hand_and_out_of_files_raise_the_topic_too, async |house| {
    let mut owner = house.owner();
    let gable = &house.things.gable;
    let n = async || house.number("select cast(coalesce(sum(n), 0) as bigint) from topic where name = 'air'").await;
    let before = n().await;
    let form = owner.form(&format!("/rooms/{gable}/readings/new"), &format!("/rooms/{gable}/readings")).await;
    let form = form.with_all(&[("temperature", "21.4"), ("humidity", "38"), ("do", "keep")]);
    owner.submit(&form).await.goes_to();
    assert_eq!(n().await, before + 1);
    let page = format!("/rooms/{gable}/imports/{}", house.things.import);
    let answer = owner.page(&page).await;
    let action = crate::html::forms(&answer.text()).into_iter().find(|form| form.action.ends_with("/take"));
    match action {
        Some(form) => drop(owner.submit(&form).await.goes_to()),
        // The file asks something first; the row of the matrix takes it as it is.
        None => panic!("the file cannot be taken: {}", answer.words()),
    }
    stillroom::rooms::go_on_with_imports(&house.house).await.unwrap();
    assert_eq!(house.number("select count(*) from reading where set_aside = ''").await, 4);
    assert_eq!(n().await, before + 2, "once for a write of many readings");
});

both_databases!(a_write_that_fails_raises_nothing, async |house| {
    let failed = house
        .write(|tx| {
            Box::pin(async move {
                tx.raise("air");
                tx.record_tells_itself();
                Err(Problem::NotHere("room"))
            })
        })
        .await;
    assert!(failed.is_err());
    assert_eq!(house.number("select count(*) from topic where name = 'air'").await, 0);
});

both_databases!(nobody_else_hears_anything, async |house| {
    for actor in [Actor::Anonymous, Actor::Expired, Actor::Accountant, Actor::Sensor, Actor::Reader] {
        let answer = house.actor(actor).get("/live?topic=air").await;
        assert!(matches!(answer.status, 303 | 403), "{actor:?}: {}", answer.status);
        assert_ne!(answer.header("content-type"), "text/event-stream");
    }
});

both_databases!(a_page_hears_what_rose_while_it_was_on_its_way, async |house| {
    raise(house, "air").await;
    house.clock.advance(MINUTE);
    let owner = house.owner();
    // Made before the rise, and after it.
    let mut old = Stream::open(&owner, "/live?topic=air&age=61000", None).await;
    assert!(old.hears("data: air\n", SOON).await, "{}", old.heard);
    let mut new = Stream::open(&owner, "/live?topic=air&age=20000", None).await;
    assert!(new.hears("id: air=1\n", SOON).await);
    assert!(!new.hears("data:", Duration::from_millis(1500)).await);
    // A line that broke goes on from where it was.
    let mut again = Stream::open(&owner, "/live?topic=air&age=20000", Some("air=0")).await;
    assert!(again.hears("data: air\n", SOON).await);
    let mut even = Stream::open(&owner, "/live?topic=air&age=61000", Some("air=1")).await;
    assert!(!even.hears("data:", Duration::from_millis(1500)).await);
});

both_databases!(a_stream_ends_with_its_sign_in, async |house| {
    let mut browser = house.stranger();
    browser.sign_in(Actor::Desk.name(), crate::studio::PHRASE).await.must(303);
    let mut stream = Stream::open(&browser, "/live?topic=air", None).await;
    let mut other = Stream::open(&house.actor(Actor::Desk), "/live?topic=air", None).await;
    assert!(stream.hears("id: air=", SOON).await && other.hears("id: air=", SOON).await);
    let csrf = browser.csrf().await;
    browser.post("/sign-out", &[("csrf", &csrf)]).await.must(303);
    assert!(stream.ends(SOON).await, "signed out, and still listening");
    raise(house, "air").await;
    assert!(other.hears("data: air\n", SOON).await, "another sign-in of hers goes on");
});

both_databases!(a_page_left_alone_does_not_keep_its_sign_in_alive, async |house| {
    let seen = async || house.number("select cast(sum(seen) as bigint) from session").await;
    let before = seen().await;
    house.clock.advance(20 * MINUTE);
    let mut owner = house.owner();
    owner.get("/live").await.must(200);
    owner.clone().with_header("x-unattended", "1").page("/rooms").await;
    assert_eq!(seen().await, before);
    owner.page("/rooms").await;
    assert!(seen().await > before);
});

both_databases!(a_browser_holds_no_more_than_four_streams, async |house| {
    let mut owner = house.owner();
    let mut open = Vec::new();
    for _ in 0..4 {
        open.push(Stream::open(&owner, "/live?topic=air", None).await);
    }
    owner.get("/live?topic=air").await.must(429);
    open.pop();
    open.push(Stream::open(&owner, "/live?topic=air", None).await);
    drop(Stream::open(&house.actor(Actor::Desk), "/live?topic=air", None).await);
});

both_databases!(a_house_that_stops_waits_for_no_stream, async |house| {
    let mut stream = Stream::open(&house.owner(), "/live?topic=air", None).await;
    assert!(stream.hears("id: air=", SOON).await);
    house.house.live.end();
    assert!(stream.ends(Duration::from_secs(1)).await);
});

both_databases!(news_comes_below_a_base_path, async |house| {
    let house = house.configured(|config| config.base_path = "/studio".to_owned());
    let mut stream = Stream::open(&house.owner(), "/studio/live?topic=air", None).await;
    assert!(stream.hears("id: air=", SOON).await);
    raise(&house, "air").await;
    assert!(stream.hears("data: air\n", SOON).await);
    house.owner().get("/live?topic=air").await.must(404);
});
