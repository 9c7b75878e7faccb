//! The headers every answer carries. Scripts and styles only from our own files: nothing inline, nothing from elsewhere.

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;

use super::House;

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src 'self' blob:; connect-src 'self'; \
     manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; object-src 'none'";

const ALWAYS: [(&str, &str); 9] = [
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),
    ("x-frame-options", "DENY"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-embedder-policy", "require-corp"),
    ("permissions-policy", "camera=(), geolocation=(), microphone=(), payment=(), usb=(), screen-wake-lock=(self)"),
    ("x-robots-tag", "noindex"),
];

/// Middleware: adds them; pages are never kept by a browser's cache, and HSTS is sent only where we are reached by https.
pub async fn add(State(house): State<House>, request: Request, next: Next) -> Response {
    let mut answer = next.run(request).await;
    let headers = answer.headers_mut();
    for (name, value) in ALWAYS {
        headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    if house.config.is_https() {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static("max-age=63072000"));
    }
    answer
}
