//! Opening a card: whether it may be opened is judged inside the write that opens it, since a stop or a reaction may have come meanwhile.

use super::card::{Card, CardStart, Drop, Words, has_adhesive, is_removal};
use super::counts::is_elsewhere;
use super::{parts_store, store};
use crate::adhesives;
use crate::base::actor::Who;
use crate::base::ids::{BottleId, CardPartId, ClientId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE};
use crate::book::{self, VisitKind};
use crate::clearance::wet::Wet;
use crate::clearance::{self, Clearance, Expected, ForHer, Known, Meeting, Met, NotToday};
use crate::clients::{self, Client};
use crate::rooms::{RoomSettings, asked};
use crate::store::keys::Keys;
use crate::store::{Db, Tx};

/// A card begun longer ago than this has waited on a device.
const LATE: i64 = 5 * MINUTE;

/// A card opened no longer than this before it may be the same visit, entered twice.
const LATE_BESIDE: i64 = 60 * MINUTE;

/// What to do before anything else; said to everybody for whom only a removal is open.
pub(super) const MEDICAL_FIRST: [&str; 3] = [
    "With pain, swelling or changed vision: medical help first, and no remover.",
    "Without them, lashes may be taken off: open a removal card. Nothing with adhesive is placed.",
    "First aid is on every page.",
];

/// True where nothing with adhesive may be placed on her, whichever bottle is taken.
pub(super) fn is_held(her: &ForHer, bottles: &[BottleId]) -> bool {
    let not_now = |bottle: &BottleId| {
        her.bottles.iter().any(|(id, why)| id == bottle && matches!(why, NotToday::NotNow | NotToday::Stopped))
    };
    let any = her.bottles.iter().any(|(_, why)| matches!(why, NotToday::NotNow));
    any && bottles.iter().all(not_now)
}

/// Opens a card. Gives it back as it was kept: with the room's air, and with the mark of a set that another studio placed.
pub(super) async fn open(tx: &mut Tx, keys: &Keys, who: &Who, start: &CardStart) -> Result<Card, Problem> {
    let mut card = start.card.clone();
    let client = clients::client(tx.db(), card.client).await?.filter(Client::is_in_use);
    clients::not_restricted(&client.ok_or(Problem::NotHere("client"))?)?;
    if let Some(appointment) = card.appointment {
        if store::of_appointment(tx.db(), appointment).await?.is_some() {
            return Err(Problem::Clash(
                "This appointment has a card already.".to_owned(),
                "Open it from the appointment or under Cards.".to_owned(),
            ));
        }
        // Called off while the form was open.
        let booked = book::appointment(tx.db(), appointment).await?;
        if booked.is_none_or(|own| own.state != book::State::Booked) {
            return Err(super::opening::called_off());
        }
    }
    let before = store::of_client(tx.db(), card.client).await?;
    let now = tx.now.0;
    let is_late = card.paper.is_none() && now.since(card.begun) > LATE;
    if is_late && before.iter().any(|own| own.begun > card.begun.plus(-LATE_BESIDE)) {
        return Err(Problem::Clash(
            "Another card of hers was opened at about the time at which this one was begun on a device, or since."
                .to_owned(),
            "Look at that card under Cards. Write there what it lacks, or close it and open this one from paper."
                .to_owned(),
        ));
    }
    let newest = before.iter().find(|own| own.begun < card.begun);
    card.elsewhere = is_elsewhere(card.kind, newest.is_some_and(|own| own.elsewhere && !is_removal(own.kind)));
    card.air = air_at_start(tx.db(), &card).await?;
    if card.paper.is_none() {
        card.clearance = gate(tx.db(), keys, who, &card, now, Known::ByNow).await?;
        if is_late {
            // A wait that is over by now was not when she began, nor had a doctor written what came since: what stood against it then stands
            // against it still.
            gate(tx.db(), keys, who, &card, card.begun, Known::ByThen).await?;
            card.clearance.push_str(", judged when the card arrived from a device without network");
        }
        clients::nothing_changed(tx, card.client, who.id, card.begun).await?;
    } else {
        "entered from paper; as it stood on the printed list".clone_into(&mut card.clearance);
    }
    store::keep(tx, keys, &card, &Words::default()).await?;
    mark_later(tx, &card, &before).await?;
    parts_store::add_steps(tx, card.id, &start.steps).await?;
    if let Some(bottle) = card.bottle.filter(|_| has_adhesive(card.kind)) {
        let drop = Drop {
            id: CardPartId::new(),
            at: card.begun,
            bottle,
            lot: card.lot.clone(),
            bead: card.bead,
            seen: Vec::new(),
            tablet: None,
        };
        parts_store::add_drop(tx, card.id, &drop).await?;
        met(tx, keys, &card, bottle, card.begun).await?;
        if card.paper.is_none() {
            adhesives::work_with(tx, bottle).await?;
        }
    }
    tx.audit("open card", card.id, card.kind.word()).await?;
    Ok(card)
}

/// The air of a card's room when it was begun, °C and %RH, where somebody had read it.
pub(super) async fn air_at_start(db: &mut Db, card: &Card) -> Result<Option<(f64, f64)>, Problem> {
    let settings = RoomSettings::load(db).await?;
    let air = asked::air_then(db, card.room, &settings, card.begun).await?;
    Ok(air.map(|air| (air.measured.temperature.get(), air.measured.humidity.humidity.get())))
}

/// A card that is entered late says of those begun after it, too, whether another studio's extensions were on her lashes. `before` are
/// her cards, the newest first.
async fn mark_later(tx: &mut Tx, card: &Card, before: &[Card]) -> Result<(), Problem> {
    let there = card.elsewhere && !is_removal(card.kind);
    mark(tx, there, before.iter().rev().filter(|own| own.begun > card.begun).collect()).await
}

