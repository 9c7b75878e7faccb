//! An artist's hands, for herself and the owner: the figures of one style, pictures, trend, what to time next, sessions.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::chart::{self, Chart, Pooled, Row, Spread, Wording};
use super::hands::{KeptReport, KeptSitting, Known, Nig, Quantity, Report, USUAL_OPENNESS};
use super::session_row::{SessionRow, session_row};
use super::words::{bare, range, sureness};
use super::{Artist, BottleAtHand, BottlesAt, Session, Style, one, store};
use crate::base::ids::ArtistId;
use crate::base::number::DecimalMark;
use crate::base::older::{Before, cut};
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::text::count;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::rooms::{self, Room};
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes(bottles: BottlesAt) -> Routes {
    let show = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, asked: Query<Asked>| {
        show(staff, house, id, asked, bottles)
    };
    Routes::new().get("/hands/{artist}", show)
}

/// What stands after the question mark.
type Asked = BTreeMap<String, String>;

/// Sessions on one page of the list.
const LISTED: usize = 20;

/// A style as a link.
struct StyleLink {
    words: String,
    href: String,
    here: bool,
}

/// A quantity of the hands as a row of the table.
struct QuantityRow {
    what: &'static str,
    sure: &'static str,
    /// Best guess and range: half, nine in ten, nineteen in twenty are quicker.
    figures: [(String, String); 3],
}

#[derive(Template)]
#[template(path = "hands/artist.html")]
struct ArtistPage {
    frame: Frame,
    key: String,
    path: String,
    /// Where the advice she took is read back.
    taken: String,
    /// Technique shown, in words; the query that keeps it.
    style: String,
    style_key: String,
    styles: Vec<StyleLink>,
    about: String,
    /// "saved 11:21", when this page answers a timing just kept.
    saved: Option<String>,
    /// "4 placements in 2 sittings"; empty while nothing counts.
    counted: String,
    lead: String,
    more: String,
    quantities: Vec<QuantityRow>,
    /// For which adhesive the hands time stands there, and how long that stays open.
    openness: String,
    odd: bool,
    trend: String,
    charts: Vec<(&'static str, Chart)>,
    /// What the bottle of the picture does in this air; `None` where there is none to show.
    bottle: Option<String>,
    /// The bottles the hands can be looked at against.
    bottles: Vec<StyleLink>,
    sessions: Vec<SessionRow>,
    older: Option<String>,
}

async fn show(
    staff: Staff,
    house: House,
    id: ArtistId,
    Query(asked): Query<Asked>,
    bottles: BottlesAt,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let artist = one(&mut db, id).await?.filter(|artist| artist.seconds_seen_by(&staff.who));
    let artist = artist.ok_or(Problem::NotHere("artist"))?;
    let studio = Studio::load(&mut db).await?;
    let kept = store::all_kept(&mut db, Some(id)).await?;
    let style = asked
        .get("style")
        .and_then(|key| Style::parse(key))
        .or_else(|| artist.opens_on())
        .or_else(|| kept.first().map(|(_, style, _)| *style));
    let Some(style) = style else { return page(&bare_page(&house, &staff, &studio, &artist)) };
    let before = Before::asked(asked.get("before").map(String::as_str));
    let mut sessions = store::sessions(&mut db, id, style, &before, LISTED as i64 + 1).await?;
    let older = cut(&mut sessions, LISTED, |(session, _)| Before::row(session.at, session.id));
    let room = room_of(&mut db, id, &asked).await?;
    drop(db);
    let at_hand = match &room {
        Some(room) => bottles(&house, Some(room.id), now).await?,
        None => Vec::new(),
    };
    let against = Against::of(&at_hand, room, &asked);
    let report = kept.iter().find(|(_, other, _)| *other == style).map(|(_, _, kept)| kept);
    let styles = style_links(&house, &artist, &kept, style);
    let base = bare_page(&house, &staff, &studio, &artist);
    page(&ArtistPage {
        style: style.words(),
        style_key: style.key(),
        styles,
        saved: (asked.get("told").is_some_and(|told| told == "kept"))
            .then(|| format!("saved {}", studio.zone.clock(now))),
        older: older.map(|before| format!("{}?style={}&before={before}#sessions", base.path, style.key())),
        sessions: sessions
            .iter()
            .map(|(session, sitting)| session_row(&house, session, sitting, &studio, now))
            .collect(),
        charts: charts(&artist, style, report, &sessions, &against, &studio, now),
        bottle: report.filter(|report| report.hands.placements > 0).and_then(|_| against.words(studio.decimal)),
        bottles: against.links(&base.path, style, &at_hand),
        ..told(base, style, report, &against, studio.decimal)
    })
}

/// The page of an artist without a technique: what there is to say besides figures.
fn bare_page(house: &House, staff: &Staff, studio: &Studio, artist: &Artist) -> ArtistPage {
    let trainee = if artist.trainee { ", trainee" } else { "" };
    ArtistPage {
        frame: house.frame(studio, &staff.visitor, Place::Hands, artist.name.clone()),
        key: new_form_key(),
        path: house.url(&format!("/hands/{}", artist.id)),
        taken: house.url(&format!("/advice?artist={}", artist.id)),
        style: String::new(),
        style_key: String::new(),
        styles: Vec::new(),
        about: format!(
            "{}{trainee}; usually {} a set.",
            capital(artist.employment.word()),
            count(artist.placements_per_set as usize, "placement")
        ),
        saved: None,
        counted: String::new(),
        lead: "No technique is named yet.".to_owned(),
        more: String::new(),
        quantities: Vec::new(),
        openness: String::new(),
        odd: false,
        trend: String::new(),
        charts: Vec::new(),
        bottle: None,
        bottles: Vec::new(),
        sessions: Vec::new(),
        older: None,
    }
}

/// The room her hands are looked at in: the one asked for, that of her newest session, or the first.
async fn room_of(db: &mut Db, artist: ArtistId, asked: &Asked) -> Result<Option<Room>, Problem> {
    let rooms = rooms::all(db).await?;
    let last = store::newest_session(db, artist).await?.and_then(|session| session.room);
    let wanted = asked.get("room").and_then(|id| id.parse().ok()).or(last);
    Ok(rooms.iter().find(|room| Some(room.id) == wanted).or_else(|| rooms.first()).cloned())
}

/// The bottle the hands are looked at against, and the room it is used in.
struct Against {
    bottle: Option<BottleAtHand>,
    room: Option<Room>,
}

impl Against {
    /// The bottle asked for, else the one in daily use in the room, else one that stands there or in the cupboard.
    fn of(at_hand: &[BottleAtHand], room: Option<Room>, asked: &Asked) -> Self {
        let here = room.as_ref().map(|room| room.id);
        let find = |wanted: &dyn Fn(&BottleAtHand) -> bool| at_hand.iter().find(|bottle| wanted(bottle)).cloned();
        let asked = asked.get("bottle").and_then(|id| find(&|bottle| bottle.id.to_string() == *id));
        let bottle = asked
            .or_else(|| find(&|bottle| bottle.in_use && bottle.room == here))
            .or_else(|| find(&|bottle| bottle.room == here))
            .or_else(|| find(&|bottle| bottle.room.is_none()));
        Self { bottle, room }
    }

