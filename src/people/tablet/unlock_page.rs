//! A tablet nobody is signed in on: names, six digits, and the way back to where the work was. Locking it again.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::{Locked, at_bed, code, store};
use crate::base::actor::Actor;
use crate::base::ids::{PersonId, TabletId};
use crate::base::problem::Problem;
use crate::people::entering::{add_cookies, secret_of_form};
use crate::people::sign_in_page::without_key;
use crate::people::{rules, store as people};
use crate::store::keys::fresh_secret;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, SignedIn};
use crate::web::incoming::{At, FormThatSignsIn, is_signed_in, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::session;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::{Visitor, set_cookie};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/tablet", names)
        .get("/tablet/here", still_used)
        .post("/tablet/lock", lock)
        .get("/tablet/of/{person}", ask)
        .post("/tablet/of/{person}", unlock)
}

struct Name {
    name: String,
    href: String,
    /// Her digits open it; otherwise her passphrase does.
    by_code: bool,
}

/// The one deed that needs no digits, while work is open on the tablet.
struct DropForm {
    csrf: String,
    key: String,
    action: String,
    next: String,
    /// When the drop in use was begun: milliseconds, and on the studio's clock; and when a fresh one is due.
    began_ms: i64,
    since: String,
    due: String,
}

#[derive(Template)]
#[template(path = "people/tablet_names.html")]
struct NamesPage {
    frame: Frame,
    names: Vec<Name>,
    drop: Option<DropForm>,
    sends: Sends,
    sign_in: String,
}

/// What the lock needs to send what was kept on the tablet while the network was away.
struct Sends {
    /// Where to, and the token of the lock's own form.
    action: String,
    csrf: String,
    /// Id and public point of the key that waiting entries are sealed to.
    seal: (String, String),
    /// Somebody is signed in still: the lock never reached the house. Where to tell it, and the token of her sign-in.
    still_in: Option<(String, String)>,
}

impl Sends {
    fn of(house: &House, locked: &Locked, visitor: &Visitor) -> Self {
        Self {
            action: house.url(DROP),
            csrf: locked.visitor.csrf.clone(),
            seal: house.store.keys().outbox(),
            still_in: is_signed_in(visitor).then(|| (house.url("/tablet/lock"), visitor.csrf.clone())),
        }
    }
}

/// Where the lock sends its one deed.
const DROP: &str = "/tablet/drop";

#[derive(Template)]
#[template(path = "people/tablet_code.html")]
struct CodePage {
    frame: Frame,
    sends: Sends,
    key: String,
    action: String,
    next: String,
    field: FieldView,
    mistakes: Vec<Mistake>,
    names: String,
    sign_in: String,
}

fn next_of(asked: &BTreeMap<String, String>) -> String {
    rules::own_path(asked.get("next").map_or("/", String::as_str)).to_owned()
}

/// A path of this house with where to go on afterwards.
fn with_next(house: &House, path: &str, next: &str) -> Result<String, Problem> {
    let asked = serde_urlencoded::to_string([("next", next)]).map_err(Problem::broken)?;
    Ok(house.url(&format!("{path}?{asked}")))
}

async fn names(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let next = next_of(&asked);
    let Some(locked) = at_bed::locked(&house, &headers, &visitor, DROP).await? else {
        return if is_signed_in(&visitor) {
            Ok(Redirect::to(&house.url("/")).into_response())
        } else {
            Err(Problem::SignIn)
        };
    };
    let (tablet, now) = (locked.tablet, visitor.now.0);
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let work = at_bed::at_bed(&mut db, tablet).await?.filter(|work| work.offers_drop(now));
    let drop = work.and_then(|work| work.drop).map(|(begun, due)| DropForm {
        csrf: locked.visitor.csrf.clone(),
        key: new_form_key(),
        action: house.url(DROP),
        next: next.clone(),
        began_ms: begun.0 / 1000,
        since: studio.zone.clock(begun),
        due: studio.zone.clock(due),
    });
    let sends = Sends::of(&house, &locked, &visitor);
    let (everyone, may_try) = (people::everyone(&mut db).await?, store::may_try(&mut db, tablet).await?);
    let sign_in = with_next(&house, "/sign-in", &next)?;
    let mut names = Vec::new();
    for person in everyone.into_iter().filter(people::Person::can_sign_in) {
        let by_code = may_try.contains(&person.id);
        let href =
            if by_code { with_next(&house, &format!("/tablet/of/{}", person.id), &next)? } else { sign_in.clone() };
        names.push(Name { name: person.name, href, by_code });
    }
    names.sort_by_key(|name| !name.by_code);
    page(&NamesPage { frame: locked_frame(&house, &studio, &visitor, "Locked"), names, drop, sends, sign_in })
}

