//! The shelf: bottles and their days, classes, the bench, who may do what.

use stillroom::adhesives::{self, OnShelf, Out};
use stillroom::base::time::{DAY, MINUTE};

use crate::browser::Browser;
use crate::doors::{Row, Sent, empty_form, form, get, post};
use crate::house::{TestHouse, both_databases};
use crate::mistakes::Slip;
use crate::studio::{Actor, PHRASE, Things};

/// Heath with one bottle in Gable, open, tested once.
pub(crate) async fn furnish(house: &TestHouse, owner: &mut Browser, things: &mut Things) {
    things.product = add_product(owner, "Heath", &[]).await;
    things.bottle = add_bottle(owner, &things.product, &things.gable, &[("lot", "21")]).await;
    bench(owner, &things.bottle, &[("seconds", "1.7")]).await;
    things.bench_test = house.look("select id from bench_test").await;
    things.class = house.look("select max(id) from cure_class").await;
}

/// Everybody who works in the rooms handles bottles and tests; the owner says what a product and a class is.
pub(crate) fn rows() -> Vec<Row> {
    vec![
        get("/shelf", "ssooonoss"),
        get("/shelf/liquids", "ssooonoss"),
        get("/shelf/classes", "ssooonoss"),
        post("/shelf/classes", |_| form(&[("low", "8"), ("high", "12")]), "ssnnnngss"),
        get("/shelf/classes/{class}", "ssnnnnoss"),
        post("/shelf/classes/{class}", |_| form(&[("low", "5"), ("high", "9")]), "ssnnnngss"),
        get("/shelf/products/new", "ssnnnnoss"),
        post("/shelf/products", |_| Sent::Form(a_product("Slate")), "ssnnnngss"),
        get("/shelf/products/{product}/edit", "ssnnnnoss"),
        post("/shelf/products/{product}/edit", |_| Sent::Form(a_product("Heath")), "ssnnnngss"),
        get("/shelf/bottles/new", "ssooonoss"),
        post("/shelf/bottles", a_bottle, "ssgggngss"),
        get("/shelf/bottles/{bottle}", "ssooonoss"),
        get("/shelf/bottles/{bottle}/edit", "ssooonoss"),
        post(
            "/shelf/bottles/{bottle}/edit",
            |_| form(&[("lot", "22"), ("received", "2026-02-01"), ("expiry", "2026-12-31"), ("opened", "2026-02-10")]),
            "ssgggngss",
        ),
        get("/shelf/bottles/{bottle}/bench", "ssooonoss"),
        post("/shelf/bottles/{bottle}/tests", |_| Sent::Form(a_test()), "ssgggngss"),
        post("/shelf/bottles/{bottle}/open", empty_form, "ssgggngss"),
        post("/shelf/bottles/{bottle}/move", |things| form(&[("room", &things.lantern)]), "ssgggngss"),
        post("/shelf/bottles/{bottle}/use", |_| form(&[("in_use", "yes")]), "ssgggngss"),
        post("/shelf/bottles/{bottle}/tests/{test}/strike", empty_form, "ssgggngss"),
        post("/shelf/bottles/{bottle}/tests/{test}/take-back", empty_form, "ssgggngss"),
        post("/shelf/bottles/{bottle}/finish", empty_form, "ssgggngss"),
        post("/shelf/bottles/{bottle}/take-back", empty_form, "ssgggngss"),
        post("/shelf/classes/{class}/retire", empty_form, "ssnnnngss"),
    ]
}

fn a_product(name: &str) -> Vec<(&'static str, String)> {
    [
        ("name", name),
        ("label_low", "1"),
        ("label_high", "2"),
        ("temperature_low", ""),
        ("temperature_high", ""),
        ("humidity_low", ""),
        ("humidity_high", ""),
        ("family", "ethyl"),
        ("colour", "black"),
        ("opened_life", "30"),
        ("storage", "upright"),
        ("accelerator", "no"),
    ]
    .map(|(field, value)| (field, value.to_owned()))
    .to_vec()
}

fn a_bottle(things: &Things) -> Sent {
    form(&[("product", &things.product), ("lot", "23"), ("received", "2026-02-17"), ("room", &things.gable)])
}

