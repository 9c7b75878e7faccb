//! The desk list: everyone expected in the next days who is not cleared, most urgent first, one tap to act. Others can see this
//! screen: short names, the missing step, and nothing about health.

use std::collections::{HashMap, HashSet};

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::judge::{Clearance, Missing};
use super::reaction_store::due_follow_ups;
use super::seen::{Names, treats};
use super::standing::{Bench, Standing, standings};
use super::visit_store::VisitKind;
use super::words;
use crate::base::actor::{Role, Who};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::clients::{self, Client};
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::new_form_key;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/not-cleared", desk_list)
}

/// How many days ahead the list looks.
const AHEAD: i64 = 7;

/// A row of the list, as printed.
pub struct DeskRow {
    /// Her short name.
    pub short: String,
    /// When she is expected, and for what.
    pub visit: String,
    /// "near" or "stop".
    pub mark: &'static str,
    /// The word beside it.
    pub word: &'static str,
    /// The missing step.
    pub step: String,
    /// Until when, with the time left.
    pub due: String,
    /// One tap: address and words; the address is empty where there is nothing to tap.
    pub act: (String, String),
    /// Words to copy into a message; empty without.
    pub message: String,
}

/// A call that is due.
struct CallRow {
    /// Her short name.
    short: String,
    /// When it was or is due.
    due: String,
    /// "near" or "stop".
    mark: &'static str,
    /// Where it is recorded; empty for those who do not treat, and for an artist whose client she is not.
    href: String,
}

#[derive(Template)]
#[template(path = "clearance/desk.html")]
struct DeskPage {
    frame: Frame,
    key: String,
    rows: Vec<DeskRow>,
    calls: Vec<CallRow>,
    /// How many calls there are, and how many of them are overdue.
    calls_small: String,
    cleared: usize,
    expected: usize,
    visits: Vec<VisitRow>,
    days: i64,
    no_house_adhesive: bool,
}

/// Somebody expected, with the form that takes her off the list.
struct VisitRow {
    short: String,
    visit: String,
    mark: &'static str,
    word: &'static str,
    /// Where she is taken off; empty for an artist whose client she is not.
    gone: String,
}

/// The first `most` rows of the desk list, for Today, and how many more there are: everybody expected in the next seven days who is not
/// cleared.
///
/// # Errors
/// When the database cannot be read.
pub async fn desk_rows(
    house: &House,
    db: &mut Db,
    studio: &Studio,
    who: &Who,
    now: Instant,
    most: usize,
) -> Result<(Vec<DeskRow>, usize), Problem> {
    let (bench, names) = (Bench::load(db, &studio.zone).await?, Names::load(db).await?);
    let all = standings(db, house.store.keys(), &bench, span(studio, now), now).await?;
    let open = not_cleared(&bench, &all);
    let rows = open.iter().take(most).map(|standing| row(house, studio, &bench, &names, who, standing, now)).collect();
    Ok((rows, open.len().saturating_sub(most)))
}

/// From the beginning of today to the end of the seventh day.
fn span(studio: &Studio, now: Instant) -> (Instant, Instant) {
    (studio.zone.start_of_day_before(now, 0), studio.zone.start_of_day_before(now, -AHEAD))
}

async fn desk_list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (bench, names) = (Bench::load(&mut db, &studio.zone).await?, Names::load(&mut db).await?);
    let all = standings(&mut db, house.store.keys(), &bench, span(&studio, now), now).await?;
    let row = |standing: &&Standing| row(&house, &studio, &bench, &names, &staff.who, standing, now);
    let rows = not_cleared(&bench, &all).iter().map(row).collect();
    let open = opened_by(&mut db, &staff.who, &all).await?;
    let calls = calls(&house, &mut db, &studio, &staff.who, &all, now).await?;
    let visit_row = |standing: &Standing| {
        let mark = words::shared_mark(&standing.answer, &bench.rules, now);
        VisitRow {
            short: standing.short.clone(),
            visit: visit_words(standing, &studio, &names, now),
            mark: mark.mark,
            word: mark.word,
            gone: if open.contains(&standing.visit.client) {
                house.url(&format!("/door/visits/{}/gone", standing.visit.id))
            } else {
                String::new()
            },
        }
    };
    page(&DeskPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Not cleared"),
        key: new_form_key(),
        cleared: all.iter().filter(|standing| standing.answer.is_cleared()).count(),
        expected: all.len(),
        visits: all.iter().map(visit_row).collect(),
        rows,
        calls_small: match (calls.len(), calls.iter().filter(|call| call.mark == "stop").count()) {
            (all, 0) => format!("how somebody is: {all}"),
            (all, late) => format!("how somebody is: {all}, {late} overdue"),
        },
        calls,
        days: AHEAD,
        no_house_adhesive: bench.house_adhesive(now).is_empty(),
    })
}

/// Those who are not cleared, the most urgent first.
fn not_cleared<'s>(bench: &Bench, all: &'s [Standing]) -> Vec<&'s Standing> {
    let mut open: Vec<&Standing> = all.iter().filter(|standing| !standing.answer.is_cleared()).collect();
    open.sort_by_key(|standing| (urgent(standing, bench), standing.visit.at));
    open
}

/// When the next step is due: of those held, an hour before they come, so that somebody speaks with them in time.
fn urgent(standing: &Standing, bench: &Bench) -> Instant {
    match &standing.answer {
        Clearance::NotYet(not_yet) => not_yet.due(&bench.rules),
        _ => standing.visit.at.plus(-HOUR),
    }
}

