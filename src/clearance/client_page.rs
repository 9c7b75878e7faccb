//! A client's clearance: how she stands for each visit, her tests, reactions, doctors' words and decisions. The desk reads the
//! step; those who treat read why.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::doctor_store::{complaints_of, decisions_of, findings_of, statements_of};
use super::judge::{Clearance, clearance};
use super::reaction::{GRADES, words_of};
use super::reaction_store::reactions_of;
use super::seen::{Names, client_for, note_look, treats};
use super::standing::{Bench, StandingWords, facts_of, judge_visit, words_for};
use super::test_store::tests_of;
use super::visit_store::visits_of;
use super::{doctor_store, words};
use crate::base::actor::Role;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/clearance", show)
}

#[derive(Template)]
#[template(path = "clearance/client.html")]
struct ClientPage {
    frame: Frame,
    name: String,
    path: String,
    record: String,
    standings: Vec<(String, StandingWords)>,
    /// What a decision may pass over, where this person may decide.
    may_decide: bool,
    tests: Vec<TestRow>,
    /// Only for those who treat.
    more: Option<More>,
    is_owner: bool,
}

impl ClientPage {
    /// Whether a patch test is what is to be done next: never while she is held or medical advice comes first, since a test is itself a
    /// meeting with the adhesive.
    fn suggests_a_test(&self) -> bool {
        self.standings.first().is_none_or(|(_, words)| words.mark != "stop")
    }
}

struct TestRow {
    placed: String,
    with: String,
    result: String,
    href: String,
}

/// A line: when, and words; with an address where there is a page.
struct Line {
    when: String,
    words: String,
    href: String,
}

struct More {
    reactions: Vec<Line>,
    findings: Vec<Line>,
    statements: Vec<Line>,
    decisions: Vec<Line>,
    complaints: Vec<Line>,
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let may_read = treats(&staff.who);
    {
        let mut db = house.store.read().await?;
        client_for(&mut db, id, &staff.who, now).await?;
    }
    if may_read {
        note_look(&house, &staff.who, "see clearance", id).await?;
    }
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, now).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let facts = facts_of(&mut db, house.store.keys(), id, &studio.zone, now).await?;
    let mut standings = Vec::new();
    let mut may_decide = false;
    let today = clearance(&facts, &bench.rules, &bench.house_adhesive(now), now, now);
    may_decide |= may_pass_over(&today);
    standings.push(("With the house adhesive now".to_owned(), words_for(&today, &bench, &staff.who, now)));
    for visit in visits_of(&mut db, id, now).await? {
        let answer = judge_visit(&facts, &bench, &visit, now);
        may_decide |= may_pass_over(&answer);
        let when = format!("{}, {}", studio.zone.date_and_clock(visit.at, now), visit.kind.words());
        standings.push((when, words_for(&answer, &bench, &staff.who, now)));
    }
    let tests = test_rows(&mut db, &house, &bench, id, may_read, now).await?;
    let more = if may_read { Some(more(&mut db, &house, &studio.zone, id, now).await?) } else { None };
    page(&ClientPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("Clearance of {}", client.short)),
        name: client.name,
        path: house.url(&format!("/door/clients/{id}")),
        record: house.url(&format!("/door/clients/{id}")),
        standings,
        may_decide: may_decide && bench.rules.may_override.allows(staff.who.role),
        tests,
        more,
        is_owner: staff.who.role == Role::Owner,
    })
}

fn may_pass_over(answer: &Clearance) -> bool {
    matches!(answer, Clearance::NotYet(not_yet) if !not_yet.overridable().is_empty())
}

async fn test_rows(
    db: &mut Db,
    house: &House,
    bench: &Bench,
    client: ClientId,
    may_read: bool,
    now: Instant,
) -> Result<Vec<TestRow>, Problem> {
    let tests = tests_of(db, client).await?;
    Ok(tests
        .into_iter()
        .map(|test| {
            let liquids = test.liquids.iter().map(|wet| wet.word().to_owned());
            let with: Vec<String> =
                test.products.iter().map(|met| bench.name(Some(met.product))).chain(liquids).collect();
            TestRow {
                placed: bench.zone.date_and_clock(test.placed, now),
                with: with.join(", "),
                result: if may_read { words::result(test.result, test.placed, test.read) } else { String::new() },
                href: if may_read { house.url(&format!("/door/tests/{}", test.id)) } else { String::new() },
            }
        })
        .collect())
}

async fn more(db: &mut Db, house: &House, zone: &Zone, client: ClientId, now: Instant) -> Result<More, Problem> {
    let keys = house.store.keys();
    let names = Names::load(db).await?;
    let when = |at: Instant| zone.date(at, now);
    let line = |at: Instant, words: String| Line { when: when(at), words, href: String::new() };
    let reactions = reactions_of(db, client).await?.into_iter().map(|reaction| Line {
        when: when(reaction.noticed),
        words: if reaction.closed.is_some() { "reaction, over; it holds all the same" } else { "reaction, open" }
            .to_owned(),
        href: house.url(&format!("/door/reactions/{}", reaction.id)),
    });
    let reactions = reactions.collect();
    let findings = findings_of(db, keys, client).await?.into_iter().map(|finding| {
        let day = finding.day.map(|day| format!(", day {day}")).unwrap_or_default();
        line(finding.at, format!("{} {}{day}. {}", finding.grade, words_of(&GRADES, &finding.grade), finding.words))
    });
    let findings = findings.collect();
    let statements = statements_of(db, keys, client).await?.into_iter().map(|written| {
        let what = format!("may have this family again: {}", written.family.words());
        line(written.written, format!("{what}. {}", written.words))
    });
    let statements = statements.collect();
    let decisions = decisions_of(db, keys, client).await?.into_iter().map(|decision| {
        let over = match decision.of {
            super::facts::Overridable::Validity => "a test past its days",
            super::facts::Overridable::Gap => "the largest gap",
        };
        line(
            decision.at,
            format!(
                "{} went on over {over} for {}: {}",
                names.of_mark(&decision.by),
                when(decision.from),
                decision.reason
            ),
        )
    });
    let decisions = decisions.collect();
    let complaints = complaints_of(db, keys, client).await?.into_iter().map(|complaint| Line {
        when: when(complaint.at),
        words: words_of(&doctor_store::DECISIONS, &complaint.decision).to_owned(),
        href: house.url(&format!("/door/complaints/{}", complaint.id)),
    });
    let complaints = complaints.collect();
    Ok(More { reactions, findings, statements, decisions, complaints })
}
