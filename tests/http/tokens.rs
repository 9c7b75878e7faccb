//! Keys for programs: shown for a while, revoked for good.

use stillroom::base::time::{MINUTE, SECOND};
use stillroom::web::studio::Studio;

use crate::book::open_calendar;
use crate::browser::Browser;
use crate::house::{TestHouse, both_databases};
use crate::people::reset;
use crate::studio::{Actor, INVITED, PHRASE, Things, invitation_on, invite, new_token, take_up};
use crate::tablet::{DIGITS, digits_of, enrolled, lock, try_digits};

both_databases!(a_tokens_secret_is_shown_for_ten_minutes_and_then_never, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "clock on the wall");
    let (id, secret) = new_token(&mut owner, &form).await;
    let page = format!("/office/tokens/{id}");
    owner.page(&page).await.says(&format!("It is shown until {}", in_ten_minutes(house).await));
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

    let form = owner.form(&page, &format!("{page}/revoke")).await;
    owner.submit(&form).await.must(303);
    house.stranger().with_token(&secret).get("/api/v1/rooms").await.must(401);
    owner.page(&page).await.says("It opens nothing any more.");
});

both_databases!(a_secret_is_shown_no_more_once_its_reader_says_that_she_has_it, async |house| {
    let mut owner = house.owner();
    let sensor = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let forms = [
        owner.form("/office/tokens", "/office/tokens").await.with("name", "another"),
        owner.form(&sensor, &format!("{sensor}/token")).await,
    ];
    for form in forms {
        let (id, secret) = new_token(&mut owner, &form).await;
        let page = format!("/office/tokens/{id}");
        hidden_by_her_word(&mut owner, &page, &page, &secret).await;
        assert_eq!(house.look(&format!("select salt from token where id = '{id}'")).await, "");
        // The key still does its work.
        let opens = house.stranger().with_token(&secret).get("/api/v1/rooms").await.status;
        assert_ne!(opens, 401, "{}", form.action);
    }

    let artist = &house.things.hands.artist;
    let calendar = format!("/book/calendar/{artist}");
    let feed = open_calendar(&mut owner, artist).await;
    owner.page(&calendar).await.says(&format!("It is shown until {}", in_ten_minutes(house).await));
    hidden_by_her_word(&mut owner, &calendar, &calendar, &feed).await;
    house.stranger().page(&format!("/calendar/{feed}")).await;
    // A new address is shown again.
    let anew = open_calendar(&mut owner, artist).await;
    assert_ne!(anew, feed);

    let link = house.things.invitation.clone();
    let person = format!("/office/people/{}", house.things.people[INVITED]);
    hidden_by_her_word(&mut owner, &person, &format!("{person}/invitation"), &link).await;
    owner.page("/office/people").await.says("invited, not here yet");
    let mut guest = house.stranger();
    take_up(&mut guest, &link).await;
    guest.page("/rooms").await.says(INVITED);
});

both_databases!(a_secret_is_shown_to_whoever_made_it_and_another_owner_reads_who_that_was, async |house| {
    let mut owner = house.owner();
    let link = invite(&mut owner, "Lise Holm", "owner", &mut Things::default()).await;
    let mut other = house.stranger();
    take_up(&mut other, &link).await;

    let artist = &house.things.hands.artist;
    let sensor = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let forms = [
        owner.form("/office/tokens", "/office/tokens").await.with("name", "another"),
        owner.form(&sensor, &format!("{sensor}/token")).await,
    ];
    let mut secrets = Vec::new();
    for form in forms {
        let (id, secret) = new_token(&mut owner, &form).await;
        secrets.push((format!("/office/tokens/{id}"), secret));
    }
    secrets.push((format!("/book/calendar/{artist}"), open_calendar(&mut owner, artist).await));
    let invited = format!("/office/people/{}", house.things.people[INVITED]);
    secrets.push((invited.clone(), house.things.invitation.clone()));
    for (page, secret) in &secrets {
        let hers = owner.page(page).await;
        assert!(hers.text().contains(secret), "{page} does not show it to whoever made it");
        let foreign = other.page(page).await;
        foreign.says(&format!("{} made ", Actor::Owner.name()));
        foreign.says("It is shown to nobody else.");
        assert!(!foreign.text().contains(secret), "{page} shows it to another owner");
        assert!(!foreign.text().contains("I have it"), "{page} lets another owner end it");
    }
    other.page("/office/people").await.says("invited, not here yet");

    // What the other makes is hers in turn.
    let form = other.form(&invited, &format!("{invited}/invitation")).await;
    other.submit(&form).await.must(303);
    let anew = invitation_on(&mut other, &invited).await;
    assert_ne!(anew, house.things.invitation);
    let foreign = owner.page(&invited).await;
    foreign.says("Lise Holm made a link");
    assert!(!foreign.text().contains(&anew));
    // A link printed on the box is on no page.
    let printed = reset(house, INVITED).await;
    for owner in [&mut owner, &mut other] {
        let page = owner.page(&invited).await;
        page.says("it can no longer be shown");
        assert!(!page.text().contains(&printed));
    }
    take_up(&mut house.stranger(), &printed).await;
});

/// Presses the button that ends it: the page had the secret before, and has it no more, also sent twice.
async fn hidden_by_her_word(who: &mut Browser, page: &str, action: &str, secret: &str) {
    let shown = who.page(page).await;
    assert!(shown.text().contains(secret), "{page} does not show it before");
    let form = shown.form(&format!("{action}/hide"));
    for _ in 0..2 {
        who.submit(&form).await.must(303);
        let hidden = who.page(page).await;
        hidden.says("can no longer be shown");
        assert!(!hidden.text().contains(secret), "{page} shows it still");
    }
}

/// "today 10:12", ten minutes from now in the studio's zone.
async fn in_ten_minutes(house: &TestHouse) -> String {
    let now = house.clock.now().0;
    let zone = Studio::load(&mut house.house.store.read().await.unwrap()).await.unwrap().zone;
    zone.date_and_clock(now.plus(10 * MINUTE), now)
}

both_databases!(on_a_shared_tablet_six_digits_show_no_secret, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "clock on the wall");
    let (id, secret) = new_token(&mut owner, &form).await;
    let feed = open_calendar(&mut owner, &house.things.hands.artist).await;
    let secrets = [
        (format!("/office/tokens/{id}"), secret),
        (format!("/book/calendar/{}", house.things.hands.artist), feed),
        (format!("/office/people/{}", house.things.people[INVITED]), house.things.invitation.clone()),
    ];
    digits_of(house, Actor::Owner, DIGITS).await;
    let mut tablet = enrolled(house).await;
    lock(&mut tablet).await;
    try_digits(&mut tablet, house, Actor::Owner, DIGITS).await.goes_to();
    for (page, secret) in &secrets {
        let asks = tablet.page(page).await;
        asks.says("shown once you have typed your passphrase");
        assert!(!asks.text().contains(secret), "{page} shows it");
        let way = format!("/sign-in?next={}&amp;prove=1", page.replace('/', "%2F"));
        assert!(
            asks.text().contains(&way) || asks.text().contains(&way.replace("&amp;", "&#38;")),
            "{page}: no way on"
        );
    }
    let (page, secret) = &secrets[0];
    let way = format!("/sign-in?next={}&prove=1", page.replace('/', "%2F"));
    let form = tablet.form(&way, "/sign-in").await.with("name", Actor::Owner.name()).with("passphrase", PHRASE);
    assert_eq!(tablet.submit(&form).await.goes_to(), *page);
    tablet.page(page).await.says(secret);
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
