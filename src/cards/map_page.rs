//! The lash map at the bed: a picture of each lid, a large button for each of its zones, and the values of the chosen one set by taps.
//! Without scripts each zone is a button that brings the page back with that zone chosen; `static/js/map.js` spares the way.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Side, Whole, Zone};
use super::map_picture::{Drawn, LONGEST_MM, PX_A_MM, comb, ends, in_order, key};
use super::map_values::{Values, panel_fields};
use super::seen::{Around, moved, moved_lines, open_for, still_open_in};
use super::typed_zone::{TypedZone, ZONES};
use super::{parts_store, store};
use crate::base::ids::CardId;
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::clearance::typed::{DONE, SEEN, Typed};
use crate::clients::Client;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{is_still, mark_of};
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/map", show).post("/cards/{card}/map", keep)
}

/// A zone by its lid and its number from the inner corner.
type Where = (Side, u32);

/// The map as it is being drawn.
#[derive(Debug, Clone)]
struct Drawing {
    zones: BTreeMap<Where, TypedZone>,
    /// The zone whose values the fields hold.
    at: Where,
}

impl Drawing {
    /// A kept map; zones it does not name are left out.
    fn of(around: &Around, whole: &Whole, kept: &[Zone]) -> Self {
        let most = kept.iter().map(|zone| zone.zone).max().unwrap_or(0).max(around.settings.zones);
        let mut drawing = Self::blank(whole, most);
        for zone in kept {
            // A map she had before may have lids that this card does not.
            if let Some(own) = drawing.zones.get_mut(&(zone.side, zone.zone)) {
                *own = TypedZone::of(zone, &around.studio);
            }
        }
        drawing
    }

    fn blank(whole: &Whole, most: u32) -> Self {
        let sides = whole.card.lids.sides();
        let zones = sides.iter().flat_map(|side| (1..=most).map(|zone| ((*side, zone), TypedZone::default())));
        Self { zones: zones.collect(), at: (sides[0], 1) }
    }

    /// What was sent: every zone from its own field, the chosen one from the fields that stand open.
    fn sent(around: &Around, whole: &Whole, typed: &Typed) -> Self {
        let of = |side: Side, zone: u32| TypedZone::read(typed.get(&key(side, zone)));
        let is_there = |zone: &u32| Side::ALL.iter().any(|side| !of(*side, *zone).is_blank());
        let most = (1..=ZONES.1).rev().find(is_there).unwrap_or(0).max(around.settings.zones);
        let mut drawing = Self::blank(whole, most);
        for ((side, zone), own) in &mut drawing.zones {
            *own = of(*side, *zone);
        }
        if let Some(at) = drawing.named(typed.get("at")) {
            drawing.at = at;
            drawing.zones.insert(at, Values::sent(typed).zone());
        }
        drawing
    }

    /// The zone of this name, where there is one.
    fn named(&self, name: &str) -> Option<Where> {
        self.zones.keys().copied().find(|(side, zone)| key(*side, *zone) == name)
    }

    /// Goes to another zone. One of which nothing was said begins like the one before it, its length apart: along a lid curl, diameter
    /// and fan seldom change.
    fn go_to(&mut self, to: Where) {
        let before = self.zones.get(&self.at).cloned().unwrap_or_default();
        self.at = to;
        if let Some(own) = self.zones.get_mut(&to).filter(|own| own.is_blank()) {
            *own = TypedZone { length: String::new(), ..before };
        }
    }

    /// Puts the lids of the chosen eye on the other eye: zones count from the inner corner, so that it is mirrored.
    fn the_same(&mut self) {
        let chosen = self.at.0.is_left();
        let hers: Vec<_> = self.zones.iter().filter(|((side, _), _)| side.is_left() == chosen).collect();
        let other: Vec<_> =
            hers.into_iter().map(|((side, zone), own)| ((side.other_eye(), *zone), own.clone())).collect();
        self.zones.extend(other);
    }

    /// The map, or what is wrong of each zone.
    fn check(&self, curls: &[String], mark: DecimalMark) -> Result<Vec<Zone>, Vec<(Where, &'static str, String)>> {
        let (mut all, mut wrong) = (Vec::new(), Vec::new());
        for ((side, zone), own) in &self.zones {
            match own.check(*side, *zone, curls, mark) {
                Ok(own) => all.extend(own),
                Err(notes) => wrong.extend(notes.into_iter().map(|(field, told)| ((*side, *zone), field, told))),
            }
        }
        if wrong.is_empty() { Ok(all) } else { Err(wrong) }
    }
}

