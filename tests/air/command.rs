//! What `stillroom air` answers.

use stillroom::rooms::air::command;

#[test]
fn the_machine_form_has_exactly_the_documented_fields() {
    let told: serde_json::Value = serde_json::from_str(&command(21.0, 38.0, 101_325.0, true).unwrap()).unwrap();
    let mut names: Vec<&str> = told.as_object().unwrap().keys().map(String::as_str).collect();
    names.sort_unstable();
    assert_eq!(names, ["dew_point_c", "frost_point_c", "vapour_density_g_m3", "vapour_pressure_pa", "wet_bulb_c"]);
    assert!(told["frost_point_c"].is_null());
    assert!((told["dew_point_c"].as_f64().unwrap() - 6.14).abs() < 0.05, "{told}");
}

#[test]
fn below_freezing_the_machine_form_names_a_frost_point_instead() {
    let told: serde_json::Value = serde_json::from_str(&command(5.0, 30.0, 101_325.0, true).unwrap()).unwrap();
    assert!(told["dew_point_c"].is_null() && told["frost_point_c"].as_f64().unwrap() < 0.0, "{told}");
}

#[test]
fn the_plain_form_says_what_the_dew_point_means() {
    let told = command(21.0, 38.0, 101_325.0, false).unwrap();
    assert!(told.contains("dew point") && told.contains("colder surfaces get wet"), "{told}");
    let cold = command(-2.0, 30.0, 101_325.0, false).unwrap();
    assert!(cold.starts_with("Air at −2.0 °C") && cold.contains("colder surfaces get frosted"), "{cold}");
    // A minus sign and no hyphen, in columns as wide as for any other number.
    let frost = cold.lines().nth(1).unwrap();
    assert!(frost.contains(" −") && !cold.contains(" -"), "{cold}");
    assert_eq!(frost.chars().position(|c| c == '°'), told.lines().nth(1).unwrap().chars().position(|c| c == '°'));
}

#[test]
fn the_plain_form_names_the_pressure_it_was_asked_for() {
    let first_line = |pressure| command(21.0, 38.0, pressure, false).unwrap().lines().next().unwrap().to_owned();
    assert_eq!(first_line(101_325.0), "Air at 21.0 °C and 38 %RH, at sea-level pressure");
    assert_eq!(first_line(84_500.0), "Air at 21.0 °C and 38 %RH, at 84500 Pa");
}

#[test]
fn a_value_outside_its_range_is_named() {
    for (t, h, start) in [
        (61.0, 50.0, "temperature 61 °C is outside −20 to 60"),
        (f64::NAN, 50.0, "temperature NaN"),
        (21.0, 0.0, "relative humidity 0 %RH is not above 0"),
        (21.0, 140.0, "relative humidity 140 %RH"),
        (21.0, f64::INFINITY, "relative humidity inf"),
    ] {
        let told = command(t, h, 101_325.0, true).unwrap_err();
        assert!(told.starts_with(start), "{told}");
    }
}
