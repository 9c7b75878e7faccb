//! The command, as a person or another program uses it.

use serde_json::Value;
use stillroom::advice;

const EXAMPLES: [&str; 6] =
    ["one_bottle", "slow_dry_room", "humid_room", "no_timings", "no_bottles", "nothing_for_today"];

fn example(name: &str) -> String {
    std::fs::read_to_string(format!("{}/docs/examples/{name}.json", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn answer(name: &str) -> Value {
    serde_json::from_str(&advice::command(&example(name), true).unwrap()).unwrap()
}

fn said(answer: &Value) -> String {
    let list = |name: &str| {
        answer[name].as_array().unwrap().iter().map(|r| r.as_str().unwrap().to_owned()).collect::<Vec<_>>().join("\n")
    };
    list("reasons") + "\n" + &list("cautions")
}

fn keys(value: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = value.as_object().unwrap().keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}

#[test]
fn every_example_is_answered_in_both_forms() {
    for name in EXAMPLES {
        let machine = answer(name);
        assert!(machine["classes"].as_array().unwrap().len() >= 5, "{name}");
        let page = advice::command(&example(name), false).unwrap();
        for class in machine["classes"].as_array().unwrap() {
            let row = format!("{}–{}\u{a0}s", class["window_s"][0], class["window_s"][1]).replace(".0", "");
            assert!(page.contains(&row), "{name}: no row {row} in\n{page}");
        }
        assert!(page.contains("Cautions") && page.contains("To be surer"), "{name}");
    }
    let folder = std::fs::read_dir(format!("{}/docs/examples", env!("CARGO_MANIFEST_DIR"))).unwrap().count();
    assert_eq!(folder, EXAMPLES.len(), "an example nobody tries");
}

#[test]
fn the_machine_form_has_exactly_the_promised_fields() {
    let a = answer("one_bottle");
    assert_eq!(
        keys(&a),
        [
            "bottles",
            "cautions",
            "classes",
            "least_bad_s",
            "options",
            "reasons",
            "recommended_s",
            "sure",
            "surest_next_step"
        ]
    );
    assert_eq!(
        keys(&a["classes"][0]),
        ["cured_in_air", "disturbed", "extra_hold_min_per_set", "extra_hold_s", "sure", "verdict", "window_s"]
    );
    assert_eq!(
        keys(&a["bottles"][0]),
        [
            "cured_in_air",
            "disturbed",
            "extra_hold_min_per_set",
            "extra_hold_s",
            "learned_from",
            "name",
            "open_time_s",
            "set_time_s",
            "sure",
            "verdict"
        ]
    );
    for share in ["disturbed", "cured_in_air", "extra_hold_s"] {
        assert_eq!(keys(&a["bottles"][0][share]), ["high", "low", "mean"]);
    }
    for time in ["set_time_s", "open_time_s"] {
        assert_eq!(keys(&a["bottles"][0][time]), ["high", "low", "median"]);
    }
    assert_eq!(keys(&a["bottles"][0]["learned_from"]), ["open_tests", "set_tests"]);
    assert_eq!(
        keys(&a["options"][0]),
        ["change", "disturbed_after", "extra_hold_min_per_set_after", "takes", "verdict_after"]
    );
}

#[test]
fn leaving_defaults_out_changes_nothing() {
    let bare =
        r#"{"room":{"temperature_c":21,"relative_humidity_pct":38},"technique":"classic","classes_s":[[1,2],[3,5]]}"#;
    let full = r#"{"room":{"temperature_c":21,"relative_humidity_pct":38,"temperature_u_c":0.5,"humidity_u_pct":2.5},
        "technique":"classic","placements_per_set":180,"bead":"medium","pick_up":null,"liquids":[],"timings":[],
        "classes_s":[[1,2],[3,5]],"bottles":[],"limits":{"disturbed_share":0.10,"extra_hold_min_per_set":12}}"#;
    assert_eq!(advice::command(bare, true).unwrap(), advice::command(full, true).unwrap());
}

#[test]
fn the_same_file_gives_the_same_answer_to_the_last_digit() {
    assert_eq!(
        advice::command(&example("humid_room"), true).unwrap(),
        advice::command(&example("humid_room"), true).unwrap()
    );
}

#[test]
fn a_bottle_not_for_today_is_never_what_a_change_is_measured_against() {
    let a = answer("nothing_for_today");
    for bottle in a["bottles"].as_array().unwrap() {
        assert_eq!(bottle["verdict"], "not_for_today");
        assert!(bottle["set_time_s"]["median"].as_f64().unwrap() > 0.0);
    }
    let told = said(&a);
    assert!(told.contains("Heath is not for today: it has been open too long"), "{told}");
    assert!(!a["surest_next_step"].as_str().unwrap().contains("Heath"));
}

#[test]
fn without_timings_it_answers_as_a_starting_guess_and_asks_for_three_placements() {
    let a = answer("no_timings");
    let told = said(&a);
    assert!(told.contains("starting guess") && told.contains("three practice placements"), "{told}");
    assert!(told.contains("do not buy on it"), "{told}");
    let hopeless =
        r#"{"room":{"temperature_c":30,"relative_humidity_pct":90},"technique":"classic","classes_s":[[0.1,0.2]]}"#;
    let page = advice::command(hopeless, false).unwrap();
    assert!(page.starts_with("As a starting guess") && !page.contains("No class keeps"), "{page}");
}

#[test]
fn a_room_outside_the_makers_window_is_at_most_near() {
    let a = answer("humid_room");
    let dune = &a["bottles"][0];
    assert_ne!(dune["verdict"], "fits");
    assert!(said(&a).contains("Dune: the room is outside the air its maker prints"));
}

#[test]
fn the_page_keeps_to_a_readable_width() {
    for name in EXAMPLES {
        for line in advice::command(&example(name), false).unwrap().lines() {
            assert!(line.chars().count() <= 120, "{name}: {line}");
        }
    }
}

#[test]
fn no_page_promises_what_nobody_can() {
    for name in EXAMPLES {
        for json in [true, false] {
            let text = advice::command(&example(name), json).unwrap().to_lowercase();
            for word in ["safe", "not allergic", "best adhesive", "confidence", "significant", "please"] {
                assert!(!text.contains(word), "{name} says {word}");
            }
        }
    }
}

#[test]
fn no_option_cools_a_client_dampens_a_wall_or_slows_by_a_liquid() {
    for name in EXAMPLES {
        for option in answer(name)["options"].as_array().unwrap() {
            let change = option["change"].as_str().unwrap();
            for degrees in 0..20 {
                assert!(!change.contains(&format!("to {degrees}\u{a0}°C")), "{name}: {change}");
            }
            for humid in 61..101 {
                assert!(!change.contains(&format!("to {humid}\u{a0}%RH")), "{name}: {change}");
            }
            assert!(!change.to_lowercase().contains("mist"), "{name}: {change}");
        }
    }
}
