//! The rows of the matrix: each door, what is sent there, and what each actor must meet. The other tests of forms use the
//! same rows, so that a new form is tried everywhere.

use std::sync::atomic::{AtomicU64, Ordering};

use crate::studio::{Actor, INVITED, LOGGER_FILE, PHRASE, SPARE, Things};

/// What a request carries.
pub(crate) enum Sent {
    Nothing,
    /// Fields of a form, besides token and key.
    Form(Vec<(&'static str, String)>),
    /// A file, in the form that takes one.
    File(&'static str),
    /// A photo, in the form that takes one.
    Photo,
    Json(&'static str),
}

/// A door and what everybody must meet there.
#[derive(Clone)]
pub(crate) struct Row {
    pub(crate) method: &'static str,
    /// As the router knows it.
    pub(crate) path: &'static str,
    pub(crate) sent: fn(&Things) -> Sent,
    /// One letter an actor, in the order of [`Actor::ALL`]; without a tenth the device in a client's hands meets n. o shown, g done and sent on, s sign in first, n not yours,
    /// x not here, c too late, m mistakes, u who are you (API).
    pub(crate) expected: &'static str,
    /// What stands for names of the path where it is not the usual.
    pub(crate) names: Vec<(String, String)>,
}

impl Row {
    /// What this actor must meet.
    pub(crate) fn expects(&self, place: usize) -> char {
        self.expected.chars().nth(place).unwrap_or('n')
    }

    /// The address, with ids for names.
    pub(crate) fn address(&self, things: &Things) -> String {
        let person = |name: &str| things.people.get(name).cloned().unwrap_or_default();
        let token = match self.path {
            path if path.starts_with("/claim") => things.claim.clone(),
            path if path.starts_with("/invited") => things.invitation.trim_start_matches("/invited/").to_owned(),
            _ => things.sensor_token.clone(),
        };
        // Closed in the end, so a room that nothing else is tried on.
        let room = if self.path.ends_with("/close") { &things.cellar } else { &things.gable };
        // Taken out as it stood when the studio was furnished, so a question that nothing else is tried on.
        let question = if self.path.ends_with("/remove") { "hay_fever" } else { "lens" };
        // Erased in the end, and erased already.
        let client = match self.path {
            path if path.starts_with("/door/erased/") => &things.erased,
            path if path.ends_with("/erasure") || path.contains("/photos") => &things.leaving,
            _ => &things.client,
        };
        let usual = [
            ("{client}", client.clone()),
            ("{other}", things.twin.clone()),
            ("{consultation}", things.consultation.clone()),
            ("{consent}", things.consent.clone()),
            ("{purpose}", "treatment".to_owned()),
            ("{question}", question.to_owned()),
            ("{form}", "consultation".to_owned()),
            ("{step}", "1".to_owned()),
            ("{photo}", things.photo.clone()),
            ("{file}", if self.path.ends_with("/leave") { &things.second_file } else { &things.client_file }.clone()),
            ("{token}", token),
            ("{room}", room.clone()),
            ("{person}", person(if self.path.starts_with("/door/") { Actor::ArtistB.name() } else { SPARE })),
            ("{session}", things.second_session.clone()),
            ("{instrument}", things.sensor.clone()),
            ("{check}", things.check.clone()),
            ("{device}", things.device.clone()),
            ("{import}", things.import.clone()),
            ("{product}", things.product.clone()),
            ("{bottle}", things.bottle.clone()),
            ("{test}", things.bench_test.clone()),
            ("{class}", things.class.clone()),
            ("{artist}", things.hands.artist.clone()),
            ("{timing}", things.hands.timing.clone()),
            ("{advice}", things.advice.clone()),
            ("{placement}", things.hands.placement.clone()),
            ("{appointment}", things.book.appointment_for(self.path).to_owned()),
            ("{service}", things.book.spare_service.clone()),
            ("{bed}", things.book.spare_bed.clone()),
            ("{off}", things.book.off.clone()),
            ("{waiting}", things.book.waiting.clone()),
            ("{feed}", things.book.feed.clone()),
            ("{tablet}", crate::tablet::OTHER.to_owned()),
            ("{hash}", stillroom::web::assets::hash().to_owned()),
            ("{*name}", "app.css".to_owned()),
        ];
        let own = self.names.iter().map(|(name, value)| (name.as_str(), value.clone()));
        own.chain(crate::clearance::names(self.path, things))
            .chain(crate::cards::names(self.path, things))
            .chain(usual)
            .fold(self.path.to_owned(), |path, (name, value)| path.replace(name, &value))
    }

    /// Somebody who may do it, for tests of what happens then.
    pub(crate) fn who_may(&self) -> Actor {
        let order = [Actor::ArtistA, Actor::Owner, Actor::Anonymous, Actor::HandedOver];
        let may = |actor: &Actor| {
            let place = Actor::ALL.iter().position(|other| other == actor).unwrap();
            matches!(self.expects(place), 'g' | 'o')
        };
        // A claim comes too late for everybody.
        order.into_iter().find(may).unwrap_or(Actor::Anonymous)
    }
}

impl Row {
    /// As [`Row::who_may`], and the program that may where no person does.
    pub(crate) fn who_may_or_program(&self) -> Actor {
        if !self.path.starts_with("/api/") {
            return self.who_may();
        }
        let place = self.expected.find('o').unwrap();
        Actor::ALL[place]
    }
}

/// A form's body as its page would send it.
pub(crate) fn form_body(csrf: &str, key: &str, fields: &[(&'static str, String)]) -> String {
    let mut pairs = vec![("csrf", csrf.to_owned()), ("form_key", key.to_owned())];
    pairs.extend(fields.iter().cloned());
    serde_urlencoded::to_string(pairs).unwrap()
}

/// A key no other form of this run has.
pub(crate) fn fresh_key() -> String {
    static NEXT: AtomicU64 = AtomicU64::new(1);
    format!("key-of-a-test-{}", NEXT.fetch_add(1, Ordering::Relaxed))
}

pub(crate) fn nothing(_: &Things) -> Sent {
    Sent::Nothing
}

pub(crate) fn empty_form(_: &Things) -> Sent {
    Sent::Form(Vec::new())
}

pub(crate) fn form(fields: &[(&'static str, &str)]) -> Sent {
    Sent::Form(fields.iter().map(|(name, value)| (*name, (*value).to_owned())).collect())
}

pub(crate) fn get(path: &'static str, expected: &'static str) -> Row {
    Row { method: "GET", path, sent: nothing, expected, names: Vec::new() }
}

pub(crate) fn post(path: &'static str, sent: fn(&Things) -> Sent, expected: &'static str) -> Row {
    Row { method: "POST", path, sent, expected, names: Vec::new() }
}

/// Every door. Those that take away what others need stand last.
pub(crate) fn rows() -> Vec<Row> {
    let mut rows = fixed();
    rows.extend(office());
    rows.extend(crate::plan::rows());
    rows.extend(rooms());
    rows.extend(crate::clients::rows());
    rows.extend(crate::clearance::rows());
    // Before the shelf's, which take the bottle out of its room.
    rows.extend(crate::advice::rows());
    rows.extend(crate::shelf::rows());
    rows.extend(crate::live::rows());
    rows.extend(crate::hands::rows());
    rows.extend(crate::book::rows());
    rows.extend(crate::cards::rows());
    rows.extend(crate::tablet::rows());
    rows.extend(crate::offline::rows());
    rows.extend(programs());
    rows.push(post("/sign-out", empty_form, "ssgggggss"));
    // Signing in ends the sign-in a browser had: that door comes after all that need it.
    rows.sort_by_key(|row| row.method == "POST" && row.path == "/sign-in");
    rows
}

//                                                                    anonymous, expired, A, B, desk, accountant, owner,
// Letters in this order:                                             sensor, reader

/// Assets, health, the door of the house.
fn fixed() -> Vec<Row> {
    let mut rows: Vec<Row> = [
        "/static/{hash}/{*name}",
        "/favicon.ico",
        "/favicon.png",
        "/icon.svg",
        "/icon-192.png",
        "/icon-512.png",
        "/icon-maskable-192.png",
        "/icon-maskable-512.png",
        "/manifest.webmanifest",
        "/worker.js",
        "/healthz",
        "/readyz",
        "/first-aid",
    ]
    .into_iter()
    .map(|path| get(path, "oooooooooo"))
    .collect();
    rows.extend([
        get("/", "ssoooooss"),
        get("/sign-in", "oogggggoo"),
        post("/sign-in", |_| form(&[("name", Actor::Desk.name()), ("passphrase", PHRASE)]), "ggggggggg"),
        get("/claim/{token}", "ccccccccc"),
        post(
            "/claim/{token}",
            |_| {
                let fields =
                    [("studio", "Another"), ("name", "Somebody Else"), ("zone", "UTC"), ("passphrase", PHRASE)];
                form(&[fields.as_slice(), &[("again", PHRASE)]].concat())
            },
            "ccccccccc",
        ),
        get("/invited/{token}", "ooooooooo"),
        post("/invited/{token}", |_| form(&[("passphrase", PHRASE), ("again", PHRASE)]), "ggggggggg"),
    ]);
    rows
}

/// Office: for the owner alone, but for one's own sign-ins.
fn office() -> Vec<Row> {
    vec![
        get("/office", "ssoooooss"),
        get("/office/settings", "ssnnnnoss"),
        post("/office/settings", settings, "ssnnnngss"),
        get("/office/people", "ssnnnnoss"),
        post("/office/people", |_| form(&[("name", "Lise Holm"), ("role", "desk")]), "ssnnnngss"),
        get("/office/people/{person}", "ssnnnnoss"),
        post("/office/people/{person}/invitation", empty_form, "ssnnnngss"),
        post("/office/people/{person}/invitation/hide", empty_form, "ssnnnngss"),
        post("/office/people/{person}/role", |_| form(&[("role", "desk")]), "ssnnnngss"),
        post("/office/people/{person}/leave", empty_form, "ssnnnngss"),
        get("/office/people/{person}/cover", "ssnnnnoss"),
        post(
            "/office/people/{person}/cover",
            |things| {
                let to = things.people[Actor::ArtistB.name()].clone();
                Sent::Form(vec![("to", to), ("why", "holiday".to_owned()), ("last_day", "2026-03-01".to_owned())])
            },
            "ssnnnngss",
        ),
        get("/office/sessions", "ssoooooss"),
        post("/office/sessions/{session}/end", empty_form, "ssgxxxgss"),
        get("/office/tokens", "ssnnnnoss"),
        post("/office/tokens", |_| form(&[("name", "another screen")]), "ssnnnngss"),
        get("/office/tokens/{token}", "ssnnnnoss"),
        post("/office/tokens/{token}/hide", empty_form, "ssnnnngss"),
        get("/office/audit", "ssnnnnoss"),
        get("/office/first-aid", "ssnnnnoss"),
        post(
            "/office/first-aid",
            |things| form(&[("stood", &things.stood["/office/first-aid"]), ("who0", INVITED), ("number0", "112")]),
            "ssnnnngss",
        ),
    ]
}

fn settings(things: &Things) -> Sent {
    form(&[
        ("stood", &things.stood["/office/settings"]),
        ("name", "Marram House"),
        ("zone", "Europe/Copenhagen"),
        ("currency", "DKK"),
        ("temperature", "celsius"),
        ("decimal", "point"),
        ("stale_minutes", "30"),
        ("humidity_low", "40"),
        ("humidity_high", "60"),
        ("temperature_low", "20"),
        ("temperature_high", "24"),
        ("disturbed_in_100", "10"),
        ("extra_hold_min", "15"),
    ])
}

/// Rooms: everybody who works there reads and enters; the owner furnishes.
fn rooms() -> Vec<Row> {
    vec![
        get("/rooms", "ssooonoss"),
        get("/rooms/new", "ssnnnnoss"),
        post("/rooms", |_| Sent::Form(a_room("Attic")), "ssnnnngss"),
        get("/rooms/{room}", "ssooonoss"),
        get("/rooms/{room}/edit", "ssnnnnoss"),
        post("/rooms/{room}/edit", |_| Sent::Form(a_room("Gable")), "ssnnnngss"),
        post(
            "/rooms/{room}/devices",
            |_| form(&[("kind", "heater"), ("name", "panel"), ("grams_per_hour", "")]),
            "ssnnnngss",
        ),
        get("/rooms/{room}/readings/new", "ssooonoss"),
        post("/rooms/{room}/readings", |_| form(&[("temperature", "21.4"), ("humidity", "38")]), "ssgggngss"),
        get("/rooms/{room}/instruments/new", "ssnnnnoss"),
        post("/rooms/{room}/instruments", |_| form(&[("kind", "hand"), ("name", "dial by the door")]), "ssnnnngss"),
        get("/rooms/{room}/instruments/{instrument}", "ssooonoss"),
        post("/rooms/{room}/instruments/{instrument}", |_| form(&[("place", "wall")]), "ssnnnngss"),
        post("/rooms/{room}/instruments/{instrument}/token", empty_form, "ssnnnngss"),
        post("/rooms/{room}/instruments/{instrument}/checks", a_check, "ssgggngss"),
        get("/rooms/{room}/imports/new", "ssooonoss"),
        post("/rooms/{room}/imports", |_| Sent::File(LOGGER_FILE), "ssgggngss"),
        get("/rooms/{room}/imports/{import}", "ssooonoss"),
        post("/rooms/{room}/imports/{import}/answers", |_| form(&[("day_order", "day_first")]), "ssgggngss"),
        post("/rooms/{room}/imports/{import}/take", empty_form, "ssgggngss"),
        post("/rooms/{room}/imports/{import}/drop", empty_form, "ssgggngss"),
        post("/rooms/{room}/instruments/{instrument}/checks/{check}/strike", empty_form, "ssgggngss"),
        post("/rooms/{room}/devices/{device}/remove", empty_form, "ssnnnngss"),
        post("/rooms/{room}/close", empty_form, "ssnnnngss"),
    ]
}

fn a_room(name: &str) -> Vec<(&'static str, String)> {
    let text = |value: &str| value.to_owned();
    vec![
        ("name", text(name)),
        ("volume_m3", text("40")),
        ("air_changes_per_hour", text("0.5")),
        ("coldest_surface", text("window")),
        ("surface_temperature", text("")),
    ]
}

fn a_check(_: &Things) -> Sent {
    form(&[("against", "humidity"), ("shown", "40"), ("reference", "42"), ("chamber", "")])
}

/// The API: cookies count for nothing there. The sensor's token is revoked last.
fn programs() -> Vec<Row> {
    vec![
        get("/api/v1/openapi.json", "ooooooooo"),
        get("/api/v1/rooms", "uuuuuuuno"),
        get("/api/v1/rooms/{room}/readings", "uuuuuuuno"),
        post("/api/v1/rooms/{room}/readings", |_| Sent::Json(r#"{"temperature": 21.4, "humidity": 38}"#), "uuuuuuuon"),
        post("/api/v1/advice", |_| Sent::Json(include_str!("../../docs/examples/one_bottle.json")), "uuuuuuuno"),
        post("/office/tokens/{token}/revoke", empty_form, "ssnnnngss"),
    ]
}