    /// How many times its set time a bead of the bottle in view stays open.
    fn openness(&self) -> f64 {
        self.bottle.as_ref().map_or(USUAL_OPENNESS, |bottle| bottle.openness)
    }

    fn openness_words(&self, decimal: DecimalMark) -> String {
        match &self.bottle {
            Some(bottle) => {
                format!("{}, which stays open about {} times", bottle.name, decimal.show(bottle.openness, 1))
            }
            None => "an adhesive that stays open four times".to_owned(),
        }
    }

    /// "Heath in Gable, now: sets in 1.6 s, likely 1.2–2.2 s."
    fn words(&self, decimal: DecimalMark) -> Option<String> {
        let (bottle, room) = (self.bottle.as_ref()?, self.room.as_ref()?);
        let Some(set) = bottle.set else {
            return Some(format!(
                "How quickly {} sets in {} now is not known: nobody has read the air within the hour.",
                bottle.name, room.name
            ));
        };
        Some(format!(
            "{} in {}, now: sets in {}\u{a0}s, likely {}–{}\u{a0}s, with a medium bead and no liquid.",
            bottle.name,
            room.name,
            bare(set.median, decimal),
            bare(set.low, decimal),
            bare(set.high, decimal)
        ))
    }

    fn links(&self, path: &str, style: Style, at_hand: &[BottleAtHand]) -> Vec<StyleLink> {
        let Some(room) = &self.room else { return Vec::new() };
        let link = |bottle: &BottleAtHand| StyleLink {
            words: bottle.name.clone(),
            href: format!("{path}?style={}&room={}&bottle={}#pictures", style.key(), room.id, bottle.id),
            here: self.bottle.as_ref().is_some_and(|shown| shown.id == bottle.id),
        };
        if at_hand.len() < 2 { Vec::new() } else { at_hand.iter().map(link).collect() }
    }

