//! Tablets that several people use: enrolled by an owner's full sign-in, unlocked with a name and six digits, locked after minutes.
//!
//! The tablet's cookie is what one has, the digits are what one knows; either alone opens nothing. Five wrong tries of a person's digits
//! on a tablet, and there only her passphrase opens it. What reaches beyond the day's work asks for the passphrase all the same
//! (`web::guard::with_passphrase`).

mod at_bed;
mod code;
mod code_page;
mod store;
mod tablets_page;
mod unlock_page;

use axum::http::HeaderMap;

use crate::base::ids::TabletId;
use crate::base::problem::Problem;
use crate::base::time::Now;
use crate::web::House;
use crate::web::routes::Routes;
use crate::web::visitor::cookie;

pub use at_bed::{AtBed, Locked, at_bed, begin_at_bed, drop_begun, end_at_bed, lay_mark, locked, tablet_name};
pub(super) use code::looks_like_one;
pub(super) use store::{forget_code, forget_tries, hash_of};
pub(super) use unlock_page::{CameIn, are_hers, come_in};

/// Every door of this room.
pub(super) fn routes() -> Routes {
    tablets_page::routes().join(code_page::routes()).join(unlock_page::routes())
}

fn tablet_cookie(house: &House) -> String {
    format!("{}-tablet", house.config.cookie_name())
}

/// The enrolled tablet a request comes from.
///
/// # Errors
/// When the database cannot be read.
pub(super) async fn here(house: &House, headers: &HeaderMap, now: Now) -> Result<Option<TabletId>, Problem> {
    let Some(secret) = held(house, headers) else { return Ok(None) };
    let mut db = house.store.read().await?;
    store::enrolled(&mut db, &secret, now).await
}

/// The secret in a tablet's cookie, enrolled or not.
fn held(house: &House, headers: &HeaderMap) -> Option<String> {
    cookie(headers, &tablet_cookie(house)).filter(|secret| (20..=100).contains(&secret.len()))
}
