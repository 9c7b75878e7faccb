//! Hands as pictures: against a bottle on one axis of seconds, and session by session. Pure: SVG of classes only, the
//! same numbers as a table behind each.

mod against;
mod sessions;

use std::fmt::Write as _;

pub use against::{DOTS, Times, dots_between, dots_of, hands_against};
pub use sessions::{Pooled, Row, Spread, sessions};

use crate::base::chart::{Px, Scale, escaped, round_span};
use crate::base::number::DecimalMark;

/// A picture: for a `figure` with the class `chart`, its `figcaption`, and the table behind.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chart {
    /// The picture: an `svg` element of classes only, at most 12 kB.
    pub svg: String,
    /// How to read it.
    pub caption: String,
    /// The one finding, also inside the picture as its description.
    pub finding: String,
    /// Heads of the table's columns.
    pub head: Vec<String>,
    /// Rows of the table; the first cell names the row.
    pub rows: Vec<Vec<String>>,
}

/// How a picture is worded.
#[derive(Debug, Clone, Copy)]
pub struct Wording<'a> {
    /// A word for this picture, unique on the page, of letters and dashes: becomes part of ids.
    pub id: &'a str,
    /// Whose hands in which style: "Ines Okafor, volume 4D".
    pub whose: &'a str,
    /// The studio's decimal sign.
    pub decimal: DecimalMark,
}

/// Width of a picture: about as wide as it is drawn on a phone, so that text keeps its size.
const WIDTH: f64 = 366.0;

/// SVG as it is being written; writing into memory cannot fail.
struct Ink(String);

impl Ink {
    fn begin(wording: &Wording<'_>, height: f64, title: &str, finding: &str) -> Self {
        let mut ink = Self(String::with_capacity(6 * 1024));
        let id = escaped(wording.id);
        ink.add(format_args!(
            "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\
             <title id=\"{id}-title\">{}</title><desc id=\"{id}-desc\">{}</desc>",
            Px(WIDTH),
            Px(height),
            escaped(title),
            escaped(finding),
        ));
        ink
    }

    fn add(&mut self, what: std::fmt::Arguments<'_>) {
        let written = self.0.write_fmt(what);
        debug_assert!(written.is_ok());
    }

    fn path(&mut self, class: &str, data: &str) {
        if !data.is_empty() {
            self.add(format_args!("<path class=\"{class}\" d=\"{data}\"/>"));
        }
    }

    fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: &str, text: &str) {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let anchor = if anchor == "start" { String::new() } else { format!(" text-anchor=\"{anchor}\"") };
        self.add(format_args!("<text{class} x=\"{}\" y=\"{}\"{anchor}>{}</text>", Px(x), Px(y), escaped(text)));
    }

    fn end(mut self) -> String {
        self.0.push_str("</svg>");
        self.0
    }
}

/// An axis of seconds from 0 to a round value that holds `longest`, between two pixels, with its ticks.
fn axis(longest: f64, between: (f64, f64)) -> (Scale, Vec<f64>) {
    let (span, ticks) = round_span((0.0, longest.max(0.5)), 5);
    (Scale::new(span, between), ticks)
}

/// A tick's figure, as short as its step allows.
fn tick_words(ticks: &[f64], tick: f64, decimal: DecimalMark) -> String {
    let step = ticks.get(1).copied().unwrap_or(1.0) - ticks.first().copied().unwrap_or(0.0);
    let places = if step < 0.0999 { 2 } else { usize::from(step < 0.999) };
    decimal.show(tick, places)
}
