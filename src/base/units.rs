//! Quantities. Each newtype names its unit and its range once; only SI stands inside, °F is a matter of forms.

use serde::{Deserialize, Serialize};

use super::number::DecimalMark;

/// A value that is not a number, or lies outside the range of its quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct OutOfRange {
    /// The human name of the quantity, for instance "relative humidity".
    pub quantity: &'static str,
    /// What was given.
    pub given: f64,
    /// The lowest accepted value.
    pub lowest: f64,
    /// The highest accepted value.
    pub highest: f64,
    /// The unit as printed, for instance "%RH".
    pub unit: &'static str,
}

impl std::fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let OutOfRange { quantity, lowest, unit, .. } = self;
        let [given, low, highest] =
            [self.given, self.lowest, self.highest].map(|value| DecimalMark::Point.exact(value));
        if *lowest > 0.0 && *lowest < 1e-9 {
            write!(f, "{quantity} {given} {unit} is not above 0 and at most {highest} {unit}")
        } else {
            write!(f, "{quantity} {given} {unit} is outside {low} to {highest} {unit}")
        }
    }
}

impl std::error::Error for OutOfRange {}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $human:literal, $unit:literal, $lowest:expr, $highest:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            /// The lowest accepted value.
            pub const LOWEST: f64 = $lowest;
            /// The highest accepted value.
            pub const HIGHEST: f64 = $highest;
            /// The unit as printed on pages.
            pub const UNIT: &'static str = $unit;

            /// Takes a number in the unit.
            ///
            /// # Errors
            /// [`OutOfRange`] for anything not finite or outside `LOWEST..=HIGHEST`.
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                if value.is_finite() && (Self::LOWEST..=Self::HIGHEST).contains(&value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange {
                        quantity: $human,
                        given: value,
                        lowest: Self::LOWEST,
                        highest: Self::HIGHEST,
                        unit: $unit,
                    })
                }
            }

            /// Takes a number and moves it to the nearest accepted one; not-a-number becomes the lowest.
            #[must_use]
            pub const fn clamped(value: f64) -> Self {
                if value.is_nan() { Self(Self::LOWEST) } else { Self(value.clamp(Self::LOWEST, Self::HIGHEST)) }
            }

            /// The number in the unit.
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = OutOfRange;
            fn try_from(value: f64) -> Result<Self, OutOfRange> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(value: $name) -> f64 {
                value.0
            }
        }
    };
}

quantity!(
    /// Temperature in degrees Celsius, −20…60: the range in which the air formulas are checked.
    Celsius, "temperature", "°C", -20.0, 60.0
);
quantity!(
    /// Relative humidity in per cent, above 0 up to 100.
    RelHumidity, "relative humidity", "%RH", f64::MIN_POSITIVE, 100.0
);
quantity!(
    /// A span of time in seconds, 0…10⁷.
    Seconds, "time", "s", 0.0, 1e7
);
quantity!(
    /// Water vapour density of air in grams per cubic metre, 0…200.
    GramsPerM3, "vapour density", "g/m³", 0.0, 200.0
);
quantity!(
    /// Pressure in pascals, 0…200 000.
    Pascals, "pressure", "Pa", 0.0, 200_000.0
);

quantity!(
    /// Standard uncertainty of a temperature in kelvins, 0…20: about two in three values lie within it, each way.
    TemperatureDoubt, "standard uncertainty of the temperature", "K", 0.0, 20.0
);
quantity!(
    /// Standard uncertainty of a relative humidity in %RH, 0…60: about two in three values lie within it, each way.
    HumidityDoubt, "standard uncertainty of the humidity", "%RH", 0.0, 60.0
);

quantity!(
    /// A room's volume in cubic metres, 3…2000.
    CubicMetres, "volume", "m³", 3.0, 2000.0
);
quantity!(
    /// How often an hour a room's air is renewed, 0.05…20.
    AirChanges, "air change", "an hour", 0.05, 20.0
);
quantity!(
    /// Water moved in grams an hour, 0…5000.
    GramsPerHour, "water moved", "g an hour", 0.0, 5000.0
);
quantity!(
    /// A span of time in hours, 0…10⁵.
    Hours, "time", "h", 0.0, 1e5
);
quantity!(
    /// Power in watts, 0…10⁵.
    Watts, "power", "W", 0.0, 1e5
);

impl Celsius {
    /// From degrees Fahrenheit.
    ///
    /// # Errors
    /// [`OutOfRange`] when the value in °C is outside the range.
    pub fn from_fahrenheit(value: f64) -> Result<Self, OutOfRange> {
        Self::new((value - 32.0) / 1.8)
    }

    /// In degrees Fahrenheit.
    #[must_use]
    pub fn fahrenheit(self) -> f64 {
        self.0 * 1.8 + 32.0
    }

    /// In kelvins.
    #[must_use]
    pub fn kelvin(self) -> f64 {
        self.0 + 273.15
    }
}

impl TemperatureDoubt {
    /// In degrees Fahrenheit: a difference, so no zero point comes in.
    #[must_use]
    pub fn fahrenheit(self) -> f64 {
        self.0 * 1.8
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_outside_its_range_names_itself_and_the_range() {
        let told = RelHumidity::new(140.0).unwrap_err().to_string();
        assert!(told.starts_with("relative humidity 140 %RH is not above 0 and at most 100"), "{told}");
        assert!(Celsius::new(f64::NAN).is_err());
        let told = Celsius::new(-20.5).unwrap_err().to_string();
        assert_eq!(told, "temperature −20.5 °C is outside −20 to 60 °C");
    }

    #[test]
    fn fahrenheit_and_celsius_agree_at_the_fixed_points() {
        assert!((Celsius::from_fahrenheit(32.0).unwrap().get()).abs() < 1e-12);
        assert!((Celsius::new(22.0).unwrap().fahrenheit() - 71.6).abs() < 1e-9);
    }

    #[test]
    fn a_doubt_of_half_a_kelvin_is_nine_tenths_of_a_degree_fahrenheit() {
        assert!((TemperatureDoubt::clamped(0.5).fahrenheit() - 0.9).abs() < 1e-12);
        assert!(HumidityDoubt::new(-0.1).is_err() && TemperatureDoubt::new(f64::NAN).is_err());
    }
}
