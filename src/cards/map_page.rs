//! The lash map: zones of each lid from the inner corner, one a line, as short as one says them: "9 C 0.05 4D".

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Side, Whole, Zone};
use super::seen::{Around, is_still, mark_of, moved, moved_lines, open_for, still_open_in};
use super::store;
use crate::base::ids::CardId;
use crate::base::number::typed_decimal;
use crate::base::problem::Problem;
use crate::clearance::typed::{FormPage, SEEN, Typed, notes_of, seen_field, tick_field, words_field};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::Notes;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/map", show).post("/cards/{card}/map", keep)
}

/// The most zones of a lid.
const MOST: usize = 7;

const fn field(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
        Side::LeftLower => "left_lower",
        Side::RightLower => "right_lower",
    }
}

/// A lid's zones from what was typed.
///
/// # Errors
/// A sentence about the first line that cannot be read.
fn zones(side: Side, typed: &str, curls: &[String]) -> Result<Vec<Zone>, String> {
    let lines = super::settings::lines(typed);
    if lines.len() > MOST {
        return Err(format!("A lid has at most {MOST} zones, one a line."));
    }
    (1..).zip(&lines).map(|(zone, line)| one(side, zone, line, curls)).collect()
}

fn one(side: Side, zone: u32, line: &str, curls: &[String]) -> Result<Zone, String> {
    let wrong = |what: &str| format!("“{line}”: {what}");
    let parts: Vec<&str> = line.split_whitespace().collect();
    let (length, curl, wide, fan) = match parts.as_slice() {
        [length, curl, wide] => (*length, *curl, *wide, None),
        [length, curl, wide, fan] => (*length, *curl, *wide, Some(*fan)),
        _ => return Err(wrong("type length, curl, diameter, and for fans how many, as in 9 C 0.05 4D.")),
    };
    let length_mm = typed_decimal(length).filter(|mm| (4.0..=25.0).contains(mm));
    let length_mm = length_mm.ok_or_else(|| wrong("the length is from 4 to 25 mm."))?;
    let known = curls.iter().find(|own| own.eq_ignore_ascii_case(curl));
    let curl = known.ok_or_else(|| wrong(&format!("the studio’s curls are {}.", curls.join(", "))))?;
    let diameter_mm = typed_decimal(wide).filter(|mm| (0.02..=0.3).contains(mm));
    let diameter_mm = diameter_mm.ok_or_else(|| wrong("the diameter is from 0.02 to 0.3 mm."))?;
    let fan = match fan {
        None => Some(1),
        Some(fan) => fan.trim_end_matches(['d', 'D']).parse::<u32>().ok().filter(|n| (1..=20).contains(n)),
    };
    let fan = fan.ok_or_else(|| wrong("a fan has from 2 to 20 extensions, written as 4D."))?;
    Ok(Zone { side, zone, length_mm, curl: curl.clone(), diameter_mm, fan })
}

/// A lid's zones as they are typed.
fn text(around: &Around, zones: &[Zone], side: Side) -> String {
    let studio = &around.studio;
    let line = |zone: &Zone| {
        let fan = if zone.fan > 1 { format!(" {}D", zone.fan) } else { String::new() };
        format!("{} {} {}{fan}", studio.exact(zone.length_mm, 0), zone.curl, studio.exact(zone.diameter_mm, 2))
    };
    zones.iter().filter(|zone| zone.side == side).map(line).collect::<Vec<_>>().join("\n")
}

/// The whole map as one text, to tell whether it is still the same.
fn standing(around: &Around, zones: &[Zone]) -> String {
    let lids = Side::ALL.iter().map(|side| (side, text(around, zones, *side))).filter(|(_, text)| !text.is_empty());
    lids.map(|(side, text)| format!("{}: {}", side.words(), text.replace('\n', ", "))).collect::<Vec<_>>().join("; ")
}

fn view(house: &House, staff: &Staff, around: &Around, (whole, client): &(Whole, Client), typed: &Typed) -> FormPage {
    let mut fields = Vec::new();
    for side in whole.card.lids.sides() {
        let name = field(*side);
        let mut own = words_field(name, &crate::base::text::capital(side.words()), typed.get(name)).or_empty();
        if fields.is_empty() {
            own = own.hinted(format!(
                "One zone a line from the inner corner: length, curl, diameter, and for fans how many. 9 C 0.05 4D. Curls: {}.",
                around.settings.curls.join(", ")
            ));
        }
        fields.push(own);
    }
    fields.push(tick_field("alike", "The right eye is like the left one", typed.is_ticked("alike")));
    fields.push(seen_field(typed.get(SEEN)));
    FormPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Lash map of {}", client.short)),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/map", whole.card.id)),
        word: "Map",
        small: "zones of each lid",
        lead: Vec::new(),
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Keep the map",
        back: (house.url(&format!("/cards/{}", whole.card.id)), "Back to the card"),
    }
}

