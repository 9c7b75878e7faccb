//! How long a room's page takes with a year of ten-minute readings behind it: `cargo bench --bench rooms`.
//! The whole way of a request is timed: session, snapshot, statements, correction, both charts, the page's text.

use std::net::SocketAddr;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use criterion::{Criterion, criterion_group, criterion_main};
use stillroom::base::time::Clock;
use stillroom::config::Config;
use stillroom::store::{OpenOptions, Store};
use stillroom::web::{House, serve};
use stillroom::{demo, places, rooms};
use tower::ServiceExt;

/// A browser that has signed in, and the room it looks at.
struct Visit {
    app: Router,
    cookies: String,
    room: String,
    _folder: tempfile::TempDir,
}

impl Visit {
    async fn begin() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let flags = [("data_dir", folder.path().join("data"))]
            .map(|(name, path)| (name.to_owned(), path.display().to_string()));
        let (config, _) = Config::resolve(&flags.into(), std::iter::empty()).expect("a configuration");
        let config = config.listening_at(SocketAddr::from(([127, 0, 0, 1], 8270)));
        let store = Store::open(&OpenOptions::of(&config, Clock::System)).await.expect("a database");
        let house = House::new(store, config, true);
        demo::fill_with(&house, 365).await.expect("a year of readings");
        let mut db = house.store.read().await.expect("a snapshot");
        let room = rooms::all(&mut db).await.expect("rooms")[0].id.to_string();
        drop(db);
        let app = serve::app(&house, places::routes());
        let cookies = sign_in(&app).await;
        Self { app, cookies, room, _folder: folder }
    }

    async fn open(&self, span: &str) -> usize {
        let asked = Request::get(format!("/rooms/{}?span={span}", self.room)).header(header::COOKIE, &self.cookies);
        let answer = self.app.clone().oneshot(asked.body(Body::empty()).expect("a request")).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::OK);
        to_bytes(answer.into_body(), usize::MAX).await.expect("a page").len()
    }
}

async fn sign_in(app: &Router) -> String {
    let asked = Request::get("/sign-in").body(Body::empty()).expect("a request");
    let answer = app.clone().oneshot(asked).await.expect("an answer");
    let guest = cookies_of(&answer);
    let page =
        String::from_utf8(to_bytes(answer.into_body(), usize::MAX).await.expect("a page").to_vec()).expect("text");
    let hidden = |name: &str| {
        let from = page.find(&format!("name=\"{name}\" value=\"")).expect("a hidden field") + name.len() + 15;
        page[from..].split('"').next().expect("its value").to_owned()
    };
    let name = demo::PEOPLE[0].0.replace(' ', "+");
    let phrase = demo::PASSPHRASE.replace(' ', "+");
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

fn room_page(bench: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let visit = runtime.block_on(Visit::begin());
    for span in ["day", "week", "month"] {
        bench.bench_function(&format!("room page, a year of readings, {span}"), |bench| {
            bench.iter(|| runtime.block_on(visit.open(span)));
        });
    }
}

criterion_group!(rooms_pages, room_page);
criterion_main!(rooms_pages);
