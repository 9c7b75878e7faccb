//! What comes in: forms with their token and key, JSON, ids in paths. Everything unreadable becomes a problem with words.

use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Response};
use futures_util::StreamExt as _;
use serde::de::DeserializeOwned;

use super::House;
use super::checks::{SENT, by_our_clock};
use super::visitor::{Visitor, text_header};
use crate::base::actor::Actor;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::store::FormKey;
use crate::store::keys::same;

/// The most a form may hold: far more than any page of ours sends.
pub const FORM_MOST: usize = 256 * 1024;

/// The most a message to the API may hold: the largest question of the file form.
pub const MESSAGE_MOST: usize = 2 * 1024 * 1024;

/// A form sent from a page of ours in this session. One that was kept before is answered with its first result before the handler
/// looks at anything that may have changed since.
pub struct Form<T> {
    /// Its fields, as typed.
    pub typed: T,
    /// Which form it is: hand this to `store.write`.
    pub key: FormKey,
}

/// As [`Form`], for the few forms that also sign in: their handlers answer a form sent again themselves, with its cookie.
pub struct FormThatSignsIn<T> {
    /// Its fields, as typed.
    pub typed: T,
    /// Which form it is: hand this to `store.write`.
    pub key: FormKey,
}

/// Why a handler is not reached: a problem, or the first result of what was kept before.
pub enum Turned {
    /// It cannot be taken.
    Back(Problem),
    /// It was taken before.
    ToFirstResult(Response),
}

impl IntoResponse for Turned {
    fn into_response(self) -> Response {
        match self {
            Self::Back(problem) => problem.into_response(),
            Self::ToFirstResult(answer) => answer,
        }
    }
}

impl From<Problem> for Turned {
    fn from(problem: Problem) -> Self {
        Self::Back(problem)
    }
}

/// The first result of this key as an answer, if there is one.
///
/// # Errors
/// [`Turned`] with that answer, or with [`Problem::AlreadyKept`] when the key was used with another body.
pub async fn unless_kept(house: &House, key: &FormKey) -> Result<(), Turned> {
    match house.store.first_result(key).await? {
        Some(kept) => Err(Turned::ToFirstResult(super::serve::answer(house, &kept))),
        None => Ok(()),
    }
}

impl<T: DeserializeOwned + Send> FromRequest<House> for Form<T> {
    type Rejection = Turned;

    async fn from_request(request: Request, house: &House) -> Result<Self, Turned> {
        let FormThatSignsIn { typed, key } = FormThatSignsIn::from_request(request, house).await?;
        unless_kept(house, &key).await?;
        Ok(Self { typed, key })
    }
}

impl<T: DeserializeOwned + Send> FromRequest<House> for FormThatSignsIn<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, house: &House) -> Result<Self, Problem> {
        let (parts, body) = request.into_parts();
        let visitor = visitor_of(&parts)?;
        if !has_type(&parts.headers, "application/x-www-form-urlencoded") {
            return Err(Problem::Unreadable("This is not a form of ours.".into()));
        }
        let body = whole(body, FORM_MOST, house.config.request_timeout).await?;
        let pairs: Vec<(String, String)> = serde_urlencoded::from_bytes(&body)
            .map_err(|_| Problem::Unreadable("The form could not be read.".into()))?;
        let key = form_key(house, &visitor, &parts.headers, &pairs, &[])?;
        let typed = match by_our_clock(&pairs, visitor.now.0) {
            Some(pairs) => serde_urlencoded::from_str(&serde_urlencoded::to_string(&pairs).map_err(Problem::broken)?),
            None => serde_urlencoded::from_bytes(&body),
        }
        .map_err(|_| Problem::Unreadable("The form lacks a field of its page, or has one twice.".into()))?;
        Ok(Self { typed, key })
    }
}

/// How far behind the limit a body is still listened to, and thrown away: who is cut off in the middle of sending never reads the
/// answer that says why.
const HEARD_OUT: usize = 4 * 1024 * 1024;