fn a_test() -> Vec<(&'static str, String)> {
    [
        ("piece", "practice_lash"),
        ("bead", "medium"),
        ("temperature", "21"),
        ("humidity", "40"),
        ("seconds", "1,85"),
        ("do", "set"),
    ]
    .map(|(field, value)| (field, value.to_owned()))
    .to_vec()
}

/// Forms of the shelf that come back.
pub(crate) fn slips(things: &Things) -> Vec<Slip> {
    let (product, bottle, class) = (&things.product, &things.bottle, &things.class);
    let slip = |page: String,
                action: String,
                typed: &[(&'static str, &'static str)],
                wrong: &[&'static str],
                corrected: &[(&'static str, &'static str)]| Slip {
        page,
        action,
        typed: typed.to_vec(),
        wrong: wrong.to_vec(),
        corrected: corrected.to_vec(),
    };
    let product_typed = [
        ("name", "\u{200b}"),
        ("label_low", "fast"),
        ("label_high", "2"),
        ("temperature_low", "18"),
        ("humidity_low", "40"),
        ("humidity_high", "400"),
        ("opened_life", "0"),
        ("colour", "<b>black</b> & \"tan\""),
    ];
    let product_wrong = ["name", "label_low", "humidity_high", "opened_life"];
    let product_right = [
        ("name", "Fen"),
        ("label_low", "0,5"),
        ("temperature_high", "24"),
        ("humidity_high", "60"),
        ("opened_life", "30"),
    ];
    let edit = format!("/shelf/bottles/{bottle}/edit");
    let bench = format!("/shelf/bottles/{bottle}/bench");
    vec![
        slip("/shelf/products/new".into(), "/shelf/products".into(), &product_typed, &product_wrong, &product_right),
        slip(
            format!("/shelf/products/{product}/edit"),
            format!("/shelf/products/{product}/edit"),
            &[
                ("name", "FEN"),
                ("label_low", ""),
                ("label_high", "3"),
                ("temperature_low", "22"),
                ("temperature_high", "18"),
            ],
            &["label_low", "temperature_high", "humidity_low", "humidity_high"],
            &[
                ("name", "Heath"),
                ("label_low", "1"),
                ("temperature_high", "26"),
                ("humidity_low", "40"),
                ("humidity_high", "60"),
            ],
        ),
        slip(
            "/shelf/products/new".into(),
            "/shelf/products".into(),
            &[("name", "hEATH"), ("label_low", "1")],
            &["name"],
            &[("name", "Dune")],
        ),
        slip(
            "/shelf/bottles/new".into(),
            "/shelf/bottles".into(),
            &[("product", ""), ("lot", "7 & <8>"), ("received", "2026-02-30"), ("expiry", "soon"), ("opened", "")],
            &["product", "received", "expiry"],
            &[
                ("product", Box::leak(product.clone().into_boxed_str())),
                ("received", "2026-02-16"),
                ("expiry", "2026-09-30"),
            ],
        ),
        slip(
            edit.clone(),
            edit.clone(),
            &[("received", "2026-02-10"), ("opened", "2026-02-09")],
            &["opened"],
            &[("opened", "2026-02-11")],
        ),
        slip(
            edit.clone(),
            edit,
            &[("received", "2026-03-10"), ("opened", "2027-01-01"), ("lot", "x")],
            &["received", "opened"],
            &[("received", "2026-02-10"), ("opened", "2026-02-18")],
        ),
        slip(
            "/shelf/classes".into(),
            "/shelf/classes".into(),
            &[("low", "2"), ("high", "1,5")],
            &["high"],
            &[("high", "2,5")],
        ),
        slip(
            "/shelf/classes".into(),
            "/shelf/classes".into(),
            &[("low", "1"), ("high", "2,0")],
            &["low"],
            &[("low", "1.2")],
        ),
        slip(
            format!("/shelf/classes/{class}"),
            format!("/shelf/classes/{class}"),
            &[("low", "0"), ("high", "")],
            &["low", "high"],
            &[("low", "5"), ("high", "10")],
        ),
        slip(
            bench,
            format!("/shelf/bottles/{bottle}/tests"),
            &[("seconds", "quick"), ("temperature", "99"), ("humidity", "wet"), ("delay", "4")],
            &["seconds", "temperature", "humidity"],
            &[("seconds", "1,9"), ("temperature", "21,5"), ("humidity", "39")],
        ),
    ]
}

pub(crate) async fn add_product(owner: &mut Browser, name: &str, more: &[(&str, &str)]) -> String {
    let typed = a_product(name);
    let pairs: Vec<(&str, &str)> = typed.iter().map(|(field, value)| (*field, value.as_str())).collect();
    let page = owner.form("/shelf/products/new", "/shelf/products").await.with_all(&pairs).with_all(more);
    owner.submit(&page).await.goes_to().rsplit('=').next().unwrap().to_owned()
}

/// A bottle that came and was opened on 1 February.
pub(crate) async fn add_bottle(who: &mut Browser, product: &str, room: &str, more: &[(&str, &str)]) -> String {
    let page = who.form("/shelf/bottles/new", "/shelf/bottles").await;
    let page = page
        .with_all(&[("product", product), ("received", "2026-02-01"), ("opened", "2026-02-01"), ("room", room)])
        .with_all(more);
    who.submit(&page).await.goes_to().rsplit('/').next().unwrap().to_owned()
}

/// A test at 21 °C and 40 %RH unless said otherwise: seconds for the set time, or a delay with `do`.
pub(crate) async fn bench(who: &mut Browser, bottle: &str, typed: &[(&str, &str)]) {
    let page = who.form(&format!("/shelf/bottles/{bottle}/bench"), &format!("/shelf/bottles/{bottle}/tests")).await;
    let page = page.with_all(&[("temperature", "21"), ("humidity", "40")]).with_all(typed);
    who.submit(&page).await.must(303);
}

pub(crate) async fn on_shelf(house: &TestHouse, bottle: &str) -> OnShelf {
    let mut db = house.house.store.read().await.unwrap();
    let shelf = adhesives::shelf(&mut db, None, house.clock.now().0).await.unwrap();
    shelf.into_iter().find(|on_shelf| on_shelf.bottle.to_string() == bottle).unwrap()
}

both_databases!(the_same_form_twice_is_one_test, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let bottle = &house.things.bottle;
    let path = format!("/shelf/bottles/{bottle}");
    let page = artist.form(&format!("{path}/bench"), &format!("{path}/tests")).await;
    let page = page.with_all(&[("temperature", "21"), ("humidity", "40"), ("seconds", "2.2"), ("do", "set")]);
    let first = artist.submit(&page).await.goes_to();
    let sums = house.look("select summary from bottle_summary").await;
    assert_eq!(artist.submit(&page).await.goes_to(), first);
    assert_eq!(house.number("select count(*) from bench_test").await, 2);
    assert_eq!(house.look("select summary from bottle_summary").await, sums);
});

