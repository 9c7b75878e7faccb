//! Against figures reached another way: `tests/fixtures/heart_reference.py` (numpy and scipy; the fixture names their
//! versions) with dense grids and a million random draws.

use serde_json::Value;
use stillroom::adhesives::set_time::{
    Climate, Label, OpenTest, Openness, Parameter, Posterior, Prior, SetTest, Sums, TestPiece,
};
use stillroom::adhesives::{Air, Conditions};
use stillroom::advice::file::{self, BottleAsked};
use stillroom::base::units::{Celsius, RelHumidity, Seconds};

fn cases() -> Vec<Value> {
    let fixture: Value = serde_json::from_str(include_str!("../fixtures/heart_reference.json")).unwrap();
    fixture["cases"].as_array().unwrap().clone()
}

fn figure(value: &Value, path: &[&str]) -> f64 {
    path.iter().fold(value, |v, key| &v[*key]).as_f64().unwrap()
}

fn s(x: f64) -> Seconds {
    Seconds::new(x).unwrap()
}

fn air(t: f64, h: f64) -> Air {
    Air { temperature: Celsius::new(t).unwrap(), humidity: RelHumidity::new(h).unwrap() }
}

fn learned(bottle: &BottleAsked) -> (Posterior, Openness) {
    let climate = bottle.label_climate.as_ref().map(|c| {
        let (low, high) =
            (air(c.temperature_c[0], c.relative_humidity_pct[0]), air(c.temperature_c[1], c.relative_humidity_pct[1]));
        Climate { temperature: (low.temperature, high.temperature), humidity: (low.humidity, high.humidity) }
    });
    let label = bottle.label_s.as_ref().and_then(|l| Label::window(s(l[0]), s(l[1]), climate));
    let set: Vec<SetTest> = bottle
        .set_tests
        .iter()
        .map(|t| SetTest {
            session: t.session,
            set: s(t.set_s),
            nudge_every: t.nudge_every_s.map(s),
            piece: TestPiece::PracticeLash,
            conditions: Conditions {
                air: air(t.temperature_c, t.relative_humidity_pct),
                bead: t.bead,
                liquids: t.liquids.iter().copied().collect(),
                days_open: t.days_open,
            },
        })
        .collect();
    let posterior = Posterior::of(&Prior::from_label(label.as_ref()), &Sums::of(&set));
    let open: Vec<OpenTest> = bottle
        .open_tests
        .iter()
        .map(|t| OpenTest {
            delay: s(t.delay_s),
            held: t.held,
            pick_up: t.pick_up,
            conditions: Conditions {
                air: air(t.temperature_c, t.relative_humidity_pct),
                bead: t.bead,
                liquids: t.liquids.iter().copied().collect(),
                days_open: t.days_open,
            },
        })
        .collect();
    let openness = Openness::of(&posterior, &open);
    (posterior, openness)
}

#[test]
fn the_posterior_agrees_with_a_dense_grid_within_two_in_a_hundred_of_its_spread() {
    for case in cases() {
        let asked = file::read(&case["question"].to_string()).unwrap();
        for (bottle, expected) in asked.bottles.iter().zip(case["bottles"].as_array().unwrap()) {
            let (posterior, openness) = learned(bottle);
            for parameter in Parameter::ALL {
                let (mean, sd) = posterior.parameter(parameter);
                let at = parameter.place();
                let wanted_mean = expected["parameters"]["mean"][at].as_f64().unwrap();
                let wanted_sd = expected["parameters"]["sd"][at].as_f64().unwrap();
                assert!((mean - wanted_mean).abs() < 0.02 * wanted_sd, "{} {parameter:?} mean {mean}", bottle.name);
                assert!((sd / wanted_sd - 1.0).abs() < 0.02, "{} {parameter:?} sd {sd} for {wanted_sd}", bottle.name);
            }
            let median = figure(expected, &["openness_median"]);
            assert!((openness.median() / median - 1.0).abs() < 0.01, "{} κ {}", bottle.name, openness.median());
        }
    }
}

#[test]
fn shares_agree_with_a_million_random_draws_within_a_hundredth() {
    for case in cases() {
        let answer = serde_json::to_value(file::answer(&case["question"].to_string()).unwrap()).unwrap();
        for list in ["classes", "bottles"] {
            for (found, expected) in answer[list].as_array().unwrap().iter().zip(case[list].as_array().unwrap()) {
                for share in ["disturbed", "cured_in_air"] {
                    let off = figure(found, &[share, "mean"]) - figure(expected, &[share, "mean"]);
                    assert!(off.abs() < 0.01, "{share} {expected}: off by {off}");
                    // The ends of the range rest on the outer tenth of 1021 draws: three times the tolerance.
                    for end in ["low", "high"] {
                        let off = figure(found, &[share, end]) - figure(expected, &[share, end]);
                        assert!(off.abs() < 0.03, "{share} {end} {expected}: off by {off}");
                    }
                }
                let off = figure(found, &["extra_hold_s", "mean"]) / figure(expected, &["extra_hold_s", "mean"]) - 1.0;
                let seconds = figure(expected, &["extra_hold_s", "mean"]);
                assert!(off.abs() < 0.02 || seconds < 0.05, "holding {seconds}: off by {off}");
                let off = figure(found, &["sure"]) - figure(expected, &["sure"]);
                assert!(off.abs() < 0.02, "sure {expected}: off by {off}");
            }
        }
    }
}

#[test]
fn set_and_open_times_agree_with_a_dense_mixture() {
    for case in cases() {
        let answer = serde_json::to_value(file::answer(&case["question"].to_string()).unwrap()).unwrap();
        for (found, expected) in answer["bottles"].as_array().unwrap().iter().zip(case["bottles"].as_array().unwrap()) {
            for time in ["set_time_s", "open_time_s"] {
                for end in ["low", "median", "high"] {
                    let off = figure(found, &[time, end]) / figure(expected, &[time, end]) - 1.0;
                    assert!(off.abs() < 0.01, "{} {time} {end}: off by {off}", expected["name"]);
                }
            }
        }
    }
}
