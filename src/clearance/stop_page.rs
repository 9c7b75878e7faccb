//! The stop of a lot or product: what it takes off, which open cards used it, and who was told.

use std::collections::{BTreeMap, HashSet};

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::from_cards::OpenCards;
use super::lot_page::{choose, people_who_met, product_choices, put_right};
use super::lot_store::{Exposure, Stop, bottles, one_stop, stop, stops, tell_client, told_clients, who_met};
use super::reaction_store::tell;
use super::standing::Bench;
use super::told::{chosen_whom, nobody_chosen, told_rows, whom_field};
use super::typed::{Caution, FormPage, MoreNotes, Typed, checks_field, kept_field, notes_of, words_field};
use crate::adhesives;
use crate::base::actor::Role;
use crate::base::ids::{ClientId, StopId};
use crate::base::older::{Before, cut};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes(cards: OpenCards) -> Routes {
    Routes::new()
        .get("/door/stops", list)
        .get("/door/stops/new", stop_form)
        .post("/door/stops", add)
        .get("/door/stops/{stop}", move |staff: Staff, house: State<House>, id: At<StopId>| {
            show(staff, house, id, cards)
        })
        .post("/door/stops/{stop}/told", move |staff: Staff, house: State<House>, id: At<StopId>, form: Form<Typed>| {
            tell_somebody(staff, house, id, form, cards)
        })
        .post(
            "/door/stops/{stop}/clients",
            move |staff: Staff, house: State<House>, id: At<StopId>, form: Form<Typed>| {
                tell_clients(staff, house, id, form, cards)
            },
        )
}

/// So many on one page of the list.
const LISTED: usize = 50;

#[derive(Template)]
#[template(path = "clearance/stops.html")]
struct StopsPage {
    frame: Frame,
    rows: Vec<(String, String, String)>,
    /// Where the older ones stand.
    older: Option<String>,
    is_owner: bool,
}

fn stop_words(stop: &Stop, bench: &Bench) -> String {
    let name = bench.name(Some(stop.product));
    match &stop.lot {
        None => format!("{name}, every lot"),
        Some(lot) if lot.is_empty() => format!("{name}, bottles without a lot"),
        Some(lot) => format!("{name}, lot {lot}"),
    }
}

async fn list(
    staff: Staff,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let mut rows = stops(&mut db, &Before::asked(asked.get("before").map(String::as_str)), LISTED as i64 + 1).await?;
    let older = cut(&mut rows, LISTED, |stop| Before::row(stop.at, stop.id));
    let row = |stop: &Stop| {
        (
            house.url(&format!("/door/stops/{}", stop.id)),
            stop_words(stop, &bench),
            studio.zone.date_and_clock(stop.at, now),
        )
    };
    page(&StopsPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Stopped lots and products"),
        rows: rows.iter().map(row).collect(),
        older: older.map(|before| house.url(&format!("/door/stops?before={before}"))),
        is_owner: staff.who.role == Role::Owner,
    })
}

async fn stop_form(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    page(&stop_view(&house, &owner, &studio, &bench, &Typed::default()))
}

fn stop_view(house: &House, owner: &Owner, studio: &Studio, bench: &Bench, typed: &Typed) -> FormPage {
    let own = |value: &str, words: &str| (value.to_owned(), words.to_owned());
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Door, "Stop a lot or a product"),
        key: new_form_key(),
        action: house.url("/door/stops"),
        word: "Stop",
        small: "nothing of it is used from now on",
        lead: vec!["Its bottles are not for today at once, and tests made with it no longer count: those tested with it need a new test.".to_owned()],
        caution: Some(Caution { heading: "A stop is not taken back here", sentences: vec!["Stop first and ask after: a bottle put aside costs little."] }),
        fields: vec![
            choice_field("select", "product", "Product", typed.get("product"), choose().chain(product_choices(bench))),
            choice_field("radio", "what", "What of it", typed.get("what"), [own("lot", "one lot"), own("product", "every lot")]),
            text_field("lot", "Lot", typed.get("lot")).hinted("As printed on the bottle; empty for bottles without one.").or_empty(),
            words_field("why", "Why", typed.get("why")).hinted("No client’s name and nothing about her health."),
            kept_field("stop", "A stop that waits stops nothing: put its bottles aside, and tell everybody in person."),
        ],
        mistakes: Vec::new(),
        button: "Stop it",
        back: (house.url("/door/stops"), "Back to the stops"),
    }
}

