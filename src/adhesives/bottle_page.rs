//! A bottle's page: what it does here and now, how that was learned, what to test next, how it stands, its tests.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::bottle::{Bottle, Lapse};
use super::bottle_form::{CUPBOARD, places};
use super::here::Here;
use super::known::{Before, Known};
use super::learned::{EffectRow, Learning, effect_rows, learning};
use super::lots::CorrectedLots;
use super::product::{Product, allowed_key};
use super::protocol::{self, Next};
use super::set_time::{NextTest, Posterior, Times, times};
use super::shelf_page::class_words;
use super::summary::Summary;
use super::test_rows::{TestRow, test_row};
use super::untested::{Untested, untested};
use super::{AirDoubt, Bead, Conditions, Liquids, bench_store, effects, shelf, store, words};
use crate::base::ids::{BottleId, RoomId};
use crate::base::problem::Problem;
use crate::base::stats::mixture::Mixture;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::rooms::{self, Room};
use crate::store::Db;
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

/// Tests on one page of the list.
const TESTS_A_PAGE: i64 = 20;

pub(super) fn routes() -> Routes {
    Routes::new().get("/shelf/bottles/{bottle}", show)
}

#[derive(Deserialize, Default)]
struct Asked {
    /// Which page of tests, from 1.
    #[serde(default)]
    tests: String,
    /// In the air of which room; the one it stands in by itself.
    #[serde(default)]
    room: String,
}

/// A room in whose air the page can speak.
struct RoomLink {
    word: String,
    href: String,
    here: bool,
}

/// A number with its rule.
struct Ruled {
    value: String,
    against: String,
    rule: String,
}

struct NextView {
    what: String,
    narrows: String,
    /// The bench with this test chosen; "" where nothing can be tested.
    bench: String,
}

struct Line {
    word: &'static str,
    value: String,
}

