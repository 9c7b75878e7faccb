//! Adhesives: classes, bottles, bench tests, and how quickly a bottle sets here. Knows no hands and no client; never
//! ranks products.

use serde::{Deserialize, Serialize};

use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, TemperatureDoubt};
use crate::rooms::instrument::Doubt;
use crate::web::routes::Routes;

pub mod bench;
mod bench_form;
mod bench_page;
mod bench_store;
pub mod bottle;
mod bottle_acts;
mod bottle_form;
mod bottle_page;
mod classes_page;
pub mod effects;
pub mod forecasts;
mod here;
pub mod known;
mod learned;
pub mod liquid;
mod liquids_page;
pub mod lots;
pub mod product;
mod product_form;
pub mod protocol;
mod seed;
pub mod set_time;
mod shelf;
mod shelf_page;
mod store;
pub mod summary;
mod test_rows;
pub mod untested;
mod verify;
pub mod words;

pub use bottle::{Bottle, Lapse, Out, discard_by};
pub use product::{Family, Product, Stated, StudioClass};
pub(crate) use seed::{seed_bottle, seed_product, seed_sittings, seed_used_up, seeded_bottles};
pub use set_time::Label;
pub use shelf::{FromRoom, OnShelf, classes, from_room, pooled, shelf, shelf_and_pooled};
pub use summary::Covered;
pub use verify::verify;

/// A bottle, finished or not, and its product.
///
/// # Errors
/// When the database cannot be read.
pub async fn bottle_and_product(
    db: &mut crate::store::Db,
    id: crate::base::ids::BottleId,
) -> Result<Option<(Bottle, Product)>, crate::base::problem::Problem> {
    let Some(bottle) = store::bottle(db, id).await? else { return Ok(None) };
    Ok(store::product(db, bottle.product).await?.map(|product| (bottle, product)))
}

/// What was put right of a product's lots, oldest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn corrected_lots(
    db: &mut crate::store::Db,
    product: crate::base::ids::ProductId,
) -> Result<lots::CorrectedLots, crate::base::problem::Problem> {
    store::corrected_lots(db, product).await
}

/// What was put right of one bottle's lot, oldest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn corrected_lots_of(
    db: &mut crate::store::Db,
    bottle: crate::base::ids::BottleId,
) -> Result<lots::CorrectedLots, crate::base::problem::Problem> {
    store::corrected_lots_of(db, bottle).await
}

/// Notes that a bottle is the one in daily use, and opened where it stood closed: in the write of whoever works with it.
///
/// # Errors
/// [`crate::base::problem::Problem::NotHere`] for a finished bottle; when the database refuses it.
pub async fn work_with(
    tx: &mut crate::store::Tx,
    id: crate::base::ids::BottleId,
) -> Result<(), crate::base::problem::Problem> {
    let bottle = store::bottle(tx.db(), id).await?.ok_or(crate::base::problem::Problem::NotHere("bottle"))?;
    if bottle.opened.is_none() {
        let now = tx.now.0;
        store::open_bottle(tx, id, now).await?;
    }
    if bottle.in_use { Ok(()) } else { store::use_bottle(tx, id, true).await }
}

/// Every door of this part.
#[must_use]
pub fn routes() -> Routes {
    shelf_page::routes()
        .join(product_form::routes())
        .join(bottle_form::routes())
        .join(bottle_page::routes())
        .join(bottle_acts::routes())
        .join(bench_page::routes())
        .join(classes_page::routes())
        .join(liquids_page::routes())
}

/// The adhesive picked up for one placement.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Default, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Bead {
    /// Less than usual: drawn out slowly.
    Thin,
    /// The usual amount.
    #[default]
    Medium,
    /// More than usual: drawn out faster.
    Full,
}

impl Bead {
    /// All, thinnest first.
    pub const ALL: [Self; 3] = [Self::Thin, Self::Medium, Self::Full];

    /// The word as printed.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Thin => "thin",
            Self::Medium => "medium",
            Self::Full => "full",
        }
    }

    /// Steps from a medium bead: −1, 0, 1.
    #[must_use]
    pub const fn step(self) -> i8 {
        match self {
            Self::Thin => -1,
            Self::Medium => 0,
            Self::Full => 1,
        }
    }
}

