//! The picture of a plan: humidity over the next hours in a quick, a middling and a slow room, with the band. Classes only.

use std::fmt::Write;

use super::plan::balance::Course;
use crate::base::chart::{PathData, Px, Scale, escaped, round_span};
use crate::base::number::DecimalMark;

const WIDTH: f64 = 366.0;
const HEIGHT: f64 = 232.0;
const LEFT: f64 = 40.0;
const RIGHT: f64 = 322.0;
const TOP: f64 = 24.0;
const FOOT: f64 = 188.0;
/// Points of a line.
const POINTS: u32 = 72;
/// Labels nearer than this would stand on each other.
const LABEL_HEIGHT: f64 = 14.0;

/// What is drawn.
pub(super) struct PlanChart<'a> {
    /// Quick, middling, slow.
    pub(super) courses: &'a [Course; 3],
    /// Hours shown.
    pub(super) hours: u32,
    /// The band aimed at, %RH.
    pub(super) band: (f64, f64),
    /// %RH from which the coldest surface gets wet at the planned temperature.
    pub(super) wet: f64,
    /// The room's name.
    pub(super) room: &'a str,
    /// What the page's sentence says.
    pub(super) finding: &'a str,
    /// How numbers are written.
    pub(super) mark: DecimalMark,
}

/// A row of the table behind: hours, then the three values.
pub(super) struct PlanRow {
    pub(super) hours: u32,
    pub(super) values: [f64; 3],
}

/// How many hours a plan is best shown over.
pub(super) fn horizon(longest: Option<f64>) -> u32 {
    let wanted = longest.map_or(48.0, |hours| hours * 1.2).clamp(1.0, 168.0);
    [6, 12, 24, 48, 72, 120].into_iter().find(|hours| wanted <= f64::from(*hours)).unwrap_or(168)
}

/// The rows of the table: a dozen at most.
pub(super) fn rows(courses: &[Course; 3], hours: u32) -> Vec<PlanRow> {
    let every = (hours / 12).max(1) as usize;
    (0..=hours)
        .step_by(every)
        .map(|at| PlanRow { hours: at, values: courses.each_ref().map(|course| course.humidity_after(f64::from(at))) })
        .collect()
}

/// The picture as SVG.
pub(super) fn svg(chart: &PlanChart<'_>) -> String {
    let (low, high) = chart.ends();
    let (span, ticks) = round_span(((low - 3.0).max(0.0), (high + 3.0).min(100.0)), 5);
    let (x, y) = (Scale::new((0.0, f64::from(chart.hours)), (LEFT, RIGHT)), Scale::new(span, (FOOT, TOP)));
    let mut svg = String::with_capacity(6 * 1024);
    let written = chart.write(&mut svg, &x, &y, span, &ticks);
    debug_assert!(written.is_ok(), "writing into memory cannot fail");
    svg
}

