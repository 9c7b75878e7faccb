//! Records that look like one person, side by side with what speaks for it. Putting together is a page of privacy, which knows what
//! every part keeps of her.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::list_page::{ClientRow, row};
use super::{pairs, seen};
use crate::base::actor::Role;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::Kept;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/duplicates", list).post("/door/clients/{client}/apart/{other}", apart)
}

/// Putting together is for those who see everybody.
pub(crate) const FOR_DESK: Problem = Problem::NotYours("The desk or the owner puts records together.");

struct PairRow {
    one: ClientRow,
    other: ClientRow,
    why: String,
    merge: String,
    apart: String,
}

#[derive(Template)]
#[template(path = "clients/duplicates.html")]
struct PairsPage {
    frame: Frame,
    key: String,
    pairs: Vec<PairRow>,
    /// There are more than these.
    more: bool,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    if staff.who.role == Role::Artist {
        return Err(FOR_DESK);
    }
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (found, more) = pairs::all(&mut db).await?;
    let pairs = found.iter().map(|pair| PairRow {
        one: row(&house, &pair.one),
        other: row(&house, &pair.other),
        why: pair.why.join("; "),
        merge: house.url(&format!("/door/clients/{}/merge/{}", pair.one.id, pair.other.id)),
        apart: house.url(&format!("/door/clients/{}/apart/{}", pair.one.id, pair.other.id)),
    });
    page(&PairsPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Kept twice?"),
        key: new_form_key(),
        pairs: pairs.collect(),
        more,
    })
}

async fn apart(
    staff: Staff,
    State(house): State<House>,
    At((one, other)): At<(ClientId, ClientId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    if staff.who.role == Role::Artist {
        return Err(FOR_DESK);
    }
    let who = staff.who.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                seen(tx.db(), one, &who).await?;
                seen(tx.db(), other, &who).await?;
                if one == other {
                    return Err(Problem::NotHere("client"));
                }
                pairs::tell_apart(tx, one, other, who.id).await?;
                Ok(Kept::see("/door/clients/duplicates"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
