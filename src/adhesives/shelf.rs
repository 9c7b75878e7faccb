//! The shelf as other parts see it: every bottle with what is known of it, computed from the kept summaries.

use tokio::task::spawn_blocking;

use super::bottle::{Bottle, Lapse, Out};
use super::known::Known;
use super::product::{Product, StudioClass};
use super::set_time::{Climate, Openness, Posterior, Scatter};
use super::summary::{Covered, Summary};
use super::{bench_store, store};
use crate::base::ids::{BottleId, ProductId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::studio::Studio;

/// A bottle that is not finished, with what is known of it.
#[derive(Debug, Clone)]
pub struct OnShelf {
    /// The bottle.
    pub bottle: BottleId,
    /// What it is a bottle of.
    pub product: ProductId,
    /// "Heath", or "Heath, lot 21" where two of one product stand.
    pub name: String,
    /// Where it stands; `None` in the cupboard.
    pub room: Option<RoomId>,
    /// Its set time as learned.
    pub posterior: Posterior,
    /// Its open time as learned.
    pub openness: Openness,
    /// Days since it was opened; 0 while closed.
    pub days_open: f64,
    /// The maker's climate window, when printed.
    pub climate: Option<Climate>,
    /// What its own tests covered.
    pub tested: Covered,
    /// Whether its maker allows an accelerator on natural lashes; `None` when not known.
    pub accelerator_allowed: Option<bool>,
    /// Why it must not be used now, if so.
    pub out: Option<Out>,
    /// How long it may still be used.
    pub lapse: Lapse,
    /// Whether it is the one in daily use.
    pub in_use: bool,
}

/// The studio's classes, quickest first; the defaults of a new house until they are edited. Never empty.
///
/// # Errors
/// When the database cannot be read.
pub async fn classes(db: &mut Db) -> Result<Vec<StudioClass>, Problem> {
    store::classes(db).await
}

/// Every bottle that is not finished: in the whole house for `None`, else those at hand in a room, which are the ones that
/// stand there and the ones in the cupboard, which stand in none. Sorted by name.
///
/// # Errors
/// When the database cannot be read.
pub async fn shelf(db: &mut Db, room: Option<RoomId>, now: Instant) -> Result<Vec<OnShelf>, Problem> {
    let read = Read::load(db).await?;
    let zone = Studio::load(db).await?.zone;
    worked_out(move || read.some(|bottle| is_at_hand(bottle, room, None), &zone, now)).await
}

/// As [`shelf`] for a room, with one bottle more that may stand elsewhere; and what the studio's tests say of any adhesive.
/// The kept summaries are read once for both.
///
/// # Errors
/// When the database cannot be read.
pub async fn shelf_and_pooled(
    db: &mut Db,
    room: Option<RoomId>,
    also: Option<BottleId>,
    now: Instant,
) -> Result<(Vec<OnShelf>, Scatter), Problem> {
    let read = Read::load(db).await?;
    let zone = Studio::load(db).await?.zone;
    worked_out(move || (read.some(|bottle| is_at_hand(bottle, room, also), &zone, now), read.known.any_adhesive()))
        .await
}

/// The bottles of the house as an advice in one room sees them.
#[derive(Debug, Clone)]
pub struct FromRoom {
    /// At hand there, and one more that was named; as [`shelf_and_pooled`] gives them.
    pub at_hand: Vec<OnShelf>,
    /// Those of other rooms that may be used, with their names, sorted by these: what could be fetched.
    pub elsewhere: Vec<(BottleId, RoomId, String)>,
    /// What the studio's tests say of any adhesive.
    pub any_adhesive: Scatter,
}

/// Everything an advice in this room asks the shelf, each table read once; `also` is one bottle more that may stand elsewhere.
///
/// # Errors
/// When the database cannot be read.
pub async fn from_room(
    db: &mut Db,
    zone: &Zone,
    room: RoomId,
    also: Option<BottleId>,
    now: Instant,
) -> Result<FromRoom, Problem> {
    let (read, zone) = (Read::load(db).await?, zone.clone());
    worked_out(move || FromRoom {
        at_hand: read.some(|bottle| is_at_hand(bottle, Some(room), also), &zone, now),
        elsewhere: read.elsewhere(room, &zone, now),
        any_adhesive: read.known.any_adhesive(),
    })
    .await
}

/// In the house for `None`, else in a room or in the cupboard; or the one that was named.
fn is_at_hand(bottle: &Bottle, room: Option<RoomId>, also: Option<BottleId>) -> bool {
    room.is_none() || bottle.room.is_none() || bottle.room == room || Some(bottle.id) == also
}

/// Posteriors take milliseconds: worked out away from the threads that answer pages. No more at once than connections that read.
async fn worked_out<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Result<T, Problem> {
    spawn_blocking(work).await.map_err(Problem::broken)
}

/// What the shelf is worked out from.
struct Read {
    known: Known,
    bottles: Vec<Bottle>,
}

impl Read {
    async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self { known: bench_store::known(db).await?, bottles: store::bottles(db).await? })
    }

    fn elsewhere(&self, room: RoomId, zone: &Zone, now: Instant) -> Vec<(BottleId, RoomId, String)> {
        let of = |bottle: &Bottle| {
            let at = bottle.room.filter(|at| *at != room)?;
            let product = &self.known.product(bottle.product)?.product;
            let usable = bottle.out(product.opened_life_days, zone, now).is_none();
            usable.then(|| (bottle.id, at, name(bottle, product, &self.bottles)))
        };
        let mut found: Vec<(BottleId, RoomId, String)> = self.bottles.iter().filter_map(of).collect();
        found.sort_by_cached_key(|(_, _, name)| crate::base::text::fold(name));
        found
    }

    fn some(&self, wanted: impl Fn(&Bottle) -> bool, zone: &Zone, now: Instant) -> Vec<OnShelf> {
        let Self { known, bottles } = self;
        let none = Summary::none();
        let mut shelf = Vec::new();
        for bottle in bottles.iter().filter(|bottle| wanted(bottle)) {
            let Some(of_product) = known.product(bottle.product) else { continue };
            let product = &of_product.product;
            let own = of_product.bottles.iter().find(|(id, _)| *id == bottle.id).map_or(&none, |(_, summary)| summary);
            shelf.push(OnShelf {
                bottle: bottle.id,
                product: product.id,
                name: name(bottle, product, bottles),
                room: bottle.room,
                posterior: known.posterior(product.id, bottle.id, own),
                openness: own.openness.clone(),
                days_open: bottle.days_open(now),
                climate: product.climate,
                tested: own.covered,
                accelerator_allowed: product.accelerator,
                out: bottle.out(product.opened_life_days, zone, now),
                lapse: bottle.lapse(product.opened_life_days, zone, now),
                in_use: bottle.in_use,
            });
        }
        shelf.sort_by_cached_key(|on_shelf| crate::base::text::fold(&on_shelf.name));
        shelf
    }
}