/// Nobody's name stands on a locked tablet, not even of whoever is just handing it on.
fn locked_frame(house: &House, studio: &Studio, visitor: &Visitor, title: &str) -> Frame {
    let nobody = Visitor { actor: Actor::Nobody, ..visitor.clone() };
    house.frame(studio, &nobody, Place::Nowhere, title)
}

async fn ask(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(id): At<PersonId>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let locked = at_bed::locked(&house, &headers, &visitor, DROP).await?.ok_or(Problem::NotHere("tablet"))?;
    let (tablet, next) = (locked.tablet, next_of(&asked));
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let person = people::by_id(&mut db, id).await?.filter(people::Person::can_sign_in);
    let person = person.ok_or(Problem::NotHere("person"))?;
    if store::hash_of(&mut db, id).await?.is_empty() || store::tries_left(&mut db, tablet, id).await? == 0 {
        return Ok(Redirect::to(&with_next(&house, "/sign-in", &next)?).into_response());
    }
    page(&code_view(&house, &studio, (&visitor, &locked), &person, next, new_form_key(), None)?)
}

fn code_view(
    house: &House,
    studio: &Studio,
    (visitor, locked): (&Visitor, &Locked),
    person: &people::Person,
    next: String,
    key: String,
    wrong: Option<String>,
) -> Result<CodePage, Problem> {
    // Called a passphrase, so that no trace of it is kept wherever none is kept of those.
    let field = FieldView {
        name: "passphrase",
        label: "Six digits".to_owned(),
        error: wrong,
        inputmode: "numeric",
        autocomplete: "off",
        kind: "password",
        short: true,
        ..FieldView::default()
    };
    Ok(CodePage {
        frame: locked_frame(house, studio, visitor, &person.name),
        sends: Sends::of(house, locked, visitor),
        key,
        action: house.url(&format!("/tablet/of/{}", person.id)),
        mistakes: mistakes([&field]),
        field,
        names: with_next(house, "/tablet", &next)?,
        sign_in: with_next(house, "/sign-in", &next)?,
        next,
    })
}

#[derive(Deserialize)]
struct Typed {
    passphrase: String,
    #[serde(default)]
    next: String,
}

async fn unlock(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    headers: HeaderMap,
    At(id): At<PersonId>,
    form: FormThatSignsIn<Typed>,
) -> Result<Response, Problem> {
    let locked = at_bed::locked(&house, &headers, &visitor, DROP).await?.ok_or(Problem::NotHere("tablet"))?;
    let tablet = locked.tablet;
    let next = rules::own_path(&form.typed.next).to_owned();
    let secret = secret_of_form(&house, &visitor, &form.key);
    let entered = |secret: &str| {
        let mut answer = Redirect::to(&house.url(&next)).into_response();
        add_cookies(&house, &headers, secret, None, &mut answer);
        answer
    };
    if house.store.first_result(&form.key).await?.is_some() {
        return Ok(entered(&secret));
    }
    let (studio, person) = {
        let mut db = house.store.read().await?;
        let person = people::by_id(&mut db, id).await?.filter(people::Person::can_sign_in);
        (Studio::load(&mut db).await?, person.ok_or(Problem::NotHere("person"))?)
    };
    let coming = Coming { tablet, person: id, digits: &form.typed.passphrase, secret: secret.clone() };
    match come_in_as(&house, &visitor, &form.key, coming).await? {
        CameIn::Yes(secret) => Ok(entered(&secret)),
        CameIn::No(sentence) => {
            let view = code_view(&house, &studio, (&visitor, &locked), &person, next, new_form_key(), Some(sentence))?;
            page_again(&view)
        }
    }
}

/// What a try came to.
pub(in crate::people) enum CameIn {
    /// The new session's cookie.
    Yes(String),
    /// What to tell her.
    No(String),
}

/// Digits typed where a passphrase is asked for, on an enrolled tablet.
///
/// # Errors
/// When the database refuses it.
pub(in crate::people) async fn come_in(
    house: &House,
    visitor: &Visitor,
    tablet: TabletId,
    person: PersonId,
    digits: &str,
) -> Result<CameIn, Problem> {
    let coming = Coming { tablet, person, digits, secret: fresh_secret()? };
    come_in_as(house, visitor, &FormKey::unkeyed(Actor::House), coming).await
}

struct Coming<'a> {
    tablet: TabletId,
    person: PersonId,
    digits: &'a str,
    secret: String,
}

