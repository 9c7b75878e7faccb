//! What bench tests come to: kept summaries against fits of one's own, sisters, families, what to test next.

use stillroom::adhesives::set_time::{
    OpenTest, Openness, Parameter, Posterior, Prior, Scatter, SetTest, Sums, TestPiece, row,
};
use stillroom::adhesives::summary::Summary;
use stillroom::adhesives::{self, Air, Bead, Conditions, Label, Liquid, Liquids, PickUp};
use stillroom::base::time::{DAY, HOUR};
use stillroom::base::units::{Celsius, RelHumidity, Seconds};

use crate::house::{TestHouse, both_databases};
use crate::shelf::{add_bottle, add_product, bench, on_shelf};
use crate::studio::{Actor, PHRASE};

fn conditions(humidity: f64, bead: Bead, liquids: Liquids, days_open: f64) -> Conditions {
    let air = Air { temperature: Celsius::new(21.0).unwrap(), humidity: RelHumidity::new(humidity).unwrap() };
    Conditions { air, bead, liquids, days_open }
}

fn mean(posterior: &Posterior) -> f64 {
    posterior.line_mean(&row(&conditions(40.0, Bead::Medium, Liquids::NONE, 10.0)))
}

both_databases!(striking_a_test_out_moves_the_prediction_and_taking_it_back_moves_it_back, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let bottle = &house.things.bottle;
    bench(&mut artist, bottle, &[("seconds", "4.5")]).await;
    let test = house.look("select id from bench_test where seconds > 4").await;
    let before = mean(&on_shelf(house, bottle).await.posterior);
    let page = format!("/shelf/bottles/{bottle}");
    artist.page(&page).await.says("set in 4.5 s");

    let strike = artist.form(&page, &format!("{page}/tests/{test}/strike")).await;
    artist.submit(&strike).await.must(303);
    let struck = mean(&on_shelf(house, bottle).await.posterior);
    assert!(struck < before - 0.1, "without the slow test it is quicker: {struck} {before}");
    artist.page(&page).await.says("struck out");
    assert_eq!(house.number("select count(*) from bench_test where struck is not null").await, 1, "nothing is deleted");

    let back = artist.form(&page, &format!("{page}/tests/{test}/take-back")).await;
    artist.submit(&back).await.must(303);
    let again = mean(&on_shelf(house, bottle).await.posterior);
    assert!((again - before).abs() < 1e-12, "{again} {before}");
});

/// What was typed on the bench, as tests for a fit of one's own.
fn typed_test(session: u32, seconds: f64, humidity: f64, bead: Bead, liquids: Liquids, days_open: f64) -> SetTest {
    SetTest {
        session,
        set: Seconds::new(seconds).unwrap(),
        nudge_every: None,
        piece: TestPiece::PracticeLash,
        conditions: conditions(humidity, bead, liquids, days_open),
    }
}

