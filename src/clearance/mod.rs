//! Who may be treated when: patch tests, the rules of clearance and their judgement, reactions, lots, stops. Knows clients and
//! adhesives. Knows no artist's seconds and no price; never relaxes a hold.

mod client_page;
mod complaint_page;
mod desk_page;
mod doctor_form;
mod doctor_store;
pub mod facts;
mod facts_store;
mod for_advice;
mod for_book;
pub mod judge;
#[cfg(test)]
mod judge_tests;
mod known;
mod lot_page;
mod lot_store;
mod of_client;
pub mod reaction;
mod reaction_page;
mod reaction_store;
pub mod rules;
mod rules_page;
mod sealing;
pub(crate) mod seed;
mod seen;
mod staff_page;
mod standing;
mod test_form;
mod test_page;
mod test_store;
pub(crate) mod typed;
mod verify;
mod visit_page;
mod visit_store;
pub mod wet;
pub mod words;

pub use desk_page::{DeskRow, desk_rows};
pub use doctor_store::{ComplaintBrief, complaints_in_brief, tie_complaint};
pub use facts::{ClientFacts, PlannedProduct};
pub use for_advice::{ForHer, for_advice, of_today};
pub use for_book::{AtBooking, at_booking};
pub use judge::{Clearance, clearance};
pub use lot_page::{OpenCard, OpenCards};
pub use of_client::{TABLES, client_erase, client_file, client_merge, last_met};
pub use rules::Rules;
pub use standing::{NotToday, StandingWords, block, may_treat, not_today};
pub use test_store::{Meeting, Met, add_exposure, forget_exposures};
pub use verify::verify;
pub use visit_store::{Expected, VisitKind, expect_visit, expected, hand_visits, no_longer_expected};

use crate::web::routes::Routes;

pub use crate::clients::DOOR;

/// Every door of this part.
#[must_use]
pub fn routes(cards: OpenCards) -> Routes {
    desk_page::routes()
        .join(visit_page::routes())
        .join(test_form::routes())
        .join(test_page::routes())
        .join(client_page::routes())
        .join(doctor_form::routes())
        .join(reaction_page::routes())
        .join(lot_page::routes(cards))
        .join(complaint_page::routes())
        .join(staff_page::routes())
        .join(rules_page::routes())
}
