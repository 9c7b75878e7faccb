//! Taking up an invitation: a link of one's own, a passphrase of one's own.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Deserialize;

use super::entering::{check_passphrase, new_passphrase_fields, secret_of_form, signed_in};
use super::{passphrase, store};
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Anyone;
use crate::web::incoming::{At, FormThatSignsIn, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::Visitor;

pub(super) fn routes() -> Routes {
    Routes::new().get("/invited/{token}", invited_page).post("/invited/{token}", take_up)
}

#[derive(Template)]
#[template(path = "shell/invited.html")]
struct InvitedPage {
    frame: Frame,
    key: String,
    action: String,
    inviter: String,
    role: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize)]
struct TypedInvited {
    passphrase: String,
    again: String,
}

async fn invited_page(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    At(token): At<String>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let person = store::invited(&mut db, &token, visitor.now).await?.ok_or(Problem::NotHere("invitation"))?;
    page(&invited_view(&house, &studio, &visitor, &token, &person, &[], new_form_key()))
}

async fn take_up(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(token): At<String>,
    form: FormThatSignsIn<TypedInvited>,
) -> Result<Response, Problem> {
    let (studio, person) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, store::invited(&mut db, &token, visitor.now).await?)
    };
    let secret = secret_of_form(&house, &visitor, &form.key);
    let Some(person) = person else {
        // Used up: by this very form, which then gets its first result again, or by another.
        house.store.write(&form.key, |_| Box::pin(async { Err(Problem::NotHere("invitation")) })).await?;
        return Ok(signed_in(&house, &headers, &secret, None));
    };
    if let Some(note) = check_passphrase(&form.typed.passphrase, &form.typed.again, &[&studio.name, &person.name]) {
        let key = form.key.again();
        let view = invited_view(&house, &studio, &visitor, &token, &person, &[note], key);
        return page_again(&view);
    }
    let hash = passphrase::hash(house.hashing.for_known().await?, form.typed.passphrase.clone()).await?;
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    let kept_hash = hash.clone();
    house
        .store
        .write(&form.key, move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (token, hash) = (token.clone(), kept_hash.clone());
            Box::pin(async move {
                let person = store::take_up(tx, &token, &hash).await?;
                session::begin(tx, &config, person.id, &person.name, person.role, &secret, &browser).await?;
                Ok(Kept::see("/"))
            })
        })
        .await?;
    Ok(signed_in(&house, &headers, &secret, Some((&person.name, &hash))))
}

fn invited_view(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    token: &str,
    person: &store::Person,
    notes: &[FieldNote],
    key: String,
) -> InvitedPage {
    let mut fields = new_passphrase_fields().to_vec();
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    InvitedPage {
        frame: house.frame(studio, visitor, Place::Nowhere, format!("Welcome, {}", person.name)),
        key,
        action: house.url(&format!("/invited/{token}")),
        inviter: "The owner".to_owned(),
        role: person.role.word().to_owned(),
        fields,
        mistakes,
    }
}
