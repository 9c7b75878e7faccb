//! Just enough reading of our own pages to fill in their forms: hidden fields, choices, what stands in an element.

use crate::http::{Answer, Request};
use std::net::SocketAddr;

/// A browser of one person: address and cookies.
#[derive(Debug, Clone)]
pub(crate) struct Browser {
    address: SocketAddr,
    cookies: Vec<(String, String)>,
}

impl Browser {
    pub(crate) fn new(address: SocketAddr) -> Self {
        Self { address, cookies: Vec::new() }
    }

    /// The header with which it is known to the server.
    pub(crate) fn cookie_header(&self) -> String {
        self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join("; ")
    }

    pub(crate) fn get(&mut self, path: &str) -> Answer {
        self.send(path, &Request::get(path))
    }

    /// Fills in the form of a page and sends it where the form says. Fields not named keep what the page gives them.
    pub(crate) fn fill(&mut self, path: &str, action: &str, typed: &[(&str, &str)]) -> Answer {
        let page = self.get(path);
        let form = form_with_action(&page.body, action)
            .unwrap_or_else(|| panic!("no form to {action} on {path}, status {}:\n{}", page.status, page.body));
        let mut fields: Vec<(String, String)> = form.fields;
        for (name, value) in typed {
            fields.retain(|(found, _)| found != name);
            fields.push(((*name).to_owned(), (*value).to_owned()));
        }
        let borrowed: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        self.send(&form.action, &Request::form(&form.action, &borrowed))
    }

    fn send(&mut self, path: &str, request: &Request) -> Answer {
        let request = request.clone().header("Cookie", &self.cookie_header());
        let answer = request.send(self.address).unwrap_or_else(|_| panic!("no answer from {path}"));
        for cookie in answer.cookies() {
            if let Some((name, value)) = cookie.split_once('=') {
                self.cookies.retain(|(found, _)| found != name);
                self.cookies.push((name.to_owned(), value.to_owned()));
            }
        }
        answer
    }
}

/// A form as it stands in a page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PageForm {
    pub(crate) action: String,
    pub(crate) fields: Vec<(String, String)>,
}

/// The first form whose action ends so.
pub(crate) fn form_with_action(page: &str, action: &str) -> Option<PageForm> {
    page.split("<form ").skip(1).find_map(|rest| {
        let form = rest.split("</form>").next()?;
        let target = attribute(form.split('>').next()?, "action")?;
        target.ends_with(action).then(|| PageForm { action: target, fields: fields_of(form) })
    })
}

/// What the form sends when nobody touches it. (Unticked boxes send nothing; the first choice of a select counts
/// where none is marked.)
fn fields_of(form: &str) -> Vec<(String, String)> {
    let mut fields = Vec::new();
    for tag in form.split("<input ").skip(1).filter_map(|rest| rest.split('>').next()) {
        let kind = attribute(tag, "type").unwrap_or_default();
        let counts = !matches!(kind.as_str(), "checkbox" | "radio") || tag.contains(" checked");
        if let (true, Some(name)) = (counts, attribute(tag, "name")) {
            fields.push((name, attribute(tag, "value").unwrap_or_default()));
        }
    }
    for select in form.split("<select ").skip(1).filter_map(|rest| rest.split("</select>").next()) {
        let Some(name) = select.split('>').next().and_then(|tag| attribute(tag, "name")) else { continue };
        let options: Vec<&str> = select.split("<option").skip(1).filter_map(|rest| rest.split('>').next()).collect();
        let chosen = options.iter().find(|tag| tag.contains("selected")).or(options.first());
        fields.extend(chosen.and_then(|tag| attribute(tag, "value")).map(|value| (name, value)));
    }
    fields
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let start = tag.match_indices(name).find_map(|(at, _)| {
        let before = tag[..at].chars().last();
        let after = tag[at + name.len()..].strip_prefix("=\"")?;
        before.is_none_or(char::is_whitespace).then_some(after)
    })?;
    Some(unescape(start.split('"').next()?))
}

fn unescape(text: &str) -> String {
    text.replace("&quot;", "\"")
        .replace("&#34;", "\"")
        .replace("&#39;", "'")
        .replace("&#38;", "&")
        .replace("&amp;", "&")
}

/// The text of the first element with this attribute: `<code data-token>…</code>`.
pub(crate) fn text_of(page: &str, marker: &str) -> Option<String> {
    let after = &page[page.find(marker)?..];
    let text = after.split_once('>')?.1.split('<').next()?;
    Some(unescape(text.trim()))
}

#[test]
fn a_form_is_read_as_a_browser_reads_it() {
    let page = r#"<form method="post" action="/other"><input name="x" value="1"></form>
        <form method="post" action="/studio/rooms" novalidate><input type="hidden" name="csrf" value="a&amp;b">
        <input name="name" value=""><input type="checkbox" name="no" value="1"><input type="radio" name="r" value="2" checked>
        <select name="s"><option value="p">P</option><option value="q" selected>Q</option></select></form>"#;
    let form = form_with_action(page, "/rooms").unwrap();
    let fields: Vec<_> = form.fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    assert_eq!(form.action, "/studio/rooms");
    assert_eq!(fields, [("csrf", "a&b"), ("name", ""), ("r", "2"), ("s", "q")]);
    assert_eq!(text_of("<p><code data-token>abc</code>", "data-token").unwrap(), "abc");
}
