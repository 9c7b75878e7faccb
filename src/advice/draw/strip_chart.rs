//! The shelf on one rule of seconds, counted from contact: the hands time as a bracket, which set
//! times suit as a tinted strip, and each bottle as a circle with a thick and a thin line.

use super::Ink;
use crate::adhesives::set_time::Times;
use crate::advice::strip::Suits;
use crate::advice::words;
use crate::base::chart::{Px, Scale, escaped, round_span};
use crate::base::number::DecimalMark;
use crate::base::units::Seconds;

/// Width of every row: about as wide as it is drawn on a phone, so that text keeps its size.
const WIDTH: f64 = 320.0;
const LEFT: f64 = 14.0;
const RIGHT: f64 = 306.0;
/// Height of the row that carries the axis, and of a bottle's row.
const HEAD: f64 = 76.0;
const ROW: f64 = 44.0;
/// Never a rule shorter or longer than this, in seconds: beyond it a line runs out of the picture with an arrow.
const SHORTEST_S: f64 = 2.0;
const LONGEST_S: f64 = 20.0;

/// A bottle to be drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnRule<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its set time here.
    pub set_time: Times,
    /// Whether it rests on its label and assumptions alone: drawn dashed.
    pub guess: bool,
}

/// What the rule shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule<'a> {
    /// The hands time, 1 in 10, half, 9 in 10 placements: until the extension lies still, counting what the travel uses up.
    pub hands_time: Times,
    /// Set times that suit, if any.
    pub suits: Option<Suits>,
    /// The bottles, in the order of the list.
    pub bottles: &'a [OnRule<'a>],
    /// The studio's decimal mark.
    pub mark: DecimalMark,
}

/// The pictures: one for the axis, one for each bottle in the order given; every one on the same scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// The axis with bracket and strip.
    pub head: String,
    /// A row for each bottle.
    pub rows: Vec<String>,
    /// How to read it.
    pub caption: String,
}

/// Draws the shelf on one rule.
#[must_use]
pub fn draw(rule: &Rule<'_>) -> Drawn {
    let (scale, ticks) = axis(rule);
    let strip = rule.suits.map(|suits| (scale.at_or_edge(suits.from.get()), scale.at_or_edge(suits.to.get())));
    let grid = |from: f64, to: f64| {
        let mut path = Ink::default();
        for tick in &ticks {
            path.add(format_args!("M{} {}V{}", Px(scale.at(*tick)), Px(from), Px(to)));
        }
        format!("<path class=\"tick\" d=\"{}\"/>", path.0)
    };
    let rows = rule.bottles.iter().map(|bottle| row(bottle, &scale, strip, &grid(0.0, ROW), rule)).collect();
    Drawn { head: head(rule, &scale, &ticks, strip, &grid(58.0, HEAD)), rows, caption: caption(rule) }
}

/// The scale from contact on, long enough for the hands, the strip and every best guess.
fn axis(rule: &Rule<'_>) -> (Scale, Vec<f64>) {
    let mut longest = rule.hands_time.high.get().max(rule.suits.map_or(0.0, |suits| suits.to.get()));
    for bottle in rule.bottles {
        longest = longest.max(bottle.set_time.median.get() * 1.25).max(bottle.set_time.high.get().min(longest * 1.5));
    }
    let (span, ticks) = round_span((0.0, longest.clamp(SHORTEST_S, LONGEST_S)), 7);
    (Scale::new(span, (LEFT, RIGHT)), ticks)
}

