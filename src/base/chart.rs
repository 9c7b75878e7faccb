//! What every chart needs: a scale, ticks at round values, short path data, text that is safe inside SVG.
//!
//! Charts are made on the server, of classes only; the stylesheet holds all colour and line widths.

use std::fmt::{self, Display, Write};

/// A straight map from values to pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    from: f64,
    to: f64,
    first_px: f64,
    last_px: f64,
}

impl Scale {
    /// `from` stands at `first_px`, `to` at `last_px`. A span of nothing puts everything in the middle.
    #[must_use]
    pub const fn new((from, to): (f64, f64), (first_px, last_px): (f64, f64)) -> Scale {
        Scale { from, to, first_px, last_px }
    }

    /// The pixel of a value, also outside the span.
    #[must_use]
    pub fn at(&self, value: f64) -> f64 {
        let span = self.to - self.from;
        let share = if span.abs() < f64::MIN_POSITIVE { 0.5 } else { (value - self.from) / span };
        self.first_px + share * (self.last_px - self.first_px)
    }

    /// The pixel of a value, or of the nearer end when it lies outside.
    #[must_use]
    pub fn at_or_edge(&self, value: f64) -> f64 {
        self.at(value.clamp(self.from.min(self.to), self.from.max(self.to)))
    }
}

/// The smallest step that is 1, 2 or 5 times a power of ten and covers the span in at most `at_most` steps.
fn round_step(span: f64, at_most: usize) -> f64 {
    let rough = span / at_most.max(1) as f64;
    let power = 10f64.powf(rough.log10().floor());
    let times = [1.0, 2.0, 5.0, 10.0].into_iter().find(|times| times * power >= rough * (1.0 - 1e-9));
    times.unwrap_or(10.0) * power
}

/// A span widened to round values, and the ticks in it: steps of 1, 2 or 5 times a power of ten, at most `at_most`
/// steps of them (one more when widening asks for it).
///
/// ```
/// use stillroom::base::chart::round_span;
///
/// let (span, ticks) = round_span((27.0, 58.0), 5);
/// assert_eq!((span, ticks), ((20.0, 60.0), vec![20.0, 30.0, 40.0, 50.0, 60.0]));
/// ```
#[must_use]
pub fn round_span((lowest, highest): (f64, f64), at_most: usize) -> ((f64, f64), Vec<f64>) {
    let span = (highest - lowest).max(1e-3);
    let step = round_step(span, at_most);
    let (first, last) =
        ((lowest / step + 1e-9).floor(), (highest / step - 1e-9).ceil().max((lowest / step).floor() + 1.0));
    // Counting in whole steps keeps 0.1 + 0.2 out of the labels.
    let ticks = (0..=(last - first).round() as usize).map(|n| tidy((first + n as f64) * step)).collect();
    ((tidy(first * step), tidy(last * step)), ticks)
}

fn tidy(value: f64) -> f64 {
    (value * 1e9).round() / 1e9
}

/// A pixel or a round number as SVG wants it: at most one decimal, nothing superfluous.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Px(pub f64);

impl Display for Px {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        tenths(f, (self.0 * 10.0).round() as i64)
    }
}

fn tenths(f: &mut dyn Write, tenths: i64) -> fmt::Result {
    let sign = if tenths < 0 { "-" } else { "" };
    match (tenths.abs() / 10, tenths.abs() % 10) {
        (whole, 0) => write!(f, "{sign}{whole}"),
        (0, part) => write!(f, "{sign}.{part}"),
        (whole, part) => write!(f, "{sign}{whole}.{part}"),
    }
}

/// The data of a path, in steps from the point before: shorter than full coordinates, and without adding up errors,
/// as every point is rounded to a tenth first.
#[derive(Debug, Clone, Default)]
pub struct PathData {
    data: String,
    at: (i64, i64),
    points_in_run: usize,
}

impl PathData {
    /// Begins a new run at a point.
    pub fn begin(&mut self, x: f64, y: f64) {
        self.end();
        self.at = rounded(x, y);
        self.data.push('M');
        self.pair(self.at);
        self.points_in_run = 1;
    }

