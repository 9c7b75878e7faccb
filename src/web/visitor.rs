//! Who is at the door: read once for each request, from the session cookie or a bearer token, before any handler runs.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::problems::Fallen;
use super::session::Held;
use super::{House, assets, session, token};
use crate::base::actor::Actor;
use crate::base::ids::{PersonId, TabletId};
use crate::base::problem::Problem;
use crate::base::time::{MINUTE, Now, SECOND};
use crate::store::keys::{fresh_secret, keyed_digest};
use crate::store::{FormKey, Kept};

/// The visitor of one request.
#[derive(Debug, Clone)]
pub struct Visitor {
    /// Who acts.
    pub actor: Actor,
    /// The form this device was handed over for, while it is in a client's hands.
    pub handed_over: Option<String>,
    /// The shared tablet her session runs on.
    pub tablet: Option<TabletId>,
    /// True while she typed her passphrase in this session a moment ago.
    pub proved: bool,
    /// Whose session this browser still holds a cookie of, though it was revoked.
    pub revoked: Option<PersonId>,
    /// The token every form of this browser's session carries.
    pub csrf: String,
    /// The instant of the request.
    pub now: Now,
    /// What the browser calls itself.
    pub browser: String,
    /// The light the device was set to: "", "paper" or "lamp".
    pub light: &'static str,
    /// Large controls, as the device was set to.
    pub large: bool,
    /// The path asked for, without the base path.
    pub path: String,
    /// True for a request that came with a bearer token or asked for the API: answers are JSON, cookies count for nothing there.
    pub api: bool,
    /// True for a page that waits for news or fetches itself anew: nobody need be looking at it.
    pub unattended: bool,
}

impl Visitor {
    /// What a request alone tells: nobody yet.
    fn unknown(house: &House, headers: &HeaderMap, path: &str) -> Self {
        Self {
            actor: Actor::Nobody,
            handed_over: None,
            tablet: None,
            proved: false,
            revoked: None,
            csrf: String::new(),
            now: house.store.clock().now(),
            browser: text_header(headers, header::USER_AGENT.as_str()),
            light: match cookie(headers, "light").as_deref() {
                Some("paper") => "paper",
                Some("lamp") => "lamp",
                _ => "",
            },
            large: cookie(headers, "large").as_deref() == Some("1"),
            path: path.to_owned(),
            api: path.starts_with("/api/"),
            unattended: is_unattended(headers, path),
        }
    }

    /// The visitor of a session begun in this very request: her forms must carry the new session's token.
    #[must_use]
    pub fn of_new_session(house: &House, secret: &str) -> Self {
        Self {
            actor: Actor::Nobody,
            handed_over: None,
            tablet: None,
            proved: false,
            revoked: None,
            csrf: csrf_of(secret),
            now: house.store.clock().now(),
            browser: String::new(),
            light: "",
            large: false,
            path: String::new(),
            api: false,
            unattended: false,
        }
    }
}

/// The cookie that ties forms of somebody not signed in to her browser.
fn guest_cookie(house: &House) -> String {
    format!("{}-guest", house.config.cookie_name())
}

/// Middleware: finds the visitor and puts her beside the request; gives a guest her cookie.
pub async fn find(State(house): State<House>, mut request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    if path.starts_with("/static/") || path == "/healthz" || path == "/readyz" {
        return next.run(request).await;
    }
    if !is_our_name(&house, request.headers()) {
        let told = "This house does not answer to that name.";
        return (axum::http::StatusCode::MISDIRECTED_REQUEST, told).into_response();
    }
    let (visitor, new_guest) = match recognise(&house, request.headers(), &path).await {
        Ok((visitor, _)) if is_closed_to(&visitor, &path) => {
            request.extensions_mut().insert(Fallen(Arc::new(Problem::HandedOver)));
            (visitor, None)
        }
        Ok(found) => found,
        Err(problem) => {
            request.extensions_mut().insert(Fallen(Arc::new(problem)));
            (Visitor::unknown(&house, request.headers(), &path), None)
        }
    };
    request.extensions_mut().insert(Arc::new(visitor));
    let mut answer = next.run(request).await;
    if let Some(secret) = new_guest {
        let cookie = set_cookie(&house, &guest_cookie(&house), &secret, None);
        answer.headers_mut().append(header::SET_COOKIE, cookie);
    }
    answer
}

