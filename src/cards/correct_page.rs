//! Correcting a closed card: a new version with a reason; the one before stays readable.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Arrival, Comfort, Count, Lash, Side, Whole, Words, Zone, has_adhesive, is_removal};
use super::card_lines::lines;
use super::close_counts::count_field;
use super::correct_arrival::{arrival_fields, check_arrival, typed_arrival};
use super::correct_visit::{
    STAYS, Visit, aftercare_field, check_counted, check_visit, counted_fields, sides, typed_visit, visit_fields,
};
use super::map_lines::{check_map, map_fields, map_name, map_text};
use super::seen::{Around, moved_lines, work_for};
use super::work_fields::{check_colour, colour_field, typed_liquids, work_fields};
use super::{open_store, parts_store, store, version_store};
use crate::adhesives::{self, Bead, Bottle, Liquids, Product};
use crate::artists::Style;
use crate::base::ids::{BottleId, CardId, CardPartId, PersonId};
use crate::base::problem::Problem;
use crate::base::text::lot;
use crate::clearance;
use crate::clearance::typed::{FormPage, MoreNotes as _, SEEN, Typed, checks_field, notes_of, seen_field, words_field};
use crate::clients::Client;
use crate::store::{Kept, Tx};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field, text_field};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/correct", show).post("/cards/{card}/correct", correct)
}

struct Opened {
    whole: Whole,
    client: Client,
    around: Around,
    /// How many were on each lid that was counted when she came, by what the card before says now.
    had: Vec<u32>,
    /// Whose set was counted then.
    placed_by: Option<PersonId>,
    /// Bottles to choose from: the shelf, and the one that stands on the card.
    bottles: Vec<(BottleId, String)>,
}

async fn opened(house: &House, staff: &Staff, id: CardId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let (whole, client) = work_for(&mut db, house.store.keys(), id, &staff.who).await?;
    if whole.card.closed.is_none() {
        return Err(Problem::Clash(
            "This card is still open.".to_owned(),
            "What is wrong on it can be taken back or changed there.".to_owned(),
        ));
    }
    let shelf = adhesives::shelf(&mut db, None, staff.visitor.now.0).await?;
    let mut bottles: Vec<_> = shelf.into_iter().map(|own| (own.bottle, own.name)).collect();
    if let Some(bottle) = whole.card.bottle
        && !bottles.iter().any(|(id, _)| *id == bottle)
    {
        let words = super::seen::bottle_words(&mut db, Some(bottle), &whole.card.lot).await?;
        bottles.push((bottle, words));
    }
    let mut had = Vec::new();
    for own in &whole.arrival {
        had.push(parts_store::on_lid(&mut db, own.of_card, own.side).await?);
    }
    let around = Around::load(&mut db).await?;
    let counted_of = match whole.arrival.first() {
        Some(own) => store::one(&mut db, own.of_card).await?,
        None => None,
    };
    let placed_by = counted_of.and_then(|card| around.artist(card.artist)).map(|artist| artist.person);
    Ok(Opened { whole, client, around, had, placed_by, bottles })
}

/// What is counted on these lids: by its technique, and whatever was counted before.
fn counted(whole: &Whole, sides: &[Side]) -> Vec<(Side, Lash)> {
    let was = |side: Side, lash: Lash| whole.counts.iter().any(|count| count.side == side && count.lash == lash);
    let all = sides.iter().flat_map(|side| Lash::ALL.iter().map(|lash| (*side, *lash)));
    all.filter(|(side, lash)| whole.lashes().contains(lash) || was(*side, *lash)).collect()
}

