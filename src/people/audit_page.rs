//! Office, *Who did what*: the newest lines of the audit chain.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::store;
use crate::base::problem::Problem;
use crate::store::audit;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/audit", audit_page)
}

struct AuditRow {
    line: i64,
    at: String,
    actor: String,
    action: String,
    subject: String,
    detail: String,
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
        people
            .iter()
            .find(|person| person.id.to_string() == id)
            .map_or_else(|| mark.to_owned(), |person| person.name.clone())
    };
    let row = |line: audit::Line| AuditRow {
        line: line.line,
        at: studio.zone.date_and_clock(line.at, now),
        actor: name(&line.actor),
        subject: name(&line.subject),
        detail: line.detail,
        action: line.action,
    };
    let lines = audit::newest(&mut db, 200).await?.into_iter().map(row).collect();
    let frame = house.frame(&studio, &owner.visitor, Place::Office, "Who did what");
    page(&AuditPage { frame, lines })
}
