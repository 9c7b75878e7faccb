//! How a problem reaches the person or program that met it: a page with what happened, what is kept and what to do, or JSON
//! (RFC 9457). Causes go to the log here, once, and nowhere else.

use std::sync::Arc;

use askama::Template;
use axum::Json;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};
use serde_json::json;

use super::form::{FieldView, Mistake};
use super::frame::Frame;
use super::incoming::{FORM_MOST, from_our_page, has_type, new_form_key};
use super::studio::{Place, Studio};
use super::visitor::Visitor;
use super::House;
use crate::base::problem::Problem;

/// A problem on its way to the page, carried beside an empty answer.
#[derive(Clone)]
struct Told(Arc<Problem>);

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let words = self.words();
        // The plain text is what is left where no page can be made, for instance before the visitor is known.
        let plain = format!("{} {} {}\n", words.happened, words.kept, words.next);
        let mut answer = (status, plain).into_response();
        answer.extensions_mut().insert(Told(Arc::new(self)));
        answer
    }
}

/// Renders a template, or says that it could not be.
///
/// # Errors
/// [`Problem::Broken`] when the template fails.
pub fn page(template: &impl Template) -> Result<Response, Problem> {
    page_with(StatusCode::OK, template)
}

/// Renders a template with a status: 422 for a form that comes back.
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
    // A form of another site must not wait behind the sign-in page to be sent on by the person herself.
    let ours = writes && from_our_page(&house, request.headers());
    let is_form = ours && has_type(request.headers(), "application/x-www-form-urlencoded");
    let (request, typed) = if is_form { remember(request).await } else { (request, String::new()) };
    let draft = writes.then_some(typed);
    let answer = next.run(request).await;
    let Some(visitor) = visitor else { return answer };
    let problem = match answer.extensions().get::<Told>() {
        Some(told) => Arc::clone(&told.0),
        None => match bare_refusal(&answer) {
            Some(problem) => Arc::new(problem),
            None => return answer,
        },
    };
    if let Problem::Broken(cause) = &*problem {
        tracing::error!(path = %visitor.path, %cause, "a request could not be finished");
    }
    if visitor.api {
        return with_allowed(as_json(&problem, status_of(&answer, &problem)), &answer);
    }
    match as_page(&house, &visitor, &problem, draft).await {
        Ok(page) => with_allowed(page, &answer),
        Err(second) => {
            tracing::error!(cause = %second, "the page of a problem could not be made");
            answer
        }
    }
}

/// The problem's status, but for the router's own "not this method", which programs must be able to tell from others.
fn status_of(bare: &Response, problem: &Problem) -> StatusCode {
    match bare.status() {
        StatusCode::METHOD_NOT_ALLOWED => StatusCode::METHOD_NOT_ALLOWED,
        _ => StatusCode::from_u16(problem.status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR),
    }
}

/// Keeps the list of methods that a "not this method" owes to whoever asked.
fn with_allowed(mut told: Response, bare: &Response) -> Response {
    if bare.status() == StatusCode::METHOD_NOT_ALLOWED {
        *told.status_mut() = StatusCode::METHOD_NOT_ALLOWED;
        if let Some(allowed) = bare.headers().get(header::ALLOW) {
            told.headers_mut().insert(header::ALLOW, allowed.clone());
        }
    }
    told
}

/// Keeps a copy of a form's body, so that an ended sign-in does not cost what was typed.
async fn remember(request: Request) -> (Request, String) {
    let (parts, body) = request.into_parts();
    match axum::body::to_bytes(body, FORM_MOST).await {
        Ok(bytes) => {
            let draft = String::from_utf8_lossy(&bytes).into_owned();
            (Request::from_parts(parts, Body::from(bytes)), draft)
        }
        // Too large for a form of ours: the handler meets an empty body and says so.
        Err(_) => (Request::from_parts(parts, Body::empty()), String::new()),
    }
}

