//! What a device keeps while the network is away: entries sealed to the house, opened again for whoever made them and nobody else; the
//! page and the worker it keeps; and how it hears that a sign-in was revoked.

use aes_gcm::aead::{Aead, KeyInit, Payload};
use aes_gcm::{Aes256Gcm, Nonce};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use p256::elliptic_curve::sec1::ToSec1Point as _;
use p256::{PublicKey, SecretKey};
use sha2::Sha256;
use stillroom::base::time::{DAY, HOUR};

use crate::browser::{Answer, Browser};
use crate::doors::{Row, form, fresh_key, get, post};
use crate::house::{TestHouse, both_databases};
use crate::html;
use crate::studio::{Actor, PHRASE, session_of};

pub(crate) fn rows() -> Vec<Row> {
    vec![
        get("/offline", "ooooooooo"),
        post("/outbox/open", |_| form(&[("kind", "entry"), ("at", "1"), ("sealed", "no such thing")]), "ssmmmmmss"),
    ]
}

/// An attribute of a page, wherever it stands on it.
pub(crate) fn attribute(page: &Answer, name: &str) -> Option<String> {
    html::tags(&page.text()).iter().find_map(|tag| tag.get(name).map(str::to_owned))
}

/// What the page of somebody signed in tells her device: her mark, and the key to seal to with its id.
async fn told(browser: &mut Browser) -> (String, String, Vec<u8>) {
    let page = browser.page("/first-aid").await;
    let point = URL_SAFE_NO_PAD.decode(attribute(&page, "data-outbox-point").unwrap()).unwrap();
    (attribute(&page, "data-outbox-line").unwrap(), attribute(&page, "data-outbox-key").unwrap(), point)
}

