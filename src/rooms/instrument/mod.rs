//! Hygrometers and thermometers: checks over saturated salts, the correction that follows, and how much a reading
//! can be doubted. Numbers in, numbers out; an age enters as days or hours.

use serde::{Deserialize, Serialize};

use crate::base::units::{Celsius, HumidityDoubt, OutOfRange, RelHumidity, TemperatureDoubt};

/// A salt whose saturated solution keeps the air in a closed box at a known humidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Salt {
    /// LiCl, about 11 %RH.
    LithiumChloride,
    /// MgCl₂, about 33 %RH: the lower one of the pair to prefer.
    MagnesiumChloride,
    /// K₂CO₃, about 43 %RH.
    PotassiumCarbonate,
    /// NaCl, about 75 %RH: the upper one of the pair to prefer.
    SodiumChloride,
    /// KCl, about 84 %RH.
    PotassiumChloride,
}

/// The temperatures, °C, of the columns of [`Salt::column`].
const SALT_TEMPERATURES: [f64; 4] = [15.0, 20.0, 25.0, 30.0];

impl Salt {
    /// All of them, driest first.
    pub const ALL: [Salt; 5] = [
        Salt::LithiumChloride,
        Salt::MagnesiumChloride,
        Salt::PotassiumCarbonate,
        Salt::SodiumChloride,
        Salt::PotassiumChloride,
    ];

    /// The word it is stored and sent under.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Salt::LithiumChloride => "lithium_chloride",
            Salt::MagnesiumChloride => "magnesium_chloride",
            Salt::PotassiumCarbonate => "potassium_carbonate",
            Salt::SodiumChloride => "sodium_chloride",
            Salt::PotassiumChloride => "potassium_chloride",
        }
    }

    /// The salt stored under a word.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Salt> {
        Salt::ALL.into_iter().find(|salt| salt.key() == key)
    }

    /// Name and formula, as printed.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Salt::LithiumChloride => "lithium chloride (LiCl)",
            Salt::MagnesiumChloride => "magnesium chloride (MgCl₂)",
            Salt::PotassiumCarbonate => "potassium carbonate (K₂CO₃)",
            Salt::SodiumChloride => "table salt, sodium chloride (NaCl)",
            Salt::PotassiumChloride => "potassium chloride (KCl)",
        }
    }

    /// The humidity over the solution at the box's temperature, between the table's columns by a straight line.
    ///
    /// Greenspan 1977 (J. Res. NBS 81A, 89–96). The table's values are from memory; those that could be compared
    /// with two other published tables agree within 0.2 %RH at 25 °C.
    ///
    /// # Errors
    /// [`OutOfRange`] for a box outside 15…30 °C.
    pub fn humidity(self, chamber: Celsius) -> Result<RelHumidity, OutOfRange> {
        let given = chamber.get();
        let [lowest, .., highest] = SALT_TEMPERATURES;
        if !(lowest..=highest).contains(&given) {
            return Err(OutOfRange { quantity: "temperature of the box", given, lowest, highest, unit: Celsius::UNIT });
        }
        let column = self.column();
        let left = SALT_TEMPERATURES.iter().rposition(|t| *t <= given).unwrap_or(0).min(SALT_TEMPERATURES.len() - 2);
        let share = (given - SALT_TEMPERATURES[left]) / (SALT_TEMPERATURES[left + 1] - SALT_TEMPERATURES[left]);
        RelHumidity::new(column[left] + share * (column[left + 1] - column[left]))
    }

    /// The stated uncertainty of the table's value at 20 °C, %RH.
    #[must_use]
    pub const fn stated_uncertainty(self) -> f64 {
        match self {
            Salt::LithiumChloride => 0.31,
            Salt::MagnesiumChloride => 0.18,
            Salt::PotassiumCarbonate => 0.33,
            Salt::SodiumChloride => 0.14,
            Salt::PotassiumChloride => 0.29,
        }
    }

    const fn column(self) -> [f64; 4] {
        match self {
            Salt::LithiumChloride => [11.30, 11.31, 11.30, 11.28],
            Salt::MagnesiumChloride => [33.30, 33.07, 32.78, 32.44],
            Salt::PotassiumCarbonate => [43.15, 43.16, 43.16, 43.17],
            Salt::SodiumChloride => [75.61, 75.47, 75.29, 75.09],
            Salt::PotassiumChloride => [85.92, 85.11, 84.34, 83.62],
        }
    }
}

/// One look at an instrument next to something better known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckPoint {
    /// What the air really was: a salt's humidity, or a better instrument's reading (R).
    pub reference: RelHumidity,
    /// What the instrument showed (M).
    pub shown: RelHumidity,
}

