//! The door: claiming the house, taking up an invitation, signing in and out.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::{passphrase, rules, store};
use crate::base::actor::{Actor, Role};
use crate::base::ids::PersonId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::SECOND;
use crate::store::keys::{fresh_secret, same};
use crate::store::{FormKey, Kept, settings};
use crate::web::House;
use crate::web::checks::note_fields;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, SignedIn};
use crate::web::incoming::{At, Form, has_type, is_signed_in, new_form_key};
use crate::web::problems::{SignInPage, page, page_with, sign_in_fields};
use crate::web::routes::Routes;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::{Visitor, cookie, set_cookie};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/claim/{token}", claim_page)
        .post("/claim/{token}", claim)
        .get("/invited/{token}", invited_page)
        .post("/invited/{token}", take_up)
        .get("/sign-in", sign_in_page)
        .post("/sign-in", sign_in)
        .post("/sign-out", sign_out)
}

#[derive(Template)]
#[template(path = "shell/claim.html")]
struct ClaimPage {
    frame: Frame,
    key: String,
    action: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Template)]
#[template(path = "shell/invited.html")]
struct InvitedPage {
    frame: Frame,
    key: String,
    action: String,
    inviter: String,
    role: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
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
struct TypedClaim {
    studio: String,
    name: String,
    passphrase: String,
    again: String,
    zone: String,
}

#[derive(Deserialize)]
struct TypedInvited {
    passphrase: String,
    again: String,
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

async fn claim_page(Anyone(visitor): Anyone, State(house): State<House>, At(token): At<String>) -> Result<Response, Problem> {
    let studio = open_claim(&house, &token).await?;
    let typed = TypedClaim {
        studio: String::new(),
        name: String::new(),
        passphrase: String::new(),
        again: String::new(),
        zone: String::new(),
    };
    page(&claim_view(&house, &studio, &visitor, &token, &typed, &[], new_form_key()))
}

/// The claim is open, or the answer is that there is nothing here.
async fn open_claim(house: &House, token: &str) -> Result<Studio, Problem> {
    if !same(token, &store::claim_token(house.store.keys())) {
        return Err(Problem::NotHere("link"));
    }
    let mut db = house.store.read().await?;
    if store::is_claimed(&mut db).await? {
        return Err(Problem::Clash("This house was claimed already.".into(), "Sign in, or ask its owner to invite you.".into()));
    }
    Studio::load(&mut db).await
}

async fn claim(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(token): At<String>,
    form: Form<TypedClaim>,
) -> Result<Response, Problem> {
    if !same(&token, &store::claim_token(house.store.keys())) {
        return Err(Problem::NotHere("link"));
    }
    let typed = &form.typed;
    let (name, notes) = check_claim(typed);
    let Some((studio_name, name, zone)) = name.filter(|_| notes.is_empty()) else {
        let studio = open_claim(&house, &token).await?;
        let view = claim_view(&house, &studio, &visitor, &token, typed, &notes, form.key.form.clone().unwrap_or_default());
        return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
    };
    let hash = passphrase::hash(&house.hashing, typed.passphrase.clone()).await?;
    let secret = secret_of_form(&house, &visitor, &form.key);
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    let (kept_name, kept_studio) = (name.clone(), studio_name.clone());
    house
        .store
        .write(&form.key, move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (name, studio, zone, hash) = (kept_name.clone(), kept_studio.clone(), zone.clone(), hash.clone());
            Box::pin(async move {
                let id = store::claim(tx, &name, &hash).await?;
                settings::set(tx, "studio.name", &studio).await?;
                settings::set(tx, "studio.zone", &zone).await?;
                tx.actor = Actor::House;
                session::begin(tx, &config, id, &name, Role::Owner, &secret, &browser).await?;
                Ok(Kept::see("/"))
            })
        })
        .await?;
    Ok(signed_in(&house, &headers, &secret, Some(&name)))
}

/// What was typed into a claim, checked: studio, name, zone; and what is wrong.
fn check_claim(typed: &TypedClaim) -> (Option<(String, String, String)>, Vec<FieldNote>) {
    let mut notes = Vec::new();
    let mut take = |field: &'static str, value: &str| {
        text::line(value, 80).map_err(|bad| notes.push(FieldNote::new(field, bad.to_string()))).ok()
    };
    let (studio, name) = (take("studio", &typed.studio), take("name", &typed.name));
    let zone = crate::base::zone::Zone::named(typed.zone.trim()).map(|zone| zone.name().to_owned());
    if zone.is_none() {
        notes.push(FieldNote::new("zone", "Type a time zone by its name, for instance Europe/Lisbon."));
    }
    notes.extend(check_passphrase(&typed.passphrase, &typed.again, &[&typed.studio, &typed.name]));
    (studio.zip(name).zip(zone).map(|((studio, name), zone)| (studio, name, zone)), notes)
}

