//! *New drop* on a locked tablet, without digits, while a card is open on it: gloves stay on. This one deed and nothing else; what comes
//! back is the lock, which tells no name. It is recorded as the card's artist's, with the tablet.

use axum::extract::{Request, State};
use axum::response::Response;

use super::card::{Card, Drop};
use super::{parts_store, store};
use crate::adhesives;
use crate::base::ids::{BottleId, CardId, CardPartId, TabletId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clearance;
use crate::people;
use crate::store::keys::Keys;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::guard::Anyone;
use crate::web::incoming::{FORM_MOST, Turned, form_key, has_type, unless_kept, whole};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new().post(PATH, begin)
}

const PATH: &str = "/tablet/drop";

/// Said whatever the reason is: others can see the screen.
fn none_noted() -> Problem {
    Problem::Clash("No new drop was noted.".to_owned(), "Unlock the tablet and look at the card.".to_owned())
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
    // Where whoever unlocks it goes on; looked at again there.
    let next = pairs.iter().find(|(name, _)| name == "next").map_or("/", |(_, path)| path.as_str());
    let back = serde_urlencoded::to_string([("next", next)]).map_err(Problem::broken)?;
    let (inner, tablet) = (house.clone(), locked.tablet);
    let kept = house
        .store
        .write(&key, move |tx| {
            let (house, back) = (inner.clone(), back.clone());
            Box::pin(async move {
                let now = tx.now.0;
                let (card, bottle) = at_the_bed(tx.db(), house.store.keys(), tablet, now).await?;
                let drop = Drop {
                    id: CardPartId::new(),
                    at: now.max(card.begun),
                    bottle,
                    lot: card.lot.clone(),
                    bead: card.bead,
                    seen: Vec::new(),
                    tablet: Some(tablet),
                };
                parts_store::add_drop(tx, card.id, &drop).await?;
                Ok(Kept::see(format!("/tablet?{back}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// The card that is open on this tablet, and its bottle while that may be used on her.
async fn at_the_bed(db: &mut Db, keys: &Keys, tablet: TabletId, now: Instant) -> Result<(Card, BottleId), Problem> {
    let work = people::at_bed(db, tablet).await?.filter(|work| work.offers_drop(now)).ok_or_else(none_noted)?;
    let id: CardId = work.card.parse().map_err(Problem::broken)?;
    let card = store::one(db, id).await?.filter(|card| card.closed.is_none()).ok_or_else(none_noted)?;
    let bottle = card.bottle.ok_or_else(none_noted)?;
    let shelf = adhesives::shelf(db, None, now).await?;
    let usable = shelf.iter().any(|own| own.bottle == bottle && own.out.is_none());
    if !usable || !clearance::not_today(db, keys, card.client, &[bottle], now).await?.is_empty() {
        return Err(none_noted());
    }
    Ok((card, bottle))
}
