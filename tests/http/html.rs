//! As much of HTML as our own templates write: tags with quoted attributes, text, forms.

/// A tag on a page.
#[derive(Debug, Clone)]
pub(crate) struct Tag {
    pub(crate) name: String,
    pub(crate) closing: bool,
    attributes: Vec<(String, String)>,
    /// Where it begins and where what follows it begins.
    pub(crate) from: usize,
    pub(crate) to: usize,
}

impl Tag {
    /// The value of an attribute, with its entities read; "" for one without a value.
    pub(crate) fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    fn text(&self, name: &str) -> String {
        self.get(name).unwrap_or_default().to_owned()
    }
}

/// Every tag, in order.
pub(crate) fn tags(html: &str) -> Vec<Tag> {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(step) = html[at..].find('<') {
        let from = at + step;
        let rest = &html[from + 1..];
        if let Some(comment) = rest.strip_prefix("!--") {
            at = from + 4 + comment.find("-->").map_or(comment.len(), |end| end + 3);
        } else if rest.starts_with(|c: char| c.is_ascii_alphabetic() || c == '/') {
            let tag = tag(html, from);
            at = tag.to;
            found.push(tag);
        } else {
            at = from + 1;
        }
    }
    found
}

fn tag(html: &str, from: usize) -> Tag {
    let bytes = html.as_bytes();
    let closing = bytes.get(from + 1) == Some(&b'/');
    let mut at = from + 1 + usize::from(closing);
    let word = |at: &mut usize| {
        let start = *at;
        while *at < bytes.len() && !bytes[*at].is_ascii_whitespace() && !b"=/>".contains(&bytes[*at]) {
            *at += 1;
        }
        html[start..*at].to_ascii_lowercase()
    };
    let name = word(&mut at);
    let mut attributes = Vec::new();
    while at < bytes.len() && bytes[at] != b'>' {
        if bytes[at].is_ascii_whitespace() || bytes[at] == b'/' || bytes[at] == b'=' {
            at += 1;
            continue;
        }
        let key = word(&mut at);
        let mut value = String::new();
        if bytes.get(at) == Some(&b'=') {
            assert_eq!(bytes.get(at + 1), Some(&b'"'), "an attribute without quotes near {}", &html[from..at]);
            let end = at + 2 + html[at + 2..].find('"').unwrap();
            value = read(&html[at + 2..end]);
            at = end + 1;
        }
        attributes.push((key, value));
    }
    Tag { name, closing, attributes, from, to: (at + 1).min(html.len()) }
}

/// Text with its entities read.
pub(crate) fn read(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find('&') {
        out.push_str(&rest[..at]);
        rest = &rest[at + 1..];
        let Some(end) = rest.find(';').filter(|end| *end < 10) else {
            out.push('&');
            continue;
        };
        let number = |text: &str, radix| u32::from_str_radix(text, radix).ok().and_then(char::from_u32);
        let known = match &rest[..end] {
            "amp" => Some('&'),
            "lt" => Some('<'),
            "gt" => Some('>'),
            "quot" => Some('"'),
            "nbsp" => Some('\u{a0}'),
            entity => match entity.strip_prefix("#x") {
                Some(hex) => number(hex, 16),
                None => entity.strip_prefix('#').and_then(|decimal| number(decimal, 10)),
            },
        };
        out.push(known.unwrap_or_else(|| panic!("an entity nobody knows: {}", &rest[..end])));
        rest = &rest[end + 1..];
    }
    out.push_str(rest);
    out
}

