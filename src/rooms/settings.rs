//! This part's own settings: when a reading is stale, and which air the studio wants.

use crate::base::problem::Problem;
use crate::base::units::{Celsius, RelHumidity};
use crate::store::settings::{self, Settings};
use crate::store::{Db, Tx};

/// What the studio wants of its air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomSettings {
    /// Minutes after which a reading is stale, 1…1440.
    pub stale_minutes: u32,
    /// The band of humidity, low and high.
    pub humidity_band: (RelHumidity, RelHumidity),
    /// The band of temperature, low and high.
    pub temperature_band: (Celsius, Celsius),
}

impl Default for RoomSettings {
    fn default() -> Self {
        Self {
            stale_minutes: 30,
            // 40–60 %RH at 22 °C: where makers' data sheets of instant adhesives find the best results.
            humidity_band: (RelHumidity::clamped(40.0), RelHumidity::clamped(60.0)),
            // Common practice; never under 20 °C for a client lying still.
            temperature_band: (Celsius::clamped(20.0), Celsius::clamped(24.0)),
        }
    }
}

impl RoomSettings {
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
        let humidity = |name: &str, fresh: RelHumidity| RelHumidity::clamped(number(name, fresh.get()));
        let temperature = |name: &str, fresh: Celsius| Celsius::clamped(number(name, fresh.get()));
        Self {
            stale_minutes: kept
                .get("rooms.stale_minutes")
                .and_then(|text| text.parse().ok())
                .unwrap_or(fresh.stale_minutes),
            humidity_band: (
                humidity("rooms.humidity_low", fresh.humidity_band.0),
                humidity("rooms.humidity_high", fresh.humidity_band.1),
            ),
            temperature_band: (
                temperature("rooms.temperature_low", fresh.temperature_band.0),
                temperature("rooms.temperature_high", fresh.temperature_band.1),
            ),
        }
    }

    /// Keeps the settings.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        settings::set(tx, "rooms.stale_minutes", &self.stale_minutes.to_string()).await?;
        for (name, value) in [
            ("rooms.humidity_low", self.humidity_band.0.get()),
            ("rooms.humidity_high", self.humidity_band.1.get()),
            ("rooms.temperature_low", self.temperature_band.0.get()),
            ("rooms.temperature_high", self.temperature_band.1.get()),
        ] {
            settings::set(tx, name, &value.to_string()).await?;
        }
        Ok(())
    }

    /// The limit of age in microseconds.
    #[must_use]
    pub fn stale_after(&self) -> i64 {
        i64::from(self.stale_minutes) * crate::base::time::MINUTE
    }
}
