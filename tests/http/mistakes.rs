//! Forms with mistakes: what was typed comes back, each mistake beside its field, and the key is still good.

use stillroom::people;

use crate::browser::URLENCODED;
use crate::doors::{Sent, form_body, fresh_key, rows};
use crate::house::both_databases;
use crate::html;
use crate::studio::{Actor, PHRASE, Things};

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
                ("currency", "EUX"),
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

fn all_slips(things: &Things) -> impl Iterator<Item = Slip> {
    [
        slips(things),
        crate::shelf::slips(things),
        crate::plan::slips(things),
        crate::hands::slips(things),
        crate::clients::slips(things),
        crate::clearance::slips(things),
        crate::book::slips(things),
        crate::cards::slips(things),
        crate::tablet::slips(),
    ]
    .into_iter()
    .flatten()
}

/// Doors with fields and without a slip, each with its reason. A form in which one can only choose cannot be mistyped: a value from
/// elsewhere is refused as a whole, which a test below tries.
const WITHOUT_A_SLIP: [(&str, &str); 44] = [
    ("/sign-in", "a name and a passphrase that do not go together: sign_in.rs"),
    ("/claim/{token}", "needs a house that nobody owns: a test below"),
    ("/invited/{token}", "a passphrase is never shown again: people.rs"),
    ("/office/code", "digits are never shown again: tablet.rs"),
    ("/tablet/of/{person}", "digits are never shown again: tablet.rs"),
    ("/office/people/{person}/role", "one choice; what is none is told beside it: a test below"),
    ("/rooms/{room}/imports", "a file cannot come back: imports.rs"),
    ("/rooms/{room}/imports/{import}/answers", "choices"),
    ("/rooms/{room}/plan/outdoors", "one choice"),
    (LOOKS_FIRST, "refused with its reason on the page it leads to: plan.rs"),
    ("/rooms/{room}/advice", "choices"),
    ("/rooms/{room}/here", "choices"),
    ("/shelf/bottles/{bottle}/move", "one choice"),
    ("/shelf/bottles/{bottle}/use", "a button with a value"),
    (SEARCHES[0], "a search keeps nothing: clients.rs"),
    (SEARCHES[1], "a search keeps nothing: clearance.rs"),
    (SEARCHES[2], "a search keeps nothing: clearance.rs"),
    (SEARCHES[3], "a search keeps nothing: book.rs"),
    (SEARCHES[4], "a script sends it, and nothing is kept: offline.rs"),
    ("/door/questions/{question}/remove", "a button with what was seen"),
    ("/door/clients/{client}/artists", "one choice"),
    ("/door/clients/import", "a file cannot come back: clients.rs"),
    ("/door/clients/{client}/asked", "one choice"),
    ("/door/clients/{client}/consultations", "choices; what is not answered is told beside it: clients.rs"),
    ("/door/clients/{client}/photos", "a file cannot come back: clients_photos.rs"),
    ("/door/tests/{patch_test}/photos", "a file cannot come back: clients_photos.rs"),
    ("/door/complaints/{complaint}/photos", "a file cannot come back: clients_photos.rs"),
    ("/door/clients/{client}/consents/{consent}/copies", "one choice"),
    ("/door/clients/{client}/restriction", "a button with a value"),
    ("/door/clients/{client}/erasure", "takes her away: clients_rights.rs"),
    (LOOKS, "its page shows her answers again, which is written down: clients.rs"),
    (HANDED, "needs a device in a client’s hands: clients_handed.rs"),
    (TAKEN_BACK, "a passphrase is never shown again: clients_handed.rs"),
    ("/door/reactions/{reaction}/told", "one choice"),
    ("/door/stops/{stop}/told", "one choice"),
    ("/book/{appointment}/no-show", "a button with what was seen"),
    ("/book/{appointment}/restore", "a button with what was seen"),
    ("/cards/{card}/drop", "choices"),
    ("/cards/{card}/step", "a button with a value"),
    ("/cards/{card}/bottle", "choices"),
    ("/cards/{card}/complaint", "a button with a value"),
    ("/cards/{card}/photos", "a file cannot come back: cards.rs"),
    ("/cards/{card}/sheet", "a file, which no page gives back; a bad one is tried in cards.rs"),
    ("/door/stops/{stop}/clients", "ticks alone"),
];

/// Looks at the log and tells what it found, by leading back to the page.
const LOOKS_FIRST: &str = "/rooms/{room}/plan/fit";
/// Anything may be searched for; what a device sealed is looked into and given back.
pub(crate) const SEARCHES: [&str; 5] =
    ["/door/found", "/door/visits/new", "/door/walk-in", "/book/look", "/outbox/open"];
