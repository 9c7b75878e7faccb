//! What the book asks of treatment cards, which stand below it: the caller hands the answer in.

use futures_util::future::BoxFuture;

use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::store::Db;

/// Whether a card was opened for an appointment, closed since or not. Asked inside the write that calls it off or moves it, so that the
/// two never happen both; and by the page, which offers neither then.
pub type HasCard = for<'d> fn(&'d mut Db, AppointmentId) -> BoxFuture<'d, Result<bool, Problem>>;
