//! What a plan never aims at, and what it says beside a target.
//!
//! Water settles where a surface is at or below the dew point; what grows on damp surfaces follows the humidity *at the surface*, not
//! that of the room (Tsongas and Riordan, ASHRAE Journal 58(9), 2016). 80 %RH at a surface is the usual limit of building practice
//! (EN ISO 13788; value from memory), 60 %RH in the room that of US guidance (EPA mould course, chapter 2, as quoted elsewhere).

use super::Air;
use crate::base::units::Celsius;
use crate::rooms::air;

/// The share of the way from outside to inside at which single glazing and poor frames stand. A default, to be replaced by what was
/// measured.
pub const SURFACE_FACTOR: f64 = 0.6;
/// Nobody lies still in less than this, °C (common practice).
pub const COLDEST_ROOM_C: f64 = 20.0;
/// %RH at a surface from which the plan warns.
pub const DAMP_SURFACE: f64 = 80.0;
/// %RH in a room above which the plan always warns.
pub const DAMP_ROOM: f64 = 60.0;

/// How cold the coldest surface is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Surface {
    /// Somebody measured it.
    Measured(Celsius),
    /// T_out + f·(T − T_out), f from 0 (as cold as outside) to 1 (as warm as the room).
    Factor(f64),
}

impl Surface {
    /// Its temperature, °C, in a room of this temperature with this air outside. Never above the room's.
    #[must_use]
    pub fn celsius(self, room: Celsius, outside: Celsius) -> f64 {
        match self {
            Self::Measured(at) => at.get(),
            Self::Factor(factor) => outside.get() + factor * (room.get() - outside.get()),
        }
        .min(room.get())
    }
}

/// Why a target is refused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Guard {
    /// Water would settle on the coldest surface.
    Condenses {
        /// The surface, °C.
        surface: f64,
        /// The dew point of the target, °C.
        dew: f64,
        /// The highest %RH at this temperature whose dew point stays below the surface.
        highest: f64,
    },
    /// Too cold for a client lying still.
    TooCold,
}

/// Why this target is not to be aimed at; none when it may be.
#[must_use]
pub fn refusal(target: Air, outside: Air, surface: Surface) -> Option<Guard> {
    if target.temperature.get() < COLDEST_ROOM_C {
        return Some(Guard::TooCold);
    }
    let dew = air::dew_point(target.temperature, target.humidity).celsius();
    let surface = surface.celsius(target.temperature, outside.temperature);
    let highest = humidity_wet_at(target.temperature, surface);
    (dew >= surface).then_some(Guard::Condenses { surface, dew, highest })
}

/// What is said beside a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Warning {
    /// The coldest surface passes 80 %RH.
    DampSurface {
        /// %RH at the surface.
        at_surface: f64,
        /// The surface, °C.
        surface: f64,
    },
    /// Above 60 %RH in the room.
    DampRoom,
}

/// The warnings that belong to a target, gravest first.
#[must_use]
pub fn warnings(target: Air, outside: Air, surface: Surface) -> Vec<Warning> {
    let surface = surface.celsius(target.temperature, outside.temperature);
    let at_surface = humidity_at(target, surface);
    let mut warnings = Vec::new();
    if at_surface > DAMP_SURFACE {
        warnings.push(Warning::DampSurface { at_surface, surface });
    }
    if target.humidity.get() > DAMP_ROOM {
        warnings.push(Warning::DampRoom);
    }
    warnings
}

/// %RH of this air where it meets a surface, at most 100: its vapour pressure against saturation there.
#[must_use]
pub fn humidity_at(of: Air, surface: f64) -> f64 {
    let pressure = air::vapour_pressure(of.temperature, of.humidity).get();
    (100.0 * pressure / air::saturation_pressure(Celsius::clamped(surface)).get()).min(100.0)
}

/// The %RH at a room's temperature at which a surface is just at the dew point.
#[must_use]
pub fn humidity_wet_at(room: Celsius, surface: f64) -> f64 {
    100.0 * air::saturation_pressure(Celsius::clamped(surface)).get() / air::saturation_pressure(room).get()
}
