//! Restriction: at a client's wish her record is kept and nothing is done with it.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::kept_by;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::clients::rights;
use crate::store::Kept;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/restriction", show).post("/door/clients/{client}/restriction", keep)
}

#[derive(Template)]
#[template(path = "privacy/restriction.html")]
struct RestrictionPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    since: Option<String>,
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let client = kept_by(&mut db, &staff, id).await?;
    let studio = Studio::load(&mut db).await?;
    let path = house.url(&format!("/door/clients/{id}"));
    page(&RestrictionPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("{}: restriction", client.name)),
        key: new_form_key(),
        action: format!("{path}/restriction"),
        back: path,
        since: client.restricted.map(|at| studio.zone.date_and_clock(at, staff.visitor.now.0)),
    })
}

#[derive(Deserialize)]
struct TypedRestriction {
    /// "restrict" or "lift".
    wish: String,
}

async fn keep(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedRestriction>,
) -> Result<Response, Problem> {
    let restricts = match form.typed.wish.as_str() {
        "restrict" => true,
        "lift" => false,
        _ => return Err(Problem::Unreadable("The wish could not be read.".into())),
    };
    {
        let mut db = house.store.read().await?;
        kept_by(&mut db, &staff, id).await?;
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let since = restricts.then_some(tx.now.0);
                rights::restrict(tx, id, since).await?;
                Ok(Kept::see(format!("/door/clients/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
