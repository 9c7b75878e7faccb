//! When the extension lies still, against when the bond sets: one axis of seconds from contact, forty dots above it and
//! forty hanging below.

use super::{Chart, Ink, WIDTH, Wording, axis, tick_words};
use crate::artists::words::{bare, seconds};
use crate::base::chart::{Px, Scale};
use crate::base::stats::normal;
use crate::base::stats::sample::quantile_of;
use crate::base::units::Seconds;

/// Dots of each side; each stands for 1 in 40.
pub const DOTS: usize = 40;

/// Times of one bottle that are equally likely.
#[derive(Debug, Clone, Copy)]
pub struct Times<'a> {
    /// The bottle's name.
    pub name: &'a str,
    /// Its set times, equally likely; [`dots_of`] takes them off any distribution.
    pub seconds: &'a [Seconds],
}

/// Forty equally likely times of a distribution, given as its quantile function in seconds.
#[must_use]
pub fn dots_of(quantile: impl Fn(f64) -> f64) -> Vec<Seconds> {
    (0..DOTS).map(|i| Seconds::clamped(quantile((i as f64 + 0.5) / DOTS as f64))).collect()
}

/// Forty equally likely times with these ends and middle, as if the logarithm were normal on each side of the median: one
/// in ten lies below `low`, one in ten above `high`.
#[must_use]
pub fn dots_between(low: Seconds, median: Seconds, high: Seconds) -> Vec<Seconds> {
    let (low, median, high) = (low.get().max(1e-9), median.get().max(1e-9), high.get().max(1e-9));
    dots_of(|p| {
        let z = normal::quantile(p) / normal::quantile(0.9);
        let end = if z < 0.0 { low } else { high };
        median * (end / median).powf(z.abs())
    })
}

const LEFT: f64 = 14.0;
const RIGHT: f64 = 352.0;
/// Where the dots above stand, and where those below hang.
const ABOVE: f64 = 108.0;
const BELOW: f64 = 134.0;
/// Room for a pile of dots.
const PILE: f64 = 84.0;
/// Distance of the middles of two dots beside each other.
const STEP: f64 = 7.0;
const RADIUS: f64 = 3.1;

/// Draws hands, and a bottle when one is in view.
#[must_use]
pub fn hands_against(hands: &[Seconds], bottle: Option<Times<'_>>, wording: &Wording<'_>) -> Chart {
    let shares = bottle.map(|bottle| disturbed(hands, bottle.seconds));
    let finding = finding(hands, bottle.map(|bottle| bottle.name).zip(shares), wording);
    let title = match bottle {
        Some(bottle) => format!("{}: when it lies still, and when {} sets", wording.whose, bottle.name),
        None => format!("{}: when the extension lies still", wording.whose),
    };
    let height = if bottle.is_some() { BELOW + PILE + 26.0 } else { BELOW + 14.0 };
    let mut ink = Ink::begin(wording, height, &title, &finding);
    let longest = hands.iter().chain(bottle.map_or(&[][..], |bottle| bottle.seconds)).map(|s| s.get());
    let mut longest: Vec<f64> = longest.collect();
    let (x, ticks) = axis(quantile_of(&mut longest, 0.985), (LEFT, RIGHT));
    foot(&mut ink, &x, &ticks, bottle.is_some(), wording);
    let moved = shares.map_or(0, |share| (share * hands.len() as f64).round() as usize);
    for (at, (cx, up)) in piles(hands, &x).into_iter().enumerate() {
        let cy = ABOVE - RADIUS - 1.0 - up;
        // The slowest are those the bond does not wait for.
        if at + moved >= hands.len() { square(&mut ink, cx, cy) } else { dot(&mut ink, "hand-dot", cx, cy) }
    }
    ink.text("", (LEFT, 16.0), "start", "the extension lies still");
    if let Some(bottle) = bottle {
        for (cx, down) in piles(bottle.seconds, &x) {
            dot(&mut ink, "bond-dot", cx, BELOW + RADIUS + 1.0 + down);
        }
        window(&mut ink, &x, bottle.seconds);
        ink.text("", (LEFT, height - 8.0), "start", &format!("{} sets", bottle.name));
    }
    Chart {
        svg: ink.end(),
        caption: caption(bottle.is_some(), moved),
        finding,
        head: head(),
        rows: table(hands, bottle, wording),
    }
}

