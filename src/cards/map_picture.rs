//! The lash map drawn: the lid unrolled, a stroke as high as the extension is long, a fan as three from one foot. Classes only.
//!
//! A zone is drawn one millimetre high and stretched, so that `static/js/map.js` changes a length by changing one number.

use std::fmt::Write as _;

use super::card::{Side, Whole, Zone};
use super::typed_zone::TypedZone;
use crate::base::chart::{Px, escaped};
use crate::base::number::typed_decimal;
use crate::base::text::capital;
use crate::web::studio::Studio;

/// About as wide as it is drawn on a phone, so that text keeps its size.
const WIDTH: f64 = 350.0;
/// Pixels a millimetre.
pub(super) const PX_A_MM: f64 = 5.5;
/// The longest extension that is drawn at its length.
pub(super) const LONGEST_MM: f64 = 18.0;
/// Strokes a zone: a picture of what goes there, not of how many.
const STROKES: u32 = 9;
/// Room for the strokes, and for three lines of words under them.
const HIGH: f64 = 104.0;
const WORDS: f64 = 50.0;

/// A zone as it is drawn.
pub(super) struct Drawn {
    /// Its field on the page of the map.
    pub(super) key: String,
    pub(super) typed: TypedZone,
    /// Something was counted in it.
    pub(super) counted: bool,
    /// It is not saved as it is drawn.
    pub(super) draft: bool,
}

/// Field of a zone: "left_lower_3".
pub(super) fn key(side: Side, zone: u32) -> String {
    format!("{}_{zone}", side.word())
}

/// Words at the left and right ends of a lid. Seen from the head of the bed the left eye is on the left, its inner corner on the right.
pub(super) const fn ends(side: Side) -> [&'static str; 2] {
    if side.is_left() { ["outer", "inner"] } else { ["inner", "outer"] }
}

/// A lid's zones as they stand from left to right.
pub(super) fn in_order<T>(side: Side, mut zones: Vec<T>) -> Vec<T> {
    if side.is_left() {
        zones.reverse();
    }
    zones
}

/// The picture of one lid, zones from left to right; hidden from screen readers, since what stands beside it says the same.
pub(super) fn comb(side: Side, zones: &[Drawn]) -> String {
    drawn(side, zones, HIGH, "aria-hidden=\"true\"", "")
}

/// The same to be read by itself: with a name, and what is in each zone under it.
fn comb_in_words(side: Side, zones: &[Drawn], name: &str) -> String {
    let wide = WIDTH / count(zones);
    let mut words = String::new();
    let mut line = |at: usize, y: f64, text: &str| {
        let x = wide * (at as f64 + 0.5);
        // Writing to a String cannot fail.
        let _written =
            write!(words, "<text x=\"{}\" y=\"{}\" text-anchor=\"middle\">{}</text>", Px(x), Px(y), escaped(text));
    };
    for (at, zone) in zones.iter().enumerate().filter(|(_, zone)| !zone.typed.is_left_out()) {
        line(at, HIGH + 15.0, &zone.typed.said());
        line(at, HIGH + 30.0, zone.typed.diameter.trim());
        if !zone.typed.is_single() {
            line(at, HIGH + 45.0, &format!("{}D", zone.typed.fan.trim()));
        }
    }
    drawn(side, zones, HIGH + WORDS, &format!("role=\"img\" aria-label=\"{}\"", escaped(name)), &words)
}

fn count(zones: &[Drawn]) -> f64 {
    zones.len().max(1) as f64
}

fn drawn(side: Side, zones: &[Drawn], high: f64, named: &str, words: &str) -> String {
    let wide = WIDTH / count(zones);
    let hangs = matches!(side, Side::LeftLower | Side::RightLower);
    // Upper lashes stand on their lid, lower ones hang from it.
    let (lid, up) = if hangs { (3.0, 1.0) } else { (HIGH - 3.0, -1.0) };
    let mut svg = format!("<svg viewBox=\"0 0 {} {}\" {named}>", Px(WIDTH), Px(high));
    for (at, zone) in zones.iter().enumerate() {
        let mm = typed_decimal(&zone.typed.length).filter(|mm| *mm > 0.0).map(|mm| mm.min(LONGEST_MM));
        let class =
            [("out", mm.is_none()), ("fan", !zone.typed.is_single()), ("counted", zone.counted), ("draft", zone.draft)];
        let class = class.iter().filter(|(_, is)| *is).map(|(word, _)| *word).collect::<Vec<_>>().join(" ");
        let _written = write!(
            svg,
            "<g class=\"{class}\" data-of=\"{}\" transform=\"translate({} {}) scale(1 {})\">{}</g>",
            escaped(&zone.key),
            Px(wide * at as f64),
            Px(lid),
            Px(mm.unwrap_or(0.0) * PX_A_MM),
            strokes(wide, up)
        );
    }
    let _written = write!(svg, "<path class=\"lid-line\" d=\"M0 {}H{}\"/>{words}</svg>", Px(lid), Px(WIDTH));
    svg
}

