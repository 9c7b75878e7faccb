//! Pages filled with the invented studio.

use askama::Template;
use stillroom::web::cautions::{CARD_DEFERS, Caution, FirstAidCard, WORK};
use stillroom::web::form::{Choice, FieldView, Mistake, mistakes};
use stillroom::web::frame::{Banner, Frame, MomentLink, PlaceLink};
use stillroom::web::keypad::{Pad, PadRow};

/// Every sample page by name.
pub fn all() -> Vec<(&'static str, String)> {
    vec![("first_aid", first_aid())]
}

/// The frame of somebody signed in.
pub fn frame(title: &str, here: &str) -> Frame {
    let places = ["Today", "Rooms", "Shelf", "Hands", "Door", "Office"].map(|word| PlaceLink {
        word,
        href: format!("/{}", word.to_lowercase()),
        here: word == here,
    });
    Frame {
        house: "Marram House".into(),
        title: title.into(),
        person: Some("Ines Okafor".into()),
        role_word: "artist".into(),
        places: places.into(),
        clock: "10:12".into(),
        date: "Thu 18 Feb".into(),
        csrf: "c5rf".into(),
        lang: "en".into(),
        assets: "sample".into(),
        ..Frame::default()
    }
}

#[derive(Template)]
#[template(path = "shell/first_aid.html")]
struct FirstAidPage {
    frame: Frame,
    card: FirstAidCard,
    work: &'static [Caution],
    defers: &'static str,
    edit: Option<String>,
}

fn first_aid() -> String {
    let page = FirstAidPage {
        frame: frame("First aid", ""),
        card: FirstAidCard::unchecked(),
        work: WORK,
        defers: CARD_DEFERS,
        edit: Some("/office/first-aid".into()),
    };
    page.render().expect("a page")
}
