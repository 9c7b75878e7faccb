//! Office: where the owner answers for the house, and where everyone finds her own sign-ins.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::SignedIn;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office", office)
}

struct Line {
    word: &'static str,
    about: &'static str,
    href: String,
}

#[derive(Template)]
#[template(path = "places/office.html")]
struct OfficePage {
    frame: Frame,
    lines: Vec<Line>,
}

async fn office(signed_in: SignedIn, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let line = |word, about, path: &str| Line { word, about, href: house.url(path) };
    let mut lines = Vec::new();
    if signed_in.who.role == Role::Owner {
        lines.push(line("Settings", "name, zone, units, the studio’s band, limits of advice", "/office/settings"));
        lines.push(line("People", "who works here, invitations, roles, leaving", "/office/people"));
        lines.push(line("Rules of clearance", "patch tests, waits, who may be treated when", "/office/clearance"));
        lines.push(line("First-aid card", "local numbers, your words, checked by whom", "/office/first-aid"));
        lines.push(line("Shared tablets", "enrol this device, take one out of use", "/office/tablets"));
        lines.push(line("Keys for programs", "sensors and programs that read", "/office/tokens"));
        lines.push(line("Forecasts", "measured set times against what was foretold", "/office/forecast"));
        lines.push(line("Who did what", "the audit chain", "/office/audit"));
    }
    lines.push(line("Your six digits", "for the tablets you share", "/office/code"));
    lines.push(line("Signed in", "browsers that are signed in, and ending them", "/office/sessions"));
    let frame = house.frame(&studio, &signed_in.visitor, Place::Office, "Office");
    page(&OfficePage { frame, lines })
}
