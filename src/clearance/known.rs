//! What other parts know of a client that clearance asks for, in a few statements for one client or for all expected.

use jiff::civil::Date;

use super::facts::HealthFacts;
use super::facts_store::Whose;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::store::keys::Keys;

/// A client as her own record tells of her.
pub(super) struct Known {
    pub(super) id: ClientId,
    pub(super) short: String,
    pub(super) born: Option<Date>,
    pub(super) restricted: bool,
    pub(super) guardian: bool,
    pub(super) health: HealthFacts,
}

pub(super) async fn of(db: &mut Db, keys: &Keys, whose: Whose, now: Instant) -> Result<Vec<Known>, Problem> {
    Ok(Vec::new())
}