/// The bottle's window on its line: best guess, half of all, eight in ten.
fn window(ink: &mut Ink, x: &Scale, bonds: &[Seconds]) {
    let place = |p: f64| Px(x.at_or_edge(at(bonds, p).get()));
    ink.path("thin", &format!("M{} {}H{}", place(0.1), Px(BELOW), place(0.9)));
    ink.path("thick", &format!("M{} {}H{}", place(0.25), Px(BELOW), place(0.75)));
    ink.add(format_args!("<circle class=\"best\" cx=\"{}\" cy=\"{}\" r=\"4.5\"/>", place(0.5), Px(BELOW)));
}

/// Share of placements still moved when the bond sets: over all pairs, since each time is equally likely.
fn disturbed(hands: &[Seconds], bonds: &[Seconds]) -> f64 {
    let pairs = (hands.len() * bonds.len()).max(1) as f64;
    hands.iter().map(|h| bonds.iter().filter(|t| *t < h).count()).sum::<usize>() as f64 / pairs
}

fn finding(hands: &[Seconds], bottle: Option<(&str, f64)>, wording: &Wording<'_>) -> String {
    match bottle {
        Some((name, share)) => {
            let in_100 = match (100.0 * share).round() {
                n if n < 1.0 => "under 1 in 100".to_owned(),
                n if n > 99.0 => "over 99 in 100".to_owned(),
                n => format!("about {n:.0} in 100"),
            };
            format!("With {name} {in_100} placements are still moved when the bond sets.")
        }
        None => format!(
            "Half the placements lie still by {}, nine in ten by {}.",
            seconds(at(hands, 0.5), wording.decimal),
            seconds(at(hands, 0.9), wording.decimal)
        ),
    }
}

fn caption(with_bottle: bool, moved: usize) -> String {
    let hands = "Each dot is 1 in 40 placements, at the second after contact when the extension lies still; the travel counts as the part of the set it uses up.";
    let bond =
        "Hanging below: when the bond sets; on its line the best guess as a circle, half of all thick, 8 in 10 thin.";
    match (with_bottle, moved) {
        (false, _) => hands.to_owned(),
        (true, 0) => format!("{hands} {bond}"),
        (true, n) => format!("{hands} {bond} Squares with a slit, {n} of 40: still moved by then."),
    }
}

/// A dot's place across, and how high in its pile, in the order of the times.
fn piles(times: &[Seconds], x: &Scale) -> Vec<(f64, f64)> {
    let places: Vec<usize> =
        times.iter().map(|time| ((x.at_or_edge(time.get()) - LEFT) / STEP).floor().max(0.0) as usize).collect();
    let highest = places.iter().map(|place| places.iter().filter(|other| *other == place).count()).max().unwrap_or(1);
    let rise = STEP.min((PILE - 2.0 * RADIUS) / (highest.max(2) - 1) as f64);
    places
        .iter()
        .enumerate()
        .map(|(i, place)| {
            let below = places[..i].iter().filter(|other| *other == place).count();
            (LEFT + (*place as f64 + 0.5) * STEP, below as f64 * rise)
        })
        .collect()
}

fn dot(ink: &mut Ink, class: &str, x: f64, y: f64) {
    ink.add(format_args!("<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>", Px(x), Px(y), Px(RADIUS)));
}

fn square(ink: &mut Ink, x: f64, y: f64) {
    ink.add(format_args!(
        "<path class=\"moved-dot\" d=\"M{} {}h6.4v6.4h-6.4ZM{} {}v1.6h4v-1.6Z\"/>",
        Px(x - 3.2),
        Px(y - 3.2),
        Px(x - 2.0),
        Px(y - 0.8)
    ));
}

