//! Lots: who met one, printable; the stop of a lot or product and who was told; the house adhesive from a date on and who of
//! those expected needs a test first.

use std::collections::{BTreeMap, HashMap, HashSet};

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use futures_util::future::BoxFuture;
use serde::Deserialize;

use super::desk_page::needs_a_test;
use super::lot_store::{Exposure, Stop, bottles, one_stop, stop, stops, tell_client, told_clients, who_met};
use super::reaction::{WHOM, words_of};
use super::reaction_store::{tell, told};
use super::seen::Names;
use super::standing::{Bench, standings};
use super::typed::{Caution, FormPage, MoreNotes, Typed, checks_field, notes_of, time_field, wall, words_field};
use super::visit_store::{HouseAdhesive, house_adhesive_at, set_house_adhesive};
use crate::base::actor::Who;
use crate::base::ids::{ClientId, ProductId, StopId};
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::{DAY, Instant};
use crate::clients;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, text_field};
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

/// A card that is still open although something it used was stopped.
pub struct OpenCard {
    /// Its path, without the base.
    pub path: String,
    /// When, who by her short name, what, with whom.
    pub words: String,
}

/// Open cards that used a product, or one lot of it: how many there are, and those this person may see. Handed in by the caller, since
/// cards stand below this part.
pub type OpenCards = for<'h> fn(
    &'h House,
    Who,
    ProductId,
    Option<String>,
    Instant,
) -> BoxFuture<'h, Result<(usize, Vec<OpenCard>), Problem>>;

pub(super) fn routes(cards: OpenCards) -> Routes {
    Routes::new()
        .get("/door/lots", trace)
        .get("/door/stops", list)
        .get("/door/stops/new", stop_form)
        .post("/door/stops", add)
        .get("/door/stops/{stop}", move |staff: Staff, house: State<House>, id: At<StopId>| {
            show(staff, house, id, cards)
        })
        .post("/door/stops/{stop}/told", tell_somebody)
        .post("/door/stops/{stop}/clients", tell_clients)
        .get("/door/house-adhesive", house_adhesive)
        .post("/door/house-adhesive", set)
}

fn product_choices(bench: &Bench) -> Vec<(String, String)> {
    let mut all: Vec<_> =
        bench.products.values().map(|product| (product.id.to_string(), product.name.clone())).collect();
    all.sort_by_cached_key(|(_, name)| crate::base::text::fold(name));
    all
}

// ---- who met a lot -------------------------------------------------------------------------------------------------

#[derive(Deserialize, Default)]
#[serde(default)]
struct AskedLot {
    product: String,
    lot: String,
}

#[derive(Template)]
#[template(path = "clearance/lots.html")]
struct TracePage {
    frame: Frame,
    action: String,
    fields: Vec<FieldView>,
    lead: String,
    rows: Vec<TraceRow>,
}

struct TraceRow {
    name: String,
    reach: String,
    when: String,
    lot: String,
    kind: String,
}

async fn trace(staff: Staff, State(house): State<House>, Query(asked): Query<AskedLot>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let product: Option<ProductId> = asked.product.parse().ok().filter(|id| bench.products.contains_key(id));
    let lot = text::lot(&asked.lot).chars().take(60).collect::<String>();
    let (rows, lead) = match product {
        None => (Vec::new(), String::new()),
        Some(product) => {
            let of_lot = (!lot.is_empty()).then_some(lot.as_str());
            let rows = trace_rows(&mut db, house.store.keys(), &staff, &studio, product, of_lot, now).await?;
            let what = of_lot.map(|lot| format!(", lot {lot}")).unwrap_or_default();
            (rows, format!("{}{what}: who met it, newest first. Patch tests count.", bench.name(Some(product))))
        }
    };
    let none = std::iter::once((String::new(), "choose a product".to_owned()));
    page(&TracePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Who met a lot"),
        action: house.url("/door/lots"),
        fields: vec![
            choice_field("select", "product", "Product", &asked.product, none.chain(product_choices(&bench))),
            text_field("lot", "Lot", &lot).hinted("Empty: every lot.").or_empty(),
        ],
        lead,
        rows,
    })
}

