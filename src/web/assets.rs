//! What is compiled in: one hash over all of it names the folder it is served from, so that it may be cached for good.

use std::fmt::Write as _;
use std::sync::LazyLock;

use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use rust_embed::RustEmbed;
use sha2::{Digest, Sha256};

use super::House;
use super::routes::Routes;

#[derive(RustEmbed)]
#[folder = "static/"]
struct Static;

static HASH: LazyLock<String> = LazyLock::new(|| {
    let mut names: Vec<_> = Static::iter().collect();
    names.sort();
    let mut digest = Sha256::new();
    for name in names {
        digest.update(name.as_bytes());
        if let Some(file) = Static::get(&name) {
            digest.update(&file.data);
        }
    }
    digest.finalize().iter().take(8).fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _written = write!(text, "{byte:02x}");
        text
    })
});

/// The hash over all assets of this build: the name of the folder they are served from.
#[must_use]
pub fn hash() -> &'static str {
    &HASH
}

/// True for the few files that browsers look for at a fixed place.
#[must_use]
pub fn is_fixed(path: &str) -> bool {
    matches!(
        path,
        "/favicon.ico"
            | "/favicon.png"
            | "/icon.svg"
            | "/icon-192.png"
            | "/icon-512.png"
            | "/icon-maskable-192.png"
            | "/icon-maskable-512.png"
            | "/manifest.webmanifest"
            | "/worker.js"
    )
}

/// The assets and the few files that browsers look for at a fixed place.
#[must_use]
pub fn routes() -> Routes {
    Routes::new()
        .get("/static/{hash}/{*name}", hashed)
        .get("/favicon.ico", || async { fixed("favicon.png") })
        .get("/favicon.png", || async { fixed("favicon.png") })
        .get("/icon.svg", || async { fixed("icon.svg") })
        .get("/icon-192.png", || async { fixed("icon-192.png") })
        .get("/icon-512.png", || async { fixed("icon-512.png") })
        .get("/icon-maskable-192.png", || async { fixed("icon-maskable-192.png") })
        .get("/icon-maskable-512.png", || async { fixed("icon-maskable-512.png") })
        .get("/manifest.webmanifest", manifest)
        .get("/worker.js", worker)
}

/// Where the house begins, for what a browser installs: the first page under a base path has no slash at its end.
fn beginning(house: &House) -> String {
    if house.config.base_path.is_empty() { "/".to_owned() } else { house.config.base_path.clone() }
}

async fn manifest(State(house): State<House>) -> Response {
    let mut answer = fixed("manifest.webmanifest");
    if let (Some(file), false) = (Static::get("manifest.webmanifest"), house.config.base_path.is_empty()) {
        let text = String::from_utf8_lossy(&file.data).replace("\"./\"", &format!("\"{}\"", beginning(&house)));
        *answer.body_mut() = text.into();
    }
    answer
}

/// The service worker. It stands at the beginning of the house, since it sees only what lies below its own address.
async fn worker(State(house): State<House>) -> Response {
    let mut answer = fixed("js/worker.js");
    if let Ok(scope) = HeaderValue::from_str(&beginning(&house)) {
        answer.headers_mut().insert("service-worker-allowed", scope);
    }
    answer
}

async fn hashed(Path((hash, name)): Path<(String, String)>) -> Response {
    // A page of an older build may still ask for its own hash; it gets today's file, but only for now.
    let cache = if hash == *HASH { "public, max-age=31536000, immutable" } else { "no-cache" };
    file(&name, cache)
}

fn fixed(name: &str) -> Response {
    file(name, "no-cache")
}

fn file(name: &str, cache: &'static str) -> Response {
    let Some(file) = Static::get(name) else {
        return (StatusCode::NOT_FOUND, "There is no such file.\n").into_response();
    };
    let kind = match name.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("webmanifest") => "application/manifest+json",
        _ => "application/octet-stream",
    };
    let mut answer = file.data.into_owned().into_response();
    answer.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    answer.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static(cache));
    answer
}
