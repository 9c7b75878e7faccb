//! A form that was filled in to its end is given: kept as the consultation or consent it is, in one write.

use axum::response::Response;

use super::fill_page::{Content, Filling, wrong_on};
use super::{Draft, HandedForm, HandedState, store};
use crate::base::ids::ConsultationId;
use crate::base::problem::Problem;
use crate::clients::consents::sign_form::{Given, TypedConsent};
use crate::clients::consents::{Purpose, sign_page};
use crate::clients::consultation::store::{self as consultations, Consultation};
use crate::clients::consultation::{GivenBy, SealedAnswers};
use crate::clients::{not_restricted, seen};
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::guard::HandedOver;
use crate::web::serve::answer;
use crate::web::visitor::HANDED_OVER;

/// The number of the first page on which something is still missing.
pub(super) fn first_unfinished(filling: &Filling, draft: &Draft) -> Option<usize> {
    filling.steps.iter().position(|step| !wrong_on(filling, *step, draft).is_empty()).map(|at| at + 1)
}

/// What is given, ready to be kept.
#[derive(Clone)]
enum Ready {
    Answers(SealedAnswers),
    Consent(Purpose, String, Box<Given>),
}

fn ready(filling: &Filling, draft: &Draft) -> Result<Ready, Problem> {
    match (&filling.content, filling.handed.form) {
        (Content::Questions(all), _) => {
            let mut answers = Vec::new();
            for question in &all.questions {
                let given = question.answer(draft.get(&format!("q_{}", question.key)));
                answers.push(given.map_err(|sentence| Problem::Unreadable(sentence.to_owned()))?);
            }
            let guardian = if filling.minor { draft.get("guardian").trim().to_owned() } else { String::new() };
            Ok(Ready::Answers(SealedAnswers { answers, guardian }))
        }
        (Content::Wording(body), HandedForm::Consent(purpose)) => {
            let given = TypedConsent::of(&draft.typed).check(filling.minor)?;
            Ok(Ready::Consent(purpose, body.clone(), Box::new(given)))
        }
        _ => Err(Problem::broken("a form whose wording is none")),
    }
}

pub(super) async fn give(
    house: &House,
    by: &HandedOver,
    filling: &Filling,
    draft: Draft,
    key: &FormKey,
) -> Result<Response, Problem> {
    let ready = ready(filling, &draft)?;
    let (who, keeping, handed, minor) = (by.who.clone(), house.clone(), filling.handed.clone(), filling.minor);
    let (client, version) = (filling.client.id, draft.version);
    let kept = house
        .store
        .write(key, move |tx| {
            let (who, house, handed, ready) = (who.clone(), keeping.clone(), handed.clone(), ready.clone());
            Box::pin(async move {
                not_restricted(&seen(tx.db(), client, &who).await?)?;
                // First: of two that give it at once, one finds it closed and writes nothing.
                store::end(tx, handed.id, HandedState::Given).await?;
                let keys = house.store.keys();
                match ready {
                    Ready::Answers(answers) => {
                        let given_by = if minor { GivenBy::Guardian } else { GivenBy::Client };
                        let consultation = Consultation {
                            id: ConsultationId::new(),
                            client,
                            version,
                            at: tx.now.0,
                            given_by,
                            taken_by: handed.by,
                        };
                        consultations::add(tx, keys, &consultation, &answers).await?;
                    }
                    Ready::Consent(purpose, body, given) => {
                        let wording = (version, body);
                        sign_page::keep_signed(tx, keys, client, purpose, wording, minor, *given, handed.by).await?;
                    }
                }
                Ok(Kept::see(HANDED_OVER))
            })
        })
        .await?;
    Ok(answer(house, &kept))
}