fn foot(ink: &mut Ink, x: &Scale, ticks: &[f64], with_bottle: bool, wording: &Wording<'_>) {
    ink.path("ax", &format!("M{} {}H{}", Px(LEFT), Px(ABOVE), Px(RIGHT)));
    if with_bottle {
        ink.path("ax", &format!("M{} {}H{}", Px(LEFT), Px(BELOW), Px(RIGHT)));
    }
    for tick in ticks {
        ink.path("tick", &format!("M{} {}v4", Px(x.at(*tick)), Px(ABOVE)));
        ink.text("q", (x.at(*tick), ABOVE + 19.0), "middle", &tick_words(ticks, *tick, wording.decimal));
    }
    let under = if with_bottle { BELOW + PILE + 18.0 } else { BELOW + 11.0 };
    ink.text("q", (WIDTH - 2.0, under), "end", "seconds from contact");
}

fn at(times: &[Seconds], p: f64) -> Seconds {
    let mut values: Vec<f64> = times.iter().map(|time| time.get()).collect();
    Seconds::clamped(quantile_of(&mut values, p))
}

fn head() -> Vec<String> {
    ["Seconds from contact", "1 in 10", "Half", "9 in 10"].map(str::to_owned).into()
}

fn table(hands: &[Seconds], bottle: Option<Times<'_>>, wording: &Wording<'_>) -> Vec<Vec<String>> {
    let row = |name: String, times: &[Seconds]| {
        let figures = [0.1, 0.5, 0.9].map(|p| bare(at(times, p), wording.decimal));
        std::iter::once(name).chain(figures).collect()
    };
    let mut rows = vec![row("The extension lies still".to_owned(), hands)];
    rows.extend(bottle.map(|bottle| row(format!("{} sets", bottle.name), bottle.seconds)));
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::number::DecimalMark;

    const WORDING: Wording<'static> =
        Wording { id: "against", whose: "Ines Okafor, classic", decimal: DecimalMark::Point };

    fn times(median: f64, spread: f64) -> Vec<Seconds> {
        dots_of(|p| median * (spread * normal::quantile(p)).exp())
    }

    #[test]
    fn hands_alone_are_forty_dots_and_a_sentence() {
        let chart = hands_against(&times(2.0, 0.3), None, &WORDING);
        assert_eq!(chart.svg.matches("hand-dot").count(), DOTS);
        assert_eq!(chart.svg.matches("bond-dot").count(), 0);
        assert_eq!(chart.finding, "Half the placements lie still by 2.0\u{a0}s, nine in ten by 2.9\u{a0}s.");
        assert_eq!(chart.rows, [["The extension lies still", "1.4", "2.0", "2.9"]]);
    }

    #[test]
    fn those_the_bond_does_not_wait_for_are_squares_and_counted_in_words() {
        // Both log-normal: the share is Φ(ln(2/3)/√(0.3² + 0.2²)) = 0.130.
        let (hands, bonds) = (times(2.0, 0.3), times(3.0, 0.2));
        let chart = hands_against(&hands, Some(Times { name: "Heath", seconds: &bonds }), &WORDING);
        assert_eq!(chart.svg.matches("moved-dot").count(), 5);
        assert_eq!(chart.svg.matches("hand-dot").count(), 35);
        assert_eq!(chart.svg.matches("bond-dot").count(), 40);
        assert_eq!(chart.finding, "With Heath about 13 in 100 placements are still moved when the bond sets.");
        assert!(chart.caption.contains("5 of 40"));
        assert_eq!(chart.svg.matches("class=\"best\"").count(), 1, "the bottle's window stands on its line");
        assert_eq!(chart.rows.len(), 2);
    }

    #[test]
    fn a_picture_stays_small_and_its_dots_inside() {
        for spread in [0.001, 0.1, 1.2] {
            let (hands, bonds) = (times(1.0, spread), times(1.1, spread));
            let chart = hands_against(&hands, Some(Times { name: "<Dune>", seconds: &bonds }), &WORDING);
            assert!(chart.svg.len() < 12_000 && !chart.svg.contains("<Dune>"));
            for part in chart.svg.split("cy=\"").skip(1) {
                let y: f64 = part.split('"').next().unwrap().parse().unwrap();
                assert!((ABOVE - PILE - 4.0..=BELOW + PILE + 4.0).contains(&y), "{y} at spread {spread}");
            }
        }
    }
}