fn head(rule: &Rule<'_>, scale: &Scale, ticks: &[f64], strip: Option<(f64, f64)>, grid: &str) -> String {
    let still = rule.hands_time;
    let mut svg = Ink::default();
    let said = format!(
        "Rule of seconds after contact. The hands time is between {}, 8 times in 10. {}",
        words::seconds_range_in(rule.mark, still.low, still.high).replace('–', " and "),
        strip_words(rule)
    );
    svg.add(format_args!(
        "<svg class=\"rl\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">",
        Px(WIDTH),
        Px(HEAD),
        escaped(&said)
    ));
    if let Some((from, to)) = strip {
        svg.add(format_args!(
            "<rect class=\"zone\" x=\"{}\" y=\"36\" width=\"{}\" height=\"40\"/>",
            Px(from),
            Px((to - from).max(1.0))
        ));
    }
    svg.0.push_str(grid);
    // Every second label where they would stand too close.
    let every = if ticks.len() > 6 { 2 } else { 1 };
    let whole = ticks.iter().all(|tick| tick.fract().abs() < 1e-9);
    let last = (ticks.len() - 1) / every * every;
    for (at, tick) in ticks.iter().enumerate().step_by(every) {
        let number = rule.mark.show(*tick, usize::from(!whole));
        let label = if at == last { format!("{number}\u{a0}s") } else { number };
        svg.text("q", (scale.at(*tick).min(RIGHT - 6.0), 54.0), "middle", &label);
    }
    let (low, mid, high) =
        (scale.at_or_edge(still.low.get()), scale.at_or_edge(still.median.get()), scale.at_or_edge(still.high.get()));
    svg.add(format_args!(
        "<path class=\"hand\" d=\"M{} 36v-9H{}v9M{} 27v-7\"/>",
        Px(low),
        Px(high.max(low + 3.0)),
        Px(mid)
    ));
    svg.text("", (mid.clamp(LEFT + 26.0, RIGHT - 90.0), 14.0), "middle", "hands time");
    if let Some((from, to)) = strip {
        // Beside the hands’ words on the upper line when there is room, else at the right end.
        let clear = mid.clamp(LEFT + 26.0, RIGHT - 90.0) + 62.0;
        svg.text("", (f64::midpoint(from, to).clamp(clear, RIGHT - 16.0), 14.0), "middle", "suits");
        svg.add(format_args!(
            "<path class=\"tick\" d=\"M{} 18L{} 36\"/>",
            Px(f64::midpoint(from, to).clamp(clear, RIGHT - 16.0)),
            Px(f64::midpoint(from, to))
        ));
    }
    svg.0.push_str("</svg>");
    svg.0
}

fn row(bottle: &OnRule<'_>, scale: &Scale, strip: Option<(f64, f64)>, grid: &str, rule: &Rule<'_>) -> String {
    let times = bottle.set_time;
    let mut svg = Ink::default();
    let said = format!(
        "{}: best guess {}, likely {}; {}",
        bottle.name,
        words::seconds_in(rule.mark, times.median),
        words::seconds_range_in(rule.mark, times.low, times.high),
        strip_words(rule)
    );
    svg.add(format_args!(
        "<svg class=\"rl\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">",
        Px(WIDTH),
        Px(ROW),
        escaped(&said)
    ));
    if let Some((from, to)) = strip {
        svg.add(format_args!(
            "<rect class=\"zone\" x=\"{}\" y=\"0\" width=\"{}\" height=\"{}\"/>",
            Px(from),
            Px((to - from).max(1.0)),
            Px(ROW)
        ));
    }
    svg.0.push_str(grid);
    let at = |seconds: f64| scale.at_or_edge(seconds);
    let (low, high) = (at(times.low.get()), at(times.high.get()));
    let guess = if bottle.guess { " guess" } else { "" };
    svg.add(format_args!("<path class=\"thin{guess}\" d=\"M{} 22H{}\"/>", Px(low), Px(high.max(low + 1.0))));
    if !bottle.guess {
        let (from, to) = half(&times);
        let (from, to) = (at(from), at(to));
        svg.add(format_args!("<path class=\"thick\" d=\"M{} 22H{}\"/>", Px(from), Px(to.max(from + 1.0))));
    }
    let longest = scale_end(scale);
    if times.high.get() > longest {
        svg.add(format_args!("<path class=\"open\" d=\"M{} 17l6 5l-6 5\"/>", Px(RIGHT)));
    }
    svg.add(format_args!("<circle class=\"best\" cx=\"{}\" cy=\"22\" r=\"5\"/></svg>", Px(at(times.median.get()))));
    svg.0
}

/// The seconds at the right end of the scale.
fn scale_end(scale: &Scale) -> f64 {
    let per_second = scale.at(1.0) - scale.at(0.0);
    (RIGHT - LEFT) / per_second
}

