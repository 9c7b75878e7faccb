//! Tablets that several people use: enrolled, unlocked with six digits, locked, and what asks for the passphrase all the same.

use stillroom::base::time::{DAY, HOUR, MINUTE, SECOND};

use crate::browser::Browser;
use crate::doors::{Row, empty_form, form, get, post};
use crate::house::{TestHouse, both_databases};
use crate::mistakes::Slip;
use crate::offline;
use crate::studio::{Actor, PHRASE, SPARE, Things, session_of};

pub(crate) const DIGITS: &str = "739158";
/// A tablet nobody uses in these tests, enrolled past the pages.
pub(crate) const OTHER: &str = "0192f0c1-7e57-7000-8000-0000000007ab";

pub(crate) async fn furnish(house: &TestHouse, things: &Things) {
    let owner = &things.people[Actor::Owner.name()];
    let sql = format!(
        "insert into tablet (id, name, secret, enrolled_by, created, seen, expires, revoked)
         values ('{OTHER}', 'Tablet in the drawer', 'nobody holds it', '{owner}', 1, 1, 2, null)"
    );
    house.run(&sql).await.unwrap();
}

pub(crate) fn rows() -> Vec<Row> {
    let digits = |_: &Things| form(&[("passphrase", DIGITS), ("again", DIGITS)]);
    vec![
        get("/tablet", "ssgggggss"),
        get("/tablet/here", "ssoooooss"),
        get("/tablet/of/{person}", "xxxxxxxxx"),
        post("/tablet/of/{person}", |_| form(&[("passphrase", DIGITS), ("next", "/")]), "xxxxxxxxx"),
        get("/office/code", "ssoooooss"),
        post("/office/code", digits, "ssgggggss"),
        post("/office/code/forget", empty_form, "ssgggggss"),
        get("/office/tablets", "ssnnnnoss"),
        // Only a shared tablet is locked; the next door makes one of the browser that knocks there.
        post("/tablet/lock", empty_form, "ssxxxxxss"),
        post("/office/tablets", |_| form(&[("name", "Tablet by the window")]), "ssnnnngss"),
        post("/office/tablets/{tablet}/revoke", empty_form, "ssnnnngss"),
        // Of the work that is open on a shared tablet; tried in cards.rs.
        post("/tablet/drop", empty_form, "xxxxxxxxx"),
    ]
}

pub(crate) fn slips() -> Vec<Slip> {
    vec![Slip::new(
        "/office/tablets",
        "/office/tablets",
        &[("name", "  ")],
        &["name"],
        &[("name", "Tablet on the trolley")],
    )]
}

/// Gives somebody her digits, in her own browser.
pub(crate) async fn digits_of(house: &TestHouse, actor: Actor, digits: &str) {
    let mut browser = house.actor(actor);
    let form = browser.form("/office/code", "/office/code").await.with("passphrase", digits).with("again", digits);
    browser.submit(&form).await.must(303);
}

/// A browser that became a shared tablet; the owner is still signed in on it.
pub(crate) async fn enrolled(house: &TestHouse) -> Browser {
    let mut tablet = house.stranger();
    tablet.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let form = tablet.form("/office/tablets", "/office/tablets").await.with("name", "Tablet by the window");
    assert_eq!(tablet.submit(&form).await.goes_to(), "/office/tablets");
    tablet
}

pub(crate) async fn lock(tablet: &mut Browser) {
    let csrf = tablet.csrf().await;
    let to = tablet.post("/tablet/lock", &[("csrf", &csrf), ("next", "/shelf")]).await.goes_to();
    assert_eq!(to, "/tablet?next=%2Fshelf");
}

fn of(house: &TestHouse, actor: Actor) -> String {
    format!("/tablet/of/{}", house.things.people[actor.name()])
}

pub(crate) async fn try_digits(
    tablet: &mut Browser,
    house: &TestHouse,
    actor: Actor,
    digits: &str,
) -> crate::browser::Answer {
    let path = of(house, actor);
    let form = tablet.form(&format!("{path}?next=%2Fshelf"), &path).await.with("passphrase", digits);
    tablet.submit(&form).await
}

both_databases!(a_tablet_is_enrolled_by_the_owner_and_unlocked_with_a_name_and_six_digits, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    tablet.page("/office/tablets").await.says("Tablet by the window");
    lock(&mut tablet).await;
    let names = tablet.page("/tablet?next=%2Fshelf").await;
    names.says(Actor::ArtistA.name());
    // She has no digits yet, so her passphrase opens it.
    assert!(!names.text().contains(&of(house, Actor::Desk)));
    assert_eq!(try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to(), "/shelf");
    let page = tablet.page("/shelf").await;
    page.says(Actor::ArtistA.name());
    assert!(page.text().contains("data-lock"), "a shared tablet can be locked from every page");
    let session = session_of(house, &tablet.jar).await;
    let person = house.look(&format!("select person from session where id = '{session}'")).await;
    assert_eq!(person, house.things.people[Actor::ArtistA.name()], "what is recorded names the person, not the tablet");
});