fn as_it_is(Opened { whole, around, .. }: &Opened) -> Typed {
    let card = &whole.card;
    let mut pairs = vec![
        (SEEN, card.version.to_string()),
        ("bottle", card.bottle.map(|id| id.to_string()).unwrap_or_default()),
        ("bead", card.bead.word().to_owned()),
        ("technique", card.style.map(|style| style.key()).unwrap_or_default()),
        ("remover", card.remover.product.clone()),
        ("remover_lot", card.remover.lot.clone()),
        ("comfort", whole.words.comfort.clone()),
        ("condition", whole.words.condition.clone()),
        ("colour", whole.words.colour.clone()),
        ("note", whole.words.note.clone()),
        ("next_visit", card.next_visit.clone()),
    ];
    pairs.extend(card.liquids.iter().map(|liquid| ("liquids", liquid.key().to_owned())));
    pairs.extend(card.hygiene.iter().map(|line| ("hygiene", line.clone())));
    for (side, lash) in counted(whole, card.lids.sides()) {
        pairs.push((count_field(side, lash), whole.placed_of(side, lash).to_string()));
    }
    pairs.extend(typed_visit(whole));
    pairs.extend(typed_arrival(whole));
    for side in card.lids.sides() {
        pairs.push((map_name(*side), map_text(&whole.zones, *side, &around.studio)));
    }
    Typed::of(pairs)
}

/// The studio's list, and what was ticked when it was another one.
fn hygiene_list(opened: &Opened) -> Vec<String> {
    let mut list = opened.around.settings.hygiene.clone();
    let before = opened.whole.card.hygiene.iter().filter(|line| !opened.around.settings.hygiene.contains(line));
    list.extend(before.cloned());
    list
}

/// The studio's curls, and what was drawn when they were others.
fn curls(opened: &Opened) -> Vec<String> {
    let mut curls = opened.around.settings.curls.clone();
    for zone in &opened.whole.zones {
        if !curls.contains(&zone.curl) {
            curls.push(zone.curl.clone());
        }
    }
    curls
}

fn view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let (whole, around) = (&opened.whole, &opened.around);
    let get = |name| typed.get(name);
    let mut fields = vec![words_field("reason", "Why it is corrected", get("reason"))];
    fields.extend(visit_fields(whole, around, typed));
    fields.extend(arrival_fields(whole, &opened.had, typed));
    fields.extend(counted_fields(whole, around, opened.placed_by, typed));
    let sides = sides(whole, typed);
    if has_adhesive(whole.card.kind) {
        let bottles = opened.bottles.iter().map(|(id, name)| (id.to_string(), name.clone()));
        let styles = around.artist(whole.card.artist).map(|artist| artist.styles.clone()).unwrap_or_default();
        fields.push(choice_field("select", "bottle", "Bottle taken", get("bottle"), bottles));
        fields.extend(work_fields(typed, styles.into_iter().chain(whole.card.style)));
        for (side, lash) in counted(whole, sides) {
            let name = count_field(side, lash);
            let label = format!("Placed on the {}, {}", side.words(), lash.words());
            fields.push(number_field(name, &label, get(name)));
        }
        fields.extend(map_fields(typed, sides, around.studio.decimal));
        fields.push(colour_field(typed));
    }
    if is_removal(whole.card.kind) {
        fields.push(text_field("remover", "Remover", get("remover")));
        fields.push(text_field("remover_lot", "Its lot", get("remover_lot")).or_empty());
    }
    fields.extend([
        choice_field("radio", "comfort", "How it was for her", get("comfort"), Comfort::choices()).or_empty(),
        words_field("condition", "Condition of her own lashes", get("condition")).or_empty(),
        words_field("note", "Anything else", get("note")).or_empty(),
        aftercare_field(typed),
        text_field("next_visit", "Next visit", get("next_visit")).or_empty(),
    ]);
    let list = hygiene_list(opened);
    if !list.is_empty() {
        let lines = list.into_iter().map(|line| (line.clone(), line));
        fields.push(checks_field("hygiene", "Afterwards", &typed.all("hygiene"), lines).or_empty());
    }
    fields.extend([seen_field(get(SEEN))]);
    FormPage {
        frame: house.frame(
            &around.studio,
            &staff.visitor,
            Place::Book,
            format!("Correct the card of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/correct", whole.card.id)),
        word: "Correct",
        small: "a new version",
        lead: vec![
            "What stands there now stays readable as an earlier version, with your name and the reason.".to_owned(),
            STAYS.to_owned(),
        ],
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Keep the correction",
        back: (house.url(&format!("/cards/{}/record", whole.card.id)), "Back to the card"),
    }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    page(&view(&house, &staff, &opened, &as_it_is(&opened)))
}

