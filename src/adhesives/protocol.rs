//! The protocol for learning a bottle: three untouched tests first, then one thing changed at a time, and which of those
//! would tell most in this room. Pure.

use super::set_time::{NextTest, Posterior, TestNext, test_next};
use super::words::{range, sureness};
use super::{Air, Bead, Conditions, Liquid, Liquids};
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::DeviceKind;
use crate::rooms::air::{humidity_holding, vapour_density};
use crate::web::studio::Studio;

/// Untouched tests a bottle needs before anything about it is varied.
pub const BASELINES_FIRST: u32 = 3;

/// How far a room is moved for a test, in %RH and °C: what a device does within a morning (common practice).
const STEP_PCT: f64 = 10.0;
const STEP_C: f64 = 2.0;
/// Never cooler than this, for a client who may lie there next; never damper than this, for the walls.
const COOLEST_C: f64 = 20.0;
const WARMEST_C: f64 = 26.0;
const DRIEST_PCT: f64 = 25.0;
const DAMPEST_PCT: f64 = 60.0;

/// The test to make next, in words.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// What to test.
    pub what: String,
    /// By how much it should narrow the prediction, in seconds and in words.
    pub narrows: String,
    /// The test itself.
    pub test: NextTest,
}

/// The liquids whose test may be asked for: never mist, which is for finished bonds, and an accelerator only where its
/// maker allows one.
#[must_use]
pub fn liquids_to_try(accelerator: Option<bool>) -> Liquids {
    let always = Liquids::NONE.with(Liquid::Cleanser).with(Liquid::AlcoholPrimer).with(Liquid::PhPrimer);
    if accelerator == Some(true) { always.with(Liquid::Accelerator) } else { always }
}

/// Other air that the room's devices can bring, one thing at a time, inside the guards. Warming and cooling keep the
/// water in the air, so that the relative humidity moves with them.
#[must_use]
pub fn reachable(here: Air, devices: &[DeviceKind]) -> Vec<Air> {
    let (temperature, humidity) = (here.temperature.get(), here.humidity.get());
    let water = vapour_density(here.temperature, here.humidity);
    let damped = |pct: f64| (pct - humidity).abs() > 2.0 && (DRIEST_PCT..=DAMPEST_PCT).contains(&pct);
    let at_humidity = |pct: f64| damped(pct).then(|| Air { humidity: RelHumidity::clamped(pct), ..here });
    let at_temperature = |celsius: f64| {
        let warmer = Celsius::clamped(celsius);
        let pct = humidity_holding(water, warmer);
        let moved = (celsius - temperature).abs() > 0.5 && (DRIEST_PCT..=DAMPEST_PCT).contains(&pct);
        moved.then(|| Air { temperature: warmer, humidity: RelHumidity::clamped(pct) })
    };
    let mut found = Vec::new();
    for device in [DeviceKind::Humidifier, DeviceKind::Dehumidifier, DeviceKind::Heater, DeviceKind::Cooler] {
        if devices.contains(&device) {
            found.extend(match device {
                DeviceKind::Humidifier => at_humidity((humidity + STEP_PCT).min(DAMPEST_PCT)),
                DeviceKind::Dehumidifier => at_humidity((humidity - STEP_PCT).max(DRIEST_PCT)),
                DeviceKind::Heater => at_temperature((temperature + STEP_C).min(WARMEST_C)),
                DeviceKind::Cooler => at_temperature((temperature - STEP_C).max(COOLEST_C)),
            });
        }
    }
    found
}

/// The test that would narrow the prediction most in this room, and by how much.
#[must_use]
pub fn next(
    studio: &Studio,
    bottle: &Posterior,
    here: &Conditions,
    accelerator: Option<bool>,
    devices: &[DeviceKind],
) -> Next {
    let found = test_next(bottle, here, liquids_to_try(accelerator), &reachable(here.air, devices));
    Next {
        what: what(studio, found.test, bottle.baselines),
        narrows: narrows(studio, &found, bottle),
        test: found.test,
    }
}

fn what(studio: &Studio, test: NextTest, baselines: u32) -> String {
    match test {
        NextTest::Baseline if baselines < BASELINES_FIRST => {
            let left = BASELINES_FIRST - baselines;
            let times = ["", "once more", "twice more", "three times"][left as usize];
            format!("Test it untouched {times}: medium bead, no liquid, the air as it is. Nothing else before that.")
        }
        NextTest::Baseline => "Test it untouched three times again, in this air and in a new sitting.".to_owned(),
        NextTest::Bead(bead) => format!("Test it three times with a {} bead, nothing else changed.", bead.word()),
        NextTest::Liquid(liquid) => format!("Test it three times with {}, nothing else changed.", liquid.words()),
        NextTest::Air(air) => format!(
            "Test it untouched three times once the room stands at {}\u{a0}{} and {}\u{a0}%RH.",
            studio.number(studio.scale(air.temperature.get()), 0),
            studio.temperature_unit(),
            studio.number(air.humidity.get(), 0)
        ),
    }
}

/// A range that shrinks by less than this share is not worth a promise.
const WORTH: f64 = 0.04;

