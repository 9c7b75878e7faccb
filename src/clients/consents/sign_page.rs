//! A consent is read and signed: the wording, then the signature, then who saw it. Ages are judged here for today, and again elsewhere
//! for the day of the test and of the appointment.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::blank_page::paragraphs;
use super::given::{Consent, Signed, hash};
use super::sign_form::{Given, TypedConsent};
use super::{Purpose, store};
use crate::base::ids::{ClientId, ConsentId};
use crate::base::problem::{FieldNote, Problem};
use crate::clients::consultation;
use crate::clients::minors::AgeVerdict;
use crate::clients::questions::Answered;
use crate::clients::settings::ClientSettings;
use crate::clients::{Client, not_restricted, seen};
use crate::store::keys::Keys;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/sign/{purpose}", show).post("/door/clients/{client}/sign/{purpose}", sign)
}

struct GuardianView {
    fields: Vec<FieldView>,
    typed: FieldView,
    strokes: String,
}

#[derive(Template)]
#[template(path = "clients/sign.html")]
struct SignPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    version: i64,
    paragraphs: Vec<String>,
    /// Why it cannot be signed today; then there is no form.
    refused: Option<&'static str>,
    who: Vec<FieldView>,
    strokes: String,
    typed: FieldView,
    guardian: Option<GuardianView>,
    after: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// What the page and its check rest on.
struct Signing {
    studio: Studio,
    client: Client,
    version: i64,
    body: String,
    age: AgeVerdict,
}

async fn load(house: &House, staff: &Staff, id: ClientId, purpose: Purpose) -> Result<Signing, Problem> {
    let mut db = house.store.read().await?;
    let client = seen(&mut db, id, &staff.who).await?;
    not_restricted(&client)?;
    let studio = Studio::load(&mut db).await?;
    let ages = ClientSettings::load(&mut db).await?.ages;
    let age = ages.judge(client.born, studio.zone.day(staff.visitor.now.0));
    let (version, body) = store::text(&mut db, purpose).await?;
    Ok(Signing { studio, client, version, body, age })
}

/// Why nobody may sign this today.
fn refusal(age: AgeVerdict, purpose: Purpose) -> Option<&'static str> {
    match age {
        AgeVerdict::NotKnown => {
            Some("Her birth date is not known, and the studio’s ages are judged by it. Enter it first.")
        }
        AgeVerdict::Refused => Some("She is too young by the studio’s rule."),
        AgeVerdict::WithGuardian if purpose.for_adults_only() => {
            Some("At her age neither she nor a guardian can agree to this here.")
        }
        AgeVerdict::WithGuardian | AgeVerdict::OfAge => None,
    }
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At((id, purpose)): At<(ClientId, Purpose)>,
) -> Result<Response, Problem> {
    let signing = load(&house, &staff, id, purpose).await?;
    let typed = TypedConsent {
        printed_name: signing.client.name.clone(),
        language: "English".to_owned(),
        witness: staff.who.name.clone(),
        ..TypedConsent::default()
    };
    page(&view(&house, &staff, &signing, purpose, &typed, &[], new_form_key()))
}

fn view(
    house: &House,
    staff: &Staff,
    signing: &Signing,
    purpose: Purpose,
    typed: &TypedConsent,
    notes: &[FieldNote],
    key: String,
) -> SignPage {
    let path = format!("/door/clients/{}", signing.client.id);
    let (who, after, typed_field) = (typed.who(notes), typed.after(notes), typed.typed_field(notes));
    let guardian = (signing.age == AgeVerdict::WithGuardian).then(|| GuardianView {
        fields: typed.guardian_fields(notes),
        typed: typed.guardian_typed_field(notes),
        strokes: typed.guardian_strokes.clone(),
    });
    let of_guardian = guardian.iter().flat_map(|guardian| guardian.fields.iter().chain([&guardian.typed]));
    SignPage {
        frame: house.frame(
            &signing.studio,
            &staff.visitor,
            Place::Door,
            format!("{}: consent to {}", signing.client.short, purpose.words()),
        ),
        key,
        action: house.url(&format!("{path}/sign/{}", purpose.word())),
        back: house.url(&path),
        version: signing.version,
        paragraphs: paragraphs(&signing.body),
        refused: refusal(signing.age, purpose),
        mistakes: mistakes(who.iter().chain([&typed_field]).chain(of_guardian).chain(&after)),
        who,
        strokes: typed.strokes.clone(),
        typed: typed_field,
        guardian,
        after,
    }
}

async fn sign(
    staff: Staff,
    State(house): State<House>,
    At((id, purpose)): At<(ClientId, Purpose)>,
    form: Form<TypedConsent>,
) -> Result<Response, Problem> {
    let signing = load(&house, &staff, id, purpose).await?;
    if let Some(why) = refusal(signing.age, purpose) {
        return Err(Problem::Clash(why.to_owned(), "Go back to her page.".into()));
    }
    let with_guardian = signing.age == AgeVerdict::WithGuardian;
    let given = match form.typed.check(with_guardian) {
        Ok(given) => given,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let view = view(&house, &staff, &signing, purpose, &form.typed, &notes, key);
            return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
        }
        Err(other) => return Err(other),
    };
    let (who, keeping) = (staff.who.clone(), house.clone());
    let (version, body) = (signing.version, signing.body);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, house, given, body) = (who.clone(), keeping.clone(), given.clone(), body.clone());
            Box::pin(async move {
                not_restricted(&seen(tx.db(), id, &who).await?)?;
                let keys = house.store.keys();
                let signed = Signed::of(given.clone(), snapshot(tx.db(), keys, id, purpose).await?);
                let consent = Consent {
                    id: ConsentId::new(),
                    client: id,
                    given_as: id,
                    purpose,
                    version,
                    text_hash: hash(body.as_bytes()),
                    body,
                    language: given.language,
                    by_guardian: with_guardian,
                    at: tx.now.0,
                    taken_by: who.id,
                    digest: String::new(),
                    withdrawn: None,
                };
                store::add(tx, keys, &consent, &signed).await?;
                Ok(Kept::see(format!("/door/clients/{id}/consents/{}", consent.id)))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

impl Signed {
    fn of(given: Given, answers: Vec<Answered>) -> Self {
        let Given { printed_name, reader, mark, witness, guardian, .. } = given;
        Self { printed_name, mark, guardian, witness, reader, answers }
    }
}

/// What she had said of her health, where the consent rests on it.
async fn snapshot(db: &mut Db, keys: &Keys, client: ClientId, purpose: Purpose) -> Result<Vec<Answered>, Problem> {
    if !matches!(purpose, Purpose::Treatment | Purpose::PatchTest | Purpose::HealthData) {
        return Ok(Vec::new());
    }
    let newest = consultation::store::of_client(db, client).await?.into_iter().next();
    match newest {
        Some(newest) => {
            let opened = consultation::store::answers(db, keys, client, newest.id).await?;
            Ok(opened.map(|opened| opened.answers).unwrap_or_default())
        }
        None => Ok(Vec::new()),
    }
}
