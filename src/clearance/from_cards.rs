//! What this part asks of treatment cards, which stand below it: the caller hands the answers in.

use futures_util::future::BoxFuture;

use crate::base::actor::Who;
use crate::base::ids::{ClientId, PersonId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::web::House;

/// A card that is still open although something it used was stopped.
pub struct OpenCard {
    /// Its path, without the base.
    pub path: String,
    /// When, who by her short name, what, with whom.
    pub words: String,
}

/// Open cards that used a product, or one lot of it: how many there are, and those this person may see.
pub type OpenCards = for<'h> fn(
    &'h House,
    Who,
    ProductId,
    Option<String>,
    Instant,
) -> BoxFuture<'h, Result<(usize, Vec<OpenCard>), Problem>>;

/// A card of one client, as a complaint names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HerCard {
    /// Its id.
    pub id: String,
    /// Where it is read, without the base.
    pub path: String,
    /// What and when: "the infill of 3 February".
    pub words: String,
    /// When it was begun.
    pub begun: Instant,
    /// The card it mends at no charge.
    pub mends: Option<String>,
}

/// A client's cards this person may read, newest first; none for somebody who reads no cards.
pub type HerCards = for<'h> fn(&'h House, Who, ClientId, Instant) -> BoxFuture<'h, Result<Vec<HerCard>, Problem>>;

/// Who treated a client last in a span of time, and whoever was present for a trainee; nobody without a card of then.
pub type TreatedBy =
    for<'d> fn(&'d mut Db, ClientId, (Instant, Instant)) -> BoxFuture<'d, Result<Vec<PersonId>, Problem>>;

/// Every question.
#[derive(Clone, Copy)]
pub struct FromCards {
    /// Who is at the bed with something that was stopped.
    pub open: OpenCards,
    /// What a complaint may be about, and what put it right.
    pub of_client: HerCards,
    /// Whom a reaction concerns, whatever was typed with it.
    pub treated: TreatedBy,
}
