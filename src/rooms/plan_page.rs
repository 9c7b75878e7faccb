//! A room's plan: what its devices can reach and when to switch them on, what that does to cold surfaces, and what it rests on.

use std::collections::BTreeMap;

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::plan::Air;
use super::plan::guards::Surface;
use super::plan_fit::{FitAsked, FitView};
use super::plan_forms::Again;
use super::plan_inputs::surface_of;
use super::plan_store::{OUTSIDE_OLD, Outside, OutsideFrom, Situation, all_instruments, outdoor_instrument};
use super::plan_words as words;
use super::plan_work::{Wanted, Worked, work_out};
use super::room_form::open_room;
use super::settings::RoomSettings;
use super::{Device, DeviceKind, Room, store};
use crate::base::actor::Role;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::base::units::Celsius;
use crate::base::zone::ago;
use crate::store::settings as kept_settings;
use crate::web::House;
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page_with;
use crate::web::studio::{Place, Studio};

/// What a plan is asked for: `humidity` (one number, or a band as "40-60") and `temperature` on the studio's scale, and a stretch
/// of readings to fit (`fit_from`, `fit_to`, `fit_devices`). Whatever is left out is the studio's band.
pub type PlanAsked = BTreeMap<String, String>;

/// What a change of air does to the set times of the bottles in the room: filled in by whoever knows adhesives.
#[derive(Debug, Clone)]
pub struct SetTimeEffect {
    /// One sentence each: "Heath: 3.4 s becomes 2.6 s."
    pub sentences: Vec<String>,
    /// What the sentences rest on.
    pub basis: String,
}

/// A bottle's band at the planned temperature, as a target to choose: filled in by whoever knows hands and adhesives.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandChoice {
    /// The bottle.
    pub bottle: String,
    /// "42–56 %RH, likely suits", or why there is no target in it.
    pub words: String,
    /// The band as the target field takes it, "42-56"; empty where there is none.
    pub humidity: String,
}

/// The bands of the bottles at hand for one pair of hands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BandChoices {
    /// Whose hands, in which style: "Ines Okafor, volume 4D".
    pub whose: String,
    /// Her id, kept in the addresses.
    pub artist: String,
    /// The planned temperature in the studio's unit, as its field takes it.
    pub temperature: String,
    /// One for each bottle.
    pub choices: Vec<BandChoice>,
    /// Others whose bands may be seen: id and name.
    pub others: Vec<(String, String)>,
}

/// A plan worked out, ready to be shown.
pub struct PlanView {
    page: PlanPage,
    status: StatusCode,
    airs: Option<(Air, Air)>,
    planned: Celsius,
}

impl PlanView {
    /// Loads the room and works its plan out.
    ///
    /// # Errors
    /// [`Problem::NotHere`] without such a room; when the database cannot be read.
    pub async fn load(house: &House, staff: &Staff, room: RoomId, asked: &PlanAsked) -> Result<Self, Problem> {
        load(house, staff, room, asked, &Again::fresh()).await
    }

    /// The air as it is and the air aimed at; none while there is no plan, or the target is refused.
    #[must_use]
    pub fn airs(&self) -> Option<(Air, Air)> {
        self.airs
    }

    /// The temperature planned for.
    #[must_use]
    pub fn planned(&self) -> Celsius {
        self.planned
    }

    /// The page, with what the change does to set times and the bands of bottles as targets, where these are known.
    ///
    /// # Errors
    /// When the template fails.
    pub fn answer(mut self, effect: Option<SetTimeEffect>, bands: Option<BandChoices>) -> Result<Response, Problem> {
        self.page.effect = effect;
        self.page.bands = bands;
        page_with(self.status, &self.page)
    }
}

struct DeviceRow {
    name: String,
    words: String,
    href: String,
}

