//! A number on its rule: the studio's band as a strip, what is likely as a line, the best guess as a circle.
//!
//! The words beside it say the same, so the picture is hidden from readers of the screen.

use std::fmt::Write as _;

use super::instrument::LIKELY;
use crate::base::chart::{Px, Scale, escaped, round_span};

/// Width of the picture: about as wide as it is drawn, so that its figures keep their size.
const WIDTH: f64 = 264.0;
const HEIGHT: f64 = 46.0;
/// The strip and the marks of the rule end here; figures stand below.
const FOOT: f64 = 28.0;
/// Half the height of the strip: where the line lies.
const MIDDLE: f64 = FOOT / 2.0;
/// Room at both ends for half a figure.
const EDGE: f64 = 14.0;
/// Two figures nearer than this would run into each other.
const FIGURE: f64 = 34.0;
/// How many standard uncertainties hold half of all values, each way.
const HALF_THE_TIME: f64 = 0.674_489_750_196_08;

/// What lies on the rule, on the scale the page shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnRule {
    /// The best guess.
    pub value: f64,
    /// Its standard uncertainty.
    pub doubt: f64,
    /// The least and the most the value can be at all: 0 and 100 for %RH.
    pub limits: (f64, f64),
    /// The studio's band.
    pub band: (f64, f64),
    /// True where a stale reading or an unchecked instrument widens the range: its ends are then arrows.
    pub open: bool,
    /// The studio's decimal mark.
    pub decimal_mark: char,
}

impl OnRule {
    /// The range that holds the value 8 times in 10.
    #[must_use]
    pub fn likely(&self) -> (f64, f64) {
        self.within(LIKELY)
    }

    fn within(&self, times: f64) -> (f64, f64) {
        let end = |value: f64| value.clamp(self.limits.0, self.limits.1);
        (end(self.value - times * self.doubt), end(self.value + times * self.doubt))
    }
}

/// Draws it: an `svg` of classes only. The rule spans the band and as much again, and whatever else has to lie on it.
#[must_use]
pub fn rule(on: &OnRule) -> String {
    let likely = on.likely();
    let beside = (on.band.1 - on.band.0) / 2.0;
    let least = (on.band.0 - beside).max(on.limits.0).min(likely.0).min(on.value);
    let most = (on.band.1 + beside).min(on.limits.1).max(likely.1).max(on.value);
    let (span, ticks) = round_span((least, most), 8);
    let x = Scale::new(span, (EDGE, WIDTH - EDGE));
    let mut svg = format!("<svg class=\"rl\" viewBox=\"0 0 {} {}\" aria-hidden=\"true\">", Px(WIDTH), Px(HEIGHT));
    let (left, right) = (x.at(on.band.0), x.at(on.band.1));
    let mut add = |piece: std::fmt::Arguments<'_>| {
        let written = svg.write_fmt(piece);
        debug_assert!(written.is_ok(), "writing into memory cannot fail");
    };
    add(format_args!(
        "<rect class=\"zone\" x=\"{}\" y=\"0\" width=\"{}\" height=\"{}\"/>",
        Px(left),
        Px(right - left),
        Px(FOOT)
    ));
    add(format_args!("<path class=\"tick\" d=\""));
    for tick in &ticks {
        add(format_args!("M{} 0V{}", Px(x.at(*tick)), Px(FOOT)));
    }
    add(format_args!("\"/>"));
    let half = on.within(HALF_THE_TIME);
    add(format_args!(
        "<path class=\"thin\" d=\"M{} {m}H{}\"/>",
        Px(x.at(likely.0)),
        Px(x.at(likely.1)),
        m = Px(MIDDLE)
    ));
    if on.open {
        add(format_args!(
            "<path class=\"open\" d=\"M{} {top}l-6 6 6 6M{} {top}l6 6-6 6\"/>",
            Px(x.at(likely.0)),
            Px(x.at(likely.1)),
            top = Px(MIDDLE - 6.0)
        ));
    }
    add(format_args!("<path class=\"thick\" d=\"M{} {m}H{}\"/>", Px(x.at(half.0)), Px(x.at(half.1)), m = Px(MIDDLE)));
    add(format_args!("<circle class=\"best\" cx=\"{}\" cy=\"{}\" r=\"5\"/>", Px(x.at(on.value)), Px(MIDDLE)));
    for (value, at) in figures(on, left, right) {
        let figure = escaped(&Px(value).to_string().replace('.', &on.decimal_mark.to_string()).replace('-', "−"));
        add(format_args!(
            "<text class=\"q\" x=\"{}\" y=\"{}\" text-anchor=\"middle\">{figure}</text>",
            Px(at),
            Px(FOOT + 15.0)
        ));
    }
    svg.push_str("</svg>");
    svg
}