both_databases!(first_aid_opens_on_a_shared_tablet_without_anybody_unlocking_it, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    // From the lock, from the digits of one of those it names, and long after the last person left.
    for path in ["/tablet".to_owned(), of(house, Actor::ArtistA)] {
        assert!(tablet.page(&path).await.text().contains("href=\"/first-aid\""), "{path} has no link to first aid");
    }
    for hours in [0, 20] {
        house.clock.advance(hours * HOUR);
        let card = tablet.page("/first-aid").await;
        card.says("Adhesive in an open eye");
        card.says("from any phone");
        assert!(!card.text().contains("/office/first-aid"), "nobody changes it from here");
        // And it unlocked nothing.
        tablet.get("/shelf").await.must(303);
    }
});

both_databases!(in_a_clients_hands_a_shared_tablet_opens_first_aid_and_comes_back_to_her_form, async |house| {
    let mut tablet = enrolled(house).await;
    let client = &house.things.clearance["ada"];
    let path = format!("/door/clients/{client}/hand-over/consultation");
    let form = tablet.form(&path, &format!("/handed-over/begin/{client}/consultation")).await;
    assert_eq!(tablet.submit(&form).await.goes_to(), "/handed-over");
    let card = tablet.page("/first-aid").await;
    card.says("Adhesive in an open eye");
    card.says("Back to the form");
    tablet.get("/office").await.must(403);
});

both_databases!(a_lock_that_never_reached_the_house_is_told_by_the_page_of_names, async |house| {
    let mut tablet = enrolled(house).await;
    // The tablet was locked without network: the owner's sign-in goes on until the house hears of it.
    let names = tablet.page("/tablet?next=%2Fshelf").await;
    assert_eq!(offline::attribute(&names, "data-still-in").unwrap(), "/tablet/lock");
    assert!(!names.words().contains("Signed in") && !names.text().contains("data-outbox-line"), "it names nobody");
    let token = offline::attribute(&names, "data-still-token").unwrap();
    tablet.post("/tablet/lock", &[("csrf", "another"), ("next", "/")]).await.must(403);
    tablet.get("/shelf").await.must(200);
    tablet.post("/tablet/lock", &[("csrf", &token), ("next", "/")]).await.goes_to();
    assert!(tablet.get("/shelf").await.goes_to().starts_with("/sign-in"));
    assert_eq!(offline::attribute(&tablet.page("/tablet").await, "data-still-in"), None, "it has heard of it");
});

/// Hands Ada's consultation over on a device somebody is signed in on.
async fn into_her_hands(house: &TestHouse, tablet: &mut Browser) {
    let client = &house.things.client;
    let path = format!("/door/clients/{client}/hand-over/consultation");
    let form = tablet.form(&path, &format!("/handed-over/begin/{client}/consultation")).await;
    assert_eq!(tablet.submit(&form).await.goes_to(), "/handed-over");
}