both_databases!(the_kept_summary_is_a_fresh_fit_of_every_test_that_counts, async |house| {
    let mut owner = house.owner();
    let things = &house.things;
    let product = add_product(&mut owner, "Dune", &[("label_low", "2"), ("label_high", "3")]).await;
    let (own, sister) = (
        add_bottle(&mut owner, &product, &things.gable, &[("lot", "A")]).await,
        add_bottle(&mut owner, &product, &things.lantern, &[("lot", "B")]).await,
    );
    // Opened at noon on 1 February, tested from 10:12 on the 18th on.
    let first = (house.clock.now().0.0 - opened_of(house, &own).await) as f64 / DAY as f64;
    bench(&mut owner, &own, &[("seconds", "2.7")]).await;
    bench(&mut owner, &own, &[("seconds", "2.4"), ("bead", "full")]).await;
    // Enters nothing: another piece.
    bench(&mut owner, &own, &[("seconds", "9"), ("piece", "glass")]).await;
    bench(
        &mut owner,
        &own,
        &[("delay", "8"), ("do", "held"), ("pick_up", "ball"), ("piece", "practice_lash"), ("bead", "medium")],
    )
    .await;
    bench(&mut owner, &sister, &[("seconds", "3.1"), ("humidity", "33")]).await;
    house.clock.advance(2 * HOUR);
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let second = first + 2.0 / 24.0;
    bench(&mut owner, &own, &[("seconds", "2.1"), ("alcohol_primer", "yes"), ("pick_up", "")]).await;
    bench(&mut owner, &sister, &[("seconds", "2.9")]).await;

    let primer = Liquids::NONE.with(Liquid::AlcoholPrimer);
    let (medium, none) = (Bead::Medium, Liquids::NONE);
    let own_sums = Sums::of(&[
        typed_test(0, 2.7, 40.0, medium, none, first),
        typed_test(0, 2.4, 40.0, Bead::Full, none, first),
        typed_test(1, 2.1, 40.0, medium, primer, second),
    ]);
    let sister_sums =
        Sums::of(&[typed_test(0, 3.1, 33.0, medium, none, first), typed_test(1, 2.9, 40.0, medium, none, second)]);
    let prior = Prior::from_label(Label::window(Seconds::new(2.0).unwrap(), Seconds::new(3.0).unwrap(), None).as_ref());
    let fresh = Posterior::with_siblings(&prior, &[&sister_sums], &own_sums);
    let kept = on_shelf(house, &own).await;
    for parameter in Parameter::ALL {
        let ((a, sd_a), (b, sd_b)) = (fresh.parameter(parameter), kept.posterior.parameter(parameter));
        assert!((a - b).abs() < 1e-9 && (sd_a - sd_b).abs() < 1e-9, "{parameter:?}: {a} {b}");
    }
    assert_eq!((kept.posterior.tests, kept.posterior.baselines, kept.posterior.sibling_tests), (3, 1, 2));
    let open = OpenTest {
        delay: Seconds::new(8.0).unwrap(),
        held: true,
        pick_up: Some(PickUp::Ball),
        conditions: conditions(40.0, medium, none, first),
    };
    let openness = Openness::of(&fresh, &[open]);
    assert_eq!(kept.openness.tests, 1);
    for (a, b) in openness.weights().iter().zip(kept.openness.weights()) {
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }
    assert_eq!(kept.tested.beads, [false, true, true]);
    assert_eq!(kept.tested.humidity_pct, Some((40.0, 40.0)));
    assert_eq!((kept.name.as_str(), kept.out), ("Dune, lot A", None));
});

async fn opened_of(house: &TestHouse, bottle: &str) -> i64 {
    house.number(&format!("select opened from bottle where id = '{bottle}'")).await
}

both_databases!(a_sister_used_up_still_teaches_as_before, async |house| {
    let mut owner = house.owner();
    let things = &house.things;
    let sister = add_bottle(&mut owner, &things.product, &things.gable, &[("lot", "20")]).await;
    for seconds in ["2.2", "2.4", "2.3"] {
        bench(&mut owner, &sister, &[("seconds", seconds)]).await;
    }
    let before = on_shelf(house, &things.bottle).await;
    assert_eq!((before.posterior.sibling_tests, before.name.as_str()), (3, "Heath, lot 21"));
    let page = format!("/shelf/bottles/{sister}");
    let alone = owner.page(&page).await;
    let finish = owner.form(&page, &format!("{page}/finish")).await;
    owner.submit(&finish).await.must(303);
    let after = on_shelf(house, &things.bottle).await;
    assert!((mean(&before.posterior) - mean(&after.posterior)).abs() < 1e-12);
    assert_eq!((after.posterior.sibling_tests, after.name.as_str()), (3, "Heath"));
    // Gone from the shelf, found behind its link, and not its own sister.
    assert!(!owner.page("/shelf").await.words().contains("lot 20"));
    owner.page("/shelf?show=finished").await.says("Heath, lot 20");
    let learned = "3 tests of this bottle, 1 test of its sisters, and its label";
    alone.says(learned);
    owner.page(&page).await.says(learned);
    owner.get(&format!("{page}/bench")).await.must(409);
    // A strike on a finished bottle reaches its sister.
    let test = house.look(&format!("select min(id) from bench_test where bottle = '{sister}'")).await;
    let strike = owner.form(&page, &format!("{page}/tests/{test}/strike")).await;
    owner.submit(&strike).await.must(303);
    assert_eq!(on_shelf(house, &things.bottle).await.posterior.sibling_tests, 2);
    // And finishing is taken back.
    let back = owner.form(&page, &format!("{page}/take-back")).await;
    owner.submit(&back).await.must(303);
    owner.page("/shelf").await.says("Heath, lot 20");
    assert_eq!(on_shelf(house, &things.bottle).await.posterior.sibling_tests, 2);
});

