//! People: the claim, invitations, passphrases, tries that fail, sign-ins and their end, roles, leaving, tokens.

use std::collections::BTreeSet;

use stillroom::base::time::{DAY, HOUR, MINUTE, SECOND};
use stillroom::people;
use stillroom::store::Kept;

use crate::browser::{Answer, Browser};
use crate::doors::fresh_key;
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::studio::{Actor, INVITED, PHRASE, SPARE, Things, invitation_on, invite, new_token, take_up};

/// A claim as filled in by one of many.
async fn claim(mut browser: Browser, path: String, name: String) -> (Answer, Browser) {
    let form = browser.form(&path, &path).await.with_all(&[
        ("studio", "Marram House"),
        ("name", &name),
        ("zone", "Europe/Copenhagen"),
        ("passphrase", PHRASE),
        ("again", PHRASE),
    ]);
    let answer = browser.submit(&form).await;
    (answer, browser)
}

both_databases!(fifty_claims_at_once_make_exactly_one_owner, unclaimed, async |house| {
    let path = format!("/claim/{}", people::claim_token(house.house.store.keys()));
    // Everybody has the page open before the first one sends it.
    let claims: Vec<_> =
        (0..50).map(|n| tokio::spawn(claim(house.stranger(), path.clone(), format!("Claimant {n}")))).collect();
    let (mut won, mut late) = (Vec::new(), 0);
    for claim in claims {
        match claim.await.unwrap() {
            (answer, browser) if answer.status == 303 => won.push(browser),
            (answer, mut browser) => {
                answer.must(409).says("This house was claimed already.");
                late += 1;
                browser.get("/").await.must(303);
            }
        }
    }
    assert_eq!((won.len(), late), (1, 49));
    assert_eq!(house.number("select count(*) from person").await, 1);
    assert_eq!(house.number("select count(*) from person where role = 'owner'").await, 1);
    assert_eq!(house.number("select count(*) from session").await, 1);
    won[0].page("/office/people").await.says("Claimant");
});

both_databases!(a_claim_needs_the_token_from_the_terminal, unclaimed, async |house| {
    let right = people::claim_token(house.house.store.keys());
    let mut stranger = house.stranger();
    let csrf = stranger.csrf().await;
    for n in 0..100 {
        let mut wrong = right.clone().into_bytes();
        let at = n % wrong.len();
        wrong[at] = if wrong[at] == b'A' { b'B' } else { b'A' };
        let path = format!("/claim/{}", String::from_utf8(wrong).unwrap());
        stranger.get(&path).await.must(404);
        let key = fresh_key();
        let fields = [
            ("csrf", csrf.as_str()),
            ("form_key", &key),
            ("studio", "x"),
            ("name", "x"),
            ("zone", "UTC"),
            ("passphrase", PHRASE),
            ("again", PHRASE),
        ];
        stranger.post(&path, &fields).await.must(404);
    }
    assert_eq!(house.number("select count(*) from person").await, 0);
});

both_databases!(a_double_click_on_the_claim_signs_in_both_times, unclaimed, async |house| {
    let path = format!("/claim/{}", people::claim_token(house.house.store.keys()));
    let mut browser = house.stranger();
    let form = browser.form(&path, &path).await.with_all(&[
        ("studio", "Marram House"),
        ("name", "Runa Marsh"),
        ("zone", "Europe/Copenhagen"),
        ("passphrase", PHRASE),
        ("again", PHRASE),
    ]);
    let mut second = browser.clone();
    browser.submit(&form).await.must(303);
    second.submit(&form).await.must(303);
    browser.page("/").await;
    second.page("/").await;
    assert_eq!(house.number("select count(*) from person").await, 1);
});

