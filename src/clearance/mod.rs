//! Who may be treated when: patch tests, the rules of clearance and their judgement, reactions, lots, stops. Knows clients and
//! adhesives. Knows no artist's seconds and no price; never relaxes a hold.

mod amount;
mod bound;
mod client_page;
mod complaint_form;
mod complaint_page;
mod decided;
mod desk_page;
mod doctor_form;
mod doctor_store;
mod erasure;
pub mod facts;
mod facts_store;
mod for_advice;
mod for_book;
mod from_cards;
mod house_adhesive_page;
pub mod judge;
#[cfg(test)]
mod judge_tests;
mod known;
mod lot_page;
mod lot_store;
mod of_client;
pub mod reaction;
mod reaction_form;
mod reaction_page;
mod reaction_store;
pub mod rules;
mod rules_page;
mod sealing;
pub(crate) mod seed;
mod seen;
mod staff_page;
mod standing;
mod stop_page;
mod test_form;
mod test_page;
mod test_store;
mod told;
pub(crate) mod typed;
mod verdict;
mod verify;
mod visit_page;
mod visit_store;
mod walk_in_page;
pub mod wet;
pub mod words;

pub use amount::reads_alike;
pub use desk_page::{DeskRow, desk_rows};
pub use doctor_store::{ComplaintBrief, complaints_in_brief, keeps_amounts, tie_complaint};
pub use erasure::{Complained, client_erase, complained_of};
pub use facts::{ClientFacts, Known, PlannedProduct};
pub use for_advice::{ForHer, for_advice, of_today};
pub use for_book::{AtBooking, at_booking};
pub use from_cards::{FromCards, HerCard, HerCards, OpenCard, OpenCards, TreatedBy};
pub use judge::{Clearance, clearance};
pub use of_client::{TABLES, client_file, client_merge, last_met};
pub use rules::Rules;
pub use standing::{NotToday, StandingWords, block, may_remove, may_treat, not_today};
pub use test_store::{Meeting, Met, add_exposure, forget_exposures};
pub use verify::verify;
pub use visit_store::{Expected, VisitKind, expect_visit, expected, hand_visits, no_longer_expected};

use crate::web::routes::Routes;

pub use crate::clients::DOOR;

/// Every door of this part. Cards stand below it: what it asks of them is handed in.
#[must_use]
pub fn routes(cards: FromCards) -> Routes {
    desk_page::routes()
        .join(visit_page::routes())
        .join(walk_in_page::routes())
        .join(test_form::routes())
        .join(test_page::routes())
        .join(client_page::routes())
        .join(doctor_form::routes(cards.treated))
        .join(reaction_form::routes())
        .join(reaction_page::routes())
        .join(lot_page::routes())
        .join(stop_page::routes(cards.open))
        .join(house_adhesive_page::routes())
        .join(complaint_form::routes(cards.of_client))
        .join(complaint_page::routes(cards.of_client))
        .join(staff_page::routes())
        .join(rules_page::routes())
}
