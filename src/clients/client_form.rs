//! A client's record is begun and changed.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::list_page::{ClientRow, row};
use super::rest_store::recognise;
use super::typed_client::{About, STUDIO, TypedClient, keeper_word};
use super::{Client, Keeper, pairs, seen, store};
use crate::base::actor::Role;
use crate::base::ids::ClientId;
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/new", new_page)
        .post("/door/clients", add)
        .get("/door/clients/{client}/edit", edit_page)
        .post("/door/clients/{client}/edit", change)
}

#[derive(Template)]
#[template(path = "clients/form.html")]
struct ClientForm {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    reach: Vec<FieldView>,
    born: [FieldView; 3],
    more: Vec<FieldView>,
    /// Records that look like this one, and the tick that says they are not.
    alike: Vec<ClientRow>,
    another: FieldView,
    then: String,
    shown: String,
    mistakes: Vec<Mistake>,
    button: &'static str,
}

/// What may have come back: mistakes, and records alike that somebody must look at first.
#[derive(Default)]
struct Again<'a> {
    notes: &'a [FieldNote],
    alike: Vec<ClientRow>,
    shown: String,
}

fn view(
    house: &House,
    staff: &Staff,
    about: &About,
    typed: &TypedClient,
    again: Again<'_>,
    (title, action, back, button): (String, String, String, &'static str),
    key: String,
) -> ClientForm {
    let mut reach = vec![
        FieldView { autocomplete: "off", ..text_field("name", "Name", &typed.name) }
            .hinted("As she would sign it: first name first."),
        FieldView { inputmode: "tel", ..text_field("phone", "Phone", &typed.phone) }.or_empty(),
        FieldView { inputmode: "email", ..text_field("email", "E-mail", &typed.email) }.or_empty(),
    ];
    let mut born = typed.birth().fields();
    let mut more = Vec::new();
    if about.may_change_keeper {
        let keepers = about.keepers.iter().cloned();
        more.push(
            choice_field("select", "keeper", "Whose client she is", &typed.keeper, keepers)
                .hinted("The studio’s, or a self-employed artist’s: the keeper answers for the record, and may export and erase it."),
        );
    }
    more.push(
        FieldView { kind: "textarea", ..text_field("notes", "Notes", &typed.notes) }
            .hinted(
                "No health here: allergies, medicines and reactions belong to the consultation, which is kept locked.",
            )
            .or_empty(),
    );
    for fields in [&mut reach[..], &mut born[..], &mut more[..]] {
        note_fields(fields, again.notes);
    }
    let another = FieldView {
        name: "another",
        label: "I looked: this is another person".to_owned(),
        kind: "check",
        value: typed.another.clone(),
        optional: true,
        ..FieldView::default()
    };
    ClientForm {
        frame: house.frame(&about.studio, &staff.visitor, Place::Door, title),
        key,
        action: house.url(&action),
        back: house.url(&back),
        mistakes: mistakes(reach.iter().chain(&born).chain(&more)),
        reach,
        born,
        more,
        alike: again.alike,
        another,
        then: typed.then.clone(),
        shown: again.shown,
        button,
    }
}

/// Names what a page showed of a record.
fn shown(house: &House, client: &Client) -> String {
    let born = client.born.map(|born| born.to_string()).unwrap_or_default();
    let keeper = keeper_word(client.keeper);
    let parts = [&client.name, &client.phone, &client.email, &born, &keeper, &client.notes];
    house.store.keys().digest("client as shown", &parts.map(String::as_bytes))
}

/// What the record holds now where it differs from what was typed, beside its field.
fn changed_meanwhile(client: &Client, typed: &TypedClient) -> Vec<FieldNote> {
    let now = TypedClient::of(client);
    let born = |of: &TypedClient| [of.born_day.clone(), of.born_month.clone(), of.born_year.clone()].join(" ");
    let fields = [
        ("name", now.name.clone(), typed.name.clone()),
        ("phone", now.phone.clone(), typed.phone.clone()),
        ("email", now.email.clone(), typed.email.clone()),
        ("born_day", born(&now), born(typed)),
        ("notes", now.notes.clone(), typed.notes.clone()),
    ];
    let mut notes: Vec<FieldNote> = fields
        .into_iter()
        .filter(|(_, now, typed)| now.trim() != typed.trim())
        .map(|(field, now, _)| {
            let now = if now.trim().is_empty() { "nothing".to_owned() } else { format!("“{}”", now.trim()) };
            FieldNote {
                field: field.into(),
                sentence: format!(
                    "The record was changed while this page was open and now holds {now}. Look, and keep what is right."
                ),
            }
        })
        .collect();
    if notes.is_empty() {
        notes.push(FieldNote {
            field: "name".into(),
            sentence: "The record was changed while this page was open. Look, and keep it again.".to_owned(),
        });
    }
    notes
}

fn for_new() -> (String, String, String, &'static str) {
    ("A new client".into(), "/door/clients".into(), "/door/clients".into(), "Keep the client")
}

/// What follows once she is on record.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Then {
    then: String,
}