/// While a device is in a client's hands, everything is closed but her form, the way back, the first-aid card and the icons. The guards
/// of people refuse her as well; this also covers the doors that stand open to anyone.
fn is_closed_to(visitor: &Visitor, path: &str) -> bool {
    let open = path == HANDED_OVER
        || path.strip_prefix(HANDED_OVER).is_some_and(|rest| rest.starts_with('/'))
        || path == "/first-aid"
        || assets::is_fixed(path);
    visitor.handed_over.is_some() && !open
}

/// Where the form of a device in a client's hands stands.
pub const HANDED_OVER: &str = "/handed-over";

/// The name in the browser's line is the one this house was told, an address, or this machine: a page elsewhere must not reach a
/// house on this machine by giving it a name of its own.
fn is_our_name(house: &House, headers: &HeaderMap) -> bool {
    let host = text_header(headers, header::HOST.as_str());
    let name = host
        .rsplit_once(':')
        .filter(|(_, port)| port.bytes().all(|b| b.is_ascii_digit()))
        .map_or(host.as_str(), |(name, _)| name);
    let name = name.trim_start_matches('[').trim_end_matches(']');
    name.is_empty()
        || name.eq_ignore_ascii_case(house.config.external_url.host())
        || name.eq_ignore_ascii_case("localhost")
        || name.parse::<IpAddr>().is_ok()
}

async fn recognise(house: &House, headers: &HeaderMap, path: &str) -> Result<(Visitor, Option<String>), Problem> {
    let mut visitor = Visitor::unknown(house, headers, path);
    let now = visitor.now;
    if visitor.api {
        // A browser's cookie never acts on the API, so a foreign page cannot make it act either.
        if let Some(secret) = bearer(headers) {
            visitor.actor = by_token(house, &secret, now).await?;
        }
        visitor.handed_over = handed_over_for(house, headers, now).await?;
        return Ok((visitor, None));
    }
    if let Some(secret) = cookie(headers, house.config.cookie_name()).filter(|secret| secret.len() <= 100) {
        let mut db = house.store.read().await?;
        if let Some(held) = session::holder(&mut db, &house.config, &secret, now).await? {
            drop(db);
            let Held { who, seen, handed_over, tablet, proved } = held;
            let noted_every = if tablet.is_some() { 10 * SECOND } else { MINUTE };
            if now.0.since(seen) >= noted_every && !is_unattended(headers, path) {
                // A page waits a moment for the note, not for a busy writer.
                let noted = note_use(house.clone(), who.clone());
                let _in_time = tokio::time::timeout(std::time::Duration::from_millis(200), noted).await;
            }
            visitor.csrf = csrf_of(&secret);
            visitor.actor = if handed_over.is_some() { Actor::HandedOver(who) } else { Actor::Person(who) };
            visitor.handed_over = handed_over;
            visitor.tablet = tablet;
            visitor.proved = proved;
            return Ok((visitor, None));
        }
        visitor.revoked = session::revoked_of(&mut db, &secret).await?;
    }
    let held = cookie(headers, &guest_cookie(house)).filter(|secret| (20..=100).contains(&secret.len()));
    let (secret, new) = match held {
        Some(secret) => (secret, None),
        None => {
            let secret = fresh_secret()?;
            (secret.clone(), Some(secret))
        }
    };
    visitor.csrf = csrf_of(&secret);
    Ok((visitor, new))
}

/// On the API a cookie opens nothing, but one of a device in a client's hands closes it.
async fn handed_over_for(house: &House, headers: &HeaderMap, now: Now) -> Result<Option<String>, Problem> {
    let secret = cookie(headers, house.config.cookie_name()).filter(|secret| secret.len() <= 100);
    let Some(secret) = secret else { return Ok(None) };
    let mut db = house.store.read().await?;
    Ok(session::holder(&mut db, &house.config, &secret, now).await?.and_then(|held| held.handed_over))
}

