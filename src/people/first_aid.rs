//! The first-aid card: reachable by anyone, from every page, without signing in; changed by the owner.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};

use crate::base::actor::Role;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::{Db, Kept, settings};
use crate::web::House;
use crate::web::cautions::{CARD_DEFERS, CARD_SOURCES, Care, Caution, FirstAidCard, LocalNumber, WORK};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, Owner};
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{STOOD, mark_of, stand_beside, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

const SETTING: &str = "people.first_aid";
/// Lines of numbers the form offers.
const NUMBERS: usize = 6;

pub(super) fn routes() -> Routes {
    Routes::new().get("/first-aid", show).get("/office/first-aid", edit_page).post("/office/first-aid", keep)
}

#[derive(Template)]
#[template(path = "shell/first_aid.html")]
struct FirstAidPage {
    frame: Frame,
    card: FirstAidCard,
    work: &'static [Caution],
    defers: &'static str,
    sources: &'static [&'static str],
    edit: Option<String>,
}

#[derive(Template)]
#[template(path = "people/first_aid_edit.html")]
struct EditPage {
    frame: Frame,
    key: String,
    numbers: Vec<FieldView>,
    texts: Vec<FieldView>,
    signed: Vec<FieldView>,
    /// How many sheets the wall print takes, in words.
    sheets: String,
    mistakes: Vec<Mistake>,
}

/// The card as it is kept: numbers and sections as plain text, one line a step, "never:" before what must not be done.
#[derive(Serialize, Deserialize, Clone)]
struct Card {
    numbers: Vec<(String, String)>,
    sections: Vec<(String, String)>,
    after: String,
    sheets_at: String,
    checked_by: String,
    checked_on: String,
}

async fn load(db: &mut Db) -> Result<Card, Problem> {
    let kept = settings::all(db).await?;
    Ok(kept
        .get(SETTING)
        .and_then(|text| serde_json::from_str(text).ok())
        .unwrap_or_else(|| Card::of(&FirstAidCard::unchecked())))
}

impl EditPage {
    /// With what stands there now beside each field where that is not what was typed.
    fn beside(mut self, now: &Self) -> Self {
        stand_beside(&mut self.numbers, &now.numbers);
        stand_beside(&mut self.texts, &now.texts);
        stand_beside(&mut self.signed, &now.signed);
        self.mistakes = mistakes(self.numbers.iter().chain(&self.texts).chain(&self.signed));
        self
    }
}

impl Card {
    /// As it is kept.
    fn text(&self) -> Result<String, Problem> {
        serde_json::to_string(self).map_err(Problem::broken)
    }

    fn of(card: &FirstAidCard) -> Self {
        let section = |care: &Care| {
            let never = care.never.iter().map(|line| format!("never: {line}"));
            (care.heading.clone(), care.steps.iter().cloned().chain(never).collect::<Vec<_>>().join("\n"))
        };
        Self {
            numbers: card.numbers.iter().map(|local| (local.who.clone(), local.number.clone())).collect(),
            sections: card.sections.iter().map(section).collect(),
            after: card.after.join("\n"),
            sheets_at: card.sheets_at.clone(),
            checked_by: card.checked_by.clone(),
            checked_on: card.checked_on.clone(),
        }
    }

    fn view(&self) -> FirstAidCard {
        let lines =
            |text: &str| text.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect();
        let care = |(heading, body): &(String, String)| {
            let all: Vec<String> = lines(body);
            let (never, steps) = all.into_iter().partition(|line: &String| line.to_lowercase().starts_with("never:"));
            let never: Vec<String> = never;
            Care {
                heading: heading.clone(),
                steps,
                never: never.iter().map(|line| line["never:".len()..].trim().to_owned()).collect(),
            }
        };
        FirstAidCard {
            numbers: self
                .numbers
                .iter()
                .map(|(who, number)| LocalNumber { who: who.clone(), number: number.clone() })
                .collect(),
            sections: self.sections.iter().map(care).collect(),
            after: lines(&self.after),
            sheets_at: self.sheets_at.clone(),
            checked_by: self.checked_by.clone(),
            checked_on: self.checked_on.clone(),
        }
    }
}

async fn show(Anyone(visitor): Anyone, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (studio, card) = (Studio::load(&mut db).await?, load(&mut db).await?);
    let is_owner = matches!(&visitor.actor, crate::base::actor::Actor::Person(who) if who.role == Role::Owner);
    page(&FirstAidPage {
        frame: house.frame(&studio, &visitor, Place::Nowhere, "First aid"),
        card: card.view(),
        work: WORK,
        defers: CARD_DEFERS,
        sources: CARD_SOURCES,
        edit: is_owner.then(|| house.url("/office/first-aid")),
    })
}

async fn edit_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (studio, card) = (Studio::load(&mut db).await?, load(&mut db).await?);
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "The first-aid card");
    page(&edit_view(frame, &card, &mark_of(&card.text()?), &[], new_form_key()))
}

async fn keep(
    owner: Owner,
    State(house): State<House>,
    form: Form<std::collections::BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let (studio, before) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, load(&mut db).await?)
    };
    let (card, notes) = typed_card(&form.typed, &before);
    let seen = form.typed.get(STOOD).cloned().unwrap_or_default();
    let key = form.key.again();
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "The first-aid card");
    if !notes.is_empty() {
        return page_again(&edit_view(frame, &card, &seen, &notes, key));
    }
    let text = card.text()?;
    let kept = house.store.write(&form.key, move |tx| {
        let (text, seen) = (text.clone(), seen.clone());
        Box::pin(async move {
            still_stands(&seen, &load(tx.db()).await?.text()?, &text)?;
            settings::set(tx, SETTING, &text).await?;
            tx.audit("change first-aid card", "", "").await?;
            Ok(Kept::see("/first-aid"))
        })
    });
    match kept.await {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let now = {
                let mut db = house.store.read().await?;
                load(&mut db).await?
            };
            let mark = mark_of(&now.text()?);
            let view = edit_view(frame.clone(), &card, &mark, &[], key).beside(&edit_view(
                frame,
                &now,
                "",
                &[],
                String::new(),
            ));
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => Err(problem),
    }
}