/// The page of a new client to go on to: hers, or what the desk was about to do with her.
fn next_page(client: &Client, then: &str) -> String {
    match then {
        "walk-in" | "visits/new" => format!("/door/clients/{}/{then}", client.id),
        _ => format!("/door/clients/{}", client.id),
    }
}

async fn new_page(staff: Staff, State(house): State<House>, Query(asked): Query<Then>) -> Result<Response, Problem> {
    let about = About::load(&house, &staff.who, staff.visitor.now.0, None).await?;
    let typed = TypedClient { keeper: STUDIO.to_owned(), then: asked.then, ..TypedClient::default() };
    page(&view(&house, &staff, &about, &typed, Again::default(), for_new(), new_form_key()))
}

async fn add(staff: Staff, State(house): State<House>, form: Form<TypedClient>) -> Result<Response, Problem> {
    let about = About::load(&house, &staff.who, staff.visitor.now.0, None).await?;
    let key = form.key.again();
    let again = |again| page_again(&view(&house, &staff, &about, &form.typed, again, for_new(), key.clone()));
    let mut client = match form.typed.check(ClientId::new(), &about, None) {
        Ok(client) => client,
        Err(Problem::Mistakes(notes)) => return again(Again { notes: &notes, ..Again::default() }),
        Err(other) => return Err(other),
    };
    if form.typed.another != "yes" {
        let mut db = house.store.read().await?;
        let alike = pairs::alike(&mut db, &client, &staff.who).await?;
        if !alike.is_empty() {
            let alike = alike.iter().map(|(other, _)| row(&house, other)).collect();
            return again(Again { alike, ..Again::default() });
        }
    }
    if staff.who.role == Role::Artist && client.keeper == Keeper::Studio {
        client.artists.push(staff.who.id);
    }
    let (inner, next) = (house.clone(), next_page(&client, &form.typed.then));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (client, house, next) = (client.clone(), inner.clone(), next.clone());
            Box::pin(async move {
                store::add(tx, &client).await?;
                recognise(tx, house.store.keys(), &client).await?;
                Ok(Kept::see(next))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn for_change(client: &Client) -> (String, String, String, &'static str) {
    let path = format!("/door/clients/{}", client.id);
    (format!("{}: her record", client.name), format!("{path}/edit"), path, "Keep the changes")
}

async fn edit_page(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let client = {
        let mut db = house.store.read().await?;
        seen(&mut db, id, &staff.who).await?
    };
    let about = About::load(&house, &staff.who, staff.visitor.now.0, Some(&client)).await?;
    let typed = TypedClient::of(&client);
    let again = Again { shown: shown(&house, &client), ..Again::default() };
    page(&view(&house, &staff, &about, &typed, again, for_change(&client), new_form_key()))
}

async fn change(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedClient>,
) -> Result<Response, Problem> {
    let client = {
        let mut db = house.store.read().await?;
        seen(&mut db, id, &staff.who).await?
    };
    super::not_restricted(&client)?;
    let about = About::load(&house, &staff.who, staff.visitor.now.0, Some(&client)).await?;
    let now_shown = shown(&house, &client);
    let checked = form.typed.check(id, &about, Some(&client));
    let checked = checked.and_then(|changed| {
        if form.typed.shown == now_shown {
            Ok(changed)
        } else {
            Err(Problem::Mistakes(changed_meanwhile(&client, &form.typed)))
        }
    });
    match checked {
        Ok(changed) => {
            let (who, inner, was) = (staff.who.clone(), house.clone(), form.typed.shown.clone());
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (changed, who, house, was) = (changed.clone(), who.clone(), inner.clone(), was.clone());
                    Box::pin(async move {
                        let before = seen(tx.db(), id, &who).await?;
                        super::not_restricted(&before)?;
                        if shown(&house, &before) != was {
                            return Err(Problem::Clash(
                                "Somebody else changed this record at the same moment; your changes were not kept."
                                    .to_owned(),
                                "Open it again, look, and make them anew.".to_owned(),
                            ));
                        }
                        store::change(tx, &before, &changed).await?;
                        recognise(tx, house.store.keys(), &changed).await?;
                        Ok(Kept::see(format!("/door/clients/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let again = Again { notes: &notes, shown: now_shown, ..Again::default() };
            let view = view(&house, &staff, &about, &form.typed, again, for_change(&client), key);
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}
