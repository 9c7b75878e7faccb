//! Rooms over their pages: the keypad, units, checks of instruments, stale air, charts on odd days, the weight of pages.

use stillroom::base::time::{DAY, HOUR, Instant, MINUTE};
use stillroom::base::units::Celsius;
use stillroom::demo;
use stillroom::rooms::instrument::Salt;

use crate::browser::{Answer, Browser};
use crate::house::{TestHouse, both_databases};
use crate::html::FormOnPage;
use crate::studio::{Actor, PHRASE};

/// The keypad of Gable.
async fn keypad(house: &TestHouse, who: &mut Browser) -> FormOnPage {
    let room = format!("/rooms/{}", house.things.gable);
    who.form(&format!("{room}/readings/new"), &format!("{room}/readings")).await
}

/// Enters a reading by hand in Gable; the answer.
async fn enter(house: &TestHouse, who: &mut Browser, temperature: &str, humidity: &str) -> Answer {
    let form = keypad(house, who).await;
    let form = form.with_all(&[("temperature", temperature), ("humidity", humidity), ("do", "keep")]);
    who.submit(&form).await
}

/// Changes settings of the studio.
async fn set(house: &TestHouse, pairs: &[(&str, &str)]) {
    let mut owner = house.owner();
    let form = owner.form("/office/settings", "/office/settings").await.with_all(pairs);
    owner.submit(&form).await.must(303);
}

/// Gable's air as programs read it.
async fn air_of_gable(house: &TestHouse) -> serde_json::Value {
    let rooms = house.actor(Actor::Reader).page("/api/v1/rooms").await.json();
    let gable = rooms.as_array().unwrap().iter().find(|room| room["name"] == "Gable").unwrap();
    gable["air"].clone()
}

/// A number of the newest reading as it is kept.
async fn newest(house: &TestHouse, column: &str) -> f64 {
    let text = format!("select cast({column} as text) from reading order by at desc limit 1");
    house.look(&text).await.parse().unwrap()
}

both_databases!(the_keypad_works_without_scripts_and_keeps_nothing_before_keep, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let before = house.counts().await;
    let mut form = keypad(house, &mut artist).await;
    let key = form.value("form_key").to_owned();
    for pressed in ["2", "1", "point", "4", "3", "9", "wipe", "3", "8"] {
        assert!(form.buttons.contains(&("key".to_owned(), pressed.to_owned())), "no key {pressed}");
        let answer = artist.submit(&form.with("key", pressed)).await.must(200);
        form = answer.form(&format!("/rooms/{}/readings", house.things.gable));
    }
    assert_eq!((form.value("temperature"), form.value("humidity")), ("21.4", "38"));
    assert_eq!(form.value("form_key"), key, "pressing keys uses no form key up");
    assert_eq!(house.counts().await, before);

    let room = artist.submit(&form.with("do", "keep")).await.goes_to();
    artist.page(&room).await.says("The reading is kept.");
    assert_eq!(house.number("select count(*) from reading").await, 1);
    assert!((newest(house, "temperature_c").await - 21.4).abs() < 1e-9);
    assert!((newest(house, "humidity_pct").await - 38.0).abs() < 1e-9);
});

both_databases!(a_reading_shows_its_derived_air_and_who_gave_it, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    enter(house, &mut artist, "21.0", "38").await.must(303);
    let page = artist.page(&format!("/rooms/{}", house.things.gable)).await;
    // 21.0 °C and 38 %RH: dew point 6.2 °C, 7.0 g/m³, wet bulb 12.8 °C, as the command `air` gives them too.
    for words in ["6.2 °C", "7.0 g/m³", "12.8", "Hygrometer read by hand", "just drier than the band"] {
        page.says(words);
    }
    assert!(page.text().contains("<svg"), "no chart");
    artist.page("/rooms").await.says("21.0 °C");
    artist.page("/rooms").await.says("38 %RH");
    artist.page("/").await.says("Gable");
});

