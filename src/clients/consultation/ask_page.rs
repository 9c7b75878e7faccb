//! The consultation is asked: every question once, nothing chosen beforehand, nothing of earlier answers shown.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::store::{self, Consultation};
use super::{GivenBy, SealedAnswers};
use crate::base::ids::{ClientId, ConsultationId};
use crate::base::problem::Problem;
use crate::base::text;
use crate::clients::minors::AgeVerdict;
use crate::clients::questions::{self, Answered, Kind, Question, Questionnaire};
use crate::clients::settings::ClientSettings;
use crate::clients::{Client, not_restricted, reads_health, seen};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{choice_field, done_at, text_field};
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/consultation", ask).post("/door/clients/{client}/consultations", keep)
}

/// The field that says how each question was asked.
const ASKED: &str = "asked";

const MOVED: &str = "The owner changed the questions while these were being answered. Nothing was saved yet; what was answered to \
                     questions that stand as they were is still here.";

/// A question as the page shows it.
pub(in crate::clients) struct QuestionView {
    pub(in crate::clients) name: String,
    pub(in crate::clients) text: String,
    /// Its answers: words, and whether this one is chosen. Empty where own words are written.
    pub(in crate::clients) offered: Vec<(String, bool)>,
    pub(in crate::clients) typed: String,
    pub(in crate::clients) error: Option<&'static str>,
}

pub(in crate::clients) struct GroupView {
    pub(in crate::clients) id: String,
    pub(in crate::clients) word: String,
    pub(in crate::clients) questions: Vec<QuestionView>,
}

/// The hidden field in which a device's script writes when the button was pressed.
const DONE: &str = "done";

#[derive(Template)]
#[template(path = "clients/ask.html")]
struct AskPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    hand_over: String,
    /// The version the answers belong to, sent along: an edit meanwhile must not shift them.
    version: i64,
    /// Each question with the mark of how it is asked, for the same reason; see [`still_asked`].
    asked: String,
    /// Said before the questions where they changed since they were answered.
    moved: Option<&'static str>,
    minor: bool,
    given_by: FieldView,
    guardian: FieldView,
    groups: Vec<GroupView>,
    mistakes: Vec<Mistake>,
}

/// The questions in their groups, with what was typed and what is wrong.
pub(in crate::clients) fn groups(
    all: &Questionnaire,
    typed: &BTreeMap<String, String>,
    wrong: &BTreeMap<String, &'static str>,
) -> Vec<GroupView> {
    let mut groups: Vec<GroupView> = Vec::new();
    for question in &all.questions {
        let name = format!("q_{}", question.key);
        let value = typed.get(&name).cloned().unwrap_or_default();
        let offered = match &question.kind {
            Kind::OneOf(offered) => {
                offered.iter().enumerate().map(|(at, one)| (one.words.clone(), value == at.to_string())).collect()
            }
            Kind::OwnWords(_) => Vec::new(),
        };
        let error = wrong.get(&name).copied();
        let view = QuestionView { name, text: question.text.clone(), offered, typed: value, error };
        match groups.iter_mut().find(|group| group.word == question.group) {
            Some(group) => group.questions.push(view),
            None => groups.push(GroupView {
                id: format!("g{}", groups.len() + 1),
                word: question.group.clone(),
                questions: vec![view],
            }),
        }
    }
    groups
}

/// All that the page and its check rest on.
struct Asked {
    studio: Studio,
    client: Client,
    questionnaire: Questionnaire,
    age: AgeVerdict,
}

async fn load(house: &House, staff: &Staff, id: ClientId) -> Result<Asked, Problem> {
    let mut db = house.store.read().await?;
    let client = seen(&mut db, id, &staff.who).await?;
    not_restricted(&client)?;
    let studio = Studio::load(&mut db).await?;
    let ages = ClientSettings::load(&mut db).await?.ages;
    let age = ages.judge(client.born, studio.zone.day(staff.visitor.now.0));
    Ok(Asked { studio, client, questionnaire: questions::store::newest(&mut db).await?, age })
}

async fn ask(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let asked = load(&house, &staff, id).await?;
    page(&view(&house, &staff, &asked, &BTreeMap::new(), &BTreeMap::new(), new_form_key()))
}

fn view(
    house: &House,
    staff: &Staff,
    asked: &Asked,
    typed: &BTreeMap<String, String>,
    wrong: &BTreeMap<String, &'static str>,
    key: String,
) -> AskPage {
    let minor = asked.age == AgeVerdict::WithGuardian;
    let get = |name: &str| typed.get(name).cloned().unwrap_or_default();
    let ways = GivenBy::ALL.into_iter().filter(|by| minor == (*by == GivenBy::Guardian));
    let chosen = if minor { GivenBy::Guardian.word().to_owned() } else { get("given_by") };
    let error = |name: &str| wrong.get(name).map(|sentence| (*sentence).to_owned());
    let mut given_by = choice_field(
        "radio",
        "given_by",
        "How the answers are given",
        &chosen,
        ways.map(|by| (by.word().to_owned(), by.words().to_owned())),
    );
    given_by.error = error("given_by");
    let mut guardian = text_field("guardian", "Guardian’s name", &get("guardian"));
    guardian.error = error("guardian");
    let groups = groups(&asked.questionnaire, typed, wrong);
    let mut mistakes = crate::web::form::mistakes([&given_by, &guardian]);
    for question in groups.iter().flat_map(|group| &group.questions) {
        if let Some(sentence) = question.error {
            let anchor = if question.offered.is_empty() { String::new() } else { "-1".to_owned() };
            mistakes.push(Mistake {
                anchor: format!("f-{}{anchor}", question.name),
                label: question.text.clone(),
                sentence: sentence.to_owned(),
            });
        }
    }
    AskPage {
        frame: house.frame(&asked.studio, &staff.visitor, Place::Door, format!("{}: consultation", asked.client.short)),
        key,
        action: house.url(&format!("/door/clients/{}/consultations", asked.client.id)),
        back: house.url(&format!("/door/clients/{}", asked.client.id)),
        hand_over: house.url(&format!("/door/clients/{}/hand-over/consultation", asked.client.id)),
        version: asked.questionnaire.version,
        asked: asked.questionnaire.questions.iter().map(asked_as).collect::<Vec<_>>().join(" "),
        moved: None,
        minor,
        given_by,
        guardian,
        groups,
        mistakes,
    }
}