/// The map as one text, to tell whether it is still the same.
fn standing(around: &Around, zones: &[Zone]) -> String {
    let zone = |own: &Zone| format!("zone {} {}", own.zone, TypedZone::of(own, &around.studio).text());
    let lid = |side: &Side| {
        let own: Vec<_> = zones.iter().filter(|own| own.side == *side).map(zone).collect();
        (!own.is_empty()).then(|| format!("{}: {}", side.words(), own.join(", ")))
    };
    Side::ALL.iter().filter_map(lid).collect::<Vec<_>>().join("; ")
}

struct ZoneView {
    key: String,
    /// As it is sent back, and as it is saved.
    text: String,
    saved: String,
    number: u32,
    said: String,
    more: String,
    chosen: bool,
    wrong: bool,
}

struct LidView {
    name: String,
    picture: String,
    ends: [&'static str; 2],
    zones: Vec<ZoneView>,
}

#[derive(Template)]
#[template(path = "cards/map.html")]
struct MapPage {
    frame: Frame,
    key: String,
    action: String,
    lead: Vec<String>,
    seen: String,
    done: &'static str,
    at: String,
    lids: Vec<LidView>,
    /// "Left eye, zone 3".
    chosen: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// "The right eye the same".
    same: String,
    /// Pixels a millimetre in the pictures, and the longest that is drawn at its length.
    scale: (f64, f64),
    back: String,
}

fn zone_words((side, zone): Where) -> String {
    format!("{}, zone {zone}", capital(side.words()))
}

fn same_words(side: Side) -> String {
    format!("The {} eye the same", if side.is_left() { "right" } else { "left" })
}

struct Opened {
    whole: Whole,
    client: Client,
    around: Around,
}

async fn opened(house: &House, staff: &Staff, id: CardId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let (whole, client) = open_for(&mut db, house.store.keys(), id, &staff.who).await?;
    Ok(Opened { whole, client, around: Around::load(&mut db).await? })
}

impl Opened {
    fn view(&self, house: &House, staff: &Staff, drawing: &Drawing, values: &Values, seen: String) -> MapPage {
        let Self { whole, client, around } = self;
        let wrong = drawing.check(&around.settings.curls, around.studio.decimal).err().unwrap_or_default();
        let path = house.url(&format!("/cards/{}", whole.card.id));
        let saved = |at: &Where| {
            let own = whole.zones.iter().find(|zone| (zone.side, zone.zone) == *at);
            own.map(|zone| TypedZone::of(zone, &around.studio).text()).unwrap_or_default()
        };
        let lid = |side: &Side| {
            let own = drawing.zones.iter().filter(|((own, _), _)| own == side);
            let own = in_order(*side, own.collect::<Vec<_>>());
            let drawn = |(at, typed): &(&Where, &TypedZone)| Drawn {
                key: key(at.0, at.1),
                typed: (*typed).clone(),
                counted: false,
                draft: typed.text() != saved(at),
            };
            let zone = |(at, typed): &(&Where, &TypedZone)| ZoneView {
                key: key(at.0, at.1),
                text: typed.text(),
                saved: saved(at),
                number: at.1,
                said: typed.said(),
                more: typed.more(),
                chosen: **at == drawing.at,
                wrong: wrong.iter().any(|(own, ..)| own == *at),
            };
            LidView {
                name: capital(side.words()),
                picture: comb(*side, &own.iter().map(drawn).collect::<Vec<_>>()),
                ends: ends(*side),
                zones: own.iter().map(zone).collect(),
            }
        };
        MapPage {
            frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Lash map of {}", client.short)),
            key: new_form_key(),
            action: format!("{path}/map"),
            lead: Vec::new(),
            seen,
            done: DONE,
            at: key(drawing.at.0, drawing.at.1),
            lids: whole.card.lids.sides().iter().map(lid).collect(),
            chosen: zone_words(drawing.at),
            fields: panel_fields(values, &drawing.zones.values(), around),
            mistakes: Vec::new(),
            same: same_words(drawing.at.0),
            scale: (PX_A_MM, LONGEST_MM),
            back: path,
        }
    }
}

impl MapPage {
    /// The same under the key it came with.
    fn keyed(mut self, key: Option<String>) -> Self {
        self.key = key.unwrap_or_else(new_form_key);
        self
    }

