//! Claiming the house: the link from the terminal makes its first owner, once.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Deserialize;

use super::entering::{check_passphrase, new_passphrase_fields, secret_of_form, signed_in};
use super::{passphrase, store};
use crate::base::actor::{Actor, Role};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::keys::same;
use crate::store::{Kept, settings};
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
    Routes::new().get("/claim/{token}", claim_page).post("/claim/{token}", claim)
}

#[derive(Template)]
#[template(path = "shell/claim.html")]
struct ClaimPage {
    frame: Frame,
    key: String,
    action: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize)]
struct TypedClaim {
    studio: String,
    name: String,
    passphrase: String,
    again: String,
    zone: String,
}

async fn claim_page(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    At(token): At<String>,
) -> Result<Response, Problem> {
    let studio = open_claim(&house, &token).await?;
    let typed = TypedClaim {
        studio: String::new(),
        name: String::new(),
        passphrase: String::new(),
        again: String::new(),
        zone: String::new(),
    };
    page(&claim_view(&house, &studio, &visitor, &token, &typed, &[], new_form_key()))
}

/// The claim is open, or the answer is that there is nothing here.
async fn open_claim(house: &House, token: &str) -> Result<Studio, Problem> {
    if !same(token, &store::claim_token(house.store.keys())) {
        return Err(Problem::NotHere("link"));
    }
    let mut db = house.store.read().await?;
    if store::is_claimed(&mut db).await? {
        return Err(Problem::Clash(
            "This house was claimed already.".into(),
            "Sign in, or ask its owner to invite you.".into(),
        ));
    }
    Studio::load(&mut db).await
}

async fn claim(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(token): At<String>,
    form: FormThatSignsIn<TypedClaim>,
) -> Result<Response, Problem> {
    if !same(&token, &store::claim_token(house.store.keys())) {
        return Err(Problem::NotHere("link"));
    }
    let typed = &form.typed;
    let (name, notes) = check_claim(typed);
    let Some((studio_name, name, zone)) = name.filter(|_| notes.is_empty()) else {
        let studio = open_claim(&house, &token).await?;
        let view = claim_view(&house, &studio, &visitor, &token, typed, &notes, form.key.again());
        return page_again(&view);
    };
    let hash = passphrase::hash(house.hashing.for_known().await?, typed.passphrase.clone()).await?;
    let secret = secret_of_form(&house, &visitor, &form.key);
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    let (kept_name, kept_studio, kept_hash) = (name.clone(), studio_name.clone(), hash.clone());
    house
        .store
        .write(&form.key, move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (name, studio, zone, hash) = (kept_name.clone(), kept_studio.clone(), zone.clone(), kept_hash.clone());
            Box::pin(async move {
                let id = store::claim(tx, &name, &hash).await?;
                settings::set(tx, "studio.name", &studio).await?;
                settings::set(tx, "studio.zone", &zone).await?;
                tx.actor = Actor::House;
                session::begin(tx, &config, id, &name, Role::Owner, &secret, &browser).await?;
                Ok(Kept::see("/"))
            })
        })
        .await?;
    Ok(signed_in(&house, &headers, &secret, Some((&name, &hash))))
}

/// What was typed into a claim, checked: studio, name, zone; and what is wrong.
fn check_claim(typed: &TypedClaim) -> (Option<(String, String, String)>, Vec<FieldNote>) {
    let mut notes = Vec::new();
    let mut take = |field: &'static str, value: &str| {
        text::line(value, 80).map_err(|bad| notes.push(FieldNote::new(field, bad.to_string()))).ok()
    };
    let (studio, name) = (take("studio", &typed.studio), take("name", &typed.name));
    let zone = crate::base::zone::Zone::named(typed.zone.trim()).map(|zone| zone.name().to_owned());
    if zone.is_none() {
        notes.push(FieldNote::new("zone", "Type a time zone by its name, for instance Europe/Lisbon."));
    }
    notes.extend(check_passphrase(&typed.passphrase, &typed.again, &[&typed.studio, &typed.name]));
    (studio.zip(name).zip(zone).map(|((studio, name), zone)| (studio, name, zone)), notes)
}

fn claim_view(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    token: &str,
    typed: &TypedClaim,
    notes: &[FieldNote],
    key: String,
) -> ClaimPage {
    let text = |name, label: &str, value: &str, autocomplete| FieldView {
        name,
        label: label.to_owned(),
        value: value.to_owned(),
        autocomplete,
        kind: "text",
        ..FieldView::default()
    };
    let mut fields = vec![
        text("studio", "The studio’s name", &typed.studio, "organization"),
        text("name", "Your name, as colleagues say it", &typed.name, "name"),
        FieldView {
            hint: Some("By its name in the time zone database, for instance Europe/Lisbon.".to_owned()),
            ..text("zone", "Time zone", &typed.zone, "off")
        },
    ];
    fields.extend(new_passphrase_fields());
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let frame = house.frame(studio, visitor, Place::Nowhere, "Claim this house");
    ClaimPage { frame, key, action: house.url(&format!("/claim/{token}")), fields, mistakes }
}