both_databases!(a_shared_tablet_comes_back_from_a_clients_hands_by_six_digits_as_well, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    digits_of(house, Actor::ArtistB, "860274").await;
    let hers = format!("/door/clients/{}", house.things.client);
    let leave = "/handed-over/leave";
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    // She came in by her passphrase, so that her file would open.
    tablet.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    tablet.get(&format!("{hers}/file")).await.must(200);
    into_her_hands(house, &mut tablet).await;
    tablet.page(leave).await.says("Your passphrase, or your six digits");
    // A colleague's digits are as wrong as any.
    for (wrong, left) in [("402957", "4 tries are left"), ("860274", "3 tries are left")] {
        let form = tablet.form(leave, leave).await.with("passphrase", wrong);
        let answer = tablet.submit(&form).await.must(422);
        answer.says(left);
        assert!(!answer.text().contains(wrong), "digits stand in no page");
        tablet.get("/door").await.must(403);
    }
    let form = tablet.form(leave, leave).await.with("passphrase", DIGITS);
    assert_eq!(tablet.submit(&form).await.goes_to(), hers);
    tablet.get("/door").await.must(200);
    assert_ne!(tablet.get(&format!("{hers}/file")).await.status, 200, "digits alone open no file");
    // The tries begin anew, and after five only the passphrase takes it back.
    into_her_hands(house, &mut tablet).await;
    for tries in 0..5 {
        let form = tablet.form(leave, leave).await.with("passphrase", "402957");
        let says = if tries == 4 { "That was the fifth try" } else { "Not these digits" };
        tablet.submit(&form).await.must(422).says(says);
    }
    let form = tablet.form(leave, leave).await;
    tablet.submit(&form.clone().with("passphrase", DIGITS)).await.must(422).says("only the passphrase");
    tablet.get("/door").await.must(403);
    let form = tablet.form(leave, leave).await.with("passphrase", PHRASE);
    assert_eq!(tablet.submit(&form).await.goes_to(), hers);
    into_her_hands(house, &mut tablet).await;
    let form = tablet.form(leave, leave).await.with("passphrase", DIGITS);
    assert_eq!(tablet.submit(&form).await.goes_to(), hers, "the passphrase lets the digits count again");
    // On a device that is nobody's shared tablet digits are no proof.
    let mut own = house.stranger();
    own.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    into_her_hands(house, &mut own).await;
    assert!(!own.page(leave).await.text().contains("six digits"));
    let form = own.form(leave, leave).await.with("passphrase", DIGITS);
    own.submit(&form).await.must(422);
    own.get("/door").await.must(403);
});

both_databases!(a_client_may_read_slowly_on_a_shared_tablet, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    tablet.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    into_her_hands(house, &mut tablet).await;
    house.clock.advance(12 * MINUTE);
    let step = tablet.get("/handed-over").await.goes_to();
    tablet.get(&step).await.must(200);
    tablet.get("/door").await.must(403);
    let form = tablet.form("/handed-over/leave", "/handed-over/leave").await.with("passphrase", PHRASE);
    tablet.submit(&form).await.must(303);
    // In the hands of whoever works here it lies idle after minutes, as ever.
    house.clock.advance(4 * MINUTE);
    assert_ne!(tablet.get("/door").await.status, 200);
});

both_databases!(after_five_wrong_tries_only_the_passphrase_opens_it_there, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    for left in ["4 tries are left", "3 tries", "2 tries", "One try is left", "That was the fifth try"] {
        let answer = try_digits(&mut tablet, house, Actor::ArtistA, "402957").await.must(422);
        answer.says(left);
        assert!(!answer.text().contains("402957"), "digits stand in no page");
    }
    let path = of(house, Actor::ArtistA);
    assert!(!tablet.page("/tablet").await.text().contains(&path));
    assert_eq!(tablet.get(&path).await.goes_to(), "/sign-in?next=%2F");
    // The right ones come too late, also straight at the door, and where a passphrase is asked for.
    let csrf = tablet.csrf().await;
    let late = [("csrf", csrf.as_str()), ("form_key", "one-too-late"), ("passphrase", DIGITS)];
    tablet.post(&path, &late).await.must(422).says("only the passphrase");
    tablet.sign_in(Actor::ArtistA.name(), DIGITS).await.must(422).says("only the passphrase");
    // On another tablet they still count.
    let mut second = house.stranger();
    second.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let form = second.form("/office/tablets", "/office/tablets").await.with("name", "Second tablet");
    second.submit(&form).await.goes_to();
    lock(&mut second).await;
    try_digits(&mut second, house, Actor::ArtistA, DIGITS).await.goes_to();
    // The passphrase opens it and counts from nothing again.
    tablet.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to();
});

both_databases!(twenty_tries_at_once_are_counted_before_they_are_looked_at, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    let path = of(house, Actor::ArtistA);
    let form = tablet.form(&path, &path).await;
    let before = house.house.hashing.done();
    let tries: Vec<_> = (0..20)
        .map(|n| {
            let (mut tablet, form) = (tablet.clone(), form.clone().with("form_key", &format!("try-number-{n:03}")));
            let form = form.with("passphrase", &format!("8602{n:02}"));
            tokio::spawn(async move { tablet.submit(&form).await.status })
        })
        .collect();
    for one in tries {
        assert_eq!(one.await.unwrap(), 422);
    }
    assert_eq!(house.house.hashing.done() - before, 5, "digits that were looked at");
});