/// What a correction puts in the place of what stood there.
#[derive(Clone)]
struct Corrected {
    seen: i64,
    reason: String,
    visit: Visit,
    bottle: Option<BottleId>,
    bead: Bead,
    liquids: Liquids,
    style: Option<Style>,
    remover: (String, String),
    arrival: Vec<Arrival>,
    counts: Vec<(Side, Lash, u32)>,
    zones: Vec<Zone>,
    words: Words,
    hygiene: Vec<String>,
    next_visit: String,
}

fn check(opened: &Opened, typed: &Typed) -> Result<Corrected, Problem> {
    let (whole, mut notes) = (&opened.whole, Notes::said_with(opened.around.studio.decimal));
    let adhesive = has_adhesive(whole.card.kind);
    let reason = notes.words("reason", typed.get("reason"), 500);
    let visit = check_visit(&mut notes, whole, &opened.around, typed);
    let sides = sides(whole, typed);
    let bottle = opened.bottles.iter().map(|(id, _)| *id).find(|id| id.to_string() == typed.get("bottle"));
    let bottle = if adhesive { notes.choice("bottle", bottle).map(Some) } else { Some(None) };
    let bead = if adhesive { notes.choice("bead", Bead::from_word(typed.get("bead"))) } else { Some(whole.card.bead) };
    let liquids = if adhesive { typed_liquids(typed) } else { whole.card.liquids };
    let style = if adhesive { Style::parse(typed.get("technique")) } else { whole.card.style };
    let mut arrival = check_arrival(&mut notes, whole, &opened.had, typed);
    check_counted(&mut notes, (whole, &opened.around), opened.placed_by, typed, &mut arrival);
    let mut counts = Vec::new();
    if adhesive {
        for (side, lash) in counted(whole, sides) {
            let name = count_field(side, lash);
            counts.extend(notes.whole(name, typed.get(name), (0, 999), "").map(|placed| (side, lash, placed)));
        }
    }
    let zones = if adhesive {
        let curls = curls(opened);
        let zones = check_map(&mut notes, typed, (sides, &curls), &whole.zones);
        zones.map(|all| all.into_iter().filter(|zone| sides.contains(&zone.side)).collect())
    } else {
        Some(whole.zones.clone())
    };
    let remover = if is_removal(whole.card.kind) {
        let product = notes.line("remover", typed.get("remover"), 80);
        product.map(|product| (product, lot(typed.get("remover_lot")).chars().take(60).collect()))
    } else {
        Some((String::new(), String::new()))
    };
    let comfort = typed.get("comfort");
    if !comfort.is_empty() && Comfort::from_word(comfort).is_none() {
        notes.add("comfort", "Choose one of these.");
    }
    let words = Words {
        comfort: comfort.to_owned(),
        condition: notes.may_be_words("condition", typed.get("condition"), 1000).unwrap_or_default(),
        colour: if adhesive { check_colour(&mut notes, typed) } else { whole.words.colour.clone() },
        reason: whole.words.reason.clone(),
        note: notes.may_be_words("note", typed.get("note"), 2000).unwrap_or_default(),
    };
    let next_visit = match typed.get("next_visit").trim() {
        "" => Some(String::new()),
        line => notes.line("next_visit", line, 120),
    };
    let (list, ticked) = (hygiene_list(opened), typed.all("hygiene"));
    if ticked.iter().any(|line| !list.iter().any(|own| own == line)) {
        notes.add("hygiene", "The list was changed since this was opened: look at it once more.");
    }
    let hygiene = list.into_iter().filter(|line| ticked.contains(&line.as_str())).collect();
    let seen = typed.get(SEEN).parse().unwrap_or(0);
    let corrected = (|| {
        Some(Corrected {
            seen,
            reason: reason?,
            visit: visit?,
            bottle: bottle?,
            bead: bead?,
            liquids,
            style,
            remover: remover?,
            arrival,
            counts,
            zones: zones?,
            words,
            hygiene,
            next_visit: next_visit?,
        })
    })();
    notes.settle(corrected)
}

