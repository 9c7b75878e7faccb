//! Guards as arguments: a handler that takes `Owner` can only be reached by the owner. No handler is written without one.

use std::sync::Arc;

use axum::extract::{FromRequestParts, OptionalFromRequestParts};
use axum::http::request::Parts;

use super::House;
use super::visitor::Visitor;
use crate::base::actor::{Actor, Role, Who};
use crate::base::ids::{InstrumentId, RoomId, TokenId};
use crate::base::problem::Problem;

/// Anyone, signed in or not.
pub struct Anyone(pub Arc<Visitor>);

/// Somebody signed in, whatever her role.
pub struct SignedIn {
    /// The person.
    pub who: Who,
    /// Her request.
    pub visitor: Arc<Visitor>,
}

macro_rules! guard {
    ($(#[$doc:meta])* $name:ident, [$($role:ident),+], $why:literal) => {
        $(#[$doc])*
        pub struct $name {
            /// The person.
            pub who: Who,
            /// Her request.
            pub visitor: Arc<Visitor>,
        }

        impl FromRequestParts<House> for $name {
            type Rejection = Problem;
            async fn from_request_parts(parts: &mut Parts, house: &House) -> Result<Self, Problem> {
                let SignedIn { who, visitor } = <SignedIn as FromRequestParts<House>>::from_request_parts(parts, house).await?;
                if matches!(who.role, $(Role::$role)|+) { Ok(Self { who, visitor }) } else { Err(Problem::NotYours($why)) }
            }
        }
    };
}

guard!(
    /// The owner.
    Owner, [Owner], "Only the owner opens this."
);
guard!(
    /// Whoever works in the rooms: owner, artists, desk.
    Staff, [Owner, Artist, Desk], "This is for those who work in the rooms."
);

/// On a tablet that several people use, six digits do not open what reaches beyond the day's work: a passphrase typed in the last
/// minutes does. Elsewhere a session began with one.
///
/// # Errors
/// [`Problem::Prove`] where only the digits were typed, or the passphrase too long ago.
pub fn with_passphrase(visitor: &Visitor) -> Result<(), Problem> {
    if visitor.tablet.is_some() && !visitor.proved { Err(Problem::Prove) } else { Ok(()) }
}

/// A client at a device that was handed to her.
pub struct HandedOver {
    /// Who handed it to her.
    pub who: Who,
    /// The form it was handed over for.
    pub form: String,
    /// The request.
    pub visitor: Arc<Visitor>,
}

/// A sensor with its own token.
pub struct SensorOf {
    /// Its token.
    pub token: TokenId,
    /// Its instrument.
    pub instrument: InstrumentId,
    /// Its room.
    pub room: RoomId,
    /// The request.
    pub visitor: Arc<Visitor>,
}

/// A program with a read token.
pub struct Reader {
    /// The request.
    pub visitor: Arc<Visitor>,
}

impl FromRequestParts<House> for Anyone {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, _: &House) -> Result<Self, Problem> {
        visitor(parts).map(Self)
    }
}

impl FromRequestParts<House> for SignedIn {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, _: &House) -> Result<Self, Problem> {
        let visitor = visitor(parts)?;
        match &visitor.actor {
            Actor::Person(who) => Ok(Self { who: who.clone(), visitor: Arc::clone(&visitor) }),
            Actor::HandedOver(_) => Err(Problem::HandedOver),
            _ => Err(Problem::SignIn),
        }
    }
}

impl FromRequestParts<House> for HandedOver {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, _: &House) -> Result<Self, Problem> {
        let visitor = visitor(parts)?;
        match (&visitor.actor, &visitor.handed_over) {
            (Actor::HandedOver(who), Some(form)) => {
                Ok(Self { who: who.clone(), form: form.clone(), visitor: Arc::clone(&visitor) })
            }
            (Actor::Person(_), _) => Err(Problem::NotHere("form in a client’s hands")),
            _ => Err(Problem::SignIn),
        }
    }
}

impl OptionalFromRequestParts<House> for SignedIn {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, house: &House) -> Result<Option<Self>, Problem> {
        match <Self as FromRequestParts<House>>::from_request_parts(parts, house).await {
            Ok(signed_in) => Ok(Some(signed_in)),
            Err(Problem::SignIn) => Ok(None),
            Err(problem) => Err(problem),
        }
    }
}

impl FromRequestParts<House> for SensorOf {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, _: &House) -> Result<Self, Problem> {
        let visitor = visitor(parts)?;
        match visitor.actor {
            Actor::Sensor { token, instrument, room } => Ok(Self { token, instrument, room, visitor }),
            Actor::Nobody => Err(Problem::SignIn),
            _ => Err(Problem::NotYours("Only a sensor’s token adds readings here.")),
        }
    }
}

impl FromRequestParts<House> for Reader {
    type Rejection = Problem;
    async fn from_request_parts(parts: &mut Parts, _: &House) -> Result<Self, Problem> {
        let visitor = visitor(parts)?;
        match visitor.actor {
            Actor::Reader { .. } => Ok(Self { visitor }),
            Actor::Nobody => Err(Problem::SignIn),
            _ => Err(Problem::NotYours("This needs a read token.")),
        }
    }
}

fn visitor(parts: &Parts) -> Result<Arc<Visitor>, Problem> {
    parts
        .extensions
        .get::<Arc<Visitor>>()
        .cloned()
        .ok_or_else(|| Problem::broken("a request came in without a visitor"))
}