#[derive(Template)]
#[template(path = "adhesives/bottle.html")]
struct BottlePage {
    frame: Frame,
    key: String,
    path: String,
    head: String,
    /// The rooms in whose air it can be looked at.
    rooms: Vec<RoomLink>,
    lead: String,
    /// What has to be said with the number: maker's window, the studio's own tests.
    remarks: Vec<String>,
    set: Ruled,
    open: Ruled,
    learned_from: String,
    learned_share: String,
    next: Option<NextView>,
    state: (&'static str, String),
    lines: Vec<Line>,
    bench: String,
    may_open: bool,
    in_use: bool,
    finished: bool,
    stopped: bool,
    place_field: FieldView,
    learning: Learning,
    effects: Vec<EffectRow>,
    tests: Vec<TestRow>,
    newer: String,
    older: String,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let now = staff.visitor.now.0;
    let found = Found::load(&mut db, id, asked.room.parse().ok(), now).await?;
    let page_of_tests = asked.tests.parse::<i64>().unwrap_or(1).clamp(1, 100_000);
    let skip = (page_of_tests - 1) * TESTS_A_PAGE;
    let mut tests = bench_store::newest_tests(&mut db, id, TESTS_A_PAGE + 1, skip).await?;
    let more = tests.len() > 20;
    tests.truncate(20);
    let all_rooms = rooms::all(&mut db).await?;
    let classes = store::classes(&mut db).await?;
    let path = house.url(&format!("/shelf/bottles/{id}"));
    let elsewhere = found.here.room.as_ref().map(|room| room.id).filter(|room| Some(*room) != found.bottle.room);
    let in_room = elsewhere.map(|room| format!("room={room}")).unwrap_or_default();
    let to_page = |n: i64| format!("{}#tests", with_query(&path, &[format!("tests={n}"), in_room.clone()]));
    let (bottle, product, studio) = (&found.bottle, &found.product, &found.studio);
    let lapse = bottle.lapse(product.opened_life_days, &studio.zone, now);
    let usable = bottle.finished.is_none() && bottle.stopped.is_none();
    let bench = if usable && bottle.opened.is_some() {
        with_query(&format!("{path}/bench"), std::slice::from_ref(&in_room))
    } else {
        String::new()
    };
    let class = product.label.class(&classes).map(|class| class_words(studio, &class));
    let at = bottle.room.filter(|room| all_rooms.iter().any(|known| known.id == *room));
    let view = BottlePage {
        frame: house.frame(studio, &staff.visitor, Place::Shelf, found.name.clone()),
        key: new_form_key(),
        head: found.head(),
        lead: found.lead(),
        remarks: found.remarks(),
        set: found.set(),
        open: found.open(),
        learned_from: found.learned_from(),
        learned_share: found.learned_share(),
        rooms: room_links(&found, &all_rooms, &path),
        next: usable.then(|| next_view(&found, &bench)),
        state: found.state(lapse, now),
        lines: found.lines(lapse, class, now),
        may_open: usable && bottle.opened.is_none(),
        in_use: bottle.in_use,
        finished: bottle.finished.is_some(),
        stopped: bottle.stopped.is_some(),
        place_field: choice_field(
            "select",
            "room",
            "Stands in",
            &at.map_or_else(|| CUPBOARD.to_owned(), |room| room.to_string()),
            places(&all_rooms),
        ),
        learning: learning(studio, &found.summary),
        effects: effect_rows(studio, &effects::effects(&found.posterior, &found.before.prior)),
        tests: tests.iter().map(|test| test_row(studio, &path, test, now)).collect(),
        newer: if page_of_tests > 1 { to_page(page_of_tests - 1) } else { String::new() },
        older: if more { to_page(page_of_tests + 1) } else { String::new() },
        bench,
        path: path.clone(),
    };
    page(&view)
}

/// An address with these parts of a query, empty ones left out; it may have some already.
fn with_query(path: &str, parts: &[String]) -> String {
    let parts: Vec<&str> = parts.iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
    match (parts.is_empty(), path.contains('?')) {
        (true, _) => path.to_owned(),
        (false, true) => format!("{path}&{}", parts.join("&")),
        (false, false) => format!("{path}?{}", parts.join("&")),
    }
}

/// Every room, where there is a choice: it stands in none, or there are several.
fn room_links(found: &Found, rooms: &[Room], path: &str) -> Vec<RoomLink> {
    let here = found.here.room.as_ref().map(|room| room.id);
    if here.is_some() && rooms.len() < 2 {
        return Vec::new();
    }
    let link = |room: &Room| RoomLink {
        word: room.name.clone(),
        href: format!("{path}?room={}", room.id),
        here: here == Some(room.id),
    };
    rooms.iter().map(link).collect()
}

fn next_view(found: &Found, bench: &str) -> NextView {
    let next = found.next();
    let (bead, liquids) = protocol::preset(next.test);
    // Other air is there only later: the bench is then no step from here.
    let now = !bench.is_empty() && !matches!(next.test, NextTest::Air(_));
    NextView {
        bench: if now {
            with_query(bench, &[format!("bead={}", bead.word()), format!("liquids={}", liquids.keys())])
        } else {
            String::new()
        },
        what: next.what,
        narrows: next.narrows,
    }
}

/// A bottle with everything its page rests on.
pub(super) struct Found {
    pub(super) studio: Studio,
    pub(super) bottle: Bottle,
    pub(super) product: Product,
    pub(super) name: String,
    corrected: CorrectedLots,
    here: Here,
    conditions: Conditions,
    doubt: AirDoubt,
    summary: Summary,
    before: Before,
    posterior: Posterior,
}

impl Found {
    /// Looks a bottle up, in the air of a room or (`None`) of the one it stands in.
    pub(super) async fn load(db: &mut Db, id: BottleId, room: Option<RoomId>, now: Instant) -> Result<Self, Problem> {
        let studio = Studio::load(db).await?;
        let bottle = store::bottle(db, id).await?.ok_or(Problem::NotHere("bottle"))?;
        let product = store::product(db, bottle.product).await?.ok_or(Problem::NotHere("product"))?;
        let name = shelf::name(&bottle, &product, &store::bottles(db).await?);
        let corrected = store::corrected_lots(db, bottle.product).await?;
        let here = Here::at(db, &studio, room.or(bottle.room), now).await?;
        let summary = bench_store::summary(db, id).await?;
        let known: Known = bench_store::known_for(db, &bottle).await?;
        let (air, doubt) = here.air();
        let conditions =
            Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: bottle.days_open(now) };
        Ok(Self {
            before: known.before(&product, known.piece(product.id, &summary)),
            posterior: known.posterior(product.id, id, &summary),
            studio,
            bottle,
            product,
            name,
            corrected,
            here,
            conditions,
            doubt,
            summary,
        })
    }

