//! `air`: two numbers in, the derived air out.

use super::args::AirArgs;
use super::exit::{Exit, answer};
use crate::base::number::typed_decimal;

/// Reads the numbers, asks, prints.
pub(super) fn air(wanted: &AirArgs) -> Result<(), Exit> {
    let temperature = number("TEMPERATURE", &wanted.temperature)?;
    let humidity = number("HUMIDITY", &wanted.humidity)?;
    let pressure = number("--pressure-pa", &wanted.pressure_pa)?;
    let told = derived(temperature, humidity, pressure, wanted.json).map_err(Exit::Input)?;
    answer(&told)
}

/// The answer in words or as JSON, or the sentence that names the quantity out of range.
fn derived(_temperature: f64, _humidity: f64, _pressure: f64, _json: bool) -> Result<String, String> {
    // Becomes `crate::rooms::air::command(temperature, humidity, pressure, json)`.
    Err("air is not available in this build.".into())
}

fn number(name: &str, text: &str) -> Result<f64, Exit> {
    typed_decimal(text).ok_or_else(|| Exit::Input(format!("{name} {text:?} is not a number, for instance 21.5.")))
}
