//! The question file as it is written. Ranges are checked afterwards, by [`super::check`].

use serde::Deserialize;
use utoipa::ToSchema;

use super::object::{object, object_if_any, objects};
use crate::adhesives::{Bead, Liquid, PickUp};
use crate::artists::Technique;

/// A question: one room, one pair of hands, the studio's classes and the shelf.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Asked {
    /// The room now.
    #[serde(deserialize_with = "object")]
    pub room: RoomAsked,
    /// Technique of the work and of the timings.
    pub technique: Technique,
    /// Placements in one set, 1 to 2000.
    #[serde(default = "placements")]
    #[schema(default = 180, minimum = 1, maximum = 2000)]
    pub placements_per_set: u32,
    /// The bead picked up.
    #[serde(default)]
    #[schema(default = "medium")]
    pub bead: Bead,
    /// How the bead sits on the extension.
    #[serde(default)]
    pub pick_up: Option<PickUp>,
    /// Liquids used; each at most once.
    #[serde(default)]
    #[schema(max_items = 5)]
    pub liquids: Vec<Liquid>,
    /// Timed placements, at most 10 000.
    #[serde(default, deserialize_with = "objects")]
    #[schema(max_items = 10000)]
    pub timings: Vec<TimingAsked>,
    /// The studio's cure-speed classes as [lower, upper] seconds at 22 °C, 50 %RH; 1 to 30 of them.
    #[schema(min_items = 1, max_items = 30)]
    pub classes_s: Vec<Vec<f64>>,
    /// Bottles on the room's shelf, at most 60.
    #[serde(default, deserialize_with = "objects")]
    #[schema(max_items = 60)]
    pub bottles: Vec<BottleAsked>,
    /// What the studio accepts.
    #[serde(default, deserialize_with = "object")]
    pub limits: LimitsAsked,
}

/// The air of the room and how well it is known.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoomAsked {
    /// Temperature, −20 to 60 °C.
    #[schema(minimum = -20, maximum = 60)]
    pub temperature_c: f64,
    /// Relative humidity, above 0 up to 100 %RH.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_pct: f64,
    /// Standard uncertainty of the temperature, 0 to 10 K.
    #[serde(default = "temperature_u")]
    #[schema(default = 0.5, minimum = 0, maximum = 10)]
    pub temperature_u_c: f64,
    /// Standard uncertainty of the humidity, 0 to 30 %RH.
    #[serde(default = "humidity_u")]
    #[schema(default = 2.5, minimum = 0, maximum = 30)]
    pub humidity_u_pct: f64,
}

/// One timed placement.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TimingAsked {
    /// Which sitting it belongs to.
    pub session: u32,
    /// Pick-up to contact, 0.01 to 600 s.
    #[schema(minimum = 0.01, maximum = 600)]
    pub travel_s: f64,
    /// Contact until no longer moved, 0.01 to 600 s.
    #[schema(minimum = 0.01, maximum = 600)]
    pub settle_s: f64,
}

/// A bottle on the shelf.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BottleAsked {
    /// Its name: 1 to 80 characters, no other bottle's.
    #[schema(min_length = 1, max_length = 80)]
    pub name: String,
    /// Window of set time on the label, [lower, upper] seconds, or one figure `[x]`.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 2)]
    pub label_s: Option<Vec<f64>>,
    /// Climate the label holds in.
    #[serde(default, deserialize_with = "object_if_any")]
    pub label_climate: Option<ClimateAsked>,
    /// Days since opened, 0 to 1000.
    #[serde(default)]
    #[schema(default = 0, minimum = 0, maximum = 1000)]
    pub days_open: f64,
    /// Bench tests of the set time, at most 1000 a bottle.
    #[serde(default, deserialize_with = "objects")]
    #[schema(max_items = 1000)]
    pub set_tests: Vec<SetTestAsked>,
    /// Bench tests of the open time, at most 1000 a bottle.
    #[serde(default, deserialize_with = "objects")]
    #[schema(max_items = 1000)]
    pub open_tests: Vec<OpenTestAsked>,
    /// Why it must not be used now, if so.
    #[serde(default)]
    pub not_today: Option<NotTodayAsked>,
}

