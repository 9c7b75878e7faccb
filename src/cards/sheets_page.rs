//! Sheets of paper for a day without power or server: who comes tomorrow and who is cleared, and blank sheets to be entered afterwards.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::aftercare_page::Code;
use super::seen::Around;
use crate::base::problem::Problem;
use crate::book::slots::Span;
use crate::book::{self, State as Standing};
use crate::clearance::{self, Expected, Known};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/sheets/tomorrow", tomorrow).get("/cards/sheets/{sheet}", blank)
}

/// Said on every sheet of names.
const NOBODY_ELSE: &str =
    "Clearance cannot be checked without this program: treat nobody who is not printed here as cleared.";

/// A blank sheet: its word in addresses, its title, what stands above, what is filled in.
struct Blank {
    word: &'static str,
    title: &'static str,
    above: &'static [&'static str],
    lines: &'static [&'static str],
}

const BLANKS: [Blank; 4] = [
    Blank {
        word: "card",
        title: "Treatment card on paper",
        above: &[
            "Clearance cannot be checked: treat nobody who is not on the printed list.",
            "Eyes closed throughout. Extraction on. Adhesive never on skin. Pain, swelling, vision: stop.",
        ],
        lines: &[
            "Short name, and who wrote this",
            "Day, begun, ended",
            "Cleared on the printed list, by whom looked up",
            "Anything changed since she answered",
            "Lenses out; eyes closed comfortably; lies well",
            "Visit, lids, room, °C, %RH",
            "Bottle and lot, bead, liquids, technique",
            "On arrival, left: attached / grown out / lost",
            "On arrival, right: attached / grown out / lost",
            "Who counted",
            "Colour of the extensions, where not black",
            "Map, left: zone, length, curl, diameter, fan",
            "Map, right: zone, length, curl, diameter, fan",
            "Placed, left and right (single, fans)",
            "Drops: time, and what was seen",
            "Comfort, condition of her lashes",
            "Aftercare given; next visit",
            "Supervisor, for a trainee",
        ],
    },
    Blank {
        word: "test",
        title: "Patch test on paper",
        above: &["No reaction seen in so many hours is what a test says; nothing more."],
        lines: &[
            "Short name, and who wrote this",
            "Consent to the test signed on paper",
            "Placed: day and time",
            "Where, how many, skin or lashes",
            "Products and lots",
            "Liquids",
            "Looked at: day and time, by whom",
            "Waiting / no reaction seen / doubtful / reaction",
        ],
    },
    Blank {
        word: "incident",
        title: "Incident on paper",
        above: &[
            "Medical help first. Facts only; no guess at the cause.",
            "Pain, swelling, changed vision: no remover, and nobody rubs.",
        ],
        lines: &[
            "Short name, and who wrote this",
            "Day and time noticed; last treatment or test before it",
            "What was seen and told: where, how bad",
            "First aid given, by whom, when",
            "Products and lots of the visit",
            "Who was told: owner, doctor, insurer, supplier",
            "To be looked at again after 24 h, 48 h, 7 d, 30 d",
        ],
    },
    Blank { word: "aftercare", title: "After your visit", above: &[], lines: &[] },
];

/// Addresses of every sheet.
pub(super) fn links(house: &House) -> Vec<(String, &'static str)> {
    vec![
        (house.url("/cards/sheets/tomorrow"), "Tomorrow’s sheet"),
        (house.url("/cards/sheets/card"), "Blank card"),
        (house.url("/door/consents/treatment/blank"), "Blank consent"),
        (house.url("/door/questions/blank"), "Blank consultation"),
        (house.url("/cards/sheets/test"), "Blank patch test"),
        (house.url("/cards/sheets/incident"), "Blank incident"),
        (house.url("/cards/sheets/aftercare"), "Aftercare to hand over"),
    ]
}

/// How far ahead a day with somebody is looked for.
const DAYS: i64 = 7;

