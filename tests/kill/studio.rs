//! A studio to work in: claimed, with a room, an instrument for each client who enters readings, a service, a bed and an artist for
//! those who book, and records for those who open cards; set up through the pages as a person would.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::books::{CLIENTS, air_of, instrument_of, words_of};
use crate::http::{Answer, Request};
use crate::pages::{Browser, PageForm, form_with_action, text_of};
use crate::program::Program;

pub(crate) const OWNER: &str = "Oona Pell";
pub(crate) const PASSPHRASE: &str = "three dunes behind the marram";

/// Where a client works: as a sensor with its token, or on pages with its session.
#[derive(Debug, Clone)]
pub(crate) enum Desk {
    Sensor {
        room: String,
        token: String,
    },
    Page {
        action: String,
        fields: Vec<(String, String)>,
        cookie: String,
    },
    /// Books quarters of an hour from this day on. Two of these desks want the same ones, one after the other: each is given once.
    Booking {
        action: String,
        fields: Vec<(String, String)>,
        cookie: String,
        from: Date,
    },
    /// Opens cards from paper, on one record after the other.
    Card {
        actions: Vec<String>,
        fields: Vec<(String, String)>,
        cookie: String,
    },
}

/// Quarters of an hour a day that are booked, from eight on: hours no change of the clocks touches.
const QUARTERS: u64 = 48;

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
            Self::Booking { action, fields, cookie, from } => {
                let quarter = number / CLIENTS;
                let day = from.checked_add(i64::try_from(quarter / QUARTERS).unwrap().days()).unwrap().to_string();
                let minutes = quarter % QUARTERS * 15;
                let at = format!("{:02}:{:02}", 8 + minutes / 60, minutes % 60);
                let note = words_of(number);
                let own = [("form_key", key), ("day", &day), ("at", &at), ("note", &note)];
                filled(action, fields, cookie, &own)
            }
            Self::Card { actions, fields, cookie } => {
                let at = usize::try_from(number / CLIENTS).unwrap() % actions.len();
                let remover = words_of(number);
                filled(&actions[at], fields, cookie, &[("form_key", key), ("remover", &remover)])
            }
        }
    }

    /// True for the answer that says that somebody else has the time: asking again would not help.
    pub(crate) fn is_taken(&self, answer: &Answer) -> bool {
        matches!(self, Self::Booking { .. }) && answer.status == 422 && answer.body.contains("That time overlaps with")
    }

    /// True for the answer that says the entry is kept.
    pub(crate) fn is_kept(&self, answer: &Answer) -> bool {
        match self {
            Self::Sensor { .. } => (200..300).contains(&answer.status),
            Self::Page { .. } | Self::Booking { .. } | Self::Card { .. } => {
                answer.status == 303 && !answer.header("location").is_some_and(|to| to.contains("sign-in"))
            }
        }
    }
}

fn filled(action: &str, fields: &[(String, String)], cookie: &str, own: &[(&str, &str)]) -> Request {
    let mut sent: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    sent.extend(own);
    Request::form(action, &sent).header("Cookie", cookie)
}

/// Claims the studio, furnishes it, and gives each client its desk: two sensors, two people who enter readings at the page, two who book
/// the same quarters of an hour, two who open cards.
pub(crate) fn set_up(program: &Program) -> Vec<Desk> {
    let mut owner = Browser::new(program.address);
    claim(&mut owner, program);
    let room = add_room(&mut owner);
    let artist = add_artist(&mut owner);
    let booking = booking(&mut owner, &room, &artist.0);
    (0..CLIENTS)
        .map(|client| match client {
            0 | 2 => sensor(&mut owner, &room, client),
            1 | 3 => page(&mut owner, &room, client),
            4 | 5 => booking.clone(),
            _ => cards(&mut owner, &room, &artist, client),
        })
        .collect()
}

/// Makes the owner an artist; gives the artist's and the person's ids.
fn add_artist(owner: &mut Browser) -> (String, String) {
    let shown = owner.get("/hands/new");
    let form =
        form_with_action(&shown.body, "/hands").unwrap_or_else(|| panic!("no form for an artist:\n{}", shown.body));
    let person = form.fields.iter().find(|(name, _)| name == "person").expect("a person to choose").1.clone();
    let place = expect_see_other(&owner.fill("/hands/new", "/hands", &[("volume", "4, 5")]), "add an artist");
    (last_step(&place), person)
}

