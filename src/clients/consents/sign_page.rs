//! A consent is read and signed: the wording, then the signature, then who saw it. Ages are judged here for today, and again elsewhere
//! for the day of the test and of the appointment.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::blank_page::paragraphs;
use super::given::{Consent, Signed, hash};
use super::sign_form::{Given, TypedConsent};
use super::{Purpose, store};
use crate::base::ids::{ClientId, ConsentId, PersonId};
use crate::base::problem::{FieldNote, Problem};
use crate::clients::consultation;
use crate::clients::minors::AgeVerdict;
use crate::clients::questions::Answered;
use crate::clients::settings::ClientSettings;
use crate::clients::{Client, not_restricted, seen};
use crate::store::keys::Keys;
use crate::store::{Db, Kept, Tx};
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
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
    hand_over: String,
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
pub(in crate::clients) fn refusal(age: AgeVerdict, purpose: Purpose) -> Option<&'static str> {
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
        hand_over: house.url(&format!("{path}/hand-over/{}", purpose.word())),
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
    if form.typed.version != signing.version.to_string() {
        return Err(Problem::Clash(
            "The owner changed this wording while it was being read.".into(),
            "Open it anew and read it as it stands now; nothing was signed.".into(),
        ));
    }
    let given = match form.typed.check(with_guardian) {
        Ok(given) => given,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &staff, &signing, purpose, &form.typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let (who, keeping) = (staff.who.clone(), house.clone());
    let wording = (signing.version, signing.body);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, house, given, wording) = (who.clone(), keeping.clone(), given.clone(), wording.clone());
            Box::pin(async move {
                not_restricted(&seen(tx.db(), id, &who).await?)?;
                let keys = house.store.keys();
                let consent = keep_signed(tx, keys, id, purpose, wording, with_guardian, given, who.id).await?;
                Ok(Kept::see(format!("/door/clients/{id}/consents/{consent}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// Keeps a consent that was read and signed a moment ago. `wording` is its version and text.
#[expect(clippy::too_many_arguments, reason = "a consent is as many facts; none of them is optional")]
pub(in crate::clients) async fn keep_signed(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    purpose: Purpose,
    (version, body): (i64, String),
    by_guardian: bool,
    given: Given,
    taken_by: PersonId,
) -> Result<ConsentId, Problem> {
    let language = given.language.clone();
    let signed = Signed::of(given, snapshot(tx.db(), keys, client, purpose).await?);
    let consent = Consent {
        id: ConsentId::new(),
        client,
        given_as: client,
        purpose,
        version,
        text_hash: hash(body.as_bytes()),
        body,
        language,
        by_guardian,
        at: tx.now.0,
        taken_by,
        digest: String::new(),
        withdrawn: None,
    };
    store::add(tx, keys, &consent, &signed).await?;
    Ok(consent.id)
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
