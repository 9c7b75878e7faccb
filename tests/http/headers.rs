//! What every answer carries: the policy, caching, cookies by how the house is reached; and addresses behind proxies.

use std::collections::BTreeMap;
use std::net::IpAddr;

use axum::body::Body;
use axum::http::{HeaderMap, HeaderValue, Method};
use stillroom::config::{Config, ExternalUrl};
use stillroom::web::visitor::client_address;

use crate::browser::Answer;
use crate::doors::rows;
use crate::house::both_databases;
use crate::html;
use crate::studio::{Actor, PHRASE};

/// Stops the test unless the answer carries what every answer must.
fn check(answer: &Answer) {
    let asked = &answer.asked;
    let policy = answer.header("content-security-policy");
    for part in [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "connect-src 'self'",
        "img-src 'self' blob:",
        "media-src 'self' blob:",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "object-src 'none'",
    ] {
        assert!(policy.contains(part), "{asked}: {part} is missing in {policy}");
    }
    assert!(!policy.contains("unsafe") && !policy.contains('*') && !policy.contains("http"), "{asked}: {policy}");
    for (name, value) in [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("x-frame-options", "DENY"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-embedder-policy", "require-corp"),
    ] {
        assert_eq!(answer.header(name), value, "{asked}: {name}");
    }
    assert!(answer.header("permissions-policy").contains("camera=()"), "{asked}");
    assert!(!answer.headers.contains_key("server") && !answer.headers.contains_key("x-powered-by"), "{asked}");
    if answer.is_page() {
        assert_eq!(answer.header("cache-control"), "no-store", "{asked}");
        no_inline(answer);
    }
}

/// What the policy would stop must not be there in the first place.
fn no_inline(answer: &Answer) {
    for tag in html::tags(&answer.text()) {
        assert!(tag.name != "style" && tag.name != "base" && tag.name != "iframe", "{}: <{}>", answer.asked, tag.name);
        assert!(tag.name != "script" || tag.closing || tag.get("src").is_some(), "{}: an inline script", answer.asked);
        assert!(tag.get("style").is_none(), "{}: an inline style on <{}>", answer.asked, tag.name);
        for event in ["onclick", "onload", "onerror", "onsubmit", "onchange", "oninput"] {
            assert!(tag.get(event).is_none(), "{}: {event} on <{}>", answer.asked, tag.name);
        }
        for link in ["href", "src", "action"] {
            let to = tag.get(link).unwrap_or_default();
            assert!(
                !to.contains("://") && !to.starts_with("//") && !to.starts_with("javascript"),
                "{}: {to}",
                answer.asked
            );
        }
    }
}

both_databases!(every_answer_carries_the_policy, async |house| {
    for actor in [Actor::Anonymous, Actor::ArtistA, Actor::Owner, Actor::Reader] {
        let mut browser = house.actor(actor);
        for row in rows().into_iter().filter(|row| row.method == "GET") {
            check(&browser.get(&row.address(&house.things)).await);
        }
    }
    // Answers that no handler of ours gave.
    let mut owner = house.owner();
    check(&owner.get("/nowhere").await.must(404));
    check(&owner.get("/rooms/none").await.must(404));
    check(&owner.get("/static/none/none.js").await.must(404));
    check(&owner.post("/rooms", &[("name", "x")]).await.must(403));
    check(&owner.post("/nowhere", &[]).await.must(404));
    check(&owner.get("/rooms/%ff%fe").await);
    check(&owner.ask(Method::DELETE, "/rooms", &[], Body::empty()).await);
    check(&owner.ask(Method::OPTIONS, "/rooms", &[("origin", "https://elsewhere.example")], Body::empty()).await);
    check(&owner.ask(Method::TRACE, "/", &[], Body::empty()).await);
    check(&owner.post_body("/rooms", crate::browser::URLENCODED, vec![b'a'; 300_000]).await);
    check(&house.actor(Actor::Sensor).post_json("/api/v1/advice", "x").await);
});

both_databases!(pages_are_not_kept_and_assets_are, async |house| {
    let mut owner = house.owner();
    assert_eq!(owner.page("/").await.header("cache-control"), "no-store");
    assert_eq!(owner.page("/first-aid").await.header("cache-control"), "no-store");
    assert_eq!(house.actor(Actor::Reader).page("/api/v1/rooms").await.header("cache-control"), "no-store");
    let page = owner.page("/").await.text();
    let style = html::tags(&page).into_iter().find(|tag| tag.get("rel") == Some("stylesheet")).unwrap();
    let style = owner.page(style.get("href").unwrap()).await;
    assert_eq!(style.header("cache-control"), "public, max-age=31536000, immutable");
    assert!(style.header("content-type").starts_with("text/css"));
    assert_eq!(owner.page("/static/0000000000000000/app.css").await.header("cache-control"), "no-cache");
    assert_eq!(owner.page("/manifest.webmanifest").await.header("cache-control"), "no-cache");
    owner.get("/static/x/..%2f..%2fCargo.toml").await.must(404);
});

/// An address people type, as the options read it.
fn external(url: &str) -> ExternalUrl {
    Config::resolve(&BTreeMap::from([("external_url".to_owned(), url.to_owned())]), []).unwrap().0.external_url
}

both_databases!(cookies_and_hsts_follow_how_the_house_is_reached, async |house| {
    for (url, name, secure, hsts) in [
        ("http://localhost:8270", "__Host-stillroom", true, false),
        ("http://127.0.0.1:8270", "__Host-stillroom", true, false),
        ("https://studio.example", "__Host-stillroom", true, true),
        ("http://192.168.7.5:8270", "stillroom", false, false),
    ] {
        let house = house.configured(|config| config.external_url = external(url));
        let mut browser = house.stranger();
        let page = browser.page("/sign-in").await;
        let form = page.form("/sign-in").with("name", Actor::Desk.name()).with("passphrase", PHRASE);
        let answer = browser.submit(&form).await.must(303);
        let lines: Vec<String> = [&page, &answer]
            .iter()
            .flat_map(|answer| answer.headers.get_all("set-cookie"))
            .map(|line| line.to_str().unwrap().to_owned())
            .collect();
        // The guest's, the session's, the mark of a known browser.
        assert_eq!(lines.len(), 3, "{lines:?}");
        for line in &lines {
            assert!(line.starts_with(name), "{url}: {line}");
            assert!(
                line.contains("; Path=/;") && line.contains("; HttpOnly") && line.contains("; SameSite=Lax"),
                "{line}"
            );
            assert!(!line.to_lowercase().contains("domain"), "{line}");
            assert_eq!(line.ends_with("; Secure") || line.contains("; Secure;"), secure, "{url}: {line}");
        }
        assert_eq!(answer.headers.contains_key("strict-transport-security"), hsts, "{url}");
        let home = browser.page("/").await;
        assert_eq!(home.words().contains("over plain HTTP"), !secure, "{url}");
    }
});

both_databases!(cookies_of_another_kind_of_house_count_for_nothing, async |house| {
    let plain = house.configured(|config| config.external_url = external("http://192.168.7.5:8270"));
    let mut browser = plain.stranger();
    browser.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    let secret = browser.jar["stillroom"].clone();
    // A plain cookie can be planted by whoever sits on the network: behind https it must not sign anybody in.
    let mut planted = house.stranger();
    planted.jar.insert("stillroom".to_owned(), secret);
    planted.get("/").await.must(303);
});

fn forwarded(lines: &[&str]) -> HeaderMap {
    let mut headers = HeaderMap::new();
    for line in lines {
        headers.append("x-forwarded-for", HeaderValue::from_str(line).unwrap());
    }
    headers
}

both_databases!(forwarded_addresses_are_believed_only_from_listed_proxies, async |house| {
    let ip = |text: &str| text.parse::<IpAddr>().unwrap();
    let none = house.configured(|config| config.trusted_proxies = Vec::new());
    let behind = house.configured(|config| {
        config.trusted_proxies = ["127.0.0.1/32", "10.0.0.0/8", "fd00::/8"].map(|net| net.parse().unwrap()).to_vec();
    });
    for (peer, lines, from) in [
        ("203.0.113.9", vec!["198.51.100.1"], "203.0.113.9"),
        ("127.0.0.1", vec!["198.51.100.1"], "198.51.100.1"),
        ("::ffff:127.0.0.1", vec!["198.51.100.1"], "198.51.100.1"),
        ("fd00::1", vec!["2001:db8::7"], "2001:db8::7"),
        // Two proxies of ours; the client's own invention stands further left.
        ("127.0.0.1", vec!["1.2.3.4, 198.51.100.1, 10.0.0.2"], "198.51.100.1"),
        ("127.0.0.1", vec!["10.9.9.9, 198.51.100.1"], "198.51.100.1"),
        // A proxy that adds a line of its own below the one the client sent.
        ("127.0.0.1", vec!["1.2.3.4", "198.51.100.1"], "198.51.100.1"),
        ("127.0.0.1", vec!["1.2.3.4", "198.51.100.1", "10.0.0.2"], "198.51.100.1"),
        ("127.0.0.1", vec!["1.2.3.4, rubbish, 10.0.0.2"], "127.0.0.1"),
        ("127.0.0.1", vec!["1.2.3.4, rubbish"], "127.0.0.1"),
        ("127.0.0.1", vec!["10.0.0.2, 10.0.0.3"], "127.0.0.1"),
        ("127.0.0.1", vec![""], "127.0.0.1"),
        ("127.0.0.1", vec![], "127.0.0.1"),
    ] {
        assert_eq!(client_address(&behind.house, ip(peer), &forwarded(&lines)), ip(from), "{peer} with {lines:?}");
        assert_eq!(client_address(&none.house, ip(peer), &forwarded(&lines)), ip(peer), "nothing is believed unasked");
    }
});
