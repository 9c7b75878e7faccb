//! Pages filled with the invented studio: every shell template, and pages like those of the parts.

use askama::Template;
use stillroom::web::cautions::{CARD_DEFERS, CARD_SOURCES, Caution, FirstAidCard, WORK};
use stillroom::web::form::{Choice, FieldView, Mistake, mistakes};
use stillroom::web::frame::{Banner, Frame, MomentLink, PlaceLink};
use stillroom::web::keypad::{Pad, PadRow};

use crate::chart;

/// Every sample page: its name and its HTML.
pub(crate) fn all() -> Vec<(&'static str, String)> {
    vec![
        ("rooms", made(&Rooms { frame: Frame { demo: true, ..frame("Rooms", "Rooms") } })),
        ("room", made(&Room { frame: frame("Gable, now", "Rooms"), chart: chart::day() })),
        ("advice", made(&Advice { frame: with_moments(frame("Ines in Gable, now", "Rooms")) })),
        ("reading", made(&Reading { frame: frame("Gable: a reading", "Rooms"), key: "k1".into(), pad: pad() })),
        ("import", made(&Import { frame: frame("Import a logger file", "Rooms"), key: "k2".into() })),
        ("people", made(&People { frame: with_banner(frame("People", "Office")), key: "k3".into() })),
        ("settings", made(&settings())),
        ("confirm", made(&confirm())),
        ("problem", made(&problem())),
        ("first_aid", made(&first_aid(FirstAidCard::unchecked()))),
        ("first_aid_checked", made(&first_aid(checked_card()))),
        ("sign_in", made(&sign_in())),
        ("claim", made(&claim())),
        ("invited", made(&invited())),
    ]
}

fn made(page: &impl Template) -> String {
    page.render().expect("a sample page renders")
}

/// The frame of somebody signed in.
fn frame(title: &str, here: &str) -> Frame {
    let places = ["Today", "Rooms", "Shelf", "Hands", "Door", "Office"];
    Frame {
        person: Some("Ines Okafor".into()),
        role_word: "artist".into(),
        places: places
            .map(|word| PlaceLink { word, href: format!("/{}", word.to_lowercase()), here: word == here })
            .into(),
        ..outside(title)
    }
}

/// The frame of somebody who has not signed in.
fn outside(title: &str) -> Frame {
    Frame {
        house: "Marram House".into(),
        title: title.into(),
        clock: "10:12".into(),
        date: "Thu 18 Feb".into(),
        csrf: "c5rf".into(),
        lang: "en".into(),
        assets: "sample".into(),
        ..Frame::default()
    }
}

fn with_moments(frame: Frame) -> Frame {
    let moments = ["Opening", "Before a client", "At the bed", "Between", "Closing"].map(|word| MomentLink {
        word,
        href: "?moment".into(),
        here: word == "Before a client",
    });
    Frame { moments: moments.into(), ..frame }
}

fn with_banner(frame: Frame) -> Frame {
    let banner = Banner {
        mark: "near",
        sentence: "This house is reached over plain HTTP: whoever shares the network can read along.".into(),
        href: "/office/tls".into(),
        action: "Set up https".into(),
    };
    Frame { banner: Some(banner), ..frame }
}

#[derive(Template)]
#[template(path = "../tests/look/pages/rooms.html")]
struct Rooms {
    frame: Frame,
}

#[derive(Template)]
#[template(path = "../tests/look/pages/room.html")]
struct Room {
    frame: Frame,
    chart: String,
}

#[derive(Template)]
#[template(path = "../tests/look/pages/advice.html")]
struct Advice {
    frame: Frame,
}

#[derive(Template)]
#[template(path = "../tests/look/pages/reading.html")]
struct Reading {
    frame: Frame,
    key: String,
    pad: Pad,
}