both_databases!(an_invitation_opens_once_and_not_after_its_time, async |house| {
    let link = house.things.invitation.clone();
    let mut first = house.stranger();
    first.page(&link).await.says("artist");
    take_up(&mut first, &link).await;
    first.page("/rooms").await.says(INVITED);
    house.stranger().get(&link).await.must(404);

    let mut owner = house.owner();
    let mut things = Things::default();
    let late = invite(&mut owner, "Lise Holm", "desk", &mut things).await;
    house.clock.advance(7 * DAY - SECOND);
    house.stranger().page(&late).await;
    house.clock.advance(2 * SECOND);
    house.stranger().get(&late).await.must(404);
});

both_databases!(a_new_invitation_closes_the_one_before, async |house| {
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[INVITED]);
    house.clock.advance(MINUTE);
    let form = owner.form(&page, &format!("{page}/invitation")).await;
    owner.submit(&form).await.must(303);
    let link = invitation_on(&mut owner, &page).await;
    assert_ne!(link, house.things.invitation);
    house.stranger().get(&house.things.invitation).await.must(404);
    take_up(&mut house.stranger(), &link).await;
});

both_databases!(a_link_made_anew_for_somebody_who_works_here_ends_her_sign_ins_once_it_is_used, async |house| {
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[Actor::ArtistB.name()]);
    let form = owner.form(&page, &format!("{page}/invitation")).await;
    owner.submit(&form).await.must(303);
    let link = invitation_on(&mut owner, &page).await;
    house.actor(Actor::ArtistB).page("/rooms").await;
    take_up(&mut house.stranger(), &link).await;
    house.actor(Actor::ArtistB).get("/rooms").await.must(303);
});

both_databases!(weak_passphrases_are_refused_beside_the_field, async |house| {
    let link = house.things.invitation.clone();
    let mut browser = house.stranger();
    for (phrase, again, field, words) in [
        ("fourteen chars", "fourteen chars", "passphrase", "at least 15 characters"),
        ("passwordpassword", "passwordpassword", "passphrase", "guessing programs"),
        ("marlo vance marlo", "marlo vance marlo", "passphrase", "guessing programs"),
        (&"x".repeat(257), &"x".repeat(257), "passphrase", "at most 256"),
        (PHRASE, "copper lantern walks sidewise", "again", "not the same"),
    ] {
        let form = browser.form(&link, &link).await.with("passphrase", phrase).with("again", again);
        let answer = browser.submit(&form).await.must(422);
        answer.says(words);
        assert!(answer.text().contains(&format!("id=\"f-{field}-wrong\"")), "{words}");
        assert!(!answer.text().contains(phrase), "the passphrase stands in the page");
    }
    // Every character counts, also beyond ASCII; spaces at its ends too.
    let phrase = " æbleskiver under søen går baglæns ";
    let form = browser.form(&link, &link).await.with("passphrase", phrase).with("again", phrase);
    browser.submit(&form).await.must(303);
    house.stranger().sign_in(INVITED, phrase.trim()).await.must(422);
    house.stranger().sign_in(INVITED, phrase).await.must(303);
});

both_databases!(a_name_signs_in_however_it_is_written, async |house| {
    for name in ["ines okafor", " INES OKAFOR ", "Ínes Okafor"] {
        let answer = house.stranger().sign_in(name, PHRASE).await;
        assert_eq!(answer.status, 303, "{name:?}");
    }
});

/// Signs in with a wrong passphrase; the seconds to wait, if that is the answer.
async fn wrong_try(browser: &mut Browser, name: &str) -> Option<u64> {
    let answer = browser.sign_in(name, "not this one at all").await;
    if answer.status == 422 {
        answer.says("Name and passphrase do not go together.");
        return None;
    }
    let words = answer.must(429).words();
    let (_, rest) = words.split_once("Wait ").unwrap();
    Some(rest.split(' ').next().unwrap().parse().unwrap())
}

