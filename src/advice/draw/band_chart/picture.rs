//! The picture: areas, axes, the room's limits, the day's trail, the reading and the aim.

use super::words::words;
use super::{FOOT, HEIGHT, HUMIDITY, LEFT, Map, RIGHT, Spot, TEMPERATURE, TOP, WIDTH, x, y};
use crate::advice::band::BandRow;
use crate::advice::draw::Ink;
use crate::advice::draw::labels::{Place, Taken};
use crate::base::chart::{PathData, Px, escaped};
use crate::base::units::RelHumidity;
use crate::rooms::instrument::LIKELY;

/// At most so many dots of the day's trail.
const MOST_DOTS: usize = 96;

pub(super) fn svg(map: &Map<'_>, rows: &[BandRow], finding: &str) -> String {
    let id = escaped(map.id);
    let mut svg = Ink(String::with_capacity(8 * 1024));
    svg.add(format_args!(
        "<svg class=\"map\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\
         <title id=\"{id}-title\">{}</title><desc id=\"{id}-desc\">{}</desc>\
         <defs><pattern id=\"{id}-hatch\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
         <path class=\"maybe\" d=\"M0 0V6\"/></pattern></defs>",
        Px(WIDTH),
        Px(HEIGHT),
        escaped(&format!("Working band of {}", map.bottle)),
        escaped(finding),
    ));
    areas(&mut svg, &id, rows);
    axes(&mut svg, map);
    let mut taken = Taken::default();
    let guards = guards(&mut svg, map);
    trail(&mut svg, map);
    aim(&mut svg, map, &mut taken);
    reading(&mut svg, map, &mut taken);
    words(&mut svg, map, rows, &guards, &mut taken);
    svg.0.push_str("</svg>");
    svg.0
}

/// The strip that likely suits between two edges of ink, hatched beyond where it may.
fn areas(svg: &mut Ink, id: &str, rows: &[BandRow]) {
    for run in runs(rows, |row| row.may) {
        let outline = outline(&run);
        // The hatch needs its own fill, which a class cannot give.
        svg.add(format_args!("<path fill=\"url(#{id}-hatch)\" d=\"{outline}z\"/>"));
    }
    for run in runs(rows, |row| row.likely) {
        svg.add(format_args!("<path class=\"zone\" d=\"{}z\"/>", outline(&run)));
        for driest in [true, false] {
            let mut edge = PathData::default();
            for (at, (t, low, high)) in run.iter().enumerate() {
                let point = (x().at(if driest { *low } else { *high }), y().at(*t));
                if at == 0 { edge.begin(point.0, point.1) } else { edge.line_to(point.0, point.1) }
            }
            svg.add(format_args!("<path class=\"edge\" d=\"{}\"/>", edge.finish()));
        }
    }
}

/// Temperature with driest and dampest humidity.
type Across = (f64, f64, f64);

/// Neighbouring rows that have an interval, as one run each.
fn runs(rows: &[BandRow], of: impl Fn(&BandRow) -> Option<(RelHumidity, RelHumidity)>) -> Vec<Vec<Across>> {
    let mut runs: Vec<Vec<Across>> = vec![Vec::new()];
    for row in rows {
        match (of(row), runs.last_mut()) {
            (Some((low, high)), Some(run)) => run.push((row.temperature.get(), low.get(), high.get())),
            _ => runs.push(Vec::new()),
        }
    }
    runs.retain(|run| !run.is_empty());
    // A single row would have no height: it is drawn as half a degree on both sides.
    for run in &mut runs {
        if let [(t, low, high)] = run[..] {
            *run = vec![((t - 0.5).max(TEMPERATURE.0), low, high), ((t + 0.5).min(TEMPERATURE.1), low, high)];
        }
    }
    runs
}

fn outline(run: &[Across]) -> String {
    let mut path = PathData::default();
    for (at, (t, low, _)) in run.iter().enumerate() {
        if at == 0 { path.begin(x().at(*low), y().at(*t)) } else { path.line_to(x().at(*low), y().at(*t)) }
    }
    for (t, _, high) in run.iter().rev() {
        path.line_to(x().at(*high), y().at(*t));
    }
    path.finish()
}