/// Answers of the router and the layers that carry no page of ours.
fn bare_refusal(answer: &Response) -> Option<Problem> {
    let status = answer.status();
    let is_ours = answer.headers().get(header::CONTENT_TYPE).is_some_and(|kind| {
        kind.to_str().is_ok_and(|kind| kind.starts_with("text/html") || kind.contains("json"))
    });
    if is_ours || !(status.is_client_error() || status.is_server_error()) {
        return None;
    }
    Some(match status {
        StatusCode::NOT_FOUND => Problem::NotHere("page"),
        StatusCode::METHOD_NOT_ALLOWED => Problem::Unreadable("This address does not take that.".into()),
        StatusCode::PAYLOAD_TOO_LARGE => Problem::TooLarge("That is more than is taken at once.".into()),
        StatusCode::REQUEST_TIMEOUT | StatusCode::SERVICE_UNAVAILABLE => Problem::Busy,
        StatusCode::BAD_REQUEST | StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            Problem::Unreadable("What was sent could not be read.".into())
        }
        other => Problem::Broken(format!("a bare answer with status {other}")),
    })
}

fn as_json(problem: &Problem, status: StatusCode) -> Response {
    let words = problem.words();
    let mut body = json!({
        "type": "about:blank",
        "status": status.as_u16(),
        "title": words.happened,
        "detail": format!("{} {}", words.kept, words.next),
    });
    if let Problem::Mistakes(notes) = problem {
        body["fields"] = notes.iter().map(|note| json!({ "field": note.field, "sentence": note.sentence })).collect();
    }
    let mut answer = (status, Json(body)).into_response();
    answer.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    add_hints(&mut answer, problem);
    answer
}

/// `draft` is what was typed into a form; empty when it could not be kept, `None` when a page was only read.
async fn as_page(house: &House, visitor: &Visitor, problem: &Problem, draft: Option<String>) -> Result<Response, Problem> {
    let studio = studio_or_default(house).await;
    if matches!(problem, Problem::SignIn) {
        return sign_in_page(house, &studio, visitor, draft);
    }
    let words = problem.words();
    let action = match problem {
        Problem::AlreadyKept(location) if !location.is_empty() => {
            Some((house.url(location), "Open the first entry".to_owned()))
        }
        Problem::NotHere(_) | Problem::NotYours(_) => Some((house.url("/"), "Begin at Today".to_owned())),
        _ => None,
    };
    let title = match problem.status() {
        404 => "Not here",
        403 => "Not open to you",
        422 | 400 | 409 => "Not kept as it stands",
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

/// An ended sign-in on a page read: go and sign in. On a form: the sign-in page carries what was typed, to be sent afterwards.
fn sign_in_page(house: &House, studio: &Studio, visitor: &Visitor, draft: Option<String>) -> Result<Response, Problem> {
    let Some(draft) = draft else {
        let next = serde_urlencoded::to_string([("next", &visitor.path)]).map_err(Problem::broken)?;
        let to = house.url(&format!("/sign-in?{next}"));
        return Ok((StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response());
    };
    let note = if draft.is_empty() {
        "Your sign-in has ended. What you sent could not be kept here: open its page again once you are signed in."
    } else {
        "Your sign-in has ended. What you typed is kept on this page and can be sent once you are signed in."
    };
    let page = SignInPage {
        frame: house.frame(studio, visitor, Place::Nowhere, "Sign in again"),
        key: new_form_key(),
        next: String::new(),
        draft: without_secrets(&draft),
        draft_to: visitor.path.clone(),
        note: Some(note.to_owned()),
        fields: sign_in_fields(""),
        mistakes: Vec::new(),
    };
    page_with(StatusCode::UNAUTHORIZED, &page)
}

/// A form's body without passphrases and session tokens.
fn without_secrets(body: &str) -> String {
    let pairs: Vec<(String, String)> = serde_urlencoded::from_str(body).unwrap_or_default();
    // "again" is a passphrase typed once more.
    let secret = |name: &str| name == "csrf" || name == "again" || name.contains("passphrase");
    let kept: Vec<_> = pairs.iter().filter(|(name, _)| !secret(name)).collect();
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
        Problem::Busy | Problem::Unsure => {
            headers.insert(header::RETRY_AFTER, HeaderValue::from_static("2"));
        }
        Problem::SignIn => {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        _ => {}
    }
}
