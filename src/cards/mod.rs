//! Treatment cards: what was done at a visit, what was placed, and what of it was still there at the next. Keeps what was used beside
//! what was advised; tells clearance which products and lots were met. Judges nobody and prices nothing.

mod aftercare_page;
mod arrival_page;
mod bottle_page;
pub mod card;
mod card_lines;
mod close_counts;
mod close_page;
mod correct_arrival;
mod correct_page;
mod correct_visit;
pub mod counts;
mod drop_page;
mod her_page;
mod list_page;
mod lock_drop;
mod lock_page;
mod map_lines;
mod map_page;
mod map_picture;
mod map_values;
mod of_client;
mod open_check;
mod open_form;
mod open_page;
mod open_store;
mod opening;
mod parts_store;
mod placed_page;
mod record_page;
mod seed;
mod seen;
pub mod settings;
mod settings_page;
mod sheets_page;
mod steps_page;
mod store;
mod typed_zone;
mod values;
mod version_store;
mod work_fields;
mod work_page;

use futures_util::future::BoxFuture;

use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::store::Db;
use crate::web::routes::Routes;

pub use her_page::of_her;
pub use list_page::{AtHand, at_hand, open_with};
pub use of_client::{TABLES, client_erase, client_file, client_merge, complained_of, treated_by};
pub(crate) use seed::has_cards;
pub use seed::{SeedCard, seed_cards};
pub use store::{InUse, in_use, open_since};

/// Risen whenever a card changes.
pub const TOPIC: &str = "cards";

/// Whether a card was opened for an appointment.
///
/// # Errors
/// When the database cannot be read.
#[must_use]
pub fn has_card(db: &mut Db, appointment: AppointmentId) -> BoxFuture<'_, Result<bool, Problem>> {
    Box::pin(async move { Ok(store::of_appointment(db, appointment).await?.is_some()) })
}

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    list_page::routes()
        .join(open_page::routes())
        .join(lock_page::routes())
        .join(work_page::routes())
        .join(placed_page::routes())
        .join(drop_page::routes())
        .join(steps_page::routes())
        .join(bottle_page::routes())
        .join(map_page::routes())
        .join(arrival_page::routes())
        .join(close_page::routes())
        .join(record_page::routes())
        .join(correct_page::routes())
        .join(sheets_page::routes())
        .join(aftercare_page::routes())
        .join(her_page::routes())
        .join(settings_page::routes())
}