impl CheckPoint {
    /// How far its reference lies from another's, %RH.
    #[must_use]
    pub fn apart_from(&self, other: Self) -> f64 {
        (self.reference.get() - other.reference.get()).abs()
    }
}

/// Why two check points give no correction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CheckRefused {
    /// Both points are at the same reading, so there is no line through them.
    SamePoint,
    /// The instrument stretches or squeezes too much to be trusted in between. Holds the slope.
    Slope(f64),
}

impl std::fmt::Display for CheckRefused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            CheckRefused::SamePoint => f.write_str(
                "Both points show the same humidity, so no line goes through them. The earlier correction stays. \
                 Use two salts that lie apart, such as magnesium chloride and table salt.",
            ),
            CheckRefused::Slope(slope) => write!(
                f,
                "Ten per cent more humidity would count as {:.1} per cent, which no correction mends. The earlier \
                 correction stays. Repeat the check with more time in the box; if it comes out the same, replace \
                 the instrument.",
                10.0 * slope
            ),
        }
    }
}

impl std::error::Error for CheckRefused {}

/// How far the slope of a two-point check may be from 1.
const SLOPE_TOLERANCE: f64 = 0.2;

/// How far outside its two points a correction is still used without a flag, %RH.
const BEYOND_POINTS: f64 = 10.0;

/// What is done to a shown humidity before it is believed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Correction {
    /// Nothing: never checked.
    #[default]
    None,
    /// One point: a constant is added (R − M), %RH.
    Offset(f64),
    /// Two points: the line through both.
    Line {
        /// The point with the lower reading.
        low: CheckPoint,
        /// The point with the higher reading.
        high: CheckPoint,
    },
}

/// A corrected humidity and what has to be said with it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Corrected {
    /// The humidity to use.
    pub humidity: RelHumidity,
    /// The reading lies more than 10 %RH outside the two points the line was drawn through.
    pub outside_checked_range: bool,
    /// The correction led past 0 or 100 %RH and was stopped there.
    pub stopped_at_limit: bool,
}

impl Correction {
    /// The correction of a one-point check: c = m + (R − M).
    #[must_use]
    pub fn one_point(point: CheckPoint) -> Correction {
        Correction::Offset(point.reference.get() - point.shown.get())
    }

    /// The correction of a two-point check: c = R₁ + (m − M₁)(R₂ − R₁)/(M₂ − M₁).
    ///
    /// # Errors
    /// [`CheckRefused`] when both readings are the same, or the slope is more than 0.2 away from 1.
    pub fn two_points(one: CheckPoint, other: CheckPoint) -> Result<Correction, CheckRefused> {
        let (low, high) = if one.shown.get() <= other.shown.get() { (one, other) } else { (other, one) };
        let apart = high.shown.get() - low.shown.get();
        if apart <= 0.0 {
            return Err(CheckRefused::SamePoint);
        }
        let slope = (high.reference.get() - low.reference.get()) / apart;
        // A hair of tolerance, so that a slope of exactly 1.2 is not refused for its last binary digit.
        if (slope - 1.0).abs() > SLOPE_TOLERANCE + 1e-9 {
            return Err(CheckRefused::Slope(slope));
        }
        Ok(Correction::Line { low, high })
    }

    /// What a shown humidity really means.
    ///
    /// ```
    /// use stillroom::base::units::RelHumidity;
    /// use stillroom::rooms::instrument::{CheckPoint, Correction};
    ///
    /// let point = CheckPoint { reference: RelHumidity::new(75.5)?, shown: RelHumidity::new(72.0)? };
    /// let read = Correction::one_point(point).apply(RelHumidity::new(38.0)?);
    /// assert!((read.humidity.get() - 41.5).abs() < 1e-9);
    /// # Ok::<(), stillroom::base::units::OutOfRange>(())
    /// ```
    #[must_use]
    pub fn apply(&self, shown: RelHumidity) -> Corrected {
        let m = shown.get();
        let (value, outside_checked_range) = match self {
            Correction::None => (m, false),
            Correction::Offset(added) => (m + added, false),
            Correction::Line { low, high } => {
                let (m1, m2) = (low.shown.get(), high.shown.get());
                let (r1, r2) = (low.reference.get(), high.reference.get());
                let outside = m < m1 - BEYOND_POINTS || m > m2 + BEYOND_POINTS;
                (r1 + (m - m1) * (r2 - r1) / (m2 - m1), outside)
            }
        };
        let humidity = RelHumidity::clamped(value);
        let stopped_at_limit = (humidity.get() - value).abs() > 1e-9;
        Corrected { humidity, outside_checked_range, stopped_at_limit }
    }
}

