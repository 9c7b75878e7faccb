//! Signing in: names, tries that fail, sessions and their end, where one goes afterwards.

use stillroom::base::time::{DAY, HOUR, MINUTE, SECOND};
use stillroom::store::Kept;
use stillroom::web::session;

use crate::browser::Browser;
use crate::house::both_databases;
use crate::html;
use crate::people::reset;
use crate::studio::{Actor, PHRASE};

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

both_databases!(never_more_than_two_passphrases_are_hashed_at_once, async |house| {
    // Strangers with names of their own, so that none is told to wait, and browsers in which somebody signed in before.
    let mut page = house.stranger();
    let form = page.form("/sign-in", "/sign-in").await;
    let mut tries = Vec::new();
    for n in 0..24 {
        let (browser, form) = if n % 2 == 0 {
            (page.clone(), form.clone().with("name", &format!("Somebody {n}")))
        } else {
            let actor = [Actor::ArtistA, Actor::ArtistB, Actor::Desk, Actor::Owner][n / 2 % 4];
            let mut browser = house.actor(actor);
            browser.jar.remove(house.house.config.cookie_name());
            let form = browser.form("/sign-in", "/sign-in").await.with("name", actor.name());
            (browser, form)
        };
        tries.push((browser, form.with("passphrase", PHRASE)));
    }
    let before = house.house.hashing.done();
    let tries: Vec<_> = tries
        .into_iter()
        .map(|(mut browser, form)| tokio::spawn(async move { browser.submit(&form).await.status }))
        .collect();
    for one in tries {
        let status = one.await.unwrap();
        assert!([303, 422, 429].contains(&status), "{status}");
    }
    let done = house.house.hashing.done() - before;
    assert!(done >= 12, "only {done} were hashed");
    let most = house.house.hashing.most_at_once();
    assert!((1..=2).contains(&most), "{most} at once");
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

both_databases!(a_passphrase_set_anew_makes_every_browser_a_stranger, async |house| {
    let thief = house.actor(Actor::Owner);
    let link = reset(house, Actor::Owner.name()).await;
    let phrase = "kestrel umbrella forty onions";
    let mut hers = house.stranger();
    let form = hers.form(&link, &link).await.with("passphrase", phrase).with("again", phrase);
    hers.submit(&form).await.must(303);
    for _ in 0..11 {
        wrong_try(&mut house.stranger(), Actor::Owner.name()).await;
    }
    // The browser that was the reason waits like any stranger's; the one she came in with now does not.
    let mut old = thief.clone();
    old.jar.remove(house.house.config.cookie_name());
    assert!(wrong_try(&mut old, Actor::Owner.name()).await.is_some());
    hers.jar.remove(house.house.config.cookie_name());
    hers.sign_in(Actor::Owner.name(), phrase).await.must(303);
});

both_databases!(sessions_long_over_are_forgotten_and_open_ones_stay, async |house| {
    let sessions = async || house.number("select count(*) from session").await;
    let mut browser = house.stranger();
    browser.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    let form = browser.form("/", "/sign-out").await;
    browser.submit(&form).await.must(303);
    let all = sessions().await;
    let forget = async || {
        let work = house.write(|tx| {
            Box::pin(async move {
                session::forget_old(tx).await?;
                Ok(Kept::see(""))
            })
        });
        work.await.unwrap();
    };
    forget().await;
    assert_eq!(sessions().await, all, "nothing is old yet");
    house.clock.advance(89 * DAY);
    house.stranger().sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    house.clock.advance(2 * DAY);
    forget().await;
    let open = house.number("select count(*) from session where ended is null").await;
    assert!(open >= 1, "the one of two days ago stays");
    assert_eq!(house.number("select count(*) from session where ended is not null").await, 0);
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

both_databases!(sign_ins_are_listed_and_ended_one_by_one, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let page = artist.page("/office/sessions").await;
    let ends: Vec<_> = html::forms(&page.text()).into_iter().filter(|form| form.action.ends_with("/end")).collect();
    // This one, the second one and the one in a client's hands; the idle one is over, and others' are not hers to see.
    assert_eq!(ends.len(), 3);
    page.says("this browser");
    assert!(!page.words().contains(Actor::ArtistB.name()));
    let other = ends.iter().find(|form| form.action.contains(&house.things.second_session)).unwrap();
    artist.submit(other).await.must(303);
    assert_eq!(
        html::forms(&artist.page("/office/sessions").await.text())
            .iter()
            .filter(|form| form.action.ends_with("/end"))
            .count(),
        2
    );
    let all = house.owner().page("/office/sessions").await;
    for (_, name, _) in Actor::PEOPLE {
        all.says(name);
    }
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
