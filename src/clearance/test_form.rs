//! A patch test is placed or declined; and what any form that places one asks first.

use axum::extract::State;
use axum::response::Response;

use super::facts::{PlannedProduct, TestResult};
use super::judge::{Clearance, Reason, clearance};
use super::lot_store::{LotBottle, bottles};
use super::rules::{PLACED, SITE_LETTERS};
use super::seen::{client_for, treats};
use super::standing::{Bench, facts_for_test};
use super::test_store::{Met, Method, PatchTest, add_test};
use super::typed::{
    Caution, FormPage, MoreNotes, NOT_CHECKED, Typed, checks_field, kept_field, notes_of, time_field, wall,
};
use super::wet::Wet;
use crate::adhesives::Family;
use crate::base::actor::{Actor, Who};
use crate::base::ids::{ClientId, PatchTestId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant, MINUTE};
use crate::clients::{Client, Purpose, consent_in_force, not_restricted};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field, text_field};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/tests/new", test_form).post("/door/clients/{client}/tests", add)
}

/// What stands before every form that places a test.
pub(super) fn caution() -> Caution {
    Caution {
        heading: "A patch test is itself a meeting with the adhesive",
        sentences: vec![
            "Place it as the maker of this adhesive allows; adhesive is never put on skin otherwise.",
            "Nobody with pain, swelling or changed vision is tested: medical help first.",
            "Nothing seen in two days does not foretell a first treatment: where people became sensitive to a first meeting, it showed after about a month.",
        ],
    }
}

/// The bottles a test may be placed with, as choices: those not finished and not stopped.
pub(super) fn bottle_choices(all: &[LotBottle], bench: &Bench) -> Vec<(String, String)> {
    let words = |bottle: &LotBottle| (bottle.bottle.to_string(), bench.met_words(&bottle.met));
    let mut choices: Vec<_> = all.iter().filter(|bottle| bottle.stopped.is_none()).map(words).collect();
    choices.sort_by_cached_key(|(_, words)| crate::base::text::fold(words));
    choices
}

/// Products and lots of the bottles chosen for a test placed at an instant: at least one.
pub(super) fn chosen_bottles(notes: &mut Notes, typed: &Typed, all: &[LotBottle], at: Instant) -> Option<Vec<Met>> {
    let met = chosen_bottles_or_none(notes, typed, all, at)?;
    if met.is_empty() {
        notes.add("bottle", "Choose at least one bottle.");
        return None;
    }
    Some(met)
}

/// Products and lots of the bottles chosen, where liquids alone may be tested.
fn chosen_bottles_or_none(notes: &mut Notes, typed: &Typed, all: &[LotBottle], at: Instant) -> Option<Vec<Met>> {
    let mut met: Vec<Met> = Vec::new();
    for id in typed.all("bottle") {
        let usable = |bottle: &&LotBottle| bottle.bottle.to_string() == id && bottle.could_be_used(at);
        let Some(bottle) = all.iter().find(usable) else {
            notes.add("bottle", "Choose one of these.");
            return None;
        };
        if !met.contains(&bottle.met) {
            met.push(bottle.met.clone());
        }
    }
    Some(met)
}

/// The liquids ticked; none is fine.
pub(super) fn chosen_liquids(notes: &mut Notes, typed: &Typed) -> Option<Vec<Wet>> {
    let mut words = typed.all("liquid");
    words.sort_unstable();
    words.dedup();
    notes.choice("liquid", words.into_iter().map(Wet::from_word).collect::<Option<Vec<_>>>())
}

/// Notes a mistake where she may not be tested, or might not when the test was placed: held or referred for something else than a test
/// she declined before. Who does not treat her is answered alike for every bottle and liquid: where one of them is held, or was before a
/// doctor's statement, those who treat place the test.
pub(super) async fn may_be_tested(
    notes: &mut Notes,
    field: &'static str,
    house: &House,
    (who, client): (&Who, ClientId),
    (met, liquids): (&[Met], &[Wet]),
    bench: &Bench,
    (at, now): (Instant, Instant),
) -> Result<(), Problem> {
    let mut db = house.store.read().await?;
    let (facts, guardian_for_test) = facts_for_test(&mut db, house.store.keys(), client, &bench.zone, now).await?;
    // What she told after it was placed barred no test then; it bars the treatments from now on. The time is typed to the minute.
    let told_since = facts.health.answered.is_some_and(|answered| answered >= at.plus(MINUTE));
    let statements = facts.statements.clone();
    let mut facts = facts.as_of(at);
    if told_since {
        (facts.health.do_not_treat, facts.health.advice_first) = (false, false);
    }
    // A letter entered since speaks of her as she was then, too.
    facts.statements = statements;
    // At the test a guardian's consent to the test is asked for; the one to the treatment at the treatment.
    facts.guardian = guardian_for_test;
    let adhesives = met.iter().filter_map(|met| bench.adhesive(met.product));
    let mut planned: Vec<PlannedProduct> = adhesives.chain(liquids.iter().map(|wet| wet.planned())).collect();
    if !treats(who) {
        // No statement names a family that is not stated.
        planned.push(PlannedProduct::adhesive(ProductId::new(), Family::NotStated));
        planned.extend(Wet::ALL.into_iter().map(Wet::planned));
    }
    let is_held = match clearance(&facts, &bench.rules, &planned, at, at) {
        // What was stopped by then could not be chosen; what was stopped since was met all the same.
        Clearance::Held(reasons) => reasons.iter().any(|why| !matches!(why, Reason::Declined(_) | Reason::Stopped(_))),
        Clearance::Refer(_) => true,
        Clearance::Cleared(_) | Clearance::NotYet(_) => false,
    };
    if is_held {
        notes.add(field, "No test now: speak with the artist or the owner first.");
    }
    Ok(())
}

