//! Somebody walks in: the earliest start if tested now; test and visit in one form. Which bottle, and how the test was placed, is said
//! by a tap each and stands there for nobody beforehand.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::facts::TestResult;
use super::judge::{Clearance, clearance};
use super::rules::{PLACED, Rules, SITE_LETTERS};
use super::standing::facts_of;
use super::test_form::{Opened, bottle_choices, caution, chosen_bottles, may_be_tested, open};
use super::test_store::{Method, PatchTest, add_test};
use super::typed::{Caution, MoreNotes, Typed, notes_of, time_field, wall};
use super::visit_store::{Expected, VisitKind, expect_visit};
use super::words;
use crate::base::actor::Who;
use crate::base::ids::{ClientId, ExpectedVisitId, PatchTestId, ProductId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::clients;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/walk-in", walk_in).post("/door/clients/{client}/walk-in", test_and_book)
}

/// A quarter of an hour, to which a start is rounded up.
const QUARTER: i64 = 15 * MINUTE;

/// The earliest start of somebody tested now: the wait, ten minutes in which the form may lie open and somebody looks, rounded up to a
/// quarter of an hour.
fn earliest_start(now: Instant, wait: i64) -> Instant {
    let at = now.plus(wait + 10 * MINUTE).0;
    Instant(at.div_euclid(QUARTER) * QUARTER + if at.rem_euclid(QUARTER) == 0 { 0 } else { QUARTER })
}

async fn walk_in(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    clients::not_restricted(&opened.client)?;
    let now = staff.visitor.now.0;
    let start = earliest_start(now, opened.bench.rules.wait());
    // What was placed is for whoever placed the test to say: a lot recorded by itself would be found in a trace, or missed by one.
    let fresh = Typed::of([("at", wall(&opened.studio.zone, start))]);
    let lead = walk_in_lead(&house, &opened, start, now).await?;
    page(&walk_in_view(&house, &staff, &opened, &fresh, lead, (&[], None)))
}

/// Whether a test is what she needs, and when she can come at the earliest.
async fn walk_in_lead(house: &House, opened: &Opened, start: Instant, now: Instant) -> Result<Vec<String>, Problem> {
    let mut db = house.store.read().await?;
    let zone = &opened.studio.zone;
    let facts = facts_of(&mut db, house.store.keys(), opened.client.id, zone, now).await?;
    let planned = opened.bench.house_adhesive(now);
    let start_words = zone.date_and_clock(start, now);
    let answer = clearance(&facts, &opened.bench.rules, &planned, now, now);
    let unsigned = opened.unsigned().filter(|_| matches!(answer, Clearance::NotYet(_)));
    let says = match answer {
        Clearance::Cleared(_) => "She is cleared for the house adhesive now. No test is missing.".to_owned(),
        Clearance::NotYet(not_yet) => format!(
            "Now: {}. Tested now, the earliest start is {start_words}: {} after placing, once somebody has looked.",
            words::step(&not_yet.missing[0]),
            words::span(i64::from(opened.bench.rules.wait_hours) * HOUR)
        ),
        Clearance::Held(_) | Clearance::Refer(_) => {
            "Not now: speak with the artist or the owner before a test is placed.".to_owned()
        }
    };
    Ok(std::iter::once(says).chain(unsigned).collect())
}

#[derive(Template)]
#[template(path = "clearance/walk_in.html")]
struct WalkInPage {
    frame: Frame,
    key: String,
    action: String,
    lead: Vec<String>,
    caution: Caution,
    /// The bottle and her visit.
    fields: Vec<FieldView>,
    /// Where and how many, where it was placed otherwise than by the rule.
    otherwise: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// What the button of the rule records: "3 extensions, outer corners".
    usual: String,
    back: String,
    /// What is said while it waits on the device.
    meanwhile: &'static str,
}

/// The button that says it was placed as the house's rule says, and the one that says it was placed as typed.
const USUAL: &str = "usual";
const OTHERWISE: &str = "otherwise";

/// How the house's rule places a test with extensions.
fn usual(rules: &Rules) -> String {
    let extensions = if rules.usual_number == 1 { "extension" } else { "extensions" };
    format!("{} {extensions}, {}", rules.usual_number, rules.usual_site)
}

/// Where, and how many: of the house's rule by its button, else as typed. What was typed beside the rule is asked about, since one of
/// the two is wrong.
fn site_and_number(notes: &mut Notes, typed: &Typed, rules: &Rules) -> Option<(String, u32)> {
    match typed.get("do") {
        // What the button said when it was pressed is what is recorded, or nothing is.
        USUAL if typed.get("usual") != usual(rules) => {
            notes.add("site", "The house’s rule was changed since this page was opened. Look, and press again.");
            return None;
        }
        USUAL => {}
        OTHERWISE => {
            let site = notes.line("site", typed.get("site"), SITE_LETTERS);
            let number = notes.whole("number", typed.get("number"), PLACED, "");
            return site.zip(number);
        }
        _ => {
            notes.add("site", "Say how it was placed, by one of the two buttons.");
            return None;
        }
    }
    let beside: Vec<_> = ["site", "number"].into_iter().filter(|field| !typed.get(field).trim().is_empty()).collect();
    for field in &beside {
        notes.add(field, "By the house’s rule, or as typed here? Empty this, or press the other button.");
    }
    beside.is_empty().then(|| (rules.usual_site.clone(), rules.usual_number))
}

