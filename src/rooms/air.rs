//! What follows from a temperature and a relative humidity: vapour pressure, dew or frost point, vapour
//! density, wet bulb, humidity ratio.
//!
//! Saturation pressure is that of Hyland and Wexler (1983) in the form printed in the ASHRAE Handbook of
//! Fundamentals 2017, chapter 1, equations 5 (over ice) and 6 (over water), changing over at 0.01 °C. The
//! handbook says 0 °C; there the two pieces do not meet, and an inversion across the step would not settle.
//!
//! Below 0 °C relative humidity is taken over ice. Instruments below freezing usually mean "over water"; a room
//! in which a client lies still never comes near, so the difference is left to this sentence.

use crate::base::number::DecimalMark;
use crate::base::units::{Celsius, GramsPerM3, OutOfRange, Pascals, RelHumidity};

/// Standard sea-level pressure, Pa: what every function without a pressure argument assumes.
pub const SEA_LEVEL_PA: f64 = 101_325.0;

/// The lowest and highest air pressure accepted, Pa: from high mountain towns to the deepest valley, with room to spare.
pub const PRESSURE_RANGE_PA: (f64, f64) = (50_000.0, 120_000.0);

/// Where the formula over ice hands over to the one over water, °C: the triple point.
const TRIPLE_POINT_C: f64 = 0.01;

/// Kelvins at 0 °C.
const ZERO_C_IN_K: f64 = 273.15;

/// Grams of vapour per cubic metre for one pascal at one kelvin: the inverse of water's gas constant, 461.52 J/(kg·K).
const VAPOUR_DENSITY_FACTOR: f64 = 2.16679;

/// Ratio of the molar masses of water and dry air (ASHRAE 2017, chapter 1, equation 20).
const MASS_RATIO: f64 = 0.621_945;

/// The temperature at which this air would be saturated, in °C, and over what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DewPoint {
    /// Above 0 °C: colder surfaces get wet.
    Dew(f64),
    /// At or below 0 °C: colder surfaces get frosted. Under −100 °C (air drier than any instrument can say) the
    /// formula is used outside its range.
    Frost(f64),
}

impl DewPoint {
    /// The temperature in °C, whichever of the two it is.
    #[must_use]
    pub const fn celsius(self) -> f64 {
        match self {
            DewPoint::Dew(at) | DewPoint::Frost(at) => at,
        }
    }

    /// "dew point" or "frost point".
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            DewPoint::Dew(_) => "dew point",
            DewPoint::Frost(_) => "frost point",
        }
    }
}

/// Everything that follows from one reading.
///
/// ```
/// use stillroom::base::units::{Celsius, RelHumidity};
/// use stillroom::rooms::air::Derived;
///
/// let air = Derived::of(Celsius::new(21.0)?, RelHumidity::new(50.0)?);
/// assert!((air.dew.celsius() - 10.2).abs() < 0.05);
/// assert!((air.vapour_density.get() - 9.16).abs() < 0.01);
/// # Ok::<(), stillroom::base::units::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Derived {
    /// Dew point or frost point.
    pub dew: DewPoint,
    /// Partial pressure of water vapour.
    pub vapour_pressure: Pascals,
    /// Mass of water vapour in a cubic metre of this air.
    pub vapour_density: GramsPerM3,
    /// What a thermometer in a wet sock would show, °C. Within 0.03 K of real moist air, except that
    /// where it passes 0 °C two equations meet badly and it may be 0.6 K off.
    pub wet_bulb: f64,
    /// Grams of water vapour per gram of dry air.
    pub humidity_ratio: f64,
}

impl Derived {
    /// What follows from a temperature and a relative humidity at sea-level pressure.
    #[must_use]
    pub fn of(temperature: Celsius, humidity: RelHumidity) -> Derived {
        derive(temperature, humidity, SEA_LEVEL_PA)
    }

    /// The same at another air pressure, which moves the wet bulb and the humidity ratio.
    ///
    /// # Errors
    /// [`OutOfRange`] for a pressure outside 50 000…120 000 Pa.
    pub fn at_pressure(temperature: Celsius, humidity: RelHumidity, pressure: Pascals) -> Result<Derived, OutOfRange> {
        let (lowest, highest) = PRESSURE_RANGE_PA;
        let given = pressure.get();
        if (lowest..=highest).contains(&given) {
            Ok(derive(temperature, humidity, given))
        } else {
            Err(OutOfRange { quantity: "air pressure", given, lowest, highest, unit: Pascals::UNIT })
        }
    }
}

/// Saturation pressure of water vapour: over ice up to 0.01 °C, over water above. Within 0.03 % of IAPWS-95 from
/// 0 to 45 °C.
#[must_use]
pub fn saturation_pressure(temperature: Celsius) -> Pascals {
    Pascals::clamped(ln_saturation(temperature.kelvin()).exp())
}

