//! Before a device goes into a client's hands: what she will fill in, and what only the studio knows about it.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{Draft, HandedForm, store};
use crate::base::actor::{Actor, Who};
use crate::base::ids::ClientId;
use crate::base::problem::{FieldNote, Problem};
use crate::clients::consents::{self, sign_page};
use crate::clients::minors::AgeVerdict;
use crate::clients::settings::ClientSettings;
use crate::clients::{Client, not_restricted, questions, seen};
use crate::people;
use crate::store::{Db, FormKey, Kept};
use crate::web::House;
use crate::web::checks::{Notes, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, Staff};
use crate::web::incoming::{At, FormThatSignsIn, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::{HANDED_OVER, Visitor};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/hand-over/{form}", show)
        // Among the doors that stay open, so that the same press sent twice finds its form and no refusal.
        .post("/handed-over/begin/{client}/{form}", begin)
}

#[derive(Template)]
#[template(path = "clients/hand_over.html")]
struct HandOverPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    lead: String,
    /// Why it cannot be handed over; then there is no form.
    refused: Option<&'static str>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct Typed {
    language: String,
    reader: String,
    witness: String,
    guardian_identity: String,
}

/// What the page and its check rest on.
struct Beginning {
    studio: Studio,
    client: Client,
    minor: bool,
    refused: Option<&'static str>,
    version: i64,
}

async fn load(db: &mut Db, who: &Who, visitor: &Visitor, id: ClientId, form: HandedForm) -> Result<Beginning, Problem> {
    let client = seen(db, id, who).await?;
    not_restricted(&client)?;
    let studio = Studio::load(db).await?;
    let ages = ClientSettings::load(db).await?.ages;
    let age = ages.judge(client.born, studio.zone.day(visitor.now.0));
    let refused = match form {
        HandedForm::Consent(purpose) => sign_page::refusal(age, purpose),
        HandedForm::Consultation => {
            (age == AgeVerdict::Refused).then_some("She is too young by the studio’s rule: no treatment, no questions.")
        }
    };
    let version = match form {
        HandedForm::Consent(purpose) => consents::store::text(db, purpose).await?.0,
        HandedForm::Consultation => questions::store::newest(db).await?.version,
    };
    Ok(Beginning { studio, client, minor: age == AgeVerdict::WithGuardian, refused, version })
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At((id, form)): At<(ClientId, HandedForm)>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let beginning = load(&mut db, &staff.who, &staff.visitor, id, form).await?;
    let typed = Typed { language: "English".to_owned(), witness: staff.who.name.clone(), ..Typed::default() };
    page(&view(&house, &staff.visitor, &beginning, form, &typed, &[], new_form_key()))
}

fn view(
    house: &House,
    visitor: &Visitor,
    beginning: &Beginning,
    form: HandedForm,
    typed: &Typed,
    notes: &[FieldNote],
    key: String,
) -> HandOverPage {
    let id = beginning.client.id;
    let mut fields = match form {
        HandedForm::Consultation => Vec::new(),
        HandedForm::Consent(_) => fields(typed, beginning.minor),
    };
    note_fields(&mut fields, notes);
    let lead = match form {
        HandedForm::Consultation => "She answers the questions of the consultation herself, one at a time.".to_owned(),
        HandedForm::Consent(purpose) => format!("She reads and signs: {}.", purpose.words()),
    };
    HandOverPage {
        frame: house.frame(&beginning.studio, visitor, Place::Door, format!("Hand over to {}", beginning.client.short)),
        key,
        action: house.url(&format!("{HANDED_OVER}/begin/{id}/{form}")),
        back: house.url(&format!("/door/clients/{id}")),
        lead,
        refused: beginning.refused,
        mistakes: mistakes(&fields),
        fields,
    }
}

fn fields(typed: &Typed, minor: bool) -> Vec<FieldView> {
    let mut fields = vec![
        text_field("language", "Language it is read in", &typed.language).short(),
        text_field("reader", "Read or translated by", &typed.reader)
            .hinted("Where somebody reads it to her or puts it into her language.")
            .or_empty(),
        text_field("witness", "Seen by (witness)", &typed.witness).hinted("Who of the studio sees her sign."),
    ];
    if minor {
        fields.push(
            text_field("guardian_identity", "Guardian’s identity seen by", &typed.guardian_identity)
                .hinted("Who of the studio looked at the guardian’s identity card."),
        );
    }
    fields
}

/// What only the studio knows of a consent, checked.
fn check(typed: &Typed, form: HandedForm, beginning: &Beginning) -> Result<Draft, Problem> {
    let mut draft = Draft { version: beginning.version, ..Draft::default() };
    if form == HandedForm::Consultation {
        return Ok(draft);
    }
    let mut notes = Notes::default();
    let mut lines = vec![
        ("language", notes.line("language", &typed.language, 40)),
        ("witness", notes.line("witness", &typed.witness, 120)),
    ];
    if !typed.reader.trim().is_empty() {
        lines.push(("reader", notes.line("reader", &typed.reader, 120)));
    }
    if beginning.minor {
        lines.push(("guardian_identity", notes.line("guardian_identity", &typed.guardian_identity, 120)));
    }
    for (name, line) in lines {
        draft.typed.insert(name.to_owned(), line.unwrap_or_default());
    }
    draft.typed.insert("printed_name".to_owned(), beginning.client.name.clone());
    notes.settle(Some(draft))
}

async fn begin(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    At((id, form)): At<(ClientId, HandedForm)>,
    sent: FormThatSignsIn<Typed>,
) -> Result<Response, Problem> {
    let (who, handed) = match &visitor.actor {
        Actor::HandedOver(who) => (who.clone(), true),
        Actor::Person(who) => (who.clone(), false),
        _ => return Err(Problem::SignIn),
    };
    // The same press sent once more, when the first had done its work: it is the person's, whoever holds the device by now.
    let key = FormKey { actor: Actor::Person(who.clone()), ..sent.key };
    if let Some(first) = house.store.first_result(&key).await? {
        return Ok(answer(&house, &first));
    }
    if handed {
        return Err(Problem::HandedOver);
    }
    let beginning = {
        let mut db = house.store.read().await?;
        load(&mut db, &who, &visitor, id, form).await?
    };
    if let Some(why) = beginning.refused {
        return Err(Problem::Clash(why.to_owned(), "Go back to her page.".into()));
    }
    let draft = match check(&sent.typed, form, &beginning) {
        Ok(draft) => draft,
        Err(Problem::Mistakes(notes)) => {
            let key = key.again();
            let view = view(&house, &visitor, &beginning, form, &sent.typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let keeping = house.clone();
    let kept = house
        .store
        .write(&key, move |tx| {
            let (who, house, draft) = (who.clone(), keeping.clone(), draft.clone());
            Box::pin(async move {
                not_restricted(&seen(tx.db(), id, &who).await?)?;
                let handed = store::begin(tx, house.store.keys(), id, form, who.id, &draft).await?;
                session::hand_over(tx, who.session, &handed.to_string(), &format!("/door/clients/{id}")).await?;
                Ok(Kept::see(HANDED_OVER))
            })
        })
        .await?;
    let mut answer = answer(&house, &kept);
    people::mark_handed_over(&house, &mut answer);
    Ok(answer)
}
