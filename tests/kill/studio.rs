//! A studio to work in: claimed, with a room, and one instrument for each client, set up through the pages as a person
//! would.

use crate::books::{CLIENTS, air_of, instrument_of};
use crate::http::{Answer, Request};
use crate::pages::{Browser, form_with_action, text_of};
use crate::program::Program;

pub(crate) const OWNER: &str = "Oona Pell";
pub(crate) const PASSPHRASE: &str = "three dunes behind the marram";

/// Where a client enters readings: as a sensor with its token, or on the page with its session.
#[derive(Debug, Clone)]
pub(crate) enum Desk {
    Sensor { room: String, token: String },
    Page { action: String, fields: Vec<(String, String)>, cookie: String },
}

impl Desk {
    /// The entry as this desk sends it. Without a time: the key alone must tell a repeat from a second reading.
    pub(crate) fn request(&self, number: u64, key: &str) -> Request {
        let (temperature, humidity) = air_of(number);
        match self {
            Self::Sensor { room, token } => {
                let body = format!("{{\"temperature\": {temperature:.1}, \"humidity\": {humidity:.1}}}");
                Request::post(&format!("/api/v1/rooms/{room}/readings"), "application/json", body)
                    .header("Authorization", &format!("Bearer {token}"))
                    .header("Idempotency-Key", key)
            }
            Self::Page { action, fields, cookie } => {
                let (temperature, humidity) = (format!("{temperature:.1}"), format!("{humidity:.1}"));
                let mut sent: Vec<(&str, &str)> =
                    fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
                sent.extend([("form_key", key), ("temperature", &temperature), ("humidity", &humidity)]);
                Request::form(action, &sent).header("Cookie", cookie)
            }
        }
    }

    /// True for the answer that says the entry is kept.
    pub(crate) fn is_kept(&self, answer: &Answer) -> bool {
        match self {
            Self::Sensor { .. } => (200..300).contains(&answer.status),
            Self::Page { .. } => {
                answer.status == 303 && !answer.header("location").is_some_and(|to| to.contains("sign-in"))
            }
        }
    }
}

/// Claims the studio, adds a room and the instruments, and gives each client its desk: half of them sensors, half of
/// them people at the page.
pub(crate) fn set_up(program: &Program) -> Vec<Desk> {
    let mut owner = Browser::new(program.address);
    claim(&mut owner, program);
    let room = add_room(&mut owner);
    (0..CLIENTS)
        .map(|client| if client % 2 == 0 { sensor(&mut owner, &room, client) } else { page(&mut owner, &room, client) })
        .collect()
}

/// Follows the link that the first start prints.
pub(crate) fn claim(owner: &mut Browser, program: &Program) {
    let link = program.printed("claim this studio: ");
    let path = &link[link.find("/claim/").expect("a claim link leads to /claim/")..];
    let typed = [
        ("studio", "Marram House"),
        ("name", OWNER),
        ("zone", "Europe/Lisbon"),
        ("passphrase", PASSPHRASE),
        ("again", PASSPHRASE),
    ];
    expect_see_other(&owner.fill(path, path, &typed), "claim");
}

fn add_room(owner: &mut Browser) -> String {
    let answer =
        owner.fill("/rooms/new", "/rooms", &[("name", "Gable"), ("volume_m3", "28"), ("coldest_surface", "skylight")]);
    let place = expect_see_other(&answer, "add a room");
    last_step(&place)
}

fn sensor(owner: &mut Browser, room: &str, client: u64) -> Desk {
    let place = add_instrument(owner, room, client, "sensor");
    let shown = owner.get(&place);
    let token = text_of(&shown.body, "data-token").unwrap_or_else(|| panic!("no token shown:\n{}", shown.body));
    Desk::Sensor { room: room.to_owned(), token }
}

fn page(owner: &mut Browser, room: &str, client: u64) -> Desk {
    let place = add_instrument(owner, room, client, "hand");
    let instrument = last_step(&place);
    let shown = owner.get(&format!("/rooms/{room}/readings/new"));
    let form =
        form_with_action(&shown.body, "/readings").unwrap_or_else(|| panic!("no form for a reading:\n{}", shown.body));
    let taken = ["form_key", "temperature", "humidity", "instrument"];
    let mut fields = form.fields;
    fields.retain(|(name, _)| !taken.contains(&name.as_str()));
    fields.push(("instrument".to_owned(), instrument));
    Desk::Page { action: form.action, fields, cookie: owner.cookie_header() }
}

/// Adds the client's instrument and gives the place it leads to.
fn add_instrument(owner: &mut Browser, room: &str, client: u64, kind: &str) -> String {
    let path = format!("/rooms/{room}/instruments");
    let typed = [("name", instrument_of(client)), ("kind", kind.to_owned())];
    let typed = typed.each_ref().map(|(name, value)| (*name, value.as_str()));
    expect_see_other(&owner.fill(&format!("{path}/new"), &path, &typed), "add an instrument")
}

fn last_step(path: &str) -> String {
    path.rsplit('/').next().expect("a path has a last step").to_owned()
}

fn expect_see_other(answer: &Answer, what: &str) -> String {
    let main = answer.body.split("<main").nth(1).unwrap_or(&answer.body);
    assert_eq!(answer.status, 303, "{what}: {main}");
    answer.header("location").expect("a redirect says where to").to_owned()
}
