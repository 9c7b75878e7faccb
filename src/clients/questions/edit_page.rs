//! The questions as a list, and one of them as a form. Each change makes the next version; answers given before keep theirs.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::typed::{ANSWERS, EFFECTS, FIRST, TypedQuestion};
use super::{Effect, Kind, MOST_QUESTIONS, Question, Questionnaire, store};
use crate::base::actor::Role;
use crate::base::problem::{FieldNote, Problem};
use crate::clients::consents::NOT_CONFIRMED_QUESTIONS;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{stand_beside, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new()
        .get("/door/questions", list)
        .post("/door/questions", add)
        .get("/door/questions/new", new_page)
        .get("/door/questions/{question}", edit)
        .post("/door/questions/{question}", change)
        .post("/door/questions/{question}/remove", remove)
}

struct QuestionRow {
    text: String,
    answers: Vec<String>,
    then: String,
    href: String,
}

struct GroupRows {
    id: String,
    word: String,
    rows: Vec<QuestionRow>,
}

#[derive(Template)]
#[template(path = "clients/questions_list.html")]
struct ListPage {
    frame: Frame,
    version: i64,
    confirm: &'static str,
    groups: Vec<GroupRows>,
    is_owner: bool,
}

#[derive(Template)]
#[template(path = "clients/question_form.html")]
struct QuestionForm {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    fields: Vec<FieldView>,
    answers: Vec<[FieldView; 2]>,
    after: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// Where it is taken out, and the mark of what stands there.
    remove: Option<(String, String)>,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let all = store::newest(&mut db).await?;
    let is_owner = staff.who.role == Role::Owner;
    let mut groups: Vec<GroupRows> = Vec::new();
    for question in &all.questions {
        let answers = match &question.kind {
            Kind::OneOf(offered) => {
                offered.iter().map(|one| format!("{}: {}", one.words, one.effect.words())).collect()
            }
            Kind::OwnWords(effect) => vec![format!("own words: {}", effect.words())],
        };
        let row = QuestionRow {
            text: question.text.clone(),
            answers,
            then: question.then.clone(),
            href: if is_owner { house.url(&format!("/door/questions/{}", question.key)) } else { String::new() },
        };
        match groups.iter_mut().find(|group| group.word == question.group) {
            Some(group) => group.rows.push(row),
            None => groups.push(GroupRows {
                id: format!("g{}", groups.len() + 1),
                word: question.group.clone(),
                rows: vec![row],
            }),
        }
    }
    page(&ListPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "The questions"),
        version: all.version,
        confirm: NOT_CONFIRMED_QUESTIONS,
        groups,
        is_owner,
    })
}

fn view(
    house: &House,
    owner: &Owner,
    (studio, all): (&Studio, &Questionnaire),
    typed: &TypedQuestion,
    notes: &[FieldNote],
    own_key: Option<&str>,
    key: String,
) -> QuestionForm {
    let effects = || Effect::ALL.map(|effect| (effect.word().to_owned(), effect.words().to_owned()));
    let kinds = [("one_of", "one of the answers below"), ("own_words", "in her own words")];
    let mut fields = vec![
        FieldView { kind: "textarea", ..text_field("text", "The question", &typed.text) },
        text_field("group", "Stands under", &typed.group),
        choice_field("radio", "kind", "Answered with", &typed.kind, kinds.map(|(a, b)| (a.to_owned(), b.to_owned()))),
    ];
    let mut answers: Vec<[FieldView; 2]> = typed
        .answers()
        .into_iter()
        .enumerate()
        .map(|(at, (words, effect))| {
            [
                text_field(ANSWERS[at], &format!("Answer {}", at + 1), words).or_empty(),
                choice_field("select", EFFECTS[at], "leads to", effect, effects()),
            ]
        })
        .collect();
    let others = all.questions.iter().filter(|other| own_key != Some(other.key.as_str()));
    let places = std::iter::once((FIRST.to_owned(), "the very beginning".to_owned()))
        .chain(others.map(|other| (other.key.clone(), other.text.clone())));
    let mut after = vec![
        choice_field("select", "own_effect", "Own words lead to", &typed.own_effect, effects())
            .hinted("Only for a question answered in her own words."),
        FieldView { kind: "textarea", ..text_field("then", "What the artist is to do", &typed.then) }
            .hinted("Shown beside an answer that has an effect.")
            .or_empty(),
        choice_field("select", "after", "Stands after", &typed.after, places),
        stood_field(&typed.stood),
    ];
    for fields in [&mut fields[..], &mut after[..]].into_iter().chain(answers.iter_mut().map(|pair| &mut pair[..])) {
        note_fields(fields, notes);
    }
    let path = own_key.map_or("/door/questions".to_owned(), |own| format!("/door/questions/{own}"));
    QuestionForm {
        frame: house.frame(
            studio,
            &owner.visitor,
            Place::Door,
            if own_key.is_some() { "A question" } else { "A new question" },
        ),
        key,
        mistakes: mistakes(fields.iter().chain(answers.iter().flatten()).chain(&after)),
        fields,
        answers,
        after,
        action: house.url(&path),
        back: house.url("/door/questions"),
        remove: own_key.map(|_| (house.url(&format!("{path}/remove")), typed.stood.clone())),
    }
}

impl QuestionForm {
    /// With what stands there now beside each field where that is not what was typed.
    fn beside(mut self, now: &Self) -> Self {
        stand_beside(&mut self.fields, &now.fields);
        for (pair, now) in self.answers.iter_mut().zip(&now.answers) {
            stand_beside(pair, now);
        }
        stand_beside(&mut self.after, &now.after);
        self.mistakes = mistakes(self.fields.iter().chain(self.answers.iter().flatten()).chain(&self.after));
        self
    }
}