fn pad() -> Pad {
    let temperature = PadRow {
        name: "temperature",
        label: "Temperature".into(),
        unit: "°C".into(),
        hint: Some("20.8 at 10:08".into()),
        value: "21.4".into(),
        whole: 2,
        decimals: 1,
        ..PadRow::default()
    };
    let humidity = PadRow {
        name: "humidity",
        label: "Humidity".into(),
        unit: "%RH".into(),
        hint: Some("31 at 10:08".into()),
        value: "3".into(),
        whole: 2,
        decimals: 1,
        ..PadRow::default()
    };
    Pad { rows: vec![temperature, humidity], at: 1, point: '.' }
}

#[derive(Template)]
#[template(path = "../tests/look/pages/import.html")]
struct Import {
    frame: Frame,
    key: String,
}

#[derive(Template)]
#[template(path = "../tests/look/pages/people.html")]
struct People {
    frame: Frame,
    key: String,
}

#[derive(Template)]
#[template(path = "shell/form.html")]
struct FormPage {
    frame: Frame,
    key: String,
    action: String,
    word: &'static str,
    small: &'static str,
    lead: &'static str,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: Option<(String, String)>,
}

fn settings() -> FormPage {
    let fields = vec![
        FieldView { value: "Marram House".into(), ..text("studio", "Studio name") },
        FieldView {
            hint: Some("The name of the zone decides days and clock times, also for past readings.".into()),
            kind: "select",
            options: ["Europe/London", "Europe/Oslo"].map(choice).into(),
            ..text("zone", "Time zone")
        },
        FieldView {
            kind: "radio",
            options: ["°C", "°F"].map(choice).into(),
            ..text("temperature_unit", "Temperature is shown in")
        },
        FieldView {
            hint: Some("A reading older than this widens every prediction.".into()),
            value: "half an hour".into(),
            error: Some("Give whole minutes from 5 to 240, for instance 30.".into()),
            inputmode: "numeric",
            ..text("stale", "Minutes until a reading is stale")
        },
        FieldView {
            value: "1O8".into(),
            error: Some("Give a share from 1 to 30 in 100.".into()),
            inputmode: "decimal",
            ..text("disturbed", "Disturbed placements accepted, in 100")
        },
        FieldView {
            kind: "checks",
            options: ["Today", "Door"].map(choice).into(),
            optional: true,
            ..text("show", "Show the air on")
        },
        FieldView { kind: "textarea", optional: true, ..text("note", "Note for the next inspection") },
        FieldView {
            kind: "check",
            value: "yes".into(),
            ..text("demo_hidden", "Show short names where clients can see")
        },
    ];
    FormPage {
        mistakes: mistakes(&fields),
        fields,
        frame: frame("Settings", "Office"),
        key: "k4".into(),
        action: "/office/settings".into(),
        word: "Studio",
        small: "for everyone",
        lead: "",
        button: "Keep the settings",
        back: Some(("/office".into(), "Leave them as they are".into())),
    }
}

fn text(name: &'static str, label: &str) -> FieldView {
    FieldView { name, label: label.into(), kind: "text", ..FieldView::default() }
}

fn choice(word: &str) -> Choice {
    Choice { value: word.into(), label: word.into(), chosen: matches!(word, "Europe/London" | "°C" | "Today") }
}

#[derive(Template)]
#[template(path = "shell/confirm.html")]
struct ConfirmPage {
    frame: Frame,
    key: String,
    action: String,
    happens: String,
    stays: String,
    button: String,
    back: (String, String),
}

fn confirm() -> ConfirmPage {
    ConfirmPage {
        frame: frame("Revoke a token", "Office"),
        key: "k5".into(),
        action: "/sensors/window/revoke".into(),
        happens: "Window sensor will be refused from this moment on.".into(),
        stays: "Its 12,400 readings stay where they are.".into(),
        button: "Revoke the token of Window sensor".into(),
        back: ("/sensors".into(), "Leave it".into()),
    }
}

