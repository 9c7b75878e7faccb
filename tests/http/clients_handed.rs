//! A device in a client's hands: it opens her form and the first-aid card and nothing else, until whoever handed it over takes it back;
//! what she fills in is kept as if it had been filled in beside her.

use stillroom::base::time::MINUTE;

use crate::browser::Browser;
use crate::doors::{Row, rows};
use crate::house::{TestHouse, both_databases};
use crate::matrix::knock;
use crate::studio::{Actor, PHRASE};

/// Hands a fresh sign-in of artist A over for this form of Ada's.
async fn hand_over(house: &TestHouse, form: &str) -> Browser {
    let mut device = house.stranger();
    device.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    let ada = &house.things.client;
    let page = format!("/door/clients/{ada}/hand-over/{form}");
    let begin = device.form(&page, &format!("/handed-over/begin/{ada}/{form}")).await;
    let answer = device.submit(&begin).await;
    assert_eq!(answer.header("clear-site-data"), "\"cache\"");
    assert_eq!(answer.goes_to(), "/handed-over");
    device
}

/// The doors that stay open, besides files and icons.
fn stays_open(row: &Row) -> bool {
    row.path.starts_with("/handed-over") || row.expects(9) == 'o'
}

both_databases!(every_door_but_the_form_answers_403_and_writes_nothing, async |house| {
    let mut device = hand_over(house, "consultation").await;
    let before = house.counts().await;
    let mut closed = 0;
    for row in rows().iter().filter(|row| !stays_open(row)) {
        let answer = knock(&mut device.clone(), row, &house.things).await;
        assert_eq!(answer.status, 403, "{} {}", row.method, row.path);
        assert_eq!(answer.header("cache-control"), "no-store", "{}", row.path);
        if answer.is_page() {
            // Of the studio, its people and her own name nothing is said.
            for word in ["Ines Okafor", "Ada", "Lovell", "Sign out", "/office"] {
                assert!(!answer.text().contains(word), "{} shows “{word}”", row.path);
            }
        }
        closed += 1;
    }
    assert!(closed > 150, "only {closed} doors were tried");
    assert_eq!(house.counts().await, before);
    // Nor does what is no door, another spelling of one, or one behind the form's own beginning.
    for path in
        ["/nowhere", "/handed-overs", "//office", "/handed-over/../office", "/handed-over/%2e%2e/office", "/first-aid/"]
    {
        let answer = device.get(path).await;
        assert!(matches!(answer.status, 403 | 404), "{path}: {}", answer.status);
        assert!(!answer.text().contains("/office/people"));
    }
    for path in ["/first-aid", "/favicon.png", "/healthz"] {
        device.get(path).await.must(200);
    }
    device.page("/first-aid").await.says("Back to the form");
    // A live page of that session is told that it is over, and none begins.
    assert_eq!(device.get("/live?topics=air").await.status, 403);
});

both_databases!(only_the_passphrase_of_whoever_handed_it_over_takes_it_back_and_guessing_waits, async |house| {
    let mut device = hand_over(house, "consultation").await;
    let leave = "/handed-over/leave";
    let form = device.form(leave, leave).await;
    // Another's passphrase is the same words here; what is wrong must be wrong for hers.
    for _ in 0..3 {
        let answer = device.submit(&form.clone().with("passphrase", "not this one at all")).await;
        assert!(matches!(answer.status, 422 | 429), "{}", answer.status);
        device.get("/door").await.must(403);
    }
    let mut waits = false;
    for _ in 0..8 {
        let answer = device.submit(&form.clone().with("passphrase", "another wrong guess")).await;
        waits |= answer.status == 429 && !answer.header("retry-after").is_empty();
    }
    assert!(waits, "any number of guesses");
    // Also the right one waits then.
    assert_eq!(device.submit(&form.clone().with("passphrase", PHRASE)).await.status, 429);
    house.clock.advance(6 * MINUTE);
    let ada = format!("/door/clients/{}", house.things.client);
    assert_eq!(device.submit(&form.clone().with("passphrase", PHRASE)).await.goes_to(), ada);
    device.get("/door").await.must(200);
    // What was open in her hands leads nowhere now.
    device.get("/handed-over/1").await.must(404);
    assert_eq!(device.get(leave).await.goes_to(), "/");
});

/// Goes through the questions, the answers of the furnished studio given.
async fn answer_all(house: &TestHouse, device: &mut Browser) -> String {
    let mut at = device.get("/handed-over").await.goes_to();
    let mut pages = 0;
    loop {
        let page = device.page(&at).await;
        page.says(&format!("{} of ", pages + 1));
        let form = page.form(&at);
        let Some((name, value)) = house
            .things
            .answers
            .iter()
            .find(|(name, _)| form.names.iter().any(|n| n == name) && name.starts_with("q_"))
        else {
            return at;
        };
        at = device.submit(&form.with(name, value)).await.goes_to();
        pages += 1;
    }
}