both_databases!(a_bottle_lapses_by_its_opened_life_and_says_so_in_time, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let bottle = &house.things.bottle;
    // Opened on 1 February, 30 days: the last day is 3 March.
    artist.page(&format!("/shelf/bottles/{bottle}")).await.says("Last day Tue 3 Mar");
    artist.page("/shelf").await.says("No bottle lapses within a week.");
    for (days, words, out) in [
        (6, "7 days left", None),
        (6, "1 day left", None),
        (1, "last day today", None),
        (1, "lapsed yesterday", Some(Out::Lapsed)),
        (3, "lapsed 4 days ago", Some(Out::Lapsed)),
    ] {
        house.clock.advance(days * DAY);
        let mut artist = house.stranger();
        artist.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
        artist.page("/shelf").await.says(words);
        artist.page(&format!("/shelf/bottles/{bottle}")).await.says(words);
        assert_eq!(on_shelf(house, bottle).await.out, out, "{words}");
    }
});

both_databases!(a_closed_bottle_is_opened_before_it_is_tested, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let closed = add_bottle(&mut desk, &house.things.product, "cupboard", &[("opened", ""), ("lot", "9")]).await;
    let path = format!("/shelf/bottles/{closed}");
    desk.page(&format!("{path}/bench")).await.says("has not been opened yet");
    let csrf = desk.csrf().await;
    let fields = crate::doors::form_body(&csrf, &crate::doors::fresh_key(), &a_test());
    desk.post_body(&format!("{path}/tests"), crate::browser::URLENCODED, fields).await.must(409);
    let open = desk.form("/shelf", &format!("{path}/open")).await;
    desk.submit(&open).await.must(303);
    desk.page(&path).await.says("Opened Wed 18 Feb");
    desk.page("/shelf").await.says("Cupboard");
    assert!((on_shelf(house, &closed).await.days_open).abs() < 1e-9);
    // Moved to a room, used every day, and no more.
    let moved = desk.form(&path, &format!("{path}/move")).await.with("room", &house.things.lantern);
    desk.submit(&moved).await.must(303);
    assert_eq!(on_shelf(house, &closed).await.room.map(|room| room.to_string()), Some(house.things.lantern.clone()));
    let others = desk.page("/shelf").await.words().matches("in daily use").count();
    for in_use in [true, false] {
        let form = desk.form(&path, &format!("{path}/use")).await;
        desk.submit(&form).await.must(303);
        assert_eq!(on_shelf(house, &closed).await.in_use, in_use);
        let shown = desk.page("/shelf").await.words().matches("in daily use").count();
        assert_eq!(shown, others + usize::from(in_use));
    }
    let nowhere = desk.form(&path, &format!("{path}/move")).await.with("room", "attic");
    desk.submit(&nowhere).await.must(409);
});