fn narrows(studio: &Studio, found: &TestNext, bottle: &Posterior) -> String {
    let (now, then) = (found.now, found.then);
    let width = |t: super::set_time::Times| (t.high.get() / t.low.get().max(1e-9)).ln();
    let measured = bottle.tests + bottle.sibling_tests > 0;
    let before = range(studio, now.low.get(), now.high.get());
    let after = range(studio, then.low.get(), then.high.get());
    // What looks the same on the page is no narrowing either.
    if width(then) > width(now) * (1.0 - WORTH) || after == before {
        return format!(
            "It would change little: the likely range here is {before}, most of it the scatter between bonds."
        );
    }
    format!(
        "The likely range here should narrow from {before} ({}) to about {after} ({}).",
        sureness(now, measured),
        sureness(then, true)
    )
}

/// What the bench begins with for a test: bead and liquids.
#[must_use]
pub fn preset(test: NextTest) -> (Bead, Liquids) {
    match test {
        NextTest::Baseline | NextTest::Air(_) => (Bead::Medium, Liquids::NONE),
        NextTest::Bead(bead) => (bead, Liquids::NONE),
        NextTest::Liquid(liquid) => (Bead::Medium, Liquids::NONE.with(liquid)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::set_time::{Prior, SetTest, Sums, TestPiece};
    use crate::base::units::Seconds;

    fn air(t: f64, h: f64) -> Air {
        Air { temperature: Celsius::new(t).unwrap(), humidity: RelHumidity::new(h).unwrap() }
    }

    fn plain() -> Conditions {
        Conditions { air: air(21.0, 38.0), bead: Bead::Medium, liquids: Liquids::NONE, days_open: 2.0 }
    }

    fn baselines(n: u32) -> Posterior {
        let test = |session| SetTest {
            session,
            set: Seconds::new(2.0).unwrap(),
            nudge_every: None,
            piece: TestPiece::PracticeLash,
            conditions: plain(),
        };
        let tests: Vec<_> = (0..n).map(test).collect();
        Posterior::of(&Prior::from_label(None), &Sums::of(&tests))
    }

    #[test]
    fn three_untouched_tests_come_before_anything_else_whatever_the_room_could_do() {
        let studio = Studio::default();
        let full = Conditions { bead: Bead::Full, ..plain() };
        for (n, words) in [(0, "three times"), (1, "twice more"), (2, "once more")] {
            let next = next(&studio, &baselines(n), &full, Some(true), &DeviceKind::ALL);
            assert_eq!(next.test, NextTest::Baseline);
            assert!(next.what.contains(words), "{}", next.what);
            assert_eq!(preset(next.test), (Bead::Medium, Liquids::NONE));
        }
        let after = next(&studio, &baselines(40), &full, Some(true), &[]);
        assert_eq!(after.test, NextTest::Bead(Bead::Full));
        assert!(after.narrows.contains("narrow from") && after.narrows.contains(" to about "), "{}", after.narrows);
    }

    #[test]
    fn a_narrowing_that_would_not_show_is_not_promised() {
        let studio = Studio::default();
        let mut promised = 0;
        for n in 0..60 {
            for here in [plain(), Conditions { bead: Bead::Full, ..plain() }] {
                let narrows = next(&studio, &baselines(n), &here, None, &[]).narrows;
                let Some(ranges) = narrows.strip_prefix("The likely range here should narrow from ") else { continue };
                let (before, after) = ranges.split_once(" to about ").unwrap();
                promised += 1;
                let seconds = |range: &str| range.split(" (").next().unwrap().to_owned();
                assert_ne!(seconds(before), seconds(after), "{n} tests");
            }
        }
        assert!(promised > 3, "nothing was promised at all");
    }

    #[test]
    fn what_can_be_reached_keeps_the_guards_and_moves_one_thing_at_a_time() {
        let here = air(21.0, 55.0);
        let found = reachable(here, &DeviceKind::ALL);
        for reached in &found {
            assert!((COOLEST_C..=WARMEST_C).contains(&reached.temperature.get()), "{reached:?}");
            assert!((DRIEST_PCT..=DAMPEST_PCT).contains(&reached.humidity.get()), "{reached:?}");
        }
        // Damper up to the guard, drier, warmer and so drier, cooler down to the guard and so damper.
        assert_eq!(found.len(), 4, "{found:?}");
        assert!((found[0].humidity.get() - 60.0).abs() < 1e-9);
        assert!(found[2].humidity < here.humidity && found[2].temperature > here.temperature);
        assert!((found[3].temperature.get() - COOLEST_C).abs() < 1e-9 && found[3].humidity > here.humidity);
        assert!(reachable(here, &[]).is_empty());
        assert!(reachable(air(20.2, 59.5), &[DeviceKind::Humidifier, DeviceKind::Cooler]).is_empty());
    }

    #[test]
    fn mist_is_never_asked_for_and_an_accelerator_only_where_its_maker_allows_it() {
        assert!(!liquids_to_try(Some(true)).has(Liquid::Mist));
        assert!(liquids_to_try(Some(true)).has(Liquid::Accelerator));
        assert!(
            !liquids_to_try(Some(false)).has(Liquid::Accelerator) && !liquids_to_try(None).has(Liquid::Accelerator)
        );
    }
}
