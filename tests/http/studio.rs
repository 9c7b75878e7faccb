//! The furnished studio that tests begin with: invented people, rooms, instruments and tokens, made through the pages.

use std::collections::BTreeMap;

use stillroom::base::time::HOUR;
use stillroom::people;
use stillroom::store::keys::digest_of_secret;

use crate::browser::{Browser, Jar};
use crate::house::TestHouse;
use crate::html;

/// Who stands before a door.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Actor {
    /// Nobody yet.
    Anonymous,
    /// Artist A with a sign-in that lay idle too long.
    Expired,
    ArtistA,
    ArtistB,
    Desk,
    Accountant,
    Owner,
    /// The sensor of Gable.
    Sensor,
    /// A program with a read token.
    Reader,
    /// A client at a device that artist A handed to her.
    HandedOver,
}

impl Actor {
    pub(crate) const ALL: [Self; 10] = [
        Self::Anonymous,
        Self::Expired,
        Self::ArtistA,
        Self::ArtistB,
        Self::Desk,
        Self::Accountant,
        Self::Owner,
        Self::Sensor,
        Self::Reader,
        Self::HandedOver,
    ];

    /// Those who sign in, with name and role.
    pub(crate) const PEOPLE: [(Self, &'static str, &'static str); 5] = [
        (Self::Owner, "Runa Marsh", "owner"),
        (Self::ArtistA, "Ines Okafor", "artist"),
        (Self::ArtistB, "Tilde Brandt", "artist"),
        (Self::Desk, "Sanna Reve", "desk"),
        (Self::Accountant, "Pim Ostrow", "accountant"),
    ];

    /// The name she signs in with.
    pub(crate) fn name(self) -> &'static str {
        let who = if matches!(self, Self::Expired | Self::HandedOver) { Self::ArtistA } else { self };
        Self::PEOPLE.iter().find(|(actor, ..)| *actor == who).map(|(_, name, _)| *name).unwrap()
    }
}

/// Everybody's passphrase.
pub(crate) const PHRASE: &str = "copper lantern walks sideways";

/// A colleague who is no actor, to be changed and let go.
pub(crate) const SPARE: &str = "Oona Pell";
/// Somebody invited who has not come yet.
pub(crate) const INVITED: &str = "Marlo Vance";