/// What air, bead and liquids do to any adhesive here, from all bottles' tests together; the table's priors without any.
///
/// # Errors
/// When the database cannot be read.
pub async fn pooled(db: &mut Db) -> Result<Scatter, Problem> {
    bench_store::known(db).await.map(|known| known.any_adhesive())
}

/// "Heath"; "Heath, lot 21" where two of one product stand in the house; numbered where the lots are alike too.
pub(super) fn name(bottle: &Bottle, product: &Product, all: &[Bottle]) -> String {
    let sisters: Vec<&Bottle> = all.iter().filter(|other| other.product == bottle.product).collect();
    if sisters.len() < 2 && (sisters.is_empty() || sisters[0].id == bottle.id) && bottle.finished.is_none() {
        return product.name.clone();
    }
    let lot = if bottle.lot.is_empty() { "no lot".to_owned() } else { format!("lot {}", bottle.lot) };
    let alike: Vec<BottleId> = sisters.iter().filter(|other| other.lot == bottle.lot).map(|other| other.id).collect();
    match alike.iter().position(|id| *id == bottle.id) {
        Some(place) if alike.len() > 1 => format!("{}, {lot}, bottle {}", product.name, place + 1),
        _ => format!("{}, {lot}", product.name),
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::adhesives::product::{Family, Stated};

    fn bottle(product: ProductId, lot: &str) -> Bottle {
        Bottle {
            id: BottleId::new(),
            product,
            lot: lot.to_owned(),
            received: date(2026, 1, 1),
            expiry: None,
            opened: None,
            room: None,
            in_use: false,
            finished: None,
            stopped: None,
        }
    }

    #[test]
    fn a_bottle_is_called_by_its_lot_only_where_two_of_its_kind_stand() {
        let heath = Product {
            id: ProductId::new(),
            name: "Heath".to_owned(),
            label: Stated::NotStated,
            climate: None,
            family: Family::NotStated,
            colour: String::new(),
            opened_life_days: None,
            storage: String::new(),
            accelerator: None,
            stopped: None,
        };
        let alone = [bottle(heath.id, "21"), bottle(ProductId::new(), "21")];
        assert_eq!(name(&alone[0], &heath, &alone), "Heath");
        let two = [bottle(heath.id, "21"), bottle(heath.id, "")];
        assert_eq!(
            (name(&two[0], &heath, &two), name(&two[1], &heath, &two)),
            ("Heath, lot 21".into(), "Heath, no lot".into())
        );
        let alike = [bottle(heath.id, "21"), bottle(heath.id, "21")];
        assert_eq!(name(&alike[1], &heath, &alike), "Heath, lot 21, bottle 2");
        let gone = Bottle { finished: Some(Instant(1)), ..bottle(heath.id, "20") };
        assert_eq!(name(&gone, &heath, &alone[..1]), "Heath, lot 20");
    }
}