/// What a form rests on that places a test.
pub(super) struct Opened {
    pub(super) studio: Studio,
    pub(super) client: Client,
    pub(super) bench: Bench,
    pub(super) bottles: Vec<LotBottle>,
    /// Whether she agrees to be tested, by a consent in force.
    pub(super) agreed: bool,
}

impl Opened {
    /// What is said where she has signed nothing. It bars no test: on paper she may have.
    pub(super) fn unsigned(&self) -> Option<String> {
        (!self.agreed).then(|| {
            "No consent to a patch test is signed here: she, and under age her guardian, reads and signs it first, on her page or on paper."
                .to_owned()
        })
    }
}

pub(super) async fn open(house: &House, staff: &Staff, id: ClientId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, staff.visitor.now.0).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let agreed = consent_in_force(&mut db, id, Purpose::PatchTest, staff.visitor.now.0).await?;
    Ok(Opened { studio, client, bench, bottles: bottles(&mut db).await?, agreed })
}

async fn test_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    not_restricted(&opened.client)?;
    // Only the clock is filled in: what was placed, how, where and from which bottle is for whoever placed it to say.
    let fresh = Typed::of([("at", wall(&opened.studio.zone, staff.visitor.now.0))]);
    page(&view(&house, &staff, &opened, &fresh))
}

fn view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let own = |value: &str, words: &str| (value.to_owned(), words.to_owned());
    let methods = Method::ALL.map(|method| own(method.word(), method.words()));
    let fields = vec![
        choice_field(
            "radio",
            "done",
            "What happened",
            typed.get("done"),
            [own("placed", "a test was placed"), own("declined", "she declined a test")],
        ),
        checks_field(
            "bottle",
            "With which bottles",
            &typed.all("bottle"),
            bottle_choices(&opened.bottles, &opened.bench),
        )
        .hinted("For a declined test: with which it was offered. None where liquids alone are tested."),
        checks_field("liquid", "And with which liquids", &typed.all("liquid"), Wet::choices())
            .hinted("Those that were part of it: where the rules ask for it, others are not for today.")
            .or_empty(),
        choice_field("radio", "method", "How", typed.get("method"), methods),
        text_field("site", "Where", typed.get("site")).hinted("Behind the left ear, outer corners."),
        number_field("number", "How many", typed.get("number")).short(),
        time_field("at", "When", typed.get("at")),
        // It only adds, and says itself when it was placed.
        kept_field("patch test", NOT_CHECKED),
    ];
    FormPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("Patch test of {}", opened.client.short),
        ),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/tests", opened.client.id)),
        word: "Patch test",
        small: "placed or declined",
        lead: opened
            .unsigned()
            .into_iter()
            .chain([format!(
                "It is looked at after {} elapsed hours at the earliest. A wait that is over is not a result: somebody looks and asks.",
                opened.bench.rules.wait_hours
            )])
            .collect(),
        caution: Some(caution()),
        fields,
        mistakes: Vec::new(),
        button: "Keep it",
        back: (house.url(&format!("/door/clients/{}/clearance", opened.client.id)), "Back to her clearance"),
    }
}

async fn check(typed: &Typed, opened: &Opened, house: &House, staff: &Staff) -> Result<(PatchTest, String), Problem> {
    let now = staff.visitor.now.0;
    let mut notes = Notes::default();
    let declined = match typed.get("done") {
        "placed" => Some(false),
        "declined" => Some(true),
        _ => None,
    };
    let declined = notes.choice("done", declined);
    let liquids = chosen_liquids(&mut notes, typed);
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (now.plus(-30 * DAY), now));
    let placed = at.unwrap_or(now);
    // Liquids alone can be tested: remover, while adhesive is held.
    let products = if liquids.as_ref().is_some_and(|liquids| !liquids.is_empty()) {
        chosen_bottles_or_none(&mut notes, typed, &opened.bottles, placed)
    } else {
        chosen_bottles(&mut notes, typed, &opened.bottles, placed)
    };
    let method = notes.choice("method", Method::from_word(typed.get("method")));
    let is_placed = declined != Some(true);
    let site = if is_placed { notes.line("site", typed.get("site"), SITE_LETTERS) } else { Some(String::new()) };
    let number = if is_placed { notes.whole("number", typed.get("number"), PLACED, "") } else { Some(0) };
    if let (true, Some(met), Some(liquids), Some(at)) = (is_placed, &products, &liquids, at) {
        may_be_tested(
            &mut notes,
            "done",
            house,
            (&staff.who, opened.client.id),
            (met, liquids),
            &opened.bench,
            (at, now),
        )
        .await?;
    }
    notes.settle((|| {
        let test = PatchTest {
            id: PatchTestId::new(),
            client: opened.client.id,
            method: method?,
            number_placed: number?,
            placed: at?,
            placed_by: Actor::Person(staff.who.clone()).mark(),
            read: None,
            read_by: String::new(),
            result: if declined? { TestResult::Declined } else { TestResult::Waiting },
            products: products?,
            liquids: liquids?,
        };
        Some((test, site?))
    })())
}

async fn add(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    match check(&form.typed, &opened, &house, &staff).await {
        Ok((test, site)) => {
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, test, site) = (inner.clone(), test.clone(), site.clone());
                    Box::pin(async move {
                        add_test(tx, house.store.keys(), &test, &site).await?;
                        Ok(Kept::see(format!("/door/clients/{id}/clearance")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}
