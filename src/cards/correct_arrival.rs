//! The count on arrival in a correction: as fields, and judged. Pure.

use super::card::{Arrival, Whole};
use super::counts::{found, found_fields};
use crate::clearance::typed::{MoreNotes as _, Typed};
use crate::web::checks::{Notes, number_field};
use crate::web::form::FieldView;

/// As it stands: two numbers a lid, the third is worked out.
pub(super) fn typed_arrival(whole: &Whole) -> impl Iterator<Item = (&'static str, String)> {
    whole.arrival.iter().flat_map(|own| {
        let [attached, grown_out, _] = found_fields(own.side);
        [(attached, own.found.attached.to_string()), (grown_out, own.found.grown_out.to_string())]
    })
}

/// Its fields; `had` is how many were on each of these lids, by what the card before says now.
pub(super) fn arrival_fields(whole: &Whole, had: &[u32], typed: &Typed) -> Vec<FieldView> {
    let mut fields = Vec::new();
    for (own, had) in whole.arrival.iter().zip(had) {
        let words = ["still attached", "taken off, grown out", "lost"];
        for (name, word) in found_fields(own.side).into_iter().zip(words) {
            let label = format!("On arrival, {}: {word}", own.side.words());
            fields.push(number_field(name, &label, typed.get(name)).hinted(format!("of {had}")).or_empty());
        }
    }
    fields
}

/// As it was typed, what does not go together noted beside its lid. A lid of which nothing was sent keeps what it has.
pub(super) fn check_arrival(notes: &mut Notes, whole: &Whole, had: &[u32], typed: &Typed) -> Vec<Arrival> {
    let mut all = Vec::new();
    for (own, had) in whole.arrival.iter().zip(had) {
        let names = found_fields(own.side);
        let before = notes.all().len();
        let mut numbers = [None; 3];
        for (number, name) in numbers.iter_mut().zip(names) {
            if !typed.get(name).trim().is_empty() {
                *number = notes.whole(name, typed.get(name), (0, 999), "");
            }
        }
        if notes.all().len() > before {
            continue;
        }
        let found = if numbers == [None; 3] { Ok(own.found) } else { found(*had, numbers) };
        match found {
            Ok(found) => all.push(Arrival { found, ..own.clone() }),
            Err(contradiction) => notes.add(names[0], contradiction.sentence()),
        }
    }
    all
}