/// A page that waits for news, or fetches itself anew, is not somebody using it: a tablet left alone is signed out in the end.
fn is_unattended(headers: &HeaderMap, path: &str) -> bool {
    path == "/live" || headers.contains_key("x-unattended")
}

async fn by_token(house: &House, secret: &str, now: Now) -> Result<Actor, Problem> {
    let mut db = house.store.read().await?;
    let Some((actor, used)) = token::bearer(&mut db, secret).await? else { return Ok(Actor::Nobody) };
    drop(db);
    let id = match actor {
        Actor::Sensor { token, .. } | Actor::Reader { token } => token,
        _ => return Ok(Actor::Nobody),
    };
    if now.0.since(used) >= MINUTE {
        let key = FormKey::unkeyed(actor.clone());
        let noted = house.store.write(&key, move |tx| {
            Box::pin(async move {
                token::touch(tx, id).await?;
                Ok(Kept::see(""))
            })
        });
        log_unnoted(noted.await);
    }
    Ok(actor)
}

/// Beside the request, so that it is done also when the page no longer waits for it.
fn note_use(house: House, who: crate::base::actor::Who) -> tokio::task::JoinHandle<()> {
    tokio::spawn(async move {
        let session = who.session;
        let key = FormKey::unkeyed(Actor::Person(who));
        let noted = house.store.write(&key, move |tx| {
            Box::pin(async move {
                session::touch(tx, session).await?;
                Ok(Kept::see(""))
            })
        });
        log_unnoted(noted.await);
    })
}

/// That somebody was seen is worth a note, not a refused page.
fn log_unnoted(noted: Result<Kept, Problem>) {
    if let Err(cause) = noted {
        tracing::warn!(%cause, "the last use of a sign-in or key could not be noted");
    }
}

pub(super) fn csrf_of(secret: &str) -> String {
    keyed_digest(secret.as_bytes(), "form of this session", &[])
}

/// The value of a cookie; the first one when a name comes twice.
#[must_use]
pub fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, value)| value.to_owned())
}

/// A `Set-Cookie` for a secret: HttpOnly, Lax, Secure where the cookie's name promises it. `lasts` in seconds; `Some(0)` removes it.
#[must_use]
pub fn set_cookie(house: &House, name: &str, value: &str, lasts: Option<i64>) -> HeaderValue {
    let mut text = format!("{name}={value}; Path=/; HttpOnly; SameSite=Lax");
    if house.config.secure_context() {
        text.push_str("; Secure");
    }
    if let Some(seconds) = lasts {
        text.push_str(&format!("; Max-Age={seconds}"));
    }
    HeaderValue::from_str(&text).unwrap_or(HeaderValue::from_static(""))
}

/// The address a request came from: the peer's, or, when the peer is a listed proxy, the nearest address in
/// `X-Forwarded-For` that is not a listed proxy. Used for logs only; nothing is decided by it.
#[must_use]
pub fn client_address(house: &House, peer: IpAddr, headers: &HeaderMap) -> IpAddr {
    let listed = |address: &IpAddr| house.config.trusts(*address);
    if !listed(&peer) {
        return peer;
    }
    // A proxy may add a line of its own; all of them are one list.
    let lines = headers.get_all("x-forwarded-for").iter().filter_map(|line| line.to_str().ok());
    let chain = lines.collect::<Vec<_>>().join(",");
    chain
        .split(',')
        .rev()
        .map_while(|part| part.trim().parse::<IpAddr>().ok())
        .find(|address| !listed(address))
        .unwrap_or(peer)
}

/// A header as text; empty when it is missing or not text.
#[must_use]
pub fn text_header(headers: &HeaderMap, name: &str) -> String {
    headers.get(name).and_then(|value| value.to_str().ok()).unwrap_or_default().to_owned()
}

fn bearer(headers: &HeaderMap) -> Option<String> {
    let value = text_header(headers, header::AUTHORIZATION.as_str());
    let (scheme, secret) = value.split_once(' ')?;
    (scheme.eq_ignore_ascii_case("bearer") && (20..=100).contains(&secret.trim().len()))
        .then(|| secret.trim().to_owned())
}
