//! Facts of the trade, common practice without a printed source: the numbers must not contradict them.

use serde_json::{Value, json};
use stillroom::advice;

fn answer(question: &Value) -> Value {
    serde_json::from_str(&advice::command(&question.to_string(), true).unwrap()).unwrap()
}

fn steady_hands(settle: f64) -> Vec<Value> {
    (0..40)
        .map(|i| {
            let z = (f64::from(i) * 2.399).sin();
            json!({"session": i / 10, "travel_s": 2.5 * (0.25 * z).exp(), "settle_s": settle * (0.25 * (f64::from(i) * 1.7).cos()).exp()})
        })
        .collect()
}

#[test]
fn hands_that_need_two_seconds_never_suit_a_half_second_adhesive() {
    for t in [18.0, 22.0, 26.0] {
        for h in [25.0, 40.0, 50.0, 65.0] {
            for bead in ["thin", "medium", "full"] {
                let a = answer(
                    &json!({"room": {"temperature_c": t, "relative_humidity_pct": h}, "technique": "volume",
                    "bead": bead, "timings": steady_hands(2.0), "classes_s": [[0.3, 0.5], [0.5, 1], [1, 2], [2, 3], [3, 5], [5, 8]],
                    "bottles": [{"name": "Dune", "label_s": [0.5]}]}),
                );
                for judged in [&a["classes"][0], &a["bottles"][0]] {
                    assert_eq!(judged["verdict"], "too_quick", "{t} °C, {h} %RH, {bead}");
                }
                assert_ne!(a["recommended_s"], json!([0.3, 0.5]));
            }
        }
    }
}

#[test]
fn quick_hands_at_the_reference_climate_are_given_a_quicker_class_than_slow_ones() {
    let recommended = |settle: f64| {
        let a = answer(&json!({"room": {"temperature_c": 22, "relative_humidity_pct": 50}, "technique": "classic",
            "timings": steady_hands(settle), "classes_s": [[0.3, 0.5], [0.5, 1], [1, 2], [2, 3], [3, 5], [5, 8]]}));
        a["recommended_s"][0].as_f64().unwrap()
    };
    assert!(recommended(0.4) < recommended(1.0) && recommended(1.0) < recommended(2.0));
}

#[test]
fn an_accelerated_adhesive_behaves_like_one_of_half_a_second_to_one() {
    let set = |liquids: Value| {
        let a = answer(&json!({"room": {"temperature_c": 22, "relative_humidity_pct": 50}, "technique": "classic",
            "liquids": liquids, "classes_s": [[1, 2]], "bottles": [{"name": "Slate", "label_s": [2, 3]}]}));
        a["bottles"][0]["set_time_s"]["median"].as_f64().unwrap()
    };
    let (plain, quick) = (set(json!([])), set(json!(["accelerator"])));
    assert!((2.0..3.0).contains(&plain) && (0.5..=1.0).contains(&quick), "{plain} {quick}");
}

#[test]
fn a_dry_winter_room_makes_every_adhesive_slower_and_a_hot_damp_day_quicker() {
    let set = |t: f64, h: f64| {
        let a = answer(&json!({"room": {"temperature_c": t, "relative_humidity_pct": h}, "technique": "classic",
            "classes_s": [[1, 2]], "bottles": [{"name": "Heath", "label_s": [1, 2]}]}));
        a["bottles"][0]["set_time_s"]["median"].as_f64().unwrap()
    };
    let usual = set(22.0, 50.0);
    assert!(set(18.0, 28.0) > 1.7 * usual, "{}", set(18.0, 28.0) / usual);
    assert!(set(27.0, 70.0) < 0.7 * usual);
}
