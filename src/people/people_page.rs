//! Office, *People*: who works here, invitations, roles, leaving. The owner's pages.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::secret_view::SecretView;
use super::store;
use crate::base::actor::Role;
use crate::base::ids::PersonId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{Choice, FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, with_passphrase};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/office/people", people_page)
        .post("/office/people", invite)
        .get("/office/people/{person}", person_page)
        .post("/office/people/{person}/role", change_role)
        .post("/office/people/{person}/invitation", invite_again)
        .post("/office/people/{person}/invitation/hide", hide_invitation)
        .post("/office/people/{person}/leave", leave)
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
    let everyone = store::everyone(&mut db).await?;
    let mut people = Vec::new();
    for person in &everyone {
        let state = if let Some(left) = person.left {
            ("unknown", format!("left {}", studio.zone.date(left, now.0)))
        } else if person.can_sign_in() {
            ("fit", "signs in".to_owned())
        } else if store::open_invitation(&mut db, house.store.keys(), &everyone, person.id, now).await?.is_some() {
            ("near", "invited, not here yet".to_owned())
        } else {
            ("near", "invitation ran out".to_owned())
        };
        let href = house.url(&format!("/office/people/{}", person.id));
        people.push(PersonRow { name: person.name.clone(), role: person.role.word(), state, href });
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
    with_passphrase(&owner.visitor)?;
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
            let key = form.key.again();
            let view = people_view(&house, &owner, typed, &notes, key).await?;
            page_again(&view)
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
    /// Until when a link is open.
    open: Option<String>,
    /// The link, while it may be shown.
    link: Option<SecretView>,
    roles: FieldView,
    /// She treats clients, whom somebody else may have to take over.
    treats: bool,
}

async fn person_page(owner: Owner, State(house): State<House>, At(id): At<PersonId>) -> Result<Response, Problem> {
    page(&person_view(&house, &owner, id, None, new_form_key()).await?)
}

/// The page of a person; with the sentence that says what was wrong with the role asked for, where it was.
async fn person_view(
    house: &House,
    owner: &Owner,
    id: PersonId,
    wrong: Option<&str>,
    key: String,
) -> Result<PersonPage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let now = owner.visitor.now;
    let everyone = store::everyone(&mut db).await?;
    let open = store::open_invitation(&mut db, house.store.keys(), &everyone, id, now).await?;
    let person = everyone.into_iter().find(|person| person.id == id).ok_or(Problem::NotHere("person"))?;
    let full = |token| house.config.external(&format!("/invited/{token}"));
    let ends = open.as_ref().map(|(ends, _)| studio.zone.date_and_clock(*ends, now.0));
    let shown = open.and_then(|(_, shown)| shown);
    let link = SecretView::of(&mut db, house, &studio, &owner.visitor, shown, full).await?;
    let choice = |role: Role| Choice {
        value: role.word().to_owned(),
        label: role.word().to_owned(),
        chosen: role == person.role,
    };
    Ok(PersonPage {
        frame: house.frame(&studio, &owner.visitor, Place::Office, person.name.clone()),
        key,
        path: house.url(&format!("/office/people/{id}")),
        name: person.name,
        treats: matches!(person.role, Role::Artist | Role::Owner),
        role: person.role.word(),
        since: studio.zone.date(person.created, now.0),
        left: person.left.map(|left| studio.zone.date(left, now.0)),
        open: ends,
        link,
        roles: FieldView {
            name: "role",
            label: "Role".to_owned(),
            hint: Some("Counts at once: she is signed out everywhere and signs in anew.".to_owned()),
            error: wrong.map(str::to_owned),
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

async fn change_role(
    owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<TypedRole>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
    let Some(role) = Role::from_word(&form.typed.role) else {
        let key = form.key.again();
        let view = person_view(&house, &owner, id, Some("Choose one of the roles."), key).await?;
        return page_again(&view);
    };
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
    owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
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

async fn hide_invitation(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::by_id(tx.db(), id).await?.ok_or(Problem::NotHere("person"))?;
                store::hide_invitation(tx, id).await?;
                Ok(Kept::see(format!("/office/people/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn leave(
    owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    with_passphrase(&owner.visitor)?;
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
