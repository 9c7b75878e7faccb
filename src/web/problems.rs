//! How a problem reaches the person or program that met it: a page with what happened, what is kept and what to do, or JSON
//! (RFC 9457). Causes go to the log here, once, and nowhere else.

use std::sync::Arc;

use askama::Template;
use axum::Json;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};
use serde_json::json;

use super::House;
use super::form::{FieldView, Mistake};
use super::frame::Frame;
use super::incoming::{FORM_MOST, from_our_page, has_type, new_form_key, whole};
use super::studio::{Place, Studio};
use super::visitor::{HANDED_OVER, Visitor, cookie, csrf_of};
use crate::base::problem::Problem;
use crate::store::keys::same;

/// A problem on its way to the page, carried beside an empty answer.
#[derive(Clone)]
struct Told(Arc<Problem>);

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        told(Arc::new(self))
    }
}

fn told(problem: Arc<Problem>) -> Response {
    let status = StatusCode::from_u16(problem.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let words = problem.words();
    // The plain text is what is left where no page can be made.
    let plain = format!("{} {} {}\n", words.happened, words.kept, words.next);
    let mut answer = (status, plain).into_response();
    answer.extensions_mut().insert(Told(problem));
    answer
}

/// Renders a template, or says that it could not be.
///
/// # Errors
/// [`Problem::Broken`] when the template fails.
pub fn page(template: &impl Template) -> Result<Response, Problem> {
    page_with(StatusCode::OK, template)
}

/// Renders a page whose form comes back with what was typed in it and what is wrong with that: 422.
///
/// # Errors
/// [`Problem::Broken`] when the template fails.
pub fn page_again(template: &impl Template) -> Result<Response, Problem> {
    page_with(StatusCode::UNPROCESSABLE_ENTITY, template)
}

/// Renders a template with a status.
///
/// # Errors
/// [`Problem::Broken`] when the template fails.
pub fn page_with(status: StatusCode, template: &impl Template) -> Result<Response, Problem> {
    let text = template.render().map_err(Problem::broken)?;
    Ok((status, Html(text)).into_response())
}

#[derive(Template)]
#[template(path = "shell/problem.html")]
struct ProblemPage {
    frame: Frame,
    happened: String,
    kept: String,
    todo: String,
    action: Option<(String, String)>,
    number: Option<String>,
}

#[derive(Template)]
#[template(path = "shell/sign_in.html")]
pub(crate) struct SignInPage {
    pub(crate) frame: Frame,
    pub(crate) key: String,
    pub(crate) next: String,
    /// What was typed into another form when the sign-in had ended: sent again after signing in.
    pub(crate) draft: String,
    pub(crate) draft_to: String,
    pub(crate) note: Option<String>,
    pub(crate) fields: Vec<FieldView>,
    pub(crate) mistakes: Vec<Mistake>,
}

/// The two fields of a sign-in.
pub(crate) fn sign_in_fields(name: &str) -> Vec<FieldView> {
    vec![
        FieldView {
            name: "name",
            label: "Your name here".to_owned(),
            value: name.to_owned(),
            autocomplete: "username",
            kind: "text",
            ..FieldView::default()
        },
        FieldView {
            name: "passphrase",
            label: "Passphrase".to_owned(),
            autocomplete: "current-password",
            kind: "password",
            ..FieldView::default()
        },
    ]
}

/// Middleware: turns problems, and bare refusals of the layers around the handlers, into pages or JSON.
pub async fn tell(State(house): State<House>, request: Request, next: Next) -> Response {
    let visitor = request.extensions().get::<Arc<Visitor>>().cloned();
    let writes = request.method() == Method::POST;
    let is_form = writes && has_type(request.headers(), "application/x-www-form-urlencoded");
    let (mut request, draft) = if is_form { remember(&house, request).await } else { (request, String::new()) };
    // Only what a page of ours sent in the session that has ended is carried on: a foreign page must not have its form sent by
    // whoever signs in next.
    let draft = if is_ours(&house, request.headers(), &draft) { draft } else { String::new() };
    let answer = match request.extensions_mut().remove::<Fallen>() {
        Some(Fallen(problem)) => told(problem),
        None => next.run(request).await,
    };
    let Some(visitor) = visitor else { return answer };
    let problem = match answer.extensions().get::<Told>() {
        Some(told) => Arc::clone(&told.0),
        None => match bare_refusal(&answer, writes) {
            Some(problem) => Arc::new(problem),
            None => return answer,
        },
    };
    if let Problem::Broken(cause) = &*problem {
        tracing::error!(path = super::serve::without_secrets(&visitor.path), %cause, "a request could not be finished");
    }
    if visitor.api {
        return as_json(&problem);
    }
    match as_page(&house, &visitor, &problem, &draft, !writes).await {
        Ok(page) => page,
        Err(second) => {
            tracing::error!(cause = %second, "the page of a problem could not be made");
            answer
        }
    }
}

fn is_ours(house: &House, headers: &HeaderMap, body: &str) -> bool {
    let presented = cookie(headers, house.config.cookie_name()).map(|secret| csrf_of(&secret));
    let pairs: Vec<(String, String)> = serde_urlencoded::from_str(body).unwrap_or_default();
    let sent = pairs.iter().find(|(name, _)| name == "csrf").map(|(_, token)| token.as_str());
    from_our_page(house, headers) && presented.zip(sent).is_some_and(|(presented, sent)| same(&presented, sent))
}

/// A problem met before the visitor was known; told like any other.
#[derive(Clone)]
pub(super) struct Fallen(pub(super) Arc<Problem>);

/// Keeps a copy of a form's body, so that an ended sign-in does not cost what was typed. A body that is too large, too slow or cut
/// off is told as such here: no handler meets half a form.
async fn remember(house: &House, request: Request) -> (Request, String) {
    let (mut parts, body) = request.into_parts();
    match whole(body, FORM_MOST, house.config.request_timeout).await {
        Ok(bytes) => {
            let draft = String::from_utf8_lossy(&bytes).into_owned();
            (Request::from_parts(parts, Body::from(bytes)), draft)
        }
        Err(problem) => {
            // What fell before, on the way to the visitor, is told first.
            if parts.extensions.get::<Fallen>().is_none() {
                parts.extensions.insert(Fallen(Arc::new(problem)));
            }
            (Request::from_parts(parts, Body::empty()), String::new())
        }
    }
}

/// Answers of the router and the layers that carry no page of ours.
fn bare_refusal(answer: &Response, writes: bool) -> Option<Problem> {
    let status = answer.status();
    let is_ours = answer
        .headers()
        .get(header::CONTENT_TYPE)
        .is_some_and(|kind| kind.to_str().is_ok_and(|kind| kind.starts_with("text/html") || kind.contains("json")));
    if is_ours || !(status.is_client_error() || status.is_server_error()) {
        return None;
    }
    Some(match status {
        StatusCode::NOT_FOUND => Problem::NotHere("page"),
        StatusCode::METHOD_NOT_ALLOWED => Problem::NotThatWay,
        StatusCode::PAYLOAD_TOO_LARGE => Problem::TooLarge("That is more than is taken at once.".into()),
        // A write that ran out of time may have been committed all the same.
        StatusCode::REQUEST_TIMEOUT | StatusCode::SERVICE_UNAVAILABLE if writes => Problem::Unsure,
        StatusCode::REQUEST_TIMEOUT | StatusCode::SERVICE_UNAVAILABLE => Problem::Busy,
        StatusCode::BAD_REQUEST | StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            Problem::Unreadable("What was sent could not be read.".into())
        }
        other => Problem::Broken(format!("a bare answer with status {other}")),
    })
}