both_databases!(a_bottle_opened_and_finished_late_was_so_when_the_button_was_pressed, async |house| {
    let mut desk = house.actor(Actor::Desk);
    let closed = add_bottle(&mut desk, &house.things.product, "cupboard", &[("opened", ""), ("lot", "9")]).await;
    let path = format!("/shelf/bottles/{closed}");
    for (deed, column) in [("open", "opened"), ("finish", "finished")] {
        let form = desk.form(&path, &format!("{path}/{deed}")).await;
        house.pass(25, &mut [&mut desk]).await;
        let pressed = house.clock.now().0.plus(-20 * MINUTE);
        let form = form.with("done", &(pressed.0 / 1000).to_string());
        let to = desk.submit(&form).await.goes_to();
        assert_eq!(desk.submit(&form).await.goes_to(), to, "sent again it is the same one");
        let at = house.number(&format!("select {column} from bottle where id = '{closed}'")).await;
        assert_eq!(at, pressed.0, "{column}");
    }
});

both_databases!(a_late_change_of_a_bottle_or_a_product_is_not_written_over_a_newer_one, async |house| {
    let mut owner = house.owner();
    let (product, bottle) = (&house.things.product, &house.things.bottle);
    for (path, field, mine, theirs) in [
        (format!("/shelf/bottles/{bottle}/edit"), "lot", "MI-1", "TH-1"),
        (format!("/shelf/products/{product}/edit"), "colour", "blue", "brown"),
    ] {
        let (late, other) = (owner.form(&path, &path).await, owner.form(&path, &path).await);
        owner.submit(&other.with(field, theirs)).await.must(303);
        let back = owner.submit(&late.with(field, mine)).await.must(422);
        back.says(&format!("This was changed while the page was open, and holds “{theirs}” now."));
        assert_eq!(owner.form(&path, &path).await.value(field), theirs, "nothing was written over");
        let again = back.form(&path);
        assert_eq!(again.value(field), mine, "hers is still there");
        owner.submit(&again).await.must(303);
        assert_eq!(owner.form(&path, &path).await.value(field), mine);
    }
});

both_databases!(a_lot_put_right_after_it_was_met_is_said_to_be_found_by_the_right_one, async |house| {
    let mut owner = house.owner();
    let path = format!("/shelf/bottles/{}/edit", house.things.bottle);
    let words = "Put right, it is found by the right lot, too";
    owner.page(&path).await.says(words);
    let closed = add_bottle(&mut owner, &house.things.product, "cupboard", &[("opened", ""), ("lot", "9")]).await;
    let page = owner.page(&format!("/shelf/bottles/{closed}/edit")).await;
    page.says("it finds its sisters again");
    assert!(!page.words().contains(words), "nobody has met a bottle that was never opened");
});

