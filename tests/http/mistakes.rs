//! Forms with mistakes: what was typed comes back, each mistake beside its field, and the key is still good.

use crate::house::both_databases;
use crate::html;
use crate::studio::Things;

/// A form that comes back: what was typed, and which fields are wrong.
pub(crate) struct Slip {
    pub(crate) page: String,
    pub(crate) action: String,
    pub(crate) typed: Vec<(&'static str, &'static str)>,
    pub(crate) wrong: Vec<&'static str>,
    /// What puts it right.
    pub(crate) corrected: Vec<(&'static str, &'static str)>,
}

impl Slip {
    pub(crate) fn new(
        page: &str,
        action: &str,
        typed: &[(&'static str, &'static str)],
        wrong: &[&'static str],
        corrected: &[(&'static str, &'static str)],
    ) -> Self {
        Self {
            page: page.to_owned(),
            action: action.to_owned(),
            typed: typed.to_vec(),
            wrong: wrong.to_vec(),
            corrected: corrected.to_vec(),
        }
    }
}

fn slips(things: &Things) -> Vec<Slip> {
    let (gable, sensor) = (&things.gable, &things.sensor);
    let slip = |page: String,
                action: String,
                typed: &[(&'static str, &'static str)],
                wrong: &[&'static str],
                corrected: &[_]| Slip {
        page,
        action,
        typed: typed.to_vec(),
        wrong: wrong.to_vec(),
        corrected: corrected.to_vec(),
    };
    let room = [
        ("name", "  "),
        ("volume_m3", "2 by 4"),
        ("air_changes_per_hour", "99"),
        ("coldest_surface", "<b>glass</b> & \"lead\""),
        ("surface_temperature", "minus 4"),
    ];
    let room_wrong = ["name", "volume_m3", "air_changes_per_hour", "surface_temperature"];
    let room_right =
        [("name", "Loft"), ("volume_m3", "41,5"), ("air_changes_per_hour", "0.6"), ("surface_temperature", "−4")];
    vec![
        slip("/rooms/new".into(), "/rooms".into(), &room, &room_wrong, &room_right),
        slip(
            "/rooms/new".into(),
            "/rooms".into(),
            &[("name", "gäble"), ("volume_m3", "30"), ("coldest_surface", "door")],
            &["name"],
            &[("name", "Byre")],
        ),
        slip(
            format!("/rooms/{gable}/edit"),
            format!("/rooms/{gable}/edit"),
            &room,
            &room_wrong,
            &[
                ("name", "Gable Room"),
                ("volume_m3", "41,5"),
                ("air_changes_per_hour", "0.6"),
                ("surface_temperature", ""),
            ],
        ),
        slip(
            format!("/rooms/{gable}/edit"),
            format!("/rooms/{gable}/devices"),
            &[("kind", "humidifier"), ("name", "tower"), ("grams_per_hour", "plenty")],
            &["grams_per_hour"],
            &[("grams_per_hour", "250")],
        ),
        slip(
            format!("/rooms/{gable}/readings/new"),
            format!("/rooms/{gable}/readings"),
            &[("temperature", "21,45x"), ("humidity", "140"), ("do", "keep")],
            &["temperature", "humidity"],
            &[("temperature", "21,4"), ("humidity", "40")],
        ),
        slip(
            format!("/rooms/{gable}/instruments/new"),
            format!("/rooms/{gable}/instruments"),
            &[
                ("kind", "sensor"),
                ("name", "Bed sensor"),
                ("own_humidity", "lots"),
                ("age_years", "200"),
                ("time_field", "when"),
            ],
            &["own_humidity", "age_years"],
            &[("name", "spare"), ("own_humidity", "1.5"), ("age_years", "2")],
        ),
        slip(
            format!("/rooms/{gable}/instruments/{sensor}"),
            format!("/rooms/{gable}/instruments/{sensor}"),
            &[("own_humidity", "0"), ("own_temperature", "x"), ("temperature_field", "data.t")],
            &["own_humidity", "own_temperature"],
            &[("own_humidity", "1"), ("own_temperature", "0.2")],
        ),
        slip(
            format!("/rooms/{gable}/instruments/{sensor}"),
            format!("/rooms/{gable}/instruments/{sensor}/checks"),
            &[("against", "magnesium_chloride"), ("shown", "wet"), ("chamber", "80")],
            &["shown", "chamber"],
            &[("shown", "32"), ("chamber", "21")],
        ),
        slip(
            "/office/people".into(),
            "/office/people".into(),
            &[("name", "ines okafor"), ("role", "artist")],
            &["name"],
            &[("name", "Lise Holm")],
        ),
        slip(
            "/office/tokens".into(),
            "/office/tokens".into(),
            &[("name", "")],
            &["name"],
            &[("name", "clock on the wall")],
        ),
        slip(
            "/office/settings".into(),
            "/office/settings".into(),
            &[
                ("name", "Marram & <Sons>"),
                ("zone", "Atlantis/Deep"),
                ("currency", "Crowns"),
                ("stale_minutes", "0"),
                ("humidity_low", "70"),
                ("humidity_high", "60"),
                ("temperature_low", "cold"),
                ("disturbed_in_100", "-1"),
                ("extra_hold_min", ""),
            ],
            &[
                "zone",
                "currency",
                "stale_minutes",
                "humidity_high",
                "temperature_low",
                "disturbed_in_100",
                "extra_hold_min",
            ],
            &[
                ("zone", "Europe/Lisbon"),
                ("currency", "eur"),
                ("stale_minutes", "45"),
                ("humidity_low", "41,5"),
                ("temperature_low", "20"),
                ("disturbed_in_100", "8"),
                ("extra_hold_min", "12"),
            ],
        ),
        slip(
            "/office/first-aid".into(),
            "/office/first-aid".into(),
            &[
                ("who0", "Emergency service"),
                ("number0", "0123456789012345678901234567890123456789-too-long"),
                ("section1", "rinse\nnever: rub"),
            ],
            &["number0"],
            &[("number0", "112")],
        ),
    ]
}

both_databases!(a_mistake_costs_nothing_that_was_typed, async |house| {
    let mut owner = house.owner();
    let of_parts = [
        crate::shelf::slips(&house.things),
        crate::plan::slips(&house.things),
        crate::hands::slips(&house.things),
        crate::clients::slips(&house.things),
        crate::clearance::slips(&house.things),
        crate::book::slips(&house.things),
    ];
    for slip in slips(&house.things).into_iter().chain(of_parts.into_iter().flatten()) {
        let form = owner.form(&slip.page, &slip.action).await.with_all(&slip.typed);
        let key = form.value("form_key").to_owned();
        let before = house.counts().await;
        let came_back = owner.submit(&form).await.must(422);
        assert_eq!(house.counts().await, before, "{} wrote something", slip.action);

        let shown = came_back.form(&slip.action);
        for (name, value) in slip.typed.iter().filter(|(name, _)| *name != "do") {
            assert_eq!(shown.value(name), *value, "{}: {name} was not kept", slip.action);
        }
        let html = came_back.text();
        let mut marked: Vec<_> = html::tags(&html)
            .iter()
            .filter(|tag| tag.get("aria-invalid") == Some("true"))
            .map(|tag| tag.get("name").unwrap().to_owned())
            .collect();
        marked.sort();
        let mut wrong = slip.wrong.clone();
        wrong.sort_unstable();
        assert_eq!(marked, wrong, "{}", slip.action);
        for name in &slip.wrong {
            assert!(html.contains(&format!("id=\"f-{name}-wrong\"")), "{}: no sentence beside {name}", slip.action);
        }
        assert_eq!(shown.value("form_key"), key, "a rejected form keeps its key");

        let corrected = shown.with_all(&slip.corrected);
        let corrected = if slip.typed.contains(&("do", "keep")) { corrected.with("do", "keep") } else { corrected };
        owner.submit(&corrected).await.goes_to();
    }
});

both_databases!(a_chosen_role_that_is_none_comes_back_beside_its_choices, async |house| {
    let mut owner = house.owner();
    let form = owner.form("/office/people", "/office/people").await.with("name", "Lise Holm");
    // A browser leaves out radio buttons of which none is chosen; a form without the field cannot be read at all.
    let answer = owner.submit(&form.clone().with("role", "queen")).await.must(422);
    answer.says("Choose what she will be here.");
    assert_eq!(answer.form("/office/people").value("name"), "Lise Holm");
    let answer = owner.submit(&form.without("role")).await;
    assert_eq!(answer.status, 422, "nothing chosen is a mistake like any other: {}", answer.words());
    assert_eq!(answer.form("/office/people").value("name"), "Lise Holm");
});
