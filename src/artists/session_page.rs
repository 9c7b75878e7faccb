//! One timing session: its placements, and striking them out or taking that back.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::session_row::{by, waiting, with};
use super::words::bare;
use super::{Artist, Placement, Session, one, store};
use crate::base::ids::{ArtistId, PlacementId, TimingSessionId};
use crate::base::problem::Problem;
use crate::base::text::count;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    let session = |out: bool| {
        move |staff: Staff, State(house): State<House>, At(at): At<(ArtistId, TimingSessionId)>, form: Form<Nothing>| {
            strike_session(staff, house, at, form, out)
        }
    };
    let placement = |out: bool| {
        move |staff: Staff,
              State(house): State<House>,
              At(at): At<(ArtistId, TimingSessionId, PlacementId)>,
              form: Form<Nothing>| strike_placement(staff, house, at, form, out)
    };
    Routes::new()
        .get("/hands/{artist}/sessions/{timing}", show)
        .post("/hands/{artist}/sessions/{timing}/strike", session(true))
        .post("/hands/{artist}/sessions/{timing}/take-back", session(false))
        .post("/hands/{artist}/sessions/{timing}/placements/{placement}/strike", placement(true))
        .post("/hands/{artist}/sessions/{timing}/placements/{placement}/take-back", placement(false))
}

/// A placement as a row.
struct PlacementRow {
    n: u32,
    travel: String,
    settle: String,
    struck: bool,
    action: String,
}

#[derive(Template)]
#[template(path = "hands/session.html")]
struct SessionPage {
    frame: Frame,
    key: String,
    /// One key a form: each is a write of its own.
    rows: Vec<PlacementRow>,
    what: String,
    with: String,
    uncertainty: String,
    waiting: bool,
    struck: bool,
    action: String,
    back: String,
}

/// The session, for her and the owner; everybody else meets what is not there.
async fn hers(
    db: &mut Db,
    staff: &Staff,
    artist: ArtistId,
    session: TimingSessionId,
) -> Result<(Artist, Session), Problem> {
    let found = one(db, artist).await?.filter(|artist| artist.seconds_seen_by(&staff.who));
    let artist = found.ok_or(Problem::NotHere("session"))?;
    let session = store::session(db, artist.id, session).await?.ok_or(Problem::NotHere("session"))?;
    Ok((artist, session))
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At((artist, id)): At<(ArtistId, TimingSessionId)>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (artist, session) = hers(&mut db, &staff, artist, id).await?;
    let studio = Studio::load(&mut db).await?;
    let placements = store::placements(&mut db, id).await?;
    drop(db);
    let sitting = store::kept_of(&placements);
    let path = house.url(&format!("/hands/{}/sessions/{id}", artist.id));
    let when = studio.zone.date_and_clock(session.at, staff.visitor.now.0);
    page(&SessionPage {
        frame: house.frame(&studio, &staff.visitor, Place::Hands, format!("{}, {when}", artist.name)),
        key: new_form_key(),
        rows: placements.iter().map(|placement| row(&path, placement, &studio)).collect(),
        what: format!(
            "{}: {} {}",
            session.style.words(),
            count(sitting.counted as usize, "placement"),
            by(session.source)
        ),
        with: with(&session, &studio),
        uncertainty: session.uncertainty_s.map_or_else(
            || "How exact each time is, nobody has said.".to_owned(),
            |s| format!("Each time is off by about {}\u{a0}s.", studio.number(s, if s < 0.1 { 3 } else { 2 })),
        ),
        waiting: waiting(&session, sitting.median()),
        struck: session.struck.is_some(),
        action: format!("{path}/{}", if session.struck.is_some() { "take-back" } else { "strike" }),
        back: house.url(&format!("/hands/{}?style={}", artist.id, session.style.key())),
    })
}

fn row(path: &str, placement: &Placement, studio: &Studio) -> PlacementRow {
    let struck = placement.struck.is_some();
    let act = if struck { "take-back" } else { "strike" };
    PlacementRow {
        n: placement.n,
        travel: bare(placement.travel, studio.decimal),
        settle: bare(placement.settle, studio.decimal),
        struck,
        action: format!("{path}/placements/{}/{act}", placement.id),
    }
}

async fn strike_session(
    staff: Staff,
    house: House,
    (artist, id): (ArtistId, TimingSessionId),
    form: Form<Nothing>,
    out: bool,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (artist, session) = hers(&mut db, &staff, artist, id).await?;
    drop(db);
    let see = format!("/hands/{}?style={}", artist.id, session.style.key());
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (session, see) = (session.clone(), see.clone());
            Box::pin(async move {
                store::strike_session(tx, &session, out).await?;
                Ok(Kept::see(see))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn strike_placement(
    staff: Staff,
    house: House,
    (artist, id, placement): (ArtistId, TimingSessionId, PlacementId),
    form: Form<Nothing>,
    out: bool,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let (artist, session) = hers(&mut db, &staff, artist, id).await?;
    let placements = store::placements(&mut db, id).await?;
    drop(db);
    let placement = placements.into_iter().find(|other| other.id == placement).ok_or(Problem::NotHere("placement"))?;
    let see = format!("/hands/{}/sessions/{id}#placements", artist.id);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (session, see) = (session.clone(), see.clone());
            Box::pin(async move {
                store::strike_placement(tx, &session, &placement, out).await?;
                Ok(Kept::see(see))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
