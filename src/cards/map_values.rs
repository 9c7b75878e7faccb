//! The values of one zone as fields: large choices for what is usual and for what stands on the map, and a line for any other number.

use super::seen::Around;
use super::typed_zone::TypedZone;
use crate::base::number::typed_decimal;
use crate::clearance::typed::Typed;
use crate::web::checks::{choice_field, number_field};
use crate::web::form::FieldView;

/// Lengths that are offered, millimetres.
const LENGTHS_MM: std::ops::RangeInclusive<u32> = 6..=15;
/// Diameters that are offered, hundredths of a millimetre.
const DIAMETERS: [u32; 8] = [3, 5, 6, 7, 10, 12, 15, 18];
/// Extensions a fan that are offered beside single ones.
const FANS: std::ops::RangeInclusive<u32> = 2..=10;

/// What the fields of the chosen zone hold.
#[derive(Debug, Clone, Default)]
pub(super) struct Values {
    tapped: TypedZone,
    /// Numbers that were typed instead: length and diameter.
    typed: [String; 2],
}

impl Values {
    /// Those of a zone.
    pub(super) fn of(zone: TypedZone) -> Self {
        Self { tapped: zone, typed: Default::default() }
    }

    /// As they were sent.
    pub(super) fn sent(typed: &Typed) -> Self {
        let get = |name| typed.get(name).to_owned();
        let tapped = TypedZone { length: get("length"), curl: get("curl"), diameter: get("diameter"), fan: get("fan") };
        Self { tapped, typed: [get("length_typed"), get("diameter_typed")] }
    }

    /// The zone they make: what was typed goes before what was tapped.
    pub(super) fn zone(&self) -> TypedZone {
        let or = |typed: &String, tapped: &String| if typed.trim().is_empty() { tapped } else { typed }.clone();
        let [length, diameter] = &self.typed;
        TypedZone {
            length: or(length, &self.tapped.length),
            diameter: or(diameter, &self.tapped.diameter),
            ..self.tapped.clone()
        }
    }
}

/// The fields; `all` are the zones of the map, whose values are offered too.
pub(super) fn panel_fields<'z>(
    values: &'z Values,
    all: &(impl Iterator<Item = &'z TypedZone> + Clone),
    around: &Around,
) -> Vec<FieldView> {
    let (studio, own) = (&around.studio, &values.tapped);
    let own_too = || all.clone().chain([own]);
    let lengths = LENGTHS_MM.map(|mm| studio.exact(f64::from(mm), 0));
    let lengths = offered(lengths, own_too().map(|zone| &zone.length), (4.0, 25.0));
    let wide = DIAMETERS.into_iter().map(|hundredths| studio.exact(f64::from(hundredths) / 100.0, 2));
    let wide = offered(wide, own_too().map(|zone| &zone.diameter), (0.02, 0.3));
    let fans = offered(FANS.map(|fan| fan.to_string()), own_too().map(|zone| &zone.fan), (2.0, 20.0));
    let fan = if own.is_single() { "1" } else { own.fan.trim() };
    let curls = around.settings.curls.iter().map(|curl| (curl.clone(), curl.clone()));
    let curl = around.settings.curls.iter().find(|curl| curl.eq_ignore_ascii_case(own.curl.trim()));
    let same = |value: String| (value.clone(), value);
    let none = std::iter::once((String::new(), "left out".to_owned()));
    let single = std::iter::once(("1".to_owned(), "single".to_owned()));
    let length_line = line(&values.typed[0], &own.length, &lengths);
    let wide_line = line(&values.typed[1], &own.diameter, &wide);
    vec![
        choice_field(
            "radio",
            "length",
            "Length, mm",
            &alike(&own.length, &lengths),
            none.chain(lengths.into_iter().map(same)),
        ),
        number_field("length_typed", "Another length, mm", &length_line).or_empty(),
        choice_field("radio", "curl", "Curl", curl.map_or("", String::as_str), curls),
        choice_field("radio", "diameter", "Diameter, mm", &alike(&own.diameter, &wide), wide.into_iter().map(same)),
        number_field("diameter_typed", "Another diameter, mm", &wide_line).or_empty(),
        choice_field(
            "radio",
            "fan",
            "Fan",
            fan,
            single.chain(fans.into_iter().map(|fan| (fan.clone(), format!("{fan}D")))),
        ),
    ]
}

/// What is usual and what stands on the map, by size, each once.
fn offered<'z>(
    usual: impl Iterator<Item = String>,
    on_map: impl Iterator<Item = &'z String>,
    (least, most): (f64, f64),
) -> Vec<String> {
    let on_map = on_map.map(|text| text.trim().to_owned());
    let mut all: Vec<(f64, String)> = Vec::new();
    for text in usual.chain(on_map) {
        let Some(value) = typed_decimal(&text).filter(|value| (least..=most).contains(value)) else { continue };
        if !all.iter().any(|(own, _)| (own - value).abs() < 1e-9) {
            all.push((value, text));
        }
    }
    all.sort_by(|(one, _), (other, _)| one.total_cmp(other));
    all.into_iter().map(|(_, text)| text).collect()
}

/// What stands in the line for another number: what was typed there, or what no choice offers.
fn line(typed: &str, tapped: &str, offered: &[String]) -> String {
    let is_offered = tapped.trim().is_empty() || offered.contains(&alike(tapped, offered));
    if typed.trim().is_empty() && !is_offered { tapped.to_owned() } else { typed.to_owned() }
}

/// The offered value of this size; the text itself where none is.
fn alike(text: &str, offered: &[String]) -> String {
    let value = typed_decimal(text);
    let same = |own: &&String| value.zip(typed_decimal(own)).is_some_and(|(one, other)| (one - other).abs() < 1e-9);
    offered.iter().find(same).cloned().unwrap_or_else(|| text.trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_that_stands_on_the_map_is_offered_beside_the_usual_ones() {
        let on_map = ["9,5".to_owned(), "8.0".to_owned(), "900".to_owned(), String::new()];
        let all = offered((8..=10).map(|mm| mm.to_string()), on_map.iter(), (4.0, 25.0));
        assert_eq!(all, ["8", "9", "9,5", "10"]);
        assert_eq!(alike("8.0", &all), "8");
        assert_eq!(alike("900", &all), "900");
        // What is not offered is typed, so that it can be put right.
        assert_eq!(
            (line("", "900", &all).as_str(), line("", "8", &all).as_str(), line("7", "8", &all).as_str()),
            ("900", "", "7")
        );
    }

    #[test]
    fn what_is_typed_goes_before_what_is_tapped() {
        let typed = Typed::of([
            ("length", "9".to_owned()),
            ("length_typed", "9.5".to_owned()),
            ("diameter", "0.05".to_owned()),
        ]);
        let zone = Values::sent(&typed).zone();
        assert_eq!((zone.length.as_str(), zone.diameter.as_str()), ("9.5", "0.05"));
    }
}