async fn opened(house: &House, staff: &Staff, id: CardId) -> Result<((Whole, Client), Around), Problem> {
    let mut db = house.store.read().await?;
    let opened = open_for(&mut db, house.store.keys(), id, &staff.who).await?;
    Ok((opened, Around::load(&mut db).await?))
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let (opened, around) = opened(&house, &staff, id).await?;
    // An empty card begins with the map she had before.
    let zones = if opened.0.zones.is_empty() {
        let mut db = house.store.read().await?;
        before(&mut db, &house, &opened.0).await?
    } else {
        opened.0.zones.clone()
    };
    let seen = (SEEN, mark_of(&standing(&around, &opened.0.zones)));
    let typed = Typed::of(Side::ALL.iter().map(|side| (field(*side), text(&around, &zones, *side))).chain([seen]));
    page(&view(&house, &staff, &around, &opened, &typed))
}

async fn before(db: &mut crate::store::Db, house: &House, whole: &Whole) -> Result<Vec<Zone>, Problem> {
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
    let (opened, around) = opened(&house, &staff, id).await?;
    let (mut notes, mut all) = (Notes::default(), Vec::new());
    for side in opened.0.card.lids.sides() {
        let alike = form.typed.is_ticked("alike");
        let from = match side {
            Side::Right if alike => Side::Left,
            Side::RightLower if alike => Side::LeftLower,
            own => *own,
        };
        match zones(*side, form.typed.get(field(from)), &around.settings.curls) {
            Ok(own) => all.extend(own),
            Err(_) if from != *side => {}
            Err(sentence) => notes.add(field(*side), sentence),
        }
    }
    match notes.settle(Some(all)) {
        Ok(all) => {
            let (inner, seen) = (house.clone(), form.typed.get(SEEN).to_owned());
            let kept = house.store.write(&form.key, move |tx| {
                let (house, all, seen) = (inner.clone(), all.clone(), seen.clone());
                Box::pin(async move {
                    still_open_in(tx.db(), id).await?;
                    let around = Around::load(tx.db()).await?;
                    let whole = store::whole(tx.db(), house.store.keys(), id).await?.ok_or(Problem::NotHere("card"))?;
                    if !is_still(&seen, &standing(&around, &whole.zones), &standing(&around, &all)) {
                        return Err(moved());
                    }
                    store::set_zones(tx, id, &all).await?;
                    Ok(Kept::see(format!("/cards/{id}")))
                })
            });
            match kept.await {
                Ok(kept) => Ok(answer(&house, &kept)),
                Err(Problem::Clash(..)) => {
                    let (opened, around) = self::opened(&house, &staff, id).await?;
                    let now = standing(&around, &opened.0.zones);
                    let typed = form.typed.with(SEEN, mark_of(&now));
                    let view = view(&house, &staff, &around, &opened, &typed);
                    page_with(StatusCode::CONFLICT, &view.moved(moved_lines(vec![now]), form.key.form))
                }
                Err(problem) => Err(problem),
            }
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &around, &opened, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zone_is_typed_as_it_is_said() {
        let curls = ["C".to_owned(), "CC".to_owned()];
        let read = zones(Side::Left, "8 c 0.05 4D\n\n 9,5 CC 0,15 ", &curls).unwrap();
        assert_eq!(read.len(), 2);
        assert_eq!((read[0].zone, read[0].fan, read[0].curl.as_str()), (1, 4, "C"));
        assert_eq!((read[1].zone, read[1].fan, read[1].length_mm, read[1].diameter_mm), (2, 1, 9.5, 0.15));
        for bad in ["8 C", "3 C 0.05", "8 Q 0.05", "8 C 5", "8 C 0.05 many", "8 C 0.05 4D 5"] {
            assert!(zones(Side::Left, bad, &curls).unwrap_err().contains(bad), "{bad}");
        }
        assert!(zones(Side::Left, &"8 C 0.05\n".repeat(8), &curls).is_err());
    }
}
