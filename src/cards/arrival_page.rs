//! Counting when she comes again, before cleansing: what is still attached, what has grown out, what is lost. Two numbers are typed an
//! eye, the third is worked out.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Arrival, CountedBy, Side, Whole, is_removal};
use super::counts::{found, found_fields};
use super::seen::{Around, moved, moved_lines, open_for, still_open_in};
use super::{parts_store, store};
use crate::base::ids::CardId;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::book::VisitKind;
use crate::clearance::typed::{DONE, FormPage, MoreNotes as _, SEEN, Typed, notes_of, seen_field};
use crate::clients::Client;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, number_field};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{is_still, mark_of};
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/arrival", show).post("/cards/{card}/arrival", keep)
}

/// The card whose set is on her lashes now, where it is ours and was counted: none after a removal, none where another studio's
/// extensions are among them.
pub(super) async fn to_count(db: &mut Db, house: &House, whole: &Whole) -> Result<Option<Whole>, Problem> {
    if whole.card.elsewhere {
        return Ok(None);
    }
    let cards = store::of_client(db, whole.card.client).await?;
    let lashes = |card: &&super::card::Card| card.begun < whole.card.begun && card.kind != VisitKind::Other;
    let Some(newest) = cards.iter().find(lashes) else { return Ok(None) };
    if newest.elsewhere || newest.closed.is_none() || is_removal(newest.kind) {
        return Ok(None);
    }
    let earlier = store::whole(db, house.store.keys(), newest.id).await?;
    Ok(earlier.filter(|own| own.card.lids.sides().iter().any(|side| own.on_lid(*side) > 0)))
}

struct Opened {
    whole: Whole,
    client: Client,
    earlier: Whole,
    around: Around,
}

impl Opened {
    /// Lids that had any when she left.
    fn sides(&self) -> impl Iterator<Item = Side> {
        self.earlier.card.lids.sides().iter().copied().filter(|side| self.earlier.on_lid(*side) > 0)
    }
}

async fn opened(house: &House, staff: &Staff, id: CardId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let (whole, client) = open_for(&mut db, house.store.keys(), id, &staff.who).await?;
    let earlier = to_count(&mut db, house, &whole).await?.ok_or_else(|| {
        Problem::Clash(
            "There is no set of ours before this visit to count, or another studio’s extensions are among it."
                .to_owned(),
            "Go on with the card; nothing is missing.".to_owned(),
        )
    })?;
    Ok(Opened { whole, client, earlier, around: Around::load(&mut db).await? })
}

/// A count as one text, to tell whether it is still the same.
fn standing(arrival: &[Arrival]) -> String {
    let line = |own: &Arrival| {
        let counter = own.counter.map(|id| format!(" ({id})")).unwrap_or_default();
        let found = own.found;
        format!(
            "{} {} {} {} {}{counter}",
            own.side.word(),
            found.attached,
            found.grown_out,
            found.lost,
            own.counted_by.word()
        )
    };
    let mut lines: Vec<String> = arrival.iter().map(line).collect();
    lines.sort();
    lines.join("; ")
}

/// A count in words, a line a lid.
fn told(arrival: &[Arrival]) -> Vec<String> {
    let line = |own: &Arrival| {
        let found = own.found;
        let numbers = format!("{} still attached, {} taken off, {} lost", found.attached, found.grown_out, found.lost);
        format!("{}: {numbers}", own.side.words())
    };
    arrival.iter().map(line).collect()
}

