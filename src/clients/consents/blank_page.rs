//! A blank consent to print, for days without power: to be signed by hand and put into the record afterwards.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::given::hash;
use super::{Purpose, store};
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new().get("/door/consents/{purpose}/blank", blank)
}

#[derive(Template)]
#[template(path = "clients/consent_blank.html")]
struct BlankPage {
    frame: Frame,
    paragraphs: Vec<String>,
    version: i64,
    text_hash: String,
    adults_only: bool,
}

/// A wording as paragraphs.
pub(in crate::clients) fn paragraphs(body: &str) -> Vec<String> {
    body.split("\n\n").map(|part| part.trim().to_owned()).filter(|part| !part.is_empty()).collect()
}

async fn blank(staff: Staff, State(house): State<House>, At(purpose): At<Purpose>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (version, body) = store::text(&mut db, purpose).await?;
    page(&BlankPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("Consent: {}", purpose.words())),
        text_hash: hash(body.as_bytes()),
        paragraphs: paragraphs(&body),
        version,
        adults_only: purpose.for_adults_only(),
    })
}