/// What the furnished studio holds: ids, secrets, cookies.
#[derive(Debug, Default)]
pub(crate) struct Things {
    pub(crate) jars: BTreeMap<Actor, Jar>,
    /// The claim link's token; used up.
    pub(crate) claim: String,
    pub(crate) people: BTreeMap<String, String>,
    /// The open invitation, as a path.
    pub(crate) invitation: String,
    /// A second sign-in of artist A.
    pub(crate) second_session: String,
    pub(crate) gable: String,
    pub(crate) lantern: String,
    pub(crate) cellar: String,
    pub(crate) sensor: String,
    pub(crate) lantern_sensor: String,
    pub(crate) by_hand: String,
    pub(crate) device: String,
    pub(crate) check: String,
    pub(crate) import: String,
    pub(crate) product: String,
    pub(crate) bottle: String,
    pub(crate) bench_test: String,
    pub(crate) class: String,
    /// Of clearance: ids by the name they have in addresses.
    pub(crate) clearance: BTreeMap<&'static str, String>,
    /// Ines, timed in this style; and an artist nobody has timed in hers.
    pub(crate) timed_artist: String,
    pub(crate) timed_style: String,
    pub(crate) untimed_artist: String,
    /// An advice that Ines took long ago.
    pub(crate) advice: String,
    pub(crate) sensor_secret: String,
    pub(crate) lantern_secret: String,
    pub(crate) read_secret: String,
    pub(crate) sensor_token: String,
    pub(crate) read_token: String,
    /// Ada Lovell, kept by artist A, and a second record of hers.
    pub(crate) client: String,
    pub(crate) twin: String,
    /// Kept by artist A: one who is erased by a row, one who was erased already.
    pub(crate) leaving: String,
    pub(crate) erased: String,
    pub(crate) consultation: String,
    pub(crate) consent: String,
    /// Of the client who is leaving.
    pub(crate) photo: String,
    /// The consultation filled in, field by field.
    pub(crate) answers: Vec<(&'static str, String)>,
    /// Names Ada's record as its page shows it.
    pub(crate) shown: String,
    /// What stands on the house's own texts and rules, by the address of their form.
    pub(crate) stood: BTreeMap<&'static str, String>,
    pub(crate) client_file: String,
    pub(crate) second_file: String,
    pub(crate) hands: crate::hands::HandThings,
    pub(crate) book: crate::book::BookThings,
    pub(crate) cards: crate::cards::CardThings,
}

/// Three good rows of a logger, and one that is not.
pub(crate) const LOGGER_FILE: &str = "time,temperature °C,humidity %\n\
    2026-02-17 09:00,20.5,41.0\n2026-02-17 09:10,20.6,41.5\n2026-02-17 09:20,warm,42.0\n2026-02-17 09:30,20.8,42.5\n";

/// Furnishes an empty house. Its clock stands where it stood before.
pub(crate) async fn furnish(house: &TestHouse) -> Things {
    let mut things = Things::default();
    house.clock.advance(-2 * HOUR);
    let mut owner = claim(house, &mut things).await;
    let others =
        Actor::PEOPLE.iter().filter(|(actor, ..)| *actor != Actor::Owner).map(|(_, name, role)| (*name, *role));
    for (name, role) in others.chain([(SPARE, "artist")]) {
        let link = invite(&mut owner, name, role, &mut things).await;
        take_up(&mut house.stranger(), &link).await;
    }
    let mut expired = house.stranger();
    expired.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    things.jars.insert(Actor::Expired, expired.jar);
    house.clock.advance(2 * HOUR);
    for (actor, name, _) in Actor::PEOPLE {
        let mut browser = house.stranger();
        browser.sign_in(name, PHRASE).await.must(303);
        things.jars.insert(actor, browser.jar);
    }
    let mut second = house.stranger();
    second.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    things.second_session = session_of(house, &second.jar).await;

    let mut owner = Browser::new(&house.app, "", things.jars[&Actor::Owner].clone());
    things.invitation = invite(&mut owner, INVITED, "artist", &mut things).await;
    rooms(house, &mut owner, &mut things).await;
    crate::clients::furnish(house, &mut things).await;
    crate::hands::furnish(house, &mut owner, &mut things).await;
    crate::shelf::furnish(house, &mut owner, &mut things).await;
    crate::advice::furnish(house, &mut things).await;
    crate::clearance::furnish(house, &mut owner, &mut things).await;
    crate::book::furnish(house, &mut owner, &mut things).await;
    crate::cards::furnish(house, &mut owner, &mut things).await;
    crate::tablet::furnish(house, &things).await;
    for path in crate::stood::TEXTS.map(|(path, ..)| path).into_iter().chain(["/door/questions/hay_fever"]) {
        let mark = owner.form(path, path).await.value("stood").to_owned();
        things.stood.insert(path, mark);
    }
    things
}

/// The id of the session whose cookie is in this jar.
pub(crate) async fn session_of(house: &TestHouse, jar: &Jar) -> String {
    let secret = &jar[house.house.config.cookie_name()];
    house.look(&format!("select id from session where token = '{}'", digest_of_secret(secret))).await
}

async fn claim(house: &TestHouse, things: &mut Things) -> Browser {
    things.claim = people::claim_token(house.house.store.keys());
    let mut owner = house.stranger();
    let path = format!("/claim/{}", things.claim);
    let form = owner.form(&path, &path).await.with_all(&[
        ("studio", "Marram House"),
        ("name", Actor::Owner.name()),
        ("zone", "Europe/Copenhagen"),
        ("passphrase", PHRASE),
        ("again", PHRASE),
    ]);
    assert_eq!(owner.submit(&form).await.goes_to(), "/");
    let id = house.look("select person from claim").await;
    things.people.insert(Actor::Owner.name().to_owned(), id);
    owner
}

/// Invites somebody; gives the link's path.
pub(crate) async fn invite(owner: &mut Browser, name: &str, role: &str, things: &mut Things) -> String {
    let form = owner.form("/office/people", "/office/people").await.with("name", name).with("role", role);
    let page = owner.submit(&form).await.goes_to();
    things.people.insert(name.to_owned(), page.rsplit('/').next().unwrap().to_owned());
    invitation_on(owner, &page).await
}

/// The path of the link that a person's page shows.
pub(crate) async fn invitation_on(owner: &mut Browser, page: &str) -> String {
    let link = html::inside(&owner.page(page).await.text(), "data-invitation").unwrap();
    link[link.find("/invited/").unwrap()..].to_owned()
}

/// Takes an invitation up with everybody's passphrase.
pub(crate) async fn take_up(browser: &mut Browser, link: &str) {
    let form = browser.form(link, link).await.with("passphrase", PHRASE).with("again", PHRASE);
    assert_eq!(browser.submit(&form).await.goes_to(), "/");
}

async fn rooms(house: &TestHouse, owner: &mut Browser, things: &mut Things) {
    things.gable = add_room(owner, "Gable").await;
    things.lantern = add_room(owner, "Lantern").await;
    things.cellar = add_room(owner, "Cellar").await;
    (things.sensor, things.sensor_token, things.sensor_secret) =
        add_sensor(house, owner, &things.gable, "Bed sensor").await;
    (things.lantern_sensor, _, things.lantern_secret) = add_sensor(house, owner, &things.lantern, "Wall sensor").await;
    let form = owner.form("/office/tokens", "/office/tokens").await.with("name", "screen in the corridor");
    (things.read_token, things.read_secret) = new_token(owner, &form).await;
    let gable = &things.gable;
    things.by_hand = house.look(&format!("select id from instrument where room = '{gable}' and kind = 'hand'")).await;

    let action = format!("/rooms/{gable}/devices");
    let form = owner.form(&format!("/rooms/{gable}/edit"), &action).await;
    let form = form.with_all(&[("kind", "humidifier"), ("name", "white tower"), ("grams_per_hour", "300")]);
    owner.submit(&form).await.must(303);
    things.device = house.look("select id from device").await;

    let page = format!("/rooms/{gable}/instruments/{}", things.sensor);
    let form = owner.form(&page, &format!("{page}/checks")).await;
    let form = form.with_all(&[("against", "sodium_chloride"), ("shown", "73.9"), ("chamber", "21")]);
    owner.submit(&form).await.must(303);
    things.check = house.look("select id from instrument_check").await;

    let form = owner.form(&format!("/rooms/{gable}/imports/new"), &format!("/rooms/{gable}/imports")).await;
    let form = form.with("instrument", "new");
    let page = owner.submit_file(&form, "attic.csv", LOGGER_FILE.as_bytes()).await.goes_to();
    things.import = page.rsplit('/').next().unwrap().to_owned();
}

/// Adds a room of 32 m³; gives its id.
pub(crate) async fn add_room(owner: &mut Browser, name: &str) -> String {
    let form = owner.form("/rooms/new", "/rooms").await;
    let form = form.with_all(&[("name", name), ("volume_m3", "32"), ("coldest_surface", "skylight")]);
    owner.submit(&form).await.goes_to().rsplit('/').next().unwrap().to_owned()
}

/// Adds a sensor; gives its id, its token's id and its secret.
pub(crate) async fn add_sensor(
    house: &TestHouse,
    owner: &mut Browser,
    room: &str,
    name: &str,
) -> (String, String, String) {
    let form = owner.form(&format!("/rooms/{room}/instruments/new"), &format!("/rooms/{room}/instruments")).await;
    let (token, secret) = new_token(owner, &form.with("kind", "sensor").with("name", name)).await;
    (house.look(&format!("select instrument from token where id = '{token}'")).await, token, secret)
}

/// Sends a form that makes a token; gives its id and secret.
pub(crate) async fn new_token(owner: &mut Browser, form: &html::FormOnPage) -> (String, String) {
    let page = owner.submit(form).await.goes_to();
    let secret = html::inside(&owner.page(&page).await.text(), "data-token").unwrap();
    (page.rsplit('/').next().unwrap().to_owned(), secret)
}