/// All cards of a client say it anew: two records were put together, or the kind of a visit was corrected.
pub(super) async fn mark_anew(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    let cards = store::of_client(tx.db(), client).await?;
    mark(tx, false, cards.iter().rev().collect()).await
}

/// Marks cards, the oldest first; `there` says whether another studio's extensions were on her lashes before them.
async fn mark(tx: &mut Tx, mut there: bool, cards: Vec<&Card>) -> Result<(), Problem> {
    for later in cards {
        let elsewhere = is_elsewhere(later.kind, there);
        if elsewhere != later.elsewhere {
            store::set_elsewhere(tx, later.id, elsewhere).await?;
        }
        there = elsewhere && !is_removal(later.kind);
    }
    Ok(())
}

/// Tells clearance that she met a bottle's product and lot: at once, so that a stop finds cards that are still open.
pub(super) async fn met(tx: &mut Tx, keys: &Keys, card: &Card, bottle: BottleId, at: Instant) -> Result<(), Problem> {
    let found = adhesives::bottle_and_product(tx.db(), bottle).await?;
    let (bottle, product) = found.ok_or(Problem::NotHere("bottle"))?;
    let met = Met { product: product.id, lot: bottle.lot };
    clearance::add_exposure(tx, keys, card.client, &met, (at, Meeting::Treatment), &card.id.to_string()).await
}

/// What clearance says in a word or two, where the card may be opened.
async fn gate(db: &mut Db, keys: &Keys, who: &Who, card: &Card, now: Instant, known: Known) -> Result<String, Problem> {
    if is_removal(card.kind) {
        let answer = clearance::may_remove(db, keys, card.client, now, known).await?;
        return match answer {
            Clearance::Cleared(_) => Ok("cleared for a removal".to_owned()),
            _ => Err(Problem::mistake("kind", MEDICAL_FIRST[0])),
        };
    }
    if card.kind == VisitKind::Other {
        return gate_of_other(db, keys, card, now, known).await;
    }
    let Some(bottle) = card.bottle else {
        return Err(Problem::mistake("bottle", "Choose the bottle you take."));
    };
    bottle_for_her(db, keys, (who, card.client), bottle, now, known).await?;
    let her = clearance::for_advice(db, keys, card.client, who, &[], now, known).await?;
    for liquid in card.liquids.iter() {
        let own = Wet::of_advice(liquid);
        if let Some((_, why)) = her.liquids.iter().find(|(wet, _)| Some(*wet) == own) {
            return Err(Problem::mistake("liquids", format!("{}, not for today: {}.", liquid.words(), why.words())));
        }
    }
    Ok("cleared".to_owned())
}

/// Refuses a bottle that is not for today, or not for her.
pub(super) async fn bottle_for_her(
    db: &mut Db,
    keys: &Keys,
    (who, client): (&Who, ClientId),
    bottle: BottleId,
    now: Instant,
    known: Known,
) -> Result<(), Problem> {
    let shelf = adhesives::shelf(db, None, now).await?;
    let Some(own) = shelf.iter().find(|own| own.bottle == bottle) else {
        return Err(Problem::mistake("bottle", "This bottle is finished."));
    };
    let refuse = |why: &str| Err(Problem::mistake("bottle", format!("{}, not for today: {why}.", own.name)));
    if let Some(out) = own.out {
        return refuse(out.words());
    }
    let her = clearance::for_advice(db, keys, client, who, &[bottle], now, known).await?;
    match her.bottles.first() {
        None => Ok(()),
        Some((_, NotToday::NotNow)) => Err(Problem::mistake(
            "kind",
            "Nothing with adhesive is placed on her now: only a removal card can be opened.",
        )),
        Some((_, why)) => refuse(why.words()),
    }
}

async fn gate_of_other(db: &mut Db, keys: &Keys, card: &Card, now: Instant, known: Known) -> Result<String, Problem> {
    let id = card.appointment.map_or_else(crate::base::ids::ExpectedVisitId::new, Into::into);
    let visit = Expected {
        id,
        client: card.client,
        at: now,
        kind: clearance::VisitKind::Other,
        artist: None,
        products: Vec::new(),
        liquids: Vec::new(),
    };
    let standing = clearance::at_booking(db, keys, &visit, "the artist or the owner", now, known).await?;
    if standing.is_cleared() {
        Ok("cleared as a person; the service’s own patch test is not judged here".to_owned())
    } else {
        let steps = standing.steps.join(" ");
        Err(Problem::mistake("kind", format!("{}. {steps}", crate::base::text::capital(standing.word))))
    }
}

/// Whether a bottle in use on an open card has been stopped since, or is not for her any more: words for a warning.
pub(super) async fn warning(
    db: &mut Db,
    keys: &Keys,
    card: &Card,
    now: Instant,
) -> Result<Option<&'static str>, Problem> {
    let Some(bottle) = card.bottle.filter(|_| card.closed.is_none() && has_adhesive(card.kind)) else {
        return Ok(None);
    };
    let found = clearance::not_today(db, keys, card.client, &[bottle], now).await?;
    Ok(found.first().map(|(_, why)| match why {
        NotToday::Stopped => {
            "This bottle’s lot or product was stopped. Nothing more of it is used: take another bottle."
        }
        NotToday::NotNow => {
            "Something was recorded for this client since: nothing more with adhesive. Look at her clearance."
        }
        _ => "This bottle is not for this client any more. Look at her clearance before you go on.",
    }))
}
