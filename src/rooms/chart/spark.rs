//! The last 24 hours as a small line for a list of rooms. The words beside it say the same, so it is hidden from
//! readers of the screen.

use super::{Air, trace};
use crate::base::chart::{Px, Scale};
use crate::rooms::written::Quantity;

const WIDTH: f64 = 246.0;
const HEIGHT: f64 = 64.0;
/// Room for the disc at the right and the line's width at top and foot.
const EDGE: f64 = 6.0;

/// The humidity or temperature of the 24 hours before `now_us`. Same scale for every room as long as its values allow,
/// so that rooms one above the other can be compared: 30…70 %RH, 15…30 °C.
#[must_use]
pub fn spark(air: &Air<'_>, now_us: i64) -> String {
    let from = now_us.saturating_sub(24 * super::window::HOUR);
    let begins = air.kept.partition_point(|(at, _)| *at < from);
    let ends = air.kept.partition_point(|(at, _)| *at <= now_us);
    let kept = air.kept.get(begins..ends).unwrap_or_default();
    let usual: (f64, f64) = match air.quantity {
        Quantity::Humidity => (30.0, 70.0),
        Quantity::Temperature => (15.0, 30.0),
    };
    let span = kept.iter().fold(usual, |(low, high), (_, value)| (low.min(*value), high.max(*value)));
    let x = Scale::new((from as f64, now_us as f64), (EDGE, WIDTH - EDGE));
    let y = Scale::new(span, (HEIGHT - EDGE, EDGE));

    let band = air.band.map_or_else(String::new, |(low, high)| {
        let (top, foot) = (y.at_or_edge(high), y.at_or_edge(low));
        let (width, height) = (Px(WIDTH), Px(foot - top));
        format!("<rect class=\"band\" x=\"0\" y=\"{}\" width=\"{width}\" height=\"{height}\"/>", Px(top))
    });
    let line = trace::path(kept, air.joined_within, |at| x.at(at as f64), |value| y.at(value));
    let line = if line.is_empty() { line } else { format!("<path class=\"ln\" d=\"{line}\"/>") };
    let now = kept.last().map_or_else(String::new, |(at, value)| {
        format!("<circle class=\"now\" cx=\"{}\" cy=\"{}\" r=\"4.5\"/>", Px(x.at(*at as f64)), Px(y.at(*value)))
    });
    format!(
        "<svg class=\"spark\" viewBox=\"0 0 {} {}\" aria-hidden=\"true\">{band}{line}{now}</svg>",
        Px(WIDTH),
        Px(HEIGHT)
    )
}
