//! Two records of one person put together: side by side first, then one of them stays and both histories with it.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::parts::PARTS;
use crate::base::actor::{Actor, Role, Who};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::clients::{self, Client, rights};
use crate::store::keys::Keys;
use crate::store::{Db, FormKey, Kept, Tx, sealed};
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/merge/{other}", show).post("/door/clients/{client}/merge/{other}", merge)
}

#[derive(Template)]
#[template(path = "privacy/merge.html")]
struct MergePage {
    frame: Frame,
    key: String,
    action: String,
    apart: String,
    back: String,
    /// Other keepers: two records in law, whoever she is.
    refused: bool,
    fields: Vec<FieldView>,
}

const THIS: &str = "this";
const OTHER: &str = "other";

/// Both records, for somebody who puts records together.
async fn both(db: &mut Db, who: &Who, one: ClientId, other: ClientId) -> Result<(Client, Client), Problem> {
    if who.role == Role::Artist {
        clients::seen(db, one, who).await?;
        clients::seen(db, other, who).await?;
        return Err(Problem::NotYours("The desk or the owner puts records together."));
    }
    let first = clients::seen(db, one, who).await?;
    let second = clients::seen(db, other, who).await?;
    if one == other { Err(Problem::NotHere("client")) } else { Ok((first, second)) }
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At((one, other)): At<(ClientId, ClientId)>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (first, second) = both(&mut db, &staff.who, one, other).await?;
    let studio = Studio::load(&mut db).await?;
    let born = |client: &Client| client.born.map(|born| born.strftime("%-d %b %Y").to_string()).unwrap_or_default();
    let field = |name, label: &str, here: String, there: String| {
        let words = |text: &str| if text.is_empty() { "nothing".to_owned() } else { text.to_owned() };
        let chosen = if here.is_empty() && !there.is_empty() { OTHER } else { THIS };
        let ways = [(THIS.to_owned(), words(&here)), (OTHER.to_owned(), words(&there))];
        (here != there).then(|| choice_field("radio", name, label, chosen, ways))
    };
    let fields = [
        field("name", "Name", first.name.clone(), second.name.clone()),
        field("phone", "Phone", first.phone.clone(), second.phone.clone()),
        field("email", "E-mail", first.email.clone(), second.email.clone()),
        field("born", "Birth date", born(&first), born(&second)),
    ];
    let path = format!("/door/clients/{one}");
    page(&MergePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "One person?"),
        key: new_form_key(),
        action: house.url(&format!("{path}/merge/{other}")),
        apart: house.url(&format!("{path}/apart/{other}")),
        back: house.url("/door/clients/duplicates"),
        refused: first.keeper != second.keeper,
        fields: fields.into_iter().flatten().collect(),
    })
}

/// The record as it is after: each value from the record that was chosen, both notes, the stricter of two restrictions.
fn joined(first: &Client, second: &Client, typed: &BTreeMap<String, String>) -> Client {
    let other = |name: &str| typed.get(name).is_some_and(|chosen| chosen == OTHER);
    let pick = |name: &str, here: &String, there: &String| if other(name) { there.clone() } else { here.clone() };
    let notes = [first.notes.as_str(), second.notes.as_str()];
    Client {
        name: pick("name", &first.name, &second.name),
        phone: pick("phone", &first.phone, &second.phone),
        email: pick("email", &first.email, &second.email),
        born: if other("born") { second.born } else { first.born },
        notes: notes.into_iter().filter(|notes| !notes.is_empty()).collect::<Vec<_>>().join("\n\n"),
        ..first.clone()
    }
}

/// Moves everything of the second record to the first, which becomes as `after` says.
async fn move_all(tx: &mut Tx, keys: &Keys, first: &Client, second: &Client, after: &Client) -> Result<(), Problem> {
    for part in PARTS {
        (part.client_merge)(tx, keys, second.id, first.id).await?;
    }
    rights::take_over(tx, first, after).await?;
    if first.restricted.is_none() && second.restricted.is_some() {
        rights::restrict(tx, first.id, second.restricted).await?;
    }
    // Everything of hers was sealed anew with the key of the record that stays.
    sealed::destroy(tx, second.id).await?;
    tx.audit("put clients together", first.id, &second.id.to_string()).await
}

/// Puts two records of the invented studio together; the first keeps its values.
pub(crate) async fn put_together(house: &House, by: &Who, one: ClientId, other: ClientId) -> Result<(), Problem> {
    let (keeping, by) = (house.clone(), by.clone());
    house
        .store
        .write(&FormKey::unkeyed(Actor::Person(by.clone())), move |tx| {
            let (who, house) = (by.clone(), keeping.clone());
            Box::pin(async move {
                let (first, second) = both(tx.db(), &who, one, other).await?;
                move_all(tx, house.store.keys(), &first, &second, &joined(&first, &second, &BTreeMap::new())).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

async fn merge(
    staff: Staff,
    State(house): State<House>,
    At((one, other)): At<(ClientId, ClientId)>,
    form: Form<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        both(&mut db, &staff.who, one, other).await?;
    }
    let (who, keeping, typed) = (staff.who.clone(), house.clone(), form.typed);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, house, typed) = (who.clone(), keeping.clone(), typed.clone());
            Box::pin(async move {
                let (first, second) = both(tx.db(), &who, one, other).await?;
                if first.keeper != second.keeper {
                    return Err(Problem::Clash(
                        "These records have different keepers: in law they are two.".into(),
                        "Who keeps one of them changes that first, if it really changed.".into(),
                    ));
                }
                move_all(tx, house.store.keys(), &first, &second, &joined(&first, &second, &typed)).await?;
                Ok(Kept::see(format!("/door/clients/{one}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