both_databases!(the_wait_after_wrong_passphrases_doubles_whatever_the_address, async |house| {
    for name in [Actor::Desk.name(), "Nobody Here"] {
        let mut waits = Vec::new();
        for n in 0..13 {
            // Each try from another address, each from a browser without cookies.
            let address = format!("203.0.113.{n}");
            let mut browser = house
                .stranger()
                .with_header("x-forwarded-for", &address)
                .with_header("forwarded", &format!("for={address}"));
            assert_eq!(wrong_try(&mut browser, name).await, None, "try {n} for {name}");
            // The next one at once is told to wait, if there is anything to wait for.
            let wait = if n < 2 { 0 } else { wrong_try(&mut house.stranger(), name).await.unwrap() };
            waits.push(wait);
            house.clock.advance(i64::try_from(wait).unwrap() * SECOND);
        }
        assert_eq!(waits, [0, 0, 2, 3, 5, 9, 17, 33, 65, 129, 257, 301, 301], "{name}");
    }
});

both_databases!(a_hundred_guesses_at_once_are_not_a_hundred_guesses, async |house| {
    let mut page = house.stranger();
    let form = page.form("/sign-in", "/sign-in").await.with("name", Actor::Desk.name());
    let guesses: Vec<_> = (0..100)
        .map(|n| {
            let (mut browser, form) =
                (page.clone(), form.clone().with("passphrase", &format!("guess number {n} of many")));
            let mut browser = {
                browser.headers.push(("x-forwarded-for".into(), format!("198.51.100.{n}")));
                browser
            };
            tokio::spawn(async move { browser.submit(&form).await.status })
        })
        .collect();
    let mut tested = 0;
    for guess in guesses {
        match guess.await.unwrap() {
            422 => tested += 1,
            429 => {}
            other => panic!("{other}"),
        }
    }
    assert_eq!(tested, 3, "guesses that were tested");
});

both_databases!(a_strangers_failures_do_not_keep_somebody_out_of_her_own_browser, async |house| {
    let known = house.actor(Actor::Desk);
    for _ in 0..6 {
        wrong_try(&mut house.stranger(), Actor::Desk.name()).await;
        house.clock.advance(10 * SECOND);
    }
    for _ in 0..5 {
        wrong_try(&mut house.stranger(), Actor::Desk.name()).await;
    }
    assert!(wrong_try(&mut house.stranger(), Actor::Desk.name()).await.is_some());
    // She signed in here before; that sign-in is over, the browser is still known.
    let mut browser = known.clone();
    browser.jar.remove(house.house.config.cookie_name());
    browser.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    // A mark made up by a stranger makes no known browser.
    let mut forged = house.stranger();
    let name = format!("{}-known", house.house.config.cookie_name());
    let real = known.jar[&name].clone();
    forged.jar.insert(name, format!("x{real}"));
    assert!(wrong_try(&mut forged, Actor::Desk.name()).await.is_some());
});

both_databases!(her_own_failures_count_in_her_own_browser, async |house| {
    let mut browser = house.actor(Actor::Desk);
    browser.jar.remove(house.house.config.cookie_name());
    for n in 0..3 {
        assert_eq!(wrong_try(&mut browser, Actor::Desk.name()).await, None, "try {n}");
    }
    assert_eq!(wrong_try(&mut browser, Actor::Desk.name()).await, Some(2));
    house.clock.advance(SECOND);
    browser.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    // Forgotten by the good one.
    browser.jar.remove(house.house.config.cookie_name());
    assert_eq!(wrong_try(&mut browser, Actor::Desk.name()).await, None);
    assert_eq!(wrong_try(&mut browser, Actor::Desk.name()).await, None);
});

both_databases!(every_sign_in_gets_a_session_of_its_own, async |house| {
    let cookie = house.house.config.cookie_name();
    let mut browser = house.stranger();
    // A cookie planted before the sign-in is worth nothing after it.
    browser.jar.insert(cookie.to_owned(), "planted-planted-planted-planted-planted".to_owned());
    browser.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    let first = browser.jar[cookie].clone();
    assert!(!first.starts_with("planted") && first.len() >= 43, "256 random bits: {first}");
    let mut second = house.stranger();
    second.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    assert_ne!(second.jar[cookie], first);
    // What stands in the database opens nothing.
    let digest = house.look("select max(token) from session").await;
    let mut thief = house.stranger();
    thief.jar.insert(cookie.to_owned(), digest);
    thief.get("/").await.must(303);
});