struct Visit {
    clock: String,
    short: String,
    what: String,
    state: (&'static str, &'static str),
}

#[derive(Template)]
#[template(path = "cards/tomorrow.html")]
struct TomorrowPage {
    frame: Frame,
    day: String,
    /// It is not tomorrow, since nobody comes then.
    later: bool,
    warning: &'static str,
    visits: Vec<Visit>,
    /// The browser is asked to print it as soon as it stands there.
    prints: bool,
}

/// Whether the sheet is opened to be printed at once.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Asked {
    print: String,
}

async fn tomorrow(staff: Staff, State(house): State<House>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let zone = &around.studio.zone;
    let span = |ahead: i64| Span::new(zone.start_of_day_before(now, -ahead), zone.start_of_day_before(now, -ahead - 1));
    let services = book::services(&mut db).await?;
    // Before a free day the sheet is that of the day after it.
    let (mut ahead, mut booked) = (1, Vec::new());
    for days in 1..=DAYS {
        booked = book::between(&mut db, span(days)).await?;
        booked.retain(|own| own.state == Standing::Booked);
        if !booked.is_empty() {
            ahead = days;
            break;
        }
    }
    let day = span(ahead);
    let mut visits = Vec::new();
    for own in booked {
        let service = services.iter().find(|service| service.id == own.service);
        let judged = service.and_then(|service| book::judged_as(service.kind));
        let state = match (own.booked.client, judged) {
            (_, None) => ("unknown", "nothing is placed"),
            (None, Some(_)) => ("stop", "not cleared: no record"),
            (Some(client), Some(kind)) => {
                let artist = around.artist(own.artist).map(|artist| artist.person);
                let at = own.when.visit.from;
                let visit =
                    Expected { id: own.id.into(), client, at, kind, artist, products: Vec::new(), liquids: Vec::new() };
                let stands =
                    clearance::at_booking(&mut db, house.store.keys(), &visit, "the artist", now, Known::ByNow).await;
                match stands {
                    Ok(stands) if stands.is_cleared() => ("fit", "cleared"),
                    Ok(_) | Err(Problem::NotHere(_)) => ("stop", "not cleared"),
                    Err(other) => return Err(other),
                }
            }
        };
        let first = around.artist_name(own.artist).split_whitespace().next().unwrap_or_default().to_owned();
        let what = service.map_or("a service", |service| service.name.as_str());
        visits.push(Visit {
            clock: zone.clock(own.when.visit.from),
            short: own.booked.short,
            what: format!("{what}, {first}"),
            state,
        });
    }
    page(&TomorrowPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Tomorrow’s sheet"),
        day: zone.date(day.from, now),
        later: ahead > 1,
        warning: NOBODY_ELSE,
        visits,
        prints: asked.print == "yes",
    })
}

#[derive(Template)]
#[template(path = "cards/blank.html")]
struct BlankPage {
    frame: Frame,
    small: &'static str,
    above: Vec<String>,
    lines: Vec<String>,
    /// On the aftercare to hand over.
    code: Option<Code>,
}

async fn blank(staff: Staff, State(house): State<House>, At(word): At<String>) -> Result<Response, Problem> {
    let sheet = BLANKS.iter().find(|sheet| sheet.word == word).ok_or(Problem::NotHere("sheet"))?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let settings = super::settings::CardSettings::load(&mut db).await?;
    let own = if sheet.word == "aftercare" { settings.aftercare } else { Vec::new() };
    page(&BlankPage {
        frame: house.frame(&studio, &staff.visitor, Place::Book, sheet.title),
        small: if sheet.word == "aftercare" { "to hand over" } else { "to be entered the same day" },
        above: sheet.above.iter().map(|line| (*line).to_owned()).chain(own).collect(),
        lines: sheet.lines.iter().map(|line| line.replace("°C", studio.temperature_unit())).collect(),
        code: (sheet.word == "aftercare").then(|| Code::of(&house)),
    })
}
