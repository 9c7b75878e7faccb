//! Pages that show several parts: the day sheet, Office's first page, the settings. Composes what the parts offer; no SQL.

mod api_document;
mod door_page;
mod office_page;
mod settings_page;
mod today_page;

pub use api_document::whole as api_document;

use crate::adhesives;
use crate::advice;
use crate::clearance;
use crate::clients;
use crate::people;
use crate::privacy;
use crate::rooms;
use crate::web::live;
use crate::web::routes::Routes;

/// Every door of the house.
#[must_use]
pub fn routes() -> Routes {
    Routes::new()
        .join(today_page::routes())
        .join(office_page::routes())
        .join(door_page::routes())
        .join(settings_page::routes())
        .join(api_document::routes())
        .join(people::routes())
        .join(rooms::routes())
        .join(adhesives::routes())
        .join(clients::routes())
        .join(privacy::routes())
        .join(advice::api::routes())
        .join(clearance::routes())
        .join(live::routes())
}