both_databases!(signing_out_ends_the_session_on_the_server, async |house| {
    let mut browser = house.actor(Actor::ArtistA);
    let copy = browser.clone();
    let form = browser.form("/", "/sign-out").await;
    let answer = browser.submit(&form).await.must(303);
    assert_eq!(answer.location(), "/sign-in");
    assert!(answer.header("set-cookie").contains("Max-Age=0"));
    copy.clone().get("/").await.must(303);
    // The other browser of the same person goes on.
    assert_eq!(house.number("select count(*) from session where ended is not null").await, 1);
});

both_databases!(a_sign_in_ends_when_it_lies_idle_and_when_it_is_old, async |house| {
    let mut used = house.actor(Actor::ArtistA);
    let mut idle = house.actor(Actor::ArtistB);
    house.clock.advance(29 * MINUTE);
    used.page("/").await;
    house.clock.advance(MINUTE);
    assert!(idle.get("/").await.must(303).location().starts_with("/sign-in"), "idle for 30 minutes");
    used.page("/").await;
    // Used all day long, it ends after twelve hours from its beginning.
    for _ in 0..23 {
        house.clock.advance(29 * MINUTE);
        used.page("/").await;
    }
    house.clock.advance(2 * MINUTE);
    used.page("/").await;
    house.clock.advance(12 * HOUR - 29 * MINUTE * 24 - 3 * MINUTE);
    assert!(used.get("/").await.must(303).location().starts_with("/sign-in"), "twelve hours old");
});

both_databases!(a_changed_role_counts_at_once, async |house| {
    let mut desk = house.actor(Actor::Desk);
    desk.get("/office/people").await.must(403);
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[Actor::Desk.name()]);
    let form = owner.form(&page, &format!("{page}/role")).await.with("role", "accountant");
    owner.submit(&form).await.must(303);
    assert!(desk.get("/rooms").await.must(303).location().starts_with("/sign-in"));
    let mut again = house.stranger();
    again.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    again.get("/rooms").await.must(403);
});

both_databases!(whoever_leaves_is_out_at_once_and_stays_out, async |house| {
    let mut spare = house.stranger();
    spare.sign_in(SPARE, PHRASE).await.must(303);
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[SPARE]);
    let form = owner.form(&page, &format!("{page}/invitation")).await;
    owner.submit(&form).await.must(303);
    let link = invitation_on(&mut owner, &page).await;
    let form = owner.form(&page, &format!("{page}/leave")).await;
    owner.submit(&form).await.must(303);
    spare.get("/").await.must(303);
    house.stranger().sign_in(SPARE, PHRASE).await.must(422);
    house.stranger().get(&link).await.must(404);
    owner.page("/office/people").await.says("left");
});

both_databases!(the_last_owner_stays_owner, async |house| {
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[Actor::Owner.name()]);
    for (action, role) in [("leave", ""), ("role", "artist")] {
        let form = owner.form(&page, &format!("{page}/{action}")).await;
        let form = if role.is_empty() { form } else { form.with("role", role) };
        owner.submit(&form).await.must(409).says("the only owner");
    }
    owner.page("/office").await;
    // With a second one, who has only been invited, still; once she has come in, she may go.
    let link = invite(&mut owner, "Lise Holm", "owner", &mut Things::default()).await;
    let form = owner.form(&page, &format!("{page}/leave")).await;
    owner.submit(&form).await.must(409);
    take_up(&mut house.stranger(), &link).await;
    let form = owner.form(&page, &format!("{page}/leave")).await;
    owner.submit(&form).await.must(303);
    owner.get("/").await.must(303);
});

/// A link as the command on the box makes it.
async fn reset(house: &TestHouse, name: &'static str) -> String {
    let inner = house.house.clone();
    house
        .write(move |tx| {
            let house = inner.clone();
            Box::pin(async move { Ok(Kept::see(people::reset_link(tx, house.store.keys(), name).await?)) })
        })
        .await
        .unwrap()
        .location
}