/// How the bead sits on the extension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PickUp {
    /// A ball at the tip: its core stays wet longer.
    Ball,
    /// A coat along the fibre.
    Coat,
}

impl PickUp {
    /// The words as printed.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ball => "ball at the tip",
            Self::Coat => "coat along the fibre",
        }
    }
}

/// A liquid used beside the adhesive that may change its set time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Liquid {
    /// Lash cleanser, rinsed and dry.
    Cleanser,
    /// Primer with alcohol, fully dry.
    AlcoholPrimer,
    /// Primer that raises the pH, fully dry.
    PhPrimer,
    /// Accelerator, on the strip only.
    Accelerator,
    /// Water mist, on finished bonds only.
    Mist,
}

impl Liquid {
    /// All.
    pub const ALL: [Self; 5] = [Self::Cleanser, Self::AlcoholPrimer, Self::PhPrimer, Self::Accelerator, Self::Mist];

    /// The words as printed.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Cleanser => "cleanser",
            Self::AlcoholPrimer => "alcohol primer",
            Self::PhPrimer => "pH primer",
            Self::Accelerator => "accelerator on the strip",
            Self::Mist => "mist on finished bonds",
        }
    }

    const fn place(self) -> usize {
        match self {
            Self::Cleanser => 0,
            Self::AlcoholPrimer => 1,
            Self::PhPrimer => 2,
            Self::Accelerator => 3,
            Self::Mist => 4,
        }
    }
}

/// A set of liquids; each is used or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Liquids([bool; 5]);

impl Liquids {
    /// None at all: the untouched adhesive.
    pub const NONE: Self = Self([false; 5]);

    /// The same with one more.
    #[must_use]
    pub const fn with(mut self, liquid: Liquid) -> Self {
        self.0[liquid.place()] = true;
        self
    }

    /// The same with one less.
    #[must_use]
    pub const fn without(mut self, liquid: Liquid) -> Self {
        self.0[liquid.place()] = false;
        self
    }

    /// Whether this one is used.
    #[must_use]
    pub const fn has(self, liquid: Liquid) -> bool {
        self.0[liquid.place()]
    }

    /// Those used, in the order of [`Liquid::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Liquid> {
        Liquid::ALL.into_iter().filter(move |l| self.has(*l))
    }

    /// Whether none is used.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self == Self::NONE
    }
}

impl FromIterator<Liquid> for Liquids {
    fn from_iter<I: IntoIterator<Item = Liquid>>(liquids: I) -> Self {
        liquids.into_iter().fold(Self::NONE, Self::with)
    }
}

/// The air at the work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature.
    pub temperature: Celsius,
    /// Relative humidity.
    pub humidity: RelHumidity,
}

/// How well the air is known, as standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirDoubt {
    /// Of the temperature.
    pub temperature: TemperatureDoubt,
    /// Of the relative humidity.
    pub humidity: HumidityDoubt,
}

impl AirDoubt {
    /// An instrument without error.
    pub const NONE: Self = Self { temperature: TemperatureDoubt::clamped(0.0), humidity: HumidityDoubt::clamped(0.0) };
    /// The most that a prediction is made with, K and %RH: air known no better is as good as not known.
    const MOST: (f64, f64) = (10.0, 30.0);

    /// What an instrument's doubt means for a prediction.
    #[must_use]
    pub fn of(read: &Doubt) -> Self {
        Self {
            temperature: TemperatureDoubt::clamped(read.temperature.get().min(Self::MOST.0)),
            humidity: HumidityDoubt::clamped(read.humidity.get().min(Self::MOST.1)),
        }
    }
}

/// What besides the bottle decides how quickly a bond sets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// The air at the work.
    pub air: Air,
    /// The adhesive picked up.
    pub bead: Bead,
    /// Liquids used.
    pub liquids: Liquids,
    /// Days since the bottle was opened, 0…1000.
    pub days_open: f64,
}
