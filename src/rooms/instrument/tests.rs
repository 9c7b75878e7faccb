use proptest::prelude::*;

use super::*;

fn rh(value: f64) -> RelHumidity {
    RelHumidity::new(value).unwrap()
}

fn point(reference: f64, shown: f64) -> CheckPoint {
    CheckPoint { reference: rh(reference), shown: rh(shown) }
}

fn known() -> Known {
    Known {
        humidity_checked_days_ago: None,
        temperature_checked: false,
        age_days: 0.0,
        place: Place::AtTheBed,
        own_humidity: None,
        own_temperature: None,
    }
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9, "{found}, expected {expected}");
}

#[test]
fn a_salt_gives_its_table_value_at_a_column_and_the_straight_line_between() {
    let at = |salt: Salt, t: f64| salt.humidity(Celsius::new(t).unwrap()).unwrap().get();
    near(at(Salt::MagnesiumChloride, 20.0), 33.07);
    near(at(Salt::SodiumChloride, 30.0), 75.09);
    near(at(Salt::LithiumChloride, 15.0), 11.30);
    near(at(Salt::PotassiumChloride, 22.5), f64::midpoint(85.11, 84.34));
    near(at(Salt::PotassiumCarbonate, 28.0), 43.16 + 0.6 * 0.01);
}

#[test]
fn a_box_outside_the_table_is_refused_by_name() {
    for t in [14.9, 30.1] {
        let told = Salt::SodiumChloride.humidity(Celsius::new(t).unwrap()).unwrap_err().to_string();
        assert!(told.starts_with("temperature of the box"), "{told}");
    }
}

#[test]
fn every_salt_is_found_again_by_its_key() {
    for salt in Salt::ALL {
        assert_eq!(Salt::from_key(salt.key()), Some(salt));
        assert_eq!(serde_json::to_string(&salt).unwrap(), format!("\"{}\"", salt.key()));
    }
    assert_eq!(Salt::from_key("pepper"), None);
}

#[test]
fn one_point_adds_what_was_missing() {
    near(Correction::one_point(point(33.0, 36.0)).apply(rh(50.0)).humidity.get(), 47.0);
}

#[test]
fn two_points_go_through_both_and_do_not_care_for_their_order() {
    let (dry, damp) = (point(33.0, 36.0), point(75.0, 74.0));
    for line in [Correction::two_points(dry, damp), Correction::two_points(damp, dry)] {
        let line = line.unwrap();
        near(line.apply(rh(36.0)).humidity.get(), 33.0);
        near(line.apply(rh(74.0)).humidity.get(), 75.0);
        near(line.apply(rh(55.0)).humidity.get(), 54.0);
    }
}

#[test]
fn a_reading_more_than_ten_outside_the_points_is_flagged() {
    let line = Correction::two_points(point(33.0, 36.0), point(75.0, 74.0)).unwrap();
    for (shown, flagged) in [(25.9, true), (26.0, false), (50.0, false), (84.0, false), (84.1, true)] {
        assert_eq!(line.apply(rh(shown)).outside_checked_range, flagged, "{shown}");
    }
}

#[test]
fn a_slope_more_than_a_fifth_from_one_is_refused() {
    let through = |r2: f64| Correction::two_points(point(30.0, 30.0), point(r2, 70.0));
    assert!(through(78.0).is_ok(), "slope 1.2");
    assert!(through(62.0).is_ok(), "slope 0.8");
    assert!(matches!(through(78.2), Err(CheckRefused::Slope(s)) if (s - 1.205).abs() < 1e-9));
    assert!(matches!(through(61.8), Err(CheckRefused::Slope(_))));
    let same = Correction::two_points(point(33.0, 40.0), point(75.0, 40.0));
    assert_eq!(same, Err(CheckRefused::SamePoint));
}

#[test]
fn a_correction_never_leads_past_the_ends_of_the_scale_without_saying_so() {
    let up = Correction::Offset(8.0).apply(rh(97.0));
    near(up.humidity.get(), 100.0);
    assert!(up.stopped_at_limit);
    assert!(Correction::Offset(-8.0).apply(rh(5.0)).stopped_at_limit);
    assert!(!Correction::Offset(-8.0).apply(rh(50.0)).stopped_at_limit);
}