async fn add(owner: Owner, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let (studio, bench) = {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        (studio.clone(), Bench::load(&mut db, &studio.zone).await?)
    };
    let typed = &form.typed;
    let mut notes = Notes::default();
    let product = typed.get("product").parse().ok().filter(|id| bench.products.contains_key(id));
    let product = notes.choice("product", product);
    let lot = match typed.get("what") {
        "product" => Some(None),
        "lot" => lot_typed(&mut notes, typed.get("lot")).map(Some),
        _ => {
            lot_typed(&mut notes, typed.get("lot"));
            notes.choice("what", None)
        }
    };
    let why = notes.words("why", typed.get("why"), 1000);
    let now = owner.visitor.now.0;
    match notes.settle((|| Some(Stop { id: StopId::new(), product: product?, lot: lot?, at: now, why: why? }))()) {
        Ok(new) => {
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new) = (inner.clone(), new.clone());
                    Box::pin(async move {
                        stop(tx, house.store.keys(), &new).await?;
                        Ok(Kept::see(format!("/door/stops/{}", new.id)))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = stop_view(&house, &owner, &studio, &bench, typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}

/// A lot as it is kept; none where none was typed.
fn lot_typed(notes: &mut Notes, typed: &str) -> Option<String> {
    if typed.trim().is_empty() {
        return Some(String::new());
    }
    notes.line("lot", typed, 60).map(|lot| text::lot(&lot))
}

#[derive(Template)]
#[template(path = "clearance/stop.html")]
struct StopPage {
    frame: Frame,
    key: String,
    mistakes: Vec<Mistake>,
    what: String,
    why: String,
    when: String,
    by_lot: String,
    /// That the lot was put right on a bottle since, with what to do; empty where it was not.
    put_right: String,
    bottles: usize,
    met: usize,
    /// How many cards are open that used it, and address and words of those this person may see.
    open: usize,
    cards: Vec<(String, String)>,
    told: Vec<(String, String)>,
    whom: FieldView,
    tell: String,
    /// Clients who met it and were told: name, when.
    told_clients: Vec<(String, String)>,
    /// Those not told yet, as ticks; `None` where nobody is left.
    to_tell: Option<FieldView>,
    tell_clients: String,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<StopId>,
    cards: OpenCards,
) -> Result<Response, Problem> {
    page(&view(&house, &staff, id, cards, &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    id: StopId,
    cards: OpenCards,
    notes: &[FieldNote],
    key: String,
) -> Result<StopPage, Problem> {
    let now = staff.visitor.now.0;
    let stopped = {
        let mut db = house.store.read().await?;
        one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?
    };
    let (open, cards) = cards(house, staff.who.clone(), stopped.product, stopped.lot.clone(), now).await?;
    let cards = cards.into_iter().map(|card| (house.url(&card.path), card.words)).collect();
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let is_of = |met: &super::test_store::Met| {
        met.product == stopped.product && stopped.lot.as_ref().is_none_or(|lot| *lot == met.lot)
    };
    let bottles = bottles(&mut db).await?.iter().filter(|bottle| is_of(&bottle.met)).count();
    let corrected = adhesives::corrected_lots(&mut db, stopped.product).await?;
    let met = who_met(&mut db, stopped.product, stopped.lot.as_deref(), &corrected).await?;
    let all: HashSet<ClientId> = met.iter().map(|exposure| exposure.client).collect();
    let (told_clients, to_tell) = clients_told(&mut db, house, staff, &studio, id, &met).await?;
    let mut fields: Vec<FieldView> = std::iter::once(whom_field()).chain(to_tell).collect();
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let mut fields = fields.into_iter();
    let query = serde_urlencoded::to_string([
        ("product", stopped.product.to_string()),
        ("lot", stopped.lot.clone().unwrap_or_default()),
        ("none", if stopped.lot.as_deref() == Some("") { "yes" } else { "" }.to_owned()),
    ])
    .map_err(Problem::broken)?;
    Ok(StopPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "A stop"),
        key,
        mistakes,
        what: stop_words(&stopped, &bench),
        when: studio.zone.date_and_clock(stopped.at, now),
        why: stopped.why,
        by_lot: house.url(&format!("/door/lots?{query}")),
        put_right: stopped
            .lot
            .as_deref()
            .map(|lot| put_right(&corrected, lot, Instant(i64::MIN), &studio.zone, now))
            .filter(|right| !right.is_empty())
            .map(|right| {
                format!("On a bottle this lot was {right}. Where that bottle is meant, stop the lot it bears, too.")
            })
            .unwrap_or_default(),
        bottles,
        met: all.len(),
        open,
        cards,
        told_clients,
        told: told_rows(&mut db, &studio.zone, &id.to_string(), now).await?,
        whom: fields.next().unwrap_or_default(),
        to_tell: fields.next(),
        tell_clients: house.url(&format!("/door/stops/{id}/clients")),
        tell: house.url(&format!("/door/stops/{id}/told")),
    })
}

/// Who of those who met it was told, with when; and ticks for those who were not, as far as this person may see them.
async fn clients_told(
    db: &mut crate::store::Db,
    house: &House,
    staff: &Staff,
    studio: &Studio,
    stop: StopId,
    met: &[Exposure],
) -> Result<(Vec<(String, String)>, Option<FieldView>), Problem> {
    let now = staff.visitor.now.0;
    let told = told_clients(db, stop).await?;
    let mut people: Vec<_> = people_who_met(db, house.store.keys(), staff, met).await?.into_iter().collect();
    people.sort_by_cached_key(|(_, (name, _))| text::fold(name));
    let when = |id: &ClientId| told.iter().find(|(client, _)| client == id).map(|(_, at)| *at);
    let (done, open): (Vec<_>, Vec<_>) = people.into_iter().partition(|(id, _)| when(id).is_some());
    let done = done.into_iter().filter_map(|(id, (name, _))| Some((name, studio.zone.date_and_clock(when(&id)?, now))));
    let open: Vec<(String, String)> = open
        .into_iter()
        .map(|(id, (name, reach))| (id.to_string(), if reach.is_empty() { name } else { format!("{name}, {reach}") }))
        .collect();
    let ticks = (!open.is_empty()).then(|| checks_field("client", "Not told yet", &[], open).or_empty());
    Ok((done.collect(), ticks))
}

/// The page with a word beside what was not chosen.
async fn again(
    house: &House,
    staff: &Staff,
    id: StopId,
    cards: OpenCards,
    note: FieldNote,
    key: Option<String>,
) -> Result<Response, Problem> {
    let view = view(house, staff, id, cards, &[note], key.unwrap_or_default()).await?;
    page_again(&view)
}

/// Notes which clients were told. Only those who met it, and whom this person may see.
async fn tell_clients(
    staff: Staff,
    State(house): State<House>,
    At(id): At<StopId>,
    form: Form<Typed>,
    cards: OpenCards,
) -> Result<Response, Problem> {
    let known = {
        let mut db = house.store.read().await?;
        let stopped = one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?;
        let corrected = adhesives::corrected_lots(&mut db, stopped.product).await?;
        let met = who_met(&mut db, stopped.product, stopped.lot.as_deref(), &corrected).await?;
        people_who_met(&mut db, house.store.keys(), &staff, &met).await?
    };
    let chosen: Vec<Option<ClientId>> = form.typed.all("client").into_iter().map(|id| id.parse().ok()).collect();
    let chosen: Option<Vec<ClientId>> = chosen.into_iter().collect();
    let chosen = chosen.filter(|all| !all.is_empty() && all.iter().all(|id| known.contains_key(id)));
    let Some(chosen) = chosen else {
        let note = FieldNote::new("client", "Choose at least one of these.");
        return again(&house, &staff, id, cards, note, form.key.form).await;
    };
    let (inner, at) = (house.clone(), form.typed.pressed(staff.visitor.now.0));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (house, chosen) = (inner.clone(), chosen.clone());
            Box::pin(async move {
                for client in chosen {
                    tell_client(tx, house.store.keys(), (id, client), at).await?;
                }
                Ok(Kept::see(format!("/door/stops/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn tell_somebody(
    staff: Staff,
    State(house): State<House>,
    At(id): At<StopId>,
    form: Form<Typed>,
    cards: OpenCards,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?;
    }
    let Some(whom) = chosen_whom(&form.typed) else {
        return again(&house, &staff, id, cards, nobody_chosen(), form.key.form).await;
    };
    let (inner, at) = (house.clone(), form.typed.pressed(staff.visitor.now.0));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (house, whom) = (inner.clone(), whom.clone());
            Box::pin(async move {
                tell(tx, house.store.keys(), &id.to_string(), &whom, at).await?;
                Ok(Kept::see(format!("/door/stops/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