    fn is_measured(&self) -> bool {
        self.posterior.tests + self.posterior.sibling_tests > 0
    }

    fn placement(&self) -> Mixture {
        self.posterior.placement(&self.conditions, self.doubt)
    }

    /// The test that would tell most in this bottle's room.
    pub(super) fn next(&self) -> Next {
        protocol::next(&self.studio, &self.posterior, &self.conditions, self.product.accelerator, &self.here.devices)
    }

    fn head(&self) -> String {
        let of = match (&self.here.room, &self.here.read) {
            (Some(room), Some(read)) => format!("Air of {}: {}.", room.name, read.words),
            (Some(room), None) => format!("The air of {} has not been read yet.", room.name),
            (None, _) => "It stands in the cupboard: choose the room it would be used in.".to_owned(),
        };
        let stale = self.here.read.as_ref().is_some_and(|read| read.stale);
        if stale { format!("{of} Read it again: an old reading widens what follows.") } else { of }
    }

    fn lead(&self) -> String {
        let median = self.placement().quantile(0.5).exp();
        let basis = if self.is_measured() { "" } else { ", as far as label and assumptions say" };
        format!(
            "{} sets in about {} {}, with a medium bead and no liquid{basis}.",
            self.name,
            words::seconds(&self.studio, median),
            self.here.words(&self.studio)
        )
    }

    fn remarks(&self) -> Vec<String> {
        let mut remarks = Vec::new();
        if self.here.read.is_none() {
            return remarks;
        }
        let air = self.conditions.air;
        if self.product.climate.is_some_and(|climate| !climate.holds(&air)) {
            remarks.push(format!(
                "Outside the maker’s window of {}: the time may suit; the strength of the bond is not known.",
                words::climate(&self.studio, self.product.climate)
            ));
        }
        let covered = self.summary.covered;
        let said = untested(covered.humidity_pct, covered.temperature_c, &air);
        remarks.extend(said.into_iter().map(|what| self.untested_words(what)));
        remarks
    }

    /// "Never tested this dry here: its tests begin at 40 %RH."
    fn untested_words(&self, what: Untested) -> String {
        let covered = self.summary.covered;
        let percent = |value: f64| format!("{}\u{a0}%RH", self.studio.number(value, 0));
        let degrees = |value: f64| {
            let unit = self.studio.temperature_unit();
            format!("{}\u{a0}{unit}", self.studio.number(self.studio.scale(value), 1))
        };
        let edge = match what {
            Untested::Dry => covered.humidity_pct.map(|(low, _)| format!("begin at {}", percent(low))),
            Untested::Damp => covered.humidity_pct.map(|(_, high)| format!("end at {}", percent(high))),
            Untested::Cool => covered.temperature_c.map(|(low, _)| format!("begin at {}", degrees(low))),
            Untested::Warm => covered.temperature_c.map(|(_, high)| format!("end at {}", degrees(high))),
        };
        let edge = edge.map_or_else(String::new, |edge| format!(": its tests {edge}"));
        format!("{}{edge}.", capital(what.words()))
    }

    fn ruled(&self, ln_seconds: &Mixture, measured: bool) -> Ruled {
        let found: Times = times(ln_seconds);
        let half = (ln_seconds.quantile(0.25).exp(), ln_seconds.quantile(0.75).exp());
        Ruled {
            value: words::number(&self.studio, found.median.get()),
            against: format!(
                "likely {}; {}",
                words::range(&self.studio, found.low.get(), found.high.get()),
                words::sureness(found, measured)
            ),
            rule: effects::seconds_rule(&self.studio, found, half, !measured),
        }
    }

    fn set(&self) -> Ruled {
        self.ruled(&self.placement(), self.is_measured())
    }

