//! The lash map as lines of text, for a correction: a zone a line, "3 10 C 0.05 4D". Pure.

use super::card::{Side, Zone};
use super::typed_zone::{TypedZone, ZONES};
use crate::base::number::DecimalMark;
use crate::clearance::typed::{Typed, words_field};
use crate::web::checks::Notes;
use crate::web::form::FieldView;
use crate::web::studio::Studio;

/// The field of a lid.
pub(super) const fn map_name(side: Side) -> &'static str {
    match side {
        Side::Left => "map_left",
        Side::Right => "map_right",
        Side::LeftLower => "map_left_lower",
        Side::RightLower => "map_right_lower",
    }
}

/// A lid's zones as they would be typed.
pub(super) fn map_text(zones: &[Zone], side: Side, studio: &Studio) -> String {
    let line = |zone: &Zone| format!("{} {}", zone.zone, TypedZone::of(zone, studio).text());
    zones.iter().filter(|zone| zone.side == side).map(line).collect::<Vec<_>>().join("\n")
}

/// A field for each lid.
pub(super) fn map_fields<'s>(
    typed: &'s Typed,
    sides: &'s [Side],
    mark: DecimalMark,
) -> impl Iterator<Item = FieldView> + 's {
    sides.iter().map(move |side| {
        let name = map_name(*side);
        words_field(name, &format!("Map, {}", side.words()), typed.get(name))
            .hinted(format!("A line for each zone: its number from the inner corner, millimetres, curl, diameter, fan. For instance 3 10 C {} 4D.", mark.exact(0.05)))
            .or_empty()
    })
}

/// The zones that were typed, what is wrong noted beside its lid. A lid whose field was not sent keeps what it has.
pub(super) fn check_map(
    notes: &mut Notes,
    typed: &Typed,
    (sides, curls): (&[Side], &[String]),
    stands: &[Zone],
) -> Option<Vec<Zone>> {
    let mut all: Option<Vec<Zone>> = Some(stands.iter().filter(|zone| !sides.contains(&zone.side)).cloned().collect());
    for side in sides {
        let name = map_name(*side);
        let own = match typed.all(name).first() {
            None => Ok(stands.iter().filter(|zone| zone.side == *side).cloned().collect()),
            Some(text) => read(text, *side, curls, notes.mark()),
        };
        match own {
            Ok(own) => all.iter_mut().for_each(|all| all.extend(own.iter().cloned())),
            Err(told) => {
                notes.add(name, told);
                all = None;
            }
        }
    }
    all
}

/// The zones of one lid, in their order.
fn read(text: &str, side: Side, curls: &[String], mark: DecimalMark) -> Result<Vec<Zone>, String> {
    let mut zones: Vec<Zone> = Vec::new();
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
        let (number, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
        let number = number.parse().ok().filter(|number| (1..=ZONES.1).contains(number));
        let Some(number) = number else {
            return Err(format!("“{line}”: a line begins with the number of its zone, 1 to {}.", ZONES.1));
        };
        if zones.iter().any(|zone| zone.zone == number) {
            return Err(format!("Zone {number} stands here twice."));
        }
        match TypedZone::read(rest).check(side, number, curls, mark) {
            Ok(Some(zone)) => zones.push(zone),
            Ok(None) => return Err(format!("Zone {number}: say its length, or take the line out.")),
            Err(wrong) => {
                let told: Vec<_> = wrong.into_iter().map(|(_, told)| told).collect();
                return Err(format!("Zone {number}: {}", told.join(" ")));
            }
        }
    }
    zones.sort_by_key(|zone| zone.zone);
    Ok(zones)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDES: [Side; 2] = [Side::Left, Side::Right];

    fn check(left: Option<&str>, stands: &[Zone]) -> Result<Vec<Zone>, String> {
        let typed = Typed::of(left.map(|text| ("map_left", text.to_owned())));
        let mut notes = Notes::default();
        let all = check_map(&mut notes, &typed, (&SIDES, &["C".to_owned(), "CC".to_owned()]), stands);
        all.ok_or_else(|| notes.all().iter().map(|note| note.sentence.clone()).collect())
    }

    #[test]
    fn a_map_is_read_as_it_is_written() {
        let zones = check(Some("1 8 C 0.15\n3 10 CC 0.05 4D\n\n2 9 C 0.15 "), &[]).unwrap();
        let text = map_text(&zones, Side::Left, &Studio::default());
        assert_eq!(text, "1 8 C 0.15\n2 9 C 0.15\n3 10 CC 0.05 4D");
        assert_eq!(check(Some(&text), &[]).unwrap(), zones);
        assert_eq!(map_text(&zones, Side::Right, &Studio::default()), "");
    }

    #[test]
    fn a_lid_that_was_not_sent_keeps_its_zones_and_an_empty_one_loses_them() {
        let stands = check(Some("1 8 C 0.15"), &[]).unwrap();
        assert_eq!(check(None, &stands).unwrap(), stands);
        assert_eq!(check(Some(" "), &stands).unwrap(), []);
    }

    #[test]
    fn limits_and_the_example_are_told_with_the_sign_of_the_studio() {
        let typed = Typed::of([("map_left", "1 8 C 5".to_owned())]);
        for (mark, limits, example) in
            [(DecimalMark::Point, "0.02 to 0.3", "C 0.05 4D"), (DecimalMark::Comma, "0,02 to 0,3", "C 0,05 4D")]
        {
            let mut notes = Notes::said_with(mark);
            assert_eq!(check_map(&mut notes, &typed, (&SIDES, &["C".to_owned()]), &[]), None);
            assert!(notes.all()[0].sentence.contains(limits), "{}", notes.all()[0].sentence);
            let fields: Vec<_> = map_fields(&typed, &SIDES, mark).collect();
            assert!(fields[0].hint.as_ref().is_some_and(|hint| hint.contains(example)), "{:?}", fields[0].hint);
        }
    }

    #[test]
    fn what_is_wrong_is_told_with_its_zone() {
        for (text, told) in [
            ("10 C 0.15", "“10 C 0.15”: a line begins with the number of its zone"),
            ("inner 8 C 0.15", "a line begins with the number of its zone"),
            ("2 30 C 0.15", "Zone 2: The length is from 4 to 25 mm."),
            ("2 9 Q 0.15", "Zone 2: Choose one of the studio’s curls: C, CC."),
            ("2 9 C 0.15\n2 8 C 0.15", "Zone 2 stands here twice."),
            ("2", "Zone 2: say its length, or take the line out."),
        ] {
            let said = check(Some(text), &[]).unwrap_err();
            assert!(said.contains(told), "{text}: {said}");
        }
    }
}
