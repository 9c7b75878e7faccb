//! Signing in and out. What was typed when a sign-in had ended is sent after the next one.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::entering::{account_as_it_is, add_cookies, known_browser};
use super::tablet::{self, CameIn};
use super::{passphrase, rules, store};
use crate::base::actor::Actor;
use crate::base::ids::{PersonId, TabletId};
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::SECOND;
use crate::store::keys::fresh_secret;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::form::mistakes;
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, SignedIn};
use crate::web::incoming::new_form_key;
use crate::web::incoming::{FORM_MOST, FormThatSignsIn, has_type, is_signed_in, whole};
use crate::web::problems::{PROVE_NOTE, SignInPage, page, page_again, page_with, sign_in_fields};
use crate::web::routes::Routes;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::{Visitor, set_cookie};

pub(super) fn routes() -> Routes {
    Routes::new().get("/sign-in", sign_in_page).post("/sign-in", sign_in).post("/sign-out", sign_out)
}

/// A form held over an ended sign-in, ready to be sent by the person who typed it.
#[derive(Template)]
#[template(path = "people/send_again.html")]
struct SendAgainPage {
    frame: Frame,
    action: String,
    typed: Vec<(String, String)>,
    shown: Vec<(String, String)>,
}

#[derive(Deserialize)]
struct TypedSignIn {
    name: String,
    passphrase: String,
    #[serde(default)]
    next: String,
    #[serde(default)]
    draft: String,
    #[serde(default)]
    draft_to: String,
}

async fn sign_in_page(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let next = rules::own_path(asked.get("next").map_or("/", String::as_str)).to_owned();
    let to_prove = asked.contains_key("prove") && visitor.tablet.is_some() && !visitor.proved;
    if is_signed_in(&visitor) && !to_prove {
        return Ok(Redirect::to(&house.url(&next)).into_response());
    }
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let mut view = sign_in_view(&house, &studio, &visitor, &TypedSignIn::to(next), None);
    view.note = to_prove.then(|| PROVE_NOTE.to_owned());
    page(&view)
}

impl TypedSignIn {
    fn to(next: String) -> Self {
        Self { name: String::new(), passphrase: String::new(), next, draft: String::new(), draft_to: String::new() }
    }
}

/// Signing in writes a session and no entry of the studio, so the same form may be sent again and simply signs in again.
async fn sign_in(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    form: FormThatSignsIn<TypedSignIn>,
) -> Result<Response, Problem> {
    let typed = form.typed;
    // A name that cannot be one of ours is nobody's; it is asked for all the same, so that it takes as long.
    let name = text::line(&typed.name, 80).unwrap_or_default();
    let account = house.store.keys().digest("account", &[text::fold(&name).as_bytes()]);
    let (studio, found) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, store::by_name(&mut db, &name).await?.filter(store::Person::can_sign_in))
    };
    let on_tablet = tablet::here(&house, &headers, visitor.now).await?;
    // What was typed over an ended sign-in is carried over six digits as well.
    if let (Some(tablet), Some(person), true) = (on_tablet, &found, tablet::looks_like_one(&typed.passphrase)) {
        return match tablet::come_in(&house, &visitor, tablet, person.id, &typed.passphrase).await? {
            CameIn::Yes(secret) => go_on(&house, &studio, &headers, &secret, None, &typed),
            CameIn::No(sentence) => {
                let view = sign_in_view(&house, &studio, &visitor, &typed, Some(&sentence));
                page_again(&view)
            }
        };
    }
    let hash = found.as_ref().map(|person| person.passphrase.clone()).unwrap_or_default();
    let browser = known_browser(&house, &headers, &account_as_it_is(&house, &account, &hash));
    // Counted before the passphrase is looked at: any number of tries at once count as that many.
    let wait = count_try(&house, &account, &browser).await?;
    if wait > 0 {
        let seconds = u64::try_from(wait / SECOND + 1).unwrap_or(1);
        let note = format!("Too many tries for this name. Wait {seconds} seconds, then try again.");
        let view = sign_in_view(&house, &studio, &visitor, &typed, Some(&note));
        let mut answer = page_with(StatusCode::TOO_MANY_REQUESTS, &view)?;
        answer.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        return Ok(answer);
    }
    let turn = if browser.is_empty() { house.hashing.for_stranger().await? } else { house.hashing.for_known().await? };
    let fits = passphrase::fits(turn, typed.passphrase.chars().take(256).collect(), hash.clone()).await?;
    let person = found.filter(|_| fits);
    let Some(person) = person else {
        let note = "Name and passphrase do not go together.";
        let view = sign_in_view(&house, &studio, &visitor, &typed, Some(note));
        return page_again(&view);
    };
    let anew = if passphrase::is_outdated(&hash) {
        Some(passphrase::hash(house.hashing.for_known().await?, typed.passphrase.clone()).await?)
    } else {
        None
    };
    let known = account_as_it_is(&house, &account, anew.as_deref().unwrap_or(&hash));
    let verified = Verified { id: person.id, hash, anew, account, browser, on_tablet };
    let secret = begin_session(&house, &visitor, verified).await?;
    go_on(&house, &studio, &headers, &secret, Some(&known), &typed)
}

/// Where she goes on: the page she wanted, or what she typed before.
fn go_on(
    house: &House,
    studio: &Studio,
    headers: &HeaderMap,
    secret: &str,
    known: Option<&str>,
    typed: &TypedSignIn,
) -> Result<Response, Problem> {
    let mut answer = if typed.draft.is_empty() {
        Redirect::to(&house.url(rules::own_path(&typed.next))).into_response()
    } else {
        send_again(house, studio, secret, typed)?
    };
    add_cookies(house, headers, secret, known, &mut answer);
    Ok(answer)
}

