//! Files that are no question: one sentence each, naming the field or the line, and no answer.

use proptest::prelude::*;
use serde_json::json;
use stillroom::advice;

const GOOD: &str = include_str!("../../docs/examples/one_bottle.json");

fn refused(text: &str) -> String {
    for json in [true, false] {
        let told = advice::command(text, json).expect_err("this file must be refused");
        assert!(!told.contains('\n') && told.chars().count() < 400, "one sentence: {told}");
    }
    advice::command(text, true).unwrap_err()
}

/// The good file with one piece of its text replaced.
fn with(old: &str, new: &str) -> String {
    assert_eq!(GOOD.matches(old).count(), 1, "{old} must stand there once");
    GOOD.replace(old, new)
}

#[test]
fn a_field_out_of_range_is_named() {
    let long_name = "x".repeat(81);
    let cases: &[(&str, &str, &str)] = &[
        (r#""temperature_c":21.0"#, r#""temperature_c":75"#, "room.temperature_c: temperature 75 °C"),
        (
            r#""relative_humidity_pct":38.0"#,
            r#""relative_humidity_pct":140"#,
            "room.relative_humidity_pct: relative humidity 140",
        ),
        (r#""relative_humidity_pct":38.0"#, r#""relative_humidity_pct":0"#, "room.relative_humidity_pct: "),
        (r#""relative_humidity_pct":38.0"#, r#""relative_humidity_pct":-3"#, "room.relative_humidity_pct: "),
        (
            r#""relative_humidity_pct":38.0"#,
            r#""relative_humidity_pct":1e999"#,
            "room.relative_humidity_pct: the number is too large",
        ),
        (r#""temperature_u_c":0.5"#, r#""temperature_u_c":-0.5"#, "room.temperature_u_c: −0.5 K"),
        (r#""humidity_u_pct":2.5"#, r#""humidity_u_pct":99"#, "room.humidity_u_pct: 99 %RH"),
        (r#""placements_per_set":180"#, r#""placements_per_set":0"#, "placements_per_set: 0 is outside 1 to 2000"),
        (r#""travel_s":2.61"#, r#""travel_s":-2.61"#, "timings[0].travel_s: −2.61 s is outside"),
        (r#""settle_s":1.12"#, r#""settle_s":0"#, "timings[0].settle_s: 0 s is outside"),
        (r#""set_s":1.7"#, r#""set_s":-1.7"#, "bottles[0].set_tests[0].set_s: −1.7 s is outside"),
        (r#""nudge_every_s":0.2"#, r#""nudge_every_s":0"#, "bottles[0].set_tests[0].nudge_every_s: 0 s"),
        (r#""delay_s":4.0"#, r#""delay_s":-4"#, "bottles[0].open_tests[0].delay_s: −4 s"),
        (r#""days_open":6"#, r#""days_open":-6"#, "bottles[0].days_open: −6 days"),
        (r#""name":"Heath""#, r#""name":"  ""#, "bottles[0].name: "),
        (r#""label_s":[1,2]"#, r#""label_s":[2,1]"#, "bottles[0].label_s: the lower edge"),
        (r#""label_s":[1,2]"#, r#""label_s":[]"#, "bottles[0].label_s: one figure or"),
        (
            r#""relative_humidity_pct":[40,60]"#,
            r#""relative_humidity_pct":[60,40]"#,
            "bottles[0].label_climate.relative_humidity_pct: the lower edge",
        ),
        (
            r#""temperature_c":[20,24]"#,
            r#""temperature_c":[20]"#,
            "bottles[0].label_climate.temperature_c: a lower and an upper edge",
        ),
        (r#"[[0.5,1],[1,2],[2,3],[3,5],[5,8]]"#, "[]", "classes_s: at least one class"),
        (r#"[[0.5,1],[1,2],[2,3],[3,5],[5,8]]"#, "[[1,2],[2,2]]", "classes_s[1]: the lower edge"),
        (r#"[[0.5,1],[1,2],[2,3],[3,5],[5,8]]"#, "[[1,2],[3,2]]", "classes_s[1]: the lower edge"),
        (r#"[[0.5,1],[1,2],[2,3],[3,5],[5,8]]"#, "[[1,2],[1,2]]", "classes_s[1]: this class is there twice"),
        (r#"[[0.5,1],[1,2],[2,3],[3,5],[5,8]]"#, "[[0,2]]", "classes_s[0]: 0 s is outside"),
        (r#""disturbed_share":0.10"#, r#""disturbed_share":0"#, "limits.disturbed_share: 0 is outside"),
        (r#""extra_hold_min_per_set":12"#, r#""extra_hold_min_per_set":-1"#, "limits.extra_hold_min_per_set: −1 min"),
        (r#""pick_up":"ball","liquids":[],"#, r#""pick_up":"ball","liquids":["mist","mist"],"#, "liquids[1]: "),
    ];
    for (old, new, begins) in cases {
        let told = refused(&GOOD.replacen(old, new, 1));
        assert!(told.starts_with(begins), "{new}: {told}");
    }
    assert!(refused(&with(r#""Heath""#, &format!("{long_name:?}"))).starts_with("bottles[0].name: "));
}

#[test]
fn a_field_missing_unknown_twice_or_of_another_kind_is_named() {
    let cases: &[(&str, &str, &str)] = &[
        (r#""temperature_c":21.0,"#, "", "room.temperature_c: is missing"),
        (r#""technique":"classic","#, "", "technique: is missing"),
        (r#""settle_s":1.12"#, r#""settle":1.12"#, "timings[0].settle: there is no such field here"),
        (
            r#""technique":"classic","#,
            r#""technique":"classic","colour":"black","#,
            "colour: there is no such field here",
        ),
        (r#""bead":"medium","pick_up""#, r#""bead":"large","pick_up""#, "bead: large is none of thin, medium, full"),
        (r#""technique":"classic","#, r#""technique":"classic","technique":"mega","#, "technique: is there twice"),
        (
            r#""temperature_c":21.0,"#,
            r#""temperature_c":"warm","#,
            "room.temperature_c: string \"warm\" stands where a number is needed",
        ),
        (
            r#""temperature_c":21.0,"#,
            r#""temperature_c":null,"#,
            "room.temperature_c: null stands where a number is needed",
        ),
        (r#""placements_per_set":180"#, r#""placements_per_set":-4"#, "placements_per_set: "),
        (r#""placements_per_set":180"#, r#""placements_per_set":180.5"#, "placements_per_set: "),
        (r#""held":true"#, r#""held":"yes""#, "bottles[0].open_tests[0].held: "),
        (
            r#""days_open":6,"#,
            r#""days_open":6,"not_today":"tired","#,
            "bottles[0].not_today: tired is none of expired, lapsed",
        ),
        (r#""limits":{"#, r#""limits":{"pain":1,"#, "limits.pain: there is no such field here"),
    ];
    for (old, new, begins) in cases {
        let told = refused(&GOOD.replacen(old, new, 1));
        assert!(told.starts_with(begins), "{new}: {told}");
    }
    assert_eq!(refused("[]"), "the file: a list stands where an object is needed");
    assert!(refused("{}").starts_with("room: is missing"), "{}", refused("{}"));
}

#[test]
fn values_in_a_list_without_their_names_are_no_object() {
    let good: serde_json::Value = serde_json::from_str(GOOD).unwrap();
    let places = [
        "/room",
        "/limits",
        "/timings/0",
        "/bottles/0",
        "/bottles/0/label_climate",
        "/bottles/0/set_tests/0",
        "/bottles/0/open_tests/0",
    ];
    for place in places {
        let mut asked = good.clone();
        let object = asked.pointer_mut(place).unwrap();
        // Every value stays, in an order of the names.
        *object = object.as_object().unwrap().values().cloned().collect();
        let field = place.trim_start_matches('/').replace("/0", "[0]").replace('/', ".");
        assert_eq!(refused(&asked.to_string()), format!("{field}: a list stands where an object is needed"));
    }
    let in_order = json!([{ "temperature_c": 21, "relative_humidity_pct": 38 }, "classic", 180, "medium", null, [], [], [[1, 2]], [], {}]);
    assert_eq!(refused(&in_order.to_string()), "the file: a list stands where an object is needed");
}

#[test]
fn text_that_is_not_json_names_its_line() {
    for (text, told) in [
        ("", "not JSON, line 1"),
        ("room: 21", "not JSON, line 1"),
        ("{\n \"room\": NaN\n}", "not JSON, line 2"),
        ("\u{feff}{}", "not JSON, line 1"),
    ] {
        assert_eq!(refused(text), told, "{text:?}");
    }
    let nan = with(r#""temperature_c":21.0"#, "\"temperature_c\":NaN");
    assert_eq!(refused(&nan), "not JSON, line 1");
    assert_eq!(refused(&format!("{GOOD}\n\n}}")), format!("not JSON, line {}", GOOD.lines().count() + 3));
    let cut = &GOOD[..GOOD.len() / 2];
    assert!(refused(cut).starts_with("not JSON, line "));
}

#[test]
fn two_bottles_of_one_name_are_refused() {
    let two = r#"{"room":{"temperature_c":21,"relative_humidity_pct":40},"technique":"classic","classes_s":[[1,2]],
        "bottles":[{"name":"Heath"},{"name":"Heath "}]}"#;
    assert_eq!(refused(two), "bottles[1].name: another bottle is called Heath");
}

#[test]
fn a_megabyte_of_rubbish_is_refused_at_once() {
    let started = std::time::Instant::now();
    for rubbish in [
        "x".repeat(1 << 20),
        "[".repeat(1 << 20),
        "\0".repeat(1 << 20),
        format!("{{\"room\":\"{}\"}}", "y".repeat(1 << 20)),
        format!("{{\"{}\":1}}", "z".repeat(1 << 20)),
    ] {
        refused(&rubbish);
    }
    assert!(started.elapsed().as_secs_f64() < 5.0);
}

#[test]
fn a_list_past_its_limit_is_refused_by_name() {
    let timing = r#"{"session":1,"travel_s":2,"settle_s":1}"#;
    let many = vec![timing; advice::file::MOST_TIMINGS + 1].join(",");
    let told = refused(&with(
        r#""timings":[{"session":1,"travel_s":2.61,"settle_s":1.12}]"#,
        &format!("\"timings\":[{many}]"),
    ));
    assert_eq!(told, "timings: 10001 timings are more than the 10000 accepted");
    let bottles: Vec<String> = (0..=advice::file::MOST_BOTTLES).map(|i| format!("{{\"name\":\"Fen {i}\"}}")).collect();
    let told = refused(&format!(
        r#"{{"room":{{"temperature_c":21,"relative_humidity_pct":40}},"technique":"classic","classes_s":[[1,2]],"bottles":[{}]}}"#,
        bottles.join(",")
    ));
    assert!(told.starts_with("bottles: 61 bottles are more than"), "{told}");
    let long = format!("{GOOD}{}", " ".repeat(advice::file::LARGEST_FILE));
    assert!(refused(&long).starts_with("the file: longer than"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(30))]

    /// Whatever passes the checks is answered with numbers, never with null where a number belongs.
    #[test]
    fn the_outermost_accepted_values_still_give_numbers(
        t in prop_oneof![Just(-20.0), Just(60.0), -20.0..60.0_f64],
        h in prop_oneof![Just(1e-9), Just(100.0), 1.0..100.0_f64],
        travel in prop_oneof![Just(0.01), Just(600.0), 0.5..5.0_f64],
        settle in prop_oneof![Just(0.01), Just(600.0), 0.2..3.0_f64],
        set in prop_oneof![Just(0.02), Just(3600.0), 0.5..5.0_f64],
        days in prop_oneof![Just(0.0), Just(1000.0)],
        limit in prop_oneof![Just(0.001), Just(0.9)],
    ) {
        let question = json!({"room": {"temperature_c": t, "relative_humidity_pct": h, "temperature_u_c": 10, "humidity_u_pct": 30},
            "technique": "mega", "pick_up": "coat", "liquids": ["accelerator", "ph_primer"], "bead": "full",
            "timings": [{"session": 1, "travel_s": travel, "settle_s": settle}, {"session": 4_000_000_000_u32, "travel_s": 1, "settle_s": 1}],
            "classes_s": [[0.05, 600], [1, 1.0001]],
            "bottles": [{"name": "Fen", "label_s": [0.05, 600], "days_open": days,
                "set_tests": [{"session": 1, "set_s": set, "nudge_every_s": 0.001, "temperature_c": t, "relative_humidity_pct": h, "days_open": days}],
                "open_tests": [{"delay_s": set, "held": true, "temperature_c": t, "relative_humidity_pct": h}]}],
            "limits": {"disturbed_share": limit, "extra_hold_min_per_set": 0.1}});
        let answer: serde_json::Value = serde_json::from_str(&advice::command(&question.to_string(), true).unwrap()).unwrap();
        for list in ["classes", "bottles"] {
            for judged in answer[list].as_array().unwrap() {
                for value in judged.as_object().unwrap().values() {
                    prop_assert!(!value.is_null());
                    if let Some(inner) = value.as_object() {
                        prop_assert!(inner.values().all(|v| !v.is_null()), "{judged}");
                    }
                }
            }
        }
    }
}

#[test]
fn the_largest_accepted_file_is_answered_in_a_few_seconds() {
    let timing = r#"{"session":1,"travel_s":2.2,"settle_s":1.1}"#;
    let test = r#"{"session":1,"set_s":1.7,"nudge_every_s":0.2,"temperature_c":21,"relative_humidity_pct":40}"#;
    let set = vec![test; 250].join(",");
    let bottles: Vec<String> =
        (0..advice::file::MOST_BOTTLES).map(|i| format!(r#"{{"name":"Fen {i}","set_tests":[{set}]}}"#)).collect();
    let classes: Vec<String> = (0..advice::file::MOST_CLASSES).map(|i| format!("[{},{}]", 1 + i, 2 + i)).collect();
    let text = format!(
        r#"{{"room":{{"temperature_c":21,"relative_humidity_pct":40}},"technique":"classic","timings":[{}],"classes_s":[{}],"bottles":[{}]}}"#,
        vec![timing; advice::file::MOST_TIMINGS].join(","),
        classes.join(","),
        bottles.join(",")
    );
    assert!(text.len() < advice::file::LARGEST_FILE);
    let started = std::time::Instant::now();
    advice::command(&text, true).unwrap();
    // Far below this when compiled for use; the limit only catches work that grows faster than the file.
    assert!(started.elapsed().as_secs_f64() < 30.0);
}