/// Everything as typed, and what is wrong with it.
fn typed_card(typed: &std::collections::BTreeMap<String, String>, before: &Card) -> (Card, Vec<FieldNote>) {
    let mut notes = Vec::new();
    let mut take = |name: String, most: usize| {
        let raw = typed.get(&name).cloned().unwrap_or_default();
        match text::paragraphs(&raw, most) {
            Ok(text) => text,
            Err(bad) => {
                notes.push(FieldNote { field: name.into(), sentence: bad.to_string() });
                raw
            }
        }
    };
    let numbers = (0..NUMBERS).map(|at| (take(format!("who{at}"), 80), take(format!("number{at}"), 40)));
    let numbers: Vec<_> = numbers.filter(|(who, number)| !who.is_empty() || !number.is_empty()).collect();
    let sections = before
        .sections
        .iter()
        .enumerate()
        .map(|(at, (heading, _))| (heading.clone(), take(format!("section{at}"), 4000)))
        .collect();
    let card = Card {
        numbers,
        sections,
        after: take("after".to_owned(), 4000),
        sheets_at: take("sheets_at".to_owned(), 200),
        checked_by: take("checked_by".to_owned(), 80),
        checked_on: take("checked_on".to_owned(), 40),
    };
    (card, notes)
}

// The names of the fields of a form with a fixed number of lines.
const WHO: [&str; NUMBERS] = ["who0", "who1", "who2", "who3", "who4", "who5"];
const NUMBER: [&str; NUMBERS] = ["number0", "number1", "number2", "number3", "number4", "number5"];
const SECTION: [&str; 12] = [
    "section0",
    "section1",
    "section2",
    "section3",
    "section4",
    "section5",
    "section6",
    "section7",
    "section8",
    "section9",
    "section10",
    "section11",
];

fn edit_view(frame: Frame, card: &Card, stood: &str, notes: &[FieldNote], key: String) -> EditPage {
    let field = |name: &'static str, label: String, value: &str, kind: &'static str, hint: Option<&str>| FieldView {
        name,
        label,
        value: value.to_owned(),
        kind,
        hint: hint.map(str::to_owned),
        optional: true,
        autocomplete: "off",
        error: notes.iter().find(|note| note.field == name).map(|note| note.sentence.clone()),
        ..FieldView::default()
    };
    let line = |at: usize| card.numbers.get(at).cloned().unwrap_or_default();
    let numbers: Vec<FieldView> = (0..NUMBERS)
        .flat_map(|at| {
            let (who, number) = line(at);
            [
                field(WHO[at], format!("Who answers, line {}", at + 1), &who, "text", None),
                FieldView { inputmode: "tel", ..field(NUMBER[at], "Number".to_owned(), &number, "text", None) },
            ]
        })
        .collect();
    let hint = "One step a line. Begin a line with “never:” for what must not be done.";
    let mut texts: Vec<FieldView> = card
        .sections
        .iter()
        .zip(SECTION)
        .map(|((heading, body), name)| field(name, heading.clone(), body, "textarea", Some(hint)))
        .collect();
    texts.push(field("after", "Afterwards".to_owned(), &card.after, "textarea", Some("One step a line.")));
    texts.push(field("sheets_at", "Where the data sheets lie".to_owned(), &card.sheets_at, "text", None));
    let signed = vec![
        field(
            "checked_by",
            "Checked by".to_owned(),
            &card.checked_by,
            "text",
            Some("A first-aider, a doctor, the insurer: whoever went through it."),
        ),
        field("checked_on", "Checked on".to_owned(), &card.checked_on, "text", None),
        stood_field(stood),
    ];
    let mistakes = mistakes(numbers.iter().chain(&texts).chain(&signed));
    EditPage { frame, key, numbers, texts, signed, sheets: sheets_in_words(card.view().sheets()), mistakes }
}

/// Said before she adds a line more.
fn sheets_in_words(sheets: usize) -> String {
    match sheets {
        1 => "As it stands here the wall print fits one sheet of A4.".to_owned(),
        more => format!(
            "As it stands here the wall print takes {} sheets of A4: letters that one still reads from a step away fit no fewer. Shorter lines bring it back to one.",
            if more == 2 { "two".to_owned() } else { more.to_string() }
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_more_there_is_to_read_the_more_sheets_hang_on_the_wall() {
        let fresh = FirstAidCard::unchecked();
        assert_eq!(fresh.sheets(), 1);
        assert!(sheets_in_words(1).contains("one sheet") && sheets_in_words(2).contains("two sheets"));
        let mut sheets = Vec::new();
        for more in 0..=20 {
            let mut card = fresh.clone();
            for care in &mut card.sections {
                care.steps.extend(std::iter::repeat_n(
                    "Bring the kettle of lukewarm water that stands beside the sink.".to_owned(),
                    more,
                ));
            }
            sheets.push(card.sheets());
        }
        assert!(sheets.is_sorted() && sheets[..5] == [1, 2, 2, 2, 2] && sheets.last() > Some(&3), "{sheets:?}");
    }

    #[test]
    fn a_card_reads_back_as_it_was_kept() {
        let fresh = FirstAidCard::unchecked();
        assert_eq!(Card::of(&fresh).view(), fresh);
    }
}