fn row(
    house: &House,
    studio: &Studio,
    bench: &Bench,
    names: &Names,
    who: &Who,
    standing: &Standing,
    now: Instant,
) -> DeskRow {
    let artist = standing.visit.artist.map_or_else(|| "the artist".to_owned(), |id| names.first(id));
    let mark = words::shared_mark(&standing.answer, &bench.rules, now);
    let (due, message) = match &standing.answer {
        Clearance::NotYet(not_yet) => (
            words::deadline(not_yet, &bench.rules, &studio.zone, now),
            words::message(not_yet, standing.visit.at, &bench.rules, &studio.name, &studio.zone, now)
                .unwrap_or_default(),
        ),
        _ => (format!("before {}", studio.zone.date_and_clock(standing.visit.at, now)), String::new()),
    };
    DeskRow {
        short: standing.short.clone(),
        visit: visit_words(standing, studio, names, now),
        mark: mark.mark,
        word: mark.word,
        step: words::shared_step(&standing.answer, &artist),
        due,
        act: act(house, who, standing),
        message,
    }
}

fn visit_words(standing: &Standing, studio: &Studio, names: &Names, now: Instant) -> String {
    let with = standing.visit.artist.map(|id| format!(", {}", names.first(id))).unwrap_or_default();
    format!("{}, {}{with}", studio.zone.date_and_clock(standing.visit.at, now), standing.visit.kind.words())
}

/// The one tap. An artist taps only for the clients she may see.
fn act(house: &House, who: &Who, standing: &Standing) -> (String, String) {
    let may = who.role != Role::Artist || standing.visit.artist == Some(who.id);
    if !may {
        return (String::new(), String::new());
    }
    let client = standing.visit.client;
    let (path, act) = match &standing.answer {
        Clearance::NotYet(not_yet) => match not_yet.missing.first() {
            Some(Missing::Test { .. }) => (format!("/door/clients/{client}/tests/new"), "Record a patch test"),
            Some(Missing::Reading { test, .. }) if treats(who) => {
                (format!("/door/tests/{test}"), "Read the patch test")
            }
            Some(Missing::Adhesive) => ("/door/house-adhesive".to_owned(), "Choose the adhesive"),
            Some(Missing::Answers { .. } | Missing::BirthDate | Missing::Consent) => {
                (format!("/door/clients/{client}"), "Open her record")
            }
            _ => (format!("/door/clients/{client}/clearance"), "See what is missing"),
        },
        _ => (format!("/door/clients/{client}/clearance"), "See what to do"),
    };
    (house.url(&path), act.to_owned())
}

/// Those of the clients expected whose record this person may open.
async fn opened_by(db: &mut Db, who: &Who, all: &[Standing]) -> Result<HashSet<ClientId>, Problem> {
    let ids: Vec<_> = all.iter().map(|standing| standing.visit.client).collect();
    if who.role != Role::Artist {
        return Ok(ids.into_iter().collect());
    }
    let clients = clients::several(db, &ids).await?;
    Ok(clients.into_iter().filter(|client| may_open(client, who, all)).map(|client| client.id).collect())
}

/// An artist opens the record of a client she keeps or looks after, and of one who is booked with her.
fn may_open(client: &Client, who: &Who, all: &[Standing]) -> bool {
    let with_her = |standing: &Standing| standing.visit.client == client.id && standing.visit.artist == Some(who.id);
    clients::may_see(client, who) || all.iter().any(with_her)
}

/// Calls due until tomorrow: follow-ups of reactions, which this screen does not call by that name.
async fn calls(
    house: &House,
    db: &mut Db,
    studio: &Studio,
    who: &Who,
    all: &[Standing],
    now: Instant,
) -> Result<Vec<CallRow>, Problem> {
    let due = due_follow_ups(db, now.plus(DAY + HOUR)).await?;
    let ids: Vec<_> = due.iter().map(|follow_up| follow_up.client).collect();
    let clients = clients::several(db, &ids).await?;
    // Of somebody erased the reaction may have to stay; nobody is called by it any more.
    let in_use = clients.into_iter().filter(Client::is_in_use);
    let known: HashMap<_, _> = in_use.map(|client| (client.id, client)).collect();
    let mut rows = Vec::new();
    for follow_up in due {
        let Some(client) = known.get(&follow_up.client) else { continue };
        rows.push(CallRow {
            short: client.short.clone(),
            due: format!("{}, {}", studio.zone.date_and_clock(follow_up.due, now), words::left(follow_up.due, now)),
            mark: if follow_up.due < now { "stop" } else { "near" },
            href: if treats(who) && may_open(client, who, all) {
                house.url(&format!("/door/reactions/{}", follow_up.reaction))
            } else {
                String::new()
            },
        });
    }
    Ok(rows)
}

/// Who of those expected with this adhesive from an instant on needs a test first, for the page of the house adhesive.
pub(super) fn needs_a_test(standing: &Standing) -> bool {
    !matches!(standing.visit.kind, VisitKind::Test | VisitKind::Other)
        && match &standing.answer {
            Clearance::NotYet(not_yet) => not_yet.missing.iter().any(|missing| matches!(missing, Missing::Test { .. })),
            _ => false,
        }
}
