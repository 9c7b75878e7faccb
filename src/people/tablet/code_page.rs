//! Office, *Your six digits*: each person chooses her own, with her passphrase behind her.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{code, store};
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{SignedIn, with_passphrase};
use crate::web::incoming::{Form, Nothing, Turned, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/code", show).post("/office/code", set).post("/office/code/forget", forget)
}

#[derive(Template)]
#[template(path = "people/code.html")]
struct OwnCodePage {
    frame: Frame,
    key: String,
    has_one: bool,
    fields: [FieldView; 2],
    mistakes: Vec<Mistake>,
}

/// The names under which no trace of a passphrase is kept serve the digits as well.
#[derive(Deserialize)]
struct Typed {
    passphrase: String,
    again: String,
}

async fn show(signed_in: SignedIn, State(house): State<House>) -> Result<Response, Problem> {
    with_passphrase(&signed_in.visitor)?;
    page(&view(&house, &signed_in, &[], new_form_key()).await?)
}

async fn view(house: &House, signed_in: &SignedIn, notes: &[FieldNote], key: String) -> Result<OwnCodePage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let has_one = !store::hash_of(&mut db, signed_in.who.id).await?.is_empty();
    let field = |name, label: &str, hint: Option<&str>| FieldView {
        name,
        label: label.to_owned(),
        hint: hint.map(str::to_owned),
        inputmode: "numeric",
        autocomplete: "off",
        kind: "password",
        short: true,
        ..FieldView::default()
    };
    let mut fields = [
        field("passphrase", "Six digits", Some("At least four different ones; no row, no pattern, no date.")),
        field("again", "The same once more", None),
    ];
    note_fields(&mut fields, notes);
    let frame = house.frame(&studio, &signed_in.visitor, Place::Office, "Your six digits");
    Ok(OwnCodePage { frame, key, has_one, mistakes: mistakes(&fields), fields })
}

async fn set(signed_in: SignedIn, State(house): State<House>, form: Form<Typed>) -> Result<Response, Turned> {
    with_passphrase(&signed_in.visitor)?;
    let digits = form.typed.passphrase.trim().to_owned();
    let wrong = match code::acceptable(&digits) {
        Err(sentence) => Some(FieldNote::new("passphrase", sentence)),
        Ok(()) if digits != form.typed.again.trim() => {
            Some(FieldNote::new("again", "These are not the same digits. Type both anew."))
        }
        Ok(()) => None,
    };
    if let Some(note) = wrong {
        let key = form.key.again();
        let view = view(&house, &signed_in, &[note], key).await?;
        return Ok(page_again(&view)?);
    }
    let person = signed_in.who.id;
    let hash = code::hash(house.hashing.for_known().await?, house.store.keys(), person, &digits).await?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let hash = hash.clone();
            Box::pin(async move {
                store::set(tx, person, &hash).await?;
                Ok(Kept::see("/office/code"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn forget(signed_in: SignedIn, State(house): State<House>, form: Form<Nothing>) -> Result<Response, Turned> {
    let person = signed_in.who.id;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::forget_code(tx, person).await?;
                Ok(Kept::see("/office/code"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