both_databases!(two_tested_products_of_a_family_lend_a_third_what_air_and_bead_do, async |house| {
    let mut owner = house.owner();
    let gable = &house.things.gable;
    let new =
        add_product(&mut owner, "Fen", &[("family", "methoxyethyl"), ("label_low", "3"), ("label_high", "5")]).await;
    let bottle = add_bottle(&mut owner, &new, gable, &[]).await;
    let label_only = on_shelf(house, &bottle).await.posterior;
    for name in ["Dune", "Slate"] {
        let product = add_product(&mut owner, name, &[("family", "methoxyethyl")]).await;
        let tested = add_bottle(&mut owner, &product, gable, &[]).await;
        // Far steeper in dry air than assumed.
        for (seconds, humidity) in
            [("1.0", "60"), ("1.0", "58"), ("4.0", "30"), ("4.2", "30"), ("2.0", "43"), ("1.9", "44")]
        {
            bench(&mut owner, &tested, &[("seconds", seconds), ("humidity", humidity)]).await;
        }
    }
    let of_family = on_shelf(house, &bottle).await.posterior;
    let slope = |posterior: &Posterior| posterior.parameter(Parameter::Humidity).0;
    assert!(slope(&of_family) > slope(&label_only) + 0.2, "{} {}", slope(&of_family), slope(&label_only));
    let speed = |posterior: &Posterior| posterior.parameter(Parameter::Reference).0;
    assert!((speed(&of_family) - speed(&label_only)).abs() < 1e-9, "how quick it is stays the label's to say");
    owner.page(&format!("/shelf/bottles/{bottle}")).await.says("its label and its family only");
    // Heath is of another family.
    let heath = on_shelf(house, &house.things.bottle).await.posterior;
    assert!(slope(&heath) < 1.05, "{}", slope(&heath));
});

both_databases!(what_all_bottles_say_of_adhesives_moves_with_their_tests, async |house| {
    let mut owner = house.owner();
    let pooled = async || -> Scatter {
        let mut db = house.house.store.read().await.unwrap();
        adhesives::pooled(&mut db).await.unwrap()
    };
    let humidity = |scatter: &Scatter| scatter.mean[Parameter::Humidity.place()];
    let strike = format!("/shelf/bottles/{}/tests/{}/strike", house.things.bottle, house.things.bench_test);
    let form = owner.form(&format!("/shelf/bottles/{}", house.things.bottle), &strike).await;
    owner.submit(&form).await.must(303);
    let before = pooled().await;
    let assumed = Scatter::of_any_adhesive();
    assert!((before.mean - assumed.mean).amax() < 1e-9, "without a test the table's priors");
    for (seconds, air) in [("1.0", "60"), ("4.0", "30"), ("1.1", "60"), ("4.1", "30")] {
        bench(&mut owner, &house.things.bottle, &[("seconds", seconds), ("humidity", air)]).await;
    }
    let after = pooled().await;
    assert!(humidity(&after) > humidity(&before) + 0.1, "{} {}", humidity(&after), humidity(&before));
    assert!(after.mean[Parameter::Reference.place()].abs() < 1e-12);
});

