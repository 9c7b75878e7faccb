//! How devices and files write a temperature or a humidity: decimal point or comma, a unit behind the number, °F,
//! a fraction instead of per cent. Only °C and %RH go further in.

use serde::{Deserialize, Serialize};

/// The two quantities of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Quantity {
    /// Air temperature.
    Temperature,
    /// Relative humidity.
    Humidity,
}

impl Quantity {
    /// The word used on pages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Quantity::Temperature => "temperature",
            Quantity::Humidity => "humidity",
        }
    }
}

/// In what a device writes its temperature.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TemperatureUnit {
    /// Degrees Celsius.
    #[default]
    Celsius,
    /// Degrees Fahrenheit.
    Fahrenheit,
}

impl TemperatureUnit {
    /// The unit as printed.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            TemperatureUnit::Celsius => "°C",
            TemperatureUnit::Fahrenheit => "°F",
        }
    }

    /// A number in this unit as °C, not yet checked against any range.
    #[must_use]
    pub fn to_celsius(self, value: f64) -> f64 {
        match self {
            TemperatureUnit::Celsius => value,
            TemperatureUnit::Fahrenheit => (value - 32.0) / 1.8,
        }
    }

    /// A temperature in °C as a number in this unit.
    #[must_use]
    pub fn from_celsius(self, celsius: f64) -> f64 {
        match self {
            TemperatureUnit::Celsius => celsius,
            TemperatureUnit::Fahrenheit => celsius * 1.8 + 32.0,
        }
    }

    /// A difference in kelvins as a number in this unit.
    #[must_use]
    pub fn from_kelvins(self, kelvins: f64) -> f64 {
        match self {
            TemperatureUnit::Celsius => kelvins,
            TemperatureUnit::Fahrenheit => kelvins * 1.8,
        }
    }
}

/// In what a device writes its humidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HumidityUnit {
    /// Per cent, 0…100.
    #[default]
    Percent,
    /// A fraction, 0…1.
    Fraction,
}

impl HumidityUnit {
    /// A number in this unit as %RH, not yet checked against any range.
    #[must_use]
    pub fn to_percent(self, value: f64) -> f64 {
        match self {
            HumidityUnit::Percent => value,
            HumidityUnit::Fraction => value * 100.0,
        }
    }
}

/// A unit found behind a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suffix {
    /// °C or °F.
    Temperature(TemperatureUnit),
    /// A per cent sign, with or without RH.
    Percent,
}

impl Suffix {
    /// The unit as printed.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Suffix::Temperature(unit) => unit.symbol(),
            Suffix::Percent => "%",
        }
    }
}

/// A number as it was written, with the unit that stood behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written {
    /// The number.
    pub value: f64,
    /// The unit, if one was written.
    pub suffix: Option<Suffix>,
}

/// The longest text taken for a number, in bytes.
const LONGEST_NUMBER: usize = 40;

/// Reads "27.3", "27,3", "−4", "2.73e1", "27.3 °C", "44 %RH".
///
/// `None` for anything else: words, two separators ("1,234.5" may mean two things), not-a-number, infinities.
#[must_use]
pub fn number(text: &str) -> Option<Written> {
    let text = text.trim();
    if text.len() > LONGEST_NUMBER {
        return None;
    }
    let ends = text.find(|c: char| !(c.is_ascii_digit() || "+-−.,eE".contains(c))).unwrap_or(text.len());
    let (digits, rest) = text.split_at(ends);
    let suffix = match rest.trim() {
        "" => None,
        unit => Some(suffix(unit)?),
    };
    Some(Written { value: plain(digits)?, suffix })
}

/// The number alone. Most are written with a point already, which needs no copy.
fn plain(digits: &str) -> Option<f64> {
    let first = digits.trim_start_matches(['+', '-', '−']).chars().next()?;
    if !(first.is_ascii_digit() || first == '.' || first == ',') {
        return None;
    }
    let value: f64 = if digits.contains([',', '−']) {
        if digits.matches(['.', ',']).count() > 1 {
            return None;
        }
        digits.replace(',', ".").replace('−', "-").parse().ok()?
    } else {
        digits.parse().ok()?
    };
    value.is_finite().then_some(value)
}

fn suffix(unit: &str) -> Option<Suffix> {
    Some(match unit {
        "°C" | "ºC" | "° C" | "℃" | "C" | "c" | "degC" => Suffix::Temperature(TemperatureUnit::Celsius),
        "°F" | "ºF" | "° F" | "℉" | "F" | "f" | "degF" => Suffix::Temperature(TemperatureUnit::Fahrenheit),
        "%" | "%RH" | "% RH" | "%rh" | "% rh" | "%rF" | "% rF" | "RH" | "%HR" | "% HR" => Suffix::Percent,
        _ => return None,
    })
}

/// At most forty characters of what was given, on one line, for a sentence that repeats it.
#[must_use]
pub fn excerpt(text: &str) -> String {
    let mut short: String =
        text.chars().take(40).map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_owned();
    if text.chars().nth(40).is_some() {
        short.push('…');
    }
    short
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: Option<(f64, Option<Suffix>)>) {
        let found = number(text).map(|written| (written.value, written.suffix));
        assert_eq!(found, expected, "{text:?}");
    }

    #[test]
    fn numbers_are_read_as_devices_write_them() {
        let celsius = Some(Suffix::Temperature(TemperatureUnit::Celsius));
        let fahrenheit = Some(Suffix::Temperature(TemperatureUnit::Fahrenheit));
        check("27.3", Some((27.3, None)));
        check(" 27,3 ", Some((27.3, None)));
        check("-4", Some((-4.0, None)));
        check("−4,5", Some((-4.5, None)));
        check("+4.5", Some((4.5, None)));
        check("2.73e1", Some((27.3, None)));
        check(".5", Some((0.5, None)));
        check("27.3 °C", Some((27.3, celsius)));
        check("80°F", Some((80.0, fahrenheit)));
        check("44 %RH", Some((44.0, Some(Suffix::Percent))));
    }

    #[test]
    fn what_is_no_number_or_could_be_two_is_not_read() {
        for text in
            ["", "-", "abc", "nan", "inf", "-inf", "1,234.5", "1.2.3", "1,2,3", "27.3 kg", "e5", "1e999", "0x10"]
        {
            check(text, None);
        }
        check(&"1".repeat(41), None);
    }

    #[test]
    fn an_excerpt_is_short_and_stays_on_one_line() {
        assert_eq!(excerpt("a\nb"), "a b");
        assert_eq!(excerpt(&"x".repeat(50)).chars().count(), 41);
    }
}
