//! The questions on paper, to be filled in by hand.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::ask_page::{GroupView, groups};
use crate::base::problem::Problem;
use crate::clients::questions;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new().get("/door/questions/blank", blank)
}

#[derive(Template)]
#[template(path = "clients/questions_blank.html")]
struct BlankPage {
    frame: Frame,
    version: i64,
    groups: Vec<GroupView>,
}

async fn blank(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let all = questions::store::newest(&mut db).await?;
    page(&BlankPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Consultation on paper"),
        version: all.version,
        groups: groups(&all, &BTreeMap::new(), &BTreeMap::new()),
    })
}
