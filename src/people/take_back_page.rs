//! A device comes back from a client's hands: the passphrase of the person who handed it over, with the same waits as at signing in; on
//! a shared tablet also her six digits, with the same tries as at its lock.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::entering::{account_as_it_is, known_browser};
use super::sign_in_page::count_try;
use super::{passphrase, store, tablet};
use crate::base::actor::{Actor, Who};
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::SECOND;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Anyone;
use crate::web::incoming::{FormThatSignsIn, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::{Visitor, set_cookie};

pub(super) fn routes() -> Routes {
    Routes::new().get("/handed-over/leave", show).post("/handed-over/leave", leave)
}

#[derive(Template)]
#[template(path = "people/take_back.html")]
struct TakeBackPage {
    frame: Frame,
    key: String,
    action: String,
    field: FieldView,
    mistakes: Vec<Mistake>,
    back: String,
}

#[derive(Deserialize)]
struct Typed {
    passphrase: String,
}

async fn show(Anyone(visitor): Anyone, State(house): State<House>) -> Result<Response, Problem> {
    match &visitor.actor {
        Actor::HandedOver(_) => {}
        // Back in her hands: there is nothing to take back.
        Actor::Person(_) => return Ok(Redirect::to(&house.url("/")).into_response()),
        _ => return Err(Problem::SignIn),
    }
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    page(&view(&house, &visitor, &studio, new_form_key(), None))
}

fn view(house: &House, visitor: &Visitor, studio: &Studio, key: String, wrong: Option<String>) -> TakeBackPage {
    let field = FieldView {
        name: "passphrase",
        label: if visitor.tablet.is_some() { "Your passphrase, or your six digits" } else { "Your passphrase" }
            .to_owned(),
        hint: Some("Of whoever handed the device over.".to_owned()),
        kind: "password",
        // Not offered by the browser: it stands in a client's hands.
        autocomplete: "off",
        error: wrong,
        ..FieldView::default()
    };
    TakeBackPage {
        frame: house.frame(studio, visitor, Place::Nowhere, "For the studio"),
        key,
        action: house.url("/handed-over/leave"),
        mistakes: mistakes([&field]),
        field,
        back: house.url("/handed-over"),
    }
}

/// What the attempt came to.
enum Proof {
    /// Her passphrase.
    Right,
    /// Her six digits, by the hash they belong to.
    Digits(String),
    /// What to tell her.
    Wrong(String),
    /// Too many tries: seconds to wait.
    Wait(u64),
}

async fn leave(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    form: FormThatSignsIn<Typed>,
) -> Result<Response, Problem> {
    let (who, handed) = match &visitor.actor {
        Actor::HandedOver(who) => (who.clone(), true),
        Actor::Person(who) => (who.clone(), false),
        _ => return Err(Problem::SignIn),
    };
    // The same form sent twice comes once from the client's hands and once from the person's: it is hers both times.
    let key = FormKey { actor: Actor::Person(who.clone()), ..form.key };
    if let Some(first) = house.store.first_result(&key).await? {
        return Ok(answer(&house, &first));
    }
    if !handed {
        return Err(Problem::NotHere("form in a client’s hands"));
    }
    let proof = match visitor.tablet {
        Some(on) if tablet::looks_like_one(&form.typed.passphrase) => {
            match tablet::are_hers(&house, on, who.id, &form.typed.passphrase).await? {
                Ok(hash) => Proof::Digits(hash),
                Err(sentence) => Proof::Wrong(sentence),
            }
        }
        _ => proves(&house, &who, &headers, form.typed.passphrase).await?,
    };
    let digits = match proof {
        Proof::Right => None,
        Proof::Digits(hash) => Some(hash),
        Proof::Wrong(sentence) => {
            return once_more(&house, &visitor, StatusCode::UNPROCESSABLE_ENTITY, sentence).await;
        }
        Proof::Wait(seconds) => {
            let sentence = format!("Too many tries. Wait {seconds} seconds, then try again.");
            let mut answer = once_more(&house, &visitor, StatusCode::TOO_MANY_REQUESTS, sentence).await?;
            answer.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
            return Ok(answer);
        }
    };
    let (session, person, on) = (who.session, who.id, visitor.tablet);
    let kept = house
        .store
        .write(&key, move |tx| {
            let digits = digits.clone();
            Box::pin(async move {
                // She may have left, or chosen another passphrase, while it was looked at.
                store::by_id(tx.db(), person).await?.filter(store::Person::can_sign_in).ok_or(Problem::SignIn)?;
                if let Some(hash) = digits {
                    if tablet::hash_of(tx.db(), person).await? != hash {
                        return Err(Problem::SignIn);
                    }
                    // What asks for the passphrase asks for it again: digits alone brought it back.
                    session::by_code(tx, session).await?;
                }
                if let Some(on) = on {
                    tablet::forget_tries(tx, on, person).await?;
                }
                Ok(Kept::see(session::take_back(tx, session).await?))
            })
        })
        .await?;
    let mut answer = answer(&house, &kept);
    answer.headers_mut().append(header::SET_COOKIE, set_cookie(&house, &handed_cookie(&house), "", Some(0)));
    Ok(answer)
}

async fn once_more(
    house: &House,
    visitor: &Visitor,
    status: StatusCode,
    sentence: String,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    page_with(status, &view(house, visitor, &studio, new_form_key(), Some(sentence)))
}

/// Whether what was typed is this person's passphrase. Each try is counted for her account before it is looked at.
async fn proves(house: &House, who: &Who, headers: &HeaderMap, typed: String) -> Result<Proof, Problem> {
    let person = {
        let mut db = house.store.read().await?;
        store::by_id(&mut db, who.id).await?.filter(store::Person::can_sign_in)
    };
    let person = person.ok_or(Problem::SignIn)?;
    let account = house.store.keys().digest("account", &[text::fold(&person.name).as_bytes()]);
    let browser = known_browser(house, headers, &account_as_it_is(house, &account, &person.passphrase));
    let wait = count_try(house, &account, &browser).await?;
    if wait > 0 {
        return Ok(Proof::Wait(u64::try_from(wait / SECOND + 1).unwrap_or(1)));
    }
    let turn = house.hashing.for_known().await?;
    if !passphrase::fits(turn, typed.chars().take(256).collect(), person.passphrase).await? {
        return Ok(Proof::Wrong("This is not the passphrase of whoever handed the device over.".to_owned()));
    }
    house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            let (account, browser) = (account.clone(), browser.clone());
            Box::pin(async move {
                store::forget_tries(tx, &account, &browser).await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await?;
    Ok(Proof::Right)
}

/// A mark on a device in a client's hands. Nothing is decided by it: browsers throw away pages they hold ready when a cookie changes.
fn handed_cookie(house: &House) -> String {
    format!("{}-handed", house.config.cookie_name())
}

/// Puts that mark on an answer, and asks the browser to throw away what it holds of earlier pages.
pub fn mark_handed_over(house: &House, answer: &mut Response) {
    let headers = answer.headers_mut();
    headers.append(header::SET_COOKIE, set_cookie(house, &handed_cookie(house), &new_form_key(), None));
    headers.insert("clear-site-data", HeaderValue::from_static("\"cache\""));
}