both_databases!(digits_open_nothing_without_their_tablet, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut stranger = house.stranger();
    let path = of(house, Actor::ArtistA);
    stranger.get(&path).await.must(404);
    let csrf = stranger.csrf().await;
    let pairs = [("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test"), ("passphrase", DIGITS)];
    stranger.post(&path, &pairs).await.must(404);
    stranger.sign_in(Actor::ArtistA.name(), DIGITS).await.must(422).says("Name and passphrase do not go together.");
    // Nor does the tablet without them.
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    assert!(tablet.get("/shelf").await.goes_to().starts_with("/sign-in"));
    let csrf = tablet.csrf().await;
    let pairs = [("csrf", csrf.as_str()), ("form_key", "a-key-of-this-test"), ("passphrase", DIGITS)];
    let foreign = tablet.clone().with_header("sec-fetch-site", "cross-site").post(&path, &pairs).await;
    foreign.must(403);
    // What is kept is a slow hash of a keyed digest: the digits alone do not lead to it.
    let kept = house.look("select hash from code").await;
    assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
});

both_databases!(weak_digits_are_refused_beside_the_field_and_stand_in_no_page, async |house| {
    let mut browser = house.actor(Actor::ArtistA);
    let form = browser.form("/office/code", "/office/code").await;
    for (digits, again, sentence) in [
        ("123456", "123456", "among the first"),
        ("310195", "310195", "read as a date"),
        ("12345", "12345", "Type six digits."),
        (DIGITS, "739159", "not the same digits"),
    ] {
        let sent = form.clone().with("passphrase", digits).with("again", again);
        let answer = browser.submit(&sent).await.must(422);
        answer.says(sentence);
        assert!(!answer.text().contains(digits), "{digits} stands in the page");
    }
    assert_eq!(house.number("select count(*) from code").await, 0);
});

both_databases!(a_tablet_left_alone_is_locked_and_what_was_typed_is_carried_over_the_digits, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to();
    let room = format!("/rooms/{}", house.things.gable);
    let reading = tablet.form(&format!("{room}/readings/new"), &format!("{room}/readings")).await;
    let reading = reading.with_all(&[("temperature", "21.4"), ("humidity", "38")]).with("do", "keep");
    // Whoever types on it tells it so.
    house.clock.advance(3 * MINUTE);
    tablet.get("/tablet/here").await.must(200);
    house.clock.advance(3 * MINUTE);
    tablet.page("/shelf").await;
    house.clock.advance(3 * MINUTE + 31 * SECOND);
    let before = house.number("select count(*) from reading").await;
    let asked = tablet.submit(&reading).await.must(401);
    let form = asked.form("/sign-in").with("name", Actor::ArtistA.name()).with("passphrase", DIGITS);
    let again = tablet.submit(&form).await.must(200);
    again.says("What you typed before is still here.");
    assert_eq!(house.number("select count(*) from reading").await, before);
    tablet.submit(&again.form(&format!("{room}/readings"))).await.goes_to();
    assert_eq!(house.number("select count(*) from reading").await, before + 1);
});

both_databases!(a_browser_of_ones_own_is_not_locked_after_minutes, async |house| {
    let mut own = house.actor(Actor::ArtistA);
    house.clock.advance(10 * MINUTE);
    own.page("/shelf").await;
});

both_databases!(digits_last_a_working_day, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to();
    for _ in 0..12 * 30 - 1 {
        house.clock.advance(2 * MINUTE);
        tablet.get("/tablet/here").await.must(200);
    }
    house.clock.advance(2 * MINUTE);
    assert!(tablet.get("/tablet/here").await.goes_to().starts_with("/sign-in"));
});