#[derive(Template)]
#[template(path = "shell/problem.html")]
struct ProblemPage {
    frame: Frame,
    happened: String,
    kept: String,
    todo: String,
    action: Option<(String, String)>,
    number: Option<String>,
}

fn problem() -> ProblemPage {
    ProblemPage {
        frame: frame("Not known yet", ""),
        happened: "The database stopped answering while your reading was being written.".into(),
        kept: "It may have been kept. Sending it again cannot make a second one.".into(),
        todo: "Go back and press the button once more.".into(),
        action: Some(("/rooms/gable/reading".into(), "Back to the reading".into())),
        number: Some("0197-51c2-a3".into()),
    }
}

#[derive(Template)]
#[template(path = "shell/first_aid.html")]
struct FirstAidPage {
    frame: Frame,
    card: FirstAidCard,
    work: &'static [Caution],
    defers: &'static str,
    sources: &'static [&'static str],
    edit: Option<String>,
}

fn first_aid(card: FirstAidCard) -> FirstAidPage {
    let edit = card.lacks_numbers().then(|| "/office/first-aid".to_owned());
    FirstAidPage { frame: frame("First aid", ""), card, work: WORK, defers: CARD_DEFERS, sources: CARD_SOURCES, edit }
}

fn checked_card() -> FirstAidCard {
    let mut card = FirstAidCard::unchecked();
    for (local, number) in card.numbers.iter_mut().zip(["000", "000 111", "000 222", "000 333"]) {
        local.number = number.into();
    }
    card.sheets_at = "Red folder beside the door of Gable.".into();
    card.checked_by = "Oona Pell".into();
    card.checked_on = "2 Feb".into();
    card
}

#[derive(Template)]
#[template(path = "shell/sign_in.html")]
struct SignInPage {
    frame: Frame,
    key: String,
    next: String,
    draft: String,
    draft_to: String,
    note: Option<String>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

fn sign_in() -> SignInPage {
    let fields = vec![
        FieldView { value: "ines".into(), autocomplete: "username", ..text("name", "Name") },
        FieldView {
            kind: "password",
            autocomplete: "current-password",
            error: Some("Name and passphrase do not belong together.".into()),
            ..text("passphrase", "Passphrase")
        },
    ];
    SignInPage {
        frame: outside("Sign in"),
        key: "k6".into(),
        next: "/rooms".into(),
        draft: String::new(),
        draft_to: String::new(),
        note: Some("You were signed out after 12 hours without use.".into()),
        mistakes: mistakes(&fields),
        fields,
    }
}

#[derive(Template)]
#[template(path = "shell/claim.html")]
struct ClaimPage {
    frame: Frame,
    key: String,
    action: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

fn claim() -> ClaimPage {
    let fields = vec![
        text("studio", "Studio name"),
        FieldView { autocomplete: "name", ..text("person", "Your name") },
        new_passphrase(),
    ];
    ClaimPage {
        frame: Frame { house: "Stillroom".into(), ..outside("A new house") },
        key: "k7".into(),
        action: "/claim/abc".into(),
        mistakes: mistakes(&fields),
        fields,
    }
}

fn new_passphrase() -> FieldView {
    FieldView {
        kind: "password",
        autocomplete: "new-password",
        hint: Some("At least 15 characters; spaces count.".into()),
        ..text("passphrase", "Passphrase")
    }
}

#[derive(Template)]
#[template(path = "shell/invited.html")]
struct InvitedPage {
    frame: Frame,
    key: String,
    action: String,
    inviter: String,
    role: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

fn invited() -> InvitedPage {
    let fields = vec![new_passphrase()];
    InvitedPage {
        frame: outside("Welcome, Tilde Brandt"),
        key: "k8".into(),
        action: "/invited/abc".into(),
        inviter: "Oona Pell".into(),
        role: "artist".into(),
        mistakes: mistakes(&fields),
        fields,
    }
}
