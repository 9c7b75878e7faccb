use proptest::prelude::*;

use super::balance::{LONGEST_HOURS, TAKE_EXPONENT};
use super::fit::{Stretch, Unfit, fit};
use super::guards::{Warning, humidity_at, warnings};
use super::*;

fn air(temperature: f64, humidity: f64) -> Air {
    Air { temperature: Celsius::clamped(temperature), humidity: RelHumidity::clamped(humidity) }
}

fn humidifier(rate: f64, hours_a_day: f64) -> PlanDevice {
    PlanDevice { moves: Moves::Gives, rate: GramsPerHour::clamped(rate), hours_a_day }
}

fn dehumidifier(rate: f64, rated: Air) -> PlanDevice {
    let moves = Moves::takes_rated_at(rated.temperature, rated.humidity);
    PlanDevice { moves, rate: GramsPerHour::clamped(rate), hours_a_day: 24.0 }
}

/// The room of the published table: 30 m³, half an air change, 21 °C, outside vapour as 10 %RH indoors.
fn room(devices: Vec<PlanDevice>, capacity: f64) -> PlanInputs {
    PlanInputs {
        volume: CubicMetres::clamped(30.0),
        air_changes: AirChanges::clamped(0.5),
        fitted: false,
        capacity: Capacity { low: capacity, best: capacity, high: capacity },
        now: air(21.0, 10.0),
        outside: air(21.0, 10.0),
        devices,
        surface: Surface::Factor(1.0),
        warms_k_per_hour: 3.0,
        cools_k_per_hour: 2.0,
    }
}

fn best_hours(reach: Reach) -> Option<f64> {
    match reach {
        Reach::Reached { best, .. } => Some(best.get()),
        _ => None,
    }
}

fn balance(capacity: f64) -> Balance {
    balance_of(&room(Vec::new(), capacity), capacity)
}

/// The table in which a trade rule (common practice, no source) that raising a room from 10 to 60 %RH takes about two days was
/// worked out: hours by moisture capacity and litres an hour.
#[test]
fn ten_to_sixty_percent_takes_the_hours_of_the_table() {
    let table =
        [(1.0, [2.3, 1.6, 0.6]), (10.0, [23.0, 16.0, 6.0]), (15.0, [35.0, 24.0, 10.0]), (20.0, [47.0, 32.0, 13.0])];
    for (capacity, row) in table {
        for (grams, expected) in [200.0, 250.0, 500.0].into_iter().zip(row) {
            let found = best_hours(reach(&room(vec![humidifier(grams, 24.0)], capacity), air(21.0, 60.0))).unwrap();
            // As printed there, rounded to the hour; 46.5 h once fell on the other side.
            let within = if expected < 3.0 { 0.05 } else { 0.55 };
            assert!((found - expected).abs() <= within, "M {capacity}, {grams} g/h: {found} instead of {expected}");
        }
    }
    let slow = best_hours(reach(&room(vec![humidifier(250.0, 24.0)], 30.0), air(21.0, 60.0))).unwrap();
    assert!((slow - 48.0).abs() <= 0.5, "{slow}");
}

#[test]
fn two_days_to_sixty_percent_need_the_grams_of_the_table_and_under_137_it_is_never_reached() {
    for (capacity, grams) in [(10.0, 151.0), (15.0, 172.0), (20.0, 197.0), (30.0, 250.0)] {
        let hours = best_hours(reach(&room(vec![humidifier(grams, 24.0)], capacity), air(21.0, 60.0))).unwrap();
        assert!((hours - 48.0).abs() < 1.5, "M {capacity}: {hours}");
    }
    let step = air(21.0, 60.0).density() - air(21.0, 10.0).density();
    assert!((step - 9.16).abs() < 0.01, "{step}");
    for (grams, is_reached) in [(136.0, false), (139.0, true)] {
        let reach = reach(&room(vec![humidifier(grams, 24.0)], 10.0), air(21.0, 60.0));
        assert_eq!(best_hours(reach).is_some(), is_reached, "{grams}: {reach:?}");
    }
}

#[test]
fn ten_working_hours_a_day_end_short_of_sixty_percent() {
    for (capacity, plateau) in [(15.0, 54.0..57.5), (20.0, 53.0..56.0)] {
        let reach = reach(&room(vec![humidifier(250.0, 10.0)], capacity), air(21.0, 60.0));
        let Reach::Never { nearest } = reach else { panic!("M {capacity}: {reach:?}") };
        assert!(plateau.contains(&nearest), "M {capacity}: {nearest}");
    }
    // Sixteen hours a day get there in a day and a half to two and a half.
    for capacity in [15.0, 20.0] {
        let hours = best_hours(reach(&room(vec![humidifier(250.0, 16.0)], capacity), air(21.0, 60.0))).unwrap();
        assert!((35.0..59.0).contains(&hours), "M {capacity}: {hours}");
    }
}