    /// A straight line from the point before.
    pub fn line_to(&mut self, x: f64, y: f64) {
        let to = rounded(x, y);
        self.data.push(if self.points_in_run == 1 { 'l' } else { ' ' });
        self.pair((to.0 - self.at.0, to.1 - self.at.1));
        self.at = to;
        self.points_in_run += 1;
    }

    /// The data, for `d="…"`.
    #[must_use]
    pub fn finish(mut self) -> String {
        self.end();
        self.data
    }

    /// A run of one point would draw nothing: it gets a dash of one pixel.
    fn end(&mut self) {
        if self.points_in_run == 1 {
            self.data.push_str("h1");
        }
        self.points_in_run = 0;
    }

    fn pair(&mut self, (x, y): (i64, i64)) {
        // Writing into a string cannot fail.
        let written = tenths(&mut self.data, x).and_then(|()| {
            // A minus sign parts two numbers by itself.
            if y >= 0 {
                self.data.push(' ');
            }
            tenths(&mut self.data, y)
        });
        debug_assert!(written.is_ok());
    }
}

fn rounded(x: f64, y: f64) -> (i64, i64) {
    ((x * 10.0).round() as i64, (y * 10.0).round() as i64)
}

/// Text made safe between tags and inside quoted attributes.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // Control characters are not allowed in XML at all.
            c if c.is_control() => safe.push(' '),
            c => safe.push(c),
        }
    }
    safe
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[track_caller]
    fn ticks(span: (f64, f64), at_most: usize, expected: &[f64]) {
        assert_eq!(round_span(span, at_most).1, expected, "{span:?}");
    }

    #[test]
    fn ticks_stand_at_round_values() {
        ticks((27.0, 58.0), 5, &[20.0, 30.0, 40.0, 50.0, 60.0]);
        ticks((17.3, 23.9), 5, &[16.0, 18.0, 20.0, 22.0, 24.0]);
        ticks((0.0, 0.3), 3, &[0.0, 0.1, 0.2, 0.3]);
        ticks((20.0, 20.0), 5, &[20.0, 20.0002]);
        ticks((-4.0, 3.0), 4, &[-4.0, -2.0, 0.0, 2.0, 4.0]);
    }

    #[test]
    fn a_scale_maps_both_ends_and_stops_at_its_edges_when_told() {
        let scale = Scale::new((20.0, 60.0), (180.0, 20.0));
        assert!((scale.at(20.0) - 180.0).abs() < 1e-12 && (scale.at(60.0) - 20.0).abs() < 1e-12);
        assert!((scale.at_or_edge(140.0) - 20.0).abs() < 1e-12 && (scale.at_or_edge(0.0) - 180.0).abs() < 1e-12);
        assert!((Scale::new((5.0, 5.0), (0.0, 10.0)).at(5.0) - 5.0).abs() < 1e-12);
    }

    #[test]
    fn pixels_are_written_as_short_as_they_can_be() {
        let written: Vec<String> = [0.0, 12.0, 12.34, -0.26, -0.04, 0.5].map(|v| Px(v).to_string()).into();
        assert_eq!(written, ["0", "12", "12.3", "-.3", "0", ".5"]);
    }

    #[test]
    fn a_path_is_written_in_steps_and_a_lonely_point_gets_a_dash() {
        let mut path = PathData::default();
        path.begin(10.0, 20.0);
        path.line_to(11.04, 19.5);
        path.line_to(12.0, 21.0);
        path.begin(30.0, 5.0);
        assert_eq!(path.finish(), "M10 20l1-.5 1 1.5M30 5h1");
    }

    #[test]
    fn text_cannot_leave_its_place() {
        assert_eq!(escaped("a<b> & \"c\" 'd'\u{0}"), "a&lt;b&gt; &amp; &quot;c&quot; &#39;d&#39; ");
    }

    proptest! {
        #[test]
        fn ticks_cover_the_span_and_are_few(low in -100.0..100.0f64, wide in 0.01..200.0f64, at_most in 2usize..9) {
            let ((from, to), ticks) = round_span((low, low + wide), at_most);
            prop_assert!(from <= low + 1e-6 && to >= low + wide - 1e-6);
            prop_assert!(ticks.len() >= 2 && ticks.len() <= at_most + 2, "{:?}", ticks);
        }
    }
}
