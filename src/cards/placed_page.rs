//! Numbers placed, added at the bed on large keys: an eye, a sort, a zone where somebody counts by zones.

use axum::extract::State;
use axum::response::Response;

use super::card::{Count, Lash, Side, Whole};
use super::close_counts::count_field;
use super::parts_store;
use super::seen::{Around, open_for, still_open_in};
use super::work_page::view;
use crate::base::ids::{CardId, CardPartId};
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::clearance::typed::{MoreNotes as _, Typed, notes_of};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at};
use crate::web::form::FieldView;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::keypad::{Key, Pad, PadRow};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new().post("/cards/{card}/placed", placed)
}

/// What can be counted on this card, in the order of the pad.
fn counted(whole: &Whole) -> Vec<(Side, Lash)> {
    let lashes = whole.lashes();
    whole.card.lids.sides().iter().flat_map(|side| lashes.iter().map(|lash| (*side, *lash))).collect()
}

/// What was placed so far, in the order of the pad.
pub(super) fn totals(whole: &Whole) -> Vec<(String, String)> {
    let of = |(side, lash): (Side, Lash)| {
        let sort = if whole.lashes().len() > 1 { format!(", {}", lash.words()) } else { String::new() };
        let label = capital(&format!("{}{sort}", side.words()));
        (label, whole.placed_of(side, lash).to_string())
    };
    counted(whole).into_iter().map(of).collect()
}

/// The pad with what was typed on it, and the key that was pressed.
pub(super) fn pad(around: &Around, whole: &Whole, typed: &Typed, notes: &[FieldNote]) -> Pad {
    let both = whole.lashes().len() > 1;
    let row = |(side, lash): (Side, Lash)| {
        let name = count_field(side, lash);
        let sort = if both { format!(", {}", lash.words()) } else { String::new() };
        PadRow {
            name,
            label: capital(&format!("{}{sort}", side.words())),
            unit: "more".to_owned(),
            value: typed.get(name).to_owned(),
            error: notes.iter().find(|note| note.field == name).map(|note| note.sentence.clone()),
            whole: 3,
            ..PadRow::default()
        }
    };
    let point = if around.studio.decimal == DecimalMark::Comma { ',' } else { '.' };
    let mut pad =
        Pad { rows: counted(whole).into_iter().map(row).collect(), at: typed.get("at").parse().unwrap_or(0), point };
    if let Some(pressed) = Key::parse(typed.get("key")) {
        pad.press(pressed);
    }
    pad
}

/// The zones of the map, to say which of them the number is of; the whole lid unless somebody chooses.
pub(super) fn zone_field(whole: &Whole, typed: &Typed, notes: &[FieldNote]) -> Option<FieldView> {
    let most = whole.zones.iter().map(|zone| zone.zone).max()?;
    let lid = std::iter::once((String::new(), "the whole lid".to_owned()));
    let zones = (1..=most).map(|zone| (zone.to_string(), format!("zone {zone}")));
    let field = choice_field("radio", "zone", "The number is of", typed.get("zone"), lid.chain(zones)).or_empty();
    let mut field = field.hinted("Zones count from the inner corner.");
    field.error = notes.iter().find(|note| note.field == "zone").map(|note| note.sentence.clone());
    Some(field)
}

async fn placed(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let key = form.key.again();
    if !form.typed.get("key").is_empty() {
        return page(&view(&house, &staff, &opened, &form.typed, &[], key).await?);
    }
    let at = done_at(form.typed.get("done"), staff.visitor.now.0).max(opened.0.card.begun);
    let counts = match check_placed(&opened.0, &form.typed, at) {
        Ok(counts) => counts,
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &opened, &form.typed, &notes, key).await?;
            return page_again(&view);
        }
    };
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let counts = counts.clone();
            Box::pin(async move {
                still_open_in(tx.db(), id).await?;
                for count in &counts {
                    parts_store::add_count(tx, id, count).await?;
                }
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn check_placed(whole: &Whole, typed: &Typed, at: Instant) -> Result<Vec<Count>, Problem> {
    let mut notes = Notes::default();
    let mut counts = Vec::new();
    let all = counted(whole);
    let zone = match typed.get("zone") {
        "" => None,
        zone => notes.choice("zone", whole.zones.iter().map(|own| own.zone).find(|own| own.to_string() == zone)),
    };
    for (side, lash) in &all {
        let name = count_field(*side, *lash);
        if typed.get(name).trim().is_empty() {
            continue;
        }
        if let Some(placed) = notes.whole(name, typed.get(name), (0, 999), "") {
            counts.push(Count { id: CardPartId::new(), side: *side, lash: *lash, placed, zone, strips: None, at });
        }
    }
    if counts.is_empty() && notes.all().is_empty() {
        notes.add(
            all.first().map_or("left_single", |(side, lash)| count_field(*side, *lash)),
            "Type how many were placed.",
        );
    }
    notes.settle(Some(counts))
}