/// The middle half of the possibilities, read off the 8-in-10 range as if the logarithm were normal on each side of
/// the median: 0.6745 of 1.2816 standard deviations.
fn half(times: &Times) -> (f64, f64) {
    const PART: f64 = 0.674_490 / 1.281_552;
    let median = times.median.get().max(1e-9);
    let towards = |end: Seconds| median * (end.get().max(1e-9) / median).powf(PART);
    (towards(times.low), towards(times.high))
}

fn strip_words(rule: &Rule<'_>) -> String {
    match rule.suits {
        Some(suits) => format!("{} suits.", words::seconds_range_in(rule.mark, suits.from, suits.to)),
        None => "No set time suits both limits.".to_owned(),
    }
}

fn caption(rule: &Rule<'_>) -> String {
    let strip = match rule.suits {
        Some(suits) => format!(
            "The tinted strip is where these hands and a bottle agree: {}.",
            words::seconds_range_in(rule.mark, suits.from, suits.to)
        ),
        None => "No set time suits these hands within both limits, so there is no tinted strip.".to_owned(),
    };
    format!(
        "One rule of seconds, counted from contact. The bracket is the hands time, 8 times in 10: until an extension lies still, counting what the travel uses up. {strip} Circle: best guess. Thick line: half the time. Thin line: 8 times in 10. Dashed: a starting guess."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(value: f64) -> Seconds {
        Seconds::new(value).unwrap()
    }

    fn times(low: f64, median: f64, high: f64) -> Times {
        Times { low: s(low), median: s(median), high: s(high) }
    }

    fn shelf<'a>(bottles: &'a [OnRule<'a>]) -> Rule<'a> {
        Rule {
            hands_time: times(0.8, 1.2, 1.8),
            suits: Some(Suits { from: s(2.0), to: s(2.4) }),
            bottles,
            mark: DecimalMark::Point,
        }
    }

    #[test]
    fn every_row_says_what_it_draws_and_shares_the_scale() {
        let bottles = [
            OnRule { name: "Heath", set_time: times(2.2, 2.6, 3.1), guess: false },
            OnRule { name: "Dune <1>", set_time: times(2.9, 4.2, 6.1), guess: true },
        ];
        let drawn = draw(&shelf(&bottles));
        assert!(drawn.rows[0].contains("Heath: best guess 2.6\u{a0}s, likely 2.2–3.1\u{a0}s; 2.0–2.4\u{a0}s suits."));
        assert!(drawn.rows[0].contains("class=\"thick\"") && !drawn.rows[1].contains("class=\"thick\""));
        assert!(drawn.rows[1].contains("thin guess") && drawn.rows[1].contains("Dune &lt;1&gt;"));
        let zone = |svg: &str| svg.split("class=\"zone\" x=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        assert_eq!(zone(&drawn.head), zone(&drawn.rows[0]));
        assert_eq!(zone(&drawn.rows[0]), zone(&drawn.rows[1]));
    }

    #[test]
    fn a_doubt_without_end_leaves_the_picture_with_an_arrow() {
        let bottles = [OnRule { name: "Fen", set_time: times(2.0, 8.0, 900.0), guess: false }];
        let drawn = draw(&shelf(&bottles));
        assert!(drawn.rows[0].contains("class=\"open\""));
        let x: f64 = drawn.rows[0].split("cx=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        assert!((LEFT..=RIGHT).contains(&x));
    }

    #[test]
    fn no_strip_is_said_in_words() {
        let rule = Rule { suits: None, ..shelf(&[]) };
        let drawn = draw(&rule);
        assert!(!drawn.head.contains("zone") && drawn.head.contains("No set time suits both limits."));
        assert!(drawn.caption.contains("No set time suits"));
    }

    #[test]
    fn twelve_bottles_weigh_less_than_twelve_kilobytes() {
        let bottles = vec![OnRule { name: "Heath, lot 21", set_time: times(2.2, 2.6, 3.1), guess: false }; 12];
        let drawn = draw(&shelf(&bottles));
        assert!(drawn.head.len() + drawn.rows.iter().map(String::len).sum::<usize>() <= 12_000);
    }

    #[test]
    fn half_the_time_lies_inside_eight_in_ten() {
        let (from, to) = half(&times(1.0, 2.0, 4.0));
        assert!((from - 2.0 * 0.5_f64.powf(0.526_3)).abs() < 1e-3 && (to - 2.0 * 2.0_f64.powf(0.526_3)).abs() < 1e-3);
    }
}
