//! Bench tests: what was tried on a practice lash, with what, in which air. Pure.

use super::set_time::{OpenTest, SetTest, TestPiece};
use super::{Air, AirDoubt, Bead, Conditions, Liquid, Liquids, PickUp};
use crate::base::ids::{BenchTestId, BottleId, PersonId, RoomId, SittingId};
use crate::base::time::{HOUR, Instant};
use crate::base::units::Seconds;

/// Tests of one sitting follow each other within this span.
const ONE_SITTING: i64 = HOUR;

/// One sitting at the bench with one bottle: its tests share an error.
#[derive(Debug, Clone, PartialEq)]
pub struct Sitting {
    /// Its id.
    pub id: SittingId,
    /// The bottle.
    pub bottle: BottleId,
    /// Where.
    pub room: Option<RoomId>,
    /// Who tested; `None` where she is no person of the house any more.
    pub person: Option<PersonId>,
    /// What was bonded.
    pub piece: TestPiece,
    /// Seconds the bottle was shaken, where noted.
    pub shaken: Option<Seconds>,
    /// When it began.
    pub at: Instant,
}

impl Sitting {
    /// Whether a test made now still belongs to it: the same person, room, piece and shaking, within an hour of its
    /// newest test.
    #[must_use]
    pub fn goes_on(&self, next: &Self, newest_test: Instant) -> bool {
        let same = self.bottle == next.bottle
            && self.room == next.room
            && self.person == next.person
            && self.piece == next.piece
            && self.shaken == next.shaken;
        same && (0..=ONE_SITTING).contains(&next.at.since(newest_test))
    }
}

/// What a test found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Found {
    /// Set time: the first nudge that no longer moved the extension.
    Set {
        /// Seconds after contact; above 0.
        seconds: Seconds,
        /// Seconds between nudges; `None` when it was watched all the time.
        nudge_every: Option<Seconds>,
    },
    /// Open time: placed after a delay.
    Open {
        /// Seconds between pick-up and contact; above 0.
        delay: Seconds,
        /// Whether the bond held.
        held: bool,
    },
}

/// One bench test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BenchTest {
    /// Its id.
    pub id: BenchTestId,
    /// The sitting it belongs to.
    pub sitting: SittingId,
    /// When.
    pub at: Instant,
    /// What it found.
    pub found: Found,
    /// What it was made on: that of its sitting.
    pub piece: TestPiece,
    /// Air, bead, liquids, age of the bottle.
    pub conditions: Conditions,
    /// How well the air was known.
    pub doubt: AirDoubt,
    /// How the bead sat, when noted.
    pub pick_up: Option<PickUp>,
    /// Age of the drop in minutes, when noted.
    pub drop_minutes: Option<f64>,
    /// Struck out: counts no more.
    pub struck: bool,
}

/// The tests of the set time that count, oldest first, their sittings numbered.
#[must_use]
pub fn set_tests(tests: &[BenchTest]) -> Vec<SetTest> {
    let mut sittings: Vec<SittingId> = Vec::new();
    let mut found = Vec::new();
    for test in counting(tests) {
        let Found::Set { seconds, nudge_every } = test.found else { continue };
        let session = sittings.iter().position(|known| *known == test.sitting).unwrap_or_else(|| {
            sittings.push(test.sitting);
            sittings.len() - 1
        });
        found.push(SetTest {
            session: u32::try_from(session).unwrap_or(u32::MAX),
            set: seconds,
            nudge_every,
            piece: test.piece,
            conditions: test.conditions,
        });
    }
    found
}

/// The tests of the open time on this piece that count.
#[must_use]
pub fn open_tests(tests: &[BenchTest], piece: TestPiece) -> Vec<OpenTest> {
    counting(tests)
        .into_iter()
        .filter(|test| test.piece == piece)
        .filter_map(|test| match test.found {
            Found::Open { delay, held } => {
                Some(OpenTest { delay, held, pick_up: test.pick_up, conditions: test.conditions })
            }
            Found::Set { .. } => None,
        })
        .collect()
}

fn counting(tests: &[BenchTest]) -> Vec<&BenchTest> {
    let mut counting: Vec<&BenchTest> = tests.iter().filter(|test| !test.struck).collect();
    counting.sort_by_key(|test| (test.at, test.id));
    counting
}

impl TestPiece {
    /// Every piece, in the order of the form.
    pub const ALL: [Self; 4] = [Self::PracticeLash, Self::ShedHair, Self::Strip, Self::Glass];

    /// The word kept in the database.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::PracticeLash => "practice_lash",
            Self::ShedHair => "shed_hair",
            Self::Strip => "strip",
            Self::Glass => "glass",
        }
    }

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::PracticeLash => "practice lash",
            Self::ShedHair => "shed hair",
            Self::Strip => "strip",
            Self::Glass => "glass",
        }
    }

    /// The piece with this key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|piece| piece.key() == key)
    }
}

