//! People: how the first owner claims the house, how others are invited, sign in and leave; their roles; tablets they share; the
//! first-aid card they all reach. Knows no room, no adhesive and no client.

mod audit_page;
mod browser_words;
mod claim_page;
mod entering;
mod first_aid;
mod invited_page;
mod passphrase;
mod people_page;
mod rules;
mod secret_view;
mod seed;
mod sessions_page;
mod sign_in_page;
mod store;
mod tablet;
mod take_back_page;
mod tokens_page;
mod well_known;

use crate::web::routes::Routes;

pub use passphrase::MIN_LENGTH;
pub use secret_view::SecretView;
pub(crate) use seed::seed;
pub use store::{Person, claim_token, everyone, forget_old_tries, is_claimed, leave, reset_link};
pub use tablet::{AtBed, Locked, at_bed, begin_at_bed, drop_begun, end_at_bed, lay_mark, locked, tablet_name};
pub use take_back_page::mark_handed_over;

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    claim_page::routes()
        .join(invited_page::routes())
        .join(sign_in_page::routes())
        .join(take_back_page::routes())
        .join(people_page::routes())
        .join(sessions_page::routes())
        .join(tablet::routes())
        .join(tokens_page::routes())
        .join(audit_page::routes())
        .join(first_aid::routes())
}