fn check_passphrase(phrase: &str, again: &str, own_words: &[&str]) -> Option<FieldNote> {
    if let Err(sentence) = passphrase::acceptable(phrase, own_words) {
        return Some(FieldNote::new("passphrase", sentence));
    }
    (phrase != again).then(|| FieldNote::new("again", "This is not the same passphrase. Type both anew."))
}

fn claim_view(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    token: &str,
    typed: &TypedClaim,
    notes: &[FieldNote],
    key: String,
) -> ClaimPage {
    let text = |name, label: &str, value: &str, autocomplete| FieldView {
        name,
        label: label.to_owned(),
        value: value.to_owned(),
        autocomplete,
        kind: "text",
        ..FieldView::default()
    };
    let mut fields = vec![
        text("studio", "The studio’s name", &typed.studio, "organization"),
        text("name", "Your name, as colleagues say it", &typed.name, "name"),
        FieldView {
            hint: Some("By its name in the time zone database, for instance Europe/Lisbon.".to_owned()),
            ..text("zone", "Time zone", &typed.zone, "off")
        },
    ];
    fields.extend(new_passphrase_fields());
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let frame = house.frame(studio, visitor, Place::Nowhere, "Claim this house");
    ClaimPage { frame, key, action: house.url(&format!("/claim/{token}")), fields, mistakes }
}

fn new_passphrase_fields() -> [FieldView; 2] {
    let field = |name, label: &str, hint: Option<String>| FieldView {
        name,
        label: label.to_owned(),
        hint,
        autocomplete: "new-password",
        kind: "password",
        ..FieldView::default()
    };
    let hint = format!("At least {} characters. Paste from a password keeper if you have one.", passphrase::MIN_LENGTH);
    [field("passphrase", "Passphrase", Some(hint)), field("again", "The same once more", None)]
}

async fn invited_page(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    At(token): At<String>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let person = store::invited(&mut db, &token, visitor.now).await?.ok_or(Problem::NotHere("invitation"))?;
    page(&invited_view(&house, &studio, &visitor, &token, &person, &[], new_form_key()))
}

async fn take_up(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(token): At<String>,
    form: Form<TypedInvited>,
) -> Result<Response, Problem> {
    let (studio, person) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, store::invited(&mut db, &token, visitor.now).await?)
    };
    let secret = secret_of_form(&house, &visitor, &form.key);
    let Some(person) = person else {
        // Used up: by this very form, which then gets its first result again, or by another.
        house.store.write(&form.key, |_| Box::pin(async { Err(Problem::NotHere("invitation")) })).await?;
        return Ok(signed_in(&house, &headers, &secret, None));
    };
    if let Some(note) = check_passphrase(&form.typed.passphrase, &form.typed.again, &[&studio.name, &person.name]) {
        let key = form.key.form.clone().unwrap_or_default();
        let view = invited_view(&house, &studio, &visitor, &token, &person, &[note], key);
        return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
    }
    let hash = passphrase::hash(&house.hashing, form.typed.passphrase.clone()).await?;
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    house
        .store
        .write(&form.key, move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (token, hash) = (token.clone(), hash.clone());
            Box::pin(async move {
                let person = store::take_up(tx, &token, &hash).await?;
                session::begin(tx, &config, person.id, &person.name, person.role, &secret, &browser).await?;
                Ok(Kept::see("/"))
            })
        })
        .await?;
    Ok(signed_in(&house, &headers, &secret, Some(&person.name)))
}

/// The session's secret for a form that signs in once: a double click gets the same cookie again, not a dead one.
fn secret_of_form(house: &House, visitor: &Visitor, key: &FormKey) -> String {
    let form = key.form.as_deref().unwrap_or_default();
    house.store.keys().digest("session of a form", &[visitor.csrf.as_bytes(), key.route.as_bytes(), form.as_bytes()])
}

