//! Office, *Signed in*: the browsers that are signed in, and ending them.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::browser_words::browser_words;
use crate::base::actor::Role;
use crate::base::ids::SessionId;
use crate::base::problem::Problem;
use crate::base::zone::ago;
use crate::store::Kept;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::{SignedIn, with_passphrase};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::session;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/sessions", sessions_page).post("/office/sessions/{session}/end", end_session)
}

struct SessionRow {
    name: String,
    browser: String,
    began: String,
    seen: String,
    this: bool,
    end: String,
}

#[derive(Template)]
#[template(path = "people/sessions.html")]
struct SessionsPage {
    frame: Frame,
    key: String,
    everyone: bool,
    sessions: Vec<SessionRow>,
}

async fn sessions_page(signed_in: SignedIn, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (who, now) = (&signed_in.who, signed_in.visitor.now);
    let everyone = who.role == Role::Owner;
    let of = (!everyone).then_some(who.id);
    let row = |listed: session::Listed| SessionRow {
        this: listed.id == who.session,
        name: listed.name,
        browser: browser_words(&listed.browser),
        began: studio.zone.date_and_clock(listed.created, now.0),
        seen: ago(&studio.zone, listed.seen, now.0),
        end: house.url(&format!("/office/sessions/{}/end", listed.id)),
    };
    let sessions = session::in_use(&mut db, &house.config, of, now).await?.into_iter().map(row).collect();
    let frame = house.frame(&studio, &signed_in.visitor, Place::Office, "Signed in");
    page(&SessionsPage { frame, key: new_form_key(), everyone, sessions })
}

/// Ends a session: one's own, or anyone's for the owner. Another's session and none at all answer alike.
async fn end_session(
    signed_in: SignedIn,
    State(house): State<House>,
    At(id): At<SessionId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    // On a shared tablet six digits end no other sign-in than their own.
    if id != signed_in.who.session {
        with_passphrase(&signed_in.visitor)?;
    }
    let (who, config, now) = (signed_in.who.clone(), house.config.clone(), signed_in.visitor.now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (who, config) = (who.clone(), config.clone());
            Box::pin(async move {
                let of = (who.role != Role::Owner).then_some(who.id);
                let listed = session::in_use(tx.db(), &config, of, now).await?;
                if !listed.iter().any(|listed| listed.id == id) {
                    return Err(Problem::NotHere("session"));
                }
                if id == who.session {
                    session::end(tx, id).await?;
                } else {
                    session::revoke(tx, id).await?;
                }
                Ok(Kept::see("/office/sessions"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
