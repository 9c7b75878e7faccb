//! Every effect points the way it must.

use proptest::prelude::*;
use serde_json::{Value, json};
use stillroom::advice;

fn answer(question: &Value) -> Value {
    serde_json::from_str(&advice::command(&question.to_string(), true).unwrap()).unwrap()
}

/// A question with some hands; the rest is filled in by each test.
fn question(t: f64, h: f64, settle: f64, spread: f64) -> Value {
    let timings: Vec<Value> = (0..24)
        .map(|i| {
            let z = (f64::from(i) * 2.399).sin();
            json!({"session": i / 8, "travel_s": 2.4 * (spread * z).exp(), "settle_s": settle * (spread * (f64::from(i) * 1.7).cos()).exp()})
        })
        .collect();
    json!({"room": {"temperature_c": t, "relative_humidity_pct": h}, "technique": "classic", "pick_up": "ball",
        "timings": timings, "classes_s": [[0.3, 0.5], [0.5, 1], [1, 2], [2, 3], [3, 5], [5, 8]],
        "bottles": [{"name": "Heath", "label_s": [1, 2]}]})
}

fn mean(answer: &Value, list: &str, i: usize, share: &str) -> f64 {
    answer[list][i][share]["mean"].as_f64().unwrap()
}

/// Two shares that round alike may come out equal.
const ROUNDING: f64 = 2e-5;
/// Hands time and travel are fitted each by a curve of its own, so that far out, where both shares are under one in a thousand,
/// their order holds only to some ten-thousandths.
const TAILS: f64 = 5e-4;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn shares_are_shares_and_a_faster_class_is_never_less_disturbed(
        t in 15.0..30.0_f64, h in 15.0..85.0_f64, settle in 0.2..3.0_f64, spread in 0.05..0.6_f64,
    ) {
        let a = answer(&question(t, h, settle, spread));
        for i in 0..6 {
            for share in ["disturbed", "cured_in_air"] {
                let s = &a["classes"][i][share];
                let [m, low, high] = ["mean", "low", "high"].map(|k| s[k].as_f64().unwrap());
                prop_assert!(0.0 <= low && low <= high && high <= 1.0 && (0.0..=1.0).contains(&m));
            }
            prop_assert!(mean(&a, "classes", i, "extra_hold_s") >= 0.0);
            prop_assert!(mean(&a, "classes", i, "disturbed") >= mean(&a, "classes", i, "cured_in_air") - TAILS);
        }
        for i in 0..5 {
            prop_assert!(mean(&a, "classes", i, "disturbed") >= mean(&a, "classes", i + 1, "disturbed") - ROUNDING);
            prop_assert!(mean(&a, "classes", i, "extra_hold_s") <= mean(&a, "classes", i + 1, "extra_hold_s") + ROUNDING);
        }
        let bottle = &a["bottles"][0];
        let [m, low, high] = ["median", "low", "high"].map(|k| bottle["set_time_s"][k].as_f64().unwrap());
        prop_assert!(0.0 < low && low < m && m < high);
    }

    #[test]
    fn damper_warmer_and_thinner_disturb_more_and_hold_less(
        t in 15.0..27.0_f64, h in 20.0..70.0_f64, settle in 0.3..2.5_f64, dt in 0.5..3.0_f64, dh in 1.0..10.0_f64,
    ) {
        let before = answer(&question(t, h, settle, 0.3));
        let damper = question(t, h + dh, settle, 0.3);
        let warmer = question(t + dt, h, settle, 0.3);
        let mut thinner = question(t, h, settle, 0.3);
        thinner["bead"] = json!("thin");
        let mut primed = question(t, h, settle, 0.3);
        primed["liquids"] = json!(["ph_primer"]);
        for changed in [damper, warmer, thinner, primed] {
            let after = answer(&changed);
            for (list, i) in [("classes", 2), ("classes", 4), ("bottles", 0)] {
                prop_assert!(mean(&after, list, i, "disturbed") >= mean(&before, list, i, "disturbed") - ROUNDING);
                prop_assert!(mean(&after, list, i, "extra_hold_s") <= mean(&before, list, i, "extra_hold_s") + ROUNDING);
            }
            let median = |a: &Value| a["bottles"][0]["set_time_s"]["median"].as_f64().unwrap();
            prop_assert!(median(&after) < median(&before));
        }
    }

    #[test]
    fn slower_hands_are_disturbed_more(t in 18.0..26.0_f64, h in 25.0..65.0_f64, settle in 0.3..2.0_f64) {
        let (quick, slow) = (answer(&question(t, h, settle, 0.3)), answer(&question(t, h, 1.3 * settle, 0.3)));
        for i in 0..6 {
            prop_assert!(mean(&slow, "classes", i, "disturbed") >= mean(&quick, "classes", i, "disturbed") - ROUNDING);
        }
    }

    // Its tests, however odd, are its own: what the air does to a class is not learned from them here.
    #[test]
    fn a_slower_bottle_on_the_shelf_never_changes_the_recommended_class(
        t in 18.0..26.0_f64, h in 25.0..65.0_f64, settle in 0.3..2.5_f64, slow in 3.0..10.0_f64,
    ) {
        let one = question(t, h, settle, 0.3);
        let mut two = one.clone();
        let tests: Vec<Value> = [(25.0, 1.0), (60.0, 1.4)]
            .into_iter()
            .flat_map(|(h, by)| (1..4).map(move |session| (h, by, session)))
            .map(|(h, by, session)| json!({"session": session, "set_s": slow * by, "temperature_c": 21, "relative_humidity_pct": h}))
            .collect();
        two["bottles"].as_array_mut().unwrap().push(json!({"name": "Fen", "label_s": [slow, slow + 2.0], "set_tests": tests}));
        let (one, two) = (answer(&one), answer(&two));
        prop_assert_eq!(&two["bottles"][1]["learned_from"]["set_tests"], &json!(6));
        prop_assert_eq!(&one["classes"], &two["classes"]);
        for said in ["recommended_s", "least_bad_s", "sure"] {
            prop_assert_eq!(&one[said], &two[said]);
        }
    }

    #[test]
    fn an_offered_change_is_better_and_the_soonest_come_first(
        t in 17.0..29.0_f64, h in 22.0..75.0_f64, settle in 0.3..2.5_f64,
    ) {
        let a = answer(&question(t, h, settle, 0.3));
        let now = &a["bottles"][0];
        let ratio = |d: f64, m: f64| (d / 0.10).max(m / 12.0);
        let before = ratio(now["disturbed"]["mean"].as_f64().unwrap(), now["extra_hold_min_per_set"].as_f64().unwrap());
        let mut last = (0, 0.0);
        for o in a["options"].as_array().unwrap() {
            let after = ratio(o["disturbed_after"].as_f64().unwrap(), o["extra_hold_min_per_set_after"].as_f64().unwrap());
            prop_assert!(after < before + 1e-3, "{o}");
            let place = (["now", "minutes", "hours"].iter().position(|w| o["takes"] == *w).unwrap(), after);
            prop_assert!(place >= last || (place.0 == last.0 && (place.1 - last.1).abs() < 1e-3), "{o}");
            last = place;
        }
        prop_assert!(now["verdict"] != "fits" || a["options"].as_array().unwrap().is_empty());
    }
}