/// A question by the name of its field, with the mark of how it is asked.
fn asked_as(question: &Question) -> String {
    format!("q_{}:{}", question.key, question.mark())
}

/// What was typed without the choices of questions that are asked otherwise by now, and the names of those: the same place in the list
/// may be another answer. Own words stay; they are read again.
fn still_asked(all: &Questionnaire, typed: &BTreeMap<String, String>) -> (BTreeMap<String, String>, Vec<String>) {
    let marks: Vec<&str> = typed.get(ASKED).map(|marks| marks.split(' ').collect()).unwrap_or_default();
    let mut typed = typed.clone();
    let mut otherwise = Vec::new();
    for question in all.questions.iter().filter(|question| !marks.contains(&asked_as(question).as_str())) {
        let name = format!("q_{}", question.key);
        if matches!(question.kind, Kind::OneOf(_)) {
            typed.remove(&name);
        }
        otherwise.push(name);
    }
    (typed, otherwise)
}

/// What was typed as answers, or what is wrong by field name.
fn check(
    asked: &Asked,
    typed: &BTreeMap<String, String>,
) -> Result<(GivenBy, SealedAnswers), BTreeMap<String, &'static str>> {
    let mut wrong: BTreeMap<String, &'static str> = BTreeMap::new();
    let get = |name: &str| typed.get(name).map(String::as_str).unwrap_or_default();
    let given_by = GivenBy::from_word(get("given_by"));
    let by_guardian = given_by == Some(GivenBy::Guardian);
    let refused = match asked.age {
        _ if given_by.is_none() => Some("Choose one of these."),
        AgeVerdict::Refused => Some("She is too young by the studio’s rule: no treatment, no questions."),
        AgeVerdict::WithGuardian if !by_guardian => Some("At her age her guardian answers."),
        _ => None,
    };
    if let Some(sentence) = refused {
        wrong.insert("given_by".to_owned(), sentence);
    }
    let guardian = if by_guardian { text::line(get("guardian"), 120) } else { Ok(String::new()) };
    if guardian.is_err() {
        wrong.insert("guardian".to_owned(), "Type the guardian’s name.");
    }
    let guardian = guardian.unwrap_or_default();
    let mut answers: Vec<Answered> = Vec::new();
    for question in &asked.questionnaire.questions {
        let name = format!("q_{}", question.key);
        match question.answer(get(&name)) {
            Ok(answered) => answers.push(answered),
            Err(sentence) => {
                wrong.insert(name, sentence);
            }
        }
    }
    match given_by {
        Some(given_by) if wrong.is_empty() => Ok((given_by, SealedAnswers { answers, guardian })),
        _ => Err(wrong),
    }
}

async fn keep(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let asked = load(&house, &staff, id).await?;
    let version = asked.questionnaire.version;
    if form.typed.get("version").is_none_or(|typed| *typed != version.to_string()) {
        let (typed, otherwise) = still_asked(&asked.questionnaire, &form.typed);
        if !otherwise.is_empty() {
            let wrong = otherwise.into_iter().map(|name| (name, "This question was changed: ask it as it stands now."));
            let key = form.key.again();
            let view = view(&house, &staff, &asked, &typed, &wrong.collect(), key);
            return page_with(StatusCode::CONFLICT, &AskPage { moved: Some(MOVED), ..view });
        }
    }
    let (given_by, answers) = match check(&asked, &form.typed) {
        Ok(checked) => checked,
        Err(wrong) => {
            let key = form.key.again();
            let view = view(&house, &staff, &asked, &form.typed, &wrong, key);
            return page_again(&view);
        }
    };
    // When they were given, also where they waited on a device since.
    let now = staff.visitor.now.0;
    let at = done_at(form.typed.get(DONE).map_or("", String::as_str), now).min(now);
    let (who, keeping) = (staff.who.clone(), house.clone());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, house, answers) = (who.clone(), keeping.clone(), answers.clone());
            Box::pin(async move {
                not_restricted(&seen(tx.db(), id, &who).await?)?;
                let consultation =
                    Consultation { id: ConsultationId::new(), client: id, version, at, given_by, taken_by: who.id };
                store::add(tx, house.store.keys(), &consultation, &answers).await?;
                let to = if reads_health(&who) { format!("/consultations/{}", consultation.id) } else { String::new() };
                Ok(Kept::see(format!("/door/clients/{id}{to}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
