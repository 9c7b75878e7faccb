//! Who is expected, filled by hand; and somebody who walks in: the earliest start if tested now, test and visit in one form.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::facts::TestResult;
use super::judge::{Clearance, clearance};
use super::seen::{Names, client_for};
use super::standing::{Bench, facts_of};
use super::test_form::{bottle_choices, chosen_bottles, chosen_liquids};
use super::test_store::{Method, PatchTest, add_test};
use super::typed::{FormPage, MoreNotes, Typed, checks_field, notes_of, time_field, wall};
use super::visit_store::{Expected, VisitKind, expect_visit, no_longer_expected, visit};
use super::wet::Wet;
use super::{lot_store, words};
use crate::base::ids::{ClientId, ExpectedVisitId, PatchTestId, PersonId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::clients::{self, Client};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field, text_field};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/visits/new", choose_client)
        .post("/door/visits/new", find_client)
        .get("/door/clients/{client}/visits/new", visit_form)
        .post("/door/clients/{client}/visits", add_visit)
        .post("/door/visits/{visit}/gone", gone)
        .get("/door/walk-in", choose_walk_in)
        .post("/door/walk-in", find_walk_in)
        .get("/door/clients/{client}/walk-in", walk_in)
        .post("/door/clients/{client}/walk-in", test_and_book)
}

/// What is typed of a name travels in the body: addresses stay in histories and logs.
#[derive(Deserialize, Default)]
struct Asked {
    #[serde(default)]
    q: String,
}

#[derive(Template)]
#[template(path = "clearance/choose.html")]
struct ChoosePage {
    frame: Frame,
    key: String,
    action: String,
    typed: String,
    lead: &'static str,
    found: Vec<(String, String)>,
    searched: bool,
    new_client: String,
}

/// For what somebody is looked for: where the page stands, where a client found leads, and the question.
struct Choosing {
    path: &'static str,
    then: &'static str,
    lead: &'static str,
}

const EXPECTED: Choosing = Choosing { path: "/door/visits/new", then: "visits/new", lead: "Who is expected?" };
const WALKS_IN: Choosing = Choosing { path: "/door/walk-in", then: "walk-in", lead: "Who walks in?" };

async fn choose_client(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    choose(staff, house, Asked::default(), EXPECTED).await
}

async fn find_client(staff: Staff, State(house): State<House>, form: Form<Asked>) -> Result<Response, Problem> {
    choose(staff, house, form.typed, EXPECTED).await
}

async fn choose_walk_in(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    choose(staff, house, Asked::default(), WALKS_IN).await
}

async fn find_walk_in(staff: Staff, State(house): State<House>, form: Form<Asked>) -> Result<Response, Problem> {
    choose(staff, house, form.typed, WALKS_IN).await
}

async fn choose(
    staff: Staff,
    house: House,
    asked: Asked,
    Choosing { path, then, lead }: Choosing,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let typed = asked.q.trim().chars().take(80).collect::<String>();
    let found = if typed.is_empty() { Vec::new() } else { clients::find_for(&mut db, &staff.who, &typed, 12).await? };
    let found = found
        .iter()
        .map(|client| (house.url(&format!("/door/clients/{}/{then}", client.id)), client.name.clone()))
        .collect();
    page(&ChoosePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, lead.trim_end_matches('?')),
        key: new_form_key(),
        action: house.url(path),
        searched: !typed.is_empty(),
        typed,
        lead,
        found,
        new_client: house.url(&format!("/door/clients/new?then={then}")),
    })
}

/// What the forms of one client begin with.
struct Opened {
    studio: Studio,
    client: Client,
    bench: Bench,
    names: Names,
    bottles: Vec<lot_store::LotBottle>,
}

async fn open(house: &House, staff: &Staff, id: ClientId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, staff.visitor.now.0).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let (names, bottles) = (Names::load(&mut db).await?, lot_store::bottles(&mut db).await?);
    Ok(Opened { studio, client, bench, names, bottles })
}

async fn visit_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    clients::not_restricted(&opened.client)?;
    let now = staff.visitor.now.0;
    let fresh = Typed::of([("kind", "set".to_owned()), ("at", wall(&opened.studio.zone, now.plus(3 * DAY)))]);
    page(&visit_view(&house, &staff, &opened, &fresh))
}

