//! The questions as a list, and one of them as a form. Each change makes the next version; answers given before keep theirs.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::{Effect, Kind, MOST_ANSWERS, MOST_QUESTIONS, Offered, Question, Questionnaire, store};
use crate::base::actor::Role;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::clients::consents::NOT_CONFIRMED_QUESTIONS;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
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

const ANSWERS: [&str; MOST_ANSWERS] = ["answer0", "answer1", "answer2", "answer3", "answer4", "answer5"];
const EFFECTS: [&str; MOST_ANSWERS] = ["effect0", "effect1", "effect2", "effect3", "effect4", "effect5"];
const FIRST: &str = "first";

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
    remove: Option<String>,
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

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct TypedQuestion {
    text: String,
    group: String,
    kind: String,
    answer0: String,
    answer1: String,
    answer2: String,
    answer3: String,
    answer4: String,
    answer5: String,
    effect0: String,
    effect1: String,
    effect2: String,
    effect3: String,
    effect4: String,
    effect5: String,
    own_effect: String,
    then: String,
    /// The key of the question it stands after, or "first".
    after: String,
}

impl TypedQuestion {
    fn fresh(all: &Questionnaire) -> Self {
        Self {
            kind: "one_of".to_owned(),
            group: all.questions.last().map(|last| last.group.clone()).unwrap_or_default(),
            after: all.questions.last().map_or(FIRST.to_owned(), |last| last.key.clone()),
            answer0: "no".to_owned(),
            answer1: "yes".to_owned(),
            effect1: Effect::Precaution.word().to_owned(),
            ..Self::default()
        }
    }

    fn of(question: &Question, all: &Questionnaire) -> Self {
        let at = all.questions.iter().position(|other| other.key == question.key).unwrap_or(0);
        let after = at.checked_sub(1).map_or(FIRST.to_owned(), |before| all.questions[before].key.clone());
        let mut typed = Self {
            text: question.text.clone(),
            group: question.group.clone(),
            then: question.then.clone(),
            after,
            ..Self::default()
        };
        match &question.kind {
            Kind::OwnWords(effect) => {
                typed.kind = "own_words".to_owned();
                typed.own_effect = effect.word().to_owned();
            }
            Kind::OneOf(offered) => {
                typed.kind = "one_of".to_owned();
                for (one, (words, effect)) in offered.iter().zip(typed.answers_mut()) {
                    words.clone_from(&one.words);
                    one.effect.word().clone_into(effect);
                }
            }
        }
        typed
    }

    fn answers_mut(&mut self) -> [(&mut String, &mut String); MOST_ANSWERS] {
        [
            (&mut self.answer0, &mut self.effect0),
            (&mut self.answer1, &mut self.effect1),
            (&mut self.answer2, &mut self.effect2),
            (&mut self.answer3, &mut self.effect3),
            (&mut self.answer4, &mut self.effect4),
            (&mut self.answer5, &mut self.effect5),
        ]
    }

    fn answers(&self) -> [(&String, &String); MOST_ANSWERS] {
        [
            (&self.answer0, &self.effect0),
            (&self.answer1, &self.effect1),
            (&self.answer2, &self.effect2),
            (&self.answer3, &self.effect3),
            (&self.answer4, &self.effect4),
            (&self.answer5, &self.effect5),
        ]
    }

    fn check(&self, key: String) -> Result<Question, Problem> {
        let mut notes = Notes::default();
        let words = notes.line("text", &self.text, 300);
        let group = notes.line("group", &self.group, 60);
        let then = text::paragraphs(&self.then, 600).map_err(|bad| notes.add("then", bad.to_string())).ok();
        let kind = match self.kind.as_str() {
            "one_of" => self.check_answers(&mut notes),
            "own_words" => notes.choice("own_effect", Effect::from_word(&self.own_effect)).map(Kind::OwnWords),
            _ => notes.choice("kind", None),
        };
        let has_effect = kind.as_ref().is_some_and(|kind| match kind {
            Kind::OneOf(offered) => offered.iter().any(|one| one.effect != Effect::Nothing),
            Kind::OwnWords(effect) => *effect != Effect::Nothing,
        });
        if has_effect && then.as_ref().is_some_and(String::is_empty) {
            notes.add("then", "Write what the artist is to do when an answer has an effect.");
        }
        let question = (|| Some(Question { key, group: group?, text: words?, kind: kind?, then: then? }))();
        notes.settle(question)
    }

