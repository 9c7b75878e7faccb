//! Office, *Shared tablets*: the owner enrols the device before her, sees which are enrolled, and takes one out of use.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::Response;
use serde::Deserialize;

use super::{here, store, tablet_cookie};
use crate::base::ids::TabletId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::SECOND;
use crate::base::zone::ago;
use crate::people::entering::secret_of_form;
use crate::people::store as people;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, with_passphrase};
use crate::web::incoming::{At, Form, FormThatSignsIn, Nothing, Turned, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::set_cookie;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/office/tablets", tablets_page)
        .post("/office/tablets", enrol)
        .post("/office/tablets/{tablet}/revoke", revoke)
}

struct TabletRow {
    name: String,
    by: String,
    enrolled: String,
    seen: String,
    until: String,
    in_use: bool,
    this: bool,
    revoke: String,
}

#[derive(Template)]
#[template(path = "people/tablets.html")]
struct TabletsPage {
    frame: Frame,
    key: String,
    tablets: Vec<TabletRow>,
    is_one: bool,
    field: FieldView,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize, Default)]
struct Typed {
    name: String,
}

async fn tablets_page(owner: Owner, State(house): State<House>, headers: HeaderMap) -> Result<Response, Problem> {
    page(&view(&house, &owner, &headers, &Typed::default(), &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    owner: &Owner,
    headers: &HeaderMap,
    typed: &Typed,
    notes: &[FieldNote],
    key: String,
) -> Result<TabletsPage, Problem> {
    let now = owner.visitor.now;
    let this = here(house, headers, now).await?;
    let mut db = house.store.read().await?;
    let (studio, everyone) = (Studio::load(&mut db).await?, people::everyone(&mut db).await?);
    let row = |listed: store::Listed| TabletRow {
        by: everyone.iter().find(|one| one.id == listed.enrolled_by).map(|one| one.name.clone()).unwrap_or_default(),
        name: listed.name,
        enrolled: studio.zone.date(listed.created, now.0),
        seen: ago(&studio.zone, listed.seen, now.0),
        until: studio.zone.date(listed.expires, now.0),
        in_use: !listed.revoked && listed.expires > now.0,
        this: this == Some(listed.id),
        revoke: house.url(&format!("/office/tablets/{}/revoke", listed.id)),
    };
    let tablets = store::all(&mut db).await?.into_iter().map(row).collect();
    let mut fields = [FieldView {
        name: "name",
        label: "What it is called".to_owned(),
        hint: Some("Where it lies: \u{201c}Tablet by the window\u{201d}.".to_owned()),
        value: typed.name.clone(),
        autocomplete: "off",
        kind: "text",
        ..FieldView::default()
    }];
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let [field] = fields;
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "Shared tablets");
    Ok(TabletsPage { frame, key, tablets, is_one: this.is_some(), field, mistakes })
}

/// Enrols the device the form comes from, and puts this very session on it.
async fn enrol(
    owner: Owner,
    State(house): State<House>,
    headers: HeaderMap,
    form: FormThatSignsIn<Typed>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
    let secret = secret_of_form(&house, &owner.visitor, &form.key);
    let enrolled = |kept: &Kept| {
        let mut answer = answer(&house, kept);
        let lasts = set_cookie(&house, &tablet_cookie(&house), &secret, Some(store::ENROLLED_FOR / SECOND));
        answer.headers_mut().append(header::SET_COOKIE, lasts);
        answer
    };
    if let Some(first) = house.store.first_result(&form.key).await? {
        return Ok(enrolled(&first));
    }
    let name = match text::line(&form.typed.name, 60) {
        Ok(name) => name,
        Err(bad) => {
            let notes = [FieldNote::new("name", bad.to_string())];
            return again(&house, &owner, &headers, &form, &notes).await;
        }
    };
    let (who, held) = (owner.who.clone(), Arc::new(secret.clone()));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, name, secret) = (who.clone(), name.clone(), Arc::clone(&held));
            Box::pin(async move {
                let id = store::enrol(tx, &name, &secret, who.id).await?;
                session::on_tablet(tx, who.session, id).await?;
                Ok(Kept::see("/office/tablets"))
            })
        })
        .await;
    match kept {
        Ok(kept) => Ok(enrolled(&kept)),
        Err(Problem::Mistakes(notes)) => again(&house, &owner, &headers, &form, &notes).await,
        Err(problem) => Err(problem),
    }
}

async fn again(
    house: &House,
    owner: &Owner,
    headers: &HeaderMap,
    form: &FormThatSignsIn<Typed>,
    notes: &[FieldNote],
) -> Result<Response, Problem> {
    let key = form.key.again();
    page_again(&view(house, owner, headers, &form.typed, notes, key).await?)
}

async fn revoke(
    owner: Owner,
    State(house): State<House>,
    At(id): At<TabletId>,
    form: Form<Nothing>,
) -> Result<Response, Turned> {
    with_passphrase(&owner.visitor)?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::revoke(tx, id).await?;
                Ok(Kept::see("/office/tablets"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
