//! A complaint is taken in: when, what about, about which card, with which adhesive and lot.

use axum::extract::State;
use axum::response::Response;

use super::doctor_store::{Complaint, add_complaint};
use super::from_cards::{HerCard, HerCards};
use super::lot_store::exposures_of;
use super::reaction::LOOK_BACK;
use super::seen::{client_for, treats};
use super::standing::Bench;
use super::test_store::Met;
use super::typed::{FormPage, MoreNotes, TELL_THEM, Typed, kept_field, notes_of, time_field, wall, words_field};
use crate::base::actor::Who;
use crate::base::ids::{ClientId, ComplaintId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field};
use crate::web::form::FieldView;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes(cards: HerCards) -> Routes {
    Routes::new()
        .get("/door/clients/{client}/complaints/new", move |staff: Staff, house: State<House>, id: At<ClientId>| {
            complaint_form(staff, house, id, cards)
        })
        .post(
            "/door/clients/{client}/complaints",
            move |staff: Staff, house: State<House>, id: At<ClientId>, form: Form<Typed>| {
                add(staff, house, id, form, cards)
            },
        )
}

pub(super) struct Opened {
    pub(super) studio: Studio,
    pub(super) client: Client,
    pub(super) bench: Bench,
    met: Vec<Met>,
    /// Her cards, as far as this person reads them, newest first.
    pub(super) cards: Vec<HerCard>,
}

pub(super) async fn open(
    house: &House,
    who: &Who,
    id: ClientId,
    now: Instant,
    cards: HerCards,
) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, who, now).await?;
    let mut met: Vec<Met> = Vec::new();
    for exposure in exposures_of(&mut db, id, now.plus(-LOOK_BACK), now).await? {
        if !met.contains(&exposure.met) {
            met.push(exposure.met);
        }
    }
    let bench = Bench::load(&mut db, &studio.zone).await?;
    drop(db);
    Ok(Opened { bench, studio, client, met, cards: cards(house, who.clone(), id, now).await? })
}

/// The field for the card it is about; `None` where this person reads none of hers.
pub(super) fn card_field(opened: &Opened, typed: &Typed) -> Option<FieldView> {
    if opened.cards.is_empty() {
        return None;
    }
    let none = std::iter::once((String::new(), "none, or not known".to_owned()));
    let cards = opened.cards.iter().map(|card| (card.id.clone(), card.words.clone()));
    Some(choice_field("select", "card", "Treatment card it is about", typed.get("card"), none.chain(cards)).or_empty())
}

/// The card chosen: one of hers, or none.
pub(super) fn chosen_card(notes: &mut Notes, typed: &Typed, opened: &Opened) -> Option<String> {
    match typed.get("card") {
        "" => Some(String::new()),
        id => notes.choice("card", opened.cards.iter().find(|card| card.id == id).map(|card| card.id.clone())),
    }
}

async fn complaint_form(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    cards: HerCards,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff.who, id, staff.visitor.now.0, cards).await?;
    let fresh = Typed::of([("at", wall(&opened.studio.zone, staff.visitor.now.0))]);
    page(&form_view(&house, &staff, &opened, &fresh))
}

/// What the form sends for one of them: never its place in the list, which is another one once she has met something since.
fn met_value(met: &Met) -> String {
    format!("{} {}", met.product, met.lot)
}

fn form_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let none = std::iter::once((String::new(), "not known".to_owned()));
    let met = opened.met.iter().map(|met| (met_value(met), opened.bench.met_words(met)));
    let mut fields = vec![
        time_field("at", "When she complained", typed.get("at")),
        words_field("what", "What about", typed.get("what")),
    ];
    fields.extend(card_field(opened, typed));
    fields.push(
        choice_field("select", "met", "Adhesive and lot of the last eight weeks", typed.get("met"), none.chain(met))
            .or_empty(),
    );
    fields.push(kept_field("record", TELL_THEM));
    FormPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("A complaint of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/complaints", opened.client.id)),
        word: "Complaint",
        small: "facts only",
        lead: vec!["Itching, redness, swelling or pain is a reaction as well: record that first.".to_owned()],
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Keep the complaint",
        back: (house.url(&format!("/door/clients/{}/clearance", opened.client.id)), "Back to her clearance"),
    }
}

async fn add(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
    cards: HerCards,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let opened = open(&house, &staff.who, id, now, cards).await?;
    let typed = &form.typed;
    let mut notes = Notes::default();
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (now.plus(-365 * DAY), now));
    let what = notes.words("what", typed.get("what"), 4000);
    let met = match typed.get("met") {
        "" => Some(None),
        chosen => notes.choice("met", opened.met.iter().find(|met| met_value(met) == chosen).cloned()).map(Some),
    };
    let card = chosen_card(&mut notes, typed, &opened);
    let new = (|| {
        let met = met?;
        Some(Complaint {
            id: ComplaintId::new(),
            client: id,
            at: at?,
            what: what?,
            product: met.as_ref().map(|met| met.product),
            lot: met.map(|met| met.lot).unwrap_or_default(),
            card: card?,
            decision: "open".to_owned(),
            fix_until: None,
            fixed: None,
            refund_minor: None,
        })
    })();
    match notes.settle(new) {
        Ok(new) => {
            let (inner, reads) = (house.clone(), treats(&staff.who));
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new) = (inner.clone(), new.clone());
                    Box::pin(async move {
                        add_complaint(tx, house.store.keys(), &new).await?;
                        Ok(Kept::see(if reads {
                            format!("/door/complaints/{}", new.id)
                        } else {
                            format!("/door/clients/{id}/clearance")
                        }))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = form_view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}
