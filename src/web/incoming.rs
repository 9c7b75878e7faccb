//! What comes in: forms with their token and key, JSON, ids in paths. Everything unreadable becomes a problem with words.

use std::sync::Arc;

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Request};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use serde::de::DeserializeOwned;

use super::House;
use super::visitor::{Visitor, text_header};
use crate::base::actor::Actor;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::store::FormKey;
use crate::store::keys::same;

/// The most a form may hold: far more than any page of ours sends.
pub const FORM_MOST: usize = 256 * 1024;

/// A form sent from a page of ours in this session.
pub struct Form<T> {
    /// Its fields, as typed.
    pub typed: T,
    /// Which form it is: hand this to `store.write`.
    pub key: FormKey,
}

impl<T: DeserializeOwned> FromRequest<House> for Form<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, house: &House) -> Result<Self, Problem> {
        let (parts, body) = request.into_parts();
        let visitor = visitor_of(&parts)?;
        if !has_type(&parts.headers, "application/x-www-form-urlencoded") {
            return Err(Problem::Unreadable("This is not a form of ours.".into()));
        }
        let body = axum::body::to_bytes(body, FORM_MOST)
            .await
            .map_err(|_| Problem::TooLarge("The form holds more than a page of ours sends.".into()))?;
        let pairs: Vec<(String, String)> = serde_urlencoded::from_bytes(&body)
            .map_err(|_| Problem::Unreadable("The form could not be read.".into()))?;
        let key = form_key(house, &visitor, &parts.headers, &pairs, &[])?;
        let typed = serde_urlencoded::from_bytes(&body)
            .map_err(|_| Problem::Unreadable("The form lacks a field of its page, or has one twice.".into()))?;
        Ok(Self { typed, key })
    }
}

/// Checks where a form came from and gives its key. `parts` are what it held besides text fields (a file's bytes).
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
    if !from_our_page(house, headers) || !field("csrf").is_some_and(|token| same(token, &visitor.csrf)) {
        return Err(Problem::Forged);
    }
    let form = field("form_key").filter(|key| is_key(key)).ok_or_else(|| {
        Problem::Unreadable("The form came without its key.".into())
    })?;
    let mut held: Vec<&[u8]> = Vec::new();
    for (name, value) in pairs.iter().filter(|(name, _)| name != "csrf" && name != "form_key") {
        held.push(name.as_bytes());
        held.push(value.as_bytes());
    }
    held.extend_from_slice(parts);
    Ok(FormKey {
        actor: visitor.actor.clone(),
        route: visitor.path.clone(),
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
        route: visitor.path.clone(),
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
    type Rejection = Problem;

    async fn from_request(request: Request, house: &House) -> Result<Self, Problem> {
        let (parts, body) = request.into_parts();
        let visitor = visitor_of(&parts)?;
        let body = axum::body::to_bytes(body, FORM_MOST)
            .await
            .map_err(|_| Problem::TooLarge("The message is larger than 256 kB.".into()))?;
        let key = message_key(house, &visitor, &parts.headers, &body)?;
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
    parts.extensions.get::<Arc<Visitor>>().cloned().ok_or_else(|| Problem::broken("a request came in without a visitor"))
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