/// Strokes of one pixel's height: single ones, and fans.
fn strokes(wide: f64, up: f64) -> String {
    let (mut single, mut fans) = (String::new(), String::new());
    for stroke in 0..STROKES {
        let x = wide * (f64::from(stroke) + 0.5) / f64::from(STROKES);
        let _written = write!(single, "M{} 0V{}", Px(x), Px(up));
        if stroke % 2 == 0 {
            for aside in [-2.5, 0.0, 2.5] {
                let _written = write!(fans, "M{} 0L{} {}", Px(x), Px(x + aside), Px(up));
            }
        }
    }
    format!("<path class=\"one\" d=\"{single}\"/><path class=\"many\" d=\"{fans}\"/>")
}

/// A row of the table behind the pictures.
pub(super) struct Row {
    pub(super) zone: String,
    pub(super) length: String,
    pub(super) curl: String,
    pub(super) diameter: String,
    pub(super) fan: String,
    /// How many were counted in it; empty where nobody counted by zones.
    pub(super) placed: String,
}

/// A lid of a kept map: picture, and the same as rows.
pub(super) struct Lid {
    pub(super) name: String,
    pub(super) picture: String,
    pub(super) ends: [&'static str; 2],
    pub(super) rows: Vec<Row>,
}

/// Every lid of a card's map that says something.
pub(super) fn lids(whole: &Whole, studio: &Studio, zones: u32) -> Vec<Lid> {
    let most = whole.zones.iter().map(|zone| zone.zone).max().unwrap_or(0).max(zones);
    let own = |side: &Side| {
        let of_lid: Vec<&Zone> = whole.zones.iter().filter(|zone| zone.side == *side).collect();
        (!of_lid.is_empty()).then(|| lid(whole, studio, *side, &of_lid, most))
    };
    Side::ALL.iter().filter_map(own).collect()
}

fn lid(whole: &Whole, studio: &Studio, side: Side, zones: &[&Zone], most: u32) -> Lid {
    let placed = |number: u32| -> u32 {
        let own = whole.counts.iter().filter(|count| count.side == side && count.zone == Some(number));
        own.map(|count| count.placed).sum()
    };
    let drawn = |number: u32| {
        let zone = zones.iter().find(|zone| zone.zone == number);
        let typed = zone.map_or_else(TypedZone::default, |zone| TypedZone::of(zone, studio));
        Drawn { key: key(side, number), typed, counted: placed(number) > 0, draft: false }
    };
    let all = in_order(side, (1..=most).map(drawn).collect());
    let name = capital(side.words());
    let row = |zone: &&Zone| Row {
        zone: zone.zone.to_string(),
        length: studio.exact(zone.length_mm, 0),
        curl: zone.curl.clone(),
        diameter: studio.exact(zone.diameter_mm, 2),
        fan: if zone.fan > 1 { format!("{}D", zone.fan) } else { "single".to_owned() },
        placed: Some(placed(zone.zone))
            .filter(|placed| *placed > 0)
            .map(|placed| placed.to_string())
            .unwrap_or_default(),
    };
    Lid {
        picture: comb_in_words(side, &all, &format!("Lash map, {}; the table says the same", side.words())),
        ends: ends(side),
        rows: zones.iter().map(row).collect(),
        name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone(number: u32, text: &str) -> Drawn {
        Drawn { key: key(Side::Left, number), typed: TypedZone::read(text), counted: false, draft: false }
    }

    #[test]
    fn a_stroke_is_as_high_as_the_extension_is_long() {
        let svg = comb(Side::Left, &[zone(2, "10 C 0.05 4D"), zone(1, "8 C 0.15")]);
        assert!(svg.contains("class=\"fan\" data-of=\"left_2\" transform=\"translate(0 101) scale(1 55)\""), "{svg}");
        assert!(svg.contains("class=\"\" data-of=\"left_1\" transform=\"translate(175 101) scale(1 44)\""), "{svg}");
        assert!(svg.contains("aria-hidden=\"true\""));
    }

    #[test]
    fn what_is_left_out_is_not_drawn_and_lower_lashes_hang() {
        let svg = comb(Side::LeftLower, &[zone(1, "")]);
        assert!(svg.contains("class=\"out\"") && svg.contains("0V1M"), "{svg}");
        assert!(comb(Side::Left, &[zone(1, "")]).contains("0V-1M"));
    }

    #[test]
    fn the_outer_corner_of_the_left_eye_is_on_the_left_of_both_sights() {
        assert_eq!((ends(Side::Left), ends(Side::Right)), (["outer", "inner"], ["inner", "outer"]));
        assert_eq!(
            (in_order(Side::Left, vec![1, 2, 3]), in_order(Side::RightLower, vec![1, 2, 3])),
            (vec![3, 2, 1], vec![1, 2, 3])
        );
    }
}