#[test]
fn drying_seventy_five_to_fifty_five_percent_takes_the_published_six_to_twelve_hours() {
    // 6 L a day as it really is in that air, half an air change; outside as dry as the target leaves it.
    for (capacity, expected) in [(10.0, 6.0), (20.0, 12.0)] {
        let dry = PlanInputs {
            now: air(24.0, 75.0),
            outside: air(24.0, 55.0),
            ..room(vec![dehumidifier(250.0, air(24.0, 65.0))], capacity)
        };
        let hours = best_hours(reach(&dry, air(24.0, 55.0))).unwrap();
        assert!((hours - expected).abs() < 0.35 * expected, "M {capacity}: {hours}");
    }
}

#[test]
fn the_closed_form_is_what_small_steps_come_to() {
    for (capacity, grams) in [(1.0, 200.0), (10.0, 250.0), (20.0, 140.0)] {
        let balance = balance(capacity);
        let from = air(21.0, 10.0);
        let (mut density, steps) = (from.density(), 600_000);
        let h = 60.0 / f64::from(steps);
        for _ in 0..steps {
            density += h * (grams / 30.0 + 0.5 * (balance.outside - density)) / capacity;
        }
        let closed = balance.after(from.density(), 60.0, grams);
        assert!((closed - density).abs() < 1e-3, "M {capacity}, {grams} g/h: {closed} and {density}");
        let half = f64::midpoint(from.density(), closed);
        let hours = balance.hours_to(from.density(), half, grams).unwrap();
        assert!((balance.after(from.density(), hours, grams) - half).abs() < 1e-9);
    }
}

#[test]
fn steps_of_a_minute_agree_with_the_closed_form() {
    for capacity in [1.0, 5.0, 20.0] {
        let inputs = room(vec![humidifier(250.0, 24.0)], capacity);
        let course = course(&inputs, air(21.0, 75.0), capacity);
        let balance = balance(capacity);
        for hours in [0.0, 0.5, 1.0, 2.0] {
            let closed = balance.after(inputs.now.density(), hours, 250.0);
            assert!((course.density_after(hours) - closed).abs() < 1e-6, "M {capacity}, {hours} h");
        }
        let closed = balance.hours_to(inputs.now.density(), air(21.0, 75.0).density(), 250.0).unwrap();
        assert!((course.hours_to_target().unwrap() - closed).abs() <= 1.0 / 60.0);
    }
}

#[test]
fn a_dehumidifier_takes_less_from_drier_air_as_the_two_published_pairs_say() {
    let pressure = |at: Air| air::vapour_pressure(at.temperature, at.humidity).get();
    let take = |at: Air, rated: Air| (pressure(at) / pressure(rated)).powf(TAKE_EXPONENT);
    // 60 L a day at 35 °C/100 %RH against about 20 at 20 °C/70 %RH; two thirds at 18.3 °C/60 % of what is taken at 26.7 °C/60 %.
    assert!((take(air(20.0, 70.0), air(35.0, 100.0)) - 1.0 / 3.0).abs() < 0.04);
    assert!((take(air(18.3, 60.0), air(26.7, 60.0)) - 2.0 / 3.0).abs() < 0.04);
}

#[test]
fn a_dehumidifier_with_exponent_worked_by_a_constant_take_in_a_narrow_span_agrees_with_the_closed_form() {
    let rated = air(24.0, 70.0);
    let inputs = PlanInputs { now: rated, outside: air(24.0, 70.0), ..room(vec![dehumidifier(200.0, rated)], 10.0) };
    let target = air(24.0, 69.5);
    let stepped = course(&inputs, target, 10.0).hours_to_target().unwrap();
    let closed = balance_of(&inputs, 10.0).hours_to(rated.density(), target.density(), -200.0).unwrap();
    assert!((stepped - closed).abs() < 0.03, "{stepped} and {closed}");
}

#[test]
fn warming_at_the_rooms_own_pace_counts_too_and_dries_the_air() {
    let warm = PlanInputs { now: air(15.0, 50.0), ..room(Vec::new(), 10.0) };
    let warm = PlanInputs { outside: warm.now, ..warm };
    // 15 → 22 °C turns 50 into 32 %RH; 20 → 24 °C turns 50 into 39.
    let aimed = aim(warm.now, (RelHumidity::clamped(1.0), RelHumidity::clamped(99.0)), Celsius::clamped(22.0));
    assert!((aimed.humidity.get() - 32.7).abs() < 0.5, "{aimed:?}");
    let hours = best_hours(reach(&warm, aimed)).unwrap();
    assert!((hours - 7.0 / 3.0).abs() < 1e-6, "{hours}");
    let aimed = aim(air(20.0, 50.0), (RelHumidity::clamped(1.0), RelHumidity::clamped(99.0)), Celsius::clamped(24.0));
    assert!((aimed.humidity.get() - 39.6).abs() < 0.7, "{aimed:?}");
}