#[derive(Template)]
#[template(path = "rooms/plan.html")]
pub(super) struct PlanPage {
    frame: Frame,
    key: String,
    /// Path of the room, base path included.
    path: String,
    /// Where a reading is entered, base path included.
    reading: String,
    rests_on: String,
    stale: Option<String>,
    /// None while the air inside or outside is not known.
    worked: Option<Worked>,
    air_known: bool,
    outside_words: String,
    effect: Option<SetTimeEffect>,
    bands: Option<BandChoices>,
    target_fields: Vec<FieldView>,
    target_mistakes: Vec<Mistake>,
    outside_fields: Vec<FieldView>,
    outside_mistakes: Vec<Mistake>,
    opening_fields: Vec<FieldView>,
    opening_mistakes: Vec<Mistake>,
    outdoor_fields: Vec<FieldView>,
    rest_fields: Vec<FieldView>,
    rest_mistakes: Vec<Mistake>,
    about: Vec<(String, String)>,
    devices: Vec<DeviceRow>,
    fit: FitView,
    may_change: bool,
}

/// Loads everything and puts the page together; `again` holds a form that came back.
pub(super) async fn load(
    house: &House,
    staff: &Staff,
    id: RoomId,
    asked: &PlanAsked,
    again: &Again<'_>,
) -> Result<PlanView, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let settings = RoomSettings::load(&mut db).await?;
    let room = open_room(store::room(&mut db, id).await?)?;
    let now = staff.visitor.now.0;
    let situation = Situation::load(&mut db, &room, &settings, now).await?;
    let opening = opening(&kept_settings::all(&mut db).await?);
    let inputs = situation.inputs(&room);
    let fit = FitView::load(&mut db, &FitAsked::of(asked), &room, &situation, &studio).await?;
    let outdoor = outdoor_instrument(&mut db).await?.map(|known| known.instrument.id);
    let instruments = all_instruments(&mut db).await?;
    let wanted = Wanted::of(asked, inputs.as_ref(), &settings, &studio);
    let devices: Vec<_> = situation.devices.iter().map(|(device, _)| (device.name.clone(), device.kind)).collect();
    let worked = inputs.as_ref().map(|inputs| {
        let measured = situation.planning.air_changes_measured.is_some();
        work_out(&room, inputs, &wanted, (&devices, measured), &opening, &studio, now)
    });
    let refused = worked.as_ref().is_some_and(|worked| worked.chart.is_none());
    let airs = inputs.as_ref().filter(|_| !refused).map(|inputs| (inputs.now, wanted.target));
    let planned = wanted.target.temperature;
    let path = format!("/rooms/{id}");
    let owner = staff.who.role == Role::Owner;
    let (outside_fields, opening_fields, rest_fields) = (
        again.outside_fields(&studio),
        again.opening_fields(&opening),
        again.rest_fields(&situation.planning, &studio),
    );
    let page = PlanPage {
        frame: house.frame(&studio, &staff.visitor, Place::Rooms, format!("{}, room plan", room.name)),
        key: again.key.clone(),
        rests_on: rests_on(&situation, &studio, now),
        stale: situation.air.as_ref().filter(|air| air.stale).map(|air| {
            format!("The air was last read {}: the plan begins from there.", studio.zone.date_and_clock(air.at, now))
        }),
        air_known: situation.air.is_some(),
        outside_words: situation
            .outside
            .as_ref()
            .map(|outside| outside_words(outside, &studio, now))
            .unwrap_or_default(),
        effect: None,
        bands: None,
        target_mistakes: mistakes(&wanted.fields),
        target_fields: wanted.fields,
        outside_mistakes: mistakes(&outside_fields),
        outside_fields,
        opening_mistakes: mistakes(&opening_fields),
        opening_fields,
        outdoor_fields: again.outdoor_fields(outdoor, &instruments),
        rest_mistakes: mistakes(&rest_fields),
        rest_fields,
        about: about(&room, &situation, &studio),
        devices: situation.devices.iter().map(|(device, _)| device_row(house, device, &situation, &studio)).collect(),
        fit,
        may_change: owner,
        reading: house.url(&format!("{path}/readings/new")),
        path: house.url(&path),
        worked,
    };
    let status = if again.came_back { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK };
    Ok(PlanView { page, status, airs, planned })
}

