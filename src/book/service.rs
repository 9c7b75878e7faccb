//! What can be booked.

use crate::artists::Technique;
use crate::base::ids::ServiceId;

use super::slots::Length;

/// What a visit is, whatever the studio calls the service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum VisitKind {
    /// Both eyes, new.
    FullSet,
    /// Part of the lashes, new.
    PartialSet,
    /// Maintenance: the moment retention is counted.
    Infill,
    /// A short maintenance visit.
    MiniInfill,
    /// Something put right.
    Correction,
    /// Extensions taken off.
    Removal,
    /// Maintenance of a set placed elsewhere, adhesive unknown.
    OtherInfill,
    /// Taking off a set placed elsewhere.
    OtherRemoval,
    /// A patch test.
    PatchTest,
    /// A talk.
    Consultation,
    /// Lift, tint, brow and whatever else.
    Other,
}

impl VisitKind {
    /// Every kind, in the order pages show them.
    pub const ALL: [Self; 11] = [
        Self::FullSet,
        Self::PartialSet,
        Self::Infill,
        Self::MiniInfill,
        Self::Correction,
        Self::Removal,
        Self::OtherInfill,
        Self::OtherRemoval,
        Self::PatchTest,
        Self::Consultation,
        Self::Other,
    ];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::FullSet => "full_set",
            Self::PartialSet => "partial_set",
            Self::Infill => "infill",
            Self::MiniInfill => "mini_infill",
            Self::Correction => "correction",
            Self::Removal => "removal",
            Self::OtherInfill => "other_infill",
            Self::OtherRemoval => "other_removal",
            Self::PatchTest => "patch_test",
            Self::Consultation => "consultation",
            Self::Other => "other_service",
        }
    }

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::FullSet => "full set",
            Self::PartialSet => "partial set",
            Self::Infill => "infill",
            Self::MiniInfill => "mini infill",
            Self::Correction => "correction",
            Self::Removal => "removal",
            Self::OtherInfill => "infill on another studio’s set",
            Self::OtherRemoval => "removal of another studio’s set",
            Self::PatchTest => "patch test",
            Self::Consultation => "consultation",
            Self::Other => "other service",
        }
    }

    /// The kind with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// True where an infill follows after two to three weeks.
    #[must_use]
    pub const fn leads_to_infill(self) -> bool {
        matches!(self, Self::FullSet | Self::PartialSet | Self::Infill | Self::MiniInfill | Self::OtherInfill)
    }
}

/// Something that can be booked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Service {
    /// Its id.
    pub id: ServiceId,
    /// What the studio calls it.
    pub name: String,
    /// What the visit is.
    pub kind: VisitKind,
    /// How long it takes, with the time kept free around it.
    pub length: Length,
    /// Minutes added where somebody comes for the first time.
    pub first_minutes: i64,
    /// The techniques it is done in; empty where it is nobody's technique.
    pub techniques: Vec<Technique>,
    /// Whether a patch test is needed before it.
    pub patch_test: bool,
    /// Whether somebody lies on a bed for it.
    pub takes_bed: bool,
    /// Offered no more.
    pub closed: bool,
}

impl Service {
    /// How long it takes this client.
    #[must_use]
    pub const fn length_for(&self, first_visit: bool) -> Length {
        let more = if first_visit { self.first_minutes } else { 0 };
        Length { minutes: self.length.minutes + more, ..self.length }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_found_by_its_own_word() {
        for kind in VisitKind::ALL {
            assert_eq!(VisitKind::from_word(kind.word()), Some(kind));
        }
        assert_eq!(VisitKind::from_word("full set"), None);
    }

    #[test]
    fn who_comes_for_the_first_time_gets_more_time_and_the_same_buffers() {
        let service = Service {
            id: ServiceId::new(),
            name: "Classic set".into(),
            kind: VisitKind::FullSet,
            length: Length { minutes: 120, before: 10, after: 15 },
            first_minutes: 20,
            techniques: vec![Technique::Classic],
            patch_test: true,
            takes_bed: true,
            closed: false,
        };
        assert_eq!(service.length_for(true), Length { minutes: 140, before: 10, after: 15 });
        assert_eq!(service.length_for(false), service.length);
    }
}
