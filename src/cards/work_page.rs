//! The card at the bed: the drop and its time, numbers placed, what was seen, aftercare steps. Every deed is one form and one tap.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::card::{Whole, has_adhesive};
use super::drop_page::{DropView, drop_view};
use super::map_picture::{Lid, lids};
use super::placed_page::{pad, totals, zone_field};
use super::seen::{Around, bottle_words, open_for, still_open_in};
use super::settings::CardSettings;
use super::steps_page::{StepView, steps};
use super::{arrival_page, open_store, parts_store};
use crate::base::actor::Actor;
use crate::base::ids::{CardId, CardPartId, TabletId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::MINUTE;
use crate::clearance::typed::Typed;
use crate::clients::Client;
use crate::people::{self, AtBed};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::keypad::Pad;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}", show).post("/cards/{card}/back/{part}", take_back)
}

#[derive(Template)]
#[template(path = "cards/work.html")]
pub(super) struct WorkPage {
    frame: Frame,
    /// One key a form: drop, numbers, taking back.
    keys: [String; 3],
    path: String,
    lead: String,
    warning: Option<&'static str>,
    drop: Option<DropView>,
    totals: Vec<(String, String)>,
    pad: Option<Pad>,
    /// What goes where, once somebody has drawn it.
    map: Vec<Lid>,
    /// For who counts zone by zone, where the card has a map.
    zone: Option<FieldView>,
    /// Address and words of what would be taken back.
    back: Option<(String, String)>,
    steps: Vec<StepView>,
    /// The set to be counted before cleansing, if it has not been.
    to_count: bool,
    links: Vec<(String, &'static str)>,
    halt: String,
    close: String,
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        super::seen::card_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    if opened.0.card.closed.is_some() {
        return super::record_page::show_record(&house, &staff, id).await;
    }
    let works = {
        let mut db = house.store.read().await?;
        super::seen::work_for(&mut db, house.store.keys(), id, &staff.who).await.is_ok()
    };
    if !works {
        return super::record_page::show_record(&house, &staff, id).await;
    }
    if let Some(tablet) = staff.visitor.tablet {
        lies_on(&house, &staff, tablet, &opened.0).await?;
    }
    page(&view(&house, &staff, &opened, &Typed::default(), &[], new_form_key()).await?)
}

/// Tells a shared tablet which card is open on it, so that its lock shows the time of the drop and takes a new one.
async fn lies_on(house: &House, staff: &Staff, tablet: TabletId, whole: &Whole) -> Result<(), Problem> {
    let (there, minutes) = {
        let mut db = house.store.read().await?;
        (people::at_bed(&mut db, tablet).await?, CardSettings::load(&mut db).await?.drop_minutes)
    };
    let last = whole.drops.last().filter(|_| has_adhesive(whole.card.kind));
    let drop = last.map(|drop| (drop.at, drop.at.plus(i64::from(minutes) * MINUTE)));
    let work = AtBed { card: whole.card.id.to_string(), drop };
    if there.as_ref() == Some(&work) {
        return Ok(());
    }
    let key = FormKey::unkeyed(Actor::Person(staff.who.clone()));
    let told = house.store.write(&key, move |tx| {
        let work = work.clone();
        Box::pin(async move {
            people::begin_at_bed(tx, tablet, &work).await?;
            Ok(Kept::see(""))
        })
    });
    told.await.map(|_| ())
}

/// The page at the bed, with what was typed on the pad and what is wrong with it.
pub(super) async fn view(
    house: &House,
    staff: &Staff,
    (whole, client): &(Whole, Client),
    typed: &Typed,
    notes: &[FieldNote],
    key: String,
) -> Result<WorkPage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let (card, zone) = (&whole.card, &around.studio.zone);
    let path = house.url(&format!("/cards/{}", card.id));
    let warning = open_store::warning(&mut db, house.store.keys(), card, now).await?;
    let used = bottle_words(&mut db, card.bottle, &card.lot).await?;
    let to_count = whole.arrival.is_empty() && arrival_page::to_count(&mut db, house, whole).await?.is_some();
    drop(db);
    let lay = staff.visitor.tablet.map(|tablet| people::lay_mark(house, tablet, &card.id.to_string()));
    let style = card.style.map_or_else(|| card.kind.words().to_owned(), |style| style.words());
    let mut links = vec![(format!("{path}/map"), "Lash map"), (format!("{path}/record"), "Read the whole card")];
    if has_adhesive(card.kind) {
        links.insert(0, (format!("{path}/bottle"), "Another bottle, bead or liquid"));
    }
    links.push((house.url(&format!("/door/clients/{}/clearance", client.id)), "Her clearance"));
    links.push((format!("{path}/record#photos"), "Photos of this visit"));
    links.push((house.url(&format!("/door/clients/{}/photos", client.id)), "All her photos"));
    Ok(WorkPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Card of {}", client.short)),
        keys: [new_form_key(), key, new_form_key()],
        lead: format!(
            "{}, {} with {} in {}, since {}.",
            crate::base::text::capital(card.kind.words()),
            style,
            around.artist_name(card.artist),
            around.room_name(card.room),
            zone.clock(card.begun)
        ),
        warning,
        drop: has_adhesive(card.kind).then(|| drop_view(&around, whole, used, lay.unwrap_or_default(), now)),
        totals: totals(whole),
        pad: has_adhesive(card.kind).then(|| pad(&around, whole, typed, notes)),
        map: lids(whole, &around.studio, around.settings.zones),
        zone: zone_field(whole, typed, notes),
        back: newest(whole).map(|(part, words)| (format!("{path}/back/{part}"), format!("Take back {words}"))),
        steps: steps(&around, whole, now),
        to_count,
        links,
        halt: house.url(&format!("/door/clients/{}/reactions/new", client.id)),
        close: format!("{path}/close"),
        path,
    })
}

/// What was added last, and words for it.
fn newest(whole: &Whole) -> Option<(CardPartId, String)> {
    let count = whole
        .counts
        .last()
        .map(|count| (count.at, count.id, format!("{} on the {}", count.placed, count.side.words())));
    // The first drop is the card's beginning.
    let drop = whole.drops.iter().skip(1).next_back().map(|drop| (drop.at, drop.id, "the new drop".to_owned()));
    [count, drop].into_iter().flatten().max_by_key(|(at, ..)| *at).map(|(_, id, words)| (id, words))
}

async fn take_back(
    staff: Staff,
    State(house): State<House>,
    At((id, part)): At<(CardId, CardPartId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let is_drop = opened.0.drops.iter().skip(1).any(|drop| drop.id == part);
    if !is_drop && !opened.0.counts.iter().any(|count| count.id == part) {
        return Err(Problem::NotHere("entry"));
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                still_open_in(tx.db(), id).await?;
                parts_store::take_back(tx, id, part).await?;
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
