//! What a device needs while the network is away, and what it cannot do alone once it is back: the page shown meanwhile, and the
//! opening of an entry that it sealed to this house.

use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};

use super::House;
use super::frame::Frame;
use super::guard::{Anyone, SignedIn};
use super::incoming::Form;
use super::problems::page;
use super::routes::Routes;
use super::studio::{Place, Studio};
use super::visitor::Visitor;
use crate::base::actor::Actor;
use crate::base::problem::Problem;
use crate::store::entry::{Closed, SealedEntry};

pub(crate) fn routes() -> Routes {
    Routes::new().get("/offline", show).post("/outbox/open", open)
}

#[derive(Template)]
#[template(path = "shell/offline.html")]
struct OfflinePage {
    frame: Frame,
    first_aid: String,
    home: String,
    /// Id and public point of the key that a locked tablet seals a new drop to.
    seal: (String, String),
}

/// The page that a device keeps and shows where the network is away: the same for everybody, whoever asks for it.
async fn show(Anyone(visitor): Anyone, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let nobody = Visitor { actor: Actor::Nobody, revoked: None, csrf: String::new(), light: "", ..(*visitor).clone() };
    page(&OfflinePage {
        frame: house.frame(&studio, &nobody, Place::Nowhere, "No network"),
        first_aid: house.url("/first-aid"),
        home: house.url("/"),
        seal: house.store.keys().outbox(),
    })
}

/// A sealed entry as a device sends it: bytes in base64url; its form key comes as this form's own.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sent {
    kind: String,
    /// Tablet time in milliseconds since 1970, as it was written down.
    at: String,
    key_id: String,
    point: String,
    iv: String,
    sealed: String,
}

impl Sent {
    /// Whether nothing was sealed: a form that came as it is.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sealed.is_empty()
    }
}

/// What lies in it, as `static/js/outbox.js` wrote it.
#[derive(Debug, Deserialize, Serialize)]
struct Held {
    /// The mark of whoever made it.
    person: String,
    /// The key of its form.
    key: String,
    /// Where its form is sent, base path included.
    action: String,
    /// The page it stood on.
    page: String,
    /// Its fields, in their order.
    values: Vec<(String, String)>,
    /// The same as she read it: words at the field, and what she put in.
    #[serde(default)]
    shown: Vec<(String, String)>,
    /// Why it came back, where it did.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    note: String,
    /// True where it came back because somebody else was quicker.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    conflict: bool,
}

/// Gives an entry back to the live page of whoever made it, which then sends it as the form it was, under its own key. Nothing is
/// written here, so that however often it is opened it counts once.
async fn open(signed_in: SignedIn, State(house): State<House>, form: Form<Sent>) -> Result<Response, Problem> {
    let (sent, key) = (form.typed, form.key.again());
    let plain = unsealed(&house, sent, &key)?;
    let held: Held = serde_json::from_slice(&plain).map_err(|_| unreadable())?;
    if held.person != house.person_mark(signed_in.who.id) {
        return Err(Problem::NotYours("Somebody else made this entry: it opens under her own sign-in."));
    }
    if held.key != key {
        return Err(unreadable());
    }
    Ok(Json(held).into_response())
}

/// What lies in an entry that came under a form key. Whoever asks for it decides who may have it.
///
/// # Errors
/// When it is no entry that a device sealed to this house, or was sealed to a key this house does not hold.
pub fn unsealed(house: &House, sent: Sent, key: &str) -> Result<Vec<u8>, Problem> {
    let bytes = |text: &str| URL_SAFE_NO_PAD.decode(text).map_err(|_| unreadable());
    let entry = SealedEntry {
        key_id: sent.key_id,
        point: bytes(&sent.point)?,
        iv: bytes(&sent.iv)?,
        sealed: bytes(&sent.sealed)?,
        beside: format!("{key}\n{}\n{}", sent.kind, sent.at),
    };
    house.store.keys().open_entry(&entry).map_err(|why| match why {
        Closed::Changed => unreadable(),
        Closed::NoSuchKey if entry.key_id.is_empty() => unreadable(),
        Closed::NoSuchKey => Problem::mistake(
            "key_id",
            format!(
                "This entry was sealed to key {}, which this house does not hold. Put that key back into the keys folder; the \
                 entry waits on the device until then.",
                entry.key_id.chars().filter(char::is_ascii_alphanumeric).take(16).collect::<String>()
            ),
        ),
    })
}

/// What is said of an entry that does not open.
#[must_use]
pub fn unreadable() -> Problem {
    Problem::mistake("sealed", "This is no entry that a device sealed to this house, or it was changed since.")
}
