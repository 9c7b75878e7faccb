//! Decisions over validity and gap, doctors' statements, doctors' findings: three forms of one client.

use axum::extract::State;
use axum::response::Response;

use super::doctor_store::{Decision, Finding, Written, add_decision, add_finding, add_statement};
use super::facts::Overridable;
use super::from_cards::TreatedBy;
use super::judge::{Clearance, clearance};
use super::reaction::{GRADES, LOOK_BACK};
use super::reaction_store::reactions_of;
use super::seen::{client_for, must_treat};
use super::standing::{Bench, facts_of, judge_visit};
use super::test_store::tests_of;
use super::typed::{
    Caution, FormPage, MoreNotes, SEEN, Typed, kept_field, notes_of, seen_field, time_field, words_field,
};
use super::visit_store::visits_of;
use crate::adhesives::Family;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field};
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::Visitor;

pub(super) fn routes(treated: TreatedBy) -> Routes {
    Routes::new()
        .get("/door/clients/{client}/decisions/new", decision_form)
        .post("/door/clients/{client}/decisions", decide)
        .get("/door/clients/{client}/statements/new", statement_form)
        .post(
            "/door/clients/{client}/statements",
            move |owner: Owner, house: State<House>, id: At<ClientId>, form: Form<Typed>| {
                state(owner, house, id, form, treated)
            },
        )
        .get("/door/clients/{client}/findings/new", finding_form)
        .post("/door/clients/{client}/findings", find)
}

/// The earliest day a doctor's letter may bear: nobody brings one older than a life of records.
const OLDEST: i64 = 20 * 365 * DAY;

fn bare(house: &House, studio: &Studio, visitor: &Visitor, client: &Client, title: String) -> FormPage {
    FormPage {
        frame: house.frame(studio, visitor, Place::Door, title),
        key: new_form_key(),
        action: String::new(),
        word: "",
        small: "",
        lead: Vec::new(),
        caution: None,
        fields: Vec::new(),
        mistakes: Vec::new(),
        button: "",
        back: (house.url(&format!("/door/clients/{}/clearance", client.id)), "Back to her clearance"),
    }
}

// ---- decisions -----------------------------------------------------------------------------------------------------

/// What may be passed over, and for which day.
struct Open {
    studio: Studio,
    client: Client,
    of: Vec<Overridable>,
    day: (Instant, Instant),
}

impl Open {
    /// Names what stands before her, and for which day it would be passed over.
    fn mark(&self) -> String {
        let of: Vec<&str> = self.of.iter().map(|of| of.word()).collect();
        format!("{} {}", self.day.0.0, of.join(" "))
    }
}

/// The first treatment, today's or a visit's, that only validity or gap stands before.
async fn open_decision(house: &House, staff: &Staff, id: ClientId) -> Result<Open, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, now).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    if !bench.rules.may_override.allows(staff.who.role) {
        return Err(Problem::NotYours("The studio’s rules do not let you go on over a test past its days or a gap."));
    }
    let facts = facts_of(&mut db, house.store.keys(), id, &studio.zone, now).await?;
    let visits = visits_of(&mut db, id, now).await?;
    let answers = visits
        .iter()
        .map(|visit| (visit.at, judge_visit(&facts, &bench, visit, now)))
        .chain(std::iter::once((now, clearance(&facts, &bench.rules, &bench.house_adhesive(now), now, now))));
    for (at, answer) in answers {
        let Clearance::NotYet(not_yet) = &answer else { continue };
        let of = not_yet.overridable();
        if !of.is_empty() {
            let day = (studio.zone.start_of_day_before(at, 0), studio.zone.start_of_day_before(at, -1));
            return Ok(Open { studio, client, of, day });
        }
    }
    Err(Problem::Clash(
        "Nothing here may be passed over: only a test past its days and too large a gap may.".to_owned(),
        "Open her clearance to see what is missing or why she is held.".to_owned(),
    ))
}

