//! What a press of *New drop* on a locked tablet is a drop of. Pressed now it is of the card that is open there now. Pressed without
//! network it comes late, and is of the card that lay there then: also where another one lies there by now, and where that card was closed
//! since. On a closed card it is a correction, so that what was closed stays readable as it was.

use super::card::{Card, Drop, has_adhesive};
use super::card_lines::lines;
use super::seen::Around;
use super::{parts_store, store, version_store};
use crate::adhesives;
use crate::base::ids::{CardId, CardPartId, TabletId};
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant, SECOND};
use crate::clearance;
use crate::clients;
use crate::people;
use crate::store::Tx;
use crate::store::keys::{Keys, same};
use crate::web::House;

/// No treatment lasts longer: what is pressed later is of no card that lay there.
const LONGEST: i64 = 12 * HOUR;

/// A drop so soon after another is the same press: a switch that bounces, a second finger.
const BOUNCE: i64 = 5 * SECOND;

/// One press of the button.
#[derive(Clone)]
pub(super) struct Press {
    /// The card it was for, where the device kept it; else the one that is open there now.
    pub(super) card: Option<CardId>,
    /// What the device holds to show that this card lay on it.
    pub(super) lay: String,
    /// When.
    pub(super) at: Instant,
}

/// Notes the drop of a press, once however often it bounced.
///
/// # Errors
/// A clash that gives no reason, where there is no card to note it on.
pub(super) async fn begin(tx: &mut Tx, house: &House, tablet: TabletId, press: &Press) -> Result<(), Problem> {
    let keys = house.store.keys();
    let card = card_of(tx, house, tablet, press).await?;
    let at = press.at.max(card.begun);
    let (drop, is_newest) = drop_then(tx, &card, tablet, at).await?;
    if card.closed.is_none() && is_newest && !may_be_used(tx, keys, &card, &drop).await? {
        return Err(none_noted());
    }
    if parts_store::has_drop_within(tx.db(), card.id, at, BOUNCE).await? {
        // The drop that is there tells it.
        tx.record_tells_itself();
        return Ok(());
    }
    if card.closed.is_some() {
        correct(tx, keys, &card, &drop).await?;
    }
    parts_store::add_drop(tx, card.id, &drop).await
}

/// Said whatever the reason is: others can see the screen.
fn none_noted() -> Problem {
    Problem::Clash("No new drop was noted.".to_owned(), "Unlock the tablet and look at the card.".to_owned())
}

/// The card that is open on this tablet, or the one that was when the button was pressed.
async fn card_of(tx: &mut Tx, house: &House, tablet: TabletId, press: &Press) -> Result<Card, Problem> {
    let there = people::at_bed(tx.db(), tablet).await?.filter(|work| work.offers_drop(press.at));
    let there: Option<CardId> = there.map(|work| work.card.parse().map_err(Problem::broken)).transpose()?;
    let id = press.card.or(there).ok_or_else(none_noted)?;
    let lay_here = || same(&press.lay, &people::lay_mark(house, tablet, &id.to_string()));
    if there != Some(id) && !lay_here() {
        return Err(none_noted());
    }
    let card = store::one(tx.db(), id).await?.filter(|card| has_adhesive(card.kind)).ok_or_else(none_noted)?;
    let client = clients::client(tx.db(), card.client).await?.filter(|own| own.erased.is_none());
    let is_kept_back = client.ok_or_else(none_noted)?.restricted.is_some() && card.closed.is_some();
    // A mark does not age by itself: a card that was forgotten takes no more drops by it.
    let was_over = card.closed.is_some_and(|closed| press.at > closed) || press.at.since(card.begun) >= LONGEST;
    if was_over || is_kept_back { Err(none_noted()) } else { Ok(card) }
}

/// The drop as the card stood when it was begun, and whether it is the card's newest: a bottle that was taken since is no part of an
/// older one, which begins nothing any more.
async fn drop_then(tx: &mut Tx, card: &Card, tablet: TabletId, at: Instant) -> Result<(Drop, bool), Problem> {
    let drops = parts_store::drops(tx.db(), card.id).await?;
    let is_newest = drops.last().is_none_or(|newest| newest.at <= at);
    let running = drops.into_iter().rev().find(|own| own.at <= at).filter(|_| !is_newest || card.closed.is_some());
    let (bottle, lot, bead) = match running {
        Some(own) => (own.bottle, own.lot, own.bead),
        None => (card.bottle.ok_or_else(none_noted)?, card.lot.clone(), card.bead),
    };
    let drop = Drop { id: CardPartId::new(), at, bottle, lot, bead, seen: Vec::new(), tablet: Some(tablet) };
    Ok((drop, is_newest))
}

/// Whether its bottle may be used on her: as it stands now, however long the press waited.
async fn may_be_used(tx: &mut Tx, keys: &Keys, card: &Card, drop: &Drop) -> Result<bool, Problem> {
    let (now, db) = (tx.now.0, tx.db());
    let shelf = adhesives::shelf(db, None, now).await?;
    let on_shelf = shelf.iter().any(|own| own.bottle == drop.bottle && own.out.is_none());
    Ok(on_shelf && clearance::not_today(db, keys, card.client, &[drop.bottle], now).await?.is_empty())
}

/// Makes a version of a card that was closed before the drop arrived. Nothing is begun by it any more, so nothing is judged.
async fn correct(tx: &mut Tx, keys: &Keys, card: &Card, drop: &Drop) -> Result<(), Problem> {
    let now = tx.now.0;
    let whole = store::whole(tx.db(), keys, card.id).await?.ok_or_else(none_noted)?;
    let around = Around::load(tx.db()).await?;
    let was = lines(tx.db(), &around, &whole, now).await?;
    let reason = format!(
        "A new drop of {} arrived after the card was closed. It was begun on a locked tablet without network.",
        around.studio.zone.clock(drop.at)
    );
    version_store::keep_version(tx, keys, card, &reason, &was).await?;
    let corrected = Card { version: card.version + 1, ..card.clone() };
    store::keep(tx, keys, &corrected, &whole.words).await
}