    /// With the mistakes of the chosen zone beside its fields, and those of others in the list on top.
    fn noted(mut self, wrong: &[(Where, &'static str, String)], at: Where) -> Self {
        let own = wrong.iter().filter(|(zone, ..)| *zone == at);
        let own: Vec<_> = own.map(|(_, field, told)| FieldNote::new(field, told.clone())).collect();
        note_fields(&mut self.fields, &own);
        self.mistakes = mistakes(&self.fields);
        let others = wrong.iter().filter(|(zone, ..)| *zone != at).map(|(zone, _, told)| Mistake {
            anchor: format!("zone-{}", key(zone.0, zone.1)),
            label: zone_words(*zone),
            sentence: told.clone(),
        });
        self.mistakes.extend(others);
        self
    }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    let (whole, around) = (&opened.whole, &opened.around);
    // An empty card begins with the map she had before.
    let drawing = if whole.zones.is_empty() {
        let mut db = house.store.read().await?;
        Drawing::of(around, whole, &before(&mut db, &house, whole).await?)
    } else {
        Drawing::of(around, whole, &whole.zones)
    };
    let values = values_at(&opened, &drawing);
    let seen = mark_of(&standing(around, &whole.zones));
    page(&opened.view(&house, &staff, &drawing, &values, seen))
}

/// The fields of the chosen zone; where nothing was said yet a fan begins as the technique has it.
fn values_at(opened: &Opened, drawing: &Drawing) -> Values {
    let own = drawing.zones.get(&drawing.at).cloned().unwrap_or_default();
    let fan = opened.whole.card.style.and_then(|style| style.fan).filter(|_| own.is_blank());
    Values::of(TypedZone { fan: fan.map_or(own.fan, |fan| fan.to_string()), ..own })
}

/// The newest map among her last cards, of the lids that this card has.
async fn before(db: &mut Db, house: &House, whole: &Whole) -> Result<Vec<Zone>, Problem> {
    for card in store::of_client(db, whole.card.client).await?.into_iter().take(6) {
        if card.id != whole.card.id
            && let Some(earlier) = store::whole(db, house.store.keys(), card.id).await?
            && !earlier.zones.is_empty()
        {
            return Ok(earlier.zones);
        }
    }
    Ok(Vec::new())
}

async fn keep(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    let typed = &form.typed;
    let mut drawing = Drawing::sent(&opened.around, &opened.whole, typed);
    let (key, seen) = (form.key.form.clone(), typed.get(SEEN).to_owned());
    let turned = match (drawing.named(typed.get("zone")), typed.get("do")) {
        (Some(to), _) => {
            drawing.go_to(to);
            true
        }
        (None, "same") => {
            drawing.the_same();
            true
        }
        _ => false,
    };
    if turned {
        let values = values_at(&opened, &drawing);
        return page(&opened.view(&house, &staff, &drawing, &values, seen).keyed(key));
    }
    let all = match drawing.check(&opened.around.settings.curls, opened.around.studio.decimal) {
        Ok(all) => all,
        Err(wrong) => {
            // What was typed last stands as it was typed; else the first zone that is wrong is opened.
            let here = wrong.iter().any(|(zone, ..)| *zone == drawing.at);
            let values = if here {
                Values::sent(typed)
            } else {
                drawing.at = wrong.first().map_or(drawing.at, |(zone, ..)| *zone);
                values_at(&opened, &drawing)
            };
            let view = opened.view(&house, &staff, &drawing, &values, seen).keyed(key).noted(&wrong, drawing.at);
            return page_again(&view);
        }
    };
    let inner = house.clone();
    let kept = house.store.write(&form.key, move |tx| {
        let (house, all, seen) = (inner.clone(), all.clone(), seen.clone());
        Box::pin(async move {
            still_open_in(tx.db(), id).await?;
            let around = Around::load(tx.db()).await?;
            let whole = store::whole(tx.db(), house.store.keys(), id).await?.ok_or(Problem::NotHere("card"))?;
            if !is_still(&seen, &standing(&around, &whole.zones), &standing(&around, &all)) {
                return Err(moved());
            }
            parts_store::set_zones(tx, id, &all).await?;
            Ok(Kept::see(format!("/cards/{id}")))
        })
    });
    match kept.await {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let opened = self::opened(&house, &staff, id).await?;
            let now = standing(&opened.around, &opened.whole.zones);
            let values = values_at(&opened, &drawing);
            let view = opened.view(&house, &staff, &drawing, &values, mark_of(&now)).keyed(key);
            page_with(StatusCode::CONFLICT, &MapPage { lead: moved_lines(vec![now]), ..view })
        }
        Err(problem) => Err(problem),
    }
}
