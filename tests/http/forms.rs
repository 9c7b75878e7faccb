//! Every form that writes: only from a page of ours, counted once, nothing typed ever lost.

use stillroom::base::time::MINUTE;

use crate::browser::{Answer, Browser, Jar, URLENCODED};
use crate::doors::{Row, Sent, form_body, fresh_key, rows};
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::mistakes::SEARCHES;
use crate::studio::{Actor, PHRASE, Things, session_of};

/// The doors of forms: everything that is posted but not to the API.
fn forms() -> impl Iterator<Item = Row> {
    // Doors that open only on a shared tablet are tried where there is one: tablet.rs; what a device sealed, where one has: offline.rs.
    let elsewhere = |row: &Row| row.path.starts_with("/tablet/") || row.path == "/outbox/open";
    rows().into_iter().filter(move |row| row.method == "POST" && !row.path.starts_with("/api/") && !elsewhere(row))
}

/// What is sent to a form's door: the type, and the body for a token and a key.
struct Filled {
    address: String,
    fields: Vec<(&'static str, String)>,
    file: Option<Vec<u8>>,
}

impl Filled {
    fn of(row: &Row, things: &Things) -> Self {
        let address = row.address(things);
        match (row.sent)(things) {
            Sent::Form(fields) => Self { address, fields, file: None },
            Sent::File(content) => {
                Self { address, fields: vec![("instrument", "new".to_owned())], file: Some(content.into()) }
            }
            Sent::Photo => {
                let fields = vec![("moment", "after".to_owned())];
                Self { address, fields, file: Some(crate::clients_photos::png(40, 30)) }
            }
            Sent::Nothing | Sent::Json(_) => unreachable!("not a form: {}", row.path),
        }
    }

    async fn send(&self, browser: &mut Browser, csrf: &str, key: &str) -> Answer {
        self.send_with(browser, csrf, key, &[]).await
    }