both_databases!(what_is_stopped_says_so_and_is_not_tested, async |house| {
    let mut owner = house.owner();
    let (product, bottle) = (&house.things.product, &house.things.bottle);
    for (stop, undo) in [
        ("update bottle set stopped = 1".to_owned(), "update bottle set stopped = null"),
        ("update product set stopped = 1".to_owned(), "update product set stopped = null"),
        (
            format!("insert into stopped_lot (product, lot, at) values ('{product}', '21', 1)"),
            "delete from stopped_lot",
        ),
    ] {
        house.run(&stop).await.unwrap();
        assert_eq!(on_shelf(house, bottle).await.out, Some(Out::Stopped), "{stop}");
        owner.page("/shelf").await.says("stopped");
        owner.page(&format!("/shelf/bottles/{bottle}")).await.says("stopped: nothing of it is used from now on");
        owner.page(&format!("/shelf/bottles/{bottle}/bench")).await.says("is stopped");
        house.run(undo).await.unwrap();
    }
    assert_eq!(on_shelf(house, bottle).await.out, None);
});

both_databases!(the_bench_fills_in_the_air_of_the_room_with_its_doubt_and_takes_what_is_typed, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let (gable, bottle) = (&house.things.gable, &house.things.bottle);
    let path = format!("/shelf/bottles/{bottle}");
    let reading = artist.form(&format!("/rooms/{gable}/readings/new"), &format!("/rooms/{gable}/readings")).await;
    artist.submit(&reading.with_all(&[("temperature", "21.6"), ("humidity", "29")])).await.must(303);
    house.clock.advance(4 * MINUTE);
    let bench = artist.page(&format!("{path}/bench")).await;
    bench.says("Filled in from Gable: 21.6 °C, 29 %RH, read 4 min ago.");
    let filled = bench.form(&format!("{path}/tests"));
    assert_eq!((filled.value("temperature"), filled.value("humidity")), ("21.6", "29.0"));
    artist.submit(&filled.clone().with("seconds", "3.2")).await.must(303);
    let doubt =
        "select cast(round(u_humidity_pct * 100) as bigint) from bench_test where seconds > 3 and seconds < 3.5";
    assert_ne!(house.number(doubt).await, 290, "as doubtful as the instrument");
    let again = artist.form(&format!("{path}/bench"), &format!("{path}/tests")).await;
    artist.submit(&again.with_all(&[("seconds", "3.8"), ("humidity", "31")])).await.must(303);
    let typed = "select cast(round(u_humidity_pct * 100) as bigint) from bench_test where seconds > 3.5";
    assert_eq!(house.number(typed).await, 290, "as doubtful as an instrument that was never checked");
    // Another room's air has to be typed: nothing was read there.
    artist
        .page(&format!("{path}/bench?room={}", house.things.lantern))
        .await
        .says("The air of Lantern has not been read yet: type it.");
    // The bottle's page speaks of the room it stands in, and of what it was tested in.
    let page = artist.page(&path).await;
    page.says("Air of Gable: 21.6 °C, 29 %RH, read 4 min ago.");
    page.says("in Gable");
});

both_databases!(the_same_again_keeps_every_choice_and_a_pause_begins_a_new_sitting, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let bottle = &house.things.bottle;
    let chosen = [
        ("bead", "thin"),
        ("pick_up", "coat"),
        ("piece", "shed_hair"),
        ("drop", "10"),
        ("shaken", "60"),
        ("nudge", "0.5"),
        ("ph_primer", "yes"),
    ];
    bench(&mut artist, bottle, &[&chosen[..], &[("seconds", "1.5")]].concat()).await;
    let again = artist.form(&format!("/shelf/bottles/{bottle}/bench"), &format!("/shelf/bottles/{bottle}/tests")).await;
    for (field, value) in chosen {
        assert_eq!(again.value(field), value, "{field} was not remembered");
    }
    let with_air = again.with_all(&[("temperature", "21"), ("humidity", "40")]);
    artist.submit(&with_air.with("seconds", "1.5")).await.must(303);
    let sittings = "select count(*) from bench_sitting";
    assert_eq!(house.number(sittings).await, 2, "the owner's of before, and the artist's");
    house.clock.advance(61 * MINUTE);
    let mut artist = house.stranger();
    artist.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
    bench(&mut artist, bottle, &[("seconds", "1.6")]).await;
    assert_eq!(house.number(sittings).await, 3);
    assert_eq!(house.number("select count(*) from bench_test where liquids = 'ph_primer' and nudge_s > 0.4").await, 3);
    let page = artist.page(&format!("/shelf/bottles/{bottle}")).await;
    page.says("thin bead, coat along the fibre, pH primer, drop 10 min old");
    page.says("nudged every 0.50 s");
    // One more on shed hair than on a practice lash: those count, and the page says what was left out.
    page.says("1 test on another piece: kept, and not mixed with those on a shed hair.");
});

