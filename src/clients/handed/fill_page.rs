//! The form in a client's hands, page by page. Each page keeps what was filled in before the next is shown; nothing counts until the end.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::finish::{self, first_unfinished};
use super::store::{self, Handed};
use super::{Draft, HandedForm, HandedState, Step, steps};
use crate::base::ids::HandedFormId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::clients::consents::blank_page::paragraphs;
use crate::clients::consents::sign_form::mark;
use crate::clients::consents::{self};
use crate::clients::consultation::ask_page::{QuestionView, groups};
use crate::clients::minors::AgeVerdict;
use crate::clients::questions::{self, Kind, Questionnaire};
use crate::clients::settings::ClientSettings;
use crate::clients::{Client, not_restricted, seen};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::HandedOver;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::HANDED_OVER;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/handed-over", first)
        .get("/handed-over/{step}", show)
        .post("/handed-over/{step}", keep)
        .post("/handed-over/in-person", in_person)
}

/// What one page asks or shows.
enum Matter {
    Question(QuestionView),
    Text(Vec<String>),
    Fields {
        lead: &'static str,
        fields: Vec<FieldView>,
    },
    Signature {
        lead: &'static str,
        fields: Vec<FieldView>,
        name: &'static str,
        strokes: String,
        label: &'static str,
        typed: FieldView,
    },
    Review {
        lead: &'static str,
        lines: Vec<(String, String, String)>,
    },
}

#[derive(Template)]
#[template(path = "clients/handed.html")]
struct HandedPage {
    frame: Frame,
    key: String,
    action: String,
    /// "2 of 9".
    place: String,
    back: Option<String>,
    button: &'static str,
    in_person: String,
    /// The words of the way out.
    rather: &'static str,
    /// True where something is signed: then the script for it is fetched.
    signs: bool,
    matter: Matter,
    mistakes: Vec<Mistake>,
}

#[derive(Template)]
#[template(path = "clients/handed_done.html")]
struct DonePage {
    frame: Frame,
    sentence: &'static str,
}

/// What is asked: the questions, or the wording.
pub(super) enum Content {
    Questions(Questionnaire),
    Wording(String),
}

/// A form in a client's hands with all it rests on.
pub(super) struct Filling {
    pub(super) studio: Studio,
    pub(super) handed: Handed,
    pub(super) client: Client,
    pub(super) draft: Draft,
    pub(super) content: Content,
    pub(super) minor: bool,
    pub(super) steps: Vec<Step>,
}

async fn load(house: &House, by: &HandedOver) -> Result<Filling, Problem> {
    let id: HandedFormId = by.form.parse().map_err(|_| Problem::NotHere("form"))?;
    let mut db = house.store.read().await?;
    let (handed, draft) = store::one(&mut db, house.store.keys(), id).await?;
    let client = seen(&mut db, handed.client, &by.who).await?;
    not_restricted(&client)?;
    let studio = Studio::load(&mut db).await?;
    let ages = ClientSettings::load(&mut db).await?.ages;
    let minor = ages.judge(client.born, studio.zone.day(by.visitor.now.0)) == AgeVerdict::WithGuardian;
    let (version, content, questions) = match handed.form {
        HandedForm::Consultation => {
            let newest = questions::store::newest(&mut db).await?;
            let many = newest.questions.len();
            (newest.version, Content::Questions(newest), many)
        }
        HandedForm::Consent(purpose) => {
            let (version, body) = consents::store::text(&mut db, purpose).await?;
            (version, Content::Wording(body), 0)
        }
    };
    if handed.state == HandedState::Open && version != draft.version {
        return Err(Problem::Clash(
            "The studio changed this form while it was being filled in.".into(),
            "Give the device back; the form is begun anew.".into(),
        ));
    }
    let steps = steps(handed.form, minor, questions);
    Ok(Filling { studio, handed, client, draft, content, minor, steps })
}

