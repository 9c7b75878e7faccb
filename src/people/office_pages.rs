//! Office: people and their invitations, sessions, read tokens, the audit chain.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::store;
use crate::base::actor::Role;
use crate::base::ids::{PersonId, SessionId, TokenId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::zone::ago;
use crate::store::{Kept, audit};
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{Choice, FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, SignedIn};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::{session, token};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/office/people", people_page)
        .post("/office/people", invite)
        .get("/office/people/{person}", person_page)
        .post("/office/people/{person}/role", change_role)
        .post("/office/people/{person}/invitation", invite_again)
        .post("/office/people/{person}/leave", leave)
        .get("/office/sessions", sessions_page)
        .post("/office/sessions/{session}/end", end_session)
        .get("/office/tokens", tokens_page)
        .post("/office/tokens", make_token)
        .get("/office/tokens/{token}", token_page)
        .post("/office/tokens/{token}/hide", hide_token)
        .post("/office/tokens/{token}/revoke", revoke_token)
        .get("/office/audit", audit_page)
}

struct PersonRow {
    name: String,
    role: &'static str,
    state: (&'static str, String),
    href: String,
}

#[derive(Template)]
#[template(path = "people/people.html")]
struct PeoplePage {
    frame: Frame,
    key: String,
    people: Vec<PersonRow>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

// Browsers leave out radio buttons of which none is chosen.
#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedInvite {
    name: String,
    role: String,
}

async fn people_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let view = people_view(&house, &owner, &TypedInvite::default(), &[], new_form_key()).await?;
    page(&view)
}

async fn people_view(
    house: &House,
    owner: &Owner,
    typed: &TypedInvite,
    notes: &[FieldNote],
    key: String,
) -> Result<PeoplePage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let now = owner.visitor.now;
    let mut people = Vec::new();
    for person in store::everyone(&mut db).await? {
        let state = if let Some(left) = person.left {
            ("unknown", format!("left {}", studio.zone.date(left, now.0)))
        } else if person.can_sign_in() {
            ("fit", "signs in".to_owned())
        } else if store::open_invitation(&mut db, house.store.keys(), person.id, now).await?.is_some() {
            ("near", "invited, not here yet".to_owned())
        } else {
            ("near", "invitation ran out".to_owned())
        };
        let href = house.url(&format!("/office/people/{}", person.id));
        people.push(PersonRow { name: person.name, role: person.role.word(), state, href });
    }
    let role = |role: Role, label: &str| Choice {
        value: role.word().to_owned(),
        label: label.to_owned(),
        chosen: role.word() == typed.role,
    };
    let mut fields = vec![
        FieldView {
            name: "name",
            label: "Name, as colleagues say it".to_owned(),
            hint: Some("Also the name for signing in.".to_owned()),
            value: typed.name.clone(),
            autocomplete: "off",
            kind: "text",
            ..FieldView::default()
        },
        FieldView {
            name: "role",
            label: "Role".to_owned(),
            kind: "radio",
            options: vec![
                role(Role::Artist, "artist: works at the bed"),
                role(Role::Desk, "desk: books and receives"),
                role(Role::Accountant, "accountant: closed periods only"),
                role(Role::Owner, "owner: everything"),
            ],
            ..FieldView::default()
        },
    ];
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "People");
    Ok(PeoplePage { frame, key, people, fields, mistakes })
}