#[test]
fn air_that_is_there_is_reached_at_once() {
    let there = PlanInputs { now: air(21.0, 50.0), ..room(vec![humidifier(250.0, 24.0)], 10.0) };
    let aimed = aim(there.now, (RelHumidity::clamped(40.0), RelHumidity::clamped(60.0)), Celsius::clamped(21.0));
    assert_eq!(best_hours(reach(&there, aimed)), Some(0.0));
}

#[test]
fn the_slowest_room_may_never_get_there_and_the_largest_value_is_told() {
    let inputs = PlanInputs { capacity: Capacity::default(), ..room(vec![humidifier(250.0, 13.0)], 10.0) };
    let plateau = best_hours(reach(&inputs, air(21.0, 62.0)));
    assert!(plateau.is_some(), "a room of middling capacity swings high enough by day");
    let Reach::Never { nearest } = reach(&room(vec![humidifier(100.0, 24.0)], 10.0), air(21.0, 60.0)) else {
        panic!("100 g an hour are not enough")
    };
    assert!((nearest - 46.4).abs() < 0.5, "{nearest}");
}

#[test]
fn a_target_that_wets_the_coldest_surface_is_refused() {
    // At 21 °C and 60 %RH water settles below 12.9 °C, at 50 %RH below 10.2; a surface passes 80 %RH below 16.4 and 13.6 °C.
    for (humidity, wet, damp) in [(60.0, 12.9, 16.4), (50.0, 10.2, 13.6)] {
        let target = air(21.0, humidity);
        let at = |surface: f64| Surface::Measured(Celsius::clamped(surface));
        let refused = |surface: f64| guards::refusal(target, air(0.0, 80.0), at(surface));
        assert!(matches!(refused(wet - 0.1), Some(Guard::Condenses { .. })), "{humidity} %RH");
        assert_eq!(refused(wet + 0.1), None, "{humidity} %RH");
        let warned = |surface: f64| {
            warnings(target, air(0.0, 80.0), at(surface)).iter().any(|w| matches!(w, Warning::DampSurface { .. }))
        };
        assert!(warned(damp - 0.1) && !warned(damp + 0.1), "{humidity} %RH");
    }
}

#[test]
fn the_coldest_surface_stands_between_outside_and_inside() {
    let surface = Surface::Factor(guards::SURFACE_FACTOR).celsius(Celsius::clamped(21.0), Celsius::clamped(-4.0));
    assert!((surface - 11.0).abs() < 1e-9, "{surface}");
    let warm_outside = Surface::Factor(0.6).celsius(Celsius::clamped(21.0), Celsius::clamped(35.0));
    assert!((warm_outside - 21.0).abs() < 1e-9, "the coldest surface is then the room itself");
}

#[test]
fn the_highest_humidity_told_is_itself_just_refused_and_a_little_less_is_not() {
    let refusal = |humidity: f64| guards::refusal(air(21.0, humidity), air(-10.0, 80.0), Surface::Factor(0.6));
    let Some(Guard::Condenses { highest, .. }) = refusal(60.0) else { panic!("a skylight in frost gets wet") };
    assert!(refusal(highest + 0.1).is_some() && refusal(highest - 0.1).is_none(), "{highest}");
}

#[test]
fn above_sixty_percent_is_always_warned_of_and_under_twenty_degrees_always_refused() {
    assert_eq!(warnings(air(22.0, 61.0), air(25.0, 50.0), Surface::Factor(1.0)), [Warning::DampRoom]);
    assert!(warnings(air(22.0, 60.0), air(25.0, 50.0), Surface::Factor(1.0)).is_empty());
    let refused = reach(&room(vec![humidifier(250.0, 24.0)], 10.0), air(19.5, 40.0));
    assert_eq!(refused, Reach::Refused(Guard::TooCold));
}

#[test]
fn evaporating_a_quarter_of_a_litre_an_hour_takes_170_watts() {
    assert!((watts_of_evaporation(GramsPerHour::clamped(250.0)).get() - 170.0).abs() < 1.0);
}

fn decay(n: f64, capacity: f64, source: f64, noise: f64) -> Stretch {
    let (volume, outside) = (CubicMetres::clamped(30.0), 4.0);
    let balance = Balance { volume, air_changes: AirChanges::clamped(n), capacity, outside };
    // Every quarter of an hour for twelve hours; the noise alternates and averages out.
    let readings = (0..48)
        .map(|k| (f64::from(k) * 0.25, if k % 2 == 0 { noise } else { -noise }))
        .map(|(hours, noise)| (hours, balance.after(11.0, hours, source) + noise))
        .collect();
    Stretch { readings, outside, source, volume, air_changes: AirChanges::clamped(n) }
}

