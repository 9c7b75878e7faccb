//! Pictures of advice: the shelf on one rule, and the working band. Pure; SVG of classes only.

pub mod band_chart;
mod labels;
pub mod strip_chart;

use std::fmt::Write;

use crate::base::chart::{Px, escaped};

/// SVG, or path data, as it is being written; writing into memory cannot fail.
#[derive(Default)]
struct Ink(String);

impl Ink {
    fn add(&mut self, what: std::fmt::Arguments<'_>) {
        let written = self.0.write_fmt(what);
        debug_assert!(written.is_ok());
    }

    /// Text at a point; `anchor` is start, middle or end.
    fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: &str, text: &str) {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let anchor = if anchor == "start" { String::new() } else { format!(" text-anchor=\"{anchor}\"") };
        self.add(format_args!("<text{class} x=\"{}\" y=\"{}\"{anchor}>{}</text>", Px(x), Px(y), escaped(text)));
    }
}