fn view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let now = staff.visitor.now.0;
    let (zone, card) = (&opened.around.studio.zone, &opened.earlier.card);
    let mut fields = Vec::new();
    for side in opened.sides() {
        let names = found_fields(side);
        let had = opened.earlier.on_lid(side);
        for (name, word) in names.into_iter().zip(["still attached", "taken off, grown out", "lost"]) {
            let label = format!("{}: {word}", capital(side.words()));
            fields.push(number_field(name, &label, typed.get(name)).hinted(format!("of {had}")).or_empty());
        }
    }
    fields.push(choice_field("radio", "by", "Who counted", typed.get("by"), CountedBy::choices()));
    let none = std::iter::once((String::new(), "nobody else".to_owned()));
    let person = opened.around.artist(card.artist).map_or(staff.who.id, |artist| artist.person);
    let others = none.chain(opened.around.beside(person));
    fields.push(choice_field("select", "counter", "The other person", typed.get("counter"), others).or_empty());
    fields.push(seen_field(typed.get(SEEN)));
    FormPage {
        frame: house.frame(
            &opened.around.studio,
            &staff.visitor,
            Place::Book,
            format!("Arrival of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/arrival", opened.whole.card.id)),
        word: "Arrival",
        small: "before cleansing",
        lead: vec![
            format!("The {} of {}.", card.kind.words(), zone.date(card.begun, now)),
            "Type two numbers an eye; the third is worked out. Another person, or a photo, counts better than whoever placed them."
                .to_owned(),
        ],
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Keep the count",
        back: (house.url(&format!("/cards/{}", opened.whole.card.id)), "Back to the card"),
    }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    let mut pairs = vec![(SEEN, mark_of(&standing(&opened.whole.arrival)))];
    for own in &opened.whole.arrival {
        let [attached, grown_out, _] = found_fields(own.side);
        pairs.push((attached, own.found.attached.to_string()));
        pairs.push((grown_out, own.found.grown_out.to_string()));
        pairs.push(("by", own.counted_by.word().to_owned()));
        pairs.push(("counter", own.counter.map(|id| id.to_string()).unwrap_or_default()));
    }
    page(&view(&house, &staff, &opened, &Typed::of(pairs)))
}

fn check(opened: &Opened, typed: &Typed, now: crate::base::time::Instant) -> Result<Vec<Arrival>, Problem> {
    let mut notes = Notes::default();
    let by = notes.choice("by", CountedBy::from_word(typed.get("by")));
    let person = opened.around.artist(opened.earlier.card.artist).map(|artist| artist.person);
    let people = &opened.around.people;
    let counter = people.iter().map(|person| person.id).find(|id| id.to_string() == typed.get("counter"));
    let counter = counter.filter(|id| by == Some(CountedBy::Another) && Some(*id) != person);
    if by == Some(CountedBy::Another) && counter.is_none() {
        notes.add("counter", "Choose who counted.");
    }
    let mut all = Vec::new();
    for side in opened.sides() {
        let names = found_fields(side);
        let mut numbers = [None; 3];
        let before = notes.all().len();
        for (number, name) in numbers.iter_mut().zip(names) {
            if !typed.get(name).trim().is_empty() {
                *number = notes.whole(name, typed.get(name), (0, 999), "");
            }
        }
        if notes.all().len() > before {
            continue;
        }
        match found(opened.earlier.on_lid(side), numbers) {
            Ok(found) => {
                let of_card = opened.earlier.card.id;
                all.extend(by.map(|counted_by| Arrival { side, of_card, found, counted_by, counter, at: now }));
            }
            Err(contradiction) => notes.add(names[0], contradiction.sentence()),
        }
    }
    notes.settle(Some(all))
}

async fn keep(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    // When it was counted, also where the form waited on a tablet since.
    let now = staff.visitor.now.0;
    let at = done_at(form.typed.get(DONE), now).min(now).max(opened.whole.card.begun);
    match check(&opened, &form.typed, at) {
        Ok(all) => {
            let (inner, seen) = (house.clone(), form.typed.get(SEEN).to_owned());
            let kept = house.store.write(&form.key, move |tx| {
                let (house, all, seen) = (inner.clone(), all.clone(), seen.clone());
                Box::pin(async move {
                    still_open_in(tx.db(), id).await?;
                    let whole = store::whole(tx.db(), house.store.keys(), id).await?.ok_or(Problem::NotHere("card"))?;
                    if !is_still(&seen, &standing(&whole.arrival), &standing(&all)) {
                        return Err(moved());
                    }
                    // The card that was counted from may have been corrected since.
                    let earlier = to_count(tx.db(), &house, &whole).await?;
                    let is_of = |own: &Arrival, earlier: &Whole| {
                        own.of_card == earlier.card.id && own.found.had == earlier.on_lid(own.side)
                    };
                    if !all.iter().all(|own| earlier.as_ref().is_some_and(|earlier| is_of(own, earlier))) {
                        return Err(moved());
                    }
                    parts_store::set_arrival(tx, id, &all).await?;
                    Ok(Kept::see(format!("/cards/{id}")))
                })
            });
            match kept.await {
                Ok(kept) => Ok(answer(&house, &kept)),
                Err(Problem::Clash(..)) => {
                    let opened = self::opened(&house, &staff, id).await?;
                    let arrival = &opened.whole.arrival;
                    let typed = form.typed.with(SEEN, mark_of(&standing(arrival)));
                    let view = view(&house, &staff, &opened, &typed).moved(moved_lines(told(arrival)), form.key.form);
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