fn decision_view(house: &House, staff: &Staff, open: &Open, typed: &Typed) -> FormPage {
    let over: Vec<&str> = open
        .of
        .iter()
        .map(|of| match of {
            Overridable::Validity => "her last test is past its days",
            Overridable::Gap => "too long has passed since her last treatment",
        })
        .collect();
    let day = open.studio.zone.date(open.day.0, staff.visitor.now.0);
    FormPage {
        action: house.url(&format!("/door/clients/{}/decisions", open.client.id)),
        word: "Go on",
        small: "with a written reason",
        lead: vec![format!("For {day} only: {}.", over.join(", and "))],
        caution: Some(Caution {
            heading: "The insurer may not cover this treatment",
            sentences: vec![
                "Your name, the reason and the time are kept and stay in her file and in the audit chain.",
                "A reaction, a doubtful result, an answer that forbids or refers, a wait not over, a declined test and a minor without guardian can never be passed over.",
            ],
        }),
        fields: vec![
            words_field("reason", "Your reason", typed.get("reason"))
                .hinted("At least a sentence somebody else can follow."),
            // Typed for this day and over this: whoever comes late must not go on over something else.
            seen_field(&open.mark()),
            kept_field(
                "record",
                "A decision that waits clears nobody. Clearance cannot be checked: treat nobody not on the printed list.",
            ),
        ],
        button: "Go on for that day",
        ..bare(house, &open.studio, &staff.visitor, &open.client, format!("Go on with {}", open.client.short))
    }
}

async fn decision_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let open = open_decision(&house, &staff, id).await?;
    page(&decision_view(&house, &staff, &open, &Typed::default()))
}

