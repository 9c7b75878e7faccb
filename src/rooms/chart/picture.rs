//! The picture itself: one axis, one line of ink, classes only.

use std::fmt::Write;

use super::{Air, Point, Span, Window, Wording, trace};
use crate::base::chart::{Px, Scale, escaped, round_span};
use crate::base::text::capital;
use crate::rooms::instrument::LIKELY;
use crate::rooms::written::Quantity;

/// Width of the picture: about as wide as it is drawn on a phone, so that text keeps its size.
const WIDTH: f64 = 366.0;
const HEIGHT: f64 = 232.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 356.0;
const TOP: f64 = 24.0;
const FOOT: f64 = 188.0;

/// At most so many squares: beyond, they would cover each other and the line.
const MOST_SQUARES: usize = 100;
/// At most so many bars along the foot.
const MOST_BARS: usize = 60;

/// Where things stand.
struct Axes {
    x: Scale,
    y: Scale,
    span: (f64, f64),
    ticks: Vec<f64>,
}

pub(super) fn svg(window: &Window, air: &Air<'_>, wording: &Wording<'_>, finding: &str) -> String {
    let axes = axes(window, air, wording);
    let mut svg = Ink(String::with_capacity(8 * 1024));
    let id = escaped(wording.id);
    svg.add(format_args!(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\
         <title id=\"{id}-title\">{}</title><desc id=\"{id}-desc\">{}</desc>",
        Px(WIDTH),
        Px(HEIGHT),
        escaped(&title(window, air, wording)),
        escaped(finding),
    ));
    band(&mut svg, &axes, air, wording);
    upright(&mut svg, &axes, air, wording);
    along(&mut svg, &axes, window);
    foot_bars(&mut svg, &axes, window, air);
    line(&mut svg, &axes, air, wording);
    squares(&mut svg, &axes, air, wording);
    last(&mut svg, &axes, air, wording);
    svg.0.push_str("</svg>");
    svg.0
}

/// SVG, or path data, as it is being written; writing into memory cannot fail.
#[derive(Default)]
struct Ink(String);

impl Ink {
    fn add(&mut self, what: std::fmt::Arguments<'_>) {
        let written = self.0.write_fmt(what);
        debug_assert!(written.is_ok());
    }

    fn text(&mut self, class: &str, (x, y): (f64, f64), anchor: &str, text: &str) {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let anchor = if anchor == "start" { String::new() } else { format!(" text-anchor=\"{anchor}\"") };
        self.add(format_args!("<text{class} x=\"{}\" y=\"{}\"{anchor}>{}</text>", Px(x), Px(y), escaped(text)));
    }
}

fn title(window: &Window, air: &Air<'_>, wording: &Wording<'_>) -> String {
    let days = window.first_and_last().map_or_else(String::new, |(first, last)| match window.span {
        Span::Day => format!(" on {}", last.strftime("%a %-d %b %Y")),
        Span::Week | Span::Month => format!(" from {} to {}", first.strftime("%-d %b"), last.strftime("%-d %b %Y")),
    });
    format!("{} in {}{days}", capital(air.quantity.word()), wording.room)
}

/// What the page shows: °F where the studio uses it.
fn shown(air: &Air<'_>, wording: &Wording<'_>, value: f64) -> f64 {
    match air.quantity {
        Quantity::Humidity => value,
        Quantity::Temperature => wording.temperature_unit.from_celsius(value),
    }
}