async fn correct(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    match check(&opened, &form.typed) {
        Ok(corrected) => {
            let inner = house.clone();
            let kept = house.store.write(&form.key, move |tx| {
                let (house, corrected) = (inner.clone(), corrected.clone());
                Box::pin(async move {
                    put_right(tx, &house, id, &corrected).await?;
                    Ok(Kept::see(format!("/cards/{id}/record?told=corrected")))
                })
            });
            match kept.await {
                Ok(kept) => Ok(answer(&house, &kept)),
                Err(Problem::Clash(..)) => {
                    let opened = self::opened(&house, &staff, id).await?;
                    let now = {
                        let mut db = house.store.read().await?;
                        lines(&mut db, &opened.around, &opened.whole, staff.visitor.now.0).await?
                    };
                    let now = now.into_iter().map(|(word, value)| format!("{word} {value}")).collect();
                    let typed = form.typed.with(SEEN, opened.whole.card.version.to_string());
                    let view = view(&house, &staff, &opened, &typed).moved(moved_lines(now), form.key.form);
                    page_with(StatusCode::CONFLICT, &view)
                }
                Err(problem) => Err(problem),
            }
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}

async fn put_right(tx: &mut Tx, house: &House, id: CardId, new: &Corrected) -> Result<(), Problem> {
    let (keys, now) = (house.store.keys(), tx.now.0);
    let whole = store::whole(tx.db(), keys, id).await?.ok_or(Problem::NotHere("card"))?;
    if whole.card.version != new.seen {
        return Err(Problem::Clash(
            "The card was corrected by somebody else since you opened it.".to_owned(),
            "Open it again, look at what changed, and correct it anew.".to_owned(),
        ));
    }
    let around = Around::load(tx.db()).await?;
    let was = lines(tx.db(), &around, &whole, now).await?;
    version_store::keep_version(tx, keys, &whole.card, &new.reason, &was).await?;
    let mut card = whole.card.clone();
    card.version += 1;
    (card.bead, card.liquids, card.style) = (new.bead, new.liquids, new.style);
    let visit = &new.visit;
    (card.kind, card.lids, card.supervisor, card.aftercare) =
        (visit.kind, visit.lids, visit.supervisor, visit.aftercare);
    if visit.room != card.room {
        card.room = visit.room;
        card.air = open_store::air_at_start(tx.db(), &card).await?;
    }
    (card.remover.product, card.remover.lot) = new.remover.clone();
    card.next_visit.clone_from(&new.next_visit);
    card.hygiene.clone_from(&new.hygiene);
    if new.bottle != card.bottle
        && let Some(bottle) = new.bottle
    {
        let found: Option<(Bottle, Product)> = adhesives::bottle_and_product(tx.db(), bottle).await?;
        card.lot = found.map(|(bottle, _)| bottle.lot).unwrap_or_default();
        if let Some(before) = card.bottle {
            parts_store::change_drops(tx, id, before, bottle, &card.lot).await?;
        }
        card.bottle = Some(bottle);
        // She met another lot than the card said.
        clearance::forget_exposures(tx, &id.to_string()).await?;
        let drops = store::whole(tx.db(), keys, id).await?.map(|whole| whole.drops).unwrap_or_default();
        for drop in drops {
            open_store::met(tx, keys, &card, drop.bottle, drop.at).await?;
        }
        open_store::met(tx, keys, &card, bottle, card.begun).await?;
    }
    // A lid that was not worked on has nothing on it.
    for side in whole.card.lids.sides().iter().filter(|side| !card.lids.sides().contains(side)) {
        for lash in Lash::ALL {
            parts_store::strike_counts(tx, id, *side, *lash).await?;
        }
    }
    for (side, lash, placed) in &new.counts {
        if whole.placed_of(*side, *lash) == *placed {
            continue;
        }
        parts_store::strike_counts(tx, id, *side, *lash).await?;
        let count = Count {
            id: CardPartId::new(),
            side: *side,
            lash: *lash,
            placed: *placed,
            zone: None,
            strips: None,
            at: now,
        };
        parts_store::add_count(tx, id, &count).await?;
    }
    if new.arrival != whole.arrival {
        parts_store::set_arrival(tx, id, &new.arrival).await?;
    }
    if new.zones != whole.zones {
        parts_store::set_zones(tx, id, &new.zones).await?;
    }
    store::keep(tx, keys, &card, &new.words).await?;
    if card.kind != whole.card.kind {
        open_store::mark_anew(tx, card.client).await?;
    }
    Ok(())
}