fn invited_view(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    token: &str,
    person: &store::Person,
    notes: &[FieldNote],
    key: String,
) -> InvitedPage {
    let mut fields = new_passphrase_fields().to_vec();
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    InvitedPage {
        frame: house.frame(studio, visitor, Place::Nowhere, format!("Welcome, {}", person.name)),
        key,
        action: house.url(&format!("/invited/{token}")),
        inviter: "The owner".to_owned(),
        role: person.role.word().to_owned(),
        fields,
        mistakes,
    }
}

async fn sign_in_page(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let next = rules::own_path(asked.get("next").map_or("/", String::as_str)).to_owned();
    if is_signed_in(&visitor) {
        return Ok(Redirect::to(&house.url(&next)).into_response());
    }
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    page(&sign_in_view(&house, &studio, &visitor, &TypedSignIn::to(next), None))
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
    form: Form<TypedSignIn>,
) -> Result<Response, Problem> {
    let typed = form.typed;
    // Keyboards of tablets put a space after a word they complete.
    let name = typed.name.trim();
    let account = house.store.keys().digest("account", &[text::fold(name).as_bytes()]);
    let browser = known_browser(&house, &headers, &account);
    let (studio, found) = {
        let mut db = house.store.read().await?;
        let found = store::by_name(&mut db, name).await?.filter(store::Person::can_sign_in);
        (Studio::load(&mut db).await?, found)
    };
    if let Some(seconds) = count_try(&house, &account, &browser).await? {
        let note = format!("Too many tries for this name. Wait {seconds} seconds, then try again.");
        let view = sign_in_view(&house, &studio, &visitor, &typed, Some(&note));
        return page_with(StatusCode::TOO_MANY_REQUESTS, &view);
    }
    let hash = found.as_ref().map(|person| person.passphrase.clone()).unwrap_or_default();
    let fits = passphrase::fits(&house.hashing, typed.passphrase.chars().take(256).collect(), hash.clone()).await?;
    let Some(person) = found.filter(|_| fits) else {
        let note = "Name and passphrase do not go together.";
        let view = sign_in_view(&house, &studio, &visitor, &typed, Some(note));
        return page_with(StatusCode::UNPROCESSABLE_ENTITY, &view);
    };
    let anew = if passphrase::is_outdated(&hash) {
        Some(passphrase::hash(&house.hashing, typed.passphrase.clone()).await?)
    } else {
        None
    };
    let secret = begin_session(&house, &visitor, &person, anew, (&account, &browser)).await?;
    let mut answer = if typed.draft.is_empty() {
        Redirect::to(&house.url(rules::own_path(&typed.next))).into_response()
    } else {
        send_again(&house, &studio, &secret, &typed)?
    };
    add_cookies(&house, &headers, &secret, Some(&account), &mut answer);
    Ok(answer)
}

/// Counts a try as failed before it is tested; a good one is forgotten again when its session begins. Counted afterwards,
/// a thousand tries sent at once would all be tested under the count of one. Gives the seconds to wait, if it is not to be
/// tested yet.
async fn count_try(house: &House, account: &str, browser: &str) -> Result<Option<i64>, Problem> {
    let (account, browser) = (account.to_owned(), browser.to_owned());
    let kept = house
        .store
        .write(&FormKey::unkeyed(Actor::Nobody), move |tx| {
            let (account, browser) = (account.clone(), browser.clone());
            Box::pin(async move {
                let now = tx.now.0;
                let (failures, not_before) = store::delay(tx.db(), &account, &browser).await?;
                let wait = not_before.since(now);
                if wait > 0 {
                    tx.record_tells_itself();
                    return Ok(Kept::json(429, &(wait / SECOND + 1).into()));
                }
                let failures = failures.saturating_add(1);
                let not_before = now.plus(rules::wait_after(failures));
                store::count_failure(tx, &account, &browser, failures, not_before).await?;
                Ok(Kept::see(""))
            })
        })
        .await?;
    Ok((kept.status == 429).then(|| kept.answer.parse().unwrap_or(1)))
}

