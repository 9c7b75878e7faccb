//! The room plan: which air a room's devices can reach, how long that takes, and what a target does to cold surfaces. Pure.
//!
//! One well-mixed room with a moisture capacity: M·V·dC/dt = G + n·V·(C_out − C), the moisture balance with a capacity multiplier
//! that building simulation uses (EnergyPlus Engineering Reference, "Moisture Predictor-Corrector"). One multiplier for walls,
//! textiles and paper together is a coarse model ("simple, inaccurate": Woods, Winkler and Christensen, NREL 2013), so hours are
//! always given from a low to a high capacity. It is a stated assumption that the studio's own readings correct ([`fit`]).
//!
//! Nothing here ever lowers the air change: less airing is no lever of this plan.

pub mod balance;
pub mod fit;
pub mod guards;

use crate::base::units::{AirChanges, Celsius, CubicMetres, GramsPerHour, Hours, RelHumidity, Watts};

use super::air;
use balance::{Balance, Course, LONGEST_HOURS, Moves};
use guards::{Guard, Surface};

/// A temperature and a relative humidity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature.
    pub temperature: Celsius,
    /// Relative humidity.
    pub humidity: RelHumidity,
}

impl Air {
    /// Water in this air, g/m³.
    #[must_use]
    pub fn density(self) -> f64 {
        air::vapour_density(self.temperature, self.humidity).get()
    }
}

/// The moisture capacity multiplier M: water held by the room's walls, textiles and paper and its air together, for each part held
/// by the air alone. At least 1 (air alone).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capacity {
    /// The quickest room it may be.
    pub low: f64,
    /// The best guess.
    pub best: f64,
    /// The slowest room it may be.
    pub high: f64,
}

impl Default for Capacity {
    /// 10, from 5 to 20. Published multipliers: 1–10 for offices, 5.3 in a worked example (TRNSYS Type 56 users' list, 2011), 15 for
    /// whole houses (OpenStudio-HPXML); the range is a choice between them.
    fn default() -> Self {
        Self { low: 5.0, best: 10.0, high: 20.0 }
    }
}

/// A device that moves water, as the plan uses it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanDevice {
    /// Gives or takes.
    pub moves: Moves,
    /// Grams an hour; for one that takes water, in its rated air.
    pub rate: GramsPerHour,
    /// Hours it runs in every 24 from the moment it is switched on, above 0 up to 24.
    pub hours_a_day: f64,
}

/// Everything that decides how a room's air moves.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanInputs {
    /// The room's volume.
    pub volume: CubicMetres,
    /// Its air change; never lowered.
    pub air_changes: AirChanges,
    /// True when air change and capacity were fitted from readings.
    pub fitted: bool,
    /// Its moisture capacity.
    pub capacity: Capacity,
    /// Its air now.
    pub now: Air,
    /// The air outside.
    pub outside: Air,
    /// Its humidifiers and dehumidifiers.
    pub devices: Vec<PlanDevice>,
    /// Its coldest surface.
    pub surface: Surface,
    /// Kelvins an hour when heated, above 0.
    pub warms_k_per_hour: f64,
    /// Kelvins an hour when cooled, above 0.
    pub cools_k_per_hour: f64,
}

/// What became of a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// Reached after so long: with the low, the best and the high moisture capacity. `high` is none when the slowest room it may be
    /// never gets there. All 0 for air that is there now.
    Reached {
        /// With the low capacity.
        low: Hours,
        /// With the best guess.
        best: Hours,
        /// With the high capacity.
        high: Option<Hours>,
    },
    /// Not with these devices in this outside air, however long.
    Never {
        /// The nearest %RH that is reached at the planned temperature: the largest on the way up, the smallest on the way down.
        nearest: f64,
    },
    /// Not to be aimed at.
    Refused(Guard),
}