both_databases!(an_implausible_reading_is_set_aside_shown_with_its_reason_and_used_for_nothing, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let gable = format!("/rooms/{}", house.things.gable);
    enter(house, &mut artist, "21.0", "45").await.must(303);
    house.clock.advance(10 * MINUTE);
    for (temperature, humidity, reason) in [
        ("55", "45", "no room’s air"),
        ("21", "100", "The sensor may be wet, or broken."),
        ("12", "45", "Rooms do not change so fast."),
        ("21", "95", "Rooms do not change so fast."),
    ] {
        let to = enter(house, &mut artist, temperature, humidity).await.goes_to();
        assert_eq!(to, format!("{gable}?told=set-aside"));
        let page = artist.page(&to).await;
        page.says("The reading was set aside");
        page.says(reason);
        house.clock.advance(1000);
    }
    artist.page("/rooms").await.says("21.0 °C");
    assert_eq!(house.number("select count(*) from reading where set_aside <> ''").await, 4);
    // An hour after, the step is believed.
    artist.page("/").await;
    house.clock.advance(25 * MINUTE);
    artist.page("/").await;
    house.clock.advance(26 * MINUTE);
    let to = enter(house, &mut artist, "12", "45").await.goes_to();
    assert_eq!(to, format!("{gable}?told=kept"));
});

both_databases!(a_reading_that_waited_on_a_device_is_dated_when_it_was_read, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    house.pass(60, &mut [&mut artist]).await;
    enter(house, &mut artist, "21.0", "38").await.must(303);
    house.pass(60, &mut [&mut artist]).await;
    let read = house.clock.now().0.plus(-90 * MINUTE);
    let done = (read.0 / 1000).to_string();
    let form = keypad(house, &mut artist).await;
    let form = form.with_all(&[("temperature", "20.5"), ("humidity", "41"), ("do", "keep"), ("done", &done)]);
    let before = house.number("select count(*) from reading").await;
    for _ in 0..2 {
        // The answer was lost on its way, and it is sent again.
        assert!(artist.submit(&form).await.goes_to().contains("told=kept"));
    }
    assert_eq!(house.number("select count(*) from reading").await, before + 1);
    assert_eq!(house.number(&format!("select count(*) from reading where at = {}", read.0)).await, 1);
    assert!((newest(house, "humidity_pct").await - 38.0).abs() < 1e-9, "it is not the air of now");
    // A device whose clock runs ahead reads nothing in the future.
    let ahead = (house.clock.now().0.plus(5 * MINUTE).0 / 1000).to_string();
    let form = keypad(house, &mut artist).await;
    let form = form.with_all(&[("temperature", "21.0"), ("humidity", "40"), ("do", "keep"), ("done", &ahead)]);
    artist.submit(&form).await.must(303);
    assert_eq!(house.number("select max(at) from reading").await, house.clock.now().0.0);
});

both_databases!(a_studio_that_speaks_fahrenheit_and_commas_is_spoken_to_in_them, async |house| {
    set(house, &[("temperature", "fahrenheit"), ("decimal", "comma")]).await;
    let mut artist = house.actor(Actor::ArtistA);
    let form = keypad(house, &mut artist).await;
    let pressed = artist.submit(&form.with("temperature", "70").with("at", "0").with("key", "point")).await.must(200);
    assert_eq!(pressed.form(&format!("/rooms/{}/readings", house.things.gable)).value("temperature"), "70,");

    enter(house, &mut artist, "69,8", "38,5").await.must(303);
    assert!((newest(house, "temperature_c").await - 21.0).abs() < 1e-9, "inside it is °C");
    assert!((newest(house, "humidity_pct").await - 38.5).abs() < 1e-9);
    let page = artist.page(&format!("/rooms/{}", house.things.gable)).await;
    page.says("69,8 °F");
    assert!(!page.words().contains("°C") && !page.words().contains("69.8"), "{}", page.words());
    artist.page("/rooms").await.says("69,8 °F");
    // A point is read as well, and the limits are those of the scale.
    house.clock.advance(MINUTE);
    enter(house, &mut artist, "70.2", "39").await.must(303);
    house.clock.advance(MINUTE);
    enter(house, &mut artist, "141", "39").await.must(422).says("from −4 to 140 °F");
    // The settings page shows the band on the new scale; sent again unchanged it stays.
    let form = house.owner().form("/office/settings", "/office/settings").await;
    assert_eq!((form.value("temperature_low"), form.value("temperature_high")), ("68,0", "75,2"));
    set(house, &[]).await;
    assert_eq!(house.look("select value from setting where name = 'rooms.temperature_low'").await, "20");
});