#[test]
fn humidity_is_doubted_by_the_age_of_its_check() {
    let checked = |days| Known { humidity_checked_days_ago: Some(days), ..known() }.doubt(0.0).humidity.get();
    near(checked(0.0), 1.5);
    near(checked(365.0), 1.5);
    near(checked(366.0), 2.5);
    let unchecked = |years: f64| Known { age_days: years * DAYS_A_YEAR, ..known() }.doubt(0.0).humidity.get();
    near(unchecked(0.0), 5.0 / 3f64.sqrt());
    near(unchecked(1.0), 5.0 / 3f64.sqrt() + 1.5);
    near(unchecked(10.0), 6.0);
}

#[test]
fn temperature_is_doubted_less_once_compared() {
    near(known().doubt(0.0).temperature.get(), 0.5);
    near(Known { temperature_checked: true, ..known() }.doubt(0.0).temperature.get(), 0.3);
}

#[test]
fn the_studios_own_values_come_before_the_rules() {
    let own = Known {
        own_humidity: Some(HumidityDoubt::clamped(0.8)),
        own_temperature: Some(TemperatureDoubt::clamped(0.1)),
        ..known()
    };
    near(own.doubt(0.0).humidity.get(), 0.8);
    near(own.doubt(0.0).temperature.get(), 0.1);
}

#[test]
fn a_wall_adds_three_in_quadrature_until_compared_with_the_bed() {
    let at = |place| Known { humidity_checked_days_ago: Some(10.0), place, ..known() }.doubt(0.0).humidity.get();
    near(at(Place::OnTheWall), (1.5f64 * 1.5 + 9.0).sqrt());
    near(at(Place::OnTheWallCompared), 1.5);
}

#[test]
fn a_stale_reading_is_doubted_more_each_hour_up_to_a_day() {
    let doubt = Known { humidity_checked_days_ago: Some(10.0), ..known() }.doubt(3.0);
    near(doubt.humidity.get(), (1.5f64 * 1.5 + 36.0).sqrt());
    near(doubt.temperature.get(), (0.25f64 + 2.25).sqrt());
    let known = known();
    near(known.doubt(24.0).humidity.get(), known.doubt(400.0).humidity.get());
    near(known.doubt(-1.0).humidity.get(), known.doubt(0.0).humidity.get());
}

#[test]
fn the_check_is_told_in_words() {
    let told = |days| Known { humidity_checked_days_ago: days, ..known() }.check_sentence();
    assert!(told(None).starts_with("Never checked: counts as 5 %RH off"));
    assert_eq!(told(Some(0.5)), "Checked today.");
    assert_eq!(told(Some(40.2)), "Checked 40 days ago.");
    assert!(told(Some(430.0)).starts_with("Checked 14 months ago: check it again"));
}

proptest! {
    #[test]
    fn a_correction_keeps_the_order_of_readings(
        r1 in 5.0..45.0f64, d1 in -8.0..8.0f64, r2 in 55.0..95.0f64, d2 in -4.0..4.0f64, a in 1.0..99.0f64, b in 1.0..99.0f64,
    ) {
        let points = (point(r1, (r1 + d1).max(1.0)), point(r2, (r2 + d2).min(99.0)));
        if let Ok(line) = Correction::two_points(points.0, points.1) {
            let (low, high) = (a.min(b), a.max(b));
            prop_assert!(line.apply(rh(low)).humidity.get() <= line.apply(rh(high)).humidity.get());
        }
    }

    #[test]
    fn doubt_never_shrinks_with_age_or_staleness(days in 0.0..4000.0f64, hours in 0.0..30.0f64) {
        let young = Known { age_days: days, ..known() };
        let old = Known { age_days: days + 100.0, ..known() };
        prop_assert!(old.doubt(hours).humidity >= young.doubt(hours).humidity);
        prop_assert!(young.doubt(hours + 1.0).humidity >= young.doubt(hours).humidity);
        prop_assert!(young.doubt(hours + 1.0).temperature >= young.doubt(hours).temperature);
    }
}