async fn first(by: HandedOver, State(house): State<House>) -> Result<Response, Problem> {
    let sentence = match load(&house, &by).await {
        Ok(filling) => match filling.handed.state {
            HandedState::Open => return Ok(to(&house, 1)),
            HandedState::Given => "Thank you. Everything is kept. Please give the device back.",
            HandedState::InPerson => "Please give the device back: somebody of the studio asks you in person.",
        },
        // Also where the form cannot go on, the way back must be reachable.
        Err(Problem::NotHere(_) | Problem::Clash(..)) => "This form cannot go on. Please give the device back.",
        Err(other) => return Err(other),
    };
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let frame = house.frame(&studio, &by.visitor, Place::Nowhere, "Done");
    page(&DonePage { frame, sentence })
}

fn to(house: &House, place: usize) -> Response {
    Redirect::to(&house.url(&format!("{HANDED_OVER}/{place}"))).into_response()
}

/// The page with this number, while the form is open.
fn step(filling: &Filling, place: usize) -> Result<Step, Problem> {
    place.checked_sub(1).and_then(|at| filling.steps.get(at)).copied().ok_or(Problem::NotHere("page"))
}

async fn show(by: HandedOver, State(house): State<House>, At(place): At<usize>) -> Result<Response, Problem> {
    let filling = load(&house, &by).await?;
    let step = step(&filling, place)?;
    if filling.handed.state != HandedState::Open {
        return Ok(Redirect::to(&house.url(HANDED_OVER)).into_response());
    }
    page(&view(&house, &by, &filling, (place, step), &filling.draft, &[], new_form_key()))
}

fn view(
    house: &House,
    by: &HandedOver,
    filling: &Filling,
    (place, step): (usize, Step),
    draft: &Draft,
    notes: &[FieldNote],
    key: String,
) -> HandedPage {
    let url = |place: usize| house.url(&format!("{HANDED_OVER}/{place}"));
    let (title, matter) = matter(filling, step, draft, notes, &url);
    let last = place == filling.steps.len();
    HandedPage {
        frame: house.frame(&filling.studio, &by.visitor, Place::Nowhere, title),
        key,
        action: url(place),
        place: format!("{place} of {}", filling.steps.len()),
        back: (place > 1).then(|| url(place - 1)),
        button: match (filling.handed.form, last) {
            (_, false) => "On",
            (HandedForm::Consultation, true) => "Give these answers",
            (HandedForm::Consent(_), true) => "Sign",
        },
        in_person: house.url(&format!("{HANDED_OVER}/in-person")),
        rather: match filling.handed.form {
            HandedForm::Consultation => "I would rather be asked in person",
            HandedForm::Consent(_) => "I would rather speak with somebody first",
        },
        signs: matches!(matter, Matter::Signature { .. }),
        mistakes: mistakes_of(&matter),
        matter,
    }
}

fn mistakes_of(matter: &Matter) -> Vec<Mistake> {
    match matter {
        Matter::Question(QuestionView { name, text, offered, error: Some(sentence), .. }) => {
            let end = if offered.is_empty() { "" } else { "-1" };
            vec![Mistake { anchor: format!("f-{name}{end}"), label: text.clone(), sentence: (*sentence).to_owned() }]
        }
        Matter::Fields { fields, .. } => mistakes(fields),
        Matter::Signature { fields, typed, .. } => mistakes(fields.iter().chain([typed])),
        _ => Vec::new(),
    }
}

