//! The service itself: layers around the routes, health, listening, an orderly stop.

use std::any::Any;
use std::net::SocketAddr;

use axum::Router;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::StatusCode;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::timeout::TimeoutLayer;

use super::routes::Routes;
use super::{House, assets, headers, problems, visitor};
use crate::base::problem::Problem;
use crate::store::Kept;

/// Puts the layers around the routes, from the outside in: headers, compression, who it is, words for problems, time limit.
pub fn app(house: &House, routes: Routes) -> Router {
    let routes = routes.join(assets::routes()).join(health());
    let with = |house: &House| house.clone();
    let inner = routes
        .into_router()
        .fallback(|| async { Problem::NotHere("page") })
        .layer(CatchPanicLayer::custom(after_panic))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, house.config.request_timeout))
        .layer(middleware::from_fn_with_state(with(house), problems::tell))
        .layer(middleware::from_fn_with_state(with(house), visitor::find))
        .layer(CompressionLayer::new().gzip(true))
        .layer(middleware::from_fn_with_state(with(house), headers::add))
        .layer(middleware::from_fn_with_state(with(house), log_request))
        .with_state(house.clone());
    let base = house.config.base_path.clone();
    if base.is_empty() {
        inner
    } else {
        let home = format!("{base}/");
        Router::new()
            .route(
                &home.clone(),
                axum::routing::get(move || async move { Redirect::permanent(home.trim_end_matches('/')) }),
            )
            .nest(&base, inner)
    }
}

/// Whether the process lives, and whether it can work.
#[must_use]
pub fn health() -> Routes {
    Routes::new().get("/healthz", || async { "alive\n" }).get("/readyz", ready)
}

async fn ready(State(house): State<House>) -> Response {
    let asked = async {
        let mut db = house.store.read().await?;
        super::studio::Studio::load(&mut db).await
    };
    match tokio::time::timeout(std::time::Duration::from_secs(2), asked).await {
        Ok(Ok(_)) => "ready\n".into_response(),
        _ => (StatusCode::SERVICE_UNAVAILABLE, "not ready\n").into_response(),
    }
}

#[expect(clippy::needless_pass_by_value, reason = "the layer hands the cause over")]
fn after_panic(cause: Box<dyn Any + Send + 'static>) -> Response {
    let words = cause
        .downcast_ref::<String>()
        .cloned()
        .or_else(|| cause.downcast_ref::<&str>().map(|words| (*words).to_owned()))
        .unwrap_or_else(|| "a panic without words".to_owned());
    Problem::Broken(words).into_response()
}

/// One line a request: method, path without its query, status, time. No names, no bodies, no tokens.
async fn log_request(State(house): State<House>, request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let path = request.uri().path().to_owned();
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|peer| peer.0.ip());
    let from = peer.map(|peer| visitor::client_address(&house, peer, request.headers()));
    let started = std::time::Instant::now();
    let answer = next.run(request).await;
    // Links of invitations and claims are secrets while they are open.
    let shown = match path.split('/').nth(1) {
        Some("claim" | "invited") => path.split('/').take(2).collect::<Vec<_>>().join("/"),
        _ => path,
    };
    tracing::info!(%method, path = shown, status = answer.status().as_u16(), ms = started.elapsed().as_millis() as u64, from = ?from, "request");
    answer
}

/// The answer to a write: go and see it, or the JSON it gave.
#[must_use]
pub fn answer(house: &House, kept: &Kept) -> Response {
    if kept.location.is_empty() {
        let status = StatusCode::from_u16(kept.status).unwrap_or(StatusCode::OK);
        return (status, [("content-type", "application/json")], kept.answer.clone()).into_response();
    }
    Redirect::to(&house.url(&kept.location)).into_response()
}

/// Listens until told to stop; requests under way are finished first.
///
/// # Errors
/// When the address cannot be listened at.
pub async fn listen(app: Router, listener: tokio::net::TcpListener) -> std::io::Result<()> {
    axum::serve(listener, app.into_make_service_with_connect_info::<SocketAddr>())
        .with_graceful_shutdown(told_to_stop())
        .await
}

async fn told_to_stop() {
    let interrupt = tokio::signal::ctrl_c();
    #[cfg(unix)]
    {
        let Ok(mut terminate) = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) else {
            let _stopped = interrupt.await;
            return;
        };
        tokio::select! {
            _ = interrupt => {}
            _ = terminate.recv() => {}
        }
    }
    #[cfg(not(unix))]
    {
        let _stopped = interrupt.await;
    }
    tracing::info!("told to stop; finishing what is under way");
}