fn visit_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let kinds = VisitKind::ALL.map(|kind| (kind.word().to_owned(), kind.words().to_owned()));
    let nobody = std::iter::once((String::new(), "nobody chosen yet".to_owned()));
    let mut adhesives: Vec<_> = opened.bench.products.values().filter(|product| !product.stopped).collect();
    adhesives.sort_by_cached_key(|product| crate::base::text::fold(&product.name));
    let adhesives = adhesives.into_iter().map(|product| (product.id.to_string(), product.name.clone()));
    let mut fields = vec![
        time_field("at", "When", typed.get("at")),
        choice_field("radio", "kind", "For what", typed.get("kind"), kinds),
        choice_field(
            "select",
            "artist",
            "Who treats her",
            typed.get("artist"),
            nobody.chain(opened.names.at_the_bed()),
        ),
        checks_field("product", "Adhesives planned", &typed.all("product"), adhesives)
            .hinted("None chosen: the house adhesive of that day. Each one chosen is judged.")
            .or_empty(),
    ];
    if fields[3].options.is_empty() {
        fields.pop();
    }
    fields.push(
        checks_field("liquid", "Liquids planned", &typed.all("liquid"), Wet::choices())
            .hinted("Each one chosen is judged. A removal is judged by remover in any case.")
            .or_empty(),
    );
    FormPage {
        frame: house.frame(&opened.studio, &staff.visitor, Place::Door, format!("Expect {}", opened.client.short)),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/visits", opened.client.id)),
        word: "Visit",
        small: "",
        lead: Vec::new(),
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Expect her",
        back: (house.url("/door/not-cleared"), "Back to the list"),
    }
}

fn check_visit(typed: &Typed, opened: &Opened, now: Instant) -> Result<Expected, Problem> {
    let mut notes = Notes::default();
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (now.plus(-DAY), now.plus(730 * DAY)));
    let kind = notes.choice("kind", VisitKind::from_word(typed.get("kind")));
    let artist = artist_of(&mut notes, typed.get("artist"), &opened.names);
    let products: Vec<Option<ProductId>> = typed.all("product").iter().map(|id| id.parse().ok()).collect();
    let known = products.iter().all(|id| id.is_some_and(|id| opened.bench.products.contains_key(&id)));
    let products = notes.choice("product", known.then(|| products.into_iter().flatten().collect::<Vec<_>>()));
    let liquids = chosen_liquids(&mut notes, typed);
    notes.settle((|| {
        let mut products = products?;
        products.sort_unstable();
        products.dedup();
        Some(Expected {
            id: ExpectedVisitId::new(),
            client: opened.client.id,
            at: at?,
            kind: kind?,
            artist: artist?,
            products,
            liquids: liquids?,
        })
    })())
}

/// Nobody, or one of those who work at the bed.
pub(super) fn artist_of(notes: &mut Notes, typed: &str, names: &Names) -> Option<Option<PersonId>> {
    if typed.is_empty() {
        return Some(None);
    }
    let found = names.at_the_bed().find(|(id, _)| id == typed).and_then(|(id, _)| id.parse().ok());
    notes.choice("artist", found).map(Some)
}