    /// Sends it with more fields than its page has.
    async fn send_with(&self, browser: &mut Browser, csrf: &str, key: &str, more: &[(&'static str, &str)]) -> Answer {
        let mut fields = self.fields.clone();
        fields.extend(more.iter().map(|(name, value)| (*name, (*value).to_owned())));
        match &self.file {
            None => browser.post_body(&self.address, URLENCODED, form_body(csrf, key, &fields)).await,
            Some(content) => {
                let form = html::FormOnPage { action: self.address.clone(), multipart: true, ..Default::default() };
                let pairs: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
                let form = form.with_all(&[("csrf", csrf), ("form_key", key)]).with_all(&pairs);
                browser.submit_file(&form, "attic.csv", content).await
            }
        }
    }
}

both_databases!(a_form_from_anywhere_but_our_page_is_refused_and_writes_nothing, async |house| {
    let things = &house.things;
    for row in forms() {
        let mut who = house.actor(row.who_may());
        let filled = Filled::of(&row, things);
        let csrf = who.csrf().await;
        let foreign = house.actor(Actor::Desk).csrf().await;
        let guest = house.stranger().csrf().await;
        let before = house.counts().await;

        for token in ["", foreign.as_str(), guest.as_str(), "x", &csrf[1..]] {
            filled.send(&mut who.clone(), token, &fresh_key()).await.must(403);
        }
        for (name, value) in [
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-site", "same-site"),
            ("origin", "https://elsewhere.example"),
            ("origin", "null"),
            ("origin", "http://localhost:9999"),
            ("origin", "http://localhost:8270.elsewhere.example"),
        ] {
            let mut elsewhere = who.clone().with_header(name, value);
            let answer = filled.send(&mut elsewhere, &csrf, &fresh_key()).await;
            assert_eq!(answer.status, 403, "{} with {name}: {value}", answer.asked);
        }
        let body = form_body(&csrf, &fresh_key(), &filled.fields);
        for kind in ["text/plain", "application/json", "multipart/form-data"] {
            let answer = who.clone().post_body(&filled.address, kind, body.clone()).await;
            assert!(matches!(answer.status, 400 | 403), "{} as {kind}: {}", answer.asked, answer.status);
        }
        if row.path != "/sign-out" {
            for key in ["", "short", "with space and more", &"k".repeat(101)] {
                filled.send(&mut who.clone(), &csrf, key).await.must(400);
            }
        }
        let answer = who.clone().get(&filled.address).await;
        assert!(matches!(answer.status, 200 | 303 | 405 | 409), "{}: {}", answer.asked, answer.status);
        assert_eq!(house.counts().await, before, "{} wrote something", row.path);
    }
});

both_databases!(a_form_of_our_page_is_taken_whatever_browsers_say_of_its_origin, async |house| {
    let things = &house.things;
    let row = forms().find(|row| row.path == "/rooms/{room}/instruments/{instrument}/checks").unwrap();
    for headers in [
        vec![],
        vec![("sec-fetch-site", "same-origin"), ("origin", "http://localhost:8270")],
        vec![("sec-fetch-site", "none")],
        vec![("origin", "http://localhost:8270")],
    ] {
        let who = house.actor(Actor::ArtistA);
        let mut who = headers.iter().fold(who, |who, (name, value)| who.with_header(name, value));
        let csrf = who.csrf().await;
        Filled::of(&row, things).send(&mut who, &csrf, &fresh_key()).await.must(303);
    }
});

/// Signing in gives a new session each time, signing out needs no key, and what looks something up keeps nothing; all the others count
/// once.
fn counted_once(row: &Row) -> bool {
    !matches!(row.path, "/sign-in" | "/sign-out" | "/claim/{token}") && !SEARCHES.contains(&row.path)
}

both_databases!(the_same_form_again_gives_the_first_result_and_one_record, async |house| {
    let things = &house.things;
    for row in forms().filter(counted_once) {
        let mut who = house.actor(row.who_may());
        let filled = Filled::of(&row, things);
        let (csrf, key) = (who.csrf().await, fresh_key());
        let again = who.clone();
        let first = filled.send(&mut who, &csrf, &key).await.goes_to();
        settled(house).await;
        let after_first = house.counts().await;
        // A double click, the back button, a reload: each sends the same body with the same cookies.
        for _ in 0..2 {
            assert_eq!(filled.send(&mut again.clone(), &csrf, &key).await.goes_to(), first, "{}", row.path);
        }
        assert_eq!(house.counts().await, after_first, "{} was kept twice", row.path);

        let other = filled.send_with(&mut again.clone(), &csrf, &key, &[("note", "another")]).await.must(422);
        other.says("This form was already kept once, with other content.");
        let links: Vec<_> =
            html::tags(&other.text()).iter().filter_map(|tag| tag.get("href").map(str::to_owned)).collect();
        assert!(links.contains(&first), "{}: no link to {first}", row.path);
        assert_eq!(house.counts().await, after_first, "{} kept the other body", row.path);
    }
});

both_databases!(fifty_clicks_at_once_are_one_record, async |house| {
    let mut who = house.actor(Actor::ArtistA);
    let page = format!("/rooms/{}/readings/new", house.things.gable);
    let form = who.form(&page, &format!("/rooms/{}/readings", house.things.gable)).await;
    let form = form.with_all(&[("temperature", "21.4"), ("humidity", "38"), ("do", "keep")]);
    let clicks: Vec<_> = (0..50)
        .map(|_| {
            let (mut who, form) = (who.clone(), form.clone());
            tokio::spawn(async move { who.submit(&form).await.goes_to() })
        })
        .collect();
    let mut went = Vec::new();
    for click in clicks {
        went.push(click.await.unwrap());
    }
    went.dedup();
    assert_eq!(went, [format!("/rooms/{}?told=kept", house.things.gable)]);
    assert_eq!(house.number("select count(*) from reading").await, 1);
    assert_eq!(house.number("select count(*) from form_key where location like '/rooms/%told=kept'").await, 1);
});

/// Waits until no logger file is being taken.
pub(crate) async fn settled(house: &TestHouse) {
    for _ in 0..200 {
        if house.number("select count(*) from reading_import where state = 'taking'").await == 0 {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    panic!("a logger file is never done");
}

/// Ends the sign-in a browser has, behind its back.
async fn end(house: &TestHouse, jar: &Jar) {
    let session = session_of(house, jar).await;
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let csrf = owner.csrf().await;
    let key = fresh_key();
    owner.post(&format!("/office/sessions/{session}/end"), &[("csrf", &csrf), ("form_key", &key)]).await.must(303);
}

both_databases!(a_form_sent_after_the_sign_in_ended_is_carried_over_the_sign_in, async |house| {
    let things = &house.things;
    let mut carried = 0;
    for row in
        forms().filter(|row| row.expected.starts_with('s') && row.path != "/sign-out" && !SEARCHES.contains(&row.path))
    {
        let actor = row.who_may();
        let filled = Filled::of(&row, things);
        // A file has a test of its own; ending a sign-in is what this test does itself; who signs in holds the device herself; a
        // passphrase or a code is carried nowhere.
        let secret = filled.fields.iter().any(|(name, _)| *name == "passphrase");
        if filled.file.is_some() || secret || row.path.ends_with("/end") || row.path.starts_with("/handed-over") {
            continue;
        }
        carried += 1;
        let mut who = house.stranger();
        who.sign_in(actor.name(), PHRASE).await.must(303);
        let (csrf, key) = (who.csrf().await, fresh_key());
        end(house, &who.jar).await;
        let before = house.counts().await;

        let sign_in = filled.send(&mut who, &csrf, &key).await.must(401);
        sign_in.says("What you typed is kept on this page");
        assert_eq!(house.counts().await, before, "{} was kept without a sign-in", row.path);
        let form = sign_in.form("/sign-in");
        assert_eq!(form.value("draft_to"), filled.address);
        assert!(!form.value("draft").contains("csrf"), "{}", form.value("draft"));

        // A passphrase that does not fit costs nothing either.
        let wrong =
            who.submit(&form.with("name", actor.name()).with("passphrase", "not this one at all")).await.must(422);
        let again = who.submit(&wrong.form("/sign-in").with("passphrase", PHRASE)).await.must(200);
        again.says("What you typed before is still here.");
        let typed = again.form(&filled.address);
        for (name, value) in &filled.fields {
            assert_eq!(typed.value(name), value, "{}: {name}", row.path);
        }
        let first = who.submit(&typed).await.goes_to();
        settled(house).await;
        let after = house.counts().await;
        assert_eq!(who.submit(&typed).await.goes_to(), first, "{}", row.path);
        assert_eq!(house.counts().await, after, "{} was kept twice", row.path);
    }
    assert!(carried > 20, "only {carried} forms were tried");
});

both_databases!(a_file_sent_after_the_sign_in_ended_is_said_to_be_gone, async |house| {
    let mut who = house.actor(Actor::Expired);
    let csrf = who.csrf().await;
    let row = forms().find(|row| row.path == "/rooms/{room}/imports").unwrap();
    let answer = Filled::of(&row, &house.things).send(&mut who, &csrf, &fresh_key()).await.must(401);
    answer.says("cannot be kept here");
    let form = answer.form("/sign-in").with("name", Actor::ArtistA.name()).with("passphrase", PHRASE);
    assert_eq!(who.submit(&form).await.goes_to(), "/");
});

both_databases!(a_form_of_another_site_does_not_wait_behind_the_sign_in, async |house| {
    let row = forms().find(|row| row.path == "/office/people").unwrap();
    for (name, value) in [("sec-fetch-site", "cross-site"), ("origin", "https://elsewhere.example")] {
        let mut lured = house.stranger().with_header(name, value);
        let answer = Filled::of(&row, &house.things).send(&mut lured, "", &fresh_key()).await.must(401);
        assert!(!answer.text().contains("Lise"), "the foreign form is carried along");
    }
});

both_databases!(a_passphrase_never_stands_in_a_page, async |house| {
    let secrets = ["wholly-secret-one", "wholly-secret-two"];
    let fields = [("passphrase", secrets[0]), ("again", secrets[1]), ("new_passphrase", secrets[0]), ("name", "Ines")];
    let mut somebody = house.stranger();
    let answer = somebody.post("/office/people", &fields).await.must(401);
    let mut pages = vec![answer];
    let form = somebody.form("/sign-in", "/sign-in").await.with("name", "Ines").with("passphrase", secrets[0]);
    pages.push(somebody.submit(&form).await.must(422));
    let link = &house.things.invitation;
    let form = somebody.form(link, link).await.with("passphrase", secrets[0]).with("again", secrets[1]);
    pages.push(somebody.submit(&form).await.must(422));
    for page in pages {
        for secret in secrets {
            assert!(!page.text().contains(secret), "{} shows a passphrase", page.asked);
        }
    }
});

both_databases!(a_form_key_is_forgotten_after_ninety_days, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/rooms/new", "/rooms").await;
    let form = form.with_all(&[("name", "Loft"), ("volume_m3", "40"), ("coldest_surface", "window")]);
    owner.submit(&form).await.must(303);
    let kept = house.number("select count(*) from form_key").await;
    house.clock.advance(89 * 24 * 60 * MINUTE);
    house.house.store.forget_old_forms().await.unwrap();
    assert_eq!(house.number("select count(*) from form_key").await, kept);
    house.clock.advance(2 * 24 * 60 * MINUTE);
    house.house.store.forget_old_forms().await.unwrap();
    assert_eq!(house.number("select count(*) from form_key").await, 0);
});
