//! The room plan: what can be reached and when to switch on, what is refused, outside air, the hours a device runs, and a fit.

use std::fmt::Write as _;

use stillroom::base::time::{DAY, HOUR, Instant, MINUTE};
use stillroom::rooms::plan::{Air, Reach, reach};
use stillroom::rooms::{self, RoomSettings};

use crate::browser::Answer;
use crate::doors::{Row, Sent, form, get, post};
use crate::house::{TestHouse, both_databases};
use crate::mistakes::Slip;
use crate::studio::{Actor, Things};

pub(crate) fn rows() -> Vec<Row> {
    vec![
        get("/rooms/{room}/plan", "ssooonoss"),
        post("/rooms/{room}/plan/outside", |_| a_winter_day(), "ssgggngss"),
        post("/rooms/{room}/plan/opening", |_| form(&[("opening", "08:30")]), "ssgggngss"),
        post("/rooms/{room}/plan/outdoors", |_| form(&[("outdoor_instrument", "")]), "ssnnnngss"),
        post("/rooms/{room}/plan/room", |_| form(&REST), "ssnnnngss"),
        // A stretch without readings tells nothing: the page is shown and says so.
        post("/rooms/{room}/plan/fit", a_stretch, "ssnnnngss"),
        get("/rooms/{room}/devices/{device}/running", "ssnnnnoss"),
        post("/rooms/{room}/devices/{device}/running", |_| form(&[("hours_a_day", "16")]), "ssnnnngss"),
    ]
}

const REST: [(&str, &str); 6] = [
    ("capacity_low", "5"),
    ("capacity_best", "10"),
    ("capacity_high", "20"),
    ("surface_factor", "0.6"),
    ("warms", "3"),
    ("cools", "2"),
];

fn a_stretch(_: &Things) -> Sent {
    form(&[("fit_from", "2026-01-01T00:00"), ("fit_to", "2026-01-01T08:00"), ("fit_devices", "off")])
}

fn a_winter_day() -> Sent {
    form(&[("outside_temperature", "0"), ("outside_humidity", "80")])
}

pub(crate) fn slips(things: &Things) -> Vec<Slip> {
    let (gable, device) = (&things.gable, &things.device);
    let page = format!("/rooms/{gable}/plan");
    let running = format!("/rooms/{gable}/devices/{device}/running");
    let slip = |page: &str, action: String, typed: &[_], wrong: &[&'static str], corrected: &[_]| Slip {
        page: page.to_owned(),
        action,
        typed: typed.to_vec(),
        wrong: wrong.to_vec(),
        corrected: corrected.to_vec(),
    };
    vec![
        slip(
            &page,
            format!("{page}/outside"),
            &[("outside_temperature", "frost"), ("outside_humidity", "180")],
            &["outside_temperature", "outside_humidity"],
            &[("outside_temperature", "−2,5"), ("outside_humidity", "80")],
        ),
        slip(&page, format!("{page}/opening"), &[("opening", "half past eight")], &["opening"], &[("opening", "8:30")]),
        slip(
            &page,
            format!("{page}/room"),
            &[("capacity_low", "15"), ("capacity_best", "10"), ("surface_factor", "2"), ("warms", "0"), ("cools", "")],
            &["capacity_low", "surface_factor", "warms", "cools"],
            &[("capacity_low", "6"), ("surface_factor", "0,7"), ("warms", "2.5"), ("cools", "1")],
        ),
        slip(&running, running.clone(), &[("hours_a_day", "25")], &["hours_a_day"], &[("hours_a_day", "16")]),
    ]
}