fn axes(svg: &mut Ink, map: &Map<'_>) {
    let mut grid = Ink::default();
    for humidity in [30.0, 40.0, 50.0, 60.0, 70.0, 80.0] {
        grid.add(format_args!("M{} {}V{}", Px(x().at(humidity)), Px(TOP), Px(FOOT)));
    }
    let ticks: &[f64] = if map.fahrenheit {
        &[60.0, 65.0, 70.0, 75.0, 80.0, 85.0]
    } else {
        &[16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0, 30.0]
    };
    let celsius = |shown: f64| if map.fahrenheit { (shown - 32.0) / 1.8 } else { shown };
    for tick in ticks {
        grid.add(format_args!("M{} {}H{}", Px(LEFT), Px(y().at(celsius(*tick))), Px(RIGHT)));
    }
    svg.add(format_args!("<path class=\"grid\" d=\"{}\"/>", grid.0));
    svg.add(format_args!("<path class=\"ax\" d=\"M{} {}V{}H{}\"/>", Px(LEFT), Px(TOP), Px(FOOT), Px(RIGHT)));
    for humidity in [20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0] {
        svg.text("q", (x().at(humidity).min(RIGHT - 6.0), FOOT + 17.0), "middle", &map.mark.show(humidity, 0));
    }
    svg.text("q", (f64::midpoint(LEFT, RIGHT), FOOT + 36.0), "middle", "humidity from 20, %RH");
    for tick in ticks {
        svg.text("q", (LEFT - 6.0, y().at(celsius(*tick)) + 4.5), "end", &map.mark.show(*tick, 0));
    }
    let (unit, from) = if map.fahrenheit { ("°F", "59") } else { ("°C", "15") };
    svg.text("q", (2.0, 11.0), "start", &format!("Temperature from {from}, {unit}"));
}

/// Draws the room's limits; gives where each leaves the map, for its words.
fn guards(svg: &mut Ink, map: &Map<'_>) -> Vec<(f64, f64)> {
    let mut ends = Vec::new();
    for guard in map.guards {
        let mut path = PathData::default();
        let mut shown: Vec<(f64, f64)> = Vec::new();
        for spot in guard.points {
            let (h, t) = (spot.humidity.get(), spot.temperature.get());
            if !(HUMIDITY.0..=HUMIDITY.1).contains(&h) || !(TEMPERATURE.0..=TEMPERATURE.1).contains(&t) {
                continue;
            }
            let point = (x().at(h), y().at(t));
            if shown.is_empty() {
                path.begin(point.0, point.1);
            } else {
                path.line_to(point.0, point.1);
            }
            shown.push(point);
        }
        if let Some(middle) = shown.get(shown.len() / 3) {
            svg.add(format_args!("<path class=\"limit\" d=\"{}\"/>", path.finish()));
            ends.push(*middle);
        } else {
            ends.push((f64::NAN, f64::NAN));
        }
    }
    ends
}

fn trail(svg: &mut Ink, map: &Map<'_>) {
    let every = map.trail.len().div_ceil(MOST_DOTS).max(1);
    let mut dots: Vec<(i64, i64)> = Vec::new();
    for spot in map.trail.iter().step_by(every) {
        let (px, py) = at(*spot);
        let cell = ((px / 3.0).round() as i64 * 3, (py / 3.0).round() as i64 * 3);
        if dots.last() != Some(&cell) {
            dots.push(cell);
        }
    }
    let mut path = Ink::default();
    for (px, py) in dots {
        path.add(format_args!("M{px} {py}h0"));
    }
    if !path.0.is_empty() {
        svg.add(format_args!("<path class=\"dots\" d=\"{}\"/>", path.0));
    }
}

/// The pixel of a spot; beyond the map, its edge.
pub(super) fn at(spot: Spot) -> (f64, f64) {
    (x().at_or_edge(spot.humidity.get()), y().at_or_edge(spot.temperature.get()))
}

fn aim(svg: &mut Ink, map: &Map<'_>, taken: &mut Taken) {
    let Some(spot) = map.aim else { return };
    let (px, py) = at(spot);
    if let Some(reading) = map.reading {
        let (fx, fy) = at(reading.spot);
        svg.add(format_args!("<path class=\"aim\" d=\"M{} {}L{} {}\"/>", Px(fx), Px(fy), Px(px), Px(py)));
    }
    svg.add(format_args!("<circle class=\"aim\" cx=\"{}\" cy=\"{}\" r=\"5\"/>", Px(px), Px(py)));
    taken.keep_off(around((px, py), 6.0, 6.0));
}

fn around((px, py): (f64, f64), wide: f64, high: f64) -> Place {
    Place { left: px - wide, right: px + wide, top: py - high, foot: py + high }
}

fn reading(svg: &mut Ink, map: &Map<'_>, taken: &mut Taken) {
    let Some(reading) = map.reading else { return };
    let (px, py) = at(reading.spot);
    let edge = |spot: f64, by: f64| (spot - LIKELY * by, spot + LIKELY * by);
    let (dry, damp) = edge(reading.spot.humidity.get(), reading.doubt.humidity.get());
    let (cool, warm) = edge(reading.spot.temperature.get(), reading.doubt.temperature.get());
    let (left, right) = (x().at_or_edge(dry), x().at_or_edge(damp));
    let (top, foot) = (y().at_or_edge(warm), y().at_or_edge(cool));
    svg.add(format_args!(
        "<rect class=\"doubt\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
        Px(left),
        Px(top),
        Px((right - left).max(1.0)),
        Px((foot - top).max(1.0))
    ));
    svg.add(format_args!("<path class=\"cross\" d=\"M{} {}h14m-7-7v14\"/>", Px(px - 7.0), Px(py)));
    taken.keep_off(around((px, py), 8.0, 8.0));
}
