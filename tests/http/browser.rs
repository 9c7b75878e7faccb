//! A browser as far as the house can tell: cookies, forms, headers; and a program with a token. In-process, no socket.

use std::collections::BTreeMap;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::http::{HeaderMap, Method, Request, header};
use tower::ServiceExt as _;

use crate::html::{self, FormOnPage};

/// The host every request names; the one of `external_url` unless a test says otherwise.
pub(crate) const HOST: &str = "localhost:8270";

/// The type of a form.
pub(crate) const URLENCODED: &str = "application/x-www-form-urlencoded";

/// Cookies by name.
pub(crate) type Jar = BTreeMap<String, String>;

/// A browser with its cookies. A clone goes its own way from then on.
#[derive(Clone)]
pub(crate) struct Browser {
    pub(crate) app: Router,
    pub(crate) jar: Jar,
    /// Sent with every request besides cookies and host.
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) base: String,
}

/// What came back.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    pub(crate) asked: String,
    pub(crate) status: u16,
    pub(crate) headers: HeaderMap,
    pub(crate) body: Bytes,
}

impl Browser {
    pub(crate) fn new(app: &Router, base: &str, jar: Jar) -> Self {
        Self { app: app.clone(), jar, headers: Vec::new(), base: base.to_owned() }
    }

    /// A program that sends this token.
    pub(crate) fn with_token(mut self, secret: &str) -> Self {
        self.headers.push((header::AUTHORIZATION.to_string(), format!("Bearer {secret}")));
        self
    }

    /// The same browser with one more header.
    pub(crate) fn with_header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    pub(crate) async fn get(&mut self, path: &str) -> Answer {
        self.ask(Method::GET, path, &[], Body::empty()).await
    }

    /// Follows redirects, as a browser does.
    pub(crate) async fn follow(&mut self, path: &str) -> Answer {
        let mut answer = self.get(path).await;
        for _ in 0..5 {
            if !(300..400).contains(&answer.status) {
                return answer;
            }
            let to = answer.location();
            answer = self.get(&to).await;
        }
        panic!("{path} leads in circles");
    }

    /// A page that must be there.
    pub(crate) async fn page(&mut self, path: &str) -> Answer {
        self.get(path).await.must(200)
    }

    /// The form with this action on a page that must be there.
    pub(crate) async fn form(&mut self, page: &str, action: &str) -> FormOnPage {
        self.page(page).await.form(action)
    }

    /// Sends a form as a browser does.
    pub(crate) async fn submit(&mut self, form: &FormOnPage) -> Answer {
        assert!(!form.multipart, "{} takes a file", form.action);
        self.post_body(&form.action, URLENCODED, form.body()).await
    }

    /// Sends a form with a file.
    pub(crate) async fn submit_file(&mut self, form: &FormOnPage, file: &str, content: &[u8]) -> Answer {
        let edge = "edge-7d1f";
        let mut body = Vec::new();
        for (name, value) in &form.fields {
            body.extend_from_slice(
                format!("--{edge}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").as_bytes(),
            );
        }
        body.extend_from_slice(
            format!("--{edge}\r\ncontent-disposition: form-data; name=\"file\"; filename=\"{file}\"\r\ncontent-type: text/csv\r\n\r\n")
                .as_bytes(),
        );
        body.extend_from_slice(content);
        body.extend_from_slice(format!("\r\n--{edge}--\r\n").as_bytes());
        self.post_body(&form.action, &format!("multipart/form-data; boundary={edge}"), body).await
    }

    /// Fields sent to a path, without a page that held them.
    pub(crate) async fn post(&mut self, path: &str, pairs: &[(&str, &str)]) -> Answer {
        self.post_body(path, URLENCODED, serde_urlencoded::to_string(pairs).unwrap()).await
    }

    pub(crate) async fn post_json(&mut self, path: &str, body: impl Into<Body>) -> Answer {
        self.post_body(path, "application/json", body).await
    }

    pub(crate) async fn post_body(&mut self, path: &str, kind: &str, body: impl Into<Body>) -> Answer {
        self.ask(Method::POST, path, &[(header::CONTENT_TYPE.as_str(), kind)], body.into()).await
    }