/// A service of a quarter of an hour, one bed, and the form that books both.
fn booking(owner: &mut Browser, room: &str, artist: &str) -> Desk {
    let service = [
        ("name", "Talk"),
        ("kind", "consultation"),
        ("minutes", "15"),
        ("before", "0"),
        ("after", "0"),
        ("first", "0"),
        ("takes_bed", "yes"),
    ];
    expect_see_other(&owner.fill("/book/services/new", "/book/services", &service), "add a service");
    let bed = [("room", room), ("name", "Left bed")];
    expect_see_other(&owner.fill("/book/beds", "/book/beds", &bed), "add a bed");
    let listed = owner.get("/book/services").body;
    let ids = listed.split("/book/services/").skip(1).map(|rest| rest.split('"').next().unwrap_or_default());
    let service = ids.into_iter().find(|id| id.len() == 36).expect("the service is listed").to_owned();
    let shown = owner.get("/book/new");
    let form =
        form_with_action(&shown.body, "/book").unwrap_or_else(|| panic!("no form for a booking:\n{}", shown.body));
    let today: Date = form.fields.iter().find(|(name, _)| name == "day").expect("a day").1.parse().expect("today");
    let mut fields =
        without(form.fields, &["form_key", "day", "at", "note", "service", "artist", "short_name", "outside"]);
    let own = [("service", service.as_str()), ("artist", artist), ("short_name", "Ada L."), ("outside", "yes")];
    fields.extend(own.map(|(name, value)| (name.to_owned(), value.to_owned())));
    let from = today.checked_add(2.days()).expect("a day after");
    Desk::Booking { action: form.action, fields, cookie: owner.cookie_header(), from }
}

/// Records that cards are opened on: several, since each card looks at those before it.
const RECORDS: [[&str; 4]; 2] = [
    ["Agda Winther", "Birte Solvang", "Connie Edvard", "Ditte Mosegaard"],
    ["Esther Kvam", "Filippa Norby", "Gerda Halvard", "Helle Brixen"],
];

/// Records of this client's own, and the form that opens a card on each: a removal that was written on paper.
fn cards(owner: &mut Browser, room: &str, (artist, person): &(String, String), client: u64) -> Desk {
    let mut forms: Vec<PageForm> = Vec::new();
    for name in RECORDS[usize::try_from(client % 2).unwrap()] {
        let typed = [("name", name), ("keeper", "studio"), ("another", "yes")];
        let place = expect_see_other(&owner.fill("/door/clients/new", "/door/clients", &typed), "add a record");
        let path = format!("/cards/for/{}", last_step(&place));
        let shown = owner.get(&path);
        let form =
            form_with_action(&shown.body, &path).unwrap_or_else(|| panic!("no form for a card:\n{}", shown.body));
        forms.push(form);
    }
    let first = forms.first().expect("a record").clone();
    let own = [
        ("artist", artist.as_str()),
        ("room", room),
        ("kind", "removal"),
        ("lids", "upper"),
        ("paper", "yes"),
        ("writer", person),
        ("minutes", "10"),
    ];
    let mut fields = without(first.fields, &["form_key", "remover", "bottle", "technique", "start", "changed"]);
    for (name, value) in own {
        fields.retain(|(found, _)| found != name);
        fields.push((name.to_owned(), value.to_owned()));
    }
    Desk::Card { actions: forms.into_iter().map(|form| form.action).collect(), fields, cookie: owner.cookie_header() }
}

fn without(mut fields: Vec<(String, String)>, names: &[&str]) -> Vec<(String, String)> {
    fields.retain(|(name, _)| !names.contains(&name.as_str()));
    fields
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
    let path = path.split('?').next().unwrap_or_default();
    path.rsplit('/').next().expect("a path has a last step").to_owned()
}

fn expect_see_other(answer: &Answer, what: &str) -> String {
    let main = answer.body.split("<main").nth(1).unwrap_or(&answer.body);
    assert_eq!(answer.status, 303, "{what}: {main}");
    answer.header("location").expect("a redirect says where to").to_owned()
}