/// Partial pressure of water vapour: humidity/100 of the saturation pressure.
#[must_use]
pub fn vapour_pressure(temperature: Celsius, humidity: RelHumidity) -> Pascals {
    Pascals::clamped(ln_vapour_pressure(temperature, humidity).exp())
}

/// Dew point (above 0 °C) or frost point, found to better than 1e-4 K.
#[must_use]
pub fn dew_point(temperature: Celsius, humidity: RelHumidity) -> DewPoint {
    // At saturation rounding must not put the dew point above the air's own temperature.
    let at = saturated_at(ln_vapour_pressure(temperature, humidity)).min(temperature.get());
    if at > 0.0 { DewPoint::Dew(at) } else { DewPoint::Frost(at) }
}

/// Water vapour in a cubic metre of air, by the ideal gas law: 2.16679·e/T. About 0.5 % below real moist air
/// (0.57 % at 45 °C and 95 %RH), since it leaves out what the presence of air adds to saturation.
#[must_use]
pub fn vapour_density(temperature: Celsius, humidity: RelHumidity) -> GramsPerM3 {
    let pressure = vapour_pressure(temperature, humidity).get();
    GramsPerM3::clamped(VAPOUR_DENSITY_FACTOR * pressure / temperature.kelvin())
}

/// The relative humidity, in %RH, of air that holds this much vapour at this temperature.
///
/// Not clamped: above 100 means that the vapour cannot stay in the air.
#[must_use]
pub fn humidity_holding(density: GramsPerM3, temperature: Celsius) -> f64 {
    let pressure = density.get() * temperature.kelvin() / VAPOUR_DENSITY_FACTOR;
    100.0 * pressure / saturation_pressure(temperature).get()
}

/// The answer of `stillroom air TEMPERATURE HUMIDITY`: sentences, or one line of JSON.
///
/// # Errors
/// One sentence naming the value that lies outside −20…60 °C or 0…100 %RH.
pub fn command(temperature: f64, humidity: f64, pressure_pa: f64, json: bool) -> Result<String, String> {
    let temperature = Celsius::new(temperature).map_err(|wrong| wrong.to_string())?;
    let humidity = RelHumidity::new(humidity).map_err(|wrong| wrong.to_string())?;
    let pressure = Pascals::new(pressure_pa).map_err(|wrong| wrong.to_string())?;
    let air = Derived::at_pressure(temperature, humidity, pressure).map_err(|wrong| wrong.to_string())?;
    Ok(if json { as_json(&air) } else { as_lines(temperature, humidity, pressure, &air) })
}

fn as_json(air: &Derived) -> String {
    let at = Some(rounded(air.dew.celsius(), 4));
    let (dew, frost) = match air.dew {
        DewPoint::Dew(_) => (at, None),
        DewPoint::Frost(_) => (None, at),
    };
    serde_json::json!({
        "dew_point_c": dew,
        "frost_point_c": frost,
        "vapour_pressure_pa": rounded(air.vapour_pressure.get(), 3),
        "vapour_density_g_m3": rounded(air.vapour_density.get(), 4),
        "wet_bulb_c": rounded(air.wet_bulb, 4),
    })
    .to_string()
}

fn as_lines(temperature: Celsius, humidity: RelHumidity, pressure: Pascals, air: &Derived) -> String {
    let pressure = match pressure.get() {
        given if (given - SEA_LEVEL_PA).abs() < 0.05 => "sea-level pressure".to_owned(),
        given => format!("{} Pa", rounded(given, 1)),
    };
    let falls = match air.dew {
        DewPoint::Dew(_) => "colder surfaces get wet",
        DewPoint::Frost(_) => "colder surfaces get frosted",
    };
    let degrees = |celsius: f64| DecimalMark::Point.show(celsius, 1);
    format!(
        "Air at {} °C and {} %RH, at {pressure}\n  \
         {:<16}{:>8} °C     {falls}\n  \
         {:<16}{:>8.0} Pa\n  \
         {:<16}{:>8.2} g/m³\n  \
         {:<16}{:>8} °C\n  \
         {:<16}{:>8.2} g of water in 1 kg of dry air",
        degrees(temperature.get()),
        rounded(humidity.get(), 1),
        air.dew.word(),
        degrees(air.dew.celsius()),
        "vapour pressure",
        air.vapour_pressure.get(),
        "vapour density",
        air.vapour_density.get(),
        "wet bulb",
        degrees(air.wet_bulb),
        "humidity ratio",
        air.humidity_ratio * 1000.0,
    )
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let step = 10f64.powi(decimals);
    (value * step).round() / step
}

