//! Air in which a bottle was never tested here. Pure: the one edge for the bottle's page, the advice and the day sheet.

use super::Air;

/// How far outside the tested range, in %RH or °C, counts as never tested there.
const BEYOND: f64 = 2.0;

/// On which side of its tests an air lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Untested {
    /// Drier than in any test.
    Dry,
    /// Damper.
    Damp,
    /// Cooler.
    Cool,
    /// Warmer.
    Warm,
}

impl Untested {
    /// "never tested this dry here".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dry => "never tested this dry here",
            Self::Damp => "never tested this damp here",
            Self::Cool => "never tested this cool here",
            Self::Warm => "never tested this warm here",
        }
    }
}

/// What an air has that no test had, humidity first: from the driest and dampest %RH tested, and the coolest and warmest °C. Nothing
/// for a bottle without tests, whose every air is untested.
#[must_use]
pub fn untested(humidity_pct: Option<(f64, f64)>, temperature_c: Option<(f64, f64)>, air: &Air) -> Vec<Untested> {
    let beyond = |range: Option<(f64, f64)>, now: f64, [below, above]: [Untested; 2]| {
        let (low, high) = range?;
        if now < low - BEYOND {
            return Some(below);
        }
        (now > high + BEYOND).then_some(above)
    };
    [
        beyond(humidity_pct, air.humidity.get(), [Untested::Dry, Untested::Damp]),
        beyond(temperature_c, air.temperature.get(), [Untested::Cool, Untested::Warm]),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::units::{Celsius, RelHumidity};

    fn said(temperature: f64, humidity: f64) -> Vec<Untested> {
        let air = Air { temperature: Celsius::clamped(temperature), humidity: RelHumidity::clamped(humidity) };
        untested(Some((40.0, 45.0)), Some((21.0, 22.0)), &air)
    }

    #[test]
    fn two_beyond_the_tests_is_still_tested_and_more_is_not() {
        for (temperature, humidity) in [(21.5, 42.0), (21.5, 38.0), (21.5, 47.0), (19.0, 42.0), (24.0, 42.0)] {
            assert_eq!(said(temperature, humidity), [], "{temperature} {humidity}");
        }
        assert_eq!(said(21.5, 37.99), [Untested::Dry]);
        assert_eq!(said(21.5, 47.01), [Untested::Damp]);
        assert_eq!(said(18.99, 42.0), [Untested::Cool]);
        assert_eq!(said(24.01, 42.0), [Untested::Warm]);
        assert_eq!(said(30.0, 20.0), [Untested::Dry, Untested::Warm]);
    }

    #[test]
    fn without_tests_nothing_is_said() {
        let air = Air { temperature: Celsius::clamped(35.0), humidity: RelHumidity::clamped(5.0) };
        assert_eq!(untested(None, None, &air), []);
    }
}
