//! A room's air as a picture with the same numbers as a table behind it: humidity and temperature apart, never on one
//! picture with two axes. For a day, a week and thirty days, and a small line of the last 24 hours.

mod finding;
mod picture;
mod spark;
mod table;
mod trace;
mod window;

pub use spark::spark;
pub use table::{Summary, TableRow};
pub use window::{Span, Window};

use crate::base::number::DecimalMark;
use crate::rooms::written::{Quantity, TemperatureUnit};

/// An instant in µs since 1970 and a value in °C or %RH.
pub type Point = (i64, f64);

/// What is drawn: readings after correction, in the order of time.
#[derive(Debug, Clone, Copy)]
pub struct Air<'a> {
    /// Temperature or humidity.
    pub quantity: Quantity,
    /// The readings that are believed, oldest first.
    pub kept: &'a [Point],
    /// The readings set aside, in any order. Values off the axis are drawn at its edge.
    pub set_aside: &'a [Point],
    /// The studio's band, lower and upper end.
    pub band: Option<(f64, f64)>,
    /// The standard uncertainty of the last reading, for its doubt; `None` draws none.
    pub last_doubt: Option<f64>,
    /// When a device was on: from, to.
    pub device_on: &'a [(i64, i64)],
    /// Readings further apart than this, µs, are not joined by a line.
    pub joined_within: i64,
}

/// How it is worded.
#[derive(Debug, Clone, Copy)]
pub struct Wording<'a> {
    /// A word for this chart, unique on the page, of letters and dashes: becomes part of ids.
    pub id: &'a str,
    /// The room's name.
    pub room: &'a str,
    /// In what temperatures are shown.
    pub temperature_unit: TemperatureUnit,
    /// The studio's decimal mark.
    pub decimal_mark: DecimalMark,
}

/// A chart: for a `figure` with the class `chart`, its `figcaption`, and the table behind.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// The picture: an `svg` element of classes only, at most 12 kB.
    pub svg: String,
    /// How to read it, and how long the days are when clocks changed.
    pub caption: String,
    /// The one finding, also inside the picture as its description.
    pub finding: String,
    /// Hours of a day, or days.
    pub rows: Vec<TableRow>,
}

/// Draws a chart.
#[must_use]
pub fn draw(window: &Window, air: &Air<'_>, wording: &Wording<'_>) -> Chart {
    let inside = |points: &[Point]| -> Vec<Point> {
        points.iter().copied().filter(|(at, value)| window.holds(*at) && value.is_finite()).collect()
    };
    let (kept, set_aside) = (inside(air.kept), inside(air.set_aside));
    let air = Air { kept: &kept, set_aside: &set_aside, ..*air };
    let finding = finding::sentence(window, &air, wording);
    Chart {
        svg: picture::svg(window, &air, wording, &finding),
        caption: finding::caption(window, &air),
        rows: table::rows(window, &air),
        finding,
    }
}

impl Wording<'_> {
    /// A value as the page prints it: %RH whole, temperature with one decimal in the studio's unit. Without the unit.
    #[must_use]
    pub fn number(&self, quantity: Quantity, value: f64) -> String {
        match quantity {
            Quantity::Humidity => self.decimal_mark.show(value, 0),
            Quantity::Temperature => self.decimal_mark.show(self.temperature_unit.from_celsius(value), 1),
        }
    }

    /// The unit as the page prints it.
    #[must_use]
    pub const fn unit(&self, quantity: Quantity) -> &'static str {
        match quantity {
            Quantity::Humidity => "%RH",
            Quantity::Temperature => self.temperature_unit.symbol(),
        }
    }

    fn with_unit(&self, quantity: Quantity, value: f64) -> String {
        format!("{}\u{a0}{}", self.number(quantity, value), self.unit(quantity))
    }
}
