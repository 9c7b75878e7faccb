//! The working band as a map: where over temperature and humidity a bottle suits these hands, the reading as a cross
//! in a box of its doubt, the day's trail, what the room allows, and an aim. With the same as a table.

use super::Ink;
use super::labels::{BASE, Place, Taken};
use crate::advice::band::{Band, BandRow, HUMIDITIES, Suitability, TEMPERATURES, humidity_at, temperature_at};
use crate::advice::judge::Verdict;
use crate::base::chart::{PathData, Px, Scale, escaped};
use crate::base::number::DecimalMark;
use crate::base::units::{Celsius, RelHumidity};
use crate::rooms::instrument::{Doubt, LIKELY};

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
/// At most so many dots of the day's trail.
const MOST_DOTS: usize = 96;
/// Temperatures of the table, °C.
const TABLE: [f64; 4] = [18.0, 20.0, 22.0, 24.0];

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
    let finding = finding(map, &rows);
    Drawn { svg: svg(map, &rows, &finding), caption: caption(map), rows: table(map, &rows), finding }
}

fn x() -> Scale {
    Scale::new(HUMIDITY, (LEFT, RIGHT))
}

fn y() -> Scale {
    Scale::new(TEMPERATURE, (FOOT, TOP))
}

fn svg(map: &Map<'_>, rows: &[BandRow], finding: &str) -> String {
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
fn at(spot: Spot) -> (f64, f64) {
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

/// The words inside the map, each where it is true and free.
fn words(svg: &mut Ink, map: &Map<'_>, rows: &[BandRow], guards: &[(f64, f64)], taken: &mut Taken) {
    let frame = Place { left: LEFT + 3.0, top: TOP + 2.0, right: RIGHT - 2.0, foot: FOOT - 3.0 };
    let mut put = |svg: &mut Ink, words: &str, wishes: &[(f64, f64)], right: &dyn Fn(&Place) -> bool| {
        if let Some(place) = taken.find(words, &frame, wishes, right) {
            svg.text("halo", (place.left + 2.0, place.top + BASE), "start", words);
        }
    };
    if let Some(reading) = map.reading {
        let (px, py) = at(reading.spot);
        let beside = super::labels::width("now") + 10.0;
        let wishes = [(px + 10.0, py - 22.0), (px - beside, py - 22.0), (px + 10.0, py + 6.0), (px - beside, py + 6.0)];
        put(svg, "now", &wishes, &|_| true);
    }
    if let Some(spot) = map.aim {
        let (px, py) = at(spot);
        put(svg, "aim", &[(px + 8.0, py - 20.0), (px + 8.0, py + 4.0), (px - 36.0, py - 20.0)], &|_| true);
    }
    for (guard, (px, py)) in map.guards.iter().zip(guards) {
        if px.is_finite() {
            let wide = super::labels::width(guard.words);
            put(
                svg,
                guard.words,
                &[(px + 6.0, py - 8.0), (RIGHT - wide - 4.0, py - 8.0), (px - wide - 6.0, py - 8.0)],
                &|_| true,
            );
        }
    }
    for (words, kind) in [
        ("likely suits", Suitability::Likely),
        ("too slow", Suitability::TooSlow),
        ("too quick", Suitability::TooQuick),
        ("may suit", Suitability::May),
    ] {
        let Some(middle) = middle_of(map.band, kind) else { continue };
        let half = super::labels::width(words) / 2.0;
        let wish = (middle.0 - half, middle.1 - 8.0);
        put(svg, words, &[wish], &|place| {
            let centre = (f64::midpoint(place.left, place.right), f64::midpoint(place.top, place.foot));
            kind_at(map.band, centre) == kind
        });
    }
    debug_assert_eq!(rows.len(), TEMPERATURES);
}

/// The middle of the cells of a kind, in pixels.
fn middle_of(band: &Band, kind: Suitability) -> Option<(f64, f64)> {
    let (mut n, mut sum) = (0.0, (0.0, 0.0));
    for i in 0..TEMPERATURES {
        for j in (0..HUMIDITIES).filter(|j| band.at(i, *j).suitability == kind) {
            n += 1.0;
            sum.0 += x().at(humidity_at(j));
            sum.1 += y().at(temperature_at(i));
        }
    }
    (n > 0.0).then(|| (sum.0 / n, sum.1 / n))
}

/// How the air under a pixel stands.
fn kind_at(band: &Band, (px, py): (f64, f64)) -> Suitability {
    let humidity = (px - LEFT) / (RIGHT - LEFT) * (HUMIDITIES - 1) as f64;
    let temperature = (FOOT - py) / (FOOT - TOP) * (TEMPERATURES - 1) as f64;
    let cell = |at: f64, last: usize| (at.round().max(0.0) as usize).min(last);
    band.at(cell(temperature, TEMPERATURES - 1), cell(humidity, HUMIDITIES - 1)).suitability
}

fn finding(map: &Map<'_>, rows: &[BandRow]) -> String {
    let Some(reading) = map.reading else {
        return "The room's air has not been read, so it is not on the map.".replace('\'', "’");
    };
    let (t, h) = (reading.spot.temperature.get(), reading.spot.humidity.get());
    let row = rows.iter().min_by(|a, b| (a.temperature.get() - t).abs().total_cmp(&(b.temperature.get() - t).abs()));
    let shown = map.mark.show(h, 0);
    let Some((low, high)) = row.and_then(|row| row.likely) else {
        return format!(
            "At this temperature no humidity from 20 to 80\u{a0}%RH likely suits {}; the room is at {shown}\u{a0}%RH.",
            map.bottle
        );
    };
    let stands = if h < low.get() {
        "drier than the band"
    } else if h > high.get() {
        "damper than the band"
    } else if matches!(map.band.reading, Verdict::NearTooQuick | Verdict::NearTooSlow | Verdict::Fits) {
        "inside it"
    } else {
        "inside it, but see the verdict"
    };
    format!(
        "At this temperature the band of {} runs from {} to {}\u{a0}%RH. The room is at {shown}\u{a0}%RH: {stands}.",
        map.bottle,
        map.mark.show(low.get(), 0),
        map.mark.show(high.get(), 0)
    )
}

fn caption(map: &Map<'_>) -> String {
    let mut said = "Tinted between two lines: likely suits. Hatched: may suit.".to_owned();
    if map.reading.is_some() {
        said.push_str(" The cross is the reading, the box around it where it may be, 8 times in 10.");
    }
    if !map.trail.is_empty() {
        said.push_str(" Dots: the day so far.");
    }
    if map.aim.is_some() {
        said.push_str(" The disc is the aim.");
    }
    if !map.guards.is_empty() {
        said.push_str(" Dashed: not to be passed in this room.");
    }
    said
}

fn table(map: &Map<'_>, rows: &[BandRow]) -> Vec<TableRow> {
    let range = |ends: Option<(RelHumidity, RelHumidity)>| match ends {
        // An end at the map's edge is not an end: the map stops there.
        Some((low, high)) => {
            let (low, high) = (low.get(), high.get());
            match (low <= HUMIDITY.0 + 1e-9, high >= HUMIDITY.1 - 1e-9) {
                (true, true) => "20 and below to 80 and above".to_owned(),
                (true, false) => format!("up to {}", map.mark.show(high, 0)),
                (false, true) => format!("{} and above", map.mark.show(low, 0)),
                (false, false) => format!("{}–{}", map.mark.show(low, 0), map.mark.show(high, 0)),
            }
        }
        None => "none".to_owned(),
    };
    let guard = |t: f64| {
        let points = map.guards.first()?.points;
        let near =
            points.iter().min_by(|a, b| (a.temperature.get() - t).abs().total_cmp(&(b.temperature.get() - t).abs()))?;
        ((near.temperature.get() - t).abs() < 0.6).then(|| map.mark.show(near.humidity.get(), 0))
    };
    TABLE
        .into_iter()
        .filter_map(|t| {
            let row = rows.iter().find(|row| (row.temperature.get() - t).abs() < 0.5)?;
            let temperature = if map.fahrenheit {
                format!("{}\u{a0}°F", map.mark.show(t * 1.8 + 32.0, 0))
            } else {
                format!("{}\u{a0}°C", map.mark.show(t, 0))
            };
            Some(TableRow {
                temperature,
                likely: range(row.likely),
                may: range(row.may),
                guard: guard(t).unwrap_or_else(|| "–".to_owned()),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::set_time::{Label, Scatter};
    use crate::adhesives::{Air, AirDoubt, Bead, Liquids};
    use crate::advice::band::working_band;
    use crate::advice::judge::{CureClass, Limits, Question, RoomNow, ShelfBottle, Work};
    use crate::artists::Technique;
    use crate::artists::hands::{Hands, Timing};
    use crate::base::units::{HumidityDoubt, Seconds, TemperatureDoubt};

    fn doubt(humidity: f64, temperature: f64) -> Doubt {
        Doubt { humidity: HumidityDoubt::clamped(humidity), temperature: TemperatureDoubt::clamped(temperature) }
    }

    fn s(value: f64) -> Seconds {
        Seconds::new(value).unwrap()
    }

    fn spot(t: f64, h: f64) -> Spot {
        Spot { temperature: Celsius::clamped(t), humidity: RelHumidity::clamped(h) }
    }

    /// The band of an adhesive labelled with these seconds for quick, steady hands.
    fn band(label: (f64, f64)) -> Band {
        let timings: Vec<Timing> = (0..90)
            .map(|i| Timing {
                session: 1 + i / 30,
                travel: s(1.4 + 0.01 * f64::from(i % 13)),
                settle: s(0.7 + 0.02 * f64::from(i % 11)),
            })
            .collect();
        let hands = Hands::from_timings(&timings);
        let label = Label::window(s(label.0), s(label.1), None).unwrap();
        let bottles = [ShelfBottle::from_tests("Heath".into(), Some(&label), &[], &[], 5.0)];
        let any_adhesive = Scatter::of_any_adhesive();
        let classes = [CureClass::new(s(1.0), s(2.0)).unwrap()];
        let air = Air { temperature: Celsius::clamped(22.0), humidity: RelHumidity::clamped(45.0) };
        let q = Question {
            hands: &hands,
            room: RoomNow { air, doubt: AirDoubt::NONE },
            work: Work {
                technique: Technique::Classic,
                placements_per_set: 140,
                bead: Bead::Medium,
                pick_up: None,
                liquids: Liquids::NONE,
            },
            classes: &classes,
            any_adhesive: &any_adhesive,
            bottles: &bottles,
            not_today: &[],
            daily: None,
            limits: Limits::default(),
        };
        working_band(&q, 0, Verdict::Fits)
    }

    fn map<'a>(band: &'a Band, guards: &'a [GuardLine<'a>], trail: &'a [Spot]) -> Map<'a> {
        Map {
            id: "band",
            bottle: "Heath",
            band,
            reading: Some(Reading { spot: spot(21.6, 29.0), doubt: doubt(3.0, 0.5) }),
            trail,
            guards,
            aim: Some(spot(21.6, 36.0)),
            fahrenheit: false,
            mark: DecimalMark::Point,
        }
    }

    /// Boxes of every text, widths by the same measure as the labels.
    fn boxes(svg: &str) -> Vec<(String, Place)> {
        svg.split("<text")
            .skip(1)
            .map(|rest| {
                let of = |name: &str| -> f64 {
                    rest.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
                };
                let words = rest.split('>').nth(1).unwrap().split('<').next().unwrap().to_owned();
                let wide = words.chars().count() as f64 * 7.3;
                let anchor = rest.split('>').next().unwrap();
                let left = match anchor {
                    a if a.contains("middle") => of("x") - wide / 2.0,
                    a if a.contains("\"end\"") => of("x") - wide,
                    _ => of("x"),
                };
                (words, Place { left, right: left + wide, top: of("y") - 11.0, foot: of("y") + 3.0 })
            })
            .collect()
    }

    #[test]
    fn no_two_words_lie_over_each_other_and_all_stay_in_the_picture() {
        let guard: Vec<Spot> = (15..=30).map(|t| spot(f64::from(t), 90.0 - 2.0 * f64::from(t))).collect();
        let guards = [GuardLine { words: "glass wet past here", points: &guard }];
        for label in [(0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (5.0, 8.0)] {
            let band = band(label);
            let drawn = draw(&map(&band, &guards, &[]));
            let boxes = boxes(&drawn.svg);
            assert!(boxes.iter().any(|(words, _)| words == "now"));
            for (i, (words, a)) in boxes.iter().enumerate() {
                assert!(
                    a.left >= 0.0 && a.right <= WIDTH && a.foot <= HEIGHT,
                    "{words} leaves the picture at {label:?}"
                );
                for (other, b) in &boxes[i + 1..] {
                    let apart = a.right <= b.left || b.right <= a.left || a.foot <= b.top || b.foot <= a.top;
                    assert!(apart, "{words} lies over {other} at {label:?}");
                }
            }
        }
    }

    #[test]
    fn words_stand_where_they_are_true() {
        let kinds = [
            ("too slow", Suitability::TooSlow),
            ("too quick", Suitability::TooQuick),
            ("likely suits", Suitability::Likely),
            ("may suit", Suitability::May),
        ];
        let mut standing = std::collections::BTreeSet::new();
        for label in [(0.3, 0.5), (1.0, 2.0), (2.0, 3.0), (5.0, 8.0)] {
            let band = band(label);
            for (words, place) in boxes(&draw(&map(&band, &[], &[])).svg) {
                let Some((word, kind)) = kinds.iter().find(|(word, _)| *word == words) else { continue };
                let centre = (f64::midpoint(place.left, place.right), f64::midpoint(place.top, place.foot));
                assert_eq!(kind_at(&band, centre), *kind, "{word} at {label:?}");
                standing.insert(*word);
            }
        }
        assert_eq!(standing.len(), 4, "only {standing:?}");
    }

    #[test]
    fn a_year_of_trail_still_weighs_less_than_twelve_kilobytes() {
        let band = band((1.0, 2.0));
        let trail: Vec<Spot> =
            (0..5000).map(|i| spot(18.0 + f64::from(i % 80) / 10.0, 30.0 + f64::from(i % 37))).collect();
        let svg = draw(&map(&band, &[], &trail)).svg;
        assert!(svg.len() <= 12_000, "{}", svg.len());
        assert!(svg.contains("class=\"dots\"") && !svg.contains("style="));
    }

    #[test]
    fn the_table_agrees_with_the_map_and_an_edge_of_the_map_is_no_edge_of_the_band() {
        let band = band((1.0, 2.0));
        let drawn = draw(&map(&band, &[], &[]));
        assert_eq!(drawn.rows.len(), 4);
        let row = band.rows().into_iter().find(|row| (row.temperature.get() - 22.0).abs() < 0.1).unwrap();
        let (low, high) = row.likely.unwrap();
        let of_22 = &drawn.rows[2];
        assert_eq!(of_22.temperature, "22\u{a0}°C");
        for end in [low.get(), high.get()].into_iter().filter(|end| (20.5..79.5).contains(end)) {
            assert!(of_22.likely.contains(&format!("{end:.0}")), "{} {end}", of_22.likely);
        }
        if high.get() >= 80.0 {
            assert!(of_22.likely.ends_with("and above"), "{}", of_22.likely);
        }
    }

    #[test]
    fn the_finding_says_on_which_side_of_the_band_the_room_is() {
        let band = band((2.0, 3.0));
        let with = |h: f64| {
            let reading = Some(Reading { spot: spot(22.0, h), doubt: doubt(2.0, 0.3) });
            draw(&Map { reading, ..map(&band, &[], &[]) }).finding
        };
        let row = band.rows().into_iter().find(|row| (row.temperature.get() - 22.0).abs() < 0.1).unwrap();
        let (low, high) = row.likely.unwrap();
        let (low, high) = (low.get(), high.get());
        assert!(with(low - 1.0).ends_with("drier than the band."), "{}", with(low - 1.0));
        assert!(with(high + 1.0).ends_with("damper than the band."), "{}", with(high + 1.0));
        assert!(with(f64::midpoint(low, high)).ends_with("inside it."));
        assert!(draw(&Map { reading: None, ..map(&band, &[], &[]) }).finding.contains("has not been read"));
    }

    #[test]
    fn a_reading_off_the_map_stays_in_the_picture() {
        let band = band((1.0, 2.0));
        let reading = Some(Reading { spot: spot(38.0, 96.0), doubt: doubt(5.0, 1.0) });
        let svg = draw(&Map { reading, ..map(&band, &[], &[]) }).svg;
        assert!(svg.contains(&format!("class=\"cross\" d=\"M{} {}", Px(RIGHT - 7.0), Px(TOP))));
    }
}