async fn decide(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let open = open_decision(&house, &staff, id).await?;
    let mut notes = Notes::default();
    let reason = notes.words("reason", form.typed.get("reason"), 1000);
    if reason.as_ref().is_some_and(|reason| reason.chars().count() < 12) {
        notes.add("reason", "Say why in a sentence that somebody else can follow.");
    }
    let seen = form.typed.get(SEEN);
    if !seen.is_empty() && seen != open.mark() {
        notes.add("reason", "What stands before her, or the day, is another since this was opened. Look at what is written above, and send it again if it holds for that.");
    }
    match notes.settle(reason) {
        Ok(reason) => {
            let (inner, of, day) = (house.clone(), open.of, open.day);
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, of, reason) = (inner.clone(), of.clone(), reason.clone());
                    Box::pin(async move {
                        for of in of {
                            let at = tx.now.0;
                            let reason = reason.clone();
                            let decision = Decision { of, from: day.0, until: day.1, reason, by: String::new(), at };
                            add_decision(tx, house.store.keys(), id, &decision).await?;
                        }
                        Ok(Kept::see(format!("/door/clients/{id}/clearance")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = decision_view(&house, &staff, &open, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}

// ---- statements ----------------------------------------------------------------------------------------------------

async fn open_client(
    house: &House,
    who: &crate::base::actor::Who,
    now: Instant,
    id: ClientId,
) -> Result<(Studio, Client), Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    Ok((studio, client_for(&mut db, id, who, now).await?))
}

fn statement_view(house: &House, owner: &Owner, studio: &Studio, client: &Client, typed: &Typed) -> FormPage {
    let families = Family::ALL
        .into_iter()
        .filter(|family| family.is_kin())
        .map(|family| (family.key().to_owned(), format!("may have this family again: {}", family.words())));
    FormPage {
        action: house.url(&format!("/door/clients/{}/statements", client.id)),
        word: "Statement",
        small: "of a doctor, in writing",
        lead: vec!["The paper is in your hands, names this client, and a doctor has signed it. What a doctor answers to “medical advice first” stands with her health answers.".to_owned()],
        caution: Some(Caution {
            heading: "This lifts a hold",
            sentences: vec![
                "Only the owner enters it, and never the one who treated her when she reacted.",
                "It counts for the family it names and for nothing else, and only for what was recorded before it. A new patch test still comes first.",
            ],
        }),
        fields: vec![
            choice_field("radio", "says", "What it says", typed.get("says"), families),
            time_field("written", "Written on", typed.get("written")),
            words_field("words", "Who wrote it, and what in words", typed.get("words")),
            kept_field("record", "A statement that waits lifts nothing. Clearance cannot be checked: treat nobody not on the printed list."),
        ],
        button: "Keep the statement",
        ..bare(house, studio, &owner.visitor, client, format!("A doctor’s statement about {}", client.short))
    }
}

async fn statement_form(owner: Owner, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let now = owner.visitor.now.0;
    let (studio, client) = open_client(&house, &owner.who, now, id).await?;
    // Not even the day: a letter lifts only what was recorded before it was written, so the day is typed from the letter.
    page(&statement_view(&house, &owner, &studio, &client, &Typed::default()))
}

fn check_statement(typed: &Typed, studio: &Studio, now: Instant) -> Result<Written, Problem> {
    let mut notes = Notes::default();
    let says = typed.get("says");
    let family = Family::from_key(says).filter(|family| family.is_kin());
    let family = notes.choice("says", family);
    let written = notes.instant("written", typed.get("written"), &studio.zone, (now.plus(-OLDEST), now));
    let words = notes.words("words", typed.get("words"), 2000);
    notes.settle((|| Some(Written { family: family?, written: written?, words: words? }))())
}

async fn state(
    owner: Owner,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
    treated: TreatedBy,
) -> Result<Response, Problem> {
    let now = owner.visitor.now.0;
    let (studio, client) = open_client(&house, &owner.who, now, id).await?;
    match check_statement(&form.typed, &studio, now) {
        Ok(written) => {
            let (inner, me) = (house.clone(), owner.who.id);
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, written) = (inner.clone(), written.clone());
                    Box::pin(async move {
                        // Inside the write: a reaction recorded meanwhile counts.
                        let reactions = reactions_of(tx.db(), id).await?;
                        let mine = format!("person:{me}");
                        let tests = tests_of(tx.db(), id).await?;
                        let mut concerned = tests.iter().any(|test| test.result.holds() && test.placed_by == mine);
                        for reaction in &reactions {
                            // What was typed with it, or the card of the treatment before it: one of them may name nobody.
                            let before = (reaction.noticed.plus(-LOOK_BACK), reaction.noticed);
                            let treated = treated(tx.db(), id, before).await?;
                            concerned |= reaction.artist.into_iter().chain(treated).any(|artist| artist == me);
                        }
                        if concerned {
                            return Err(Problem::NotYours(
                                "You treated her when she reacted: another owner enters the doctor’s statement.",
                            ));
                        }
                        add_statement(tx, house.store.keys(), id, &written).await?;
                        Ok(Kept::see(format!("/door/clients/{id}/clearance")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = statement_view(&house, &owner, &studio, &client, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}

// ---- findings ------------------------------------------------------------------------------------------------------

fn finding_view(house: &House, staff: &Staff, studio: &Studio, client: &Client, typed: &Typed) -> FormPage {
    let grades = GRADES.map(|(sign, words)| (sign.to_owned(), format!("{sign}  {words}")));
    FormPage {
        action: house.url(&format!("/door/clients/{}/findings", client.id)),
        word: "Finding",
        small: "from a doctor’s letter",
        lead: vec![
            "Copied from the letter, on the scale of the International Contact Dermatitis Research Group. It is no patch test of the studio and is never made into one.".to_owned(),
            "Anything but “no reaction” and “not tested” holds adhesive until a doctor’s statement says otherwise. “No reaction” clears nobody.".to_owned(),
        ],
        fields: vec![
            choice_field("radio", "grade", "What it says", typed.get("grade"), grades),
            time_field("at", "Read on", typed.get("at")),
            number_field("day", "Days after the patches were put on", typed.get("day"))
                .hinted("Usually read on day 2, on day 3 or 4, and about day 7.")
                .or_empty()
                .short(),
            words_field("words", "To what, and who read it", typed.get("words")),
            kept_field("record", "Nobody else sees it until then: tell them, and place nothing with adhesive on her."),
        ],
        button: "Keep the finding",
        ..bare(house, studio, &staff.visitor, client, format!("A doctor’s finding about {}", client.short))
    }
}

async fn finding_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let (studio, client) = open_client(&house, &staff.who, now, id).await?;
    page(&finding_view(&house, &staff, &studio, &client, &Typed::default()))
}

fn check_finding(typed: &Typed, studio: &Studio, now: Instant) -> Result<Finding, Problem> {
    let mut notes = Notes::default();
    let known = GRADES.iter().find(|(sign, _)| *sign == typed.get("grade")).map(|(sign, _)| (*sign).to_owned());
    let grade = notes.choice("grade", known);
    let at = notes.instant("at", typed.get("at"), &studio.zone, (now.plus(-OLDEST), now));
    let day = if typed.get("day").trim().is_empty() {
        Some(None)
    } else {
        notes.whole("day", typed.get("day"), (0, 60), "").map(Some)
    };
    let words = notes.words("words", typed.get("words"), 2000);
    notes.settle((|| Some(Finding { at: at?, grade: grade?, day: day?, words: words? }))())
}

async fn find(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let (studio, client) = open_client(&house, &staff.who, now, id).await?;
    match check_finding(&form.typed, &studio, now) {
        Ok(finding) => {
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, finding) = (inner.clone(), finding.clone());
                    Box::pin(async move {
                        add_finding(tx, house.store.keys(), id, &finding).await?;
                        Ok(Kept::see(format!("/door/clients/{id}/clearance")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = finding_view(&house, &staff, &studio, &client, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}