both_databases!(a_room_is_as_large_on_its_pages_as_it_was_said_to_be, async |house| {
    let mut owner = house.owner();
    let gable = format!("/rooms/{}", house.things.gable);
    let edit = format!("{gable}/edit");
    for (typed, shown) in [("28,5", "28.5 m³"), ("32", "32 m³")] {
        let form = owner.form(&edit, &edit).await.with("volume_m3", typed);
        owner.submit(&form).await.must(303);
        for page in [gable.as_str(), "/rooms", &format!("{gable}/plan")] {
            owner.page(page).await.says(shown);
        }
    }
});

both_databases!(what_a_check_found_corrects_what_is_shown, async |house| {
    // The furnished sensor showed 73.9 over table salt at 21 °C.
    let reference = Salt::ALL.into_iter().find(|salt| salt.key() == "sodium_chloride").unwrap();
    let offset = reference.humidity(Celsius::new(21.0).unwrap()).unwrap().get() - 73.9;
    assert!(offset > 1.0 && offset < 2.0, "{offset}");
    house.clock.advance(MINUTE);
    let path = format!("/api/v1/rooms/{}/readings", house.things.gable);
    house.actor(Actor::Sensor).post_json(&path, r#"{"temperature":21.0,"humidity":45.0}"#).await.must(200);
    let air = air_of_gable(house).await;
    assert!((air["relative_humidity_pct"].as_f64().unwrap() - 45.0 - offset).abs() < 1e-9, "{air}");
    let mut artist = house.actor(Actor::ArtistA);
    let gable = format!("/rooms/{}", house.things.gable);
    artist.page(&gable).await.says("The instrument showed 45.0");
    let instrument = format!("{gable}/instruments/{}", house.things.sensor);
    artist.page(&instrument).await.says(&format!("+{offset:.1} %RH is added to what it shows."));

    // A second salt within 30 days makes a line.
    house.clock.advance(MINUTE);
    let form = artist.form(&instrument, &format!("{instrument}/checks")).await;
    let form = form.with_all(&[("against", "magnesium_chloride"), ("shown", "32.0"), ("chamber", "21")]);
    artist.submit(&form).await.must(303);
    artist.page(&instrument).await.says("a line through two checks");
    // One that no straight line can join is refused beside the field.
    let form = artist.form(&instrument, &format!("{instrument}/checks")).await;
    let form = form.with_all(&[("against", "magnesium_chloride"), ("shown", "80"), ("chamber", "21")]);
    let answer = artist.submit(&form).await.must(422);
    assert!(answer.text().contains("id=\"f-shown-wrong\""));

    // Struck out, it counts no more; what is kept of the reading never changed.
    let page = artist.page(&instrument).await;
    let strikes: Vec<_> =
        crate::html::forms(&page.text()).into_iter().filter(|form| form.action.ends_with("/strike")).collect();
    assert_eq!(strikes.len(), 2);
    for strike in strikes {
        artist.submit(&strike).await.must(303);
    }
    let air = air_of_gable(house).await;
    assert!((air["relative_humidity_pct"].as_f64().unwrap() - 45.0).abs() < 1e-9, "{air}");
    artist.page(&instrument).await.says("Humidity is taken as shown.");
    assert!((newest(house, "humidity_pct").await - 45.0).abs() < 1e-9);
});

both_databases!(a_temperature_check_shifts_the_temperature, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    let instrument = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let form = artist.form(&instrument, &format!("{instrument}/checks")).await;
    let form = form.with_all(&[("against", "temperature"), ("shown", "21.5"), ("reference", "21.0")]);
    artist.submit(&form).await.must(303);
    artist.page(&instrument).await.says("Temperature: −0.5 °C is added.");
    house.clock.advance(MINUTE);
    let path = format!("/api/v1/rooms/{}/readings", house.things.gable);
    house.actor(Actor::Sensor).post_json(&path, r#"{"temperature":22.0,"humidity":45.0}"#).await.must(200);
    let air = air_of_gable(house).await;
    assert!((air["temperature_c"].as_f64().unwrap() - 21.5).abs() < 1e-9, "{air}");
});

both_databases!(a_reading_older_than_the_limit_is_said_to_be_stale, async |house| {
    let mut artist = house.actor(Actor::ArtistA);
    enter(house, &mut artist, "21.0", "45").await.must(303);
    let fresh = air_of_gable(house).await;
    house.clock.advance(15 * MINUTE);
    artist.page("/").await;
    house.clock.advance(15 * MINUTE);
    for path in ["/rooms".to_owned(), "/".to_owned(), format!("/rooms/{}", house.things.gable)] {
        assert!(!artist.page(&path).await.words().contains("stale; was"), "{path}: 30 minutes are not over the limit");
    }
    house.clock.advance(MINUTE);
    artist.page("/rooms").await.says("stale; was inside the band");
    artist.page("/").await.says("The air of Gable was last read");
    artist.page(&format!("/rooms/{}", house.things.gable)).await.says("stale; was inside the band");
    house.clock.advance(5 * HOUR);
    let old = air_of_gable(house).await;
    assert_eq!((&fresh["stale"], &old["stale"]), (&false.into(), &true.into()));
    let doubt = |air: &serde_json::Value| air["humidity_u_pct"].as_f64().unwrap();
    assert!(doubt(&old) > doubt(&fresh), "old air is doubted more: {old} {fresh}");
    // Another limit counts at once.
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let form = owner.form("/office/settings", "/office/settings").await.with("stale_minutes", "400");
    owner.submit(&form).await.must(303);
    assert!(!owner.page("/rooms").await.words().contains("stale; was"));
});

/// Readings every ten minutes between two instants, pushed by Gable's sensor.
async fn push_all(house: &TestHouse, from: Instant, to: Instant) {
    let mut owner = house.stranger();
    owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    let page = format!("/rooms/{}/instruments/{}", house.things.gable, house.things.sensor);
    let form = owner.form(&page, &page).await.with("time_field", "time");
    owner.submit(&form).await.must(303);
    let mut items = Vec::new();
    let mut at = from;
    let mut n = 0_u32;
    while at <= to {
        let wave = f64::from(n % 288) / 288.0 * std::f64::consts::TAU;
        let (temperature, humidity) = (21.0 + wave.sin(), 45.0 + 8.0 * wave.cos());
        items.push(serde_json::json!({ "time": at.iso(), "temperature": temperature, "humidity": humidity }));
        at = at.plus(10 * MINUTE);
        n += 1;
    }
    let mut sensor = house.actor(Actor::Sensor);
    for some in items.chunks(2000) {
        let path = format!("/api/v1/rooms/{}/readings", house.things.gable);
        let told = sensor.post_json(&path, serde_json::json!(some).to_string()).await.must(200).json();
        assert_eq!(told["kept"], some.len(), "{told}");
    }
}

both_databases!(charts_of_days_with_23_and_25_hours_hold, async |house| {
    for (day, hours) in [("2026-03-29T20:00:00Z", 23), ("2026-10-25T21:00:00Z", 25)] {
        let now = Instant::from_timestamp(day.parse().unwrap());
        house.clock.advance(now.since(house.clock.now().0));
        push_all(house, now.plus(-2 * DAY), now).await;
        let mut artist = house.stranger();
        artist.sign_in(Actor::ArtistA.name(), PHRASE).await.must(303);
        for span in ["day", "week", "month"] {
            let page = artist.page(&format!("/rooms/{}?span={span}", house.things.gable)).await;
            let html = page.text();
            assert_eq!(
                html.matches("<svg").count() - html.matches("<svg class=\"mark").count(),
                // Two charts, and the rules under temperature and humidity.
                4,
                "{span} of {hours} hours"
            );
            assert!(!html.contains("NaN") && !html.contains("inf\""), "{span} of {hours} hours");
        }
        // The table behind the day has a row for each hour that there was, up to now.
        let from = format!("select count(distinct at / {HOUR}) from reading where at > {}", now.plus(-DAY).0);
        assert!(house.number(&from).await >= 24);
    }
});

both_databases!(pages_of_a_full_house_stay_light, unclaimed, async |house| {
    demo::fill_with(&house.house, 40).await.unwrap();
    let mut owner = house.stranger().with_header("accept-encoding", "gzip");
    let mut plain = house.stranger();
    plain.sign_in(demo::PEOPLE[0].0, demo::PASSPHRASE).await.must(303);
    owner.jar = plain.jar.clone();
    let rooms = plain.page("/rooms").await.text();
    let hrefs = crate::html::tags(&rooms).into_iter().filter_map(|tag| tag.get("href").map(str::to_owned));
    let room = hrefs.filter(|href| href.starts_with("/rooms/") && href.len() == 43).min().unwrap();
    let mut heaviest = (0, String::new());
    for path in [
        "/".to_owned(),
        "/rooms".to_owned(),
        room.clone(),
        format!("{room}?span=week"),
        format!("{room}?span=month"),
        format!("{room}/readings/new"),
        format!("{room}/edit"),
        format!("{room}/imports/new"),
        format!("{room}/instruments/new"),
        "/office".to_owned(),
        "/office/settings".to_owned(),
        "/office/people".to_owned(),
        "/office/sessions".to_owned(),
        "/office/tokens".to_owned(),
        "/office/audit".to_owned(),
        "/office/first-aid".to_owned(),
        "/first-aid".to_owned(),
    ] {
        let page = owner.page(&path).await;
        assert_eq!(page.header("content-encoding"), "gzip", "{path}");
        heaviest = heaviest.max((page.body.len(), path));
    }
    assert!(heaviest.0 > 1000, "nothing was weighed");
    assert!(heaviest.0 <= 40_000, "{} weighs {} bytes", heaviest.1, heaviest.0);
});

both_databases!(numbers_may_be_missing_first_and_there_later, async |house| {
    // A connection that once kept a row without a number must take one with it afterwards, and the other way round.
    let mut owner = house.owner();
    let gable = format!("/rooms/{}", house.things.gable);
    for round in 0..3 {
        for (kind, grams) in [("heater", ""), ("humidifier", "250.5"), ("cooler", "")] {
            let form = owner.form(&format!("{gable}/edit"), &format!("{gable}/devices")).await;
            let name = format!("{kind} {round}");
            let form = form.with_all(&[("kind", kind), ("name", &name), ("grams_per_hour", grams)]);
            owner.submit(&form).await.must(303);
        }
        for surface in ["", "9.5", ""] {
            let form = owner.form(&format!("{gable}/edit"), &format!("{gable}/edit")).await;
            owner.submit(&form.with("surface_temperature", surface)).await.must(303);
        }
        let instrument = format!("{gable}/instruments/{}", house.things.sensor);
        for doubt in ["", "1.5", ""] {
            let form = owner.form(&instrument, &instrument).await.with("bare_number", "temperature");
            owner.submit(&form.with("own_humidity", doubt).with("own_temperature", doubt)).await.must(303);
        }
        let mut sensor = house.actor(Actor::Sensor);
        let door = format!("/api/v1{gable}/readings");
        for body in ["21.5", r#"{"temperature":21.6,"humidity":45}"#, "21.7"] {
            // Long enough apart that a half finds nothing to complete it.
            house.clock.advance(2 * HOUR);
            let told = sensor.post_json(&door, body).await.must(200).json();
            let whole = body.starts_with('{');
            assert_eq!(told["kept"], usize::from(whole), "{told}");
        }
        owner = house.stranger();
        owner.sign_in(Actor::Owner.name(), PHRASE).await.must(303);
    }
    assert_eq!(house.number("select count(*) from reading where humidity_pct is null").await, 6);
    assert_eq!(house.number("select count(*) from device where grams_per_hour is null").await, 6);
});

both_databases!(a_closed_room_is_gone_and_its_name_free, async |house| {
    let mut owner = house.owner();
    let cellar = format!("/rooms/{}", house.things.cellar);
    let form = owner.form(&format!("{cellar}/edit"), &format!("{cellar}/close")).await;
    owner.submit(&form).await.must(303);
    for path in
        [cellar.clone(), format!("{cellar}/edit"), format!("{cellar}/readings/new"), format!("{cellar}/imports/new")]
    {
        owner.get(&path).await.must(404);
    }
    let list = owner.page("/rooms").await;
    assert!(!list.words().contains("Cellar"));
    let new = crate::studio::add_room(&mut owner, "Cellar").await;
    assert_ne!(format!("/rooms/{new}"), cellar);
    owner.page("/rooms").await.says("Cellar");
});

both_databases!(an_empty_house_says_what_comes_first, unclaimed, async |house| {
    let path = format!("/claim/{}", stillroom::people::claim_token(house.house.store.keys()));
    let mut owner = house.stranger();
    let form = owner.form(&path, &path).await.with_all(&[
        ("studio", "Marram House"),
        ("name", "Runa Marsh"),
        ("zone", "Europe/Copenhagen"),
        ("passphrase", PHRASE),
        ("again", PHRASE),
    ]);
    owner.submit(&form).await.must(303);
    owner.page("/").await.says("Add the first room");
    owner.page("/rooms").await;
    let room = crate::studio::add_room(&mut owner, "Gable").await;
    owner.page(&format!("/rooms/{room}")).await.says("Gable");
    owner.page("/").await.says("The air of Gable has not been read yet.");
});
