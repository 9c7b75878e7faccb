//! What advice is asked about.

use serde::{Deserialize, Serialize};

use crate::adhesives::set_time::{
    Climate, Label, OpenTest, Openness, Posterior, Prior, Scatter, SetTest, Sums, of_one_piece,
};
use crate::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids, PickUp};
use crate::artists::Technique;
use crate::artists::hands::Hands;
use crate::base::units::Seconds;

/// The room as it is now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomNow {
    /// Its air.
    pub air: Air,
    /// How well that is known.
    pub doubt: AirDoubt,
}

/// What is about to be done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Work {
    /// The technique the hands were timed in.
    pub technique: Technique,
    /// Placements in one set, 1…2000.
    pub placements_per_set: u32,
    /// The adhesive picked up.
    pub bead: Bead,
    /// How it sits, when stated.
    pub pick_up: Option<PickUp>,
    /// Liquids used.
    pub liquids: Liquids,
}

/// What the studio accepts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Largest share of placements disturbed, inside 0…1.
    pub disturbed_share: f64,
    /// Most extra holding in a set, in minutes, above 0.
    pub extra_hold_min_per_set: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self { disturbed_share: 0.10, extra_hold_min_per_set: 12.0 }
    }
}

/// A cure-speed class: a window of set time at 22 °C, 50 %RH.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CureClass {
    low: Seconds,
    high: Seconds,
}

impl CureClass {
    /// A window with `low` above 0 and below `high`.
    #[must_use]
    pub fn new(low: Seconds, high: Seconds) -> Option<Self> {
        (low.get() > 0.0 && low < high).then_some(Self { low, high })
    }

    /// Lower and upper edge in seconds.
    #[must_use]
    pub fn window(self) -> (f64, f64) {
        (self.low.get(), self.high.get())
    }

    /// ln of the middle: what classes are ordered by.
    pub(crate) fn ln_middle(self) -> f64 {
        0.5 * (self.low.get().ln() + self.high.get().ln())
    }
}

/// Why a bottle or liquid must not be used now. Goes before every verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotToday {
    /// Past the date on the bottle.
    Expired,
    /// Open for longer than its opened life.
    Lapsed,
    /// A liquid in use that its maker does not allow with it.
    LiquidRule,
    /// The studio stopped it, its lot or its product.
    Blocked,
    /// A test the rules ask for is missing.
    Untested,
    /// The one it would be used on may not be treated now.
    Held,
    /// Whoever asks does not treat her, and is not told which bottle is for her.
    NotSaid,
}

impl NotToday {
    /// All of them.
    pub const ALL: [Self; 7] =
        [Self::Expired, Self::Lapsed, Self::LiquidRule, Self::Blocked, Self::Untested, Self::Held, Self::NotSaid];

    /// Its word where it is kept.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Expired => "expired",
            Self::Lapsed => "lapsed",
            Self::LiquidRule => "liquid_rule",
            Self::Blocked => "blocked",
            Self::Untested => "untested",
            Self::Held => "held",
            Self::NotSaid => "not_said",
        }
    }

    /// The reason with this word.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|why| why.key() == key)
    }

    /// The reason as a clause.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Expired => "it is past its date",
            Self::Lapsed => "it has been open too long",
            Self::LiquidRule => "a liquid in use does not go with it",
            Self::Blocked => "the studio has stopped it",
            Self::Untested => "a test that the rules ask for is missing",
            Self::Held => "not for this client now, see her clearance",
            Self::NotSaid => "whether it is for this client, whoever treats her says",
        }
    }
}

/// What a bottle's own tests covered.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Tested {
    /// Beads tested: thin, medium, full.
    pub beads: [bool; 3],
    /// Driest and dampest %RH tested.
    pub humidity_pct: Option<(f64, f64)>,
    /// Coolest and warmest °C tested.
    pub temperature_c: Option<(f64, f64)>,
}

/// A bottle on the room's shelf.
#[derive(Debug, Clone, PartialEq)]
pub struct ShelfBottle {
    /// What it is called.
    pub name: String,
    /// Set time as learned.
    pub set_time: Posterior,
    /// Open time as learned.
    pub openness: Openness,
    /// Days since it was opened, 0…1000.
    pub days_open: f64,
    /// The maker's climate window, when printed.
    pub climate: Option<Climate>,
    /// What its own tests covered.
    pub tested: Tested,
    /// Whether its maker allows an accelerator on the strip; `None` when not known.
    pub accelerator_allowed: Option<bool>,
}

impl ShelfBottle {
    /// A bottle that is its own product, from its label and tests (only the test piece most used enters).
    #[must_use]
    pub fn from_tests(name: String, label: Option<&Label>, set: &[SetTest], open: &[OpenTest], days_open: f64) -> Self {
        let (_, set) = of_one_piece(set);
        let set_time = Posterior::of(&Prior::from_label(label), &Sums::of(&set));
        let openness = Openness::of(&set_time, open);
        let tested = Tested::of(&set);
        let climate = label.and_then(|l| l.climate);
        Self { name, set_time, openness, days_open, climate, tested, accelerator_allowed: None }
    }

    pub(crate) fn conditions(&self, air: Air, bead: Bead, liquids: Liquids) -> Conditions {
        Conditions { air, bead, liquids, days_open: self.days_open }
    }

    /// Whether neither a set-time test of it nor of its product is known.
    pub(crate) fn is_untested(&self) -> bool {
        self.set_time.tests + self.set_time.sibling_tests == 0
    }
}

impl Tested {
    /// What these tests covered.
    #[must_use]
    pub fn of(tests: &[SetTest]) -> Self {
        let mut tested = Self::default();
        let widen =
            |range: Option<(f64, f64)>, x: f64| Some(range.map_or((x, x), |(low, high)| (low.min(x), high.max(x))));
        for test in tests {
            tested.beads[(test.conditions.bead.step() + 1) as usize] = true;
            tested.humidity_pct = widen(tested.humidity_pct, test.conditions.air.humidity.get());
            tested.temperature_c = widen(tested.temperature_c, test.conditions.air.temperature.get());
        }
        tested
    }

    /// Whether a bead is at most one step from one tested; an untested bottle counts as tested medium, because that
    /// is what its label speaks of.
    pub(crate) fn within_a_step(&self, bead: Bead) -> bool {
        let any = self.beads.contains(&true);
        Bead::ALL.into_iter().any(|tested| {
            let known = if any { self.beads[(tested.step() + 1) as usize] } else { tested == Bead::Medium };
            known && (tested.step() - bead.step()).abs() <= 1
        })
    }
}

/// One question: these hands, here, now, with these classes and this shelf.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// The hands, in the technique of the work.
    pub hands: &'a Hands,
    /// The room.
    pub room: RoomNow,
    /// The work.
    pub work: Work,
    /// The studio's classes, at least one.
    pub classes: &'a [CureClass],
    /// What air, bead and liquids do to an adhesive of a class.
    pub any_adhesive: &'a Scatter,
    /// The shelf.
    pub bottles: &'a [ShelfBottle],
    /// Bottles (by their place on the shelf) that must not be used now, as the caller found.
    pub not_today: &'a [(usize, NotToday)],
    /// The bottle in daily use, by its place on the shelf, when known.
    pub daily: Option<usize>,
    /// What the studio accepts.
    pub limits: Limits,
}

impl Question<'_> {
    pub(crate) fn not_today(&self, bottle: usize) -> Option<NotToday> {
        self.not_today.iter().find(|(b, _)| *b == bottle).map(|(_, why)| *why)
    }
}
