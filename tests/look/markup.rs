//! Nothing inline, nothing from elsewhere, every page in the same frame, and light enough for a tablet on weak Wi-Fi.

use std::path::{Path, PathBuf};
use std::{fs, io};

use axum::body::{Body, to_bytes};
use axum::http::{Request, header};
use axum::{Router, routing::get};
use tower::ServiceExt as _;
use tower_http::compression::CompressionLayer;

use crate::{CSS, root, samples};

#[test]
fn no_template_carries_anything_inline_or_from_elsewhere() -> io::Result<()> {
    for (path, text) in templates()? {
        assert_eq!(forbidden(&text), None, "{}", path.display());
    }
    Ok(())
}

#[test]
fn no_sample_page_carries_anything_inline_or_from_elsewhere() {
    for (name, html) in samples::all() {
        assert_eq!(forbidden(&html), None, "{name}");
    }
}

#[test]
fn what_is_forbidden_would_be_found() {
    for bad in [
        "<p style=\"color:red\">",
        "<p\nstyle='x'>",
        "<style>p{}</style>",
        "<script>go()</script>",
        "<script type=\"module\">go()</script>",
        "<button onclick=\"go()\">",
        "<body ONLOAD=x>",
        "<a href=\"javascript:go()\">",
        "<img src=\"data:image/png;base64,AA\">",
        "<link href=\"https://example.org/x.css\">",
        "<script src=\"//example.org/x.js\"></script>",
    ] {
        assert!(forbidden(bad).is_some(), "{bad}");
    }
    for good in
        ["<p class=\"styled\">on time = soon, style = ours</p>", "<script src=\"/static/x/js/light.js\"></script>"]
    {
        assert_eq!(forbidden(good), None, "{good}");
    }
}

/// The frame, and the plain one of a device in a client's hands.
const FRAMES: [&str; 2] = ["shell/page.html", "shell/handed.html"];

/// Parts of pages: the shared pieces, those that a script fetches while its page is looked at, those that two pages include.
const PIECES: [&str; 2] = ["shell/frame/", "shell/pieces/"];
const PARTS: [&str; 4] = ["book/found.html", "clients/rows.html", "clients/photo_block.html", "cards/map_block.html"];

#[test]
fn every_template_stands_in_a_frame_or_is_pieces_only() -> io::Result<()> {
    for (path, text) in templates()? {
        let framed = |frame: &str| path.ends_with(frame) || text.contains(&format!("{{% extends \"{frame}\" %}}"));
        let is_piece = PIECES.into_iter().any(|folder| path.to_string_lossy().contains(folder));
        if is_piece || PARTS.into_iter().any(|part| path.ends_with(part)) || FRAMES.into_iter().any(framed) {
            continue;
        }
        let outside = outside_macros(&text);
        assert!(outside.trim().is_empty(), "{} shows {outside:?} outside the frame", path.display());
    }
    Ok(())
}

#[test]
fn a_page_outside_the_frame_would_be_found() {
    assert_eq!(outside_macros("{# why #}\n{% macro a() -%}<p>x</p>{%- endmacro %}\n").trim(), "");
    assert_eq!(outside_macros("{% macro a() -%}x{%- endmacro %}<p>y</p>").trim(), "<p>y</p>");
}

#[tokio::test]
async fn the_stylesheet_and_a_first_load_are_light() -> io::Result<()> {
    let css = sent(CSS.to_owned()).await;
    assert!(css <= 15_000, "the stylesheet takes {css} bytes compressed");
    let mut first = css;
    for entry in fs::read_dir(root().join("static/js"))? {
        first += sent(fs::read_to_string(entry?.path())?).await;
    }
    let mut heaviest = 0;
    for (name, html) in samples::all() {
        let bytes = sent(html).await;
        assert!(bytes <= 40_000, "{name} takes {bytes} bytes compressed");
        heaviest = heaviest.max(bytes);
    }
    assert!(first + heaviest <= 120_000, "a first load takes {} bytes compressed", first + heaviest);
    Ok(())
}

#[tokio::test]
async fn the_weighing_compresses() {
    let plain = "ledger paper, ink, one pencil. ".repeat(200);
    let bytes = sent(plain.clone()).await;
    assert!(bytes > 20 && bytes < plain.len() / 10, "{bytes} of {}", plain.len());
}

/// Bytes of a text on the wire, compressed by the layer the house serves with.
async fn sent(text: String) -> usize {
    let house = Router::new()
        .route("/", get(async move || ([(header::CONTENT_TYPE, "text/css")], text)))
        .layer(CompressionLayer::new());
    let asked =
        Request::builder().uri("/").header(header::ACCEPT_ENCODING, "gzip").body(Body::empty()).expect("a request");
    let answer = house.oneshot(asked).await.expect("an answer");
    assert_eq!(answer.headers().get(header::CONTENT_ENCODING).expect("compressed"), "gzip");
    to_bytes(answer.into_body(), usize::MAX).await.expect("a body").len()
}

/// Every template with its text.
fn templates() -> io::Result<Vec<(PathBuf, String)>> {
    let mut found = Vec::new();
    let mut folders = vec![root().join("templates")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            if path.is_dir() {
                folders.push(path);
            } else if is_page(&path) {
                let text = fs::read_to_string(&path)?;
                found.push((path, text));
            }
        }
    }
    assert!(found.len() >= 8, "only {} templates found", found.len());
    Ok(found)
}

fn is_page(path: &Path) -> bool {
    path.extension().is_some_and(|ending| ending == "html")
}

/// The first thing in a page that the content security policy would refuse, or that comes from another house.
fn forbidden(html: &str) -> Option<String> {
    let lower = html.to_lowercase();
    for word in ["<style", "javascript:", "data:image", "data:text", "data:font", "=\"data:", "='data:", "srcdoc"] {
        if lower.contains(word) {
            return Some(word.into());
        }
    }
    for tag in lower.split('<').skip(1).map(|rest| rest.split('>').next().unwrap_or_default()) {
        if tag.starts_with("script") && !tag.contains(" src=") {
            return Some(format!("<{tag}> without src"));
        }
        for attribute in tag.split_whitespace().skip(1) {
            let name = attribute.split('=').next().unwrap_or_default();
            let is_handler = name.len() > 4 && name.starts_with("on") && name.bytes().all(|b| b.is_ascii_alphabetic());
            if attribute.contains('=') && (name == "style" || is_handler) {
                return Some(attribute.into());
            }
            let value = attribute.split_once('=').map_or("", |(_, value)| value.trim_start_matches(['"', '\'']));
            if ["href", "src", "action", "formaction"].contains(&name)
                && (value.starts_with("http") || value.starts_with("//"))
            {
                return Some(attribute.into());
            }
        }
    }
    None
}

/// What a template shows outside its macros and comments.
fn outside_macros(text: &str) -> String {
    let without = |text: &str, open: &str, close: &str| {
        let mut kept = String::new();
        let mut rest = text;
        while let Some((before, after)) = rest.split_once(open) {
            kept.push_str(before);
            rest = after.split_once(close).map_or("", |(_, later)| later);
        }
        kept + rest
    };
    let shown = without(text, "{#", "#}");
    let shown = without(&shown, "{% macro", "endmacro %}");
    without(&shown, "{% import", "%}")
}