/// Those this person may see; the others are counted by nobody but the owner.
async fn trace_rows(
    db: &mut crate::store::Db,
    keys: &crate::store::keys::Keys,
    staff: &Staff,
    studio: &Studio,
    product: ProductId,
    lot: Option<&str>,
    now: Instant,
) -> Result<Vec<TraceRow>, Problem> {
    let met = who_met(db, product, lot).await?;
    let people = people_who_met(db, keys, staff, &met).await?;
    let row = |exposure: Exposure| {
        let (name, reach) = people.get(&exposure.client)?.clone();
        Some(TraceRow {
            name,
            reach,
            when: studio.zone.date_and_clock(exposure.at, now),
            lot: exposure.met.lot,
            kind: if exposure.kind == "test" { "patch test".to_owned() } else { exposure.kind },
        })
    };
    Ok(met.into_iter().filter_map(row).collect())
}

/// Name and ways to reach of those who met something, as far as this person may see them, in a few statements for all.
async fn people_who_met(
    db: &mut crate::store::Db,
    keys: &crate::store::keys::Keys,
    staff: &Staff,
    met: &[Exposure],
) -> Result<HashMap<ClientId, (String, String)>, Problem> {
    let ids: Vec<ClientId> = met.iter().map(|exposure| exposure.client).collect();
    let clients: Vec<_> =
        clients::several(db, &ids).await?.into_iter().filter(|client| clients::may_see(client, &staff.who)).collect();
    // Who was erased has to be found all the same: that is why her meetings stay.
    let erased: Vec<ClientId> = clients.iter().filter(|own| own.erased.is_some()).map(|own| own.id).collect();
    let mut rests = if erased.is_empty() { BTreeMap::new() } else { clients::rights::rests(db, keys, &erased).await? };
    let mut people = HashMap::new();
    for client in clients {
        let (name, phone, email) = if client.erased.is_some() {
            rests.remove(&client.id).unwrap_or_default()
        } else {
            (client.name, client.phone, client.email)
        };
        let reach = [phone, email].into_iter().filter(|way| !way.is_empty()).collect::<Vec<_>>().join(", ");
        people.insert(client.id, (if name.is_empty() { "somebody erased".to_owned() } else { name }, reach));
    }
    Ok(people)
}

// ---- stops ---------------------------------------------------------------------------------------------------------

#[derive(Template)]
#[template(path = "clearance/stops.html")]
struct StopsPage {
    frame: Frame,
    rows: Vec<(String, String, String)>,
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

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let rows = stops(&mut db).await?;
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
        is_owner: staff.who.role == crate::base::actor::Role::Owner,
    })
}