both_databases!(one_class_always_stays, async |house| {
    let mut owner = house.owner();
    let classes = async || {
        let mut db = house.house.store.read().await.unwrap();
        let classes = adhesives::classes(&mut db).await.unwrap();
        classes.iter().map(|class| (class.low.get(), class.high.get())).collect::<Vec<_>>()
    };
    let defaults = [(0.3, 0.5), (0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (5.0, 8.0)];
    assert_eq!(classes().await, defaults);
    let page = owner.page("/shelf/classes").await;
    let html = page.text();
    let retire: Vec<String> = crate::html::forms(&html)
        .into_iter()
        .map(|form| form.action)
        .filter(|action| action.ends_with("/retire"))
        .collect();
    assert_eq!(retire.len(), 6);
    for (n, action) in retire.iter().enumerate() {
        let form = page.form(action);
        // Each button carries the same key of the page; a browser would have fetched the page anew.
        let form = form.with("form_key", &crate::doors::fresh_key());
        owner.submit(&form).await.must(if n < 5 { 303 } else { 409 });
    }
    assert_eq!(classes().await, [(5.0, 8.0)]);
});

both_databases!(what_a_label_does_not_say_may_be_said_later_and_taken_back_again, async |house| {
    // A connection that once kept a row without a number must take one with it afterwards, and the other way round.
    let mut owner = house.owner();
    let none = [("label_low", ""), ("label_high", ""), ("opened_life", "")];
    let product = add_product(&mut owner, "Dune", &none).await;
    let edit = format!("/shelf/products/{product}/edit");
    let bottle = add_bottle(&mut owner, &product, "cupboard", &[("opened", "")]).await;
    owner.page(&format!("/shelf/bottles/{bottle}")).await.says("last day not known");
    let all = [
        ("label_low", "0,8"),
        ("label_high", "1.2"),
        ("opened_life", "21"),
        ("temperature_low", "18"),
        ("temperature_high", "24,5"),
        ("humidity_low", "40"),
        ("humidity_high", "60"),
    ];
    let nothing: Vec<_> = all.iter().map(|(field, _)| (*field, "")).collect();
    for typed in [&all[..], &nothing, &all] {
        let form = owner.form(&edit, &edit).await.with_all(typed);
        owner.submit(&form).await.must(303);
        // What is kept is what was typed, in the studio's own way of writing.
        let kept = owner.page(&edit).await.form(&edit);
        for (field, value) in typed {
            let plain = |text: &str| text.replace(',', ".").trim_end_matches(".0").to_owned();
            assert_eq!(plain(kept.value(field)), plain(value), "{field}");
        }
    }
    let page = format!("/shelf/bottles/{bottle}/edit");
    for (expiry, opened) in [("2026-12-31", "2026-02-03"), ("", ""), ("2026-12-31", "2026-02-03")] {
        let form = owner.form(&page, &page).await.with_all(&[("expiry", expiry), ("opened", opened)]);
        owner.submit(&form).await.must(303);
    }
    owner.page(&format!("/shelf/bottles/{bottle}")).await.says("Last day Tue 24 Feb");
    assert!(on_shelf(house, &bottle).await.climate.is_some());
});

both_databases!(a_studio_that_speaks_fahrenheit_and_commas_tests_in_them, async |house| {
    let mut owner = house.owner();
    let settings = owner.form("/office/settings", "/office/settings").await;
    owner.submit(&settings.with_all(&[("temperature", "fahrenheit"), ("decimal", "comma")])).await.must(303);
    let bottle = &house.things.bottle;
    bench(&mut owner, bottle, &[("temperature", "69,8"), ("humidity", "38,5"), ("seconds", "2,45")]).await;
    let kept = "select cast(round(temperature_c * 100) as bigint) from bench_test where seconds > 2.4";
    assert_eq!(house.number(kept).await, 2100);
    let page = owner.page(&format!("/shelf/bottles/{bottle}")).await;
    page.says("69,8 °F, 38 %RH");
    page.says("set in 2,5 s");
    page.says("air 3,6 °F cooler");
    owner.page("/shelf/liquids").await.says("never below 68 °F");
    // A climate typed in °F comes back as it was typed.
    let edit = format!("/shelf/products/{}/edit", house.things.product);
    let typed =
        [("temperature_low", "68"), ("temperature_high", "75,2"), ("humidity_low", "40"), ("humidity_high", "60")];
    let form = owner.form(&edit, &edit).await.with_all(&typed);
    owner.submit(&form).await.must(303);
    let kept = owner.page(&edit).await.form(&edit);
    assert_eq!((kept.value("temperature_low"), kept.value("temperature_high")), ("68,0", "75,2"));
    owner.page("/shelf").await.says("68–75,2 °F, 40–60 %RH");
});

both_databases!(a_test_that_waited_on_its_tablet_keeps_the_air_of_its_own_minute, async |house| {
    let (bottle, gable) = (&house.things.bottle, &house.things.gable);
    let mut owner = house.owner();
    let page = format!("/rooms/{gable}/readings");
    let form = owner.form(&format!("{page}/new"), &page).await;
    let read = form.with_all(&[("temperature", "21"), ("humidity", "38"), ("do", "keep")]);
    owner.submit(&read).await.goes_to();
    let bench = owner.form(&format!("/shelf/bottles/{bottle}/bench"), &format!("/shelf/bottles/{bottle}/tests")).await;
    let timed = house.clock.now().0.0 / 1000;
    // Three hours without a network; meanwhile somebody reads the room again.
    house.clock.advance(3 * 60 * MINUTE);
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let form = owner.form(&format!("{page}/new"), &page).await;
    let read = form.with_all(&[("temperature", "24"), ("humidity", "55"), ("do", "keep")]);
    owner.submit(&read).await.goes_to();
    let fresh = owner.form(&format!("/shelf/bottles/{bottle}/bench"), &format!("/shelf/bottles/{bottle}/tests")).await;
    let late = fresh.with_all(&[
        ("at", &timed.to_string()),
        ("shown_temperature", bench.value("shown_temperature")),
        ("shown_humidity", bench.value("shown_humidity")),
        ("temperature", bench.value("temperature")),
        ("humidity", bench.value("humidity")),
        ("seconds", "2.2"),
        ("do", "set"),
    ]);
    owner.submit(&late).await.goes_to();
    let kept = house.number("select count(*) from bench_test where seconds > 2.15 and humidity_pct < 45").await;
    assert_eq!(kept, 1, "the air of three hours later is not the air of the bond");
    let at = house.number("select max(at) from bench_test where seconds > 2.15").await;
    assert_eq!(at / 1_000_000, timed / 1000);

    // A tablet two hours slow: only how long it waited is its own to say.
    let fresh = owner.form(&format!("/shelf/bottles/{bottle}/bench"), &format!("/shelf/bottles/{bottle}/tests")).await;
    let now = house.clock.now().0.0 / 1000;
    let slow = 2 * 60 * MINUTE / 1000;
    let late = fresh.with_all(&[
        ("at", &(now - slow - 5 * MINUTE / 1000).to_string()),
        ("sent", &(now - slow).to_string()),
        ("seconds", "2.7"),
        ("do", "set"),
    ]);
    owner.submit(&late).await.goes_to();
    let at = house.number("select max(at) from bench_test where seconds > 2.65").await;
    assert_eq!(at / 1000, now - 5 * MINUTE / 1000);
});