/// Closed to everybody who has no device handed over.
const HANDED: &str = "/handed-over/{step}";
/// Leaves a line in the audit chain each time it comes back.
const LOOKS: &str = "/door/clients/{client}/consultations/{consultation}/advice";
const TAKEN_BACK: &str = "/handed-over/leave";

/// Whether an address lies behind a door, `{name}` standing for any one part.
fn is_behind(address: &str, door: &str) -> bool {
    let (address, door): (Vec<_>, Vec<_>) = (address.split('/').collect(), door.split('/').collect());
    address.len() == door.len() && door.iter().zip(address).all(|(part, is)| part.starts_with('{') || *part == is)
}

both_databases!(every_form_with_fields_is_tried_with_mistakes_or_says_why_not, async |house| {
    let slips: Vec<_> = all_slips(&house.things).map(|slip| slip.action).collect();
    for row in rows() {
        let with_fields = match (row.sent)(&house.things) {
            Sent::Form(fields) => !fields.is_empty(),
            Sent::File(_) | Sent::Photo => true,
            Sent::Nothing | Sent::Json(_) => false,
        };
        let tried = slips.iter().any(|action| is_behind(action, row.path));
        let excused = WITHOUT_A_SLIP.iter().any(|(path, _)| *path == row.path);
        if with_fields {
            assert!(tried != excused, "{}: tried {tried}, excused {excused}", row.path);
        }
    }
    for (path, _) in WITHOUT_A_SLIP {
        assert!(rows().iter().any(|row| row.method == "POST" && row.path == path), "{path} is no door");
    }
});

