//! Closing a card: numbers where none were counted yet, comfort, aftercare, hygiene, the next visit. What was used stays beside what was
//! advised.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::aftercare_page::Code;
use super::card::{Aftercare, Comfort, Count, Lash, Side, Whole, Words, has_adhesive, is_removal};
use super::seen::{Around, moved, open_for, still_open_in};
use super::store;
use super::work_page::by_strips;
use crate::base::ids::{CardId, CardPartId};
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::clearance;
use crate::clearance::typed::{DONE, FormPage, MoreNotes as _, Typed, checks_field, notes_of, seen_field, words_field};
use crate::clients::Client;
use crate::people;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, number_field, text_field};
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/close", show).post("/cards/{card}/close", close)
}

/// Names of a lid's fields: single ones, fans, strips begun, left over.
pub(super) const fn fields_of(side: Side) -> [&'static str; 4] {
    match side {
        Side::Left => ["left_single", "left_fan", "left_strips", "left_over"],
        Side::Right => ["right_single", "right_fan", "right_strips", "right_over"],
        Side::LeftLower => ["left_lower_single", "left_lower_fan", "left_lower_strips", "left_lower_over"],
        Side::RightLower => ["right_lower_single", "right_lower_fan", "right_lower_strips", "right_lower_over"],
    }
}

/// The field of a number.
pub(super) const fn count_field(side: Side, lash: Lash) -> &'static str {
    let [single, fan, ..] = fields_of(side);
    match lash {
        Lash::Single => single,
        Lash::Fan => fan,
    }
}

/// The form, with the code that leads her to the aftercare.
#[derive(Template)]
#[template(path = "cards/close.html")]
struct ClosePage {
    frame: Frame,
    key: String,
    action: String,
    word: &'static str,
    small: &'static str,
    lead: Vec<String>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: (String, &'static str),
    code: Code,
}

impl ClosePage {
    fn of(house: &House, form: FormPage) -> Self {
        let FormPage { frame, key, action, word, small, lead, fields, mistakes, button, back, .. } = form;
        Self { frame, key, action, word, small, lead, fields, mistakes, button, back, code: Code::of(house) }
    }
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

/// Lids of a set with adhesive that nothing was counted on.
fn uncounted(whole: &Whole) -> Vec<Side> {
    let counted = |side: &Side| whole.counts.iter().any(|count| count.side == *side);
    let sides = whole.card.lids.sides().iter().copied();
    if has_adhesive(whole.card.kind) { sides.filter(|side| !counted(side)).collect() } else { Vec::new() }
}

/// Lids for which a number was typed here and another one stands there by now: what the card says, and what was typed.
fn counted_meanwhile(whole: &Whole, typed: &Typed) -> Vec<String> {
    let open = uncounted(whole);
    let counted = whole.card.lids.sides().iter().filter(|side| !open.contains(side));
    let line = |side: &Side| {
        let [single, fan, strips, over] = fields_of(*side);
        let own = |name: &str| typed.get(name).trim().to_owned();
        let stands = |lash: Lash| whole.placed_of(*side, lash).to_string();
        let differs = |name: &str, lash: Lash| !own(name).is_empty() && own(name) != stands(lash);
        let moved = differs(single, Lash::Single) || differs(fan, Lash::Fan) || !own(strips).is_empty();
        let yours = [single, fan, strips, over].map(own).into_iter().filter(|own| !own.is_empty()).collect::<Vec<_>>();
        let on_it: u32 = Lash::ALL.iter().map(|lash| whole.placed_of(*side, *lash)).sum();
        moved.then(|| {
            let what = format!("The {} was counted since you opened this: {on_it} stand there", side.words());
            format!("{what}; you had typed {}. Nothing was saved yet.", yours.join(", "))
        })
    };
    counted.filter_map(line).collect()
}

fn view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let (whole, around) = (&opened.whole, &opened.around);
    let mut fields: Vec<FieldView> = Vec::new();
    for side in uncounted(whole) {
        for lash in whole.lashes() {
            let sort = if whole.lashes().len() > 1 { format!(", {}", lash.words()) } else { String::new() };
            let name = count_field(side, *lash);
            let label = format!("Placed on the {}{sort}", side.words());
            fields.push(FieldView { inputmode: "numeric", ..number_field(name, &label, typed.get(name)).or_empty() });
        }
        if whole.lashes().len() == 1 {
            let [.., strips, over] = fields_of(side);
            let per_strip = around.settings.per_strip;
            fields.push(
                number_field(strips, &format!("Or by strips, {}: strips begun", side.words()), typed.get(strips))
                    .hinted(format!("Of {per_strip} each."))
                    .or_empty(),
            );
            fields.push(number_field(over, "Left over on them", typed.get(over)).or_empty());
        }
    }
    if is_removal(whole.card.kind) {
        fields.push(words_field("reason", "Why they were taken off", typed.get("reason")).or_empty());
    }
    let get = |name| typed.get(name);
    fields.extend([
        choice_field("radio", "comfort", "How it was for her", get("comfort"), Comfort::choices()).or_empty(),
        words_field("condition", "Condition of her own lashes", get("condition")).or_empty(),
        words_field("note", "Anything else", get("note")).or_empty(),
        choice_field("radio", "aftercare", "Aftercare", get("aftercare"), Aftercare::choices()),
    ]);
    if !around.settings.hygiene.is_empty() {
        let lines = around.settings.hygiene.iter().map(|line| (line.clone(), line.clone()));
        fields.push(checks_field("hygiene", "Afterwards", &typed.all("hygiene"), lines).or_empty());
    }
    fields.push(text_field("next_visit", "Next visit", get("next_visit")).or_empty());
    fields.push(seen_field(&whole.card.version.to_string()));
    FormPage {
        frame: house.frame(
            &around.studio,
            &staff.visitor,
            Place::Book,
            format!("Close the card of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/cards/{}/close", whole.card.id)),
        word: "Close",
        small: "when she leaves",
        lead: around.settings.aftercare.clone(),
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Close the card",
        back: (house.url(&format!("/cards/{}", whole.card.id)), "Back to the card"),
    }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<CardId>) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    // Whether aftercare was given is said each time: chosen beforehand it would be said of somebody who was told.
    page(&ClosePage::of(&house, view(&house, &staff, &opened, &Typed::default())))
}