/// A body of at most `most` bytes that arrives within a time.
///
/// # Errors
/// [`Problem::TooLarge`], [`Problem::TooSlow`], or [`Problem::Unreadable`] when the sender went away in the middle.
pub async fn whole(body: Body, most: usize, within: Duration) -> Result<Bytes, Problem> {
    let receive = async {
        let (mut pieces, mut kept, mut length) = (body.into_data_stream(), Vec::new(), 0_usize);
        while let Some(piece) = pieces.next().await {
            let piece = piece.map_err(|_| Problem::Unreadable("What was sent did not arrive whole.".into()))?;
            length = length.saturating_add(piece.len());
            if length <= most {
                kept.extend_from_slice(&piece);
            } else if length > most + HEARD_OUT {
                break;
            }
        }
        if length > most { Err(too_large(most)) } else { Ok(Bytes::from(kept)) }
    };
    match tokio::time::timeout(within, receive).await {
        Ok(received) => received,
        Err(_) => Err(Problem::TooSlow),
    }
}

fn too_large(most: usize) -> Problem {
    Problem::TooLarge(match most {
        FORM_MOST => "The form holds more than a page of ours sends.".into(),
        _ => format!("The message is larger than {} MB.", most / (1024 * 1024)),
    })
}

/// A form that holds nothing but its token and key: a button.
#[derive(serde::Deserialize)]
pub struct Nothing {}

/// Checks where a form came from and gives its key. The route is kept as a digest, since links of invitations are secrets. `parts` are what it held besides text fields (a file's bytes).
///
/// # Errors
/// [`Problem::Forged`] when it did not come from a page of ours in this session; [`Problem::Unreadable`] without a key.
pub fn form_key(
    house: &House,
    visitor: &Visitor,
    headers: &HeaderMap,
    pairs: &[(String, String)],
    parts: &[&[u8]],
) -> Result<FormKey, Problem> {
    let field = |name: &str| pairs.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str());
    let known = !visitor.csrf.is_empty() && from_our_page(house, headers);
    if !known || !field("csrf").is_some_and(|token| same(token, &visitor.csrf)) {
        return Err(Problem::Forged);
    }
    let form = field("form_key")
        .filter(|key| is_key(key))
        .ok_or_else(|| Problem::Unreadable("The form came without its key.".into()))?;
    let mut held: Vec<&[u8]> = Vec::new();
    // A passphrase leaves no trace here, not even a keyed one: only its slow hash is kept. Sent again, a form says another time.
    let counts = |name: &str| !matches!(name, "csrf" | "form_key" | "passphrase" | "again" | SENT);
    for (name, value) in pairs.iter().filter(|(name, _)| counts(name)) {
        held.push(name.as_bytes());
        held.push(value.as_bytes());
    }
    held.extend_from_slice(parts);
    Ok(FormKey {
        actor: visitor.actor.clone(),
        route: house.store.keys().digest("route", &[visitor.path.as_bytes()]),
        form: Some(form.to_owned()),
        fingerprint: house.store.keys().digest("form body", &held),
    })
}

/// The key of an API message: its `Idempotency-Key`, if it has one.
///
/// # Errors
/// [`Problem::Unreadable`] for a key that is not 8 to 100 plain characters.
pub fn message_key(house: &House, visitor: &Visitor, headers: &HeaderMap, body: &[u8]) -> Result<FormKey, Problem> {
    let sent = text_header(headers, "idempotency-key");
    let form = match sent.trim_matches('"') {
        "" => None,
        key if is_key(key) => Some(key.to_owned()),
        _ => return Err(Problem::Unreadable("Idempotency-Key must be 8 to 100 letters, digits, - or _.".into())),
    };
    Ok(FormKey {
        actor: visitor.actor.clone(),
        route: house.store.keys().digest("route", &[visitor.path.as_bytes()]),
        form,
        fingerprint: house.store.keys().digest("message body", &[body]),
    })
}

/// A fresh key for a form about to be shown.
#[must_use]
pub fn new_form_key() -> String {
    // Any unused id will do; the person's id type is only a way to a UUIDv7.
    PersonId::new().to_string()
}

fn is_key(key: &str) -> bool {
    (8..=100).contains(&key.len()) && key.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_')
}