async fn stop_form(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    page(&stop_view(&house, &owner, &studio, &bench, &Typed::of([("what", "lot".to_owned())])))
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
            choice_field("select", "product", "Product", typed.get("product"), product_choices(bench)),
            choice_field("radio", "what", "What of it", typed.get("what"), [own("lot", "one lot"), own("product", "every lot")]),
            text_field("lot", "Lot", typed.get("lot")).hinted("As printed on the bottle; empty for bottles without one.").or_empty(),
            words_field("why", "Why", typed.get("why")).hinted("No client’s name and nothing about her health."),
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
        "lot" if typed.get("lot").trim().is_empty() => Some(Some(String::new())),
        "lot" => notes.line("lot", typed.get("lot"), 60).map(|lot| Some(text::lot(&lot))),
        _ => notes.choice("what", None),
    };
    let why = notes.words("why", typed.get("why"), 1000);
    let now = owner.visitor.now.0;
    match notes.settle((|| Some(Stop { id: StopId::new(), product: product?, lot: lot?, at: now, why: why? }))()) {
        Ok(new) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let new = new.clone();
                    Box::pin(async move {
                        stop(tx, &new).await?;
                        Ok(Kept::see(format!("/door/stops/{}", new.id)))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = stop_view(&house, &owner, &studio, &bench, typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

#[derive(Template)]
#[template(path = "clearance/stop.html")]
struct StopPage {
    frame: Frame,
    key: String,
    what: String,
    why: String,
    when: String,
    by_lot: String,
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
    let now = staff.visitor.now.0;
    let stopped = {
        let mut db = house.store.read().await?;
        one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?
    };
    let (open, cards) = cards(&house, staff.who.clone(), stopped.product, stopped.lot.clone(), now).await?;
    let cards = cards.into_iter().map(|card| (house.url(&card.path), card.words)).collect();
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let is_of = |met: &super::test_store::Met| {
        met.product == stopped.product && stopped.lot.as_ref().is_none_or(|lot| *lot == met.lot)
    };
    let bottles = bottles(&mut db).await?.iter().filter(|bottle| is_of(&bottle.met)).count();
    let met = who_met(&mut db, stopped.product, stopped.lot.as_deref()).await?;
    let all: HashSet<ClientId> = met.iter().map(|exposure| exposure.client).collect();
    let (told_clients, to_tell) = clients_told(&mut db, &house, &staff, &studio, id, &met).await?;
    let told = told(&mut db, &id.to_string()).await?;
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    let query = serde_urlencoded::to_string([
        ("product", stopped.product.to_string()),
        ("lot", stopped.lot.clone().unwrap_or_default()),
    ])
    .map_err(Problem::broken)?;
    let told = told
        .iter()
        .map(|(whom, at)| (words_of(&WHOM, whom).to_owned(), studio.zone.date_and_clock(*at, now)))
        .collect();
    page(&StopPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "A stop"),
        key: new_form_key(),
        what: stop_words(&stopped, &bench),
        when: studio.zone.date_and_clock(stopped.at, now),
        why: stopped.why,
        by_lot: house.url(&format!("/door/lots?{query}")),
        bottles,
        met: all.len(),
        open,
        cards,
        told_clients,
        to_tell,
        tell_clients: house.url(&format!("/door/stops/{id}/clients")),
        told,
        whom: choice_field("select", "whom", "Whom", "", WHOM.map(own)),
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

/// Notes which clients were told. Only those who met it, and whom this person may see.
async fn tell_clients(
    staff: Staff,
    State(house): State<House>,
    At(id): At<StopId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let known = {
        let mut db = house.store.read().await?;
        let stopped = one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?;
        let met = who_met(&mut db, stopped.product, stopped.lot.as_deref()).await?;
        people_who_met(&mut db, house.store.keys(), &staff, &met).await?
    };
    let chosen: Vec<Option<ClientId>> = form.typed.all("client").into_iter().map(|id| id.parse().ok()).collect();
    let chosen: Option<Vec<ClientId>> = chosen.into_iter().collect();
    let chosen = chosen.filter(|all| !all.is_empty() && all.iter().all(|id| known.contains_key(id)));
    let Some(chosen) = chosen else { return Err(Problem::mistake("client", "Choose at least one of these.")) };
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let chosen = chosen.clone();
            Box::pin(async move {
                for client in chosen {
                    tell_client(tx, id, client).await?;
                }
                Ok(Kept::see(format!("/door/stops/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn tell_somebody(
    _staff: Staff,
    State(house): State<House>,
    At(id): At<StopId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        one_stop(&mut db, id).await?.ok_or(Problem::NotHere("stop"))?;
    }
    let whom = form.typed.get("whom").to_owned();
    if !WHOM.iter().any(|(key, _)| *key == whom) {
        return Err(Problem::mistake("whom", "Choose one of these."));
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let whom = whom.clone();
            Box::pin(async move {
                tell(tx, &id.to_string(), &whom).await?;
                Ok(Kept::see(format!("/door/stops/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

// ---- the house adhesive --------------------------------------------------------------------------------------------

#[derive(Template)]
#[template(path = "clearance/house_adhesive.html")]
struct HouseAdhesivePage {
    frame: Frame,
    key: String,
    action: String,
    now: String,
    next: Vec<(String, String)>,
    /// Who of those expected needs a test first: short name, visit, until when.
    first: Vec<(String, String, String)>,
    is_owner: bool,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// How far ahead those expected are looked at.
const AHEAD: i64 = 60 * DAY;

async fn house_adhesive(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    page(&house_view(&house, &staff, None).await?)
}

async fn house_view(
    house: &House,
    staff: &Staff,
    again: Option<(&Typed, Vec<crate::base::problem::FieldNote>, String)>,
) -> Result<HouseAdhesivePage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let zone = &studio.zone;
    let bench = Bench::load(&mut db, zone).await?;
    let all = standings(&mut db, house.store.keys(), &bench, (now, now.plus(AHEAD)), now).await?;
    let names = Names::load(&mut db).await?;
    let first = all.iter().filter(|standing| needs_a_test(standing)).map(|standing| {
        let with = standing.visit.artist.map(|id| format!(", {}", names.first(id))).unwrap_or_default();
        let due = match &standing.answer {
            super::judge::Clearance::NotYet(not_yet) => super::words::deadline(not_yet, &bench.rules, zone, now),
            _ => String::new(),
        };
        (standing.short.clone(), format!("{}{with}", zone.date_and_clock(standing.visit.at, now)), due)
    });
    let later = bench.house.iter().filter(|house| house.from > now);
    let fresh = Typed::of([("from", wall(zone, zone.start_of_day_before(now, -1)))]);
    let (typed, notes, key) = match again {
        Some((typed, notes, key)) => (typed.clone(), notes, key),
        None => (fresh, Vec::new(), new_form_key()),
    };
    let mut fields = vec![
        choice_field("select", "product", "Adhesive", typed.get("product"), product_choices(&bench)),
        time_field("from", "From", typed.get("from")),
    ];
    crate::web::checks::note_fields(&mut fields, &notes);
    Ok(HouseAdhesivePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "House adhesive"),
        key,
        action: house.url("/door/house-adhesive"),
        now: house_adhesive_at(&bench.house, now).map_or_else(|| "none set".to_owned(), |id| bench.name(Some(id))),
        next: later.map(|later| (zone.date_and_clock(later.from, now), bench.name(Some(later.product)))).collect(),
        first: first.collect(),
        is_owner: staff.who.role == crate::base::actor::Role::Owner,
        mistakes: crate::web::form::mistakes(&fields),
        fields,
    })
}

async fn set(owner: Owner, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let now = owner.visitor.now.0;
    let (zone, bench) = {
        let mut db = house.store.read().await?;
        let zone = Studio::load(&mut db).await?.zone;
        (zone.clone(), Bench::load(&mut db, &zone).await?)
    };
    let mut notes = Notes::default();
    let known =
        form.typed.get("product").parse().ok().filter(|id| bench.products.get(id).is_some_and(|own| !own.stopped));
    let product = notes.choice("product", known);
    let from = notes.instant("from", form.typed.get("from"), &zone, (now.plus(-DAY), now.plus(730 * DAY)));
    match notes.settle((|| Some(HouseAdhesive { product: product?, from: from? }))()) {
        Ok(new) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    Box::pin(async move {
                        set_house_adhesive(tx, new).await?;
                        Ok(Kept::see("/door/house-adhesive"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let staff = Staff { who: owner.who, visitor: owner.visitor };
            let key = form.key.form.unwrap_or_default();
            page_with(
                StatusCode::UNPROCESSABLE_ENTITY,
                &house_view(&house, &staff, Some((&form.typed, notes, key))).await?,
            )
        }
    }
}
