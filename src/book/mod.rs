//! The book: services, hours, appointments. Knows who works where and when, and what must not overlap. Knows no adhesive, no
//! card, no price.

mod appointment;
mod around;
mod booking;
pub mod hours;
pub mod plan;
mod plan_store;
pub mod search;
mod seed;
pub mod service;
pub mod slots;
mod store;
pub mod wall;

use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::store::{Db, Tx};

pub use appointment::{Appointment, Booked, Change, State, When};
pub use plan::Bed;
pub use service::{Service, VisitKind};

/// Risen whenever something of the book changes.
pub const TOPIC: &str = "book";

/// What other parts do when an appointment was made, moved, called off or missed, in the same write: the one place where they are
/// told.
///
/// # Errors
/// Whatever they meet; then nothing is booked.
#[expect(clippy::unused_async, reason = "whoever is told writes into the same transaction")]
pub async fn after_booking(_tx: &mut Tx, _appointment: &Appointment, _change: Change) -> Result<(), Problem> {
    Ok(())
}

/// One appointment.
///
/// # Errors
/// When the database cannot be read.
pub async fn appointment(db: &mut Db, id: AppointmentId) -> Result<Option<Appointment>, Problem> {
    store::one(db, id).await
}