both_databases!(a_lost_passphrase_is_set_anew_from_the_box, async |house| {
    let mut before = house.actor(Actor::Owner);
    let link = reset(house, "runa marsh").await;
    before.get("/").await.must(303);
    let phrase = "kestrel umbrella forty onions";
    let mut browser = house.stranger();
    let form = browser.form(&link, &link).await.with("passphrase", phrase).with("again", phrase);
    browser.submit(&form).await.must(303);
    browser.page("/office/settings").await;
    house.stranger().sign_in(Actor::Owner.name(), PHRASE).await.must(422);
    house.stranger().get(&link).await.must(404);

    let late = reset(house, "Ines Okafor").await;
    house.clock.advance(15 * MINUTE);
    house.stranger().get(&late).await.must(404);
});

both_databases!(the_first_aid_card_is_reached_by_everybody_and_from_every_page, async |house| {
    for actor in Actor::ALL {
        let card = house.actor(actor).page("/first-aid").await;
        card.says("Adhesive in an open eye");
        card.says("This card does not stand above the emergency service");
    }
    let things = &house.things;
    for (actor, path) in [
        (Actor::Anonymous, "/sign-in".to_owned()),
        (Actor::Anonymous, things.invitation.clone()),
        (Actor::Anonymous, "/nowhere".to_owned()),
        (Actor::Accountant, "/".to_owned()),
        (Actor::Accountant, "/rooms".to_owned()),
        (Actor::ArtistA, format!("/rooms/{}/readings/new", things.gable)),
        (Actor::Owner, "/office/settings".to_owned()),
    ] {
        let page = house.actor(actor).get(&path).await;
        assert!(page.text().contains("href=\"/first-aid\""), "{path} has no link to first aid");
        page.says("Eyes closed throughout");
    }
});

both_databases!(the_owners_words_stand_on_the_card_as_text, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/first-aid", "/office/first-aid").await;
    let form = form.with_all(&[
        ("who0", "<b>Emergency</b>"),
        ("number0", "112"),
        ("section1", "Rinse & call\nNever: rub <script>alert(1)</script>"),
        ("checked_by", "Oona Pell"),
        ("checked_on", "18 Feb 2026"),
    ]);
    assert_eq!(owner.submit(&form).await.goes_to(), "/first-aid");
    let card = house.stranger().page("/first-aid").await;
    card.says("Checked by Oona Pell on 18 Feb 2026.");
    card.says("<b>Emergency</b> 112");
    card.says("rub <script>alert(1)</script>");
    assert!(!card.text().contains("<script>alert"));
});

both_databases!(sign_ins_are_listed_and_ended_one_by_one, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = artist.page("/office/sessions").await;
    let ends: Vec<_> = html::forms(&page.text()).into_iter().filter(|form| form.action.ends_with("/end")).collect();
    // This one and the second one; the idle one is over, and others' are not hers to see.
    assert_eq!(ends.len(), 2);
    page.says("this browser");
    assert!(!page.words().contains(Actor::ArtistB.name()));
    let other = ends.iter().find(|form| form.action.contains(&house.things.second_session)).unwrap();
    artist.submit(other).await.must(303);
    assert_eq!(
        html::forms(&artist.page("/office/sessions").await.text())
            .iter()
            .filter(|form| form.action.ends_with("/end"))
            .count(),
        1
    );
    let all = house.owner().page("/office/sessions").await;
    for (_, name, _) in Actor::PEOPLE {
        all.says(name);
    }
});