fn matter(
    filling: &Filling,
    step: Step,
    draft: &Draft,
    notes: &[FieldNote],
    url: &dyn Fn(usize) -> String,
) -> (String, Matter) {
    let noted = |mut fields: Vec<FieldView>| {
        note_fields(&mut fields, notes);
        fields
    };
    let get = |name: &str| draft.get(name);
    match (step, &filling.content) {
        (Step::Question(at), Content::Questions(all)) => question(all, at, draft, !notes.is_empty()),
        (Step::Answers, Content::Questions(all)) => {
            let lead = "Look over what you answered. Nothing is given before you press the button.";
            ("Your answers".to_owned(), Matter::Review { lead, lines: lines(filling, all, draft, url) })
        }
        (Step::Wording, Content::Wording(body)) => (agreement(filling), Matter::Text(paragraphs(body))),
        (Step::Guardian, _) => {
            let fields = noted(vec![text_field("guardian", "Guardian’s name", get("guardian"))]);
            let lead = "At this age the guardian answers the questions.";
            ("Who answers".to_owned(), Matter::Fields { lead, fields })
        }
        (Step::Name, _) => {
            let agree = FieldView {
                name: "agree",
                label: "I agree to sign on this screen".to_owned(),
                kind: "check",
                value: get("agree").to_owned(),
                ..FieldView::default()
            };
            let name = text_field("printed_name", "Name, as it is to be printed", get("printed_name"));
            let lead = "Look over this before you sign. You may withdraw it at any time, and you get a copy.";
            (agreement(filling), Matter::Fields { lead, fields: noted(vec![name, agree]) })
        }
        (Step::GuardianSignature, _) => {
            let fields = vec![
                text_field("guardian_name", "Guardian’s name, printed", get("guardian_name")),
                text_field("guardian_relation", "Relation", get("guardian_relation"))
                    .hinted("Mother, father, legal guardian."),
            ];
            let lead = "The guardian agrees as well, and signs here.";
            let matter = signature(lead, noted(fields), "guardian_strokes", "guardian_typed", draft, notes);
            ("The guardian’s signature".to_owned(), matter)
        }
        _ => {
            let lead = "Sign with a finger or a pen, or type your name instead.";
            let matter = signature(lead, Vec::new(), "strokes", "typed_name", draft, notes);
            ("Your signature".to_owned(), matter)
        }
    }
}

fn agreement(filling: &Filling) -> String {
    match filling.handed.form {
        HandedForm::Consent(purpose) => format!("Consent to {}", purpose.words()),
        HandedForm::Consultation => "Consultation".to_owned(),
    }
}

fn question(all: &Questionnaire, at: usize, draft: &Draft, is_wrong: bool) -> (String, Matter) {
    let mut wrong = BTreeMap::new();
    let one = Questionnaire { version: all.version, questions: all.questions.get(at).cloned().into_iter().collect() };
    if let (true, Some(question)) = (is_wrong, one.questions.first()) {
        let name = format!("q_{}", question.key);
        if let Err(sentence) = question.answer(draft.get(&name)) {
            wrong.insert(name, sentence);
        }
    }
    let group = groups(&one, &draft.typed, &wrong).into_iter().next();
    match group.and_then(|group| group.questions.into_iter().next().map(|question| (group.word, question))) {
        Some((word, question)) => (word, Matter::Question(question)),
        None => (String::new(), Matter::Text(Vec::new())),
    }
}

fn signature(
    lead: &'static str,
    fields: Vec<FieldView>,
    name: &'static str,
    typed: &'static str,
    draft: &Draft,
    notes: &[FieldNote],
) -> Matter {
    let mut by_name = [text_field(typed, "Or type the name instead", draft.get(typed)).or_empty()];
    note_fields(&mut by_name, notes);
    let [typed] = by_name;
    let label = if name == "strokes" { "Your signature" } else { "The guardian’s signature" };
    Matter::Signature { lead, fields, name, strokes: draft.get(name).to_owned(), label, typed }
}

/// Each question with its answer and the way to change it.
fn lines(
    filling: &Filling,
    all: &Questionnaire,
    draft: &Draft,
    url: &dyn Fn(usize) -> String,
) -> Vec<(String, String, String)> {
    let line = |(at, step): (usize, &Step)| match step {
        Step::Guardian => Some(("Guardian".to_owned(), draft.get("guardian").to_owned(), url(at + 1))),
        Step::Question(place) => all.questions.get(*place).map(|question| {
            let given = draft.get(&format!("q_{}", question.key));
            let words = match &question.kind {
                Kind::OneOf(offered) => given
                    .parse::<usize>()
                    .ok()
                    .and_then(|place| offered.get(place))
                    .map_or_else(|| "not answered yet".to_owned(), |one| one.words.clone()),
                Kind::OwnWords(_) => given.to_owned(),
            };
            (question.text.clone(), words, url(at + 1))
        }),
        _ => None,
    };
    filling.steps.iter().enumerate().filter_map(line).collect()
}