/// What closing adds to the card.
#[derive(Clone)]
struct Closing {
    counts: Vec<Count>,
    words: Words,
    aftercare: Aftercare,
    hygiene: Vec<String>,
    next_visit: String,
}

fn check(opened: &Opened, typed: &Typed, now: Instant) -> Result<Closing, Problem> {
    let mut notes = Notes::default();
    let counts = check_counts(&mut notes, opened, typed, now);
    let comfort = typed.get("comfort");
    if !comfort.is_empty() && Comfort::from_word(comfort).is_none() {
        notes.add("comfort", "Choose one of these.");
    }
    let words = Words {
        comfort: comfort.to_owned(),
        condition: notes.may_be_words("condition", typed.get("condition"), 1000).unwrap_or_default(),
        reason: notes.may_be_words("reason", typed.get("reason"), 1000).unwrap_or_default(),
        note: notes.may_be_words("note", typed.get("note"), 2000).unwrap_or_default(),
    };
    let aftercare = notes.choice("aftercare", Aftercare::from_word(typed.get("aftercare")));
    let ticked = typed.all("hygiene");
    let hygiene = opened.around.settings.hygiene.iter().filter(|line| ticked.contains(&line.as_str())).cloned();
    let next_visit = match typed.get("next_visit").trim() {
        "" => Some(String::new()),
        words => notes.line("next_visit", words, 120),
    };
    let hygiene = hygiene.collect();
    let closing = (|| Some(Closing { counts, words, aftercare: aftercare?, hygiene, next_visit: next_visit? }))();
    notes.settle(closing)
}