impl Bead {
    /// The bead with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|bead| bead.word() == word)
    }
}

impl PickUp {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Ball, Self::Coat];

    /// The word kept in the database.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Ball => "ball",
            Self::Coat => "coat",
        }
    }

    /// The pick-up with this key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|pick_up| pick_up.key() == key)
    }
}

impl Liquid {
    /// The word kept in the database.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Cleanser => "cleanser",
            Self::AlcoholPrimer => "alcohol_primer",
            Self::PhPrimer => "ph_primer",
            Self::Accelerator => "accelerator",
            Self::Mist => "mist",
        }
    }
}

impl Liquids {
    /// Their keys with commas between, as the database keeps them.
    #[must_use]
    pub fn keys(self) -> String {
        self.iter().map(Liquid::key).collect::<Vec<_>>().join(",")
    }

    /// From such keys; words of no liquid are left out.
    #[must_use]
    pub fn from_keys(keys: &str) -> Self {
        keys.split(',').filter_map(|key| Liquid::ALL.into_iter().find(|liquid| liquid.key() == key)).collect()
    }

    /// "no liquid", or their words.
    #[must_use]
    pub fn words(self) -> String {
        if self.is_empty() {
            "no liquid".to_owned()
        } else {
            self.iter().map(Liquid::words).collect::<Vec<_>>().join(", ")
        }
    }
}

/// The air of a test as typed or read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TestAir {
    /// The air.
    pub air: Air,
    /// How well it is known.
    pub doubt: AirDoubt,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::time::MINUTE;
    use crate::base::units::{Celsius, RelHumidity};

    fn test_at(minute: i64, sitting: SittingId, found: Found) -> BenchTest {
        let air = Air { temperature: Celsius::new(21.0).unwrap(), humidity: RelHumidity::new(40.0).unwrap() };
        BenchTest {
            id: BenchTestId::new(),
            sitting,
            at: Instant(minute * MINUTE),
            found,
            piece: TestPiece::PracticeLash,
            conditions: Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 3.0 },
            doubt: AirDoubt::NONE,
            pick_up: None,
            drop_minutes: None,
            struck: false,
        }
    }

    fn set(seconds: f64) -> Found {
        Found::Set { seconds: Seconds::new(seconds).unwrap(), nudge_every: None }
    }

    #[test]
    fn sittings_are_numbered_by_their_first_test_and_struck_tests_do_not_count() {
        let (a, b) = (SittingId::new(), SittingId::new());
        let mut struck = test_at(5, b, set(9.0));
        struck.struck = true;
        let open = Found::Open { delay: Seconds::new(4.0).unwrap(), held: true };
        let tests =
            [test_at(70, a, set(2.0)), test_at(1, b, set(1.0)), struck, test_at(2, b, open), test_at(3, b, set(1.5))];
        let fitted: Vec<_> = set_tests(&tests).iter().map(|test| (test.session, test.set.get())).collect();
        assert_eq!(fitted, [(0, 1.0), (0, 1.5), (1, 2.0)]);
        assert_eq!(open_tests(&tests, TestPiece::PracticeLash).len(), 1);
        assert_eq!(open_tests(&tests, TestPiece::Glass).len(), 0);
    }

    #[test]
    fn a_sitting_goes_on_for_an_hour_with_the_same_person_piece_room_and_shaking() {
        let first = Sitting {
            id: SittingId::new(),
            bottle: BottleId::new(),
            room: None,
            person: Some(PersonId::new()),
            piece: TestPiece::PracticeLash,
            shaken: Seconds::new(60.0).ok(),
            at: Instant(0),
        };
        let next = |minutes: i64| Sitting { id: SittingId::new(), at: Instant(minutes * MINUTE), ..first.clone() };
        let newest = Instant(30 * MINUTE);
        assert!(first.goes_on(&next(89), newest));
        assert!(!first.goes_on(&next(91), newest));
        assert!(!first.goes_on(&next(20), newest), "a clock that was put back begins anew");
        assert!(!first.goes_on(&Sitting { piece: TestPiece::Glass, ..next(40) }, newest));
        assert!(!first.goes_on(&Sitting { shaken: None, ..next(40) }, newest));
        assert!(!first.goes_on(&Sitting { person: Some(PersonId::new()), ..next(40) }, newest));
    }

    #[test]
    fn liquids_are_kept_by_their_keys() {
        let both = Liquids::NONE.with(Liquid::PhPrimer).with(Liquid::Cleanser);
        assert_eq!(both.keys(), "cleanser,ph_primer");
        assert_eq!(Liquids::from_keys(&both.keys()), both);
        assert_eq!(Liquids::from_keys("mystery,"), Liquids::NONE);
        assert_eq!(Liquids::NONE.words(), "no liquid");
    }
}
