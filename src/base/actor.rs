//! Who acts: a person with a role, a sensor, a program that reads, or nobody yet.

use super::ids::{InstrumentId, PersonId, RoomId, SessionId, TokenId};

/// What a person is in the studio.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// Sets the rules and answers for everything.
    Owner,
    /// Works at the bed.
    Artist,
    /// Books and receives.
    Desk,
    /// Reads closed periods, nothing else.
    Accountant,
}

impl Role {
    /// Every role, in the order pages show them.
    pub const ALL: [Self; 4] = [Self::Owner, Self::Artist, Self::Desk, Self::Accountant];

    /// The word kept in the database and shown on pages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Artist => "artist",
            Self::Desk => "desk",
            Self::Accountant => "accountant",
        }
    }

    /// The role with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}

/// A signed-in person, as far as every part needs to know her.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Who {
    /// The person.
    pub id: PersonId,
    /// The session she acts in.
    pub session: SessionId,
    /// Her name as shown.
    pub name: String,
    /// What she is here.
    pub role: Role,
}

/// Who acts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Actor {
    /// Not known yet.
    Nobody,
    /// The program itself: first start, command line, clock.
    House,
    /// A signed-in person.
    Person(Who),
    /// A client at a device this person handed to her: one form, nothing else. No guard of a person lets her in.
    HandedOver(Who),
    /// A sensor, bound to its instrument and room.
    Sensor {
        /// Its token.
        token: TokenId,
        /// The instrument whose readings it may add.
        instrument: InstrumentId,
        /// The room the instrument stands in.
        room: RoomId,
    },
    /// A program with a read token.
    Reader {
        /// Its token.
        token: TokenId,
    },
}

impl Actor {
    /// How the actor is written in the audit chain and beside form keys: an id, never a name.
    #[must_use]
    pub fn mark(&self) -> String {
        match self {
            Self::Nobody => "nobody".to_owned(),
            Self::House => "house".to_owned(),
            Self::Person(who) => mark_of(who.id),
            Self::HandedOver(who) => format!("handed over by person:{}", who.id),
            Self::Sensor { token, .. } => format!("sensor:{token}"),
            Self::Reader { token } => format!("reader:{token}"),
        }
    }
}

/// How a signed-in person is marked.
#[must_use]
pub fn mark_of(person: PersonId) -> String {
    format!("person:{person}")
}

/// The person whose mark this is; `None` for whoever is no signed-in person.
#[must_use]
pub fn person_of(mark: &str) -> Option<PersonId> {
    mark.strip_prefix("person:").and_then(|id| id.parse().ok())
}
