//! Which number multiplies which parameter.

use nalgebra::SVector;

use crate::adhesives::{Conditions, Liquid};

/// How many parameters the line has.
pub const PARAMETERS: usize = 10;

/// One row of the design: what each parameter is multiplied by.
pub type Row = SVector<f64, PARAMETERS>;

/// The parameters, in the order in which every vector and matrix here holds them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parameter {
    /// θ: ln seconds at 22 °C, 50 %RH, medium bead, no liquid, freshly opened.
    Reference,
    /// n: exponent of 50/H.
    Humidity,
    /// q: ln of the factor for 10 °C cooler.
    Temperature,
    /// b: ln of the factor for one step of bead.
    Bead,
    /// ln of a liquid's factor.
    Liquid(Liquid),
    /// a: ln of the factor for ten days open.
    Age,
}

impl Parameter {
    /// All, in order of place.
    pub const ALL: [Self; PARAMETERS] = [
        Self::Reference,
        Self::Humidity,
        Self::Temperature,
        Self::Bead,
        Self::Liquid(Liquid::Cleanser),
        Self::Liquid(Liquid::AlcoholPrimer),
        Self::Liquid(Liquid::PhPrimer),
        Self::Liquid(Liquid::Accelerator),
        Self::Liquid(Liquid::Mist),
        Self::Age,
    ];

    /// Place in a row.
    #[must_use]
    pub const fn place(self) -> usize {
        match self {
            Self::Reference => 0,
            Self::Humidity => 1,
            Self::Temperature => 2,
            Self::Bead => 3,
            Self::Liquid(liquid) => 4 + liquid.place(),
            Self::Age => 9,
        }
    }
}

/// ln(50/H), H held to at least 1 %RH: drier air is outside every test and would only feed infinity.
#[inline]
#[must_use]
pub(crate) fn dryness(humidity_pct: f64) -> f64 {
    (50.0 / humidity_pct.clamp(1.0, 100.0)).ln()
}

/// Tens of °C below 22.
#[inline]
#[must_use]
pub(crate) fn coolness(temperature_c: f64) -> f64 {
    (22.0 - temperature_c) / 10.0
}

/// The row of a bond made in these conditions.
///
/// ```
/// use stillroom::adhesives::{Air, Bead, Conditions, Liquids, set_time::{row, Parameter}};
/// use stillroom::base::units::{Celsius, RelHumidity};
/// let air = Air { temperature: Celsius::new(17.0).unwrap(), humidity: RelHumidity::new(25.0).unwrap() };
/// let x = row(&Conditions { air, bead: Bead::Full, liquids: Liquids::NONE, days_open: 5.0 });
/// assert!((x[Parameter::Humidity.place()] - 2.0_f64.ln()).abs() < 1e-12);
/// assert!((x[Parameter::Temperature.place()] - 0.5).abs() < 1e-12);
/// assert!((x[Parameter::Age.place()] - 0.5).abs() < 1e-12);
/// ```
#[must_use]
pub fn row(at: &Conditions) -> Row {
    let mut x = Row::zeros();
    x[Parameter::Reference.place()] = 1.0;
    x[Parameter::Humidity.place()] = dryness(at.air.humidity.get());
    x[Parameter::Temperature.place()] = coolness(at.air.temperature.get());
    x[Parameter::Bead.place()] = f64::from(at.bead.step());
    for liquid in at.liquids.iter() {
        x[Parameter::Liquid(liquid).place()] = 1.0;
    }
    x[Parameter::Age.place()] = at.days_open / 10.0;
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_parameter_has_its_own_place() {
        for (i, p) in Parameter::ALL.into_iter().enumerate() {
            assert_eq!(p.place(), i);
        }
    }
}