/// Browsers say where a form was sent from; those that say "elsewhere" are refused, whatever token they carry.
pub(super) fn from_our_page(house: &House, headers: &HeaderMap) -> bool {
    let site = text_header(headers, "sec-fetch-site");
    if !site.is_empty() && site != "same-origin" && site != "none" {
        return false;
    }
    let origin = text_header(headers, header::ORIGIN.as_str());
    if origin.is_empty() {
        // Old browsers send none with forms; the token then decides alone.
        return true;
    }
    origin == house.config.external_url.origin() || origin_is_host(&origin, headers)
}

// The address in the browser's line is the host it asked for: same origin also where external_url was left to its default.
fn origin_is_host(origin: &str, headers: &HeaderMap) -> bool {
    let host = text_header(headers, header::HOST.as_str());
    !host.is_empty() && origin.split_once("://").is_some_and(|(_, rest)| rest == host)
}

/// JSON sent to the API, as bytes, with its key.
pub struct Message {
    /// The body.
    pub body: Bytes,
    /// Which message it is.
    pub key: FormKey,
}

impl FromRequest<House> for Message {
    type Rejection = Turned;

    async fn from_request(request: Request, house: &House) -> Result<Self, Turned> {
        let (parts, body) = request.into_parts();
        let visitor = visitor_of(&parts)?;
        // The rest of the time is the answer's, so that a body too slow is told as that and never as a write nobody knows the end of.
        let body = whole(body, MESSAGE_MOST, house.config.request_timeout.mul_f64(0.75)).await?;
        let key = message_key(house, &visitor, &parts.headers, &body)?;
        unless_kept(house, &key).await?;
        Ok(Self { body, key })
    }
}

/// Parts of the path, each parsed into its type; what does not parse is not here.
pub struct At<T>(pub T);

impl<T: DeserializeOwned + Send> FromRequestParts<House> for At<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, house: &House) -> Result<Self, Problem> {
        axum::extract::Path::<T>::from_request_parts(parts, house)
            .await
            .map(|axum::extract::Path(value)| Self(value))
            .map_err(|_| Problem::NotHere("page"))
    }
}

/// The visitor put beside the request.
///
/// # Errors
/// When the middleware that does so is missing.
pub fn visitor_of(parts: &Parts) -> Result<Arc<Visitor>, Problem> {
    parts
        .extensions
        .get::<Arc<Visitor>>()
        .cloned()
        .ok_or_else(|| Problem::broken("a request came in without a visitor"))
}

/// True for a body of this type, whatever parameters follow.
#[must_use]
pub fn has_type(headers: &HeaderMap, wanted: &str) -> bool {
    let sent = text_header(headers, header::CONTENT_TYPE.as_str());
    sent.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case(wanted))
}

/// True when somebody is signed in.
#[must_use]
pub fn is_signed_in(visitor: &Visitor) -> bool {
    matches!(visitor.actor, Actor::Person(_))
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;

    /// How many pieces of 64 KB were taken of a body of so many, with a limit of one piece, and whether it was told as too large.
    async fn taken_of(pieces: usize) -> (usize, bool) {
        let taken = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&taken);
        let stream = futures_util::stream::iter((0..pieces).map(move |_| {
            counted.fetch_add(1, Ordering::SeqCst);
            Ok::<_, std::io::Error>(Bytes::from(vec![0; PIECE]))
        }));
        let told = whole(Body::from_stream(stream), PIECE, Duration::from_secs(60)).await;
        (taken.load(Ordering::SeqCst), matches!(told, Err(Problem::TooLarge(..))))
    }

    const PIECE: usize = 64 * 1024;

    #[tokio::test]
    async fn a_body_too_large_is_heard_out_so_that_its_sender_reads_why_and_one_without_end_is_not() {
        assert_eq!(taken_of(1).await, (1, false));
        let behind = HEARD_OUT / PIECE;
        assert_eq!(taken_of(33).await, (33, true), "two megabytes behind the limit");
        let (taken, told) = taken_of(10 * behind).await;
        assert!(told && taken <= behind + 3, "{taken} pieces of {}", 10 * behind);
    }
}