/// Fields of an entry, as a device sends them to be opened.
pub(crate) type Fields = Vec<(&'static str, String)>;

/// A reading that was sealed.
fn sealed(house: (&str, &[u8]), key: &str, at: &str, plain: &str) -> Fields {
    sealed_as(house, (key, "room reading", at), plain)
}

/// Seals as the device's script does; beside the seal stand key, kind and time.
pub(crate) fn sealed_as((id, point): (&str, &[u8]), (key, kind, at): (&str, &str, &str), plain: &str) -> Fields {
    let own = SecretKey::from_slice(&[7; 32]).unwrap();
    let own_point = own.public_key().to_sec1_point(false).as_bytes().to_vec();
    let shared = own.diffie_hellman(&PublicKey::from_sec1_bytes(point).unwrap());
    let mut cipher = [0_u8; 32];
    shared
        .extract::<Sha256>(Some(&own_point))
        .expand(format!("stillroom outbox 1 {id}").as_bytes(), &mut cipher)
        .unwrap();
    let beside = format!("{key}\n{kind}\n{at}");
    let payload = Payload { msg: plain.as_bytes(), aad: beside.as_bytes() };
    let bytes = Aes256Gcm::new(&cipher.into()).encrypt(&Nonce::from([9_u8; 12]), payload).unwrap();
    vec![
        ("form_key", key.to_owned()),
        ("kind", kind.to_owned()),
        ("at", at.to_owned()),
        ("key_id", id.to_owned()),
        ("point", URL_SAFE_NO_PAD.encode(own_point)),
        ("iv", URL_SAFE_NO_PAD.encode([9_u8; 12])),
        ("sealed", URL_SAFE_NO_PAD.encode(bytes)),
    ]
}

async fn open(browser: &mut Browser, fields: &Fields) -> Answer {
    let csrf = browser.csrf().await;
    let mut pairs = vec![("csrf", csrf.as_str())];
    pairs.extend(fields.iter().map(|(name, value)| (*name, value.as_str())));
    browser.post("/outbox/open", &pairs).await
}

/// An artist's reading of the air that waits on her device.
async fn waiting(house: &TestHouse, browser: &mut Browser, key: &str) -> Fields {
    let (person, id, point) = told(browser).await;
    let plain = serde_json::json!({
        "person": person, "key": key, "page": "/rooms", "action": format!("/rooms/{}/readings", house.things.gable),
        "values": [["temperature", "21.5"], ["humidity", "38"], ["do", "keep"]],
        "shown": [["Temperature", "21.5"], ["Humidity", "38"]],
    });
    sealed((&id, &point), key, "1771405920000", &plain.to_string())
}

both_databases!(what_a_device_sealed_is_given_back_to_whoever_made_it_and_counts_once, async |house| {
    let mut ines = house.actor(Actor::ArtistA);
    let key = fresh_key();
    let fields = waiting(house, &mut ines, &key).await;
    let before = house.counts().await;
    for _ in 0..2 {
        // Opened as often as one likes: nothing is written by it.
        let opened = open(&mut ines, &fields).await.must(200);
        assert_eq!(opened.header("cache-control"), "no-store");
        assert_eq!(house.counts().await, before);
        let opened = opened.json();
        assert_eq!(opened["values"][1], serde_json::json!(["humidity", "38"]));
        assert_eq!(opened["shown"][1], serde_json::json!(["Humidity", "38"]), "and as she read it");
    }
    for _ in 0..3 {
        let opened = open(&mut ines, &fields).await.must(200).json();
        let csrf = ines.csrf().await;
        let mut pairs = vec![("csrf", csrf.as_str()), ("form_key", opened["key"].as_str().unwrap())];
        let values = opened["values"].as_array().unwrap();
        pairs.extend(values.iter().map(|pair| (pair[0].as_str().unwrap(), pair[1].as_str().unwrap())));
        ines.post(opened["action"].as_str().unwrap(), &pairs).await.must(303);
    }
    assert_eq!(
        house.number("select count(*) from reading").await,
        before["reading"] + 1,
        "sent three times, kept once"
    );
});

both_databases!(another_person_nobody_and_a_sign_in_that_ended_open_nothing, async |house| {
    let mut ines = house.actor(Actor::ArtistA);
    let fields = waiting(house, &mut ines, &fresh_key()).await;
    for actor in [Actor::ArtistB, Actor::Desk, Actor::Owner, Actor::Accountant] {
        let answer = open(&mut house.actor(actor), &fields).await.must(403);
        answer.says("Somebody else made this entry");
        assert!(!answer.text().contains("humidity"), "{actor:?} reads what was typed");
    }
    for actor in [Actor::Anonymous, Actor::Expired] {
        assert_eq!(open(&mut house.actor(actor), &fields).await.status, 401, "{actor:?}");
    }
    // Nor from a page elsewhere, or without the session's token.
    let foreign = open(&mut house.actor(Actor::ArtistA).with_header("sec-fetch-site", "cross-site"), &fields).await;
    assert_eq!(foreign.status, 403);
    let pairs: Vec<_> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    ines.post("/outbox/open", &pairs).await.must(403);
    // The mark in the clear on the device opens nothing: the one that counts is sealed.
    house.clock.advance(2 * DAY);
    let mut again = house.stranger();
    again.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    open(&mut again, &fields).await.must(200);
});

both_databases!(what_was_changed_or_is_no_entry_is_refused_in_words, async |house| {
    let mut ines = house.actor(Actor::ArtistA);
    let key = fresh_key();
    let fields = waiting(house, &mut ines, &key).await;
    let changed = |name: &str, value: &str| -> Fields {
        let changed =
            |(own, held): &(&'static str, String)| (*own, if *own == name { value.to_owned() } else { held.clone() });
        fields.iter().map(changed).collect()
    };
    let flipped = |name: &str| {
        let held = &fields.iter().find(|(own, _)| *own == name).unwrap().1;
        let mut bytes = URL_SAFE_NO_PAD.decode(held).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        changed(name, &URL_SAFE_NO_PAD.encode(bytes))
    };
    for entry in [
        changed("at", "1771405920001"),
        changed("kind", "another kind"),
        changed("form_key", &fresh_key()),
        flipped("sealed"),
        flipped("iv"),
        flipped("point"),
        changed("sealed", "not base64url!"),
        changed("point", ""),
        changed("iv", "AAAA"),
        Vec::from([("form_key", fresh_key())]),
    ] {
        open(&mut ines, &entry).await.must(422).says("no entry that a device sealed to this house");
    }
    open(&mut ines, &changed("key_id", "0badcafe"))
        .await
        .must(422)
        .says("sealed to key 0badcafe, which this house does not hold");
    // Sealed well, and yet nothing of ours.
    let (_, id, point) = told(&mut ines).await;
    for plain in ["", "null", "{}", "[1,2]", r#"{"person":1}"#] {
        open(&mut ines, &sealed((&id, &point), &key, "1", plain)).await.must(422);
    }
});

both_databases!(a_house_that_begins_a_new_key_still_opens_what_waits_for_the_old_one, async |house| {
    let mut ines = house.actor(Actor::ArtistA);
    let fields = waiting(house, &mut ines, &fresh_key()).await;
    let (_, before, _) = told(&mut ines).await;
    let keys = house.house.store.keys().folder().to_owned();
    std::fs::rename(keys.join("outbox.key"), keys.join("outbox-2026.key")).unwrap();
    // Made when the house serves again; opened beside it here, so that it is made by hand.
    stillroom::store::keys::Keys::open(&keys).unwrap();
    let house = house.restarted().await;
    let mut ines = house.actor(Actor::ArtistA);
    assert_ne!(told(&mut ines).await.1, before);
    open(&mut ines, &fields).await.must(200);
});

both_databases!(the_page_for_no_network_and_the_first_aid_card_name_nobody, async |house| {
    let mut pages = Vec::new();
    for actor in [Actor::Anonymous, Actor::ArtistA, Actor::Owner, Actor::Expired] {
        let page = house.actor(actor).page("/offline").await;
        page.says("Nothing waits on this device.");
        for word in ["Ines", "Runa", "csrf", "Sign out", "data-outbox-line"] {
            assert!(!page.text().contains(word), "{actor:?}: “{word}” stands on it");
        }
        pages.push(page.text());
    }
    pages.dedup();
    assert_eq!(pages.len(), 1, "the same for everybody");
    let card = house.stranger().page("/first-aid").await.text();
    assert!(
        !card.contains("csrf") && !card.contains("data-outbox-line"),
        "a card asked for without cookies is nobody's"
    );
});

both_databases!(the_worker_stands_where_it_sees_the_whole_house, async |house| {
    let answer = house.stranger().get("/worker.js").await.must(200);
    assert_eq!(answer.header("content-type"), "text/javascript; charset=utf-8");
    assert_eq!(
        (answer.header("service-worker-allowed"), answer.header("cache-control")),
        ("/".into(), "no-cache".into())
    );
    assert!(answer.header("content-security-policy").contains("worker-src 'self'"));
    let below = house.configured(|config| config.base_path = "/studio".to_owned());
    let answer = below.stranger().get("/studio/worker.js").await.must(200);
    assert_eq!(answer.header("service-worker-allowed"), "/studio");
    let manifest = below.stranger().get("/studio/manifest.webmanifest").await.must(200).json();
    assert_eq!((&manifest["start_url"], &manifest["scope"]), (&"/studio".into(), &"/studio".into()));
    let manifest = house.stranger().get("/manifest.webmanifest").await.must(200).json();
    assert_eq!((&manifest["start_url"], &manifest["display"]), (&"./".into(), &"standalone".into()));
});

// ---- a sign-in that was revoked --------------------------------------------------------------------------------------

/// The mark on the page that a browser without a sign-in meets, if there is one.
async fn revoked(browser: &mut Browser) -> Option<String> {
    attribute(&browser.page("/sign-in").await, "data-outbox-revoked")
}

async fn signed_in(house: &TestHouse, actor: Actor) -> Browser {
    let mut browser = house.stranger();
    browser.sign_in(actor.name(), PHRASE).await.must(303);
    browser
}

both_databases!(a_browser_whose_sign_in_was_ended_by_somebody_is_told_until_somebody_signs_in_there, async |house| {
    let mut ines = signed_in(house, Actor::ArtistA).await;
    let (mark, ..) = told(&mut ines).await;
    let session = session_of(house, &ines.jar).await;
    let mut owner = house.owner();
    let csrf = owner.csrf().await;
    let path = format!("/office/sessions/{session}/end");
    owner.post(&path, &[("csrf", &csrf), ("form_key", &fresh_key())]).await.must(303);
    assert_eq!(revoked(&mut ines).await.as_deref(), Some(mark.as_str()));
    assert_eq!(revoked(&mut ines).await.as_deref(), Some(mark.as_str()), "until the device has heard it");
    assert_eq!(revoked(&mut house.stranger()).await, None);
    ines.sign_in(Actor::Desk.name(), PHRASE).await.must(303);
    let page = ines.page("/first-aid").await;
    assert_eq!(attribute(&page, "data-outbox-revoked"), None);
});

both_databases!(a_new_passphrase_revokes_and_leaving_or_growing_old_does_not, async |house| {
    // Signed out by herself.
    let mut left = signed_in(house, Actor::ArtistA).await;
    let (old, csrf) = (left.jar.clone(), left.csrf().await);
    left.post("/sign-out", &[("csrf", &csrf)]).await.must(303);
    left.jar = old;
    assert_eq!(revoked(&mut left).await, None, "also where the answer never reached the device");
    // Grown old.
    let mut idle = signed_in(house, Actor::ArtistA).await;
    house.clock.advance(40 * DAY);
    assert_eq!(revoked(&mut idle).await, None);
    // Her passphrase was set anew on the machine.
    let mut before = signed_in(house, Actor::ArtistA).await;
    let (mark, ..) = told(&mut before).await;
    house.clock.advance(HOUR);
    let person = house.things.people[Actor::ArtistA.name()].parse().unwrap();
    house
        .write(move |tx| {
            Box::pin(async move {
                stillroom::web::session::end_all_of(tx, person).await?;
                Ok(stillroom::store::Kept::see(""))
            })
        })
        .await
        .unwrap();
    assert_eq!(revoked(&mut before).await, Some(mark));
});
