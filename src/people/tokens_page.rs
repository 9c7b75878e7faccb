//! Office, *Keys for programs*: read keys are made here; every key is shown for a few minutes, listed, revoked.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::secret_view::SecretView;
use crate::base::ids::TokenId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::zone::ago;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, with_passphrase};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::token;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/office/tokens", tokens_page)
        .post("/office/tokens", make_token)
        .get("/office/tokens/{token}", token_page)
        .post("/office/tokens/{token}/hide", hide_token)
        .post("/office/tokens/{token}/revoke", revoke_token)
}

struct TokenRow {
    name: String,
    kind: &'static str,
    made: String,
    used: String,
    revoked: bool,
    href: String,
}

#[derive(Template)]
#[template(path = "people/tokens.html")]
struct TokensPage {
    frame: Frame,
    key: String,
    tokens: Vec<TokenRow>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize, Default)]
struct TypedToken {
    name: String,
}

async fn tokens_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    page(&tokens_view(&house, &owner, &TypedToken::default(), &[], new_form_key()).await?)
}

async fn tokens_view(
    house: &House,
    owner: &Owner,
    typed: &TypedToken,
    notes: &[FieldNote],
    key: String,
) -> Result<TokensPage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let now = owner.visitor.now.0;
    let row = |listed: token::Listed| TokenRow {
        name: listed.name,
        kind: kind_words(&listed.kind),
        made: studio.zone.date(listed.created, now),
        used: listed.last_used.map_or_else(|| "never".to_owned(), |used| ago(&studio.zone, used, now)),
        revoked: listed.revoked.is_some(),
        href: house.url(&format!("/office/tokens/{}", listed.id)),
    };
    let tokens = token::all(&mut db).await?.into_iter().map(row).collect();
    let mut fields = vec![FieldView {
        name: "name",
        label: "What will use it".to_owned(),
        hint: Some(
            "For instance the screen in the corridor. It may read rooms and ask for advice, nothing else.".to_owned(),
        ),
        value: typed.name.clone(),
        autocomplete: "off",
        kind: "text",
        ..FieldView::default()
    }];
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "Keys for programs");
    Ok(TokensPage { frame, key, tokens, fields, mistakes })
}

const fn kind_words(kind: &token::Kind) -> &'static str {
    match kind {
        token::Kind::Sensor { .. } => "adds readings of its instrument",
        token::Kind::Read => "reads rooms, asks for advice",
    }
}

async fn make_token(owner: Owner, State(house): State<House>, form: Form<TypedToken>) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
    let name = match text::line(&form.typed.name, 80) {
        Ok(name) => name,
        Err(bad) => {
            let notes = [FieldNote::new("name", bad.to_string())];
            let key = form.key.again();
            let view = tokens_view(&house, &owner, &form.typed, &notes, key).await?;
            return page_again(&view);
        }
    };
    let (by, keys) = (owner.who.id, house.clone());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (name, house) = (name.clone(), keys.clone());
            Box::pin(async move {
                let id = token::make(tx, house.store.keys(), &name, token::Kind::Read, by).await?;
                Ok(Kept::see(format!("/office/tokens/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

#[derive(Template)]
#[template(path = "people/token.html")]
struct TokenPage {
    frame: Frame,
    key: String,
    path: String,
    kind: &'static str,
    secret: Option<SecretView>,
    revoked: bool,
    example: String,
}

async fn listed(db: &mut Db, id: TokenId) -> Result<token::Listed, Problem> {
    token::all(db).await?.into_iter().find(|listed| listed.id == id).ok_or(Problem::NotHere("token"))
}

async fn token_page(owner: Owner, State(house): State<House>, At(id): At<TokenId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let listed = listed(&mut db, id).await?;
    let shown = token::secret(&mut db, house.store.keys(), id, owner.visitor.now).await?;
    let secret = SecretView::of(&mut db, &house, &studio, &owner.visitor, shown, |secret| secret).await?;
    let kind = kind_words(&listed.kind);
    let example = match listed.kind {
        token::Kind::Sensor { room, .. } => format!(
            "curl -H \"Authorization: Bearer TOKEN\" -H \"Content-Type: application/json\" \\\n     -d '{{\"temperature\": 21.4, \"humidity\": 38}}' {}",
            house.config.external(&format!("/api/v1/rooms/{room}/readings"))
        ),
        token::Kind::Read => {
            format!("curl -H \"Authorization: Bearer TOKEN\" {}", house.config.external("/api/v1/rooms"))
        }
    };
    page(&TokenPage {
        frame: house.frame(&studio, &owner.visitor, Place::Office, listed.name),
        key: new_form_key(),
        path: house.url(&format!("/office/tokens/{id}")),
        kind,
        secret,
        revoked: listed.revoked.is_some(),
        example,
    })
}

async fn hide_token(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<TokenId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                listed(tx.db(), id).await?;
                token::hide(tx, Some(id)).await?;
                Ok(Kept::see("/office/tokens"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn revoke_token(
    owner: Owner,
    State(house): State<House>,
    At(id): At<TokenId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                listed(tx.db(), id).await?;
                token::revoke(tx, id).await?;
                Ok(Kept::see("/office/tokens"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