fn walk_in_view(
    house: &House,
    staff: &Staff,
    opened: &Opened,
    typed: &Typed,
    lead: Vec<String>,
    (notes, key): (&[FieldNote], Option<String>),
) -> WalkInPage {
    let choices = bottle_choices(&opened.bottles, &opened.bench);
    let mut fields = vec![
        choice_field("radio", "bottle", "Placed with", typed.get("bottle"), choices),
        time_field("at", "Her visit", typed.get("at")).hinted("Not before the wait is over."),
        text_field("site", "Where", typed.get("site")).or_empty(),
        number_field("number", "How many extensions", typed.get("number")).short().or_empty(),
    ];
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let otherwise = fields.split_off(2);
    WalkInPage {
        frame: house.frame(&opened.studio, &staff.visitor, Place::Door, format!("{} walks in", opened.client.short)),
        key: key.unwrap_or_else(new_form_key),
        action: house.url(&format!("/door/clients/{}/walk-in", opened.client.id)),
        lead,
        caution: caution(),
        fields,
        otherwise,
        mistakes,
        usual: usual(&opened.bench.rules),
        back: house.url("/door/not-cleared"),
        meanwhile: "Clearance cannot be checked: treat nobody not on the printed list. Nobody else expects her until it is there: tell them.",
    }
}

async fn test_and_book(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    let now = staff.visitor.now.0;
    let placed = form.typed.pressed(now);
    match check_walk_in(&form.typed, &opened, (&house, &staff.who), placed, now).await {
        Ok((mut test, site, visit)) => {
            test.placed_by = crate::base::actor::Actor::Person(staff.who.clone()).mark();
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, test, site, visit) = (inner.clone(), test.clone(), site.clone(), visit.clone());
                    Box::pin(async move {
                        add_test(tx, house.store.keys(), &test, &site).await?;
                        expect_visit(tx, &visit).await?;
                        Ok(Kept::see("/door/not-cleared"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let lead = walk_in_lead(&house, &opened, earliest_start(now, opened.bench.rules.wait()), now).await?;
            let view = walk_in_view(&house, &staff, &opened, &form.typed, lead, (&notes, form.key.form));
            page_again(&view)
        }
    }
}

async fn check_walk_in(
    typed: &Typed,
    opened: &Opened,
    (house, who): (&House, &Who),
    at_placing: Instant,
    now: Instant,
) -> Result<(PatchTest, String, Expected), Problem> {
    let mut notes = Notes::default();
    let earliest = at_placing.plus(opened.bench.rules.wait());
    let met = chosen_bottles(&mut notes, typed, &opened.bottles, at_placing);
    let placed = site_and_number(&mut notes, typed, &opened.bench.rules);
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (earliest, now.plus(730 * DAY)));
    if let Some(met) = &met {
        may_be_tested(
            &mut notes,
            "bottle",
            house,
            (who, opened.client.id),
            (met, &[]),
            &opened.bench,
            (at_placing, now),
        )
        .await?;
    }
    notes.settle((|| {
        let met = met?;
        let (site, number_placed) = placed?;
        let test = PatchTest {
            id: PatchTestId::new(),
            client: opened.client.id,
            method: Method::Lashes,
            number_placed,
            placed: at_placing,
            placed_by: String::new(),
            read: None,
            read_by: String::new(),
            result: TestResult::Waiting,
            products: met.clone(),
            liquids: Vec::new(),
        };
        let mut products: Vec<ProductId> = met.iter().map(|met| met.product).collect();
        products.dedup();
        let visit = Expected {
            id: ExpectedVisitId::new(),
            client: opened.client.id,
            at: at?,
            kind: VisitKind::Set,
            artist: None,
            products,
            liquids: Vec::new(),
        };
        Some((test, site, visit))
    })())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_walk_ins_test_is_placed_as_the_rule_says_or_as_typed_and_never_as_both() {
        let rules = Rules { usual_site: "left outer corner".to_owned(), usual_number: 1, ..Rules::default() };
        assert_eq!(usual(&rules), "1 extension, left outer corner");
        assert_eq!(usual(&Rules::default()), "3 extensions, outer corners");
        let said = |placed: &str, site: &str, number: &str| {
            let pairs =
                [("do", placed), ("usual", "1 extension, left outer corner"), ("site", site), ("number", number)];
            let mut notes = Notes::default();
            let typed = Typed::of(pairs.map(|(name, text)| (name, text.to_owned())));
            let says = site_and_number(&mut notes, &typed, &rules);
            let wrong: Vec<String> = notes.all().iter().map(|note| note.field.to_string()).collect();
            (says, wrong.join(" "))
        };
        assert_eq!(said("usual", "", " "), (Some(("left outer corner".to_owned(), 1)), String::new()));
        assert_eq!(said("otherwise", "both corners", "4"), (Some(("both corners".to_owned(), 4)), String::new()));
        assert_eq!(said("", "both corners", "4"), (None, "site".to_owned()));
        assert_eq!(said("otherwise", "", "400"), (None, "site number".to_owned()));
        assert_eq!(said("usual", "both corners", ""), (None, "site".to_owned()));
        // The owner changed the rule while the page lay open: what the button said is not what would be recorded.
        let mut notes = Notes::default();
        let typed = Typed::of([("do", "usual".to_owned()), ("usual", usual(&rules))]);
        assert!(site_and_number(&mut notes, &typed, &Rules::default()).is_none() && notes.all().len() == 1);
    }

    #[test]
    fn the_earliest_start_is_the_wait_and_ten_minutes_rounded_up_to_a_quarter() {
        let start = |minutes: i64| earliest_start(Instant(minutes * MINUTE), 48 * HOUR).since(Instant(0)) / MINUTE;
        assert_eq!((start(0), start(5), start(6), start(20)), (48 * 60 + 15, 48 * 60 + 15, 48 * 60 + 30, 48 * 60 + 30));
    }
}
