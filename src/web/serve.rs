//! The service itself: layers around the routes, health, listening, an orderly stop.

use std::any::Any;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::{ConnectInfo, RawQuery, Request, State};
use axum::http::StatusCode;
use axum::http::header::LOCATION;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Redirect, Response};
use hyper_util::rt::{TokioExecutor, TokioIo, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::timeout::TimeoutLayer;

use super::live::Live;
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
        .layer(middleware::from_fn(confirm))
        .layer(CatchPanicLayer::custom(after_panic))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, house.config.request_timeout))
        .layer(middleware::from_fn_with_state(with(house), problems::tell))
        .layer(middleware::from_fn_with_state(with(house), visitor::find))
        .layer(CompressionLayer::new().gzip(true))
        .with_state(house.clone());
    let base = house.config.base_path.clone();
    let whole = if base.is_empty() {
        inner
    } else {
        let home = base.clone();
        // What was asked stays: the moment of the day is chosen on the first page.
        let to_home = move |RawQuery(asked): RawQuery| async move {
            Redirect::permanent(&asked.map_or_else(|| home.clone(), |asked| format!("{home}?{asked}")))
        };
        Router::new().route(&format!("{base}/"), axum::routing::get(to_home)).nest(&base, inner).fallback(
            move || async move {
                (StatusCode::NOT_FOUND, format!("There is nothing here. The studio is served under {base}/.\n"))
            },
        )
    };
    whole
        .layer(middleware::from_fn_with_state(with(house), headers::add))
        .layer(middleware::from_fn_with_state(with(house), log_request))
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
    let shown = without_secrets(&path);
    tracing::info!(%method, path = %shown, status = answer.status().as_u16(), ms = started.elapsed().as_millis() as u64, from = ?from, "request");
    answer
}

/// A path for the log: links of invitations and claims, and addresses of calendars, are secrets while they are open.
pub(super) fn without_secrets(path: &str) -> String {
    let mut parts = path.split('/');
    match parts.find(|part| matches!(*part, "claim" | "invited" | "calendar")) {
        Some(word) => format!("/{word}/…"),
        None => path.to_owned(),
    }
}

/// The answer to a write: go and see it, or the JSON it gave.
#[must_use]
pub fn answer(house: &House, kept: &Kept) -> Response {
    if kept.location.is_empty() {
        let status = StatusCode::from_u16(kept.status).unwrap_or(StatusCode::OK);
        return (status, [("content-type", "application/json")], kept.answer.clone()).into_response();
    }
    let mut answer = Redirect::to(&house.url(&kept.location)).into_response();
    answer.extensions_mut().insert(Written);
    answer
}

/// Marks the answer to a write that was kept: no other redirect says that something was.
#[derive(Debug, Clone, Copy)]
struct Written;

/// Sent by the outbox of a device, which must know that it was this house that kept an entry.
const OUTBOX: &str = "stillroom-outbox";
/// Where the answer to a write that was kept stands.
const KEPT: &str = "stillroom-kept";

/// Tells a device's outbox that its entry was kept. A redirect would be followed by the browser unseen, and any page at its end, a
/// sign-in of a proxy for one, would look like a confirmation.
async fn confirm(request: Request, next: Next) -> Response {
    let asked = request.headers().contains_key(OUTBOX);
    let mut answer = next.run(request).await;
    if asked && answer.extensions().get::<Written>().is_some() {
        if let Some(to) = answer.headers_mut().remove(LOCATION) {
            answer.headers_mut().insert(KEPT, to);
        }
        *answer.status_mut() = StatusCode::NO_CONTENT;
    }
    answer
}

/// Headers that are not complete by then are given up on.
const HEADERS_WITHIN: Duration = Duration::from_secs(10);
/// Connections at once; whoever comes then waits to be accepted.
const CONNECTIONS: usize = 512;
/// How long requests under way may take once the house was told to stop.
const FINISH_WITHIN: Duration = Duration::from_secs(10);

/// Listens until told to stop; requests under way are finished first, pages that wait for news are told that it is over.
///
/// # Errors
/// None at present: a connection that cannot be accepted is logged and the next one awaited.
pub async fn listen(app: Router, listener: TcpListener, live: &Live) -> std::io::Result<()> {
    let mut builder = Builder::new(TokioExecutor::new());
    builder.http1().timer(TokioTimer::new()).header_read_timeout(HEADERS_WITHIN);
    builder.http2().timer(TokioTimer::new()).keep_alive_interval(Duration::from_secs(30));
    let (builder, places) = (Arc::new(builder), Arc::new(Semaphore::new(CONNECTIONS)));
    let under_way = GracefulShutdown::new();
    let mut stop = std::pin::pin!(told_to_stop());
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { break };
        let (stream, peer) = tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok(accepted) => accepted,
                Err(cause) => {
                    tracing::warn!(%cause, "a connection could not be accepted");
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                }
            },
            () = &mut stop => break,
        };
        // The peer's address stands beside every request of the connection.
        let service = TowerToHyperService::new(app.clone().layer(axum::Extension(ConnectInfo(peer))));
        let connection = builder.serve_connection(TokioIo::new(stream), service).into_owned();
        let connection = under_way.watch(connection);
        tokio::spawn(async move {
            // A browser that goes away in the middle is no news.
            let _ended = connection.await;
            drop(place);
        });
    }
    drop(listener);
    live.end();
    if tokio::time::timeout(FINISH_WITHIN, under_way.shutdown()).await.is_err() {
        tracing::warn!("some requests were not finished in time and were cut off");
    }
    Ok(())
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