    pub(crate) async fn ask(&mut self, method: Method, path: &str, more: &[(&str, &str)], body: Body) -> Answer {
        let asked = format!("{method} {path}");
        let path = path.split('#').next().unwrap_or(path);
        let mut request = Request::builder().method(method).uri(path).header(header::HOST, HOST);
        if !self.jar.is_empty() {
            let line = self.jar.iter().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join("; ");
            request = request.header(header::COOKIE, line);
        }
        let own = self.headers.iter().map(|(name, value)| (name.as_str(), value.as_str()));
        for (name, value) in own.chain(more.iter().copied()) {
            request = request.header(name, value);
        }
        let answer = self.app.clone().oneshot(request.body(body).unwrap()).await.unwrap();
        let (parts, body) = answer.into_parts();
        let body = axum::body::to_bytes(body, 64 << 20).await.unwrap();
        self.keep_cookies(&parts.headers);
        Answer { asked, status: parts.status.as_u16(), headers: parts.headers, body }
    }

    fn keep_cookies(&mut self, headers: &HeaderMap) {
        for line in headers.get_all(header::SET_COOKIE) {
            let line = line.to_str().unwrap();
            let (name, value) = line.split(';').next().unwrap().split_once('=').unwrap();
            if line.contains("Max-Age=0") {
                self.jar.remove(name);
            } else {
                self.jar.insert(name.to_owned(), value.to_owned());
            }
        }
    }

    /// The token that forms of this browser carry, read from a page it may see.
    pub(crate) async fn csrf(&mut self) -> String {
        let base = self.base.clone();
        let card = self.page(&format!("{base}/first-aid")).await;
        if let Some(form) = html::forms(&card.text()).into_iter().find(|form| form.action.ends_with("/sign-out")) {
            return form.value("csrf").to_owned();
        }
        let leave = format!("{base}/handed-over/leave");
        let handed = self.clone().get(&leave).await;
        if handed.status == 200 {
            return handed.form(&leave).value("csrf").to_owned();
        }
        self.form(&format!("{base}/sign-in"), &format!("{base}/sign-in")).await.value("csrf").to_owned()
    }

    /// Signs in; the answer to the form.
    pub(crate) async fn sign_in(&mut self, name: &str, phrase: &str) -> Answer {
        let path = format!("{}/sign-in", self.base);
        let form = self.form(&path, &path).await.with("name", name).with("passphrase", phrase);
        self.submit(&form).await
    }
}

impl Answer {
    /// Stops the test unless the status is this.
    #[track_caller]
    pub(crate) fn must(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}: {} {}", self.asked, self.location(), self.excerpt());
        self
    }

    /// Where a redirect leads; "" for anything else.
    pub(crate) fn location(&self) -> String {
        self.header("location")
    }

    /// Where a redirect leads; stops the test when this is none.
    #[track_caller]
    pub(crate) fn goes_to(&self) -> String {
        assert_eq!(self.status, 303, "{}: {}", self.asked, self.excerpt());
        self.location()
    }

    pub(crate) fn header(&self, name: &str) -> String {
        self.headers.get(name).map(|value| value.to_str().unwrap().to_owned()).unwrap_or_default()
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8(self.body.to_vec()).unwrap()
    }

    pub(crate) fn is_page(&self) -> bool {
        self.header("content-type").starts_with("text/html")
    }

    /// What a person reads on the page.
    pub(crate) fn words(&self) -> String {
        if self.is_page() { html::words(&self.text()) } else { String::from_utf8_lossy(&self.body).into_owned() }
    }

    fn excerpt(&self) -> String {
        let words = self.words();
        let from = words.find("Sign out").unwrap_or(0);
        words[from..].chars().take(600).collect()
    }

    /// Stops the test unless a person reads this.
    #[track_caller]
    pub(crate) fn says(&self, sentence: &str) {
        assert!(self.words().contains(sentence), "{} does not say “{sentence}”: {}", self.asked, self.words());
    }

    /// The form with this action; stops the test when there is none.
    #[track_caller]
    pub(crate) fn form(&self, action: &str) -> FormOnPage {
        let all = html::forms(&self.text());
        let actions: Vec<_> = all.iter().map(|form| form.action.clone()).collect();
        let found = all.into_iter().find(|form| form.action == action);
        found.unwrap_or_else(|| panic!("{} has no form to {action}, only {actions:?}", self.asked))
    }

    /// The body as JSON.
    #[track_caller]
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|why| panic!("{}: {why}: {}", self.asked, self.words()))
    }
}
