//! Closing a card: numbers where none were counted yet, comfort, aftercare, hygiene, the next visit. What was used stays beside what was
//! advised.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::aftercare_page::Code;
use super::card::{Aftercare, Comfort, Count, Whole, Words, has_adhesive, is_removal};
use super::close_counts::{check_counts, count_fields, counted_meanwhile, uncounted};
use super::seen::{Around, moved, open_for, still_open_in};
use super::work_fields::{check_colour, colour_field};
use super::{parts_store, store};
use crate::base::ids::CardId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clearance;
use crate::clearance::typed::{DONE, FormPage, MoreNotes as _, Typed, checks_field, notes_of, seen_field, words_field};
use crate::clients::Client;
use crate::people;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, text_field};
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/{card}/close", show).post("/cards/{card}/close", close)
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
    /// What changed since it was opened.
    lead: Vec<String>,
    /// In the order of the work: what was done, and what she goes with.
    done: Vec<FieldView>,
    goes: Vec<FieldView>,
    /// What she is told, a sentence each.
    aftercare: Vec<String>,
    /// The hidden field in which a device writes when the button was pressed.
    pressed: &'static str,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: (String, &'static str),
    code: Code,
}

impl ClosePage {
    fn of(house: &House, opened: &Opened, form: FormPage) -> Self {
        let FormPage { frame, key, action, word, small, lead, fields: mut done, mistakes, button, back, .. } = form;
        let first = done.iter().position(|field| field.name == "aftercare").unwrap_or(done.len());
        let goes = done.split_off(first);
        let aftercare = opened.around.settings.aftercare.clone();
        let (pressed, code) = (DONE, Code::of(house));
        Self { frame, key, action, word, small, lead, done, goes, aftercare, pressed, mistakes, button, back, code }
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

fn view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let (whole, around) = (&opened.whole, &opened.around);
    let mut fields = count_fields(whole, typed, around.settings.per_strip);
    if is_removal(whole.card.kind) {
        fields.push(words_field("reason", "Why they were taken off", typed.get("reason")).or_empty());
    }
    let get = |name| typed.get(name);
    fields.extend(has_adhesive(whole.card.kind).then(|| colour_field(typed)));
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
        lead: Vec::new(),
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
    page(&ClosePage::of(&house, &opened, view(&house, &staff, &opened, &Typed::default())))
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
    let counts = check_counts(&mut notes, &opened.whole, typed, opened.around.settings.per_strip, now);
    let comfort = typed.get("comfort");
    if !comfort.is_empty() && Comfort::from_word(comfort).is_none() {
        notes.add("comfort", "Choose one of these.");
    }
    let words = Words {
        comfort: comfort.to_owned(),
        condition: notes.may_be_words("condition", typed.get("condition"), 1000).unwrap_or_default(),
        colour: check_colour(&mut notes, typed),
        reason: notes.may_be_words("reason", typed.get("reason"), 1000).unwrap_or_default(),
        note: notes.may_be_words("note", typed.get("note"), 2000).unwrap_or_default(),
    };
    let aftercare = notes.choice("aftercare", Aftercare::from_word(typed.get("aftercare")));
    let ticked = typed.all("hygiene");
    let list = &opened.around.settings.hygiene;
    if ticked.iter().any(|line| !list.iter().any(|own| own == line)) {
        notes.add("hygiene", "The list was changed since this was opened: look at it once more.");
    }
    let hygiene = list.iter().filter(|line| ticked.contains(&line.as_str())).cloned();
    let next_visit = match typed.get("next_visit").trim() {
        "" => Some(String::new()),
        words => notes.line("next_visit", words, 120),
    };
    let hygiene = hygiene.collect();
    let closing = (|| Some(Closing { counts, words, aftercare: aftercare?, hygiene, next_visit: next_visit? }))();
    notes.settle(closing)
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
    page_with(StatusCode::CONFLICT, &ClosePage::of(house, opened, view))
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
                    let counted: Vec<_> = closing.counts.iter().map(|count| (count.side, count.lash)).collect();
                    // Counted by somebody else meanwhile, or taken back.
                    if counted.iter().any(|own| !open.contains(own)) || open.iter().any(|own| !counted.contains(own)) {
                        return Err(moved());
                    }
                    for count in &closing.counts {
                        parts_store::add_count(tx, id, count).await?;
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
            page_again(&ClosePage::of(&house, &opened, view))
        }
    }
}