both_databases!(three_untouched_tests_come_first_and_the_bench_begins_with_the_test_asked_for, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let bottle = &house.things.bottle;
    let path = format!("/shelf/bottles/{bottle}");
    artist.page(&path).await.says("Test it untouched twice more: medium bead, no liquid");
    bench(&mut artist, bottle, &[("seconds", "1.8"), ("bead", "full")]).await;
    artist.page(&path).await.says("Test it untouched twice more");
    for _ in 0..2 {
        bench(&mut artist, bottle, &[("seconds", "1.8"), ("bead", "medium")]).await;
    }
    let page = artist.page(&path).await;
    assert!(!page.words().contains("untouched twice"), "{}", page.words());
    page.says("The likely range here should narrow from");
    let preset = artist.page(&format!("{path}/bench?bead=full&liquids=ph_primer")).await.form(&format!("{path}/tests"));
    assert_eq!((preset.value("bead"), preset.value("ph_primer"), preset.value("cleanser")), ("full", "yes", ""));
});

both_databases!(ten_times_the_tests_leave_the_kept_summary_about_as_large, async |house| {
    let mut owner = house.owner();
    let bottle = &house.things.bottle;
    let size = "select cast(length(summary) as bigint) from bottle_summary";
    for seconds in ["1.7", "1.8", "1.9"] {
        bench(&mut owner, bottle, &[("seconds", seconds), ("bead", "full")]).await;
    }
    let few = house.number(size).await;
    for n in 0..36 {
        bench(&mut owner, bottle, &[("seconds", &format!("1.{}", 60 + n))]).await;
    }
    let many = house.number(size).await;
    let summary: Summary = serde_json::from_str(&house.look("select summary from bottle_summary").await).unwrap();
    assert_eq!(summary.sums.tests, 40);
    assert!(many < 2 * few, "{few} bytes became {many}");
    // The list of tests comes in pages.
    let page = owner.page(&format!("/shelf/bottles/{bottle}")).await;
    page.says("Older tests");
    assert_eq!(page.text().matches("Strike it out").count(), 20);
    owner.page(&format!("/shelf/bottles/{bottle}?tests=2")).await.says("Newer tests");
});

async fn summary_of(house: &TestHouse, bottle: &str) -> Summary {
    let text = house.look(&format!("select summary from bottle_summary where bottle = '{bottle}'")).await;
    serde_json::from_str(&text).unwrap()
}

/// Two sittings of set times and a few open times: enough for honesty and openness.
async fn two_sittings(house: &TestHouse, bottle: &str) {
    let mut owner = house.owner();
    for seconds in ["2.2", "2.4"] {
        bench(&mut owner, bottle, &[("seconds", seconds)]).await;
    }
    for (delay, how) in [("9", "held"), ("14", "popped")] {
        bench(&mut owner, bottle, &[("delay", delay), ("do", how)]).await;
    }
    house.clock.advance(2 * HOUR);
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    for seconds in ["2.3", "2.6"] {
        bench(&mut owner, bottle, &[("seconds", seconds)]).await;
    }
}

/// Signs the owner in again: hours have passed.
async fn owner_again(house: &TestHouse) -> crate::browser::Browser {
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    owner
}