async fn invite(owner: Owner, State(house): State<House>, form: Form<TypedInvite>) -> Result<Response, Problem> {
    let typed = &form.typed;
    let mut notes = Vec::new();
    let name = text::line(&typed.name, 80).map_err(|bad| notes.push(FieldNote::new("name", bad.to_string()))).ok();
    let role = Role::from_word(&typed.role);
    if role.is_none() {
        notes.push(FieldNote::new("role", "Choose what she will be here."));
    }
    let result = match (name, role) {
        (Some(name), Some(role)) => {
            let keys = house.clone();
            house
                .store
                .write(&form.key, move |tx| {
                    let (name, house) = (name.clone(), keys.clone());
                    Box::pin(async move {
                        let id = store::add(tx, &name, role, "").await?;
                        store::invite(tx, house.store.keys(), id, store::INVITED_FOR).await?;
                        Ok(Kept::see(format!("/office/people/{id}")))
                    })
                })
                .await
        }
        _ => Err(Problem::Mistakes(notes)),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let view = people_view(&house, &owner, typed, &notes, key).await?;
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

#[derive(Template)]
#[template(path = "people/person.html")]
struct PersonPage {
    frame: Frame,
    key: String,
    path: String,
    name: String,
    role: &'static str,
    since: String,
    left: Option<String>,
    invitation: Option<(String, String)>,
    roles: FieldView,
}

async fn person_page(owner: Owner, State(house): State<House>, At(id): At<PersonId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let now = owner.visitor.now;
    let person = store::by_id(&mut db, id).await?.ok_or(Problem::NotHere("person"))?;
    let open = store::open_invitation(&mut db, house.store.keys(), id, now).await?;
    let invitation = open.map(|(token, ends)| {
        (house.config.external(&format!("/invited/{token}")), studio.zone.date_and_clock(ends, now.0))
    });
    let choice = |role: Role| Choice {
        value: role.word().to_owned(),
        label: role.word().to_owned(),
        chosen: role == person.role,
    };
    page(&PersonPage {
        frame: house.frame(&studio, &owner.visitor, Place::Office, person.name.clone()),
        key: new_form_key(),
        path: house.url(&format!("/office/people/{id}")),
        name: person.name,
        role: person.role.word(),
        since: studio.zone.date(person.created, now.0),
        left: person.left.map(|left| studio.zone.date(left, now.0)),
        invitation,
        roles: FieldView {
            name: "role",
            label: "Role".to_owned(),
            hint: Some("Counts at once: she is signed out everywhere and signs in anew.".to_owned()),
            kind: "select",
            options: Role::ALL.map(choice).to_vec(),
            ..FieldView::default()
        },
    })
}

#[derive(Deserialize)]
struct TypedRole {
    role: String,
}

#[derive(Deserialize)]
struct Nothing {}

async fn change_role(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<TypedRole>,
) -> Result<Response, Problem> {
    let role = Role::from_word(&form.typed.role).ok_or_else(|| Problem::mistake("role", "Choose one of the roles."))?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::set_role(tx, id, role).await?;
                Ok(Kept::see(format!("/office/people/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn invite_again(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let keys = house.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let house = keys.clone();
            Box::pin(async move {
                let person = store::by_id(tx.db(), id).await?.filter(|person| person.left.is_none());
                person.ok_or(Problem::NotHere("person"))?;
                store::invite(tx, house.store.keys(), id, store::INVITED_FOR).await?;
                Ok(Kept::see(format!("/office/people/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn leave(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::leave(tx, id).await?;
                Ok(Kept::see(format!("/office/people/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

struct SessionRow {
    name: String,
    browser: String,
    began: String,
    seen: String,
    this: bool,
    end: String,
}

#[derive(Template)]
#[template(path = "people/sessions.html")]
struct SessionsPage {
    frame: Frame,
    key: String,
    everyone: bool,
    sessions: Vec<SessionRow>,
}

async fn sessions_page(signed_in: SignedIn, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (who, now) = (&signed_in.who, signed_in.visitor.now);
    let everyone = who.role == Role::Owner;
    let of = (!everyone).then_some(who.id);
    let row = |listed: session::Listed| SessionRow {
        this: listed.id == who.session,
        name: listed.name,
        browser: listed.browser,
        began: studio.zone.date_and_clock(listed.created, now.0),
        seen: ago(&studio.zone, listed.seen, now.0),
        end: house.url(&format!("/office/sessions/{}/end", listed.id)),
    };
    let sessions = session::in_use(&mut db, &house.config, of, now).await?.into_iter().map(row).collect();
    let frame = house.frame(&studio, &signed_in.visitor, Place::Office, "Signed in");
    page(&SessionsPage { frame, key: new_form_key(), everyone, sessions })
}

/// Ends a session: one's own, or anyone's for the owner. Another's session and none at all answer alike.
async fn end_session(
    signed_in: SignedIn,
    State(house): State<House>,
    At(id): At<SessionId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let (who, config, now) = (signed_in.who.clone(), house.config.clone(), signed_in.visitor.now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, config) = (who.clone(), config.clone());
            Box::pin(async move {
                let of = (who.role != Role::Owner).then_some(who.id);
                let listed = session::in_use(tx.db(), &config, of, now).await?;
                if !listed.iter().any(|listed| listed.id == id) {
                    return Err(Problem::NotHere("session"));
                }
                session::end(tx, id).await?;
                Ok(Kept::see("/office/sessions"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
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
        kind: match listed.kind {
            token::Kind::Sensor { .. } => "sensor: adds readings of its instrument",
            token::Kind::Read => "read: rooms and advice",
        },
        made: studio.zone.date(listed.created, now),
        used: listed.last_used.map_or_else(|| "never".to_owned(), |used| ago(&studio.zone, used, now)),
        revoked: listed.revoked.is_some(),
        href: house.url(&format!("/office/tokens/{}", listed.id)),
    };
    let tokens = token::all(&mut db).await?.into_iter().map(row).collect();
    let mut fields = vec![FieldView {
        name: "name",
        label: "What will use it".to_owned(),
        hint: Some("For instance the screen in the corridor. It may read rooms and ask for advice, nothing else.".to_owned()),
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

async fn make_token(owner: Owner, State(house): State<House>, form: Form<TypedToken>) -> Result<Response, Problem> {
    let name = match text::line(&form.typed.name, 80) {
        Ok(name) => name,
        Err(bad) => {
            let notes = [FieldNote::new("name", bad.to_string())];
            let key = form.key.form.clone().unwrap_or_default();
            let view = tokens_view(&house, &owner, &form.typed, &notes, key).await?;
            return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
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
    secret: Option<String>,
    revoked: bool,
    example: String,
}

async fn token_page(owner: Owner, State(house): State<House>, At(id): At<TokenId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let listed = token::all(&mut db).await?.into_iter().find(|listed| listed.id == id).ok_or(Problem::NotHere("token"))?;
    let secret = token::secret(&mut db, house.store.keys(), id, owner.visitor.now).await?;
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
                if !token::all(tx.db()).await?.iter().any(|listed| listed.id == id) {
                    return Err(Problem::NotHere("token"));
                }
                token::hide(tx, Some(id)).await?;
                Ok(Kept::see("/office/tokens"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn revoke_token(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<TokenId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                if !token::all(tx.db()).await?.iter().any(|listed| listed.id == id) {
                    return Err(Problem::NotHere("token"));
                }
                token::revoke(tx, id).await?;
                Ok(Kept::see("/office/tokens"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

struct AuditRow {
    line: i64,
    at: String,
    actor: String,
    action: String,
    subject: String,
}

#[derive(Template)]
#[template(path = "people/audit.html")]
struct AuditPage {
    frame: Frame,
    lines: Vec<AuditRow>,
}

async fn audit_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let people = store::everyone(&mut db).await?;
    let now = owner.visitor.now.0;
    let name = |mark: &str| {
        let id = mark.strip_prefix("person:").unwrap_or(mark);
        people.iter().find(|person| person.id.to_string() == id).map_or_else(|| mark.to_owned(), |person| person.name.clone())
    };
    let row = |line: audit::Line| AuditRow {
        line: line.line,
        at: studio.zone.date_and_clock(line.at, now),
        actor: name(&line.actor),
        subject: if line.detail.is_empty() { name(&line.subject) } else { format!("{} ({})", name(&line.subject), line.detail) },
        action: line.action,
    };
    let lines = audit::newest(&mut db, 200).await?.into_iter().map(row).collect();
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "Who did what");
    page(&AuditPage { frame, lines })
}
