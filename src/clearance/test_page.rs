//! A patch test's own page: what was placed, every look, and the next look. For those who treat.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::HeaderMap;
use axum::response::Response;

use super::facts::TestResult;
use super::seen::{Names, client_for, must_treat, note_look};
use super::standing::Bench;
use super::test_store::{PatchTest, look_at, looks, may_follow, site_of, strike_test, test};
use super::typed::{MoreNotes, NOT_CHECKED, Typed, notes_of, tick_field, time_field, wall, words_field};
use super::words;
use crate::base::ids::PatchTestId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::clients::photos::{LARGEST_FORM, Moment, PhotoBlock, Shows, arrive, keep};
use crate::clients::{Client, not_restricted};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, Turned, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/tests/{patch_test}", show)
        .post("/door/tests/{patch_test}/looks", look)
        .post_file("/door/tests/{patch_test}/photos", LARGEST_FORM, photo)
        .post("/door/tests/{patch_test}/strike", strike)
}

#[derive(Template)]
#[template(path = "clearance/test.html")]
struct TestPage {
    frame: Frame,
    key: String,
    action: String,
    strike: Option<String>,
    back: String,
    state: String,
    placed: Vec<(&'static str, String)>,
    looks: Vec<(String, String, String, String)>,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    pictures: PhotoBlock,
    /// What is said while an entry waits on the device.
    meanwhile: &'static str,
}

struct Opened {
    studio: Studio,
    bench: Bench,
    client: Client,
    test: PatchTest,
}

async fn open(house: &House, staff: &Staff, id: PatchTestId) -> Result<Opened, Problem> {
    must_treat(&staff.who)?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let test = test(&mut db, id).await?.ok_or(Problem::NotHere("patch test"))?;
    let client = client_for(&mut db, test.client, &staff.who, staff.visitor.now.0).await.map_err(|problem| {
        if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("patch test") } else { problem }
    })?;
    Ok(Opened { bench: Bench::load(&mut db, &studio.zone).await?, studio, client, test })
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<PatchTestId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    note_look(&house, &staff.who, "see patch test", opened.client.id).await?;
    let fresh = Typed::of([("at", wall(&opened.studio.zone, staff.visitor.now.0))]);
    page(&view(&house, &staff, &opened, &fresh, &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    opened: &Opened,
    typed: &Typed,
    notes: &[FieldNote],
    key: String,
) -> Result<TestPage, Problem> {
    let now = staff.visitor.now.0;
    let (test, zone) = (&opened.test, &opened.studio.zone);
    let mut db = house.store.read().await?;
    let names = Names::load(&mut db).await?;
    let when = |at: Instant| zone.date_and_clock(at, now);
    let looks = looks(&mut db, house.store.keys(), test).await?;
    let site = site_of(&mut db, house.store.keys(), test).await?;
    let looks = looks.into_iter().map(|look| {
        let what = words::result(look.result, test.placed, Some(look.at));
        (when(look.at), what, look.words, names.of_mark(&look.by))
    });
    let with: Vec<String> = test
        .products
        .iter()
        .map(|met| opened.bench.met_words(met))
        .chain(test.liquids.iter().map(|wet| wet.word().to_owned()))
        .collect();
    let placed = vec![
        ("Client", opened.client.name.clone()),
        ("Placed", when(test.placed)),
        ("By", names.of_mark(&test.placed_by)),
        ("With", with.join("; ")),
        ("How", format!("{}, {}, {}", test.method.words(), test.number_placed, site)),
        ("Can be read", when(test.placed.plus(opened.bench.rules.wait()))),
    ];
    let looks: Vec<_> = looks.collect();
    let pictures = {
        let action = house.url(&format!("/door/tests/{}/photos", test.id));
        PhotoBlock::load(
            &mut db,
            house,
            &opened.studio,
            &opened.client,
            (&test.id.to_string(), Moment::Test),
            action,
            now,
        )
        .await?
    };
    let mut fields = fields(typed);
    note_fields(&mut fields, notes);
    Ok(TestPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("Patch test of {}", opened.client.short),
        ),
        key,
        action: house.url(&format!("/door/tests/{}/looks", test.id)),
        strike: (looks.is_empty()).then(|| house.url(&format!("/door/tests/{}/strike", test.id))),
        back: house.url(&format!("/door/clients/{}/clearance", test.client)),
        state: words::result(test.result, test.placed, test.read),
        placed,
        looks,
        mistakes: mistakes(&fields),
        fields,
        pictures,
        meanwhile: NOT_CHECKED,
    })
}

