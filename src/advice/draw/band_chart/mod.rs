//! The working band as a map: where over temperature and humidity a bottle suits these hands, the reading as a cross
//! in a box of its doubt, the day's trail, what the room allows, and an aim. With the same as a table.

mod picture;
#[cfg(test)]
mod tests;
mod told;
mod words;

use crate::advice::band::Band;
use crate::base::chart::Scale;
use crate::base::number::DecimalMark;
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::instrument::Doubt;

/// Width of the picture: about as wide as it is drawn on a phone, so that text keeps its size.
const WIDTH: f64 = 366.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 356.0;
const TOP: f64 = 26.0;
const FOOT: f64 = 294.0;
/// What the map covers, %RH and °C.
const HUMIDITY: (f64, f64) = (20.0, 80.0);
const TEMPERATURE: (f64, f64) = (15.0, 30.0);

/// A point of the map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Temperature.
    pub temperature: Celsius,
    /// Relative humidity.
    pub humidity: RelHumidity,
}

/// The reading on the map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// The air now.
    pub spot: Spot,
    /// How well it is known, as standard uncertainties.
    pub doubt: Doubt,
}

/// A limit of the room as a line over the map: its points from cool to warm, and the words beside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GuardLine<'a> {
    /// "glass wet past here".
    pub words: &'a str,
    /// Humidity not to be passed at each temperature.
    pub points: &'a [Spot],
}

/// What is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Map<'a> {
    /// A word for this picture, unique on the page, of letters and dashes: becomes part of ids.
    pub id: &'a str,
    /// The bottle.
    pub bottle: &'a str,
    /// Its band with these hands.
    pub band: &'a Band,
    /// The reading, if the air is known.
    pub reading: Option<Reading>,
    /// The day's readings, oldest first.
    pub trail: &'a [Spot],
    /// The room's limits.
    pub guards: &'a [GuardLine<'a>],
    /// The air to aim at, if any.
    pub aim: Option<Spot>,
    /// Whether temperatures are shown in °F.
    pub fahrenheit: bool,
    /// The studio's decimal mark.
    pub mark: DecimalMark,
}

/// A row of the table behind the map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// "20 °C".
    pub temperature: String,
    /// "35–41 %RH", or "none".
    pub likely: String,
    /// The same for what may suit.
    pub may: String,
    /// Where the first guard stands at this temperature, or a dash.
    pub guard: String,
}

/// The map and what goes with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// The picture: an `svg` element of classes only, at most 12 kB.
    pub svg: String,
    /// The one finding, also inside the picture as its description.
    pub finding: String,
    /// How to read it.
    pub caption: String,
    /// The same as a table, for 18, 20, 22 and 24 °C.
    pub rows: Vec<TableRow>,
}

/// Draws the map.
#[must_use]
pub fn draw(map: &Map<'_>) -> Drawn {
    let rows = map.band.rows();
    let finding = told::finding(map, &rows);
    let svg = picture::svg(map, &rows, &finding);
    Drawn { svg, caption: told::caption(map), rows: told::table(map, &rows), finding }
}

fn x() -> Scale {
    Scale::new(HUMIDITY, (LEFT, RIGHT))
}

fn y() -> Scale {
    Scale::new(TEMPERATURE, (FOOT, TOP))
}