async fn begin_session(
    house: &House,
    visitor: &Visitor,
    person: &store::Person,
    anew: Option<String>,
    (account, tried_from): (&str, &str),
) -> Result<String, Problem> {
    let secret = fresh_secret()?;
    let (account, tried_from) = (account.to_owned(), tried_from.to_owned());
    let (id, name, role): (PersonId, _, _) = (person.id, person.name.clone(), person.role);
    let (config, keep, browser) = (Arc::clone(&house.config), secret.clone(), visitor.browser.clone());
    house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            let (config, secret, browser) = (Arc::clone(&config), keep.clone(), browser.clone());
            let (name, anew) = (name.clone(), anew.clone());
            let (account, tried_from, now) = (account.clone(), tried_from.clone(), tx.now.0);
            Box::pin(async move {
                store::count_failure(tx, &account, &tried_from, 0, now).await?;
                let session = session::begin(tx, &config, id, &name, role, &secret, &browser).await?;
                if let Some(hash) = anew {
                    store::set_passphrase(tx, id, &hash).await?;
                }
                tx.audit("sign in", id, &session.to_string()).await?;
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

async fn sign_out(signed_in: SignedIn, State(house): State<House>, request: axum::extract::Request) -> Result<Response, Problem> {
    let form: Form<BTreeMap<String, String>> = sign_out_form(&house, &signed_in, request).await?;
    let session = signed_in.who.session;
    house
        .store
        .write(&form.key, move |tx| {
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

/// The sign-out button stands on every page without a key of its own: ending a session twice is the same as once.
async fn sign_out_form(
    house: &House,
    signed_in: &SignedIn,
    request: axum::extract::Request,
) -> Result<Form<BTreeMap<String, String>>, Problem> {
    let (parts, body) = request.into_parts();
    if !has_type(&parts.headers, "application/x-www-form-urlencoded") {
        return Err(Problem::Forged);
    }
    let body = axum::body::to_bytes(body, 4096).await.map_err(|_| Problem::Forged)?;
    let mut pairs: Vec<(String, String)> = serde_urlencoded::from_bytes(&body).map_err(|_| Problem::Forged)?;
    pairs.push(("form_key".to_owned(), signed_in.who.session.to_string()));
    let mut key = crate::web::incoming::form_key(house, &signed_in.visitor, &parts.headers, &pairs, &[])?;
    key.form = None;
    Ok(Form { typed: pairs.into_iter().collect(), key })
}

fn signed_in(house: &House, headers: &HeaderMap, secret: &str, name: Option<&str>) -> Response {
    let mut answer = Redirect::to(&house.url("/")).into_response();
    let account = name.map(|name| house.store.keys().digest("account", &[text::fold(name).as_bytes()]));
    add_cookies(house, headers, secret, account.as_deref(), &mut answer);
    answer
}

fn known_cookie(house: &House) -> String {
    format!("{}-known", house.config.cookie_name())
}

/// The mark of this browser for an account it signed in to before; "" for a stranger's browser.
fn known_browser(house: &House, headers: &HeaderMap, account: &str) -> String {
    let kept = cookie(headers, &known_cookie(house)).unwrap_or_default();
    kept.split('~')
        .filter_map(|mark| mark.split_once('.'))
        .find(|(nonce, proof)| same(proof, &known_proof(house, account, nonce)))
        .map(|(nonce, _)| nonce.to_owned())
        .unwrap_or_default()
}

fn known_proof(house: &House, account: &str, nonce: &str) -> String {
    house.store.keys().digest("known browser", &[account.as_bytes(), nonce.as_bytes()])
}

fn add_cookies(house: &House, headers: &HeaderMap, secret: &str, account: Option<&str>, answer: &mut Response) {
    let lasts = i64::try_from(house.config.session_length.as_secs()).unwrap_or(i64::MAX);
    answer.headers_mut().append(header::SET_COOKIE, set_cookie(house, house.config.cookie_name(), secret, Some(lasts)));
    if let Some(account) = account.filter(|account| known_browser(house, headers, account).is_empty()) {
        let nonce = new_form_key();
        let mark = format!("{nonce}.{}", known_proof(house, account, &nonce));
        let kept = cookie(headers, &known_cookie(house)).unwrap_or_default();
        let list = rules::with_mark(&kept, &mark);
        answer.headers_mut().append(header::SET_COOKIE, set_cookie(house, &known_cookie(house), &list, Some(400 * 86_400)));
    }
}
