//! Clients of the invented studio, kept through this part's own functions.

use super::consents::given::{Consent, Guardian, Mark, Signed, hash};
use super::consents::signature::Strokes;
use super::consents::{Purpose, store as consents};
use super::consultation::store::{self as consultations, Changed, Consultation};
use super::consultation::{GivenBy, SealedAnswers};
use super::questions::{Kind, Question};
use super::{Client, questions, rights, store};
use crate::base::actor::{Actor, Who};
use crate::base::ids::{ConsentId, ConsultationId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{FormKey, Kept, Tx};
use crate::web::House;

/// A client with what she said and signed.
#[derive(Debug, Clone)]
pub(crate) struct SeedClient {
    pub(crate) client: Client,
    /// When she answered, and the questions she answered with more than "no": their keys, with her words where they ask for words.
    pub(crate) answered: Option<(Instant, Vec<(&'static str, &'static str)>)>,
    /// She has told since that something changed.
    pub(crate) changed: bool,
    /// What she signed, when she answered.
    pub(crate) signed: Vec<Purpose>,
    /// The guardian who signed with her.
    pub(crate) guardian: Option<&'static str>,
}

/// A hand's movement over the signature box.
const DRAWN: &str =
    "[[180,420,0,420,180,60,610,540,120,820,210,190,1010,500,250],[240,610,420,900,560,560,1500,520,640]]";

/// Keeps her with everything at once.
pub(crate) async fn seed_client(house: &House, by: &Who, seed: SeedClient) -> Result<(), Problem> {
    let (keeping, by) = (house.clone(), by.clone());
    house
        .store
        .write(&FormKey::unkeyed(Actor::Person(by.clone())), move |tx| {
            let (house, by, seed) = (keeping.clone(), by.clone(), seed.clone());
            Box::pin(async move {
                store::add(tx, &seed.client).await?;
                let keys = house.store.keys();
                answer(tx, keys, &by, &seed).await?;
                for purpose in &seed.signed {
                    sign(tx, keys, &by, &seed, *purpose).await?;
                }
                if seed.changed {
                    consultations::asked(tx, seed.client.id, by.id, Changed::Something).await?;
                }
                if let Some(since) = seed.client.restricted {
                    rights::restrict(tx, seed.client.id, Some(since)).await?;
                }
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// "No" where a question offers it, her words where it asks for words.
fn typed(question: &Question, chosen: &[(&'static str, &'static str)]) -> String {
    let own = chosen.iter().find(|(key, _)| *key == question.key);
    match (&question.kind, own) {
        (Kind::OneOf(offered), Some(_)) => (offered.len() - 1).to_string(),
        (Kind::OneOf(_), None) => "0".to_owned(),
        (Kind::OwnWords(_), own) => own.map(|(_, words)| (*words).to_owned()).unwrap_or_default(),
    }
}

async fn answer(tx: &mut Tx, keys: &Keys, by: &Who, seed: &SeedClient) -> Result<(), Problem> {
    let Some((at, chosen)) = &seed.answered else { return Ok(()) };
    let questionnaire = questions::store::newest(tx.db()).await?;
    let answers = questionnaire
        .questions
        .iter()
        .map(|question| question.answer(&typed(question, chosen)).map_err(Problem::broken))
        .collect::<Result<Vec<_>, _>>()?;
    let consultation = Consultation {
        id: ConsultationId::new(),
        client: seed.client.id,
        version: questionnaire.version,
        at: *at,
        given_by: if seed.guardian.is_some() { GivenBy::Guardian } else { GivenBy::Client },
        taken_by: by.id,
    };
    let sealed = SealedAnswers { answers, guardian: seed.guardian.unwrap_or_default().to_owned() };
    consultations::add(tx, keys, &consultation, &sealed).await
}

async fn sign(tx: &mut Tx, keys: &Keys, by: &Who, seed: &SeedClient, purpose: Purpose) -> Result<(), Problem> {
    let (version, body) = consents::text(tx.db(), purpose).await?;
    let at = seed.answered.as_ref().map_or(seed.client.created, |(at, _)| *at);
    let mark = || Strokes::read(DRAWN).map(Mark::Drawn).map_err(Problem::broken);
    let guardian = match seed.guardian {
        None => None,
        Some(name) => Some(Guardian {
            name: name.to_owned(),
            relation: "mother".to_owned(),
            identity_seen_by: by.name.clone(),
            mark: mark()?,
        }),
    };
    let consent = Consent {
        id: ConsentId::new(),
        client: seed.client.id,
        given_as: seed.client.id,
        purpose,
        version,
        language: "English".to_owned(),
        text_hash: hash(body.as_bytes()),
        body,
        by_guardian: guardian.is_some(),
        at,
        taken_by: by.id,
        digest: String::new(),
        withdrawn: None,
    };
    let signed = Signed {
        printed_name: seed.client.name.clone(),
        mark: mark()?,
        guardian,
        witness: by.name.clone(),
        reader: String::new(),
        answers: Vec::new(),
    };
    consents::add(tx, keys, &consent, &signed).await
}
