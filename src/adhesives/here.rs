//! The air a bottle is looked at in: the newest of its room, with its age and doubt, or the reference climate.

use super::{Air, AirDoubt};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, TemperatureDoubt};
use crate::base::zone::ago;
use crate::rooms::asked::air_then;
use crate::rooms::now::{AirNow, air_now};
use crate::rooms::{self, DeviceKind, Room, RoomSettings};
use crate::store::Db;
use crate::web::studio::Studio;

/// Standard uncertainties of air that a person typed and no instrument of the house gave: of an instrument never checked.
pub(super) const TYPED: AirDoubt =
    AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(2.9) };

/// Where a bottle is, and the air there.
pub(super) struct Here {
    /// The room, if the bottle stands in one that is in use.
    pub(super) room: Option<Room>,
    /// Its air as read; `None` before the first reading, or without a room.
    pub(super) read: Option<ReadAir>,
    /// What stands there that moves heat or moisture.
    pub(super) devices: Vec<DeviceKind>,
}

/// The newest air of a room.
pub(super) struct ReadAir {
    pub(super) air: Air,
    pub(super) doubt: AirDoubt,
    /// "21.6 °C, 29 %RH, read 4 min ago".
    pub(super) words: String,
    /// Older than the studio's limit.
    pub(super) stale: bool,
}

impl Here {
    /// Looks at a room; `None`: the bottle lies in the cupboard.
    pub(super) async fn at(db: &mut Db, studio: &Studio, room: Option<RoomId>, now: Instant) -> Result<Self, Problem> {
        let room = match room {
            Some(id) => rooms::room(db, id).await?,
            None => None,
        };
        let Some(there) = &room else { return Ok(Self { room, read: None, devices: Vec::new() }) };
        let settings = RoomSettings::load(db).await?;
        let read = air_now(db, there.id, &settings, now).await?.map(|air| ReadAir::of(&air, studio, now));
        let devices = rooms::devices(db, there.id).await?.into_iter().map(|device| device.kind).collect();
        Ok(Self { room, read, devices })
    }

    /// Looks at a room as it was at an earlier instant: its newest reading of the hour before that.
    pub(super) async fn then(db: &mut Db, studio: &Studio, room: Option<RoomId>, at: Instant) -> Result<Self, Problem> {
        let mut here = Self::at(db, studio, room, at).await?;
        if let Some(there) = &here.room {
            let settings = RoomSettings::load(db).await?;
            let read = air_then(db, there.id, &settings, at).await?;
            here.read = read.map(|air| ReadAir::of(&air, studio, at));
        }
        Ok(here)
    }

    /// The air to reckon with: as read, else 22 °C and 50 %RH without doubt.
    pub(super) fn air(&self) -> (Air, AirDoubt) {
        let reference = Air { temperature: Celsius::clamped(22.0), humidity: RelHumidity::clamped(50.0) };
        self.read.as_ref().map_or((reference, AirDoubt::NONE), |read| (read.air, read.doubt))
    }

    /// "in Gable"; "at 22 °C and 50 %RH" where no air is known.
    pub(super) fn words(&self, studio: &Studio) -> String {
        match (&self.room, &self.read) {
            (Some(room), Some(_)) => format!("in {}", room.name),
            _ => format!(
                "at {}\u{a0}{} and 50\u{a0}%RH",
                studio.number(studio.scale(22.0), 0),
                studio.temperature_unit()
            ),
        }
    }
}

impl ReadAir {
    fn of(now_read: &AirNow, studio: &Studio, now: Instant) -> Self {
        let measured = &now_read.measured;
        let air = Air { temperature: measured.temperature, humidity: measured.humidity.humidity };
        let stale = if now_read.stale { ", stale" } else { "" };
        Self {
            words: format!(
                "{}\u{a0}{}, {}\u{a0}%RH, read {}{stale}",
                studio.temperature(air.temperature),
                studio.temperature_unit(),
                studio.number(air.humidity.get(), 0),
                ago(&studio.zone, now_read.at, now)
            ),
            doubt: AirDoubt::of(&measured.doubt),
            stale: now_read.stale,
            air,
        }
    }
}
