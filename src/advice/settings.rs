//! This part's own settings: the limits every verdict is measured against.

use crate::base::problem::Problem;
use crate::store::settings::{self, Settings};
use crate::store::{Db, Tx};

/// What the studio accepts of a set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdviceSettings {
    /// Placements disturbed in a hundred, 1…50.
    pub disturbed_in_100: f64,
    /// Extra holding, minutes a set, 1…120.
    pub extra_hold_min: f64,
}

impl Default for AdviceSettings {
    fn default() -> Self {
        Self { disturbed_in_100: 10.0, extra_hold_min: 12.0 }
    }
}

impl AdviceSettings {
    /// The settings, or the defaults of a new house.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self::of(&settings::all(db).await?))
    }

    /// The same, for whoever has read what is kept.
    #[must_use]
    pub fn of(kept: &Settings) -> Self {
        let number = |name: &str, fresh: f64| kept.get(name).and_then(|text| text.parse().ok()).unwrap_or(fresh);
        let fresh = Self::default();
        Self {
            disturbed_in_100: number("advice.disturbed_in_100", fresh.disturbed_in_100),
            extra_hold_min: number("advice.extra_hold_min", fresh.extra_hold_min),
        }
    }

    /// Keeps the settings.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        settings::set(tx, "advice.disturbed_in_100", &self.disturbed_in_100.to_string()).await?;
        settings::set(tx, "advice.extra_hold_min", &self.extra_hold_min.to_string()).await
    }
}
