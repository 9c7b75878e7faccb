//! What the benches of pages have in common: the invented studio in a folder of its own, and a browser that has signed in as its owner.

#![allow(dead_code, reason = "each bench uses its part of this")]

use std::net::SocketAddr;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode, header};
use sqlx::AssertSqlSafe;
use stillroom::base::ids::ArtistId;
use stillroom::base::problem::Problem;
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

/// An empty database, on SQLite or behind the address of one on PostgreSQL, with its configuration and the folder it stands in.
pub(crate) async fn empty(postgres: Option<&str>) -> (Store, Config, tempfile::TempDir) {
    let folder = tempfile::tempdir().expect("a folder");
    let mut flags = vec![("data_dir".to_owned(), folder.path().join("data").display().to_string())];
    flags.extend(postgres.map(|url| ("database_url".to_owned(), url.to_owned())));
    let (config, _) = Config::resolve(&flags.into_iter().collect(), std::iter::empty()).expect("a configuration");
    let config = config.listening_at(SocketAddr::from(([127, 0, 0, 1], 8270)));
    let store = Store::open(&OpenOptions::of(&config, Clock::System)).await.expect("a database");
    (store, config, folder)
}

/// The invented studio.
pub(crate) struct Studio {
    pub(crate) house: House,
    pub(crate) folder: tempfile::TempDir,
    app: Router,
    cookies: String,
}

impl Studio {
    /// With so many days of air, on SQLite.
    pub(crate) async fn of_days(days: i64) -> Self {
        Self::of_days_on(days, None).await
    }

    /// With so many days of air, on SQLite or behind the address of an empty database on PostgreSQL.
    pub(crate) async fn of_days_on(days: i64, postgres: Option<&str>) -> Self {
        let (store, config, folder) = empty(postgres).await;
        let house = House::new(store, config, true);
        demo::fill_with(&house, days).await.expect("people, rooms, services and readings");
        let app = serve::app(&house, places::routes());
        let cookies = sign_in(&app).await;
        Self { house, folder, app, cookies }
    }

    /// Opens a page; it must be there.
    pub(crate) async fn open(&self, path: &str) -> String {
        let asked = Request::get(path).header(header::COOKIE, &self.cookies).body(Body::empty()).expect("a request");
        let answer = self.app.clone().oneshot(asked).await.expect("an answer");
        let status = answer.status();
        let page = text(answer).await;
        assert_eq!(status, StatusCode::OK, "{path}: {page}");
        page
    }

    /// Sends a form of a page; it must be kept.
    pub(crate) async fn send(&self, path: &str, body: String) {
        let asked = Request::post(path)
            .header(header::COOKIE, &self.cookies)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .expect("a request");
        let answer = self.app.clone().oneshot(asked).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{path}");
    }

    /// Runs statements made of ids and numbers as one write of the house.
    pub(crate) async fn write(&self, texts: Vec<String>) -> Result<(), Problem> {
        let key = FormKey::house();
        let write = self.house.store.write(&key, move |tx| {
            let texts = texts.clone();
            Box::pin(async move {
                for text in texts {
                    // Made of ids and numbers by the bench.
                    sqlx::query(AssertSqlSafe(text)).execute(tx.db()).await?;
                }
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        });
        write.await.map(|_| ())
    }

    /// How many times of two hours after four an artist has within a year, up to 24.
    pub(crate) async fn two_hours_after_four(&self, artist: ArtistId) -> usize {
        let mut db = self.house.store.read().await.expect("a snapshot");
        let zone = Zone::named("Europe/Copenhagen").expect("a zone");
        let now = self.house.store.clock().now().0;
        let ask = Ask {
            length: Length { minutes: 120, before: 5, after: 10 },
            takes_bed: true,
            artists: vec![artist],
            moving: None,
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

/// The value of a hidden field.
pub(crate) fn hidden(page: &str, name: &str) -> String {
    let from = page.find(&format!("name=\"{name}\" value=\"")).expect("a hidden field") + name.len() + 15;
    page[from..].split('"').next().expect("its value").to_owned()
}

/// Signs the owner of the invented studio in; gives her cookies.
pub(crate) async fn sign_in(app: &Router) -> String {
    let asked = Request::get("/sign-in").body(Body::empty()).expect("a request");
    let answer = app.clone().oneshot(asked).await.expect("an answer");
    let guest = cookies_of(&answer);
    let page = text(answer).await;
    let (name, phrase) = (demo::PEOPLE[0].0.replace(' ', "+"), demo::PASSPHRASE.replace(' ', "+"));
    let (csrf, key) = (hidden(&page, "csrf"), hidden(&page, "form_key"));
    let body = format!("csrf={csrf}&form_key={key}&name={name}&passphrase={phrase}");
    let asked = Request::post("/sign-in")
        .header(header::COOKIE, &guest)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .body(Body::from(body))
        .expect("a request");
    let answer = app.clone().oneshot(asked).await.expect("an answer");
    assert_eq!(answer.status(), StatusCode::SEE_OTHER, "the sign-in was refused");
    cookies_of(&answer)
}

fn cookies_of(answer: &Response<Body>) -> String {
    let cookies = answer.headers().get_all(header::SET_COOKIE).iter();
    cookies.filter_map(|cookie| cookie.to_str().ok()?.split(';').next()).collect::<Vec<_>>().join("; ")
}

async fn text(answer: Response<Body>) -> String {
    let page = to_bytes(answer.into_body(), usize::MAX).await.expect("a page");
    String::from_utf8(page.to_vec()).expect("text")
}
