//! Liquids as clearance knows them: generic steps, not products of the shelf. A test can include them, a reaction can name them, and
//! where the rules ask for it one she was not tested with is not for today. Remover is one of them: a removal is judged by it alone.

use super::facts::{Kind, PlannedProduct};
use crate::adhesives::Liquid;
use crate::base::ids::ProductId;

/// A liquid that touches lashes or lids beside the adhesive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Wet {
    /// Lash cleanser.
    Cleanser,
    /// Primer with alcohol.
    AlcoholPrimer,
    /// Primer that raises the pH.
    PhPrimer,
    /// Accelerator.
    Accelerator,
    /// Keeps adhesive from creeping up between the hairs of a fan.
    WickStop,
    /// After the last lash.
    Finisher,
    /// Takes lashes off.
    Remover,
}

impl Wet {
    /// Each, in the order of a treatment.
    pub const ALL: [Self; 7] = [
        Self::Cleanser,
        Self::AlcoholPrimer,
        Self::PhPrimer,
        Self::Accelerator,
        Self::WickStop,
        Self::Finisher,
        Self::Remover,
    ];

    /// The word kept in the database and sent by forms.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Cleanser => "cleanser",
            Self::AlcoholPrimer => "alcohol primer",
            Self::PhPrimer => "pH primer",
            Self::Accelerator => "accelerator",
            Self::WickStop => "wick stop",
            Self::Finisher => "finisher",
            Self::Remover => "remover",
        }
    }

    /// The one with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|wet| wet.word() == word)
    }

    /// The one an advice page means; water needs no test.
    #[must_use]
    pub const fn of_advice(liquid: Liquid) -> Option<Self> {
        match liquid {
            Liquid::Cleanser => Some(Self::Cleanser),
            Liquid::AlcoholPrimer => Some(Self::AlcoholPrimer),
            Liquid::PhPrimer => Some(Self::PhPrimer),
            Liquid::Accelerator => Some(Self::Accelerator),
            Liquid::Mist => None,
        }
    }

    /// The id it is judged under.
    #[must_use]
    pub const fn id(self) -> ProductId {
        ProductId::of_liquid(match self {
            Self::Cleanser => 1,
            Self::AlcoholPrimer => 2,
            Self::PhPrimer => 3,
            Self::Accelerator => 4,
            Self::WickStop => 5,
            Self::Finisher => 6,
            Self::Remover => 7,
        })
    }

    /// It as a part of a treatment.
    #[must_use]
    pub const fn planned(self) -> PlannedProduct {
        let kind = if matches!(self, Self::Remover) { Kind::Remover } else { Kind::Liquid };
        PlannedProduct { product: Some(self.id()), kind, stopped: false }
    }

    /// As choices of a form.
    pub(super) fn choices() -> impl Iterator<Item = (String, String)> {
        Self::ALL.into_iter().map(|wet| (wet.word().to_owned(), wet.word().to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn every_liquid_has_a_word_and_an_id_of_its_own() {
        let ids: HashSet<_> = Wet::ALL.map(Wet::id).into_iter().collect();
        assert_eq!(ids.len(), Wet::ALL.len());
        for wet in Wet::ALL {
            assert_eq!(Wet::from_word(wet.word()), Some(wet));
        }
    }
}
