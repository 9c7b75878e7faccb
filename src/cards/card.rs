//! A treatment card and its parts, as types. Pure.

pub use super::values::{Aftercare, Comfort, CountedBy, Lash, Lids, Seen, Side};

use serde::{Deserialize, Serialize};

use crate::adhesives::{Bead, Liquids};
use crate::artists::Style;
use crate::base::ids::{
    AdviceId, AppointmentId, ArtistId, BottleId, CardId, CardPartId, ClientId, PersonId, RoomId, TabletId,
};
use crate::base::number::DecimalMark;
use crate::base::time::Instant;
use crate::book::VisitKind;

/// What was looked at before the first placement: key and words.
pub const START: [(&str, &str); 3] = [
    ("lenses", "contact lenses are out"),
    ("eyes", "eyes closed, and comfortably so"),
    ("position", "she lies well, head supported"),
];

/// Kinds of visit that get a card.
pub fn kinds() -> impl Iterator<Item = VisitKind> {
    VisitKind::ALL.into_iter().filter(|kind| !matches!(kind, VisitKind::PatchTest | VisitKind::Consultation))
}

/// True for a visit that takes lashes off.
#[must_use]
pub const fn is_removal(kind: VisitKind) -> bool {
    matches!(kind, VisitKind::Removal | VisitKind::OtherRemoval)
}

/// True for a visit with adhesive.
#[must_use]
pub const fn has_adhesive(kind: VisitKind) -> bool {
    !is_removal(kind) && !matches!(kind, VisitKind::PatchTest | VisitKind::Consultation | VisitKind::Other)
}

/// A card.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// Its id.
    pub id: CardId,
    /// What was booked; none for who walked in.
    pub appointment: Option<AppointmentId>,
    /// Who was treated.
    pub client: ClientId,
    /// Who treated her.
    pub artist: ArtistId,
    /// Where.
    pub room: RoomId,
    /// What kind of visit it was.
    pub kind: VisitKind,
    /// Which lids.
    pub lids: Lids,
    /// When it began.
    pub begun: Instant,
    /// When it was closed.
    pub closed: Option<Instant>,
    /// Entered afterwards from a sheet of paper, and who wrote that.
    pub paper: Option<PersonId>,
    /// When the house learnt of it, and an actor's mark.
    pub entered: (Instant, String),
    /// What clearance said then.
    pub clearance: String,
    /// The room's air at the start: °C and %RH, corrected.
    pub air: Option<(f64, f64)>,
    /// The advice that was taken before it.
    pub advice: Option<AdviceId>,
    /// The class advised, in words; empty where none was.
    pub advised_class: String,
    /// The bottle advised.
    pub advised_bottle: Option<BottleId>,
    /// The bottle taken, and its lot.
    pub bottle: Option<BottleId>,
    /// Empty where none is printed.
    pub lot: String,
    /// How it was picked up.
    pub bead: Bead,
    /// With which liquids.
    pub liquids: Liquids,
    /// In which technique.
    pub style: Option<Style>,
    /// Who was present with a trainee.
    pub supervisor: Option<PersonId>,
    /// Another studio's extensions are on these lashes.
    pub elsewhere: bool,
    /// The card whose set this visit mends at no charge.
    pub first_card: Option<CardId>,
    /// What took lashes off, its lot, and for how many minutes.
    pub remover: Remover,
    /// What was said about the next visit.
    pub next_visit: String,
    /// How aftercare was given.
    pub aftercare: Aftercare,
    /// Lines of the hygiene list that were ticked.
    pub hygiene: Vec<String>,
    /// Counts corrections, from 1.
    pub version: i64,
}

impl Card {
    /// The class advised, with this decimal sign: it is kept with a point.
    #[must_use]
    pub fn advised_class_in(&self, mark: DecimalMark) -> String {
        self.advised_class.replace('.', mark.sign())
    }
}

/// What took lashes off.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Remover {
    /// The product as it is called; empty where none was used.
    pub product: String,
    /// Its lot.
    pub lot: String,
    /// Minutes on the lashes.
    pub minutes: Option<u32>,
}

/// What may be about her health: sealed with the client's key.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Words {
    /// A word of [`Comfort`].
    pub comfort: String,
    /// Condition of her own lashes.
    pub condition: String,
    /// Colour of the extensions; empty for black. No word of health: it is only kept beside these.
    pub colour: String,
    /// Why lashes were taken off.
    pub reason: String,
    /// Anything else.
    pub note: String,
}

/// One zone of a lash map.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone {
    /// Which lid.
    pub side: Side,
    /// Counted from the inner corner, from 1.
    pub zone: u32,
    /// Millimetres.
    pub length_mm: f64,
    /// A word of the studio's list.
    pub curl: String,
    /// Millimetres.
    pub diameter_mm: f64,
    /// Extensions a fan; 1 for single ones.
    pub fan: u32,
}