impl PlanChart<'_> {
    fn ends(&self) -> (f64, f64) {
        let values = self.courses.iter().flat_map(|course| (0..=POINTS).map(|k| course.humidity_after(self.at(k))));
        values.fold(self.band, |(low, high), value| (low.min(value), high.max(value)))
    }

    fn at(&self, point: u32) -> f64 {
        f64::from(self.hours) * f64::from(point) / f64::from(POINTS)
    }

    fn write(&self, svg: &mut String, x: &Scale, y: &Scale, span: (f64, f64), ticks: &[f64]) -> std::fmt::Result {
        let title = format!("Humidity in {} over the next {} hours, as planned", self.room, self.hours);
        write!(
            svg,
            "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"plan-title plan-desc\">\
             <title id=\"plan-title\">{}</title><desc id=\"plan-desc\">{}</desc>",
            Px(WIDTH),
            Px(HEIGHT),
            escaped(&title),
            escaped(self.finding)
        )?;
        let (top, foot) = (y.at_or_edge(self.band.1), y.at_or_edge(self.band.0));
        write!(
            svg,
            "<rect class=\"band\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            Px(LEFT),
            Px(top),
            Px(RIGHT - LEFT),
            Px((foot - top).max(1.0))
        )?;
        self.axes(svg, x, y, span, ticks)?;
        if (span.0..span.1).contains(&self.wet) {
            let at = y.at(self.wet);
            write!(svg, "<path class=\"limit\" d=\"M{} {}H{}\"/>", Px(LEFT), Px(at), Px(RIGHT))?;
            // Under the line where the axis' name stands right above it.
            let label = if at < TOP + LABEL_HEIGHT { at + LABEL_HEIGHT } else { at - 4.0 };
            text(svg, "halo", (LEFT + 4.0, label), "start", "wet past here")?;
        }
        self.lines(svg, x, y)?;
        svg.push_str("</svg>");
        Ok(())
    }

    fn axes(&self, svg: &mut String, x: &Scale, y: &Scale, span: (f64, f64), ticks: &[f64]) -> std::fmt::Result {
        let step = self.hours / 6;
        let mut grid = String::new();
        for tick in ticks {
            write!(grid, "M{} {}H{}", Px(LEFT), Px(y.at(*tick)), Px(RIGHT))?;
            text(svg, "q", (LEFT - 6.0, y.at(*tick) + 4.5), "end", &self.mark.show(*tick, 0))?;
        }
        for hour in (0..=self.hours).step_by(step.max(1) as usize) {
            let at = x.at(f64::from(hour));
            write!(grid, "M{} {}V{}", Px(at), Px(TOP), Px(FOOT))?;
            text(svg, "q", (at, FOOT + 19.0), "middle", &hour.to_string())?;
        }
        write!(svg, "<path class=\"grid\" d=\"{grid}\"/>")?;
        write!(svg, "<path class=\"ax\" d=\"M{} {}V{}H{}\"/>", Px(LEFT), Px(TOP), Px(FOOT), Px(RIGHT))?;
        let from =
            if span.0.abs() < 1e-9 { String::new() } else { format!(", axis from {}", self.mark.show(span.0, 0)) };
        text(svg, "q", (2.0, 13.0), "start", &format!("Humidity, %RH{from}"))?;
        text(svg, "q", (f64::midpoint(LEFT, RIGHT), FOOT + 38.0), "middle", "hours from switching on")
    }

    fn lines(&self, svg: &mut String, x: &Scale, y: &Scale) -> std::fmt::Result {
        let mut labels: Vec<f64> = Vec::new();
        // The middling one last, so that it lies on top; its label first, so that it is the one that stands.
        for (course, class) in [(0, "ln other"), (2, "ln third"), (1, "ln")] {
            let mut path = PathData::default();
            for point in 0..=POINTS {
                let at = self.at(point);
                let to = (x.at(at), y.at_or_edge(self.courses[course].humidity_after(at)));
                if point == 0 { path.begin(to.0, to.1) } else { path.line_to(to.0, to.1) }
            }
            write!(svg, "<path class=\"{class}\" d=\"{}\"/>", path.finish())?;
        }
        for (course, word) in [(1, "likely"), (0, "quick"), (2, "slow")] {
            let end = y.at_or_edge(self.courses[course].humidity_after(f64::from(self.hours)));
            if labels.iter().all(|other| (other - end).abs() >= LABEL_HEIGHT) {
                text(svg, "halo", (RIGHT + 4.0, end + 4.5), "start", word)?;
                labels.push(end);
            }
        }
        Ok(())
    }
}

fn text(svg: &mut String, class: &str, (x, y): (f64, f64), anchor: &str, words: &str) -> std::fmt::Result {
    let anchor = if anchor == "start" { String::new() } else { format!(" text-anchor=\"{anchor}\"") };
    write!(svg, "<text class=\"{class}\" x=\"{}\" y=\"{}\"{anchor}>{}</text>", Px(x), Px(y), escaped(words))
}