both_databases!(another_label_makes_openness_and_honesty_anew_also_of_a_bottle_used_up, async |house| {
    let mut owner = house.owner();
    let product = add_product(&mut owner, "Dune", &[("label_low", "2"), ("label_high", "3")]).await;
    let bottle = add_bottle(&mut owner, &product, &house.things.gable, &[]).await;
    let finished = add_bottle(&mut owner, &product, &house.things.gable, &[("lot", "old")]).await;
    for seconds in ["2.5", "2.4"] {
        bench(&mut owner, &finished, &[("seconds", seconds)]).await;
    }
    two_sittings(house, &bottle).await;
    let mut owner = owner_again(house).await;
    bench(&mut owner, &finished, &[("seconds", "2.6")]).await;
    let page = format!("/shelf/bottles/{finished}");
    let finish = owner.form(&page, &format!("{page}/finish")).await;
    owner.submit(&finish).await.must(303);
    let before = (summary_of(house, &bottle).await, summary_of(house, &finished).await);
    let edit = format!("/shelf/products/{product}/edit");
    let form = owner.form(&edit, &edit).await.with("label_low", "5").with("label_high", "8");
    owner.submit(&form).await.goes_to();
    let after = (summary_of(house, &bottle).await, summary_of(house, &finished).await);
    for (before, after) in [(&before.0, &after.0), (&before.1, &after.1)] {
        assert_eq!(before.sums, after.sums, "the tests are what they were");
        let (before, after) = (before.honest.as_ref().unwrap(), after.honest.as_ref().unwrap());
        let slower =
            before.newest.iter().zip(&after.newest).all(|(before, after)| after.foretold > before.foretold + 0.01);
        assert!(slower, "foretold from a slower label: {before:?} {after:?}");
    }
    assert!(
        after.0.openness.median() < before.0.openness.median() - 0.01,
        "a slower bottle is open for fewer of its set times"
    );
});

both_databases!(kin_that_are_tested_later_make_honesty_and_openness_anew, async |house| {
    let mut owner = house.owner();
    let gable = house.things.gable.clone();
    let product =
        add_product(&mut owner, "Fen", &[("family", "methoxyethyl"), ("label_low", "2"), ("label_high", "3")]).await;
    let bottle = add_bottle(&mut owner, &product, &gable, &[]).await;
    two_sittings(house, &bottle).await;
    let mut owner = owner_again(house).await;
    bench(&mut owner, &bottle, &[("seconds", "6.4"), ("humidity", "30")]).await;
    let before = summary_of(house, &bottle).await;
    for name in ["Dune", "Slate"] {
        let product = add_product(&mut owner, name, &[("family", "methoxyethyl")]).await;
        let tested = add_bottle(&mut owner, &product, &gable, &[]).await;
        // Far steeper in dry air than assumed.
        for (seconds, humidity) in
            [("1.0", "60"), ("1.0", "58"), ("4.0", "30"), ("4.2", "30"), ("2.0", "43"), ("1.9", "44")]
        {
            bench(&mut owner, &tested, &[("seconds", seconds), ("humidity", humidity)]).await;
        }
    }
    let after = summary_of(house, &bottle).await;
    assert_eq!(before.sums, after.sums, "its own tests are what they were");
    assert_ne!(before.prior, after.prior);
    let dry =
        |summary: &Summary| summary.honest.as_ref().unwrap().newest.iter().map(|one| one.foretold).fold(0.0, f64::max);
    assert!(dry(&after) > dry(&before) + 0.05, "the dry test is foretold slower: {} {}", dry(&before), dry(&after));
});

both_databases!(an_opening_day_put_right_counts_the_days_of_every_test_again, async |house| {
    let mut owner = house.owner();
    let bottle = house.things.bottle.clone();
    two_sittings(house, &bottle).await;
    let mut owner_later = owner_again(house).await;
    let days =
        format!("select cast(cast(round(min(days_open)) as bigint) as text) from bench_test where bottle = '{bottle}'");
    let before = (house.look(&days).await, summary_of(house, &bottle).await);
    let edit = format!("/shelf/bottles/{bottle}/edit");
    let form = owner_later.form(&edit, &edit).await;
    // The same day changes nothing.
    owner_later.submit(&form).await.goes_to();
    assert_eq!(summary_of(house, &bottle).await, before.1);
    let form = owner_later.form(&edit, &edit).await.with("received", "2026-01-01").with("opened", "2026-01-09");
    owner_later.submit(&form).await.goes_to();
    let after = (house.look(&days).await, summary_of(house, &bottle).await);
    assert_eq!((before.0.as_str(), after.0.as_str()), ("17", "40"));
    assert_ne!(before.1.sums, after.1.sums);
    let honest = |summary: &Summary| summary.honest.as_ref().unwrap().newest.clone();
    assert_ne!(honest(&before.1), honest(&after.1));
    owner.get("/").await;
});