    fn open(&self) -> Ruled {
        let open = self.summary.openness.open_time(&self.posterior, &self.conditions, self.doubt, None);
        self.ruled(&open, self.summary.openness.tests > 0)
    }

    fn learned_from(&self) -> String {
        let (own, sisters) = (self.posterior.tests, self.posterior.sibling_tests);
        let label = match (self.product.label(), self.before.of_family) {
            (Some(_), false) => "its label",
            (None, false) => "no label",
            (Some(_), true) => "its label and its family",
            (None, true) => "its family",
        };
        match (own, sisters) {
            (0, 0) => format!("{label} only"),
            (own, 0) => format!("{} of this bottle, and {label}", words::tests(own)),
            (0, sisters) => format!("{} of its sister bottles, and {label}", words::tests(sisters)),
            (own, sisters) => {
                format!("{} of this bottle, {} of its sisters, and {label}", words::tests(own), words::tests(sisters))
            }
        }
    }

    fn learned_share(&self) -> String {
        let share = self.posterior.learned(&self.before.prior, &self.conditions).share;
        match (100.0 * share).round() {
            _ if !self.is_measured() => "Nothing was tested yet: a starting guess.".to_owned(),
            percent if percent < 1.0 => "The tests took hardly any doubt away here.".to_owned(),
            percent => format!("The tests took {percent:.0} in 100 of the doubt about the mean bond away."),
        }
    }

    fn state(&self, lapse: Lapse, now: Instant) -> (&'static str, String) {
        match (self.bottle.finished, self.bottle.stopped) {
            (Some(at), _) => ("unknown", format!("finished {}", self.studio.zone.date(at, now))),
            (None, Some(_)) => ("stop", "stopped: nothing of it is used from now on".to_owned()),
            (None, None) => (lapse.mark(), lapse.words()),
        }
    }

    /// The lot that stands on it, with those it had before: "21, put right from 12 on Thu 18 Feb".
    fn lot_with_history(&self, now: Instant) -> String {
        let named = |lot: &str, none: &str| if lot.is_empty() { none.to_owned() } else { lot.to_owned() };
        let own = self.corrected.0.iter().filter(|own| own.bottle == self.bottle.id);
        let before = own.rev().map(|own| {
            format!(", put right from {} on {}", named(&own.was, "none printed"), self.studio.zone.date(own.at, now))
        });
        format!("{}{}", named(&self.bottle.lot, "not stated"), before.collect::<String>())
    }

    fn lines(&self, lapse: Lapse, class: Option<String>, now: Instant) -> Vec<Line> {
        let (bottle, product, studio) = (&self.bottle, &self.product, &self.studio);
        let date = |day: jiff::civil::Date| studio.zone.date(studio.zone.start_of(day), now);
        let or_unknown = |text: Option<String>| text.unwrap_or_else(|| "not stated".to_owned());
        let said = |text: &str| if text.is_empty() { "not stated".to_owned() } else { text.to_owned() };
        let label = match class {
            Some(class) => format!("{}; class {class}", words::label(studio, product.label)),
            None => words::label(studio, product.label),
        };
        let life = product.opened_life_days.map(|days| format!("{days}\u{a0}days"));
        [
            ("Product", product.name.clone()),
            ("Label", label),
            ("Maker’s climate", words::climate(studio, product.climate)),
            ("Made of", product.family.words().to_owned()),
            ("Colour", said(&product.colour)),
            ("Kept", said(&product.storage)),
            ("Accelerator on natural lashes", allowed_key(product.accelerator).replace('_', " ")),
            ("Lot", self.lot_with_history(now)),
            ("Came", date(bottle.received)),
            ("Date printed", or_unknown(bottle.expiry.map(date))),
            ("Opened", bottle.opened.map_or_else(|| "not yet".to_owned(), |at| studio.zone.date(at, now))),
            ("Opened life", or_unknown(life)),
            ("Last day", lapse.last().map_or_else(|| "not known".to_owned(), date)),
        ]
        .into_iter()
        .map(|(word, value)| Line { word, value })
        .collect()
    }
}