/// Where an instrument hangs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Beside the bed, where the work is.
    AtTheBed,
    /// On the wall: the air at the bed may differ.
    OnTheWall,
    /// On the wall, and compared with the air at the bed.
    OnTheWallCompared,
}

/// What is known of an instrument at one instant, as far as it matters for doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Days since its humidity was last checked; `None` if never.
    pub humidity_checked_days_ago: Option<f64>,
    /// Whether its temperature was ever compared with a better thermometer.
    pub temperature_checked: bool,
    /// Days since it was taken into use; counts only while it has never been checked.
    pub age_days: f64,
    /// Where it hangs.
    pub place: Place,
    /// The studio's own standard uncertainty of its humidity, %RH, instead of the rules.
    pub own_humidity: Option<HumidityDoubt>,
    /// The studio's own standard uncertainty of its temperature, K, instead of the rules.
    pub own_temperature: Option<TemperatureDoubt>,
}

/// Standard uncertainties of one reading: about two in three lie within one of them, eight in ten within 1.28.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doubt {
    /// Of the humidity.
    pub humidity: HumidityDoubt,
    /// Of the temperature.
    pub temperature: TemperatureDoubt,
}

/// How many standard uncertainties hold eight values in ten, each way.
pub const LIKELY: f64 = 1.281_551_565_544_6;

/// An accepted reading after correction, with its doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// The temperature to use.
    pub temperature: Celsius,
    /// The humidity to use and what has to be said with it.
    pub humidity: Corrected,
    /// How far both can be doubted.
    pub doubt: Doubt,
}

const DAYS_A_YEAR: f64 = 365.25;

impl Known {
    /// The doubt of a reading that is `hours_beyond_limit` hours older than the studio's limit (0 when fresh).
    ///
    /// Humidity: 1.5 %RH when checked within 12 months, 2.5 when checked earlier, else 5/√3 plus 1.5 for each year
    /// of age up to 6; temperature: 0.3 K checked, 0.5 K not; the studio's own values come before these. A wall
    /// adds 3 %RH in quadrature until compared with the bed. Each hour beyond the limit, at most 24, adds 2 %RH and
    /// 0.5 K in quadrature. Assumptions after makers' claims for cheap sensors, not measurements of this instrument.
    #[must_use]
    pub fn doubt(&self, hours_beyond_limit: f64) -> Doubt {
        let hours = hours_beyond_limit.clamp(0.0, 24.0);
        let wall = if self.place == Place::OnTheWall { 3.0 } else { 0.0 };
        let humidity = self.own_humidity.map_or_else(|| self.humidity_by_rule(), HumidityDoubt::get);
        let by_rule = if self.temperature_checked { 0.3 } else { 0.5 };
        let temperature = self.own_temperature.map_or(by_rule, TemperatureDoubt::get);
        Doubt {
            humidity: HumidityDoubt::clamped(humidity.hypot(wall).hypot(2.0 * hours)),
            temperature: TemperatureDoubt::clamped(temperature.hypot(0.5 * hours)),
        }
    }

    fn humidity_by_rule(&self) -> f64 {
        match self.humidity_checked_days_ago {
            Some(days) if days <= DAYS_A_YEAR => 1.5,
            Some(_) => 2.5,
            None => (5.0 / 3f64.sqrt() + 1.5 * self.age_days.max(0.0) / DAYS_A_YEAR).min(6.0),
        }
    }

    /// What an accepted reading means: corrected, and with its doubt.
    #[must_use]
    pub fn measured(
        &self,
        temperature: Celsius,
        humidity: RelHumidity,
        correction: &Correction,
        added_kelvins: f64,
        hours_beyond_limit: f64,
    ) -> Measured {
        Measured {
            temperature: Celsius::clamped(temperature.get() + added_kelvins),
            humidity: correction.apply(humidity),
            doubt: self.doubt(hours_beyond_limit),
        }
    }

    /// One sentence on the state of its check, for the page.
    #[must_use]
    pub fn check_sentence(&self) -> String {
        match self.humidity_checked_days_ago {
            None => "Never checked: counts as 5 %RH off either way, and more with age.".to_owned(),
            Some(days) if days <= DAYS_A_YEAR => format!("Checked {}.", days_ago(days)),
            Some(days) => format!("Checked {}: check it again, its readings are doubted more.", days_ago(days)),
        }
    }
}

fn days_ago(days: f64) -> String {
    match days {
        d if d < 1.0 => "today".to_owned(),
        d if d < 2.0 => "yesterday".to_owned(),
        d if d < 90.0 => format!("{:.0} days ago", d.floor()),
        d => format!("{:.0} months ago", (d / DAYS_A_YEAR * 12.0).floor()),
    }
}

#[cfg(test)]
mod tests;