#[test]
fn a_decay_with_everything_off_tells_the_capacity() {
    for capacity in [3.0, 10.0, 18.0] {
        let found = fit(&decay(0.8, capacity, 0.0, 0.05)).unwrap();
        assert!((found.capacity.best / capacity - 1.0).abs() < 0.05, "{found:?}");
        assert!(found.capacity.low < capacity && capacity < found.capacity.high, "{found:?}");
        assert!(!found.tells_air_change);
    }
}

#[test]
fn a_stretch_with_a_known_source_tells_air_change_and_capacity() {
    let found = fit(&decay(1.2, 6.0, 40.0, 0.02)).unwrap();
    assert!(found.tells_air_change);
    assert!((found.air_changes.get() / 1.2 - 1.0).abs() < 0.1, "{found:?}");
    assert!((found.capacity.best / 6.0 - 1.0).abs() < 0.15, "{found:?}");
}

#[test]
fn what_tells_nothing_says_why() {
    let good = decay(0.8, 10.0, 0.0, 0.05);
    let cut = |from: usize, to: usize| Stretch { readings: good.readings[from..to].to_vec(), ..good.clone() };
    assert_eq!(fit(&cut(0, 5)), Err(Unfit::TooFew(5)));
    assert_eq!(fit(&cut(0, 12)), Err(Unfit::TooShort(2.75)));
    assert!(matches!(fit(&decay(0.8, 10.0, 155.0, 0.05)), Err(Unfit::TooLittleChange(_))));
    assert_eq!(fit(&decay(0.8, 10.0, 0.0, 2.0)), Err(Unfit::NotOneCurve));
    // Somebody opened a window in the middle: away from the outside air instead of towards it.
    let rises = Stretch { outside: 14.0, ..good.clone() };
    assert!(fit(&rises).is_err(), "{:?}", fit(&rises));
}

proptest! {
    #[test]
    fn more_water_is_never_slower_and_more_capacity_never_quicker(
        grams in 20.0..600.0f64, more in 1.0..300.0f64, capacity in 1.0..30.0f64, slower in 0.1..20.0f64, wanted in 12.0..70.0f64,
    ) {
        let time = |grams: f64, capacity: f64| {
            best_hours(reach(&room(vec![humidifier(grams, 24.0)], capacity), air(21.0, wanted))).unwrap_or(f64::INFINITY)
        };
        prop_assert!(time(grams + more, capacity) <= time(grams, capacity));
        prop_assert!(time(grams, capacity + slower) >= time(grams, capacity));
    }

    #[test]
    fn more_air_change_makes_humidifying_slower(n in 0.05..3.0f64, more in 0.01..2.0f64, wanted in 12.0..60.0f64) {
        let time = |n: f64| {
            let inputs = PlanInputs { air_changes: AirChanges::clamped(n), ..room(vec![humidifier(250.0, 24.0)], 10.0) };
            best_hours(reach(&inputs, air(21.0, wanted))).unwrap_or(f64::INFINITY)
        };
        prop_assert!(time(n + more) >= time(n) - 1e-9);
    }

    #[test]
    fn low_best_and_high_stand_in_order_and_no_refused_target_is_ever_reached(
        humidity in 5.0..95.0f64, from in 5.0..95.0f64, wanted in 5.0..95.0f64, out in -15.0..35.0f64, factor in 0.0..1.0f64,
        hours in 4.0..24.0f64,
    ) {
        let inputs = PlanInputs {
            now: air(21.0, from),
            outside: air(out, humidity),
            capacity: Capacity::default(),
            surface: Surface::Factor(factor),
            ..room(vec![humidifier(250.0, hours), dehumidifier(200.0, air(22.0, 60.0))], 10.0)
        };
        let target = air(21.0, wanted);
        let surface = inputs.surface.celsius(target.temperature, inputs.outside.temperature);
        match reach(&inputs, target) {
            Reach::Reached { low, best, high } => {
                prop_assert!(low.get() <= best.get() + 1e-9);
                prop_assert!(high.is_none_or(|high| best.get() <= high.get() + 1e-9));
                prop_assert!(best.get() <= LONGEST_HOURS + 1e-9);
                prop_assert!(humidity_at(target, surface) < 100.0);
            }
            Reach::Never { nearest } => prop_assert!((nearest - wanted).abs() > 1e-6 && nearest.is_finite()),
            Reach::Refused(Guard::Condenses { dew, surface, .. }) => prop_assert!(dew >= surface),
            Reach::Refused(Guard::TooCold) => prop_assert!(false, "21 °C is not cold"),
        }
    }
}