fn as_json(problem: &Problem) -> Response {
    let words = problem.words();
    let mut body = json!({
        "type": "about:blank",
        "status": problem.status(),
        "title": words.happened,
        "detail": for_a_program(problem).unwrap_or_else(|| format!("{} {}", words.kept, words.next)),
    });
    if let Problem::Mistakes(notes) = problem {
        body["fields"] = notes.iter().map(|note| json!({ "field": note.field, "sentence": note.sentence })).collect();
    }
    let status = StatusCode::from_u16(problem.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let mut answer = (status, Json(body)).into_response();
    answer.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    add_hints(&mut answer, problem);
    answer
}

/// What is kept and what to do, where the words of a page say nothing to a program: it has no form that comes back, and does not sign in.
fn for_a_program(problem: &Problem) -> Option<String> {
    let words = match problem {
        Problem::SignIn | Problem::Prove => {
            "Nothing was changed. Send a key of this house in the header “Authorization: Bearer KEY”."
        }
        Problem::NotYours(_) => {
            "Nothing was changed. What a key may do is said where it was made: Office, Keys for programs."
        }
        Problem::NotHere(_) => "Nothing was changed. Look at the address; openapi.json describes all of them.",
        Problem::NotThatWay => "Nothing was changed. What this address takes is described in openapi.json.",
        Problem::Unreadable(_) => "Nothing was changed. Put it right and send it again.",
        Problem::Mistakes(_) => "Nothing was kept. Put right what is named and send it again.",
        Problem::AlreadyKept(_) => {
            "The first message is kept as it was sent. To keep this one as well, send it with another Idempotency-Key."
        }
        Problem::TooSlow | Problem::Busy => {
            "Nothing was written. Send it again in a few seconds, with the same Idempotency-Key if it had one."
        }
        Problem::Unsure => {
            "It is not known yet whether this was kept. Send it again with the same Idempotency-Key if it had one: then it counts only once."
        }
        _ => return None,
    };
    Some(words.to_owned())
}

async fn as_page(
    house: &House,
    visitor: &Visitor,
    problem: &Problem,
    draft: &str,
    reads: bool,
) -> Result<Response, Problem> {
    let studio = studio_or_default(house).await;
    if matches!(problem, Problem::SignIn | Problem::Prove) {
        return sign_in_page(house, &studio, visitor, draft, reads, matches!(problem, Problem::Prove));
    }
    let words = problem.words();
    let action = match problem {
        Problem::AlreadyKept(location) if !location.is_empty() => {
            Some((house.url(location), "Open the first entry".to_owned()))
        }
        _ if visitor.handed_over.is_some() => Some((house.url(HANDED_OVER), "Back to the form".to_owned())),
        Problem::NotHere(_) | Problem::NotYours(_) => Some((house.url("/"), "Begin at Today".to_owned())),
        _ => None,
    };
    let title = match problem.status() {
        404 => "Not here",
        403 if visitor.handed_over.is_some() => "Not part of the form",
        403 => "Not open to you",
        422 | 400 | 409 | 413 => "Not kept as it stands",
        429 => "Wait a moment",
        503 => "Not now",
        _ => "That did not work",
    };
    let frame = house.frame(&studio, visitor, Place::Nowhere, title);
    let number = matches!(problem, Problem::Broken(_)).then(|| visitor.now.0.iso());
    let page = ProblemPage { frame, happened: words.happened, kept: words.kept, todo: words.next, action, number };
    let status = StatusCode::from_u16(problem.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let mut answer = page_with(status, &page)?;
    add_hints(&mut answer, problem);
    Ok(answer)
}

/// An ended sign-in, or one on a shared tablet where a passphrase is asked for. On a page read: go and sign in. On a form: the sign-in page carries what was typed, to be sent afterwards; a
/// file cannot be carried and has to be chosen again.
fn sign_in_page(
    house: &House,
    studio: &Studio,
    visitor: &Visitor,
    draft: &str,
    reads: bool,
    to_prove: bool,
) -> Result<Response, Problem> {
    if reads {
        let to = if to_prove {
            way_to_prove(house, &visitor.path)?
        } else {
            let asked = serde_urlencoded::to_string([("next", visitor.path.as_str())]).map_err(Problem::broken)?;
            house.url(&format!("/sign-in?{asked}"))
        };
        return Ok((StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response());
    }
    let note = if to_prove {
        PROVE_NOTE
    } else if draft.is_empty() {
        "Your sign-in has ended. A file cannot be kept here: choose it again once you are signed in."
    } else {
        "Your sign-in has ended. What you typed is kept on this page and can be sent once you are signed in."
    };
    let page = SignInPage {
        frame: house.frame(studio, visitor, Place::Nowhere, "Sign in again"),
        key: new_form_key(),
        next: String::new(),
        draft: without_secrets(draft),
        draft_to: visitor.path.clone(),
        note: Some(note.to_owned()),
        fields: sign_in_fields(""),
        mistakes: Vec::new(),
    };
    page_with(StatusCode::UNAUTHORIZED, &page)
}

/// Where somebody signed in types her passphrase, and goes on to this path.
///
/// # Errors
/// When the path cannot be written into an address.
pub(crate) fn way_to_prove(house: &House, path: &str) -> Result<String, Problem> {
    let asked = serde_urlencoded::to_string([("next", path), ("prove", "1")]).map_err(Problem::broken)?;
    Ok(house.url(&format!("/sign-in?{asked}")))
}

/// Why a passphrase is asked for on a tablet that is unlocked.
pub(crate) const PROVE_NOTE: &str = "On a shared tablet this asks for your passphrase, typed within the last five minutes. What you typed before is kept.";

/// A form's body without passphrases and session tokens.
fn without_secrets(body: &str) -> String {
    let pairs: Vec<(String, String)> = serde_urlencoded::from_str(body).unwrap_or_default();
    let kept: Vec<_> = pairs.iter().filter(|(name, _)| name != "csrf" && !name.contains("passphrase")).collect();
    serde_urlencoded::to_string(kept).unwrap_or_default()
}

async fn studio_or_default(house: &House) -> Studio {
    match house.store.read().await {
        Ok(mut db) => Studio::load(&mut db).await.unwrap_or_default(),
        Err(_) => Studio::default(),
    }
}

fn add_hints(answer: &mut Response, problem: &Problem) {
    let headers = answer.headers_mut();
    match problem {
        Problem::TooMany(seconds) => {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(*seconds));
        }
        Problem::Busy | Problem::Unsure | Problem::TooSlow => {
            headers.insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
        }
        Problem::SignIn | Problem::Prove => {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        _ => {}
    }
}
