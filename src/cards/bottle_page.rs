//! Another bottle, bead, liquid or technique while the card is open: with it a new drop begins.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Card, Drop, Whole, has_adhesive};
use super::seen::{Around, bottle_words, moved, moved_lines, open_for, still_open_in};
use super::work_fields::{bottle_choices, typed_liquids, work_fields};
use super::{open_store, parts_store, store};
use crate::adhesives::{self, Bead};
use crate::artists::Style;
use crate::base::ids::{CardId, CardPartId};
use crate::base::problem::Problem;
use crate::clearance::Known;
use crate::clearance::typed::{DONE, FormPage, SEEN, Typed, notes_of, seen_field};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{is_still, mark_of};
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/bottle", bottle_page).post("/cards/{card}/bottle", take_bottle)
}

/// What is taken on a card as one text, to tell whether it is still the same.
fn standing(card: &Card) -> String {
    let bottle = card.bottle.map(|id| id.to_string()).unwrap_or_default();
    let style = card.style.map(|style| style.key()).unwrap_or_default();
    [bottle, card.bead.word().to_owned(), card.liquids.keys(), style].join(" ")
}

async fn bottle_view(
    house: &House,
    staff: &Staff,
    (whole, client): &(Whole, Client),
    typed: &Typed,
) -> Result<FormPage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let shelf = adhesives::shelf(&mut db, None, now).await?;
    let ids: Vec<_> = shelf.iter().map(|own| own.bottle).collect();
    let refused = crate::clearance::not_today(&mut db, house.store.keys(), client.id, &ids, now).await?;
    drop(db);
    let styles = around.artist(whole.card.artist).map(|artist| artist.styles.clone()).unwrap_or_default();
    let get = |name| typed.get(name);
    let advised = if whole.card.advised_class.is_empty() {
        Vec::new()
    } else {
        vec![format!("Class advised: {}.", whole.card.advised_class_in(around.studio.decimal))]
    };
    let bottles = bottle_choices(&shelf, &refused);
    let mut fields = vec![choice_field("select", "bottle", "Bottle", get("bottle"), bottles)];
    fields.extend(work_fields(typed, styles));
    fields.push(seen_field(get(SEEN)));
    Ok(FormPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Bottle for {}", client.short)),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/bottle", whole.card.id)),
        word: "Bottle",
        small: "from now on",
        lead: advised,
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Take it, with a new drop",
        back: (house.url(&format!("/cards/{}", whole.card.id)), "Back to the card"),
    })
}

async fn bottle_page(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let card = &opened.0.card;
    let mut pairs = vec![
        ("bottle", card.bottle.map(|id| id.to_string()).unwrap_or_default()),
        ("bead", card.bead.word().to_owned()),
        ("technique", card.style.map(|style| style.key()).unwrap_or_default()),
        (SEEN, mark_of(&standing(card))),
    ];
    pairs.extend(card.liquids.iter().map(|liquid| ("liquids", liquid.key().to_owned())));
    page(&bottle_view(&house, &staff, &opened, &Typed::of(pairs)).await?)
}

async fn take_bottle(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let typed = &form.typed;
    let mut notes = Notes::default();
    let bottle = notes.choice("bottle", typed.get("bottle").parse::<crate::base::ids::BottleId>().ok());
    let bead = notes.choice("bead", Bead::from_word(typed.get("bead")));
    let style = Style::parse(typed.get("technique"));
    if style.is_none() && !typed.get("technique").is_empty() {
        notes.add("technique", "Choose one of these.");
    }
    let liquids = typed_liquids(typed);
    let kept = match notes.settle(bottle.zip(bead)) {
        Ok((bottle, bead)) if has_adhesive(opened.0.card.kind) => {
            let (inner, who, words) = (house.clone(), staff.who.clone(), opened.0.words.clone());
            let seen = typed.get(SEEN).to_owned();
            let pressed = done_at(typed.get(DONE), staff.visitor.now.0);
            house
                .store
                .write(&form.key, move |tx| {
                    let (house, who, words) = (inner.clone(), who.clone(), words.clone());
                    let seen = seen.clone();
                    Box::pin(async move {
                        let (keys, now) = (house.store.keys(), tx.now.0);
                        let mut card = still_open_in(tx.db(), id).await?;
                        let before = standing(&card);
                        let her = (&who, card.client);
                        open_store::bottle_for_her(tx.db(), keys, her, bottle, now, Known::ByNow).await?;
                        let found = adhesives::bottle_and_product(tx.db(), bottle).await?;
                        card.lot = found.map(|(bottle, _)| bottle.lot).unwrap_or_default();
                        (card.bottle, card.bead, card.liquids, card.style) = (Some(bottle), bead, liquids, style);
                        if !is_still(&seen, &before, &standing(&card)) {
                            return Err(moved());
                        }
                        store::keep(tx, keys, &card, &words).await?;
                        // Taken when its button was pressed, also where it waited on a device since.
                        let at = pressed.min(now).max(card.begun);
                        let drop = Drop {
                            id: CardPartId::new(),
                            at,
                            bottle,
                            lot: card.lot.clone(),
                            bead,
                            seen: Vec::new(),
                            tablet: None,
                        };
                        parts_store::add_drop(tx, id, &drop).await?;
                        open_store::met(tx, keys, &card, bottle, at).await?;
                        adhesives::work_with(tx, bottle).await?;
                        tx.audit("take bottle", id, "").await?;
                        Ok(Kept::see(format!("/cards/{id}")))
                    })
                })
                .await
        }
        Ok(_) => Err(Problem::NotHere("bottle on this card")),
        Err(problem) => Err(problem),
    };
    match kept {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let (opened, now) = {
                let mut db = house.store.read().await?;
                let opened = open_for(&mut db, house.store.keys(), id, &staff.who).await?;
                let card = &opened.0.card;
                let bottle = bottle_words(&mut db, card.bottle, &card.lot).await?;
                let now = format!("{bottle}, {} bead", card.bead.word());
                (opened, now)
            };
            let typed = form.typed.with(SEEN, mark_of(&standing(&opened.0.card)));
            let view = bottle_view(&house, &staff, &opened, &typed).await?;
            page_with(StatusCode::CONFLICT, &view.moved(moved_lines(vec![now]), form.key.form))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = bottle_view(&house, &staff, &opened, &form.typed).await?.again(&notes, form.key.form);
            page_again(&view)
        }
    }
}
