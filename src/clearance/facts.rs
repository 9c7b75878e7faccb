//! What is known of a client when clearance is judged: plain values, put together by the store, handed to the judge.

use jiff::civil::Date;

use crate::adhesives::Family;
use crate::base::ids::{PatchTestId, ProductId};
use crate::base::time::Instant;
use crate::base::zone::Zone;

/// What a product is, as far as clearance cares.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// An adhesive of a family.
    Adhesive(Family),
    /// Cleanser, primer, finisher: anything wet that is no adhesive.
    Liquid,
    /// Takes lashes off.
    Remover,
}

/// A product a treatment may use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedProduct {
    /// Which; a liquid or remover goes by the id of its step. `None` is known by nothing that is recorded.
    pub product: Option<ProductId>,
    /// What it is.
    pub kind: Kind,
    /// It, or the lot at hand, is stopped.
    pub stopped: bool,
}

impl PlannedProduct {
    /// An adhesive.
    #[must_use]
    pub const fn adhesive(product: ProductId, family: Family) -> Self {
        Self { product: Some(product), kind: Kind::Adhesive(family), stopped: false }
    }

    /// A removal: the remover, and no adhesive.
    #[must_use]
    pub const fn removal() -> Self {
        super::wet::Wet::Remover.planned()
    }

    /// True for an adhesive.
    #[must_use]
    pub const fn is_adhesive(&self) -> bool {
        matches!(self.kind, Kind::Adhesive(_))
    }
}

/// The result of a patch test in the studio's words.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TestResult {
    /// Placed, not looked at.
    Waiting,
    /// Looked at after the wait, nothing seen, nothing told.
    NoneSeen,
    /// Something, perhaps.
    Doubtful,
    /// A reaction.
    Reaction,
    /// A reaction after a first look without one.
    Late,
    /// Nobody looked while it could be read.
    NotRead,
    /// The client did not want one.
    Declined,
}

impl TestResult {
    /// Every result.
    pub const ALL: [Self; 7] =
        [Self::Waiting, Self::NoneSeen, Self::Doubtful, Self::Reaction, Self::Late, Self::NotRead, Self::Declined];

    /// The studio's words, kept in the database and shown. The hours stand beside them.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::NoneSeen => "no reaction seen",
            Self::Doubtful => "doubtful",
            Self::Reaction => "reaction",
            Self::Late => "late reaction",
            Self::NotRead => "not read",
            Self::Declined => "declined",
        }
    }

    /// The result with these words.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|result| result.word() == word)
    }

    /// True where something was seen: it holds until a doctor has written otherwise.
    #[must_use]
    pub const fn holds(self) -> bool {
        matches!(self, Self::Doubtful | Self::Reaction | Self::Late)
    }
}

/// A product a test was made with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestedProduct {
    /// Which.
    pub product: ProductId,
    /// What it is.
    pub kind: Kind,
    /// It, or the lot the test was made with, is stopped since.
    pub stopped: bool,
}

/// A patch test.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestFacts {
    /// Which.
    pub id: PatchTestId,
    /// When it was placed, or declined.
    pub placed: Instant,
    /// When it was looked at last.
    pub read: Option<Instant>,
    /// When the house learnt of the result: a look may be entered later than it was made.
    pub known: Option<Instant>,
    /// The result.
    pub result: TestResult,
    /// What it was made with.
    pub products: Vec<TestedProduct>,
}

/// A recorded reaction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReactionFacts {
    /// When it was noticed.
    pub noticed: Instant,
    /// When it was entered.
    pub known: Instant,
    /// Liquids and removers she had met before it.
    pub liquids: Vec<ProductId>,
    /// Pain, swelling or changed vision.
    pub acute: bool,
    /// When somebody recorded that it is over.
    pub over: Option<Instant>,
}

impl ReactionFacts {
    /// Whether medical help comes before anything else.
    #[must_use]
    pub const fn is_acute_still(&self) -> bool {
        self.acute && self.over.is_none()
    }
}

/// A doctor's finding that is not clear: any grade from doubtful upwards, or irritant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FindingFacts {
    /// When it was read by the doctor.
    pub at: Instant,
    /// When it was entered.
    pub known: Instant,
}

/// A doctor's written statement that this client may have this family again, entered by the owner.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Statement {
    /// The family.
    pub family: Family,
    /// When the doctor wrote it.
    pub written: Instant,
    /// When the owner entered it. It lifts what was recorded by then, and nothing that was told or entered later.
    pub entered: Instant,
}

