//! The drop at the bed: how old it is, and a fresh one with what was seen since.

use axum::extract::State;
use axum::response::Response;

use super::card::{Drop, Seen, Whole};
use super::seen::{Around, open_for, still_open_in};
use super::{open_store, parts_store};
use crate::adhesives::Liquid;
use crate::base::ids::{CardId, CardPartId};
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE, SECOND};
use crate::clearance::Known;
use crate::clearance::typed::Typed;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::done_at;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new().post("/cards/{card}/drop", new_drop)
}

/// What the page says of the running drop.
pub(super) struct DropView {
    pub(super) number: usize,
    /// Whether one was taken at all.
    pub(super) any: bool,
    pub(super) since: String,
    /// The card's and the newest drop's ids, for what the device keeps of the running time.
    pub(super) card: String,
    pub(super) id: String,
    /// What a shared tablet keeps to show that the card lay on it; empty elsewhere.
    pub(super) lay: String,
    /// Seconds since it was taken, and after how many a fresh one is due.
    pub(super) seconds: i64,
    pub(super) due_seconds: i64,
    pub(super) gone: String,
    pub(super) due: String,
    pub(super) over: bool,
    pub(super) lines: Vec<(&'static str, String)>,
    pub(super) seen: Vec<(&'static str, &'static str)>,
}

/// The running drop in words; `used` names the bottle, `lay` is the mark of a shared tablet.
pub(super) fn drop_view(around: &Around, whole: &Whole, used: String, lay: String, now: Instant) -> DropView {
    let zone = &around.studio.zone;
    let last = whole.drops.last();
    let at = last.map_or(whole.card.begun, |last| last.at);
    let due = i64::from(around.settings.drop_minutes) * MINUTE;
    let gone = now.since(at).max(0) / SECOND;
    let style = whole.card.style.map_or_else(|| "not said".to_owned(), |style| style.words());
    let liquids: Vec<_> = whole.card.liquids.iter().map(Liquid::words).collect();
    let advised = whole.card.advised_class_in(around.studio.decimal);
    DropView {
        number: whole.drops.len(),
        any: last.is_some(),
        since: zone.clock(at),
        card: whole.card.id.to_string(),
        id: last.map(|last| last.id.to_string()).unwrap_or_default(),
        lay,
        seconds: gone,
        due_seconds: due / SECOND,
        gone: format!("{}:{:02}", gone / 60, gone % 60),
        due: format!("of {} min; change by {}", around.settings.drop_minutes, zone.clock(at.plus(due))),
        over: now.since(at) >= due,
        lines: [
            ("Class advised", advised),
            ("Bottle", used),
            ("Bead", whole.card.bead.word().to_owned()),
            ("Technique", style),
            ("Liquids", liquids.join(", ")),
        ]
        .into_iter()
        .filter(|(_, value)| !value.is_empty())
        .collect(),
        seen: Seen::ALL.iter().map(|seen| (seen.word(), seen.words())).collect(),
    }
}

async fn new_drop(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?;
    }
    let words = form.typed.all("seen");
    let seen: Vec<Seen> = words.iter().filter_map(|word| Seen::from_word(word)).collect();
    if seen.len() != words.len() {
        return Err(Problem::Unreadable("What was seen is none of the words of this page.".into()));
    }
    let at = done_at(form.typed.get("done"), staff.visitor.now.0);
    let inner = house.clone();
    let who = staff.who.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (seen, house, who) = (seen.clone(), inner.clone(), who.clone());
            Box::pin(async move {
                let card = still_open_in(tx.db(), id).await?;
                let Some(bottle) = card.bottle else {
                    return Err(Problem::Clash(
                        "No bottle is taken on this card.".to_owned(),
                        "Choose one first, under “Another bottle, bead or liquid”.".to_owned(),
                    ));
                };
                // A drop of what was stopped meanwhile is not begun.
                let now = tx.now.0;
                let (keys, her) = (house.store.keys(), (&who, card.client));
                let refused = open_store::bottle_for_her(tx.db(), keys, her, bottle, now, Known::ByNow);
                refused.await.map_err(told)?;
                let at = at.max(card.begun);
                let drop = Drop {
                    id: CardPartId::new(),
                    at,
                    bottle,
                    lot: card.lot.clone(),
                    bead: card.bead,
                    seen: seen.clone(),
                    tablet: None,
                };
                parts_store::add_drop(tx, id, &drop).await?;
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// A mistake of a form that has no such field, as what happened.
fn told(problem: Problem) -> Problem {
    match problem {
        Problem::Mistakes(notes) => Problem::Clash(
            notes.first().map(|note| note.sentence.clone()).unwrap_or_default(),
            "Take another bottle on the card, or look at her clearance.".to_owned(),
        ),
        other => other,
    }
}