both_databases!(export_erasure_roles_and_keys_ask_for_the_passphrase_on_a_shared_tablet, async |house| {
    digits_of(house, Actor::Owner, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::Owner, DIGITS).await.goes_to();
    let ada = &house.things.clearance["ada"];
    house.run(&format!("update client set keeper = null where id = '{ada}'")).await.unwrap();
    let client = format!("/door/clients/{ada}");
    for path in [format!("{client}/file"), format!("{client}/erasure"), "/office/code".to_owned()] {
        let to = tablet.get(&path).await.goes_to();
        assert!(to.starts_with("/sign-in?") && to.ends_with("prove=1"), "{path}: {to}");
        tablet.page(&to).await.says("asks for your passphrase");
    }
    let spare = &house.things.people[SPARE];
    let room = format!("/rooms/{}", house.things.gable);
    let (sensor, new_sensor) =
        (format!("{room}/instruments/{}", house.things.sensor), format!("{room}/instruments/new"));
    let calendar = format!("/book/calendar/{}", house.things.hands.artist);
    // Closing what was opened asks as well.
    let key = format!("/office/tokens/{}", house.things.read_token);
    let session = format!("/office/sessions/{}/end", house.things.second_session);
    let before = house.counts().await;
    let forms = [
        ("/office/tokens", "/office/tokens".to_owned(), vec![("name", "screen")]),
        ("/office/people", "/office/people".to_owned(), vec![("name", "Juna Eide"), ("role", "desk")]),
        (sensor.as_str(), format!("{sensor}/token"), vec![]),
        (new_sensor.as_str(), format!("{room}/instruments"), vec![("name", "By the door"), ("kind", "sensor")]),
        (calendar.as_str(), calendar.clone(), vec![]),
        (calendar.as_str(), format!("{calendar}/revoke"), vec![]),
        (key.as_str(), format!("{key}/revoke"), vec![]),
        ("/office/sessions", session.clone(), vec![]),
        ("person", format!("/office/people/{spare}/role"), vec![("role", "owner")]),
    ];
    let mut asked = None;
    for (page, action, typed) in forms {
        let page = if page == "person" { format!("/office/people/{spare}") } else { page.to_owned() };
        let form = tablet.form(&page, &action).await.with_all(&typed);
        let answer = tablet.submit(&form).await.must(401);
        answer.says("asks for your passphrase");
        asked = Some(answer);
    }
    assert_eq!(house.counts().await, before);
    // With it, what was typed goes on; five minutes later it is asked for again.
    let form = asked.unwrap().form("/sign-in").with("name", Actor::Owner.name());
    // The digits do not stand in for it.
    let digits = tablet.submit(&form.clone().with("passphrase", DIGITS)).await.must(200);
    let asked = tablet.submit(&digits.form(&format!("/office/people/{spare}/role"))).await.must(401);
    let form = asked.form("/sign-in").with("name", Actor::Owner.name());
    let again = tablet.submit(&form.with("passphrase", PHRASE)).await.must(200);
    tablet.submit(&again.form(&format!("/office/people/{spare}/role"))).await.goes_to();
    assert_eq!(house.look(&format!("select role from person where id = '{spare}'")).await, "owner");
    tablet.page(&format!("{client}/file")).await;
    for _ in 0..3 {
        house.clock.advance(2 * MINUTE);
        tablet.get("/tablet/here").await.must(200);
    }
    assert!(tablet.get(&format!("{client}/file")).await.goes_to().ends_with("prove=1"));
    // In a browser of her own the sign-in is proof enough.
    house.owner().page(&format!("{client}/file")).await;
});

both_databases!(a_tablet_taken_out_of_use_opens_nothing_any_more, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to();
    let id = house.look(&format!("select id from tablet where id <> '{OTHER}'")).await;
    let mut owner = house.owner();
    let form = owner.form("/office/tablets", &format!("/office/tablets/{id}/revoke")).await;
    owner.submit(&form).await.goes_to();
    assert!(tablet.get("/shelf").await.goes_to().starts_with("/sign-in"));
    tablet.get(&of(house, Actor::ArtistA)).await.must(404);
    owner.page("/office/tablets").await.says("out of use");
    // As does one whose time is over.
    let mut second = enrolled(house).await;
    lock(&mut second).await;
    house.clock.advance(90 * DAY + HOUR);
    second.get(&of(house, Actor::ArtistA)).await.must(404);
});

both_databases!(who_leaves_or_gets_a_new_passphrase_has_no_digits_any_more, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    digits_of(house, Actor::Desk, "860274").await;
    let mut owner = house.owner();
    let person = format!("/office/people/{}", house.things.people[Actor::ArtistA.name()]);
    let form = owner.form(&person, &format!("{person}/leave")).await;
    owner.submit(&form).await.goes_to();
    assert_eq!(house.number("select count(*) from code").await, 1);
    let desk = format!("/office/people/{}", house.things.people[Actor::Desk.name()]);
    let form = owner.form(&desk, &format!("{desk}/invitation")).await;
    owner.submit(&form).await.goes_to();
    let link = crate::studio::invitation_on(&mut owner, &desk).await;
    crate::studio::take_up(&mut house.stranger(), &link).await;
    assert_eq!(house.number("select count(*) from code").await, 0);
});

both_databases!(another_person_takes_the_tablet_over_without_the_first_ones_sign_in, async |house| {
    digits_of(house, Actor::ArtistA, DIGITS).await;
    digits_of(house, Actor::ArtistB, "860274").await;
    let mut tablet = enrolled(house).await;
    try_digits(&mut tablet, house, Actor::ArtistA, DIGITS).await.goes_to();
    let first = tablet.clone();
    try_digits(&mut tablet, house, Actor::ArtistB, "860274").await.goes_to();
    tablet.page("/shelf").await.says(Actor::ArtistB.name());
    assert!(first.clone().get("/shelf").await.goes_to().starts_with("/sign-in"), "the first one's sign-in is over");
});