/// The ends of the band, named under the rule; only the lower one where both would not fit.
fn figures(on: &OnRule, left: f64, right: f64) -> Vec<(f64, f64)> {
    if right - left < FIGURE { vec![(on.band.0, left)] } else { vec![(on.band.0, left), (on.band.1, right)] }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn humidity(value: f64, doubt: f64) -> OnRule {
        OnRule { value, doubt, limits: (0.0, 100.0), band: (40.0, 60.0), open: false, decimal_mark: '.' }
    }

    /// The x of the first piece of this class.
    fn x_of(svg: &str, class: &str, attribute: &str) -> f64 {
        let from = svg.find(&format!("class=\"{class}\"")).unwrap();
        let rest = &svg[from..];
        let from = rest.find(&format!(" {attribute}=\"")).unwrap() + attribute.len() + 3;
        let number: String =
            rest[from..].chars().skip_while(|c| *c == 'M').take_while(|c| c.is_ascii_digit() || *c == '.').collect();
        number.parse().unwrap()
    }

    #[test]
    fn a_value_in_the_middle_of_the_band_lies_in_the_middle_of_the_strip() {
        let svg = rule(&humidity(50.0, 1.5));
        let strip = x_of(&svg, "zone", "x") + x_of(&svg, "zone", "width") / 2.0;
        assert!((x_of(&svg, "best", "cx") - strip).abs() < 0.2, "{svg}");
        assert!(svg.contains(">40<") && svg.contains(">60<"), "{svg}");
    }

    #[test]
    fn a_value_below_the_band_lies_left_of_the_strip() {
        let svg = rule(&humidity(21.0, 1.5));
        assert!(x_of(&svg, "best", "cx") < x_of(&svg, "zone", "x"), "{svg}");
    }

    #[test]
    fn eight_times_in_ten_is_wider_than_half_the_time_and_stops_at_what_is_possible() {
        let (low, high) = humidity(98.0, 4.0).likely();
        assert!((low - 92.87).abs() < 0.01 && (high - 100.0).abs() < 1e-9);
        let svg = rule(&humidity(50.0, 4.0));
        assert!(x_of(&svg, "thin", "d") < x_of(&svg, "thick", "d"), "{svg}");
    }

    #[test]
    fn a_range_widened_by_age_or_a_missing_check_ends_in_arrows() {
        assert!(!rule(&humidity(50.0, 4.0)).contains("class=\"open\""));
        assert!(rule(&OnRule { open: true, ..humidity(50.0, 4.0) }).contains("class=\"open\""));
    }

    #[test]
    fn figures_carry_the_studios_mark_and_leave_out_what_would_not_fit() {
        let narrow = OnRule { limits: (-20.0, 60.0), band: (20.5, 21.0), decimal_mark: ',', ..humidity(2.0, 0.5) };
        let svg = rule(&narrow);
        assert!(svg.contains(">20,5<") && !svg.contains(">21<"), "{svg}");
    }

    proptest! {
        #[test]
        fn everything_stays_on_the_picture(value in 0.0..100.0f64, doubt in 0.0..60.0f64, low in 5.0..60.0f64, wide in 1.0..35.0f64) {
            let svg = rule(&OnRule { band: (low, low + wide), ..humidity(value, doubt) });
            for (class, attribute) in [("best", "cx"), ("zone", "x"), ("thin", "d"), ("thick", "d")] {
                let x = x_of(&svg, class, attribute);
                prop_assert!((0.0..=WIDTH).contains(&x), "{class} at {x}: {svg}");
            }
            prop_assert!(!svg.contains("NaN") && svg.len() < 2000);
        }
    }
}
