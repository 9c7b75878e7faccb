//! The book: services, hours, appointments. Knows who works where and when, and what must not overlap; says to clearance who is
//! expected. Knows no adhesive, no card, no price.

mod appointment;
mod appointment_page;
mod around;
mod beds_page;
mod booking;
pub mod calendar;
mod deed_page;
mod diary_page;
mod expecting;
mod feed_page;
mod feed_store;
mod form_page;
mod from_cards;
mod free_page;
mod grid;
mod handing;
pub mod hours;
mod hours_page;
mod infill;
mod looked;
mod move_page;
mod of_client;
mod off_page;
pub mod plan;
mod plan_store;
pub mod search;
mod seed;
pub mod service;
mod services_page;
pub mod slots;
mod store;
mod typed_booking;
mod waiting_page;
mod waiting_store;
pub mod wall;

use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::store::{Db, Tx};
use crate::web::routes::Routes;

pub use appointment::{Appointment, Booked, State, When};
pub use expecting::judged_as;
pub use from_cards::HasCard;
pub use handing::hand_over;
pub use of_client::{TABLES, client_erase, client_file, client_merge};
pub use plan::Bed;
pub(crate) use seed::{
    Beginning, first_and_last, seed_appointments, seed_beginning, seed_records, seeded_without_record,
};
pub use service::{Service, VisitKind};

/// Risen whenever something of the book changes.
pub const TOPIC: &str = "book";

/// One appointment.
///
/// # Errors
/// When the database cannot be read.
pub async fn appointment(db: &mut Db, id: AppointmentId) -> Result<Option<Appointment>, Problem> {
    store::one(db, id).await
}

/// Every appointment that holds, or that nobody came to, between two instants.
///
/// # Errors
/// When the database cannot be read.
pub async fn between(db: &mut Db, span: slots::Span) -> Result<Vec<Appointment>, Problem> {
    store::between(db, span).await
}

/// Every service, those offered no more too.
///
/// # Errors
/// When the database cannot be read.
pub async fn services(db: &mut Db) -> Result<Vec<Service>, Problem> {
    plan_store::services(db).await
}

/// Every bed, those out of use too.
///
/// # Errors
/// When the database cannot be read.
pub async fn beds(db: &mut Db) -> Result<Vec<Bed>, Problem> {
    plan_store::beds(db).await
}

/// Addresses of calendars past their time are shown no more, by the clock.
///
/// # Errors
/// When the database refuses it.
pub async fn hide_old_addresses(tx: &mut Tx) -> Result<(), Problem> {
    feed_store::hide_old(tx).await
}

/// Every door of this part; `has_card` answers what only cards know.
#[must_use]
pub fn routes(has_card: HasCard) -> Routes {
    diary_page::routes()
        .join(form_page::routes())
        .join(move_page::routes(has_card))
        .join(free_page::routes())
        .join(waiting_page::routes())
        .join(services_page::routes())
        .join(hours_page::routes())
        .join(off_page::routes())
        .join(beds_page::routes())
        .join(feed_page::routes())
        .join(appointment_page::routes(has_card))
        .join(deed_page::routes(has_card))
}