fn fields(typed: &Typed) -> Vec<FieldView> {
    let results =
        [TestResult::NoneSeen, TestResult::Doubtful, TestResult::Reaction, TestResult::Late, TestResult::NotRead];
    let results = results.map(|result| (result.word().to_owned(), result.word().to_owned()));
    vec![
        tick_field(
            "asked",
            "I looked myself, and asked her about itching, redness and swelling since",
            typed.is_ticked("asked"),
        ),
        choice_field("radio", "result", "What was seen and told", typed.get("result"), results)
            .hinted("Redness, itching or a swelling is at least doubtful. Doubtful never counts as clear."),
        words_field("words", "In words", typed.get("words")).hinted("Facts only: what, where, since when.").or_empty(),
        time_field("at", "When", typed.get("at")),
    ]
}

struct Seen {
    result: TestResult,
    at: Instant,
    words: String,
}

fn check(typed: &Typed, opened: &Opened, now: Instant) -> Result<Seen, Problem> {
    let mut notes = Notes::default();
    let test = &opened.test;
    let chosen = TestResult::from_word(typed.get("result"))
        .filter(|result| !matches!(result, TestResult::Waiting | TestResult::Declined));
    let result = notes.choice("result", chosen);
    let words = notes.may_be_words("words", typed.get("words"), 2000);
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (test.placed, now));
    if result == Some(TestResult::NoneSeen) {
        if !typed.is_ticked("asked") {
            notes.add("asked", "A wait that is over is not a result. Tick this once you have looked and asked.");
        }
        let from = test.placed.plus(opened.bench.rules.wait());
        if at.is_some_and(|at| at < from) {
            let from = opened.studio.zone.date_and_clock(from, now);
            notes.add("result", format!("The wait is over {from}. Nothing seen before then is no result; look again."));
        }
    }
    let softer = result.is_some_and(|result| !result.holds());
    if test.result.holds() && softer {
        notes.add("result", "A reaction or a doubtful result stays. Only a doctor’s written statement, entered by the owner, changes what follows from it.");
    }
    if test.result == TestResult::Declined {
        notes.add("result", "She declined this test: there is nothing to look at.");
    }
    if let (Some(at), Some(result), Some(read)) = (at, result, test.read)
        && !may_follow(test.read, at, result)
    {
        let read = opened.studio.zone.date_and_clock(read, now);
        notes.add("at", format!("Somebody looked later, {read}: what was seen then is below. A look from before it is kept where something was seen."));
    }
    let late = test.result == TestResult::NoneSeen && result == Some(TestResult::Reaction);
    notes.settle((|| Some(Seen { result: if late { TestResult::Late } else { result? }, at: at?, words: words? }))())
}

async fn look(
    staff: Staff,
    State(house): State<House>,
    At(id): At<PatchTestId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    match check(&form.typed, &opened, staff.visitor.now.0) {
        Ok(seen) => {
            let keys = std::sync::Arc::new(house.clone());
            let client = opened.client.id;
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let house = std::sync::Arc::clone(&keys);
                    let (at, result, words) = (seen.at, seen.result, seen.words.clone());
                    Box::pin(async move {
                        look_at(tx, house.store.keys(), id, at, result, &words).await?;
                        let next = if result.holds() {
                            format!("/door/clients/{client}/reactions/new?test={id}")
                        } else {
                            format!("/door/clients/{client}/clearance")
                        };
                        Ok(Kept::see(next))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let key = form.key.again();
            page_again(&view(&house, &staff, &opened, &form.typed, &notes, key).await?)
        }
    }
}

/// A photo of it.
async fn photo(
    staff: Staff,
    State(house): State<House>,
    At(id): At<PatchTestId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let opened = open(&house, &staff, id).await?;
    not_restricted(&opened.client)?;
    let arrived = arrive(&house, &staff, &headers, parts).await?;
    match arrived.picture {
        Ok(picture) => {
            let shows = Shows { client: opened.client.id, moment: Moment::Test, about: Some(id.to_string()) };
            let kept = keep(&house, &staff, &arrived.key, shows, picture, format!("/door/tests/{id}")).await?;
            Ok(answer(&house, &kept))
        }
        Err(sentence) => {
            let fresh = Typed::of([("at", wall(&opened.studio.zone, staff.visitor.now.0))]);
            let mut view = view(&house, &staff, &opened, &fresh, &[], new_form_key()).await?;
            view.pictures = view.pictures.refused(sentence, arrived.key.form);
            Ok(page_again(&view)?)
        }
    }
}

async fn strike(
    staff: Staff,
    State(house): State<House>,
    At(id): At<PatchTestId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let client = open(&house, &staff, id).await?.client.id;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                strike_test(tx, id).await?;
                Ok(Kept::see(format!("/door/clients/{client}/clearance")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