/// A number placed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// Its id.
    pub id: CardPartId,
    /// Which lid.
    pub side: Side,
    /// Single ones or fans.
    pub lash: Lash,
    /// How many.
    pub placed: u32,
    /// In which zone of the map; none for the whole lid.
    pub zone: Option<u32>,
    /// Counted from strips.
    pub strips: Option<super::counts::Strips>,
    /// When.
    pub at: Instant,
}

/// A fresh drop of adhesive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drop {
    /// Its id.
    pub id: CardPartId,
    /// When.
    pub at: Instant,
    /// Of which bottle and lot.
    pub bottle: BottleId,
    /// Empty where none is printed.
    pub lot: String,
    /// How it is picked up.
    pub bead: Bead,
    /// What was seen since the one before.
    pub seen: Vec<Seen>,
    /// The tablet it was begun on while that was locked; it counts as the artist's.
    pub tablet: Option<TabletId>,
}

/// What was still there of an earlier card's set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Arrival {
    /// Which lid.
    pub side: Side,
    /// The card whose set was counted.
    pub of_card: CardId,
    /// What was found.
    pub found: super::counts::Found,
    /// By whom.
    pub counted_by: CountedBy,
    /// The person, where it was another one.
    pub counter: Option<PersonId>,
    /// When.
    pub at: Instant,
}

/// An aftercare step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its place in the list, from 1.
    pub place: u32,
    /// What to do.
    pub words: String,
    /// Minutes to wait; 0 for none.
    pub minutes: u32,
    /// When it was begun.
    pub begun: Option<Instant>,
    /// When it was done.
    pub done: Option<Instant>,
}

/// A card about to be opened, with the steps it begins with.
#[derive(Debug, Clone, PartialEq)]
pub struct CardStart {
    /// The card.
    pub card: Card,
    /// Its aftercare steps.
    pub steps: Vec<Step>,
}

/// A card with everything on it.
#[derive(Debug, Clone, PartialEq)]
pub struct Whole {
    /// The card.
    pub card: Card,
    /// Sealed words, opened.
    pub words: Words,
    /// The lash map.
    pub zones: Vec<Zone>,
    /// Numbers placed, oldest first.
    pub counts: Vec<Count>,
    /// Drops, oldest first.
    pub drops: Vec<Drop>,
    /// What was counted when she came.
    pub arrival: Vec<Arrival>,
    /// Aftercare steps.
    pub steps: Vec<Step>,
}

impl Whole {
    /// How many were placed on a lid, fans and single ones together.
    #[must_use]
    pub fn placed(&self, side: Side) -> u32 {
        self.counts.iter().filter(|count| count.side == side).map(|count| count.placed).sum()
    }

    /// How many of one sort were placed on a lid.
    #[must_use]
    pub fn placed_of(&self, side: Side, lash: Lash) -> u32 {
        self.counts.iter().filter(|count| count.side == side && count.lash == lash).map(|count| count.placed).sum()
    }

    /// How many were on a lid when she left: what was still attached on arrival, and what was placed.
    #[must_use]
    pub fn on_lid(&self, side: Side) -> u32 {
        let kept = self.arrival.iter().find(|own| own.side == side).map_or(0, |own| own.found.attached);
        kept + self.placed(side)
    }

    /// Which sorts this technique counts: hybrid both.
    #[must_use]
    pub fn lashes(&self) -> &'static [Lash] {
        lashes_of(self.card.style)
    }
}

/// Which sorts a technique counts.
#[must_use]
pub fn lashes_of(style: Option<Style>) -> &'static [Lash] {
    use crate::artists::Technique::{Hybrid, Mega, Volume};
    match style.map(|style| style.technique) {
        Some(Hybrid) => &[Lash::Single, Lash::Fan],
        Some(Volume | Mega) => &[Lash::Fan],
        _ => &[Lash::Single],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::artists::Technique;

    #[test]
    fn a_hybrid_set_has_two_counts_and_every_other_one() {
        for technique in Technique::ALL {
            let counted = lashes_of(Some(Style::plain(technique))).len();
            assert_eq!(counted, if technique == Technique::Hybrid { 2 } else { 1 }, "{technique:?}");
        }
    }

    #[test]
    fn a_removal_has_no_adhesive_and_a_talk_no_card() {
        for kind in kinds() {
            assert!(!(is_removal(kind) && has_adhesive(kind)), "{kind:?}");
        }
        assert_eq!(kinds().count(), VisitKind::ALL.len() - 2);
    }
}
