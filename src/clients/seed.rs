//! Clients of the invented studio, kept through this part's own functions.

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};

use super::consents::given::{Consent, Guardian, Mark, Signed, hash};
use super::consents::signature::Strokes;
use super::consents::{Purpose, store as consents};
use super::consultation::store::{self as consultations, Changed, Consultation};
use super::consultation::{GivenBy, SealedAnswers};
use super::photos::Moment;
use super::photos::clean::{Picture, clean};
use super::photos::store as photos;
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
    /// What of it she has taken back since.
    pub(crate) withdrew: Option<Purpose>,
    /// Photos of her own page, drawn here: of nobody.
    pub(crate) photos: usize,
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
                if let Some(purpose) = seed.withdrew
                    && let Some(consent) = consents::newest(tx.db(), seed.client.id, purpose).await?
                {
                    let now = tx.now.0;
                    consents::withdraw(tx, seed.client.id, consent.id, by.id, now).await?;
                }
                add_photos(tx, keys, &by, &seed).await?;
                if seed.changed {
                    let now = tx.now.0;
                    consultations::asked(tx, seed.client.id, by.id, Changed::Something, now).await?;
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

/// Photos under her consent, before and after in turn.
async fn add_photos(tx: &mut Tx, keys: &Keys, by: &Who, seed: &SeedClient) -> Result<(), Problem> {
    let consent = consents::newest(tx.db(), seed.client.id, Purpose::RecordPhotos).await?;
    let Some(consent) = consent.filter(|consent| consent.withdrawn.is_none()) else { return Ok(()) };
    for n in 0..seed.photos {
        let moment = if n % 2 == 0 { Moment::Before } else { Moment::After };
        let picture = drawn_eye(if n % 2 == 0 { 9 } else { 21 })?;
        photos::add(tx, keys, seed.client.id, consent.id, (moment, None), by.id, &picture).await?;
    }
    Ok(())
}

/// A closed lid with so many lashes, drawn: nobody was photographed for it. Goes through the same cleaning as a photo that is sent.
fn drawn_eye(lashes: u32) -> Result<Picture, Problem> {
    const SKIN: Rgb<u8> = Rgb([226, 192, 172]);
    const DARK: Rgb<u8> = Rgb([52, 38, 34]);
    let mut drawing = RgbImage::from_pixel(640, 400, SKIN);
    let lid = |x: u32| 240 - (x.abs_diff(320)).pow(2) / 900;
    for x in 90..550 {
        for y in 0..5 {
            drawing.put_pixel(x, lid(x) + y, DARK);
        }
    }
    for lash in 0..lashes {
        let root = 100 + lash * 440 / lashes.max(1);
        for step in 0..70 {
            let lean = step * root / 320;
            let (x, y) = (root + lean - step, lid(root) + step);
            for wide in 0..3 {
                if x + wide < 640 && y < 400 {
                    drawing.put_pixel(x + wide, y, DARK);
                }
            }
        }
    }
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, 90).encode_image(&drawing).map_err(Problem::broken)?;
    clean(&file).map_err(Problem::broken)
}