fn check_counts(notes: &mut Notes, opened: &Opened, typed: &Typed, at: Instant) -> Vec<Count> {
    let whole = &opened.whole;
    let mut counts = Vec::new();
    for side in uncounted(whole) {
        let before = (counts.len(), notes.all().len());
        let count = |lash, placed, strips| Count { id: CardPartId::new(), side, lash, placed, zone: None, strips, at };
        for lash in whole.lashes() {
            let name = count_field(side, *lash);
            if !typed.get(name).trim().is_empty()
                && let Some(placed) = notes.whole(name, typed.get(name), (0, 999), "")
            {
                counts.push(count(*lash, placed, None));
            }
        }
        let [.., strips, over] = fields_of(side);
        if let ([lash], true) = (whole.lashes(), counts.len() == before.0)
            && let Some(Some((placed, of))) = by_strips(notes, [strips, over], typed, opened.around.settings.per_strip)
        {
            counts.push(count(*lash, placed, Some(of)));
        }
        if (counts.len(), notes.all().len()) == before {
            let first = whole.lashes().first().copied().unwrap_or(Lash::Single);
            let sentence = format!("Type how many were placed on the {}; 0 for none.", side.words());
            notes.add(count_field(side, first), capital(&sentence));
        }
    }
    counts
}

/// The form once more, with what changed meanwhile before it; lids that were counted are no longer asked for.
fn shown_again(
    house: &House,
    staff: &Staff,
    opened: &Opened,
    form: &Form<Typed>,
    lines: Vec<String>,
) -> Result<Response, Problem> {
    let view = view(house, staff, opened, &form.typed).moved(lines, form.key.form.clone());
    page_with(StatusCode::CONFLICT, &view)
}

async fn close(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = opened(&house, &staff, id).await?;
    // When she left, also where the form waited on a tablet since.
    let now = staff.visitor.now.0;
    let at = done_at(form.typed.get(DONE), now).min(now).max(opened.whole.card.begun);
    let lines = counted_meanwhile(&opened.whole, &form.typed);
    if !lines.is_empty() {
        return shown_again(&house, &staff, &opened, &form, lines);
    }
    match check(&opened, &form.typed, at) {
        Ok(closing) => {
            let inner = house.clone();
            let kept = house.store.write(&form.key, move |tx| {
                let (house, closing) = (inner.clone(), closing.clone());
                Box::pin(async move {
                    let mut card = still_open_in(tx.db(), id).await?;
                    let whole = store::whole(tx.db(), house.store.keys(), id).await?.ok_or(Problem::NotHere("card"))?;
                    let open = uncounted(&whole);
                    if closing.counts.iter().any(|count| !open.contains(&count.side)) {
                        return Err(moved());
                    }
                    for count in &closing.counts {
                        store::add_count(tx, id, count).await?;
                    }
                    card.closed = Some(at);
                    (card.aftercare, card.hygiene, card.next_visit) =
                        (closing.aftercare, closing.hygiene, closing.next_visit);
                    store::keep(tx, house.store.keys(), &card, &closing.words).await?;
                    if let Some(appointment) = card.appointment {
                        match clearance::no_longer_expected(tx, appointment.into()).await {
                            // Nobody was expected for it any more.
                            Ok(()) | Err(Problem::NotHere(_)) => {}
                            Err(other) => return Err(other),
                        }
                    }
                    people::end_at_bed(tx, &id.to_string()).await?;
                    tx.audit("close card", id, "").await?;
                    Ok(Kept::see(format!("/cards/{id}/record?told=closed")))
                })
            });
            match kept.await {
                Ok(kept) => Ok(answer(&house, &kept)),
                Err(Problem::Clash(happened, next)) => {
                    let opened = self::opened(&house, &staff, id).await?;
                    let mut lines = counted_meanwhile(&opened.whole, &form.typed);
                    if lines.is_empty() {
                        lines = vec![happened, next];
                    }
                    shown_again(&house, &staff, &opened, &form, lines)
                }
                Err(problem) => Err(problem),
            }
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &ClosePage::of(&house, view))
        }
    }
}
