//! People: how the first owner claims the house, how others are invited, sign in and leave; their roles; the first-aid card they all
//! reach. Knows no room, no adhesive and no client.

mod browser_words;
mod door_pages;
mod first_aid;
mod office_pages;
mod passphrase;
mod rules;
mod seed;
mod store;

use crate::web::routes::Routes;

pub use passphrase::MIN_LENGTH;
pub(crate) use seed::seed;
pub use store::{Person, claim_token, everyone, is_claimed, reset_link};

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    door_pages::routes().join(office_pages::routes()).join(first_aid::routes())
}