both_databases!(a_tokens_secret_is_shown_for_ten_minutes_and_then_never, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "clock on the wall");
    let (id, secret) = new_token(&mut owner, &form).await;
    let page = format!("/office/tokens/{id}");
    house.clock.advance(10 * MINUTE - SECOND);
    owner.page(&page).await.says(&secret);
    house.clock.advance(2 * SECOND);
    let later = owner.page(&page).await;
    later.says("can no longer be shown");
    assert!(!later.text().contains(&secret));
    // Shown or not, it opens.
    house.stranger().with_token(&secret).page("/api/v1/rooms").await;
    assert_eq!(
        house.number(&format!("select count(*) from token where secret = '{secret}' or salt = '{secret}'")).await,
        0
    );

    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "another");
    let (id, secret) = new_token(&mut owner, &form).await;
    let page = format!("/office/tokens/{id}");
    let form = owner.form(&page, &format!("{page}/hide")).await;
    owner.submit(&form).await.must(303);
    assert!(!owner.page(&page).await.text().contains(&secret));
    house.stranger().with_token(&secret).page("/api/v1/rooms").await;
    let form = owner.form(&page, &format!("{page}/revoke")).await;
    owner.submit(&form).await.must(303);
    house.stranger().with_token(&secret).get("/api/v1/rooms").await.must(401);
    owner.page(&page).await.says("It opens nothing any more.");
});

both_databases!(a_token_in_any_other_shape_opens_nothing, async |house| {
    let good = &house.things.read_secret;
    for value in [
        format!("Bearer {good}x"),
        format!("Bearer {}", &good[..good.len() - 1]),
        format!("Basic {good}"),
        good.clone(),
        "Bearer  ".to_owned(),
        "Bearer null".to_owned(),
        format!("Bearer {}", good.to_uppercase()),
        format!("Bearer {}", "x".repeat(5000)),
    ] {
        let mut program = house.stranger().with_header("authorization", &value);
        assert_eq!(program.get("/api/v1/rooms").await.status, 401, "{value}");
    }
    house.stranger().with_header("authorization", &format!("bearer {good}")).page("/api/v1/rooms").await;
    // A session's cookie is no token, and a token is no session.
    house.owner().get("/api/v1/rooms").await.must(401);
    house.actor(Actor::Reader).get("/rooms").await.must(303);
});

both_databases!(after_signing_in_one_goes_only_to_pages_of_this_house, async |house| {
    for (next, goes) in [
        ("/rooms", "/rooms"),
        ("//elsewhere.example", "/"),
        ("https://elsewhere.example/", "/"),
        ("/\\elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        ("/a\r\nset-cookie: x=y", "/"),
    ] {
        let asked = serde_urlencoded::to_string([("next", next)]).unwrap();
        let mut browser = house.stranger();
        let form = browser.form(&format!("/sign-in?{asked}"), "/sign-in").await;
        let form = form.with("name", Actor::Desk.name()).with("passphrase", PHRASE);
        assert_eq!(browser.submit(&form).await.goes_to(), goes, "{next}");
        // Also when the hidden field is changed on the way.
        let mut browser = house.stranger();
        let form = browser.form("/sign-in", "/sign-in").await.with("next", next);
        let form = form.with("name", Actor::Desk.name()).with("passphrase", PHRASE);
        assert_eq!(browser.submit(&form).await.goes_to(), goes, "{next}");
    }
});

both_databases!(names_are_kept_as_typed_and_shown_as_text, async |house| {
    let mut owner = house.owner();
    let mut shown = BTreeSet::new();
    for name in ["Åse <i>Ø</i>", "'; drop table person; --", "{{ 7 * 7 }}", "Zoë & \"Bo\"", "𝒜va 👩‍🔬", "ـعلي"]
    {
        let form = owner.form("/office/people", "/office/people").await.with("name", name).with("role", "artist");
        let page = owner.submit(&form).await.goes_to();
        owner.page(&page).await.says(name);
        shown.insert(name);
    }
    for bad in ["a\u{0}b", "a\u{202e}b", "a\nb", &"n".repeat(81), " \u{a0} "] {
        let form = owner.form("/office/people", "/office/people").await.with("name", bad).with("role", "artist");
        owner.submit(&form).await.must(422);
    }
    let list = owner.page("/office/people").await;
    for name in shown {
        list.says(name);
    }
    owner.page("/office/audit").await;
});
