//! Door's clients: found as one types, the newest below. What is typed travels in the body of a message, never in an address: addresses
//! stand in logs and histories.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{Client, find_for, store};
use crate::base::actor::Role;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::checks::text_field;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

/// Rows that a search shows.
const MOST: usize = 20;
/// Of the newest records.
const NEWEST: i64 = 10;

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients", list).post("/door/found", found)
}

#[derive(Deserialize)]
struct TypedSearch {
    #[serde(default)]
    typed: String,
    /// "rows" from the script, which wants nothing around them.
    #[serde(default)]
    part: String,
}

pub(super) struct ClientRow {
    pub(super) name: String,
    pub(super) about: String,
    pub(super) href: String,
    pub(super) restricted: bool,
}

#[derive(Template)]
#[template(path = "clients/rows.html")]
struct Rows {
    rows: Vec<ClientRow>,
    told: String,
}

#[derive(Template)]
#[template(path = "clients/list.html")]
struct ListPage {
    frame: Frame,
    key: String,
    search: FieldView,
    rows: Vec<ClientRow>,
    told: String,
    newest: Vec<ClientRow>,
    empty: bool,
    receives: bool,
    is_owner: bool,
    /// Whether she may be somebody's keeper.
    keeps: bool,
}

/// What tells her apart from another of the same name: birth date, end of the number.
pub(super) fn told_apart(client: &Client) -> String {
    let born = client.born.map(|born| format!("born {}", born.strftime("%-d %b %Y")));
    let digits: Vec<char> = client.phone.chars().filter(char::is_ascii_digit).collect();
    let phone = (digits.len() >= 4)
        .then(|| format!("number ends in {}", digits[digits.len() - 4..].iter().collect::<String>()));
    [born, phone].into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// A client as a row that tells her apart from another of the same name.
pub(super) fn row(house: &House, client: &Client) -> ClientRow {
    ClientRow {
        name: client.name.clone(),
        about: told_apart(client),
        href: house.url(&format!("/door/clients/{}", client.id)),
        restricted: client.restricted.is_some(),
    }
}

fn only(staff: &Staff) -> Option<PersonId> {
    (staff.who.role == Role::Artist).then_some(staff.who.id)
}

fn told(typed: &str, rows: &[ClientRow]) -> String {
    match rows.len() {
        _ if typed.trim().is_empty() => String::new(),
        0 => "Nobody found. Fewer letters find more.".to_owned(),
        1 => "One found.".to_owned(),
        n if n >= MOST => format!("The first {n}. More letters find fewer."),
        n => format!("{n} found."),
    }
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    page(&view(&house, &staff, "", Vec::new(), new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    typed: &str,
    rows: Vec<ClientRow>,
    key: String,
) -> Result<ListPage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let newest = store::newest(&mut db, only(staff), NEWEST).await?;
    let role = staff.who.role;
    Ok(ListPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Clients"),
        key,
        search: text_field("typed", "Name, number or e-mail address", typed).hinted(
            "The beginning is enough, in any order: lo ad finds Ada Lovell. The last four digits of a number too.",
        ),
        told: told(typed, &rows),
        rows,
        empty: newest.is_empty(),
        newest: newest.iter().map(|client| row(house, client)).collect(),
        receives: role != Role::Artist,
        is_owner: role == Role::Owner,
        keeps: role != Role::Desk,
    })
}

async fn found(staff: Staff, State(house): State<House>, form: Form<TypedSearch>) -> Result<Response, Problem> {
    let typed = &form.typed.typed;
    let rows: Vec<ClientRow> = {
        let mut db = house.store.read().await?;
        let clients = find_for(&mut db, &staff.who, typed, MOST).await?;
        clients.iter().map(|client| row(&house, client)).collect()
    };
    if form.typed.part == "rows" {
        return page(&Rows { told: told(typed, &rows), rows });
    }
    let key = form.key.again();
    page(&view(&house, &staff, typed, rows, key).await?)
}