async fn load(house: &House) -> Result<(Studio, Questionnaire), Problem> {
    let mut db = house.store.read().await?;
    Ok((Studio::load(&mut db).await?, store::newest(&mut db).await?))
}

fn find<'q>(all: &'q Questionnaire, key: &str) -> Result<&'q Question, Problem> {
    all.questions.iter().find(|question| question.key == key).ok_or(Problem::NotHere("question"))
}

async fn new_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (studio, all) = load(&house).await?;
    page(&view(&house, &owner, (&studio, &all), &TypedQuestion::fresh(&all), &[], None, new_form_key()))
}

async fn edit(owner: Owner, State(house): State<House>, At(key): At<String>) -> Result<Response, Problem> {
    let (studio, all) = load(&house).await?;
    let question = find(&all, &key)?;
    let typed = TypedQuestion::of(question, &all);
    page(&view(&house, &owner, (&studio, &all), &typed, &[], Some(&question.key), new_form_key()))
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedQuestion>) -> Result<Response, Problem> {
    let (studio, all) = load(&house).await?;
    match form.typed.check(String::new()) {
        Ok(question) => keep(&house, &owner, &form, question).await,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &owner, (&studio, &all), &form.typed, &notes, None, key);
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(key): At<String>,
    form: Form<TypedQuestion>,
) -> Result<Response, Problem> {
    let (studio, all) = load(&house).await?;
    find(&all, &key)?;
    let form_key = form.key.again();
    let kept = match form.typed.check(key.clone()) {
        Ok(question) => keep(&house, &owner, &form, question).await,
        Err(problem) => Err(problem),
    };
    match kept {
        Err(Problem::Mistakes(notes)) => {
            let view = view(&house, &owner, (&studio, &all), &form.typed, &notes, Some(&key), form_key);
            page_again(&view)
        }
        Err(Problem::Clash(..)) => {
            let (studio, all) = load(&house).await?;
            let now = TypedQuestion::of(find(&all, &key)?, &all);
            let typed = TypedQuestion { stood: now.stood.clone(), ..form.typed };
            let now = view(&house, &owner, (&studio, &all), &now, &[], Some(&key), String::new());
            let view = view(&house, &owner, (&studio, &all), &typed, &[], Some(&key), form_key).beside(&now);
            page_with(StatusCode::CONFLICT, &view)
        }
        answered => answered,
    }
}

/// Puts the question where it belongs among the newest ones, whoever changed another meanwhile; one without a key is new. One that is
/// changed must stand there as its form showed it.
async fn keep(
    house: &House,
    owner: &Owner,
    form: &Form<TypedQuestion>,
    question: Question,
) -> Result<Response, Problem> {
    let (by, after, seen) = (owner.who.id, form.typed.after.clone(), form.typed.stood.clone());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (question, after, seen) = (question.clone(), after.clone(), seen.clone());
            Box::pin(async move {
                let all = store::newest(tx.db()).await?;
                let mut question = question;
                if question.key.is_empty() {
                    // One name no version has used: an answer kept years ago must not seem to be this question's.
                    question.key = format!("q{}_{}", all.version + 1, all.questions.len());
                } else {
                    let standing = TypedQuestion::of(find(&all, &question.key)?, &all);
                    let sent = TypedQuestion { after: after.clone(), ..TypedQuestion::of(&question, &all) };
                    still_stands(&seen, &standing.standing(), &sent.standing())?;
                }
                let mut all = all.questions;
                all.retain(|other| other.key != question.key);
                if all.len() >= MOST_QUESTIONS {
                    return Err(Problem::Clash(
                        format!("There are {MOST_QUESTIONS} questions already."),
                        "Take one out first; nobody answers more with care.".into(),
                    ));
                }
                let at = all.iter().position(|other| other.key == after).map_or(0, |at| at + 1);
                all.insert(at, question);
                store::keep(tx, by, &all).await?;
                Ok(Kept::see("/door/questions"))
            })
        })
        .await?;
    Ok(answer(house, &kept))
}

/// What the form of taking out carries.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Seen {
    stood: String,
}

async fn remove(
    owner: Owner,
    State(house): State<House>,
    At(key): At<String>,
    form: Form<Seen>,
) -> Result<Response, Problem> {
    let (by, own, seen) = (owner.who.id, key.clone(), form.typed.stood.clone());
    let kept = house.store.write(&form.key, move |tx| {
        let (key, seen) = (own.clone(), seen.clone());
        Box::pin(async move {
            let mut all = store::newest(tx.db()).await?;
            let standing = TypedQuestion::of(find(&all, &key)?, &all);
            still_stands(&seen, &standing.standing(), "")?;
            if all.questions.len() == 1 {
                return Err(Problem::Clash(
                    "This is the last question.".into(),
                    "Add another one first: a consultation without a question asks nothing.".into(),
                ));
            }
            all.questions.retain(|question| question.key != key);
            store::keep(tx, by, &all.questions).await?;
            Ok(Kept::see("/door/questions"))
        })
    });
    match kept.await {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(problem @ Problem::Clash(..)) => {
            let (studio, all) = load(&house).await?;
            let now = TypedQuestion::of(find(&all, &key)?, &all);
            if now.stood == form.typed.stood {
                return Err(problem);
            }
            let note =
                "Somebody else changed this since you opened it. It was not taken out: look at what stands there now.";
            let notes = [FieldNote::new("text", note)];
            let form_key = form.key.again();
            let view = view(&house, &owner, (&studio, &all), &now, &notes, Some(&key), form_key);
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => Err(problem),
    }
}