/// What a person may pass over, with a written reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Overridable {
    /// The test is past its days.
    Validity,
    /// The gap since the last treatment is too large.
    Gap,
}

impl Overridable {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Validity, Self::Gap];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Validity => "validity",
            Self::Gap => "gap",
        }
    }

    /// The one with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|of| of.word() == word)
    }
}

/// A decision to go on, for treatments in a span of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OverrideFacts {
    /// What is passed over.
    pub of: Overridable,
    /// From when.
    pub from: Instant,
    /// Until when, not included.
    pub until: Instant,
    /// When it was entered.
    pub entered: Instant,
}

/// What the health answers in force lead to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct HealthFacts {
    /// When they were given; `None` when she never answered.
    pub answered: Option<Instant>,
    /// When they stop counting.
    pub expires: Option<Instant>,
    /// The newest change of health.
    pub changed: Option<Instant>,
    /// An answer says: do not treat now.
    pub do_not_treat: bool,
    /// An answer says: medical advice first, and no doctor has answered yet that she may be treated.
    pub advice_first: bool,
}

/// Everything known of a client that clearance asks for.
#[derive(Debug, Clone)]
pub struct ClientFacts {
    /// The studio's zone: ages are taken on its calendar.
    pub zone: Zone,
    /// Her birth date.
    pub born: Option<Date>,
    /// A guardian's consent to the treatment is in force.
    pub guardian: bool,
    /// She took back her consent to the treatment or to keeping what she said of her health, and has given none since.
    pub withdrawn: bool,
    /// Her file is restricted: nothing is done with it but keeping it.
    pub restricted: bool,
    /// What her health answers lead to.
    pub health: HealthFacts,
    /// Her tests.
    pub tests: Vec<TestFacts>,
    /// Her reactions.
    pub reactions: Vec<ReactionFacts>,
    /// What doctors found that is not clear.
    pub findings: Vec<FindingFacts>,
    /// What doctors wrote.
    pub statements: Vec<Statement>,
    /// What was decided.
    pub overrides: Vec<OverrideFacts>,
    /// Her last treatment.
    pub last_treatment: Option<Instant>,
}

/// By which facts a client is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// By all that is recorded.
    ByNow,
    /// By what had happened by the instant she is judged for: see [`ClientFacts::as_of`].
    ByThen,
}

impl Known {
    /// These facts as they are judged by, for an instant.
    pub(super) fn of(self, facts: ClientFacts, at: Instant) -> ClientFacts {
        match self {
            Self::ByNow => facts,
            Self::ByThen => facts.as_of(at),
        }
    }
}

impl ClientFacts {
    /// What had happened by an instant: a test placed then is judged by that day, and a reaction which only came after it, perhaps from that
    /// very test, does not make it one that never was. A doctor's statement written or entered since lifted nothing yet, nor had anybody decided to go on. Of answers given
    /// since only what stands against a treatment is left: they did not clear her yet, and what she had said before them is not here. A reaction
    /// that is over by now was not over before somebody recorded it.
    #[must_use]
    pub fn as_of(mut self, at: Instant) -> Self {
        self.statements.retain(|statement| statement.written.max(statement.entered) <= at);
        self.overrides.retain(|decision| decision.entered <= at);
        if self.health.answered.is_some_and(|answered| answered > at) {
            (self.health.answered, self.health.expires) = (None, None);
        }
        self.reactions.retain(|reaction| reaction.noticed <= at);
        for reaction in &mut self.reactions {
            reaction.over = reaction.over.filter(|over| *over <= at);
        }
        self.findings.retain(|finding| finding.at <= at);
        self.tests.retain(|test| test.placed <= at);
        for test in &mut self.tests {
            if test.read.is_some_and(|read| read > at) && test.result != TestResult::Declined {
                (test.read, test.known, test.result) = (None, None, TestResult::Waiting);
            }
        }
        self
    }

    /// Somebody of whom nothing is known.
    #[must_use]
    pub fn unknown(zone: Zone) -> Self {
        Self {
            zone,
            born: None,
            guardian: false,
            withdrawn: false,
            restricted: false,
            health: HealthFacts::default(),
            tests: Vec::new(),
            reactions: Vec::new(),
            findings: Vec::new(),
            statements: Vec::new(),
            overrides: Vec::new(),
            last_treatment: None,
        }
    }
}