/// Whether these digits are hers, counted as a try on this tablet before they are looked at: the hash they belong to, or what to tell her.
///
/// # Errors
/// When the database refuses it.
pub(in crate::people) async fn are_hers(
    house: &House,
    tablet: TabletId,
    person: PersonId,
    digits: &str,
) -> Result<Result<String, String>, Problem> {
    if !code::looks_like_one(digits) {
        return Ok(Err("Type six digits.".to_owned()));
    }
    if !count_try(house, tablet, person).await? {
        return Ok(Err("Five tries were wrong. On this tablet only the passphrase opens it now.".to_owned()));
    }
    let hash = {
        let mut db = house.store.read().await?;
        store::hash_of(&mut db, person).await?
    };
    let turn = house.hashing.for_known().await?;
    if !code::fits(turn, house.store.keys(), person, digits, hash.clone()).await? {
        let mut db = house.store.read().await?;
        let left = store::tries_left(&mut db, tablet, person).await?;
        return Ok(Err(match left {
            0 => {
                "Not these digits. That was the fifth try: on this tablet only the passphrase opens it now.".to_owned()
            }
            1 => "Not these digits. One try is left; after it only the passphrase opens it here.".to_owned(),
            many => format!("Not these digits. {many} tries are left."),
        }));
    }
    Ok(Ok(hash))
}

async fn come_in_as(house: &House, visitor: &Visitor, key: &FormKey, coming: Coming<'_>) -> Result<CameIn, Problem> {
    let Coming { tablet, person, digits, secret } = coming;
    let hash = match are_hers(house, tablet, person, digits).await? {
        Ok(hash) => hash,
        Err(sentence) => return Ok(CameIn::No(sentence)),
    };
    let (config, kept, before, browser) =
        (Arc::clone(&house.config), secret.clone(), visitor.actor.clone(), visitor.browser.clone());
    house
        .store
        .write(key, move |tx| {
            let (config, secret, before) = (Arc::clone(&config), kept.clone(), before.clone());
            let (hash, browser) = (hash.clone(), browser.clone());
            Box::pin(async move {
                let now = tx.now;
                // Her digits, her place here or the tablet may have been taken away while they were looked at.
                let still = people::by_id(tx.db(), person).await?.filter(people::Person::can_sign_in);
                let still = still.ok_or(Problem::SignIn)?;
                if store::hash_of(tx.db(), person).await? != hash || !store::is_enrolled(tx.db(), tablet, now).await? {
                    return Err(Problem::SignIn);
                }
                store::forget_tries(tx, tablet, person).await?;
                if let Actor::Person(who) = before {
                    session::end(tx, who.session).await?;
                }
                let session = session::begin(tx, &config, person, &still.name, still.role, &secret, &browser).await?;
                session::by_code(tx, session).await?;
                session::on_tablet(tx, session, tablet).await?;
                store::seen(tx, tablet).await?;
                tx.audit("unlock tablet", person, &session.to_string()).await?;
                Ok(Kept::see("/"))
            })
        })
        .await?;
    Ok(CameIn::Yes(secret))
}

async fn count_try(house: &House, tablet: TabletId, person: PersonId) -> Result<bool, Problem> {
    let kept = house
        .store
        .write(&FormKey::unkeyed(Actor::House), move |tx| {
            Box::pin(async move {
                let counted = store::count_try(tx, tablet, person).await?;
                Ok(Kept::see(if counted { "counted" } else { "" }))
            })
        })
        .await?;
    Ok(!kept.location.is_empty())
}

/// Locks the tablet: whoever was signed in is so no longer, and what she had before her opens again for whoever comes in.
async fn lock(
    signed_in: SignedIn,
    State(house): State<House>,
    request: axum::extract::Request,
) -> Result<Response, Problem> {
    if signed_in.visitor.tablet.is_none() {
        return Err(Problem::NotHere("tablet"));
    }
    let (key, pairs) = without_key(&house, &signed_in, request).await?;
    let next = pairs.iter().find(|(name, _)| name == "next").map_or("/", |(_, path)| path.as_str());
    let next = rules::own_path(next).to_owned();
    let session = signed_in.who.session;
    house
        .store
        .write(&key, move |tx| {
            Box::pin(async move {
                session::end(tx, session).await?;
                Ok(Kept::see("/tablet"))
            })
        })
        .await?;
    let mut answer = Redirect::to(&with_next(&house, "/tablet", &next)?).into_response();
    answer.headers_mut().append(header::SET_COOKIE, set_cookie(&house, house.config.cookie_name(), "", Some(0)));
    Ok(answer)
}

/// What a page asks while somebody types on it without asking anything else. Being asked is what counts.
async fn still_used(_signed_in: SignedIn) -> &'static str {
    ""
}
