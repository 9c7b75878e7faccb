//! The four ways to change the air, and the guards none of them passes.

use crate::adhesives::Air;
use crate::adhesives::set_time::Climate;
use crate::base::units::{Celsius, RelHumidity};

use super::{Change, Idea};

/// Never cooler than this for a client lying still.
pub const COOLEST_C: f64 = 20.0;
/// Warmest air proposed for someone lying under a cover (common practice).
pub const WARMEST_C: f64 = 26.0;
/// Driest air proposed: below it most hygrometers tell too little, eyes and skin suffer (common practice).
pub const DRIEST_PCT: f64 = 30.0;
/// Dampest air proposed: the usual limit against mould.
pub const DAMPEST_PCT: f64 = 60.0;

/// A way to change the air in one respect.
#[derive(Clone, Copy)]
pub(super) enum Way {
    Drier,
    Damper,
    Cooler,
    Warmer,
}

impl Way {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Drier => "Drier air",
            Self::Damper => "Damper air",
            Self::Cooler => "Cooler air",
            Self::Warmer => "Warmer air",
        }
    }

    /// The air some steps on (2 %RH or 1 °C each), if there is such air.
    pub(super) fn step(self, from: &Air, steps: u32) -> Option<Air> {
        let by = f64::from(steps);
        let (t, h) = (from.temperature.get(), from.humidity.get());
        Some(match self {
            Self::Drier => Air { humidity: RelHumidity::new(h - 2.0 * by).ok()?, ..*from },
            Self::Damper => Air { humidity: RelHumidity::new(h + 2.0 * by).ok()?, ..*from },
            Self::Cooler => Air { temperature: Celsius::new(t - by).ok()?, ..*from },
            Self::Warmer => Air { temperature: Celsius::new(t + by).ok()?, ..*from },
        })
    }

    /// How far air is outside the maker's window in the respect this way changes.
    pub(super) fn outside(self, climate: &Climate, air: &Air) -> f64 {
        let (low, high, x) = match self {
            Self::Drier | Self::Damper => (climate.humidity.0.get(), climate.humidity.1.get(), air.humidity.get()),
            Self::Cooler | Self::Warmer => {
                (climate.temperature.0.get(), climate.temperature.1.get(), air.temperature.get())
            }
        };
        (low - x).max(x - high).max(0.0)
    }

    /// Why this air must not be aimed at by going this way; a room already past a guard may still be brought back.
    pub(super) fn past_a_guard(self, to: &Air) -> Option<&'static str> {
        let (t, h) = (to.temperature.get(), to.humidity.get());
        match self {
            Self::Drier if h < DRIEST_PCT => {
                Some("it would take less than 30\u{a0}%RH: hard on eyes, and no hygrometer is sure there")
            }
            Self::Damper if h > DAMPEST_PCT => Some("it would take more than 60\u{a0}%RH: wet glass and mould"),
            Self::Cooler if t < COOLEST_C => {
                Some("it would take less than 20\u{a0}°C, too cold for a client lying still")
            }
            Self::Warmer if t > WARMEST_C => Some("it would take more than 26\u{a0}°C, too warm under a cover"),
            _ => None,
        }
    }

    pub(super) fn idea(self, air: &Air) -> Idea {
        let (t, h) = (air.temperature.get(), air.humidity.get());
        let what = Change::Air(*air);
        match self {
            Self::Drier => Idea::new(
                what,
                format!("Dry the room to {h:.0}\u{a0}%RH at the same temperature"),
                "drier air is harder on eyes",
            )
            .costing("energy, and the hours until the room is there"),
            Self::Damper => Idea::new(
                what,
                format!("Humidify the room to {h:.0}\u{a0}%RH at the same temperature"),
                "watch cold glass for wet",
            )
            .costing("water and energy, and the hours until the room is there"),
            Self::Cooler => Idea::new(
                what,
                format!("Cool the room to {t:.0}\u{a0}°C at the same humidity"),
                "cooling alone raises the humidity; a client lying still needs a cover",
            )
            .costing("energy, and the hours until the room is there"),
            Self::Warmer => Idea::new(
                what,
                format!("Warm the room to {t:.0}\u{a0}°C at the same humidity"),
                "warming alone lowers the humidity, so water must be added to keep it",
            )
            .costing("energy and water, and the hours until the room is there"),
        }
    }
}