fn derive(temperature: Celsius, humidity: RelHumidity, pressure: f64) -> Derived {
    let dew = dew_point(temperature, humidity);
    let vapour_pressure = vapour_pressure(temperature, humidity);
    let humidity_ratio = ratio(vapour_pressure.get(), pressure);
    Derived {
        dew,
        vapour_pressure,
        vapour_density: vapour_density(temperature, humidity),
        wet_bulb: wet_bulb(temperature.get(), dew.celsius(), humidity_ratio, pressure),
        humidity_ratio,
    }
}

/// ASHRAE 2017, chapter 1, equation 20. The accepted ranges keep the vapour's part below half the pressure.
fn ratio(vapour: f64, pressure: f64) -> f64 {
    MASS_RATIO * vapour / (pressure - vapour)
}

/// The wet bulb between the dew point and the air's temperature, by halving (ASHRAE 2017, chapter 1, equations 33
/// and 35). The two equations do not meet at 0 °C, so near it several temperatures may serve; halving takes one.
fn wet_bulb(air: f64, dew: f64, humidity_ratio: f64, pressure: f64) -> f64 {
    let (mut low, mut high) = (dew, air);
    while high - low > 1e-6 {
        let middle = f64::midpoint(low, high);
        if ratio_at_wet_bulb(air, middle, pressure) > humidity_ratio {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}

/// The humidity ratio that air at `air` °C has when its wet bulb shows `wet` °C.
fn ratio_at_wet_bulb(air: f64, wet: f64, pressure: f64) -> f64 {
    let saturated = ratio(ln_saturation(wet + ZERO_C_IN_K).exp(), pressure);
    if wet >= 0.0 {
        ((2501.0 - 2.326 * wet) * saturated - 1.006 * (air - wet)) / (2501.0 + 1.86 * air - 4.186 * wet)
    } else {
        ((2830.0 - 0.24 * wet) * saturated - 1.006 * (air - wet)) / (2830.0 + 1.86 * air - 2.1 * wet)
    }
}

/// Logarithm of the vapour pressure in Pa. In logs the driest air does not underflow.
fn ln_vapour_pressure(temperature: Celsius, humidity: RelHumidity) -> f64 {
    ln_saturation(temperature.kelvin()) + humidity.get().ln() - 100f64.ln()
}

/// Logarithm of the saturation pressure in Pa at a temperature in K.
fn ln_saturation(kelvin: f64) -> f64 {
    if kelvin <= TRIPLE_POINT_C + ZERO_C_IN_K { over_ice(kelvin).0 } else { over_water(kelvin).0 }
}

/// Equation 5: ln p over ice, and its slope per kelvin.
fn over_ice(t: f64) -> (f64, f64) {
    let value =
        -5674.5359 / t + 6.392_524_7 - 9.677_843e-3 * t + 6.221_570_1e-7 * t.powi(2) + 2.074_782_5e-9 * t.powi(3)
            - 9.484_024e-13 * t.powi(4)
            + 4.163_501_9 * t.ln();
    let slope = 5674.5359 / t.powi(2) - 9.677_843e-3 + 2.0 * 6.221_570_1e-7 * t + 3.0 * 2.074_782_5e-9 * t.powi(2)
        - 4.0 * 9.484_024e-13 * t.powi(3)
        + 4.163_501_9 / t;
    (value, slope)
}

/// Equation 6: ln p over water, and its slope per kelvin.
fn over_water(t: f64) -> (f64, f64) {
    let value = -5800.2206 / t + 1.391_499_3 - 4.864_023_9e-2 * t + 4.176_476_8e-5 * t.powi(2)
        - 1.445_209_3e-8 * t.powi(3)
        + 6.545_967_3 * t.ln();
    let slope = 5800.2206 / t.powi(2) - 4.864_023_9e-2 + 2.0 * 4.176_476_8e-5 * t - 3.0 * 1.445_209_3e-8 * t.powi(2)
        + 6.545_967_3 / t;
    (value, slope)
}

/// The temperature, °C, at which the saturation pressure has this logarithm.
///
/// Newton's steps are taken in 1/T, in which ln p is nearly a straight line, so three or four reach the last digit.
fn saturated_at(ln_pressure: f64) -> f64 {
    let triple = TRIPLE_POINT_C + ZERO_C_IN_K;
    let water = ln_pressure > over_water(triple).0;
    let formula = if water { over_water } else { over_ice };
    let mut inverse = 1.0 / triple;
    for _ in 0..50 {
        let kelvin = 1.0 / inverse;
        let (value, slope) = formula(kelvin);
        // d(ln p)/d(1/T) = −T²·d(ln p)/dT
        let step = (value - ln_pressure) / (slope * kelvin * kelvin);
        inverse += step;
        if step.abs() < 1e-14 * inverse.abs() {
            break;
        }
    }
    let celsius = 1.0 / inverse - ZERO_C_IN_K;
    if water { celsius } else { celsius.min(TRIPLE_POINT_C) }
}