/// What a person reads: text without tags, runs of spaces as one.
pub(crate) fn words(html: &str) -> String {
    let mut text = String::new();
    let mut at = 0;
    for tag in tags(html) {
        text.push_str(&html[at..tag.from]);
        if !matches!(tag.name.as_str(), "b" | "span" | "small" | "strong" | "a") {
            text.push(' ');
        }
        at = tag.to;
    }
    text.push_str(&html[at..]);
    read(&text).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text inside the first tag with this attribute.
pub(crate) fn inside(html: &str, attribute: &str) -> Option<String> {
    let all = tags(html);
    let open = all.iter().position(|tag| !tag.closing && tag.get(attribute).is_some())?;
    let close = all[open..].iter().find(|tag| tag.closing && tag.name == all[open].name)?;
    Some(read(&html[all[open].to..close.from]))
}

/// A form as a page holds it.
#[derive(Debug, Clone, Default)]
pub(crate) struct FormOnPage {
    pub(crate) action: String,
    pub(crate) multipart: bool,
    /// What a browser would send, without any button.
    pub(crate) fields: Vec<(String, String)>,
    /// Every name there is, also of what is not chosen or not filled in.
    pub(crate) names: Vec<String>,
    /// Names and values of its buttons.
    pub(crate) buttons: Vec<(String, String)>,
}

impl FormOnPage {
    /// What a field holds.
    pub(crate) fn value(&self, name: &str) -> &str {
        self.fields.iter().find(|(key, _)| key == name).map_or("", |(_, value)| value.as_str())
    }

    /// Fills a field in, or presses a button.
    pub(crate) fn with(mut self, name: &str, value: &str) -> Self {
        self.fields.retain(|(key, _)| key != name);
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Fills several in.
    pub(crate) fn with_all(self, pairs: &[(&str, &str)]) -> Self {
        pairs.iter().fold(self, |form, (name, value)| form.with(name, value))
    }

    /// Leaves a field out altogether.
    pub(crate) fn without(mut self, name: &str) -> Self {
        self.fields.retain(|(key, _)| key != name);
        self
    }

    /// The body a browser would send.
    pub(crate) fn body(&self) -> String {
        serde_urlencoded::to_string(&self.fields).unwrap()
    }
}

/// Every form of a page.
pub(crate) fn forms(html: &str) -> Vec<FormOnPage> {
    let all = tags(html);
    let mut found = Vec::new();
    let mut form: Option<FormOnPage> = None;
    // The select being read: its name, the first choice and the chosen one.
    let mut select: Option<(String, Option<String>, Option<String>)> = None;
    for tag in &all {
        match (tag.name.as_str(), tag.closing) {
            ("form", false) => {
                let multipart = tag.get("enctype") == Some("multipart/form-data");
                form = Some(FormOnPage { action: tag.text("action"), multipart, ..FormOnPage::default() });
            }
            ("form", true) => found.extend(form.take()),
            ("select", false) => select = Some((tag.text("name"), None, None)),
            ("option", false) => {
                if let Some((_, first, chosen)) = select.as_mut() {
                    first.get_or_insert_with(|| tag.text("value"));
                    if tag.get("selected").is_some() {
                        *chosen = Some(tag.text("value"));
                    }
                }
            }
            ("select", true) => {
                if let (Some(form), Some((name, first, chosen))) = (form.as_mut(), select.take()) {
                    form.names.push(name.clone());
                    form.fields.extend(chosen.or(first).map(|value| (name, value)));
                }
            }
            ("input" | "textarea" | "button", false) => {
                if let Some(form) = form.as_mut() {
                    control(form, tag, html);
                }
            }
            _ => {}
        }
    }
    found
}

fn control(form: &mut FormOnPage, tag: &Tag, html: &str) {
    let Some(name) = tag.get("name").map(str::to_owned) else { return };
    if tag.name == "button" {
        form.buttons.push((name, tag.text("value")));
        return;
    }
    form.names.push(name.clone());
    let kind = tag.get("type").unwrap_or("text");
    if tag.name == "textarea" {
        let end = tag.to + html[tag.to..].find("</textarea").unwrap();
        let text = read(&html[tag.to..end]);
        form.fields.push((name, text.strip_prefix('\n').unwrap_or(&text).to_owned()));
    } else if matches!(kind, "radio" | "checkbox") {
        if tag.get("checked").is_some() {
            form.fields.push((name, tag.text("value")));
        }
    } else if kind != "file" {
        form.fields.push((name, tag.text("value")));
    }
}

#[test]
fn a_form_is_read_as_a_browser_would_send_it() {
    let page = "<form method=\"post\" action=\"/a?b&#38;c\"><input type=\"hidden\" name=\"csrf\" value=\"t\">\
        <select name=\"s\"><option value=\"1\">x</option><option value=\"2\" selected>y</option></select>\
        <input type=\"radio\" name=\"r\" value=\"no\"><input type=\"radio\" name=\"r\" value=\"yes\" checked>\
        <textarea name=\"t\" rows=\"5\">\nline &#60;one&#62;</textarea><button name=\"k\" value=\"7\">7</button></form>";
    let form = &forms(page)[0];
    assert_eq!(form.action, "/a?b&c");
    assert_eq!(form.body(), "csrf=t&s=2&r=yes&t=line+%3Cone%3E");
    assert_eq!(form.buttons, [("k".to_owned(), "7".to_owned())]);
    assert_eq!(words("<p>21.4<small>&nbsp;°C</small></p><p>a  b</p>"), "21.4 °C a b");
}