async fn add_visit(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    match check_visit(&form.typed, &opened, staff.visitor.now.0) {
        Ok(expected) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let expected = expected.clone();
                    Box::pin(async move {
                        expect_visit(tx, &expected).await?;
                        Ok(Kept::see("/door/not-cleared"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = visit_view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

async fn gone(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ExpectedVisitId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        let visit = visit(&mut db, id).await?.ok_or(Problem::NotHere("visit"))?;
        client_for(&mut db, visit.client, &staff.who, staff.visitor.now.0).await.map_err(|problem| {
            if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("visit") } else { problem }
        })?;
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                no_longer_expected(tx, id).await?;
                Ok(Kept::see("/door/not-cleared"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
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
    // The bottle is for whoever placed the test to say: a lot recorded by itself would be found in a trace, or missed by one.
    let fresh = Typed::of([
        ("at", wall(&opened.studio.zone, start)),
        ("site", "outer corners".to_owned()),
        ("number", "3".to_owned()),
    ]);
    let lead = walk_in_lead(&house, &opened, start, now).await?;
    page(&walk_in_view(&house, &staff, &opened, &fresh, lead))
}

/// Whether a test is what she needs, and when she can come at the earliest.
async fn walk_in_lead(house: &House, opened: &Opened, start: Instant, now: Instant) -> Result<Vec<String>, Problem> {
    let mut db = house.store.read().await?;
    let zone = &opened.studio.zone;
    let facts = facts_of(&mut db, house.store.keys(), opened.client.id, zone, now).await?;
    let planned = opened.bench.house_adhesive(now);
    let start_words = zone.date_and_clock(start, now);
    Ok(vec![match clearance(&facts, &opened.bench.rules, &planned, now, now) {
        Clearance::Cleared(_) => "She is cleared for the house adhesive now. No test is missing.".to_owned(),
        Clearance::NotYet(not_yet) => format!(
            "Now: {}. Tested now, the earliest start is {start_words}: {} after placing, once somebody has looked.",
            words::step(&not_yet.missing[0]),
            words::span(i64::from(opened.bench.rules.wait_hours) * HOUR)
        ),
        Clearance::Held(_) | Clearance::Refer(_) => {
            "Not now: speak with the artist or the owner before a test is placed.".to_owned()
        }
    }])
}

fn walk_in_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed, lead: Vec<String>) -> FormPage {
    let fields = vec![
        choice_field(
            "radio",
            "bottle",
            "Placed with",
            typed.get("bottle"),
            bottle_choices(&opened.bottles, &opened.bench),
        ),
        text_field("site", "Where", typed.get("site"))
            .hinted("Stands here as tests are usually placed. Change it where this one was placed otherwise."),
        number_field("number", "How many extensions", typed.get("number"))
            .hinted("A test on skin is recorded on the page of patch tests instead.")
            .short(),
        time_field("at", "Her visit", typed.get("at")).hinted("Not before the wait is over."),
    ];
    FormPage {
        frame: house.frame(&opened.studio, &staff.visitor, Place::Door, format!("{} walks in", opened.client.short)),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/walk-in", opened.client.id)),
        word: "Walk-in",
        small: "test now, book",
        lead,
        caution: Some(super::test_form::caution()),
        fields,
        mistakes: Vec::new(),
        button: "A few extensions placed now; expect her",
        back: (house.url("/door/not-cleared"), "Back to the list"),
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
    let earliest = now.plus(opened.bench.rules.wait());
    match check_walk_in(&form.typed, &opened, &house, now, earliest).await {
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
            let view = walk_in_view(&house, &staff, &opened, &form.typed, lead).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

async fn check_walk_in(
    typed: &Typed,
    opened: &Opened,
    house: &House,
    now: Instant,
    earliest: Instant,
) -> Result<(PatchTest, String, Expected), Problem> {
    let mut notes = Notes::default();
    let met = chosen_bottles(&mut notes, typed, &opened.bottles, now);
    let site = notes.line("site", typed.get("site"), 80);
    let number = notes.whole("number", typed.get("number"), (1, 40), "");
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (earliest, now.plus(730 * DAY)));
    if let Some(met) = &met {
        super::test_form::may_be_tested(
            &mut notes,
            "bottle",
            house,
            opened.client.id,
            (met, &[]),
            &opened.bench,
            (now, now),
        )
        .await?;
    }
    notes.settle((|| {
        let met = met?;
        let test = PatchTest {
            id: PatchTestId::new(),
            client: opened.client.id,
            method: Method::Lashes,
            number_placed: number?,
            placed: now,
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
        Some((test, site?, visit))
    })())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_earliest_start_is_the_wait_and_ten_minutes_rounded_up_to_a_quarter() {
        let start = |minutes: i64| earliest_start(Instant(minutes * MINUTE), 48 * HOUR).since(Instant(0)) / MINUTE;
        assert_eq!((start(0), start(5), start(6), start(20)), (48 * 60 + 15, 48 * 60 + 15, 48 * 60 + 30, 48 * 60 + 30));
    }
}
