//! A consultation is read: by those who treat, each reading written down before the page is shown. What a doctor answered to it is
//! entered here.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::store::{self, Consultation};
use super::{AdviceGiven, HealthAnswers, InForce, SealedAnswers};
use crate::base::ids::{ClientId, ConsultationId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::clients::names::Names;
use crate::clients::questions::{Answered, Effect};
use crate::clients::{Client, health_answers, not_restricted, note_reading, reads_health, seen};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/consultations/{consultation}", read)
        .post("/door/clients/{client}/consultations/{consultation}/advice", advise)
}

struct AdviceView {
    may: bool,
    words: String,
    from: String,
    entered: String,
}

struct EarlierRow {
    words: String,
    href: String,
}

#[derive(Template)]
#[template(path = "clients/consultation.html")]
struct ReadPage {
    frame: Frame,
    key: String,
    path: String,
    back: String,
    given: String,
    newest: bool,
    state: (&'static str, String),
    do_not_treat: Vec<InForce>,
    advice_first: Vec<InForce>,
    precautions: Vec<InForce>,
    nothing: Vec<Answered>,
    advice: Vec<AdviceView>,
    advice_fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    earlier: Vec<EarlierRow>,
    last_asked: String,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedAdvice {
    from: String,
    dated: String,
    words: String,
    may: String,
}

impl TypedAdvice {
    fn check(&self) -> Result<AdviceGiven, Problem> {
        let mut notes = Notes::default();
        let from = notes.line("from", &self.from, 120);
        let dated = notes.line("dated", &self.dated, 40);
        let words = match text::paragraphs(&self.words, 4000) {
            Ok(words) if words.is_empty() => {
                notes.add("words", "Write what the doctor said, in the doctor’s words.");
                None
            }
            Ok(words) => Some(words),
            Err(bad) => {
                notes.add("words", bad.to_string());
                None
            }
        };
        let may = notes.choice("may", matches!(self.may.as_str(), "yes" | "no").then_some(self.may == "yes"));
        let advice = (|| Some(AdviceGiven { from: from?, dated: dated?, words: words?, may_be_treated: may? }))();
        notes.settle(advice)
    }

    fn fields(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let ways = [("yes", "she may be treated"), ("no", "she may not be treated now")];
        let mut fields = vec![
            text_field("from", "Which doctor", &self.from),
            text_field("dated", "Date on the letter", &self.dated).short(),
            FieldView { kind: "textarea", ..text_field("words", "What the doctor wrote", &self.words) }.hinted(
                "In writing: a letter, a message. What was heard by word of mouth is not enough to lift anything.",
            ),
            choice_field("radio", "may", "That means", &self.may, ways.map(|(a, b)| (a.to_owned(), b.to_owned()))),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

/// What the page rests on.
struct Opened {
    studio: Studio,
    client: Client,
    consultation: Consultation,
    answers: SealedAnswers,
    health: HealthAnswers,
    advice: Vec<(crate::base::time::Instant, crate::base::ids::PersonId, AdviceGiven)>,
    all: Vec<Consultation>,
    names: Names,
}

/// Opens it for somebody who may read it, after the reading was written down.
async fn open(house: &House, staff: &Staff, client: ClientId, id: ConsultationId) -> Result<Opened, Problem> {
    {
        let mut db = house.store.read().await?;
        let client = seen(&mut db, client, &staff.who).await?;
        if !reads_health(&staff.who) {
            return Err(Problem::NotYours("Those who treat her and the owner read what she said of her health."));
        }
        let known = store::of_client(&mut db, client.id).await?;
        known.iter().find(|consultation| consultation.id == id).ok_or(Problem::NotHere("consultation"))?;
    }
    note_reading(house, &staff.who, client, "read consultation", &id.to_string()).await?;
    let keys = house.store.keys();
    let mut db = house.store.read().await?;
    let all = store::of_client(&mut db, client).await?;
    let consultation = all.iter().find(|one| one.id == id).cloned().ok_or(Problem::NotHere("consultation"))?;
    Ok(Opened {
        studio: Studio::load(&mut db).await?,
        client: seen(&mut db, client, &staff.who).await?,
        answers: store::answers(&mut db, keys, client, id).await?.ok_or(Problem::NotHere("consultation"))?,
        health: health_answers(&mut db, keys, client, staff.visitor.now.0).await?,
        advice: store::advice_of(&mut db, keys, client, id).await?,
        names: Names::load(&mut db).await?,
        consultation,
        all,
    })
}

async fn read(
    staff: Staff,
    State(house): State<House>,
    At((client, id)): At<(ClientId, ConsultationId)>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, client, id).await?;
    page(&view(&house, &staff, opened, &TypedAdvice::default(), &[], new_form_key()))
}

fn view(
    house: &House,
    staff: &Staff,
    opened: Opened,
    typed: &TypedAdvice,
    notes: &[FieldNote],
    key: String,
) -> ReadPage {
    let now = staff.visitor.now.0;
    let Opened { studio, client, consultation, answers, health, advice, all, names } = opened;
    let mut sorted = HealthAnswers::default();
    sorted.sort(&answers.answers);
    let when = |at| studio.zone.date_and_clock(at, now);
    let guardian = if answers.guardian.is_empty() { String::new() } else { format!(" ({})", answers.guardian) };
    let newest = health.consultation == Some(consultation.id);
    let waits = newest && !sorted.advice_first.is_empty();
    let advice_fields = if waits { typed.fields(notes) } else { Vec::new() };
    let path = house.url(&format!("/door/clients/{}", client.id));
    ReadPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("{}: what she said", client.short)),
        key,
        given: format!(
            "{}; {}{guardian}; taken by {}; questions version {}",
            when(consultation.at),
            consultation.given_by.words(),
            names.of(consultation.taken_by),
            consultation.version
        ),
        newest,
        state: crate::clients::client_page::health_words(&health, &studio, now),
        nothing: answers.answers.into_iter().filter(|answered| answered.effect == Effect::Nothing).collect(),
        do_not_treat: sorted.do_not_treat,
        advice_first: sorted.advice_first,
        precautions: sorted.precautions,
        advice: advice
            .into_iter()
            .map(|(at, by, given)| AdviceView {
                may: given.may_be_treated,
                from: format!("{}, {}", given.from, given.dated),
                words: given.words,
                entered: format!("entered {} by {}", when(at), names.of(by)),
            })
            .collect(),
        mistakes: mistakes(&advice_fields),
        advice_fields,
        earlier: all
            .iter()
            .filter(|other| other.id != consultation.id)
            .map(|other| EarlierRow {
                words: format!("{}, {}", when(other.at), other.given_by.words()),
                href: format!("{path}/consultations/{}", other.id),
            })
            .collect(),
        last_asked: health
            .last_asked
            .map(|at| format!("“Anything changed?” was last asked {}.", when(at)))
            .unwrap_or_default(),
        back: path.clone(),
        path: format!("{path}/consultations/{}", consultation.id),
    }
}

async fn advise(
    staff: Staff,
    State(house): State<House>,
    At((client, id)): At<(ClientId, ConsultationId)>,
    form: Form<TypedAdvice>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, client, id).await?;
    not_restricted(&opened.client)?;
    if opened.health.consultation != Some(id) {
        return Err(Problem::Clash(
            "She has answered anew since.".into(),
            "Open the newest answers; what a doctor says belongs to those.".into(),
        ));
    }
    let advice = match form.typed.check() {
        Ok(advice) => advice,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &staff, opened, &form.typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let (who, keeping) = (staff.who.clone(), house.clone());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, house, advice) = (who.clone(), keeping.clone(), advice.clone());
            Box::pin(async move {
                seen(tx.db(), client, &who).await?;
                store::add_advice(tx, house.store.keys(), client, id, who.id, &advice).await?;
                Ok(Kept::see(format!("/door/clients/{client}/consultations/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
