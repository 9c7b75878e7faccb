//! *New drop* on a locked tablet, without digits, while a card is open on it: gloves stay on. This one deed and nothing else; what comes
//! back is the lock, which tells no name. It is recorded as the card's artist's, with the tablet. Where the network was away it comes late,
//! sealed to the house, with the card it was pressed for; `lock_drop.rs` says what it is a drop of.

use axum::extract::{Request, State};
use axum::response::Response;
use serde::Deserialize;

use super::lock_drop::{self, Press};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::people;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{by_our_clock, done_at};
use crate::web::guard::Anyone;
use crate::web::incoming::{FORM_MOST, Turned, form_key, has_type, unless_kept, whole};
use crate::web::offline::{Sent, unreadable, unsealed};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new().post(PATH, begin)
}

const PATH: &str = "/tablet/drop";

/// What a device sealed of a press.
#[derive(Deserialize)]
struct Held {
    /// The key of its form.
    key: String,
    /// The card whose drop was running there; empty where the device knew of none.
    #[serde(default)]
    card: String,
    /// What the device was given when that card lay on it.
    #[serde(default)]
    lay: String,
}

async fn begin(Anyone(visitor): Anyone, State(house): State<House>, request: Request) -> Result<Response, Turned> {
    let (parts, body) = request.into_parts();
    let locked = people::locked(&house, &parts.headers, &visitor, PATH).await?.ok_or(Problem::NotHere("tablet"))?;
    if !has_type(&parts.headers, "application/x-www-form-urlencoded") {
        return Err(Problem::Unreadable("This is not a form of ours.".into()).into());
    }
    let body = whole(body, FORM_MOST, house.config.request_timeout).await?;
    let pairs: Vec<(String, String)> =
        serde_urlencoded::from_bytes(&body).map_err(|_| Problem::Unreadable("The form could not be read.".into()))?;
    let key = form_key(&house, &locked.visitor, &parts.headers, &pairs, &[])?;
    unless_kept(&house, &key).await?;
    let press = pressed(&house, &body, &pairs, key.form.as_deref().unwrap_or_default(), visitor.now.0)?;
    // Where whoever unlocks it goes on; looked at again there.
    let next = pairs.iter().find(|(name, _)| name == "next").map_or("/", |(_, path)| path.as_str());
    let back = serde_urlencoded::to_string([("next", next)]).map_err(Problem::broken)?;
    let (inner, tablet) = (house.clone(), locked.tablet);
    let kept = house
        .store
        .write(&key, move |tx| {
            let (house, back, press) = (inner.clone(), back.clone(), press.clone());
            Box::pin(async move {
                lock_drop::begin(tx, &house, tablet, &press).await?;
                Ok(Kept::see(format!("/tablet?{back}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// Reads a press: as it is sent at once, or as it waited on the device.
fn pressed(house: &House, body: &[u8], pairs: &[(String, String)], key: &str, now: Instant) -> Result<Press, Problem> {
    let sent: Sent = serde_urlencoded::from_bytes(body)
        .map_err(|_| Problem::Unreadable("The form has a field of its page twice.".into()))?;
    if sent.is_empty() {
        return Ok(Press { card: None, lay: String::new(), at: now });
    }
    let plain = unsealed(house, sent, key)?;
    let held: Held = serde_json::from_slice(&plain).map_err(|_| unreadable())?;
    if held.key != key {
        return Err(unreadable());
    }
    let card = if held.card.is_empty() { None } else { Some(held.card.parse().map_err(|_| unreadable())?) };
    let told = by_our_clock(pairs, now);
    let at = told.as_deref().unwrap_or(pairs).iter().find(|(name, _)| name == "at");
    Ok(Press { card, lay: held.lay, at: done_at(at.map_or("", |(_, at)| at), now).min(now) })
}
