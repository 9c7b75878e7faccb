//! The shelf as other parts see it: every bottle with what is known of it, computed from the kept summaries.

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
    let known = bench_store::known(db).await?;
    of_known(db, &known, |bottle| room.is_none() || bottle.room.is_none() || bottle.room == room, now).await
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
    let known = bench_store::known(db).await?;
    let at_hand =
        |bottle: &Bottle| room.is_none() || bottle.room.is_none() || bottle.room == room || Some(bottle.id) == also;
    Ok((of_known(db, &known, at_hand, now).await?, known.any_adhesive()))
}

async fn of_known(
    db: &mut Db,
    known: &Known,
    wanted: impl Fn(&Bottle) -> bool,
    now: Instant,
) -> Result<Vec<OnShelf>, Problem> {
    let zone = Studio::load(db).await?.zone;
    let bottles = store::bottles(db).await?;
    Ok(some_of(&bottles, known, wanted, &zone, now))
}

fn some_of(
    bottles: &[Bottle],
    known: &Known,
    wanted: impl Fn(&Bottle) -> bool,
    zone: &Zone,
    now: Instant,
) -> Vec<OnShelf> {
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
    let known = bench_store::known(db).await?;
    let bottles = store::bottles(db).await?;
    let at_hand = |bottle: &Bottle| bottle.room.is_none_or(|at| at == room) || Some(bottle.id) == also;
    let mut elsewhere: Vec<(BottleId, RoomId, String)> = bottles
        .iter()
        .filter_map(|bottle| {
            let at = bottle.room.filter(|at| *at != room)?;
            let product = &known.product(bottle.product)?.product;
            let usable = bottle.out(product.opened_life_days, zone, now).is_none();
            usable.then(|| (bottle.id, at, name(bottle, product, &bottles)))
        })
        .collect();
    elsewhere.sort_by_cached_key(|(_, _, name)| crate::base::text::fold(name));
    Ok(FromRoom {
        at_hand: some_of(&bottles, &known, at_hand, zone, now),
        elsewhere,
        any_adhesive: known.any_adhesive(),
    })
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
