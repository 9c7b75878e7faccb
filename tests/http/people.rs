//! People: the claim, invitations, passphrases, roles, leaving, links made on the box, the first-aid card.

use std::collections::BTreeSet;

use stillroom::base::time::{DAY, MINUTE, SECOND};
use stillroom::people;
use stillroom::store::Kept;

use crate::browser::Browser;
use crate::doors::fresh_key;
use crate::house::{TestHouse, both_databases};
use crate::html::FormOnPage;
use crate::studio::{Actor, INVITED, PHRASE, SPARE, Things, invitation_on, invite, take_up};

/// A claim as filled in by one of many, not sent yet.
async fn claim(browser: &mut Browser, path: &str, name: &str) -> FormOnPage {
    browser.form(path, path).await.with_all(&[
        ("studio", "Marram House"),
        ("name", name),
        ("zone", "Europe/Copenhagen"),
        ("passphrase", PHRASE),
        ("again", PHRASE),
    ])
}

both_databases!(fifty_claims_at_once_make_exactly_one_owner, unclaimed, async |house| {
    let path = format!("/claim/{}", people::claim_token(house.house.store.keys()));
    // Everybody has the page open before the first one sends it.
    let mut open = Vec::new();
    for n in 0..50 {
        let mut browser = house.stranger();
        let form = claim(&mut browser, &path, &format!("Claimant {n}")).await;
        open.push((browser, form));
    }
    let claims: Vec<_> = open
        .into_iter()
        .map(|(mut browser, form)| tokio::spawn(async move { (browser.submit(&form).await, browser) }))
        .collect();
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
    let form = claim(&mut browser, &path, "Runa Marsh").await;
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
pub(crate) async fn reset(house: &TestHouse, name: &'static str) -> String {
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

both_databases!(the_wall_print_has_numbers_on_top_five_blocks_and_its_sources, async |house| {
    let card = house.stranger().page("/first-aid").await;
    let words = card.words();
    let place = |what: &str| words.find(what).unwrap_or_else(|| panic!("“{what}” is not on the card:\n{words}"));
    // In the order of the sheet: whom to call, then the blocks, then what comes after.
    let order = [
        "from any phone",
        "Breathing trouble, or swelling that comes fast",
        "Adhesive in an open eye",
        "Lids stuck together",
        "Remover in the eye",
        "Adhesive on skin",
        "Afterwards",
        "Data sheets",
    ];
    let places: Vec<_> = order.iter().map(|what| place(what)).collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(card.text().matches("<section>").count(), 5, "blocks");
    card.says("fill in before the first client");
    card.says("not checked by anyone here yet");
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