/// The opening hour: "09:00" until one was typed in.
fn opening(kept: &BTreeMap<String, String>) -> String {
    kept.get("rooms.opening").cloned().unwrap_or_else(|| "09:00".to_owned())
}

fn rests_on(situation: &Situation, studio: &Studio, now: Instant) -> String {
    let inside = situation.air.as_ref().map_or_else(
        || "Its air has not been read yet.".to_owned(),
        |air| format!("Air read {} by {}.", ago(&studio.zone, air.at, now), air.instrument.name),
    );
    let outside = situation.outside.as_ref().map_or_else(
        || " Outside air not known today.".to_owned(),
        |outside| format!(" Outside {}.", outside_words(outside, studio, now)),
    );
    inside + &outside
}

fn outside_words(outside: &Outside, studio: &Studio, now: Instant) -> String {
    let by = match &outside.from {
        OutsideFrom::Instrument(name) => format!("by {name}"),
        OutsideFrom::Typed => "typed in".to_owned(),
    };
    let old = if now.since(outside.at) > OUTSIDE_OLD { ", old by now" } else { "" };
    format!(
        "{}, {}; {by} {}{old}",
        words::degrees(outside.air.temperature.get(), studio),
        words::percent(outside.air.humidity.get(), studio),
        ago(&studio.zone, outside.at, now)
    )
}

fn about(room: &Room, situation: &Situation, studio: &Studio) -> Vec<(String, String)> {
    let planning = &situation.planning;
    let capacity = format!(
        "{}, likely {}–{}{}",
        studio.number(planning.capacity.best, 1),
        studio.number(planning.capacity.low, 1),
        studio.number(planning.capacity.high, 1),
        if planning.fitted.is_some() { "; fitted from readings" } else { "; an estimate" }
    );
    let changes = studio.number(room.air_changes.get(), 2);
    let changes = match planning.air_changes_measured {
        Some(_) => format!("{changes} an hour; measured, not to be lowered"),
        None => format!("{changes} an hour; an estimate"),
    };
    let surface = match surface_of(room, planning) {
        Surface::Measured(at) => format!("{}, measured at {}", room.coldest_surface, words::degrees(at.get(), studio)),
        Surface::Factor(factor) => {
            format!("{}, {} of the way from outside to inside", room.coldest_surface, studio.number(factor, 2))
        }
    };
    // Kelvins as the studio counts degrees.
    let degrees = |kelvins: f64| studio.number(if studio.fahrenheit { kelvins * 1.8 } else { kelvins }, 1);
    vec![
        ("Volume".to_owned(), format!("{}\u{a0}m³", studio.exact(room.volume.get(), 0))),
        ("Air change".to_owned(), changes),
        ("Moisture capacity".to_owned(), capacity),
        ("Coldest surface".to_owned(), surface),
        (
            "Temperature moves".to_owned(),
            format!(
                "{} {} an hour up, {} down",
                degrees(planning.warms_k_per_hour),
                studio.temperature_unit(),
                degrees(planning.cools_k_per_hour)
            ),
        ),
    ]
}

fn device_row(house: &House, device: &Device, situation: &Situation, studio: &Studio) -> DeviceRow {
    let running = situation.devices.iter().find(|(other, _)| other.id == device.id).map(|(_, running)| running);
    let mut parts = vec![capital(device.kind.word())];
    if let Some(water) = device.water {
        parts.push(format!("{}\u{a0}g an hour", studio.number(water.get(), 0)));
    }
    let moves_water = matches!(device.kind, DeviceKind::Humidifier | DeviceKind::Dehumidifier);
    if let Some(running) = running.filter(|_| moves_water) {
        parts.push(match running.hours_a_day {
            day if day >= 24.0 => "day and night".to_owned(),
            hours => format!("{}\u{a0}h of every 24", studio.number(hours, 1)),
        });
        if let Some(rated) = running.rated {
            parts.push(format!("rated at {}", words::air(rated, studio)));
        }
    }
    let href = if moves_water {
        house.url(&format!("/rooms/{}/devices/{}/running", device.room, device.id))
    } else {
        String::new()
    };
    DeviceRow { name: device.name.clone(), words: parts.join(", "), href }
}
