//! The card at the bed: the drop and its time, numbers placed, what was seen, aftercare steps. Every deed is one form and one tap.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Card, Count, Drop, Lash, Seen, Side, Whole, has_adhesive};
use super::counts::Strips;
use super::seen::{Around, bottle_words, is_still, mark_of, moved, moved_lines, open_for, still_open_in};
use super::settings::CardSettings;
use super::{arrival_page, open_page, open_store, store};
use crate::adhesives;
use crate::adhesives::{Bead, Liquid, Liquids};
use crate::artists::Style;
use crate::base::actor::Actor;
use crate::base::ids::{CardId, CardPartId, TabletId};
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{Instant, MINUTE, SECOND};
use crate::clearance::typed::{FormPage, MoreNotes as _, SEEN, Typed, checks_field, notes_of, seen_field};
use crate::clients::Client;
use crate::people::{self, AtBed};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at};
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::keypad::{Key, Pad, PadRow};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/cards/{card}", show)
        .post("/cards/{card}/placed", placed)
        .post("/cards/{card}/drop", new_drop)
        .post("/cards/{card}/back/{part}", take_back)
        .post("/cards/{card}/step", go_on_with_step)
        .get("/cards/{card}/bottle", bottle_page)
        .post("/cards/{card}/bottle", take_bottle)
}