fn axes(window: &Window, air: &Air<'_>, wording: &Wording<'_>) -> Axes {
    let (least, usual) = match air.quantity {
        Quantity::Humidity => (20.0, (30.0, 60.0)),
        Quantity::Temperature => (wording.temperature_unit.from_kelvins(4.0), (18.0, 24.0)),
    };
    let values = air.kept.iter().map(|(_, value)| *value).chain(air.band.iter().flat_map(|(low, high)| [*low, *high]));
    let values = values.chain(likely(air).into_iter().flat_map(|(low, high)| [low, high]));
    let ends = values.fold(None, |ends: Option<(f64, f64)>, value| {
        Some(ends.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
    });
    let (low, high) = ends.unwrap_or(usual);
    let (low, high) = (shown(air, wording, low), shown(air, wording, high));
    // A little more than the values ask for, so that an edge of the band is seen as one.
    let more = ((least - (high - low)) / 2.0).max(0.04 * (high - low));
    let (low, high) = match air.quantity {
        Quantity::Humidity => ((low - more).max(0.0), (high + more).min(100.0)),
        Quantity::Temperature => (low - more, high + more),
    };
    let (span, ticks) = round_span((low, high), 5);
    let across = (window.from_us() as f64, window.to_us() as f64);
    Axes { x: Scale::new(across, (LEFT, RIGHT)), y: Scale::new(span, (FOOT, TOP)), span, ticks }
}

/// The likely range of the last reading, in °C or %RH.
fn likely(air: &Air<'_>) -> Option<(f64, f64)> {
    let (_, value) = *air.kept.last()?;
    let doubt = air.last_doubt?;
    let (low, high) = (value - LIKELY * doubt, value + LIKELY * doubt);
    Some(match air.quantity {
        Quantity::Humidity => (low.max(0.0), high.min(100.0)),
        Quantity::Temperature => (low, high),
    })
}

fn band(svg: &mut Ink, axes: &Axes, air: &Air<'_>, wording: &Wording<'_>) {
    let Some((low, high)) = air.band else { return };
    let top = axes.y.at_or_edge(shown(air, wording, high));
    let foot = axes.y.at_or_edge(shown(air, wording, low));
    svg.add(format_args!(
        "<rect class=\"band\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
        Px(LEFT),
        Px(top),
        Px(RIGHT - LEFT),
        Px(foot - top)
    ));
    let free = band_label_places(top, foot).into_iter().map(|place| (crowd(axes, air, wording, place), place));
    // Where readings stand everywhere, the caption says what the tint is.
    if let Some((0..=2, (x, top))) = free.min_by_key(|(readings, _)| *readings) {
        svg.text("", (x, top + 14.0), "start", "band");
    }
}

/// Left end and top of the places where the band's label could stand: its four corners, if it is high enough.
fn band_label_places(top: f64, foot: f64) -> Vec<(f64, f64)> {
    if foot - top < 18.0 {
        return Vec::new();
    }
    let corners = [(LEFT + 4.0, top), (LEFT + 4.0, foot - 18.0), (RIGHT - 36.0, top), (RIGHT - 36.0, foot - 18.0)];
    corners.into()
}

/// How many readings lie where a label of 32 by 18 px would stand.
fn crowd(axes: &Axes, air: &Air<'_>, wording: &Wording<'_>, (left, top): (f64, f64)) -> usize {
    let near = |(at, value): &&Point| {
        let (x, y) = (axes.x.at(*at as f64), axes.y.at(shown(air, wording, *value)));
        (left - 2.0..left + 34.0).contains(&x) && (top - 2.0..top + 20.0).contains(&y)
    };
    air.kept.iter().filter(near).count()
}

/// The axis of values: grid, numbers, name.
fn upright(svg: &mut Ink, axes: &Axes, air: &Air<'_>, wording: &Wording<'_>) {
    let mut grid = Ink::default();
    for tick in &axes.ticks {
        grid.add(format_args!("M{} {}H{}", Px(LEFT), Px(axes.y.at(*tick)), Px(RIGHT)));
    }
    svg.add(format_args!("<path class=\"grid\" d=\"{}\"/>", grid.0));
    let places = places(&axes.ticks);
    for tick in &axes.ticks {
        let label = wording.decimal_mark.show(*tick, places);
        svg.text("q", (LEFT - 6.0, axes.y.at(*tick) + 4.5), "end", &label);
    }
    let from = match axes.span.0 {
        zero if zero.abs() < 1e-9 => String::new(),
        lowest => format!(", axis from {}", wording.decimal_mark.show(lowest, places)),
    };
    svg.text(
        "q",
        (2.0, 13.0),
        "start",
        &format!("{}, {}{from}", capital(air.quantity.word()), wording.unit(air.quantity)),
    );
}

/// How many places the ticks of an axis need: whole numbers none, as many as the finest of them otherwise.
fn places(ticks: &[f64]) -> usize {
    let told_by = |places: i32| {
        let times = 10f64.powi(places);
        ticks.iter().all(|tick| (tick * times - (tick * times).round()).abs() < 1e-6)
    };
    (0..3).find(|places| told_by(*places)).and_then(|places| places.try_into().ok()).unwrap_or(3)
}

/// The axis of time: grid at whole days or every six hours, words under it.
fn along(svg: &mut Ink, axes: &Axes, window: &Window) {
    let at = |us: i64| axes.x.at(us as f64);
    let mut grid = Ink::default();
    let mut ticks = Ink::default();
    let mut labels: Vec<(f64, String)> = Vec::new();
    let mark = |path: &mut Ink, x: f64, from: f64, to: f64| {
        path.add(format_args!("M{} {}V{}", Px(x), Px(from), Px(to)));
    };
    match window.span {
        Span::Day => {
            for hour in (0..=24).step_by(3) {
                let Some(us) = window.hour_of_day(hour) else { continue };
                mark(&mut ticks, at(us), FOOT, FOOT + 4.0);
                if hour % 6 == 0 {
                    mark(&mut grid, at(us), TOP, FOOT);
                    labels.push((at(us), hour.to_string()));
                }
            }
        }
        Span::Week => {
            for (date, from, to) in window.days() {
                mark(&mut grid, at(from), TOP, FOOT);
                mark(&mut ticks, at(from), FOOT, FOOT + 4.0);
                labels.push((f64::midpoint(at(from), at(to)), date.strftime("%a").to_string()));
            }
        }
        Span::Month => {
            for (date, from, _) in window.days() {
                mark(&mut ticks, at(from), FOOT, FOOT + 4.0);
                if date.weekday() == jiff::civil::Weekday::Monday {
                    mark(&mut grid, at(from), TOP, FOOT);
                    labels.push((at(from), date.strftime("%-d %b").to_string()));
                }
            }
        }
    }
    svg.add(format_args!("<path class=\"grid\" d=\"{}\"/><path class=\"tick\" d=\"{}\"/>", grid.0, ticks.0));
    svg.add(format_args!("<path class=\"ax\" d=\"M{} {}V{}H{}\"/>", Px(LEFT), Px(TOP), Px(FOOT), Px(RIGHT)));
    for (x, label) in labels {
        // A label must not leave the picture on its right.
        svg.text("q", (x.min(RIGHT - 4.0), FOOT + 19.0), "middle", &label);
    }
    svg.text("q", (f64::midpoint(LEFT, RIGHT), FOOT + 38.0), "middle", &time_axis_name(window));
}

fn time_axis_name(window: &Window) -> String {
    let Some((first, last)) = window.first_and_last() else { return String::new() };
    match window.span {
        Span::Day => format!("hour of {}", last.strftime("%a %-d %b")),
        Span::Week => format!("{} to {}", first.strftime("%a %-d %b"), last.strftime("%a %-d %b")),
        Span::Month => format!("{} to {}, Mondays named", first.strftime("%-d %b"), last.strftime("%-d %b")),
    }
}

/// When a device was on, as outlined bars along the foot.
fn foot_bars(svg: &mut Ink, axes: &Axes, window: &Window, air: &Air<'_>) {
    let mut bars: Vec<(f64, f64)> = Vec::new();
    for &(from, to) in air.device_on {
        if to <= window.from_us() || from >= window.to_us() {
            continue;
        }
        let (from, to) = (axes.x.at_or_edge(from as f64), axes.x.at_or_edge(to as f64));
        match bars.last_mut() {
            Some(before) if from - before.1 < 1.5 => before.1 = to.max(before.1),
            _ => bars.push((from, to)),
        }
    }
    let mut path = Ink::default();
    for (from, to) in bars.iter().take(MOST_BARS) {
        path.add(format_args!("M{} {}H{}v5H{}z", Px(*from), Px(FOOT - 6.0), Px(to.max(from + 1.0)), Px(*from)));
    }
    if !path.0.is_empty() {
        svg.add(format_args!("<path class=\"ln on\" d=\"{}\"/>", path.0));
    }
}

/// The readings as one line.
fn line(svg: &mut Ink, axes: &Axes, air: &Air<'_>, wording: &Wording<'_>) {
    let y_of = |value| axes.y.at_or_edge(shown(air, wording, value));
    let path = trace::path(air.kept, air.joined_within, |at| axes.x.at(at as f64), y_of);
    if !path.is_empty() {
        svg.add(format_args!("<path class=\"ln\" d=\"{path}\"/>"));
    }
}

fn squares(svg: &mut Ink, axes: &Axes, air: &Air<'_>, wording: &Wording<'_>) {
    let mut cells: Vec<(i64, i64)> = Vec::new();
    for (at, value) in air.set_aside {
        let (x, y) = (axes.x.at_or_edge(*at as f64), axes.y.at_or_edge(shown(air, wording, *value)));
        // Squares nearer than three pixels are one.
        cells.push(((x / 3.0).round() as i64 * 3, (y / 3.0).round() as i64 * 3));
    }
    cells.sort_unstable();
    cells.dedup();
    let every = cells.len().div_ceil(MOST_SQUARES).max(1);
    let mut path = Ink::default();
    for (x, y) in cells.into_iter().step_by(every) {
        path.add(format_args!("M{} {}h7v7h-7z", x - 3, y - 3));
    }
    if !path.0.is_empty() {
        svg.add(format_args!("<path class=\"set-aside\" d=\"{}\"/>", path.0));
    }
}

fn last(svg: &mut Ink, axes: &Axes, air: &Air<'_>, wording: &Wording<'_>) {
    let Some((at, value)) = air.kept.last() else { return };
    let y_of = |value: f64| axes.y.at_or_edge(shown(air, wording, value));
    let (x, y) = (axes.x.at(*at as f64), y_of(*value));
    if let Some((low, high)) = likely(air) {
        svg.add(format_args!(
            "<path class=\"doubt\" d=\"M{x0} {}h8m-4 0V{}m-4 0h8\"/>",
            Px(y_of(high)),
            Px(y_of(low)),
            x0 = Px(x - 4.0)
        ));
    }
    svg.add(format_args!("<circle class=\"now\" cx=\"{}\" cy=\"{}\" r=\"4.5\"/>", Px(x), Px(y)));
    // Above the picture, where no line can run through it.
    let label = format!("last {}", wording.with_unit(air.quantity, *value));
    svg.text("", (RIGHT, 13.0), "end", &label);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::number::DecimalMark;

    #[track_caller]
    fn check(ticks: &[f64], mark: DecimalMark, expected: &[&str]) {
        let places = places(ticks);
        assert_eq!(ticks.iter().map(|tick| mark.show(*tick, places)).collect::<Vec<_>>(), expected);
    }

    #[test]
    fn the_ticks_of_an_axis_are_written_alike_and_as_short_as_the_finest_allows() {
        check(&[-2.0, 0.0, 2.0], DecimalMark::Point, &["−2", "0", "2"]);
        check(&[0.0, 0.5, 1.0], DecimalMark::Comma, &["0,0", "0,5", "1,0"]);
        check(&[0.05, 0.1], DecimalMark::Point, &["0.05", "0.10"]);
    }
}