    fn check_answers(&self, notes: &mut Notes) -> Option<Kind> {
        let mut offered: Vec<Offered> = Vec::new();
        let mut whole = true;
        for (at, (words, effect)) in self.answers().into_iter().enumerate() {
            if words.trim().is_empty() {
                continue;
            }
            let words = notes.line(ANSWERS[at], words, 80);
            let effect = notes.choice(EFFECTS[at], Effect::from_word(effect));
            match words.zip(effect) {
                Some((words, _)) if offered.iter().any(|one| one.words == words) => {
                    notes.add(ANSWERS[at], "This answer stands there twice.");
                    whole = false;
                }
                Some((words, effect)) => offered.push(Offered { words, effect }),
                None => whole = false,
            }
        }
        if whole && offered.len() < 2 {
            notes.add(ANSWERS[1], "Offer at least two answers.");
            return None;
        }
        whole.then_some(Kind::OneOf(offered))
    }
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
        remove: own_key.map(|_| house.url(&format!("{path}/remove"))),
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
    // One name no version has used: an answer kept years ago must not seem to be this question's.
    let key = format!("q{}_{}", all.version + 1, all.questions.len());
    match form.typed.check(key) {
        Ok(question) => keep(&house, &owner, &form, question).await,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let view = view(&house, &owner, (&studio, &all), &form.typed, &notes, None, key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
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
    match form.typed.check(key.clone()) {
        Ok(question) => keep(&house, &owner, &form, question).await,
        Err(Problem::Mistakes(notes)) => {
            let form_key = form.key.form.clone().unwrap_or_default();
            let view = view(&house, &owner, (&studio, &all), &form.typed, &notes, Some(&key), form_key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        Err(other) => Err(other),
    }
}

/// Puts the question where it belongs among the newest ones, whoever changed another meanwhile.
async fn keep(
    house: &House,
    owner: &Owner,
    form: &Form<TypedQuestion>,
    question: Question,
) -> Result<Response, Problem> {
    let (by, after) = (owner.who.id, form.typed.after.clone());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (question, after) = (question.clone(), after.clone());
            Box::pin(async move {
                let mut all = store::newest(tx.db()).await?.questions;
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

async fn remove(
    owner: Owner,
    State(house): State<House>,
    At(key): At<String>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let by = owner.who.id;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let key = key.clone();
            Box::pin(async move {
                let mut all = store::newest(tx.db()).await?;
                find(&all, &key)?;
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
        })
        .await?;
    Ok(answer(&house, &kept))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all() -> Questionnaire {
        Questionnaire { version: 0, questions: super::super::starting_questions() }
    }

    #[test]
    fn every_question_comes_through_its_form_unchanged() {
        let all = all();
        for question in &all.questions {
            let typed = TypedQuestion::of(question, &all);
            assert_eq!(typed.check(question.key.clone()).unwrap(), *question);
        }
    }

    #[test]
    fn a_question_needs_two_different_answers_and_words_for_the_artist() {
        let good = TypedQuestion { text: "Red eyes?".into(), then: "Wait.".into(), ..TypedQuestion::fresh(&all()) };
        let wrong = |typed: TypedQuestion| match typed.check("q".into()) {
            Err(Problem::Mistakes(notes)) => notes.iter().map(|note| note.field.to_string()).collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        };
        // A select always sends its first choice; an empty effect is none of them.
        let good = TypedQuestion { effect0: "nothing".into(), ..good };
        assert!(good.check("q".into()).is_ok());
        assert_eq!(wrong(TypedQuestion { answer1: String::new(), ..good.clone() }), ["answer1"]);
        assert_eq!(wrong(TypedQuestion { answer1: "no".into(), ..good.clone() }), ["answer1"]);
        assert_eq!(wrong(TypedQuestion { then: String::new(), ..good.clone() }), ["then"]);
        assert_eq!(wrong(TypedQuestion { effect1: "death".into(), ..good.clone() }), ["effect1"]);
        assert_eq!(wrong(TypedQuestion { kind: "x".into(), ..good }), ["kind"]);
    }
}
