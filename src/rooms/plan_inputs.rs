//! Rows of the database as the room plan's inputs. Pure.

use super::now::AirNow;
use super::plan::balance::Moves;
use super::plan::guards::Surface;
use super::plan::{Air, PlanDevice, PlanInputs};
use super::plan_store::{Outside, Planning, Running};
use super::{Device, DeviceKind, Room};
use crate::base::units::{Celsius, RelHumidity};

/// What "in this room" means for a dehumidifier whose rated air nobody typed in: 22 °C and 60 %RH.
const ROOMS_OWN: (f64, f64) = (22.0, 60.0);

/// A device as the plan uses it; none for one that moves no water.
pub(super) fn plan_device(device: &Device, running: &Running) -> Option<PlanDevice> {
    let rate = device.water?;
    let moves = match device.kind {
        DeviceKind::Humidifier => Moves::Gives,
        DeviceKind::Dehumidifier => {
            let rated = running.rated.unwrap_or(Air {
                temperature: Celsius::clamped(ROOMS_OWN.0),
                humidity: RelHumidity::clamped(ROOMS_OWN.1),
            });
            Moves::takes_rated_at(rated.temperature, rated.humidity)
        }
        DeviceKind::Heater | DeviceKind::Cooler => return None,
    };
    Some(PlanDevice { moves, rate, hours_a_day: running.hours_a_day })
}

/// The inputs of the rule.
pub(super) fn inputs_of(
    room: &Room,
    planning: &Planning,
    devices: &[(Device, Running)],
    air: &AirNow,
    outside: &Outside,
) -> PlanInputs {
    PlanInputs {
        volume: room.volume,
        air_changes: room.air_changes,
        fitted: planning.fitted.is_some(),
        capacity: planning.capacity,
        now: Air { temperature: air.measured.temperature, humidity: air.measured.humidity.humidity },
        outside: outside.air,
        devices: devices.iter().filter_map(|(device, running)| plan_device(device, running)).collect(),
        surface: surface_of(room, planning),
        warms_k_per_hour: planning.warms_k_per_hour,
        cools_k_per_hour: planning.cools_k_per_hour,
    }
}

/// What was measured, else the share of the way between outside and inside.
pub(super) fn surface_of(room: &Room, planning: &Planning) -> Surface {
    match room.surface {
        Some(celsius) => Surface::Measured(celsius),
        None => Surface::Factor(planning.surface_factor),
    }
}