struct DropView {
    number: usize,
    /// Whether one was taken at all.
    any: bool,
    since: String,
    /// The card's and the newest drop's ids, for what the device keeps of the running time.
    card: String,
    id: String,
    /// Seconds since it was taken, and after how many a fresh one is due.
    seconds: i64,
    due_seconds: i64,
    gone: String,
    due: String,
    over: bool,
    lines: Vec<(&'static str, String)>,
    seen: Vec<(&'static str, &'static str)>,
}

struct StepView {
    /// Its form's own key.
    key: String,
    words: String,
    stands: String,
    /// Place in the list and words of its button; none once it is done.
    act: Option<(u32, String)>,
}

#[derive(Template)]
#[template(path = "cards/work.html")]
struct WorkPage {
    frame: Frame,
    /// One key a form: drop, numbers, taking back.
    keys: [String; 3],
    path: String,
    lead: String,
    warning: Option<&'static str>,
    drop: Option<DropView>,
    totals: Vec<(String, String)>,
    pad: Option<Pad>,
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

/// The name of a number's field.
const fn field(side: Side, lash: Lash) -> &'static str {
    match (side, lash) {
        (Side::Left, Lash::Single) => "left_single",
        (Side::Left, Lash::Fan) => "left_fan",
        (Side::Right, Lash::Single) => "right_single",
        (Side::Right, Lash::Fan) => "right_fan",
        (Side::LeftLower, Lash::Single) => "left_lower_single",
        (Side::LeftLower, Lash::Fan) => "left_lower_fan",
        (Side::RightLower, Lash::Single) => "right_lower_single",
        (Side::RightLower, Lash::Fan) => "right_lower_fan",
    }
}

/// What can be counted on this card, in the order of the pad.
fn counted(whole: &Whole) -> Vec<(Side, Lash)> {
    let lashes = whole.lashes();
    whole.card.lids.sides().iter().flat_map(|side| lashes.iter().map(|lash| (*side, *lash))).collect()
}

async fn view(
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
    let warning = open_page::warning(&mut db, house, card, now).await?;
    let used = bottle_words(&mut db, card.bottle, &card.lot).await?;
    let to_count = whole.arrival.is_empty() && arrival_page::to_count(&mut db, house, whole).await?.is_some();
    drop(db);
    let style = card.style.map_or_else(|| card.kind.words().to_owned(), |style| style.words());
    let mut links = vec![(format!("{path}/map"), "Lash map"), (format!("{path}/record"), "Read the whole card")];
    if has_adhesive(card.kind) {
        links.insert(0, (format!("{path}/bottle"), "Another bottle, bead or liquid"));
    }
    links.push((house.url(&format!("/door/clients/{}/clearance", client.id)), "Her clearance"));
    links.push((house.url(&format!("/door/clients/{}/photos", client.id)), "Her photos"));
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
        drop: has_adhesive(card.kind).then(|| drop_view(&around, whole, used, now)),
        totals: totals(whole),
        pad: has_adhesive(card.kind).then(|| pad(&around, whole, typed, notes)),
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

fn drop_view(around: &Around, whole: &Whole, used: String, now: Instant) -> DropView {
    let zone = &around.studio.zone;
    let last = whole.drops.last();
    let at = last.map_or(whole.card.begun, |last| last.at);
    let due = i64::from(around.settings.drop_minutes) * MINUTE;
    let gone = now.since(at).max(0) / SECOND;
    let style = whole.card.style.map_or_else(|| "not said".to_owned(), |style| style.words());
    let liquids: Vec<_> = whole.card.liquids.iter().map(Liquid::words).collect();
    let advised = &whole.card.advised_class;
    DropView {
        number: whole.drops.len(),
        any: last.is_some(),
        since: zone.clock(at),
        card: whole.card.id.to_string(),
        id: last.map(|last| last.id.to_string()).unwrap_or_default(),
        seconds: gone,
        due_seconds: due / SECOND,
        gone: format!("{}:{:02}", gone / 60, gone % 60),
        due: format!("of {} min; change by {}", around.settings.drop_minutes, zone.clock(at.plus(due))),
        over: now.since(at) >= due,
        lines: [
            ("Class advised", advised.clone()),
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

fn totals(whole: &Whole) -> Vec<(String, String)> {
    let of = |(side, lash): (Side, Lash)| {
        let sort = if whole.lashes().len() > 1 { format!(", {}", lash.words()) } else { String::new() };
        let label = crate::base::text::capital(&format!("{}{sort}", side.words()));
        (label, whole.placed_of(side, lash).to_string())
    };
    counted(whole).into_iter().map(of).collect()
}

fn pad(around: &Around, whole: &Whole, typed: &Typed, notes: &[FieldNote]) -> Pad {
    let both = whole.lashes().len() > 1;
    let row = |(side, lash): (Side, Lash)| {
        let name = field(side, lash);
        let sort = if both { format!(", {}", lash.words()) } else { String::new() };
        PadRow {
            name,
            label: crate::base::text::capital(&format!("{}{sort}", side.words())),
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
fn zone_field(whole: &Whole, typed: &Typed, notes: &[FieldNote]) -> Option<FieldView> {
    let most = whole.zones.iter().map(|zone| zone.zone).max()?;
    let lid = std::iter::once((String::new(), "the whole lid".to_owned()));
    let zones = (1..=most).map(|zone| (zone.to_string(), format!("zone {zone}, from the inner corner")));
    let mut field = choice_field("select", "zone", "The number is of", typed.get("zone"), lid.chain(zones)).or_empty();
    field.error = notes.iter().find(|note| note.field == "zone").map(|note| note.sentence.clone());
    Some(field)
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

fn steps(around: &Around, whole: &Whole, now: Instant) -> Vec<StepView> {
    let zone = &around.studio.zone;
    let view = |step: &super::card::Step| {
        let waits = i64::from(step.minutes) * MINUTE;
        let (stands, word) = match (step.begun, step.done) {
            (_, Some(at)) => (format!("done {}", zone.clock(at)), None),
            (Some(at), None) if at.plus(waits) > now => {
                (format!("wait until {}", zone.clock(at.plus(waits))), Some("Done"))
            }
            (Some(_), None) => ("the time is over".to_owned(), Some("Done")),
            (None, None) if step.minutes > 0 => (format!("{} min", step.minutes), Some("Begin")),
            (None, None) => ("not done".to_owned(), Some("Done")),
        };
        let act = word.map(|word| (step.place, format!("{word}: {}", step.words)));
        StepView { key: new_form_key(), words: step.words.clone(), stands, act }
    };
    whole.steps.iter().map(view).collect()
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
    let key = form.key.form.clone().unwrap_or_default();
    if !form.typed.get("key").is_empty() {
        return page(&view(&house, &staff, &opened, &form.typed, &[], key).await?);
    }
    let at = done_at(form.typed.get("done"), staff.visitor.now.0).max(opened.0.card.begun);
    let counts = match check_placed(&opened.0, &form.typed, at) {
        Ok(counts) => counts,
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &opened, &form.typed, &notes, key).await?;
            return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
        }
    };
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let counts = counts.clone();
            Box::pin(async move {
                still_open_in(tx.db(), id).await?;
                for count in &counts {
                    store::add_count(tx, id, count).await?;
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
        let name = field(*side, *lash);
        if typed.get(name).trim().is_empty() {
            continue;
        }
        if let Some(placed) = notes.whole(name, typed.get(name), (0, 999), "") {
            counts.push(Count { id: CardPartId::new(), side: *side, lash: *lash, placed, zone, strips: None, at });
        }
    }
    if counts.is_empty() && notes.all().is_empty() {
        notes.add(all.first().map_or("left_single", |(side, lash)| field(*side, *lash)), "Type how many were placed.");
    }
    notes.settle(Some(counts))
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
                let refused = open_store::bottle_for_her(tx.db(), house.store.keys(), &who, card.client, bottle, now);
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
                store::add_drop(tx, id, &drop).await?;
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
                store::take_back(tx, id, part).await?;
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn go_on_with_step(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open_for(&mut db, house.store.keys(), id, &staff.who).await?
    };
    let place = form.typed.get("place");
    let step = opened.0.steps.iter().find(|step| step.place.to_string() == place).cloned();
    let step = step.ok_or(Problem::NotHere("step"))?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let step = step.clone();
            Box::pin(async move {
                still_open_in(tx.db(), id).await?;
                store::go_on_with_step(tx, id, &step).await?;
                Ok(Kept::see(format!("/cards/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
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
    let bottles = shelf.iter().map(|own| {
        let why = own.out.map(adhesives::Out::words);
        let why = why.or(refused.iter().find(|(id, _)| *id == own.bottle).map(|(_, why)| why.words()));
        let words = why.map_or_else(|| own.name.clone(), |why| format!("{} – not for today: {why}", own.name));
        (own.bottle.to_string(), words)
    });
    let styles = around.artist(whole.card.artist).map(|artist| artist.styles.clone()).unwrap_or_default();
    let none = std::iter::once((String::new(), "none of these".to_owned()));
    let styles = none.chain(styles.into_iter().map(|style| (style.key(), style.words())));
    let get = |name| typed.get(name);
    let advised = if whole.card.advised_class.is_empty() {
        Vec::new()
    } else {
        vec![format!("Class advised: {}.", whole.card.advised_class)]
    };
    Ok(FormPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Bottle for {}", client.short)),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/bottle", whole.card.id)),
        word: "Bottle",
        small: "from now on",
        lead: advised,
        caution: None,
        fields: vec![
            choice_field("select", "bottle", "Bottle", get("bottle"), bottles),
            choice_field(
                "radio",
                "bead",
                "Bead",
                get("bead"),
                Bead::ALL.map(|bead| (bead.word().to_owned(), bead.word().to_owned())),
            ),
            checks_field(
                "liquids",
                "Liquids",
                &typed.all("liquids"),
                Liquid::ALL.map(|own| (own.key().to_owned(), own.words().to_owned())),
            )
            .or_empty(),
            choice_field("select", "technique", "Technique", get("technique"), styles),
            seen_field(get(SEEN)),
        ],
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
    let known = |key: &&str| Liquid::ALL.into_iter().find(|own| own.key() == *key);
    let liquids: Liquids = typed.all("liquids").iter().filter_map(known).collect();
    let kept = match notes.settle(bottle.zip(bead)) {
        Ok((bottle, bead)) if has_adhesive(opened.0.card.kind) => {
            let (inner, who, words) = (house.clone(), staff.who.clone(), opened.0.words.clone());
            let seen = typed.get(SEEN).to_owned();
            house
                .store
                .write(&form.key, move |tx| {
                    let (house, who, words) = (inner.clone(), who.clone(), words.clone());
                    let seen = seen.clone();
                    Box::pin(async move {
                        let (keys, now) = (house.store.keys(), tx.now.0);
                        let mut card = still_open_in(tx.db(), id).await?;
                        let before = standing(&card);
                        open_store::bottle_for_her(tx.db(), keys, &who, card.client, bottle, now).await?;
                        let found = adhesives::bottle_and_product(tx.db(), bottle).await?;
                        card.lot = found.map(|(bottle, _)| bottle.lot).unwrap_or_default();
                        (card.bottle, card.bead, card.liquids, card.style) = (Some(bottle), bead, liquids, style);
                        if !is_still(&seen, &before, &standing(&card)) {
                            return Err(moved());
                        }
                        store::keep(tx, keys, &card, &words).await?;
                        let drop = Drop {
                            id: CardPartId::new(),
                            at: now,
                            bottle,
                            lot: card.lot.clone(),
                            bead,
                            seen: Vec::new(),
                            tablet: None,
                        };
                        store::add_drop(tx, id, &drop).await?;
                        open_store::met(tx, keys, &card, bottle, now).await?;
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
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

/// A number counted by what is gone from the strips, from three fields; none where all are empty.
pub(super) fn by_strips(
    notes: &mut Notes,
    names: [&'static str; 2],
    typed: &Typed,
    per_strip: u32,
) -> Option<Option<(u32, Strips)>> {
    let [strips, left_over] = names;
    if typed.get(strips).trim().is_empty() && typed.get(left_over).trim().is_empty() {
        return Some(None);
    }
    let begun = notes.whole(strips, typed.get(strips), (1, 50), "");
    let left = notes.whole(left_over, typed.get(left_over), (0, 9999), "");
    let of = Strips { strips: begun?, per_strip, left_over: left? };
    match of.placed() {
        Some(placed) => Some(Some((placed.min(999), of))),
        None => {
            let there = of.strips * of.per_strip;
            notes.add(left_over, format!("Only {there} were on these strips."));
            None
        }
    }
}
