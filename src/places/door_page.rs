//! Door: where clients are received.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door", door)
}

struct Line {
    word: &'static str,
    about: &'static str,
    href: String,
}

#[derive(Template)]
#[template(path = "places/door.html")]
struct DoorPage {
    frame: Frame,
    lines: Vec<Line>,
}

async fn door(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let line = |word, about, path: &str| Line { word, about, href: house.url(path) };
    let lines = vec![
        line(
            "Not cleared",
            "who of those expected may not be treated yet, and what to do by when",
            "/door/not-cleared",
        ),
        line("Clients", "find a client, begin a record, consultation and consents", "/door/clients"),
        line("The questions", "what is asked about health, and what an answer leads to", "/door/questions"),
        line("The consents", "their wordings, and blank ones to print", "/door/consents"),
    ];
    page(&DoorPage { frame: house.frame(&studio, &staff.visitor, Place::Door, "Door"), lines })
}