both_databases!(what_is_on_no_list_of_choices_is_refused_as_a_whole, async |house| {
    let mut wrong = Vec::new();
    let chosen = |path: &str| {
        ![LOOKS_FIRST, LOOKS, HANDED, TAKEN_BACK].contains(&path)
            && !SEARCHES.contains(&path)
            && WITHOUT_A_SLIP.iter().any(|(excused, _)| *excused == path)
    };
    for row in rows().into_iter().filter(|row| chosen(row.path)) {
        let Sent::Form(fields) = (row.sent)(&house.things) else { continue };
        let mut browser = house.actor(row.who_may());
        let csrf = browser.csrf().await;
        let nonsense: Vec<_> = fields.into_iter().map(|(name, _)| (name, "<i>queen</i>".to_owned())).collect();
        let before = house.counts().await;
        let address = row.address(&house.things);
        let answer = browser.post_body(&address, URLENCODED, form_body(&csrf, &fresh_key(), &nonsense)).await;
        if !(400..500).contains(&answer.status) || answer.text().contains("<i>queen") {
            wrong.push(format!("{address}: {} {}", answer.status, answer.text()));
        }
        let mut after = house.counts().await;
        // A try at signing in is counted, whatever comes of it.
        after.insert("sign_in_delay", before["sign_in_delay"]);
        if after != before {
            wrong.push(format!("{address} wrote something"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
});

both_databases!(a_mistake_in_the_claim_costs_nothing_but_the_passphrase, unclaimed, async |house| {
    let path = format!("/claim/{}", people::claim_token(house.house.store.keys()));
    let mut browser = house.stranger();
    let form = browser.form(&path, &path).await;
    let key = form.value("form_key").to_owned();
    let typed = [("studio", "Marram & <Sons>"), ("name", "Runa Marsh"), ("zone", "Atlantis/Deep")];
    let form = form.with_all(&typed).with("passphrase", "marram and sons").with("again", "marram and sons");
    let answer = browser.submit(&form).await.must(422);
    let shown = answer.form(&path);
    for (name, value) in typed {
        assert_eq!(shown.value(name), value, "{name} was not kept");
    }
    let html = answer.text();
    for name in ["zone", "passphrase"] {
        assert!(html.contains(&format!("id=\"f-{name}-wrong\"")), "no sentence beside {name}");
    }
    for name in ["studio", "name"] {
        assert!(!html.contains(&format!("id=\"f-{name}-wrong\"")), "{name} was right");
    }
    assert!(!html.contains("marram and sons"), "the passphrase stands in the page");
    assert_eq!(house.number("select count(*) from person").await, 0);
    assert_eq!(shown.value("form_key"), key, "a rejected form keeps its key");
    // Without a name the zone stays as well.
    let form = shown.with_all(&[("name", " "), ("zone", "Europe/Lisbon"), ("passphrase", PHRASE), ("again", PHRASE)]);
    let shown = browser.submit(&form).await.must(422).form(&path);
    assert_eq!((shown.value("zone"), shown.value("studio")), ("Europe/Lisbon", "Marram & <Sons>"));
    let form = shown.with_all(&[("name", "Runa Marsh"), ("passphrase", PHRASE), ("again", PHRASE)]);
    browser.submit(&form).await.goes_to();
    assert_eq!(house.look("select value from setting where name = 'studio.zone'").await, "Europe/Lisbon");
    browser.page("/office/settings").await.says("Marram & <Sons>");
});

both_databases!(a_role_that_is_none_is_told_beside_the_choice_and_changes_nobody, async |house| {
    let mut owner = house.owner();
    let page = format!("/office/people/{}", house.things.people[Actor::Desk.name()]);
    let action = format!("{page}/role");
    let form = owner.form(&page, &action).await;
    let key = form.value("form_key").to_owned();
    for role in ["queen", "", "OWNER"] {
        let answer = owner.submit(&form.clone().with("role", role)).await.must(422);
        answer.says("Choose one of the roles.");
        assert!(answer.text().contains("id=\"f-role-wrong\""), "no sentence beside the field");
        assert_eq!(answer.form(&action).value("role"), "desk", "what she is stays chosen");
        assert_eq!(answer.form(&action).value("form_key"), key, "a rejected form keeps its key");
    }
    house.actor(Actor::Desk).page("/rooms").await;
    owner.submit(&form.with("role", "artist")).await.goes_to();
});

both_databases!(a_mistake_costs_nothing_that_was_typed, async |house| {
    let mut owner = house.owner();
    for slip in all_slips(&house.things) {
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

both_databases!(where_commas_are_written_no_limit_and_no_example_beside_a_field_has_a_point, async |house| {
    let mut owner = house.owner();
    let settings = owner.form("/office/settings", "/office/settings").await;
    owner.submit(&settings.with("decimal", "comma")).await.must(303);
    let (mut limits, mut with_points) = (0, Vec::new());
    for slip in all_slips(&house.things) {
        let page = owner.page(&slip.page).await;
        let mut form = page.form(&slip.action).with_all(&slip.typed);
        // Every number that the form asks for, over its limit.
        for tag in html::tags(&page.text()).iter().filter(|tag| tag.get("inputmode") == Some("decimal")) {
            let name = tag.get("name").filter(|name| form.names.iter().any(|own| own == name));
            // What is given back to a client has no limit of ours.
            if let Some(name) = name.filter(|name| *name != "refund") {
                form = form.with(name, "1000000");
            }
        }
        let came_back = owner.submit(&form).await.must(422);
        for (path, html) in [(&slip.page, page.text()), (&slip.action, came_back.text())] {
            for tag in html::tags(&html) {
                let is_beside = tag.get("id").is_some_and(|id| id.ends_with("-wrong") || id.ends_with("-hint"));
                let beside = is_beside.then(|| html::words(html[tag.to..].split("</p>").next().unwrap_or_default()));
                for said in beside.into_iter().chain(tag.get("placeholder").map(str::to_owned)) {
                    limits += usize::from(said.contains("Type a number from"));
                    if let Some(point) = crate::advice::with_a_point(&said) {
                        with_points.push(format!("{path}: {point} in: {said}"));
                    }
                }
            }
        }
    }
    assert!(limits > 20, "hardly any limit was told: {limits}");
    assert!(with_points.is_empty(), "{}", with_points.join("\n"));
});

both_databases!(where_fahrenheit_is_spoken_hints_and_paper_speak_it_too, async |house| {
    let mut owner = house.owner();
    let settings = owner.form("/office/settings", "/office/settings").await;
    owner.submit(&settings.with("temperature", "fahrenheit")).await.must(303);
    let (gable, sensor) = (&house.things.gable, &house.things.sensor);
    for (path, said) in [
        (format!("/rooms/{gable}/instruments/{sensor}"), "59 to 86 °F"),
        (format!("/rooms/{gable}/edit"), "86 °F and 80 %RH"),
        ("/cards/sheets/card".to_owned(), "Visit, lids, room, °F, %RH"),
    ] {
        let page = owner.page(&path).await;
        page.says(said);
        assert!(!page.words().contains("30 °C") && !page.words().contains("room, °C"), "{path}: {}", page.words());
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