/// Whether and when a room's air reaches a target: the wanted %RH at the planned temperature.
///
/// On the way up humidifiers run, on the way down dehumidifiers; the temperature moves by the room's own kelvins an hour, and the
/// target counts as reached when both have arrived. More than thirty days is never.
#[must_use]
pub fn reach(inputs: &PlanInputs, target: Air) -> Reach {
    if let Some(guard) = guards::refusal(target, inputs.outside, inputs.surface) {
        return Reach::Refused(guard);
    }
    let warming = hours_of_warming(inputs, target.temperature);
    let time = |capacity: f64| {
        hours_to(inputs, target, capacity).map(|moist| Hours::clamped(moist.max(warming))).map_err(|density| {
            air::humidity_holding(crate::base::units::GramsPerM3::clamped(density), target.temperature)
        })
    };
    match (time(inputs.capacity.low), time(inputs.capacity.best)) {
        (Ok(low), Ok(best)) => Reach::Reached { low, best, high: time(inputs.capacity.high).ok() },
        (_, Err(nearest)) | (Err(nearest), _) => Reach::Never { nearest },
    }
}

/// Hours until the temperature is as planned.
#[must_use]
pub fn hours_of_warming(inputs: &PlanInputs, planned: Celsius) -> f64 {
    let by = planned.get() - inputs.now.temperature.get();
    if by >= 0.0 { by / inputs.warms_k_per_hour } else { -by / inputs.cools_k_per_hour }
}

/// The hours, or the vapour density nearest to the target.
fn hours_to(inputs: &PlanInputs, target: Air, capacity: f64) -> Result<f64, f64> {
    let (from, to) = (inputs.now.density(), target.density());
    let devices = devices_for(inputs, target);
    let steady = devices.iter().all(|device| device.moves == Moves::Gives && device.hours_a_day >= 24.0);
    if !steady {
        return course(inputs, target, capacity).hours_to_target();
    }
    let given = devices.iter().map(|device| device.rate.get()).sum();
    let balance = balance_of(inputs, capacity);
    match balance.hours_to(from, to, given) {
        Some(hours) if hours <= LONGEST_HOURS => Ok(hours),
        Some(_) => Err(balance.after(from, LONGEST_HOURS, given)),
        None => Err(balance.plateau(given).max(0.0)),
    }
}

/// How the air moves towards a target with one moisture capacity: stopped at the target by whoever or whatever watches the devices.
#[must_use]
pub fn course(inputs: &PlanInputs, target: Air, capacity: f64) -> Course {
    Course::run(
        &balance_of(inputs, capacity),
        &devices_for(inputs, target),
        (inputs.now, target),
        hours_of_warming(inputs, target.temperature),
    )
}

fn balance_of(inputs: &PlanInputs, capacity: f64) -> Balance {
    Balance {
        volume: inputs.volume,
        air_changes: inputs.air_changes,
        capacity: capacity.max(1.0),
        outside: inputs.outside.density(),
    }
}

/// The devices that work towards a target; those that would work against it stay off.
#[must_use]
pub fn devices_for(inputs: &PlanInputs, target: Air) -> Vec<PlanDevice> {
    let wanted = if is_rise(inputs.now, target) { Moves::Gives } else { Moves::Takes };
    inputs.devices.iter().filter(|device| device.moves.is_like(wanted)).copied().collect()
}

/// Whether there is to be more water in the air than now, or as much.
#[must_use]
pub fn is_rise(now: Air, target: Air) -> bool {
    target.density() >= now.density() - balance::SAME
}

/// Heat that evaporating this much water takes out of the room: 0.68 W for each gram an hour, the latent heat of water at about
/// 20 °C, 2.45 MJ/kg (ASHRAE Handbook of Fundamentals; value from memory).
#[must_use]
pub fn watts_of_evaporation(rate: GramsPerHour) -> Watts {
    Watts::clamped(0.68 * rate.get())
}

/// The air to aim at inside a band of humidity at a planned temperature: the nearer edge, or the air as it is when it is inside.
#[must_use]
pub fn aim(now: Air, (low, high): (RelHumidity, RelHumidity), planned: Celsius) -> Air {
    let at_planned = air::humidity_holding(crate::base::units::GramsPerM3::clamped(now.density()), planned);
    Air { temperature: planned, humidity: RelHumidity::clamped(at_planned.clamp(low.get(), high.get())) }
}

#[cfg(test)]
mod tests;