both_databases!(she_answers_one_question_at_a_time_and_it_is_her_consultation, async |house| {
    let before = house.number("select count(*) from consultation").await;
    let mut device = hand_over(house, "consultation").await;
    // A question that is passed over is named, and nothing goes on.
    let first = device.page("/handed-over/1").await.form("/handed-over/1");
    device.submit(&first).await.must(422).says("Choose one of these.");
    let review = answer_all(house, &mut device).await;
    let page = device.page(&review).await;
    page.says("Look over what you answered");
    page.says("Drops called Gentle Fen");
    for word in ["Ines", "Ada", "Lovell"] {
        assert!(!page.words().contains(word), "her page shows “{word}”");
    }
    assert_eq!(house.number("select count(*) from consultation").await, before, "nothing counts before the end");
    let give = page.form(&review);
    assert_eq!(device.submit(&give).await.goes_to(), "/handed-over");
    assert_eq!(device.submit(&give).await.goes_to(), "/handed-over", "a double click");
    device.page("/handed-over").await.says("Please give the device back.");
    assert_eq!(house.number("select count(*) from consultation").await, before + 1);
    assert_eq!(house.look("select given_by from consultation order by at desc, id desc limit 1").await, "client");
    assert_eq!(house.number("select count(*) from handed_form where state = 'given' and length(draft) > 0").await, 0);
    // Her answers are closed to her device from now on.
    assert_eq!(device.get("/handed-over/1").await.goes_to(), "/handed-over");
    device.get(&format!("/door/clients/{}", house.things.client)).await.must(403);
});

both_databases!(she_reads_and_signs_and_it_is_the_same_consent, async |house| {
    let mut device = hand_over(house, "patch_test").await;
    let next = async |device: &mut Browser, at: &str, fields: &[(&str, &str)]| {
        let form = device.page(at).await.form(at).with_all(fields);
        device.submit(&form).await
    };
    assert_eq!(next(&mut device, "/handed-over/1", &[]).await.goes_to(), "/handed-over/2");
    // Signing before the page before it was filled in leads back to it.
    let signed = [("strokes", crate::clients::DRAWN)];
    assert_eq!(next(&mut device, "/handed-over/3", &signed).await.goes_to(), "/handed-over/2");
    next(&mut device, "/handed-over/2", &[]).await.must(422);
    assert_eq!(next(&mut device, "/handed-over/2", &[("agree", "yes")]).await.goes_to(), "/handed-over/3");
    next(&mut device, "/handed-over/3", &[]).await.must(422).says("type the name instead");
    assert_eq!(next(&mut device, "/handed-over/3", &signed).await.goes_to(), "/handed-over");
    let ada = format!("/door/clients/{}", house.things.client);
    let mut a = house.actor(Actor::ArtistA);
    let id = house.look("select id from consent where purpose = 'patch_test'").await;
    let read = a.page(&format!("{ada}/consents/{id}")).await;
    read.says("Ada Lovell");
    read.says("Ines Okafor");
    let mut db = house.house.store.read().await.unwrap();
    let broken = stillroom::clients::consents::verify(&mut db, house.house.store.keys()).await.unwrap();
    assert!(broken.is_empty(), "{broken:?}");
});

both_databases!(who_would_rather_be_asked_ends_the_form_and_nothing_is_kept, async |house| {
    let before = house.number("select count(*) from consultation").await;
    let mut device = hand_over(house, "consultation").await;
    let rather = device.page("/handed-over/1").await.form("/handed-over/in-person");
    assert_eq!(device.submit(&rather).await.goes_to(), "/handed-over");
    device.page("/handed-over").await.says("asks you in person");
    assert_eq!(house.number("select count(*) from consultation").await, before);
});

both_databases!(a_wording_changed_meanwhile_is_not_signed_unread, async |house| {
    let mut a = house.actor(Actor::ArtistA);
    let path = format!("/door/clients/{}/sign/patch_test", house.things.client);
    let read = a.form(&path, &path).await;
    let mut device = hand_over(house, "patch_test").await;
    let mut owner = house.owner();
    let text = "/door/consents/patch_test";
    let form = owner.form(text, text).await.with("body", "Another wording, which nobody has read so far.");
    owner.submit(&form).await.must(303);
    let signed = read.with_all(&[("strokes", crate::clients::DRAWN), ("agree", "yes")]);
    a.submit(&signed).await.must(409).says("changed this wording while it was being read");
    device.get("/handed-over/1").await.must(409);
    device.page("/handed-over").await.says("This form cannot go on.");
    assert_eq!(house.number("select count(*) from consent where purpose = 'patch_test'").await, 0);
});