/// Gable's sensor shows this air now.
async fn air(house: &TestHouse, temperature: f64, humidity: f64) {
    let body = format!(r#"{{"temperature": {temperature}, "humidity": {humidity}}}"#);
    house
        .actor(Actor::Sensor)
        .post_json(&format!("/api/v1/rooms/{}/readings", house.things.gable), body)
        .await
        .must(200);
}

async fn outside(house: &TestHouse, temperature: &str, humidity: &str) {
    let page = plan_of(house);
    let mut desk = house.actor(Actor::Desk);
    let form = desk.form(&page, &format!("{page}/outside")).await;
    let form = form.with("outside_temperature", temperature).with("outside_humidity", humidity);
    assert_eq!(desk.submit(&form).await.goes_to(), page);
}

fn plan_of(house: &TestHouse) -> String {
    format!("/rooms/{}/plan", house.things.gable)
}

async fn plan(house: &TestHouse, query: &str) -> Answer {
    house.actor(Actor::ArtistA).page(&format!("{}{query}", plan_of(house))).await
}

/// What the page says, its spaces all of one kind.
fn said(answer: &Answer) -> String {
    answer.words().replace('\u{a0}', " ")
}

#[track_caller]
fn says(answer: &Answer, sentence: &str) {
    assert!(said(answer).contains(sentence), "{} does not say “{sentence}”: {}", answer.asked, said(answer));
}

both_databases!(the_plan_says_what_is_missing_before_it_plans, async |house| {
    says(&plan(house, "").await, "Its air has not been read yet. One reading begins the plan.");
    air(house, 21.0, 30.0).await;
    says(&plan(house, "").await, "The air outside is not known today.");
    outside(house, "0", "80").await;
    says(&plan(house, "").await, "Gable reaches 40 %RH at 21.0 °C in");
    // A day later it is no longer today's air.
    house.clock.advance(DAY + MINUTE);
    let mut artist = house.stranger();
    artist.sign_in(Actor::ArtistA.name(), crate::studio::PHRASE).await.must(303);
    let page = artist.page(&plan_of(house)).await;
    says(&page, "The air outside is not known today.");
});

both_databases!(the_page_says_hours_switching_on_watts_and_the_cold_surface, async |house| {
    air(house, 21.0, 30.0).await;
    outside(house, "0", "80").await;
    let page = plan(house, "").await;
    // 300 g an hour in 32 m³ with half an air change: 5.8 to 7.5 g/m³ takes 1 to 4 hours by the capacity.
    let inputs = {
        let mut db = house.house.store.read().await.unwrap();
        let (settings, now) = (RoomSettings::load(&mut db).await.unwrap(), house.clock.now().0);
        let room = rooms::asked::open(&mut db, house.things.gable.parse().unwrap()).await.unwrap();
        let air = rooms::now::air_now(&mut db, room.id, &settings, now).await.unwrap();
        rooms::plan_inputs(&mut db, &room, air.as_ref(), now).await.unwrap().unwrap()
    };
    let target =
        Air { humidity: "40".parse().map(stillroom::base::units::RelHumidity::clamped).unwrap(), ..inputs.now };
    let Reach::Reached { low, best, high } = reach(&inputs, target) else { panic!("it is reached") };
    assert!((0.5..1.5).contains(&low.get()) && (1.0..3.0).contains(&best.get()), "{low:?} {best:?}");
    assert!((high.unwrap().get() / low.get() - 4.0).abs() < 0.01, "hours go with the capacity");
    says(&page, "with what stands here");
    says(&page, "To be there when the studio opens tomorrow at 09:00: switch on tomorrow at");
    says(&page, "204 W");
    says(&page, "To hold it");
    // 0.6 of the way from 0 to 21 °C.
    says(&page, "12.6 °C");
    says(&page, "Less airing, less extraction, closed windows: never");
    says(&page, "starting guess");
    assert!(page.text().contains("<svg viewBox"));
    let svg = page.text();
    let svg = &svg[svg.find("<svg viewBox=\"0 0 366").unwrap()..];
    let svg = &svg[..svg.find("</svg>").unwrap()];
    assert!(svg.len() < 12_000 && !svg.contains("style"), "{} bytes", svg.len());
    // The room's own page and the list lead here.
    let mut artist = house.actor(Actor::ArtistA);
    for from in ["/rooms".to_owned(), format!("/rooms/{}", house.things.gable)] {
        assert!(artist.page(&from).await.text().contains(&format!("href=\"{}\"", plan_of(house))), "{from}");
    }
});

both_databases!(a_target_that_wets_the_window_is_refused_and_one_too_cold_as_well, async |house| {
    air(house, 21.0, 30.0).await;
    outside(house, "-10", "80").await;
    let page = plan(house, "?humidity=60").await;
    says(&page, "Not planned: at 60 %RH at 21.0 °C water settles on the skylight.");
    says(&page, "it stays dry");
    assert!(!said(&page).contains("switch on"), "{}", said(&page));
    assert!(!page.text().contains("plan-title"), "no picture of what is not to be aimed at");
    says(&plan(house, "?temperature=18").await, "Not planned: under 20.0 °C it is too cold for a client lying still.");
    // Milder outside: no water, but damp there, and damp in the room.
    house.clock.advance(MINUTE);
    outside(house, "7", "80").await;
    let page = plan(house, "?humidity=62").await;
    says(&page, "the room, walls and textiles stay damp");
    says(&page, "mould grows where that lasts");
});

both_databases!(what_cannot_be_reached_says_the_largest_value_and_what_it_would_take, async |house| {
    air(house, 21.0, 30.0).await;
    outside(house, "12", "50").await;
    let mut owner = house.owner();
    let page = format!("/rooms/{}/devices/{}/running", house.things.gable, house.things.device);
    let form = owner.form(&page, &page).await.with("hours_a_day", "2");
    assert_eq!(owner.submit(&form).await.goes_to(), plan_of(house));
    let page = plan(house, "?humidity=60-62").await;
    says(&page, "Gable never reaches 60 %RH at 21.0 °C with what stands here: at most");
    says(&page, "g an hour, day and night; here there are 300");
    says(&page, "2.0 h of every 24");
});

both_databases!(air_that_is_there_asks_for_nothing, async |house| {
    air(house, 21.0, 45.0).await;
    outside(house, "5", "80").await;
    let page = plan(house, "").await;
    says(&page, "Gable is there now: 47 %RH at 21.0 °C. To stay there it takes about 49 g an hour.");
    says(&page, "at once");
    // Damp outside and inside alike: nothing is lost, nothing has to run.
    house.clock.advance(MINUTE);
    outside(house, "21", "50").await;
    says(&plan(house, "").await, "Nothing needs to be switched on.");
});

both_databases!(a_wrong_target_is_told_beside_its_field_and_the_band_is_planned, async |house| {
    air(house, 21.0, 30.0).await;
    outside(house, "0", "80").await;
    let page = plan(house, "?humidity=damp&temperature=hot").await;
    let html = page.text();
    assert!(html.contains("id=\"f-humidity-wrong\"") && html.contains("id=\"f-temperature-wrong\""));
    assert!(html.contains("value=\"damp\"") && html.contains("value=\"hot\""));
    says(&page, "Gable reaches 40 %RH");
});

both_databases!(the_opening_hour_is_remembered, async |house| {
    air(house, 21.0, 30.0).await;
    outside(house, "0", "80").await;
    let page = plan_of(house);
    let mut artist = house.actor(Actor::ArtistA);
    let form = artist.form(&page, &format!("{page}/opening")).await;
    assert_eq!(form.value("opening"), "09:00");
    artist.submit(&form.with("opening", "11:45")).await.goes_to();
    let shown = artist.page(&page).await;
    assert_eq!(shown.form(&format!("{page}/opening")).value("opening"), "11:45");
    // 10:12 now: less than two hours are left, which a slow room does not make.
    says(&shown, "Switched on now, it is there about today at");
});

both_databases!(an_instrument_outside_is_the_outside_air_and_no_longer_that_of_its_room, async |house| {
    let (gable, lantern) = (&house.things.gable, &house.things.lantern);
    air(house, 21.0, 30.0).await;
    let mut sensor = house.stranger().with_token(&house.things.lantern_secret);
    let path = format!("/api/v1/rooms/{lantern}/readings");
    sensor.post_json(&path, r#"{"temperature": 3.5, "humidity": 88}"#).await.must(200);
    let mut owner = house.owner();
    let page = plan_of(house);
    let form = owner.form(&page, &format!("{page}/outdoors")).await;
    owner.submit(&form.with("outdoor_instrument", &house.things.lantern_sensor)).await.goes_to();
    let shown = owner.page(&page).await;
    says(&shown, "3.5 °C, 88 %RH; by Wall sensor");
    says(&owner.page(&format!("/rooms/{lantern}")).await, "Its air has not been read yet.");
    says(&owner.page(&format!("/rooms/{gable}")).await, "drier than the studio wants");
    // What is typed in later counts instead.
    house.clock.advance(MINUTE);
    outside(house, "4", "70").await;
    says(&owner.page(&page).await, "4.0 °C, 70 %RH; typed in");
    let form = owner.form(&page, &format!("{page}/outdoors")).await;
    owner.submit(&form.clone().with("outdoor_instrument", "nonsense")).await.must(422);
    owner.submit(&form.with("outdoor_instrument", "")).await.goes_to();
    says(&owner.page(&format!("/rooms/{lantern}")).await, "Lantern is");
});

/// A night of readings every quarter of an hour from a room of known capacity, as its sensor would send them.
async fn a_night(house: &TestHouse, from: Instant, capacity: f64, n: f64) {
    let mut readings = String::new();
    let (outside, start) = (3.87, 11.0);
    for k in 0..40 {
        let hours = f64::from(k) * 0.25;
        let density = outside + (start - outside) * (-hours * n / capacity).exp();
        // At 20 °C 17.27 g/m³ are saturation.
        let humidity = 100.0 * density / 17.27;
        let comma = if k == 0 { "" } else { "," };
        let at = from.plus(i64::from(k) * 15 * MINUTE).iso();
        write!(readings, r#"{comma}{{"temperature": 20.0, "humidity": {humidity:.2}, "time": "{at}"}}"#).unwrap();
    }
    let body = format!("[{readings}]");
    let path = format!("/api/v1/rooms/{}/readings", house.things.gable);
    house.actor(Actor::Sensor).post_json(&path, body).await.must(200);
}

both_databases!(a_night_of_readings_tells_the_capacity_and_is_kept_when_accepted, async |house| {
    let page = plan_of(house);
    let mut owner = house.owner();
    // The sensor says when it read.
    let instrument = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let form = owner.form(&instrument, &instrument).await.with("time_field", "time");
    owner.submit(&form).await.goes_to();
    // 0 °C and 80 %RH outside hold 3.87 g/m³. The room's check is struck, so that what is shown counts.
    outside(house, "0", "80").await;
    let strike = format!("{instrument}/checks/{}/strike", house.things.check);
    let form = owner.form(&instrument, &strike).await;
    owner.submit(&form).await.goes_to();
    let now = house.clock.now().0;
    a_night(house, now.plus(-12 * HOUR), 8.0, 0.5).await;
    // 22:12 to 08:12 in Copenhagen.
    let query = "?fit_from=2026-02-17T22:00&fit_to=2026-02-18T08:30&fit_devices=off";
    let shown = owner.page(&format!("{page}{query}")).await;
    says(&shown, "Fitted from 40 readings of Tue 17 Feb 22:00 to 08:30: moisture capacity 8.0");
    // An artist reads it, the owner accepts it.
    assert!(!plan(house, query).await.text().contains("Plan with these"));
    let form = shown.form(&format!("{page}/fit"));
    // Somebody changes something else of the plan while the fit is looked at.
    house.run("update room set surface_factor = 0.7, warms_k_per_hour = 4 where name = 'Gable'").await.unwrap();
    owner.submit(&form).await.goes_to();
    let beside =
        "select cast(surface_factor as text) || ' ' || cast(warms_k_per_hour as text) from room where name = 'Gable'";
    assert!(house.look(beside).await.starts_with("0.7 4"), "a fit writes what it fitted and nothing else");
    let kept = owner.page(&page).await;
    says(&kept, "8.0, likely 7.0–9.2; fitted from readings");
    says(&kept, "0.50 an hour; an estimate");
    // Typed anew, it is an estimate again.
    let form = owner.form(&page, &format!("{page}/room")).await.with("capacity_best", "9");
    owner.submit(&form).await.goes_to();
    says(&owner.page(&page).await, "9.0, likely 7.0–9.2; an estimate");
});

both_databases!(a_stretch_that_tells_nothing_says_why_and_keeps_nothing, async |house| {
    let page = plan_of(house);
    let mut owner = house.owner();
    outside(house, "0", "80").await;
    let query =
        |from: &str, to: &str, devices: &str| format!("{page}?fit_from={from}&fit_to={to}&fit_devices={devices}");
    let shown = owner.page(&query("2026-02-17T22:00", "2026-02-18T08:30", "off")).await;
    says(&shown, "0 readings lie in this stretch; 6 are needed.");
    assert!(!shown.text().contains("Plan with these"));
    let shown = owner.page(&query("later", "2026-02-10T08:30", "both")).await.text();
    assert!(shown.contains("f-fit_from-wrong") && shown.contains("f-fit_devices-wrong"));
    let shown = owner.page(&query("2026-02-10T22:00", "2026-02-18T08:30", "off")).await.text();
    assert!(shown.contains("At most three days"));
    let before = house
        .look("select cast(moisture_capacity as text) || coalesce(cast(fitted as text), 'never') from room limit 1")
        .await;
    let csrf = owner.csrf().await;
    let pairs = [
        ("csrf", csrf.as_str()),
        ("form_key", "a-fit-of-nothing"),
        ("fit_from", "2026-02-17T22:00"),
        ("fit_to", "2026-02-18T08:30"),
        ("fit_devices", "off"),
    ];
    let to = owner.post(&format!("{page}/fit"), &pairs).await.goes_to();
    says(&owner.page(&to).await, "0 readings lie in this stretch");
    let after = house
        .look("select cast(moisture_capacity as text) || coalesce(cast(fitted as text), 'never') from room limit 1")
        .await;
    assert_eq!(before, after);
});

both_databases!(a_device_of_another_room_or_one_that_moves_no_water_is_not_here, async |house| {
    let mut owner = house.owner();
    let device = &house.things.device;
    owner.get(&format!("/rooms/{}/devices/{device}/running", house.things.lantern)).await.must(404);
    owner.get(&format!("/rooms/{device}/plan")).await.must(404);
});

both_databases!(two_who_change_what_a_plan_rests_on_undo_nothing_of_each_other, async |house| {
    let page = plan_of(house);
    let action = format!("{page}/room");
    let mut owner = house.owner();
    let row = "select cast(moisture_capacity as text) || ' ' || cast(surface_factor as text) || ' ' || cast(warms_k_per_hour as text) from room where name = 'Gable'";
    let (first, second) = (owner.form(&page, &action).await, owner.form(&page, &action).await);
    let third = owner.form(&page, &action).await;
    owner.submit(&first.with("surface_factor", "0.75")).await.goes_to();
    owner.submit(&second.clone().with("warms", "4.5")).await.goes_to();
    let after = house.look(row).await;
    assert!(after.contains(" 0.75 ") && after.ends_with("4.5"), "{after}");
    let refused = owner.submit(&third.with("surface_factor", "0.5")).await.must(422);
    refused.says("it now holds “0.75”");
    assert!(house.look(row).await.contains(" 0.75 "));
    // What was not touched is not rounded to what the page shows.
    house.run("update room set cools_k_per_hour = 2.345 where name = 'Gable'").await.unwrap();
    let form = owner.form(&page, &action).await.with("warms", "5");
    owner.submit(&form).await.goes_to();
    let cools = "select cast(cast(cools_k_per_hour * 1000 as bigint) as text) from room where name = 'Gable'";
    assert_eq!(house.look(cools).await, "2345");
});

both_databases!(a_bottles_band_is_a_target_to_choose_beside_a_typed_one, async |house| {
    let things = &house.things;
    air(house, 22.0, 35.0).await;
    outside(house, "8", "80").await;
    let mut owner = house.owner();
    let bottle = format!("/shelf/bottles/{}", things.bottle);
    for seconds in ["2.6", "2.7", "2.6"] {
        let form = owner.form(&format!("{bottle}/bench"), &format!("{bottle}/tests")).await;
        let form = form.with_all(&[("seconds", seconds), ("temperature", "22"), ("humidity", "45"), ("do", "set")]);
        owner.submit(&form).await.goes_to();
    }
    house.run("update artist set usual = 'volume-4'").await.unwrap();
    let path = format!("/rooms/{}/plan?temperature=22", things.gable);
    let mut ines = house.actor(Actor::ArtistA);
    let page = ines.page(&path).await;
    says(&page, "Or the band of a bottle");
    says(&page, "Where each suits Ines Okafor, volume 4D");
    let html = page.text();
    let aim = html.split("href=\"").find(|link| link.contains("/plan?humidity=") && link.contains("artist=")).unwrap();
    let aim = aim.split('"').next().unwrap().replace("&amp;", "&").replace("&#38;", "&");
    let band = aim.split("humidity=").nth(1).unwrap().split('&').next().unwrap().to_owned();
    let (low, high) = band.split_once('-').unwrap();
    let (low, high): (f64, f64) = (low.parse().unwrap(), high.parse().unwrap());
    assert!((30.0..=60.0).contains(&low) && low <= high && high <= 60.0, "never past the guards: {band}");
    // The same as the map of her advice says at that temperature.
    let aimed = ines.page(&aim).await;
    assert_eq!(aimed.form(&format!("/rooms/{}/plan", things.gable)).value("humidity"), band);
    // Hands that are not to be seen give no bands.
    assert!(!house.actor(Actor::Desk).page(&path).await.words().contains("Or the band of a bottle"));
    assert!(!house.actor(Actor::ArtistB).page(&path).await.words().contains("Or the band of a bottle"));
    // The owner chooses whose.
    says(&owner.page(&format!("{path}&artist={}", things.timed_artist)).await, "Where each suits Ines Okafor");
});
