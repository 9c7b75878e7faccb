//! Pages that show several parts: the day sheet, Office's first page, the settings. Composes what the parts offer; no SQL.

mod advice_asked;
mod advice_links;
mod advice_page;
mod advice_view;
mod air_options;
mod api_document;
mod day;
mod day_words;
mod door_page;
pub mod may_treat;
mod in_hand;
mod in_use;
mod office_page;
mod plan_page;
mod settings_page;
mod today_page;
mod whereabouts;

pub use api_document::whole as api_document;

use crate::adhesives;
use crate::advice;
use crate::artists;
use crate::book;
use crate::cards;
use crate::clearance::{self, FromCards};
use crate::clients;
use crate::people;
use crate::privacy;
use crate::rooms;
use crate::web::routes::Routes;
use crate::web::{live, offline};

/// Every door of the house.
#[must_use]
pub fn routes() -> Routes {
    Routes::new()
        .join(today_page::routes())
        .join(advice_page::routes())
        .join(plan_page::routes())
        .join(office_page::routes())
        .join(door_page::routes())
        .join(settings_page::routes())
        .join(api_document::routes())
        .join(people::routes())
        .join(rooms::routes())
        .join(artists::routes(in_hand::bottles_at))
        .join(adhesives::routes())
        .join(advice::routes())
        .join(clients::routes())
        .join(privacy::routes())
        .join(clearance::routes(FromCards {
            open: cards::open_with,
            of_client: cards::of_her,
            treated: cards::treated_by,
        }))
        .join(book::routes(cards::has_card))
        .join(cards::routes())
        .join(live::routes())
        .join(offline::routes())
}
