//! What closing a card still asks of numbers: lids on which nothing was counted, by number or by strips.

use super::card::{Count, Lash, Side, Whole, has_adhesive};
use super::counts::Strips;
use crate::base::ids::CardPartId;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::clearance::typed::{MoreNotes as _, Typed};
use crate::web::checks::{Notes, number_field};
use crate::web::form::FieldView;

/// Names of a lid's fields: single ones, fans, strips begun, left over.
pub(super) const fn fields_of(side: Side) -> [&'static str; 4] {
    match side {
        Side::Left => ["left_single", "left_fan", "left_strips", "left_over"],
        Side::Right => ["right_single", "right_fan", "right_strips", "right_over"],
        Side::LeftLower => ["left_lower_single", "left_lower_fan", "left_lower_strips", "left_lower_over"],
        Side::RightLower => ["right_lower_single", "right_lower_fan", "right_lower_strips", "right_lower_over"],
    }
}

/// The field of a number.
pub(super) const fn count_field(side: Side, lash: Lash) -> &'static str {
    let [single, fan, ..] = fields_of(side);
    match lash {
        Lash::Single => single,
        Lash::Fan => fan,
    }
}

/// What is still to be counted of a set with adhesive, lid by lid: both sorts of a hybrid lid, and of any other the one sort, where nothing
/// was counted on it.
pub(super) fn uncounted(whole: &Whole) -> Vec<(Side, Lash)> {
    if !has_adhesive(whole.card.kind) {
        return Vec::new();
    }
    let lashes = whole.lashes();
    let is_open = |side: Side, lash: Lash| {
        // What was counted as another sort, before the technique was changed, stands for a lid of one sort.
        !whole.counts.iter().any(|count| count.side == side && (lashes.len() == 1 || count.lash == lash))
    };
    let sides = whole.card.lids.sides().iter();
    let all = sides.flat_map(|side| lashes.iter().map(|lash| (*side, *lash)));
    all.filter(|(side, lash)| is_open(*side, *lash)).collect()
}

/// The lids among what is to be counted, each once, with the sorts that are missing.
fn by_lid(open: &[(Side, Lash)]) -> Vec<(Side, Vec<Lash>)> {
    let mut lids: Vec<(Side, Vec<Lash>)> = Vec::new();
    for (side, lash) in open {
        match lids.iter_mut().find(|(own, _)| own == side) {
            Some((_, lashes)) => lashes.push(*lash),
            None => lids.push((*side, vec![*lash])),
        }
    }
    lids
}

/// Lids for which a number was typed here and another one stands there by now: what the card says, and what was typed.
pub(super) fn counted_meanwhile(whole: &Whole, typed: &Typed) -> Vec<String> {
    let open = uncounted(whole);
    let line = |side: &Side| {
        let [single, fan, strips, over] = fields_of(*side);
        let own = |name: &str| typed.get(name).trim().to_owned();
        let stands = |lash: Lash| whole.placed_of(*side, lash).to_string();
        let differs = |name: &str, lash: Lash| {
            !open.contains(&(*side, lash)) && !own(name).is_empty() && own(name) != stands(lash)
        };
        let is_lid_open = open.iter().any(|(open, _)| open == side);
        let by_strips = !is_lid_open && !own(strips).is_empty();
        let moved = differs(single, Lash::Single) || differs(fan, Lash::Fan) || by_strips;
        let yours = [single, fan, strips, over].map(own).into_iter().filter(|own| !own.is_empty()).collect::<Vec<_>>();
        let on_it: u32 = Lash::ALL.iter().map(|lash| whole.placed_of(*side, *lash)).sum();
        moved.then(|| {
            let what = format!("The {} was counted since you opened this: {on_it} stand there", side.words());
            format!("{what}; you had typed {}. Nothing was saved yet.", yours.join(", "))
        })
    };
    whole.card.lids.sides().iter().filter_map(line).collect()
}

/// A field for each number that is missing; for one sort of lashes also by strips of so many each.
pub(super) fn count_fields(whole: &Whole, typed: &Typed, per_strip: u32) -> Vec<FieldView> {
    let mut fields = Vec::new();
    for (side, missing) in by_lid(&uncounted(whole)) {
        for lash in missing {
            let sort = if whole.lashes().len() > 1 { format!(", {}", lash.words()) } else { String::new() };
            let name = count_field(side, lash);
            let label = format!("Placed on the {}{sort}", side.words());
            fields.push(FieldView { inputmode: "numeric", ..number_field(name, &label, typed.get(name)).or_empty() });
        }
        if whole.lashes().len() == 1 {
            let [.., strips, over] = fields_of(side);
            fields.push(
                number_field(strips, &format!("Or by strips, {}: strips begun", side.words()), typed.get(strips))
                    .hinted(format!("Of {per_strip} each."))
                    .or_empty(),
            );
            fields.push(number_field(over, "Left over on them", typed.get(over)).or_empty());
        }
    }
    fields
}

/// The numbers that were typed, each missing one noted beside its field.
pub(super) fn check_counts(notes: &mut Notes, whole: &Whole, typed: &Typed, per_strip: u32, at: Instant) -> Vec<Count> {
    let mut counts = Vec::new();
    for (side, open) in by_lid(&uncounted(whole)) {
        let before = (counts.len(), notes.all().len());
        let count = |lash, placed, strips| Count { id: CardPartId::new(), side, lash, placed, zone: None, strips, at };
        let mut missing = Vec::new();
        for lash in &open {
            let name = count_field(side, *lash);
            if typed.get(name).trim().is_empty() {
                missing.push((name, *lash));
            } else if let Some(placed) = notes.whole(name, typed.get(name), (0, 999), "") {
                counts.push(count(*lash, placed, None));
            }
        }
        let [.., strips, over] = fields_of(side);
        if let ([lash], true) = (whole.lashes(), counts.len() == before.0)
            && let Some(Some((placed, of))) = by_strips(notes, [strips, over], typed, per_strip)
        {
            counts.push(count(*lash, placed, Some(of)));
        }
        if (counts.len(), notes.all().len()) == before && open.len() == whole.lashes().len() {
            let sentence = format!("Type how many were placed on the {}; 0 for none.", side.words());
            notes.add(count_field(side, open[0]), capital(&sentence));
        } else if whole.lashes().len() > 1 {
            // A number that was forgotten is no zero, also where the other sort was counted at the bed.
            for (name, lash) in missing {
                notes.add(name, format!("Type how many {} as well; 0 for none.", lash.words()));
            }
        }
    }
    counts
}

/// A number counted by what is gone from the strips, from three fields; none where all are empty.
fn by_strips(
    notes: &mut Notes,
    names: [&'static str; 2],
    typed: &Typed,
    per_strip: u32,
) -> Option<Option<(u32, Strips)>> {
    let [strips, left_over] = names;
    if typed.get(strips).trim().is_empty() && typed.get(left_over).trim().is_empty() {
        return Some(None);
    }
    let begun = notes.whole(strips, typed.get(strips), (1, 50), "");
    let left = notes.whole(left_over, typed.get(left_over), (0, 9999), "");
    let of = Strips { strips: begun?, per_strip, left_over: left? };
    match of.placed() {
        Some(placed) if placed > 999 => {
            notes.add(strips, format!("These come to {placed}, more than 999 on one lid. Count the strips again."));
            None
        }
        Some(placed) => Some(Some((placed, of))),
        None => {
            let there = of.strips * of.per_strip;
            notes.add(left_over, format!("Only {there} were on these strips."));
            None
        }
    }
}