/// The fields that belong to a page.
pub(super) fn fields_of(filling: &Filling, step: Step) -> Vec<String> {
    let named = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    match (step, &filling.content) {
        (Step::Question(at), Content::Questions(all)) => {
            all.questions.get(at).map(|question| format!("q_{}", question.key)).into_iter().collect()
        }
        (Step::Guardian, _) => named(&["guardian"]),
        (Step::Name, _) => named(&["printed_name", "agree"]),
        (Step::Signature, _) => named(&["strokes", "typed_name"]),
        (Step::GuardianSignature, _) => {
            named(&["guardian_name", "guardian_relation", "guardian_strokes", "guardian_typed"])
        }
        _ => Vec::new(),
    }
}

/// What is wrong on a page as it is filled in.
pub(super) fn wrong_on(filling: &Filling, step: Step, draft: &Draft) -> Vec<FieldNote> {
    let mut notes = Notes::default();
    let get = |name: &str| draft.get(name);
    match (step, &filling.content) {
        (Step::Question(at), Content::Questions(all)) => {
            let Some(question) = all.questions.get(at) else { return Vec::new() };
            let name = format!("q_{}", question.key);
            if let Err(sentence) = question.answer(get(&name)) {
                return vec![FieldNote { field: name.into(), sentence: sentence.to_owned() }];
            }
        }
        (Step::Guardian, _) if text::line(get("guardian"), 120).is_err() => {
            notes.add("guardian", "Type the guardian’s name.");
        }
        (Step::Name, _) => {
            notes.line("printed_name", get("printed_name"), 120);
            if get("agree") != "yes" {
                notes.add("agree", "If you would rather sign on paper, say so: give the device back.");
            }
        }
        (Step::Signature, _) => {
            mark(&mut notes, "typed_name", get("strokes"), get("typed_name"));
        }
        (Step::GuardianSignature, _) => {
            notes.line("guardian_name", get("guardian_name"), 120);
            notes.line("guardian_relation", get("guardian_relation"), 60);
            mark(&mut notes, "guardian_typed", get("guardian_strokes"), get("guardian_typed"));
        }
        _ => {}
    }
    notes.all().to_vec()
}

async fn keep(
    by: HandedOver,
    State(house): State<House>,
    At(place): At<usize>,
    form: Form<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let filling = load(&house, &by).await?;
    let step = step(&filling, place)?;
    if filling.handed.state != HandedState::Open {
        return Ok(Redirect::to(&house.url(HANDED_OVER)).into_response());
    }
    let mut draft = filling.draft.clone();
    for name in fields_of(&filling, step) {
        // A tick that was taken back is not sent.
        let value = form.typed.get(&name).cloned().unwrap_or_default();
        draft.typed.insert(name, value);
    }
    let notes = wrong_on(&filling, step, &draft);
    if !notes.is_empty() {
        let key = form.key.again();
        let view = view(&house, &by, &filling, (place, step), &draft, &notes, key);
        return page_again(&view);
    }
    if place == filling.steps.len() {
        return match first_unfinished(&filling, &draft) {
            Some(missing) => Ok(to(&house, missing)),
            None => finish::give(&house, &by, &filling, draft, &form.key).await,
        };
    }
    let (keeping, handed) = (house.clone(), filling.handed);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (house, handed, draft) = (keeping.clone(), handed.clone(), draft.clone());
            Box::pin(async move {
                store::keep_draft(tx, house.store.keys(), &handed, &draft).await?;
                Ok(Kept::see(format!("{HANDED_OVER}/{}", place + 1)))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn in_person(by: HandedOver, State(house): State<House>, form: Form<Nothing>) -> Result<Response, Problem> {
    let id: HandedFormId = by.form.parse().map_err(|_| Problem::NotHere("form"))?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::end(tx, id, HandedState::InPerson).await?;
                Ok(Kept::see(HANDED_OVER))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
