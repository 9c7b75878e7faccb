//! The fields of what is worked with, alike on every form of a card: bottle, bead, liquids, technique.

use crate::adhesives::{self, Bead, Liquid, Liquids, OnShelf};
use crate::artists::Style;
use crate::base::ids::BottleId;
use crate::clearance::NotToday;
use crate::clearance::typed::{Typed, checks_field};
use crate::web::checks::{Notes, choice_field, text_field};
use crate::web::form::FieldView;

/// Bottles of the shelf as choices; one that is not for today, or not for her, says why.
pub(super) fn bottle_choices<'s>(
    shelf: &'s [OnShelf],
    refused: &'s [(BottleId, NotToday)],
) -> impl Iterator<Item = (String, String)> + 's {
    shelf.iter().map(|own| {
        let hers = refused.iter().find(|(id, _)| *id == own.bottle).map(|(_, why)| why.words());
        let why = own.out.map(adhesives::Out::words).or(hers);
        let words = why.map_or_else(|| own.name.clone(), |why| format!("{} – not for today: {why}", own.name));
        (own.bottle.to_string(), words)
    })
}

/// Bead, liquids and technique; each style once, in the order given.
pub(super) fn work_fields(typed: &Typed, styles: impl IntoIterator<Item = Style>) -> [FieldView; 3] {
    let mut all: Vec<Style> = Vec::new();
    for style in styles {
        if !all.contains(&style) {
            all.push(style);
        }
    }
    let none = std::iter::once((String::new(), "none of these".to_owned()));
    let styles = none.chain(all.into_iter().map(|style| (style.key(), style.words())));
    let beads = Bead::ALL.map(|bead| (bead.word().to_owned(), bead.word().to_owned()));
    let liquids = Liquid::ALL.map(|own| (own.key().to_owned(), own.words().to_owned()));
    [
        choice_field("radio", "bead", "Bead", typed.get("bead"), beads),
        checks_field("liquids", "Liquids", &typed.all("liquids"), liquids).or_empty(),
        choice_field("select", "technique", "Technique", typed.get("technique"), styles),
    ]
}

/// The colour of the extensions.
pub(super) fn colour_field(typed: &Typed) -> FieldView {
    text_field("colour", "Colour of the extensions", typed.get("colour")).hinted("Empty: black.").or_empty()
}

/// The colour that was typed; empty for black.
pub(super) fn check_colour(notes: &mut Notes, typed: &Typed) -> String {
    match typed.get("colour").trim() {
        "" => String::new(),
        words => notes.line("colour", words, 40).unwrap_or_default(),
    }
}

/// The liquids that were ticked; a word that is none of ours ticks nothing.
pub(super) fn typed_liquids(typed: &Typed) -> Liquids {
    let known = |key: &&str| Liquid::ALL.into_iter().find(|own| own.key() == *key);
    typed.all("liquids").iter().filter_map(known).collect()
}