/// A climate window.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClimateAsked {
    /// [lowest, highest] °C.
    #[schema(min_items = 2, max_items = 2)]
    pub temperature_c: Vec<f64>,
    /// [lowest, highest] %RH.
    #[schema(min_items = 2, max_items = 2)]
    pub relative_humidity_pct: Vec<f64>,
}

/// One bench test of the set time.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetTestAsked {
    /// Which sitting it belongs to.
    pub session: u32,
    /// First nudge that no longer moved the extension, 0.02 to 3600 s.
    #[schema(minimum = 0.02, maximum = 3600)]
    pub set_s: f64,
    /// Time between nudges, above 0 up to 600 s; left out when watched all the time.
    #[serde(default)]
    #[schema(minimum = 0.001, maximum = 600)]
    pub nudge_every_s: Option<f64>,
    /// Temperature, −20 to 60 °C.
    #[schema(minimum = -20, maximum = 60)]
    pub temperature_c: f64,
    /// Relative humidity, above 0 up to 100 %RH.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_pct: f64,
    /// The bead.
    #[serde(default)]
    #[schema(default = "medium")]
    pub bead: Bead,
    /// Liquids used.
    #[serde(default)]
    pub liquids: Vec<Liquid>,
    /// Days the bottle had been open, 0 to 1000.
    #[serde(default)]
    #[schema(default = 0, minimum = 0, maximum = 1000)]
    pub days_open: f64,
}

/// One bench test of the open time.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenTestAsked {
    /// Pick-up to contact, 0.02 to 3600 s.
    #[schema(minimum = 0.02, maximum = 3600)]
    pub delay_s: f64,
    /// Whether the bond held.
    pub held: bool,
    /// How the bead sat.
    #[serde(default)]
    pub pick_up: Option<PickUp>,
    /// Temperature, −20 to 60 °C.
    #[schema(minimum = -20, maximum = 60)]
    pub temperature_c: f64,
    /// Relative humidity, above 0 up to 100 %RH.
    #[schema(exclusive_minimum = 0, maximum = 100)]
    pub relative_humidity_pct: f64,
    /// The bead.
    #[serde(default)]
    #[schema(default = "medium")]
    pub bead: Bead,
    /// Liquids used.
    #[serde(default)]
    pub liquids: Vec<Liquid>,
    /// Days the bottle had been open, 0 to 1000.
    #[serde(default)]
    #[schema(default = 0, minimum = 0, maximum = 1000)]
    pub days_open: f64,
}

/// What the studio accepts.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LimitsAsked {
    /// Largest share of placements disturbed, 0.001 to 0.9.
    #[serde(default = "disturbed")]
    #[schema(default = 0.10, minimum = 0.001, maximum = 0.9)]
    pub disturbed_share: f64,
    /// Most extra holding in a set, 0.1 to 600 min.
    #[serde(default = "holding")]
    #[schema(default = 12, minimum = 0.1, maximum = 600)]
    pub extra_hold_min_per_set: f64,
}

impl Default for LimitsAsked {
    fn default() -> Self {
        Self { disturbed_share: disturbed(), extra_hold_min_per_set: holding() }
    }
}

/// Why a bottle must not be used now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NotTodayAsked {
    /// Past the date on the bottle.
    Expired,
    /// Open for longer than its opened life.
    Lapsed,
    /// A liquid in use does not go with it.
    LiquidRule,
    /// The studio stopped it.
    Blocked,
}

const fn placements() -> u32 {
    180
}
const fn temperature_u() -> f64 {
    0.5
}
const fn humidity_u() -> f64 {
    2.5
}
const fn disturbed() -> f64 {
    0.10
}
const fn holding() -> f64 {
    12.0
}