    /// Its name and forty equally likely set times, where they can be foretold.
    fn dots(&self) -> Option<(&str, Vec<Seconds>)> {
        let bottle = self.bottle.as_ref()?;
        let set = bottle.set?;
        Some((&bottle.name, chart::dots_between(set.low, set.median, set.high)))
    }
}

/// Adds the figures and sentences of one style.
fn told(
    base: ArtistPage,
    style: Style,
    kept: Option<&KeptReport>,
    against: &Against,
    decimal: DecimalMark,
) -> ArtistPage {
    let Some(kept) = kept.filter(|kept| kept.hands.placements > 0) else {
        return ArtistPage {
            lead: format!("No placement in {} counts yet.", style.words()),
            more: "Until some are timed, advice rests on a starting guess: travel 2.8 s, settle 1.2 s. Thirty placements, in two or three sittings, make it hers."
                .replace("2.8", &decimal.show(2.8, 1))
                .replace("1.2", &decimal.show(1.2, 1)),
            ..base
        };
    };
    let report = kept.report(against.openness());
    let hands_time = kept.hands.hands_time_at(against.openness().ln());
    ArtistPage {
        counted: format!(
            "{} in {}",
            count(report.placements as usize, "placement"),
            count(report.sessions as usize, "sitting")
        ),
        lead: lead(style, &report, decimal),
        more: more(&report),
        quantities: vec![
            quantity("Travel: pick-up to contact", &kept.hands.travel, &report.travel, decimal),
            quantity("Settle: contact until still", &kept.hands.settle, &report.settle, decimal),
            quantity("Hands time: what the bond must wait", &hands_time, &report.hands_time, decimal),
        ],
        openness: against.openness_words(decimal),
        odd: report.travel.far_from_normal || report.settle.far_from_normal || report.hands_time.far_from_normal,
        trend: trend(&report, decimal),
        ..base
    }
}

fn lead(style: Style, report: &Report, decimal: DecimalMark) -> String {
    format!(
        "In {} half the placements travel in {} and settle in {}\u{a0}s; nine in ten are still by {}\u{a0}s after contact.",
        style.words(),
        bare(report.travel.median.best, decimal),
        bare(report.settle.median.best, decimal),
        bare(report.settle.p90.best, decimal)
    )
}

fn more(report: &Report) -> String {
    match report.more_placements as usize {
        0 => "Enough is timed: nine in ten of the hands time is known to a tenth. Time again when technique, tweezers or fans change.".to_owned(),
        n => format!(
            "About {} would be worth timing: then nine in ten of the hands time is known to a tenth. The slow placements are those a quick adhesive disturbs, and they are the least known. Several short sittings tell more than one long one.",
            count(n, "more placement")
        ),
    }
}

fn trend(report: &Report, decimal: DecimalMark) -> String {
    let Some(trend) = report.trend else {
        return match report.sessions {
            1 => "Two more sittings are needed to see whether the settle changes.".to_owned(),
            _ => "One more sitting is needed to see whether the settle changes.".to_owned(),
        };
    };
    let times = |factor: f64| decimal.show(factor, 2);
    let said = format!(
        "From one sitting to the next the settle becomes about {} times as long, nine times in ten {}–{}.",
        times(trend.factor),
        times(trend.low),
        times(trend.high)
    );
    if trend.low < 1.0 && trend.high > 1.0 { format!("{said} That may be chance.") } else { said }
}

fn quantity(what: &'static str, fit: &Nig, of: &Quantity, decimal: DecimalMark) -> QuantityRow {
    let figure = |known: &Known| (bare(known.best, decimal), range(known, decimal));
    QuantityRow { what, sure: sureness(fit, 0.5), figures: [figure(&of.median), figure(&of.p90), figure(&of.p95)] }
}

fn style_links(house: &House, artist: &Artist, kept: &[(ArtistId, Style, KeptReport)], here: Style) -> Vec<StyleLink> {
    let mut styles = artist.styles.clone();
    styles.extend(kept.iter().map(|(_, style, _)| *style));
    styles.push(here);
    styles.sort();
    styles.dedup();
    styles
        .into_iter()
        .map(|style| StyleLink {
            words: capital(&style.words()),
            href: house.url(&format!("/hands/{}?style={}", artist.id, style.key())),
            here: style == here,
        })
        .collect()
}

fn charts(
    artist: &Artist,
    style: Style,
    kept: Option<&KeptReport>,
    sessions: &[(Session, KeptSitting)],
    against: &Against,
    studio: &Studio,
    now: Instant,
) -> Vec<(&'static str, Chart)> {
    let whose = format!("{}, {}", artist.name, style.words());
    let wording = |id| Wording { id, whose: &whose, decimal: studio.decimal };
    let Some(kept) = kept.filter(|kept| kept.hands.placements > 0) else { return Vec::new() };
    let hands_time = kept.hands.hands_time_at(against.openness().ln());
    let dots = chart::dots_of(|p| hands_time.new_placement(p).exp());
    let bonds = against.dots();
    let times = bonds.as_ref().map(|(name, seconds)| chart::Times { name, seconds });
    let rows: Vec<Row> = sessions
        .iter()
        .filter(|(session, _)| session.struck.is_none())
        .map(|(session, sitting)| Row { label: studio.zone.date(session.at, now), sitting: sitting.clone() })
        .collect();
    let new = |p: f64| Seconds::clamped(kept.hands.settle.new_placement(p).exp());
    let spread = Spread { median: new(0.5), half: (new(0.25), new(0.75)), likely: (new(0.1), new(0.9)) };
    let pooled = Pooled { placements: kept.hands.placements, spread, p95: new(0.95) };
    vec![
        ("When it lies still", chart::hands_against(&dots, times, &wording("against"))),
        ("Session by session", chart::sessions("settle", Some(pooled), &rows, &wording("by-session"))),
    ]
}
