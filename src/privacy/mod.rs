//! A client's own rights over her record: her file, restriction, erasure, and two records of one person put together. Holds the list of
//! what each part keeps of a client; a table with a client in it that stands in no part's list fails a test.

mod cover_page;
mod erased_page;
mod erasure_page;
mod file_page;
mod file_view;
mod merge_page;
mod parts;
mod restriction_page;
mod store;

use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::clients::names::Names;
use crate::clients::{self, Client};
use crate::store::Db;
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::routes::Routes;

pub(crate) use merge_page::put_together;
pub use parts::{PARTS, Part};
pub(crate) use store::erase_invented;

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    cover_page::routes()
        .join(file_page::routes())
        .join(restriction_page::routes())
        .join(erasure_page::routes())
        .join(erased_page::routes())
        .join(merge_page::routes())
}

/// Finishes erasures whose last reason to stay is over, and empties files of clients nobody took; for the clock. Any number of times.
///
/// # Errors
/// When the database cannot be used.
pub async fn go_on(house: &House) -> Result<(), Problem> {
    store::finish_erasures(house).await
}

/// A client whose keeper this person is. Who may not see her finds nobody; who sees her and does not keep her is told so.
async fn kept_by(db: &mut Db, staff: &Staff, id: ClientId) -> Result<Client, Problem> {
    let client = clients::seen(db, id, &staff.who).await?;
    for_keeper(db, staff, client).await
}

/// Somebody erased whose keeper this person is: what stays of her is opened by nobody else.
async fn erased_kept_by(db: &mut Db, staff: &Staff, id: ClientId) -> Result<Client, Problem> {
    let erased = |client: &Client| client.erased.is_some() && client.merged_into.is_none();
    let client = clients::client(db, id).await?.filter(|client| erased(client) && clients::may_see(client, &staff.who));
    for_keeper(db, staff, client.ok_or(Problem::NotHere("client"))?).await
}

async fn for_keeper(db: &mut Db, staff: &Staff, client: Client) -> Result<Client, Problem> {
    let names = Names::load(db).await?;
    if clients::rights::may_use(&client, &staff.who, &names) {
        Ok(client)
    } else {
        Err(Problem::NotYours(
            "Her keeper does this: the owner for the studio, or the self-employed artist whose client she is.",
        ))
    }
}