/// Counts a try and gives the microseconds still to wait; 0 when this try may be looked at.
pub(super) async fn count_try(house: &House, account: &str, browser: &str) -> Result<i64, Problem> {
    let (account, browser) = (account.to_owned(), browser.to_owned());
    let kept = house
        .store
        .write(&FormKey::unkeyed(Actor::Nobody), move |tx| {
            let (account, browser) = (account.clone(), browser.clone());
            Box::pin(
                async move { store::count_try(tx, &account, &browser).await.map(|wait| Kept::see(wait.to_string())) },
            )
        })
        .await?;
    kept.location.parse().map_err(Problem::broken)
}

/// What was counted for this try, forgotten with its success; and what the person's row has to say still.
struct Verified {
    id: PersonId,
    hash: String,
    anew: Option<String>,
    account: String,
    browser: String,
    /// The shared tablet she signs in on.
    on_tablet: Option<TabletId>,
}

/// Begins a session for a person whose passphrase was right a moment ago - if it is still hers and she still works here.
async fn begin_session(house: &House, visitor: &Visitor, verified: Verified) -> Result<String, Problem> {
    let secret = fresh_secret()?;
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    let (verified, before) = (Arc::new(verified), visitor.actor.clone());
    house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (verified, before) = (Arc::clone(&verified), before.clone());
            Box::pin(async move {
                let person = store::by_id(tx.db(), verified.id).await?;
                let person = person.filter(|person| person.can_sign_in() && person.passphrase == verified.hash);
                let person = person.ok_or(Problem::SignIn)?;
                store::forget_tries(tx, &verified.account, &verified.browser).await?;
                if let Actor::Person(who) = before {
                    session::end(tx, who.session).await?;
                }
                let session =
                    session::begin(tx, &config, person.id, &person.name, person.role, &secret, &browser).await?;
                if let Some(tablet) = verified.on_tablet {
                    tablet::forget_tries(tx, tablet, person.id).await?;
                    session::on_tablet(tx, session, tablet).await?;
                }
                if let Some(hash) = &verified.anew {
                    store::set_passphrase(tx, person.id, hash).await?;
                }
                tx.audit("sign in", person.id, &session.to_string()).await?;
                Ok(Kept::see(""))
            })
        })
        .await?;
    Ok(secret)
}

/// After signing in again: the form that was typed before, with the new session's token, one press away.
fn send_again(house: &House, studio: &Studio, secret: &str, typed: &TypedSignIn) -> Result<Response, Problem> {
    let pairs: Vec<(String, String)> = serde_urlencoded::from_str(&typed.draft)
        .map_err(|_| Problem::Unreadable("What was typed before could not be read again.".into()))?;
    let shown = pairs.iter().filter(|(name, value)| name != "form_key" && !value.is_empty()).cloned().collect();
    let visitor = Visitor::of_new_session(house, secret);
    let view = SendAgainPage {
        frame: house.frame(studio, &visitor, Place::Nowhere, "What you typed before"),
        action: house.url(rules::own_path(&typed.draft_to)),
        typed: pairs,
        shown,
    };
    page(&view)
}

fn sign_in_view(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    typed: &TypedSignIn,
    wrong: Option<&str>,
) -> SignInPage {
    let mut fields = sign_in_fields(&typed.name);
    if let Some(sentence) = wrong {
        fields[1].error = Some(sentence.to_owned());
    }
    let mistakes = mistakes(&fields);
    SignInPage {
        frame: house.frame(studio, visitor, Place::Nowhere, "Sign in"),
        key: new_form_key(),
        next: typed.next.clone(),
        draft: typed.draft.clone(),
        draft_to: typed.draft_to.clone(),
        note: None,
        fields,
        mistakes,
    }
}

async fn sign_out(
    signed_in: SignedIn,
    State(house): State<House>,
    request: axum::extract::Request,
) -> Result<Response, Problem> {
    let (key, _) = without_key(&house, &signed_in, request).await?;
    let session = signed_in.who.session;
    house
        .store
        .write(&key, move |tx| {
            Box::pin(async move {
                session::end(tx, session).await?;
                Ok(Kept::see("/sign-in"))
            })
        })
        .await?;
    let mut answer = Redirect::to(&house.url("/sign-in")).into_response();
    let gone = set_cookie(&house, house.config.cookie_name(), "", Some(0));
    answer.headers_mut().append(header::SET_COOKIE, gone);
    Ok(answer)
}

/// What the buttons send that stand on every page without a key of their own: ending a session twice is the same as once.
pub(super) async fn without_key(
    house: &House,
    signed_in: &SignedIn,
    request: axum::extract::Request,
) -> Result<(FormKey, Vec<(String, String)>), Problem> {
    let (parts, body) = request.into_parts();
    if !has_type(&parts.headers, "application/x-www-form-urlencoded") {
        return Err(Problem::Forged);
    }
    let body = whole(body, FORM_MOST, house.config.request_timeout).await?;
    let mut pairs: Vec<(String, String)> = serde_urlencoded::from_bytes(&body).map_err(|_| Problem::Forged)?;
    pairs.push(("form_key".to_owned(), signed_in.who.session.to_string()));
    let key = crate::web::incoming::form_key(house, &signed_in.visitor, &parts.headers, &pairs, &[])?;
    Ok((FormKey { form: None, ..key }, pairs))
}
