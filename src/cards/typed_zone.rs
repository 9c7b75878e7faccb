//! A zone of the lash map as it is tapped and typed: "9 C 0.05 4D", a part that was not said yet as "?". Pure.

use super::card::{Side, Zone};
use crate::base::number::{DecimalMark, typed_decimal};
use crate::web::studio::Studio;

/// The fewest and the most zones of a lid.
pub(super) const ZONES: (u32, u32) = (3, 9);

/// The parts of a zone, as they were typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct TypedZone {
    /// Millimetres; empty where the zone is left out.
    pub(super) length: String,
    /// A curl of the studio's list.
    pub(super) curl: String,
    /// Millimetres.
    pub(super) diameter: String,
    /// Extensions a fan; empty or 1 for single ones.
    pub(super) fan: String,
}

impl TypedZone {
    /// Reads what [`TypedZone::text`] wrote.
    pub(super) fn read(text: &str) -> Self {
        let mut parts = text.split_whitespace().map(|part| if part == "?" { "" } else { part });
        let mut next = || parts.next().unwrap_or_default().to_owned();
        let (length, curl, diameter) = (next(), next(), next());
        Self { length, curl, diameter, fan: next().trim_end_matches(['d', 'D']).to_owned() }
    }

    /// As the page keeps it, and as one says it.
    pub(super) fn text(&self) -> String {
        if self.is_blank() {
            return String::new();
        }
        let part = |typed: &str| {
            let squeezed: String = typed.split_whitespace().collect();
            if squeezed.is_empty() { "?".to_owned() } else { squeezed }
        };
        let fan = if self.is_single() { String::new() } else { format!(" {}D", part(&self.fan)) };
        format!("{} {} {}{fan}", part(&self.length), part(&self.curl), part(&self.diameter))
    }

    /// A zone of a kept map.
    pub(super) fn of(zone: &Zone, studio: &Studio) -> Self {
        Self {
            length: studio.exact(zone.length_mm, 0),
            curl: zone.curl.clone(),
            diameter: studio.exact(zone.diameter_mm, 2),
            fan: zone.fan.to_string(),
        }
    }

    /// Nothing was said of it.
    pub(super) fn is_blank(&self) -> bool {
        [&self.length, &self.curl, &self.diameter].iter().all(|part| part.trim().is_empty())
    }

    /// Nothing is placed there.
    pub(super) fn is_left_out(&self) -> bool {
        self.length.trim().is_empty()
    }

    pub(super) fn is_single(&self) -> bool {
        ["", "1"].contains(&self.fan.trim())
    }

    /// "9 C", or that it is left out.
    pub(super) fn said(&self) -> String {
        let curl = if self.curl.trim().is_empty() { "?" } else { self.curl.trim() };
        if self.is_left_out() { "left out".to_owned() } else { format!("{} {curl}", self.length.trim()) }
    }

    /// "0.05, 4D"; empty where it is left out.
    pub(super) fn more(&self) -> String {
        let wide = if self.diameter.trim().is_empty() { "?" } else { self.diameter.trim() };
        let fan = if self.is_single() { "single".to_owned() } else { format!("{}D", self.fan.trim()) };
        if self.is_left_out() { String::new() } else { format!("{wide}, {fan}") }
    }

    /// The zone; none where it is left out.
    ///
    /// # Errors
    /// For each part that is not as it should be, its field on the page and a sentence.
    pub(super) fn check(
        &self,
        side: Side,
        zone: u32,
        curls: &[String],
        mark: DecimalMark,
    ) -> Result<Option<Zone>, Vec<(&'static str, String)>> {
        if self.is_left_out() {
            return Ok(None);
        }
        let mut wrong = Vec::new();
        let length = typed_decimal(&self.length).filter(|mm| (4.0..=25.0).contains(mm));
        if length.is_none() {
            wrong.push(("length_typed", "The length is from 4 to 25 mm.".to_owned()));
        }
        let curl = curls.iter().find(|own| own.eq_ignore_ascii_case(self.curl.trim()));
        if curl.is_none() {
            wrong.push(("curl", format!("Choose one of the studio’s curls: {}.", curls.join(", "))));
        }
        let diameter = typed_decimal(&self.diameter).filter(|mm| (0.02..=0.3).contains(mm));
        if diameter.is_none() {
            wrong.push((
                "diameter_typed",
                format!("The diameter is from {} to {} mm.", mark.exact(0.02), mark.exact(0.3)),
            ));
        }
        let fan = if self.is_single() { Some(1) } else { self.fan.trim().parse().ok() };
        let fan = fan.filter(|fan| (1..=20).contains(fan));
        if fan.is_none() {
            wrong.push(("fan", "Choose one of these.".to_owned()));
        }
        match (length, curl, diameter, fan) {
            (Some(length_mm), Some(curl), Some(diameter_mm), Some(fan)) => {
                Ok(Some(Zone { side, zone, length_mm, curl: curl.clone(), diameter_mm, fan }))
            }
            _ => Err(wrong),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str) -> Result<Option<Zone>, Vec<&'static str>> {
        let curls = ["C".to_owned(), "CC".to_owned()];
        let checked = TypedZone::read(text).check(Side::Left, 2, &curls, DecimalMark::Point);
        checked.map_err(|wrong| wrong.into_iter().map(|(field, _)| field).collect())
    }

    #[test]
    fn a_zone_is_kept_as_it_is_said() {
        let zone = check("8 c 0.05 4D").unwrap().unwrap();
        assert_eq!((zone.zone, zone.fan, zone.curl.as_str()), (2, 4, "C"));
        let zone = check("9,5 CC 0,15").unwrap().unwrap();
        assert_eq!((zone.fan, zone.length_mm, zone.diameter_mm), (1, 9.5, 0.15));
        for text in ["9,5 CC 0,15", "8 ? 0.05 4D", "? C 0.05", ""] {
            assert_eq!(TypedZone::read(text).text(), text);
        }
    }

    #[test]
    fn a_zone_without_a_length_is_left_out() {
        for text in ["", "?", "? C 0.05 4D"] {
            assert_eq!(check(text), Ok(None), "{text}");
            assert_eq!(TypedZone::read(text).said(), "left out");
        }
    }

    #[test]
    fn each_part_that_is_wrong_is_told_beside_its_own_field() {
        for (text, wrong) in [
            ("3 C 0.05", vec!["length_typed"]),
            ("26 C 0.05", vec!["length_typed"]),
            ("8 Q 0.05", vec!["curl"]),
            ("8 ? 5", vec!["curl", "diameter_typed"]),
            ("8 C 0.05 21D", vec!["fan"]),
            ("8 C 0.05 manyD", vec!["fan"]),
            ("x y z", vec!["length_typed", "curl", "diameter_typed"]),
        ] {
            assert_eq!(check(text), Err(wrong), "{text}");
        }
    }
}
