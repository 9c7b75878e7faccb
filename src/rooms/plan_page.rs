//! A room's plan: what its devices can reach and when to switch them on, what that does to cold surfaces, and what it rests on.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;

use super::plan::balance::Moves;
use super::plan::guards::{self, Surface};
use super::plan::{self, Air, PlanInputs, Reach, devices_for};
use super::plan_chart::{self, PlanChart};
use super::plan_fit::{FitAsked, FitView};
use super::plan_forms::Again;
use super::plan_inputs::surface_of;
use super::plan_store::{OUTSIDE_OLD, Outside, OutsideFrom, Situation, all_instruments, outdoor_instrument};
use super::plan_words as words;
use super::room_form::open_room;
use super::settings::RoomSettings;
use super::{Device, DeviceKind, Room, store};
use crate::base::actor::Role;
use crate::base::ids::RoomId;
use crate::base::number::typed_decimal;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::{HOUR, Instant};
use crate::base::units::{Celsius, Hours, RelHumidity};
use crate::base::zone::{Zone, ago};
use crate::store::settings as kept_settings;
use crate::web::House;
use crate::web::checks::{Notes, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page_with;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/plan", plan_page)
}

async fn plan_page(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    Query(asked): Query<PlanAsked>,
) -> Result<Response, Problem> {
    PlanView::load(&house, &staff, room, &asked).await?.answer(None)
}

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

/// A plan worked out, ready to be shown.
pub struct PlanView {
    page: PlanPage,
    status: StatusCode,
    airs: Option<(Air, Air)>,
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

    /// The page, with what the change does to set times where that is known.
    ///
    /// # Errors
    /// When the template fails.
    pub fn answer(mut self, effect: Option<SetTimeEffect>) -> Result<Response, Problem> {
        self.page.effect = effect;
        page_with(self.status, &self.page)
    }
}

/// One of at most four numbers.
struct Figure {
    label: &'static str,
    value: String,
    unit: String,
    against: String,
}

struct ChartView {
    svg: String,
    caption: String,
    rows: Vec<(String, [String; 3])>,
}

/// What was worked out for a target.
struct Worked {
    mark: &'static str,
    lead: String,
    switch_on: String,
    figures: Vec<Figure>,
    warnings: Vec<(&'static str, String)>,
    chart: Option<ChartView>,
    left_out: Vec<String>,
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
    Ok(PlanView { page, status, airs })
}

/// The opening hour: "09:00" until one was typed in.
fn opening(kept: &BTreeMap<String, String>) -> String {
    kept.get("rooms.opening").cloned().unwrap_or_else(|| "09:00".to_owned())
}

/// The target as asked for, and the fields to ask for another.
struct Wanted {
    target: Air,
    band: (RelHumidity, RelHumidity),
    fields: Vec<FieldView>,
}

impl Wanted {
    fn of(asked: &PlanAsked, inputs: Option<&PlanInputs>, settings: &RoomSettings, studio: &Studio) -> Self {
        let typed = |name: &str| asked.get(name).map(String::as_str).unwrap_or_default();
        let (humidity, temperature) = (typed("humidity"), typed("temperature"));
        let mut notes = Notes::default();
        let band = band_of(&mut notes, humidity).unwrap_or(settings.humidity_band);
        let limits = (studio.scale(10.0), studio.scale(35.0));
        let planned = notes
            .optional_number("temperature", temperature, limits, studio.temperature_unit())
            .flatten()
            .and_then(|value| studio.celsius(value).ok());
        let now = inputs.map(|inputs| inputs.now);
        let (low, high) = settings.temperature_band;
        let planned = planned.unwrap_or_else(|| {
            let now = now.map_or(low, |now| now.temperature).get();
            Celsius::clamped(now.clamp(low.get(), high.get()).max(guards::COLDEST_ROOM_C))
        });
        let target = now.map_or(Air { temperature: planned, humidity: band.0 }, |now| plan::aim(now, band, planned));
        let mut fields = vec![
            text_field("humidity", "Humidity, %RH", humidity)
                .hinted(format!(
                    "One number, or a band as 40-55. Left empty: the studio’s band, {}–{}.",
                    studio.number(settings.humidity_band.0.get(), 0),
                    studio.number(settings.humidity_band.1.get(), 0)
                ))
                .or_empty(),
            number_field("temperature", &format!("Temperature, {}", studio.temperature_unit()), temperature)
                .hinted("Left empty: as it is, or the nearest the studio wants.")
                .or_empty(),
        ];
        note_fields(&mut fields, notes.all());
        Self { target, band, fields }
    }
}

/// "45", "40-60" or "40–60".
fn band_of(notes: &mut Notes, typed: &str) -> Option<(RelHumidity, RelHumidity)> {
    if typed.trim().is_empty() {
        return None;
    }
    let parts: Vec<Option<f64>> = typed.split(['-', '–']).map(typed_decimal).collect();
    let (low, high) = match parts.as_slice() {
        [Some(one)] => (*one, *one),
        [Some(low), Some(high)] => (*low, *high),
        _ => {
            notes.add("humidity", "Type one number, or two with a dash between them.");
            return None;
        }
    };
    if !(low <= high && low >= 10.0 && high <= 95.0) {
        notes.add("humidity", "Type numbers from 10 to 95 %RH, the lower one first.");
        return None;
    }
    Some((RelHumidity::clamped(low), RelHumidity::clamped(high)))
}

fn work_out(
    room: &Room,
    inputs: &PlanInputs,
    wanted: &Wanted,
    (devices, measured): (&[(String, DeviceKind)], bool),
    opening: &str,
    studio: &Studio,
    now: Instant,
) -> Worked {
    let target = wanted.target;
    let reach = plan::reach(inputs, target);
    let (mark, lead) = words::lead(room, inputs, target, &reach, studio);
    let is_refused = matches!(reach, Reach::Refused(_));
    let warnings = if is_refused { Vec::new() } else { guards::warnings(target, inputs.outside, inputs.surface) };
    Worked {
        mark,
        switch_on: switch_on(inputs, target, &reach, opening, studio, now),
        figures: if is_refused { Vec::new() } else { figures(room, inputs, target, &reach, studio) },
        warnings: warnings.iter().map(|warning| words::warning(room, warning, studio)).collect(),
        chart: (!is_refused).then(|| chart(room, inputs, wanted, &reach, &lead, studio)),
        left_out: words::left_out(inputs, target, devices, measured),
        lead,
    }
}

/// When to switch on for the opening hour, by the slowest room this may be.
fn switch_on(inputs: &PlanInputs, target: Air, reach: &Reach, opening: &str, studio: &Studio, now: Instant) -> String {
    match reach {
        Reach::Reached { best, .. } if best.get() < 1e-9 => String::new(),
        Reach::Reached { best, high, .. } => {
            let Some(opens) = next_clock(&studio.zone, now, opening) else { return String::new() };
            let slowest = high.unwrap_or(Hours::clamped(plan::balance::LONGEST_HOURS));
            let before = |span: Hours| opens.plus(-micros(span));
            let day = |at: Instant| clock_of(&studio.zone, at, now);
            let opens_words = day(opens);
            if before(slowest) > now && high.is_some() {
                let late = day(before(*best));
                return format!(
                    "To be there when the studio opens {opens_words}: switch on {} at the latest; {late} would do in a room as \
                     expected.",
                    day(before(slowest))
                );
            }
            let there = day(now.plus(micros(*best)));
            let in_time = if now.plus(micros(*best)) <= opens { "in time" } else { "after" };
            format!("Switched on now, it is there about {there}, {in_time} for the opening {opens_words} in a room as expected.")
                .replace("after for", "after")
        }
        Reach::Never { .. } => {
            let needed = words::needed(inputs, target);
            let given: f64 = devices_for(inputs, target).iter().map(|device| device.rate.get()).sum();
            if needed > 0.0 && target.density() > inputs.now.density() {
                format!(
                    "It takes more than {}\u{a0}g an hour, day and night; here there are {}.",
                    studio.number(needed, 0),
                    studio.number(given, 0)
                )
            } else {
                "Another device, or drier air outside, would be needed.".to_owned()
            }
        }
        Reach::Refused(_) => String::new(),
    }
}

fn figures(room: &Room, inputs: &PlanInputs, target: Air, reach: &Reach, studio: &Studio) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Reach::Reached { low, best, high } = reach {
        let (value, unit) = words::rounded(best.get(), studio);
        let sureness = words::sureness(low.get(), high.map_or(f64::INFINITY, Hours::get), inputs.fitted);
        let against = if best.get() < 1e-9 {
            "the air is there".to_owned()
        } else {
            format!("likely {}; {sureness}", words::span(*low, *high, studio))
        };
        figures.push(Figure { label: "Until it is there", value, unit: unit.to_owned(), against });
    }
    let to_hold = words::needed(inputs, target);
    let devices = devices_for(inputs, target);
    let given: f64 = devices.iter().filter(|device| device.moves == Moves::Gives).map(|device| device.rate.get()).sum();
    if to_hold > 0.0 {
        let against = format!("humidifiers here give {}", studio.number(given, 0));
        figures.push(Figure { label: "To hold it", value: studio.number(to_hold, 0), unit: "g/h".into(), against });
    }
    if given > 0.0 {
        let watts = plan::watts_of_evaporation(crate::base::units::GramsPerHour::clamped(given));
        figures.push(Figure {
            label: "Heat the water takes",
            value: studio.number(watts.get(), 0),
            unit: "W".into(),
            against: "to be heated besides, while it runs".into(),
        });
    }
    let surface = inputs.surface.celsius(target.temperature, inputs.outside.temperature);
    let dew = super::air::dew_point(target.temperature, target.humidity).celsius();
    let measured = if matches!(inputs.surface, Surface::Measured(_)) { "measured" } else { "worked out" };
    figures.push(Figure {
        label: "Coldest surface",
        value: studio.number(studio.scale(surface), 1),
        unit: studio.temperature_unit().into(),
        against: format!("{}, {measured}; wet at {}", room.coldest_surface, words::degrees(dew, studio)),
    });
    figures
}

fn chart(
    room: &Room,
    inputs: &PlanInputs,
    wanted: &Wanted,
    reach: &Reach,
    finding: &str,
    studio: &Studio,
) -> ChartView {
    let capacity = inputs.capacity;
    let courses =
        [capacity.low, capacity.best, capacity.high].map(|capacity| plan::course(inputs, wanted.target, capacity));
    let longest = match reach {
        Reach::Reached { best, high, .. } => Some(high.unwrap_or(*best).get()),
        _ => None,
    };
    let hours = plan_chart::horizon(longest);
    let surface = inputs.surface.celsius(wanted.target.temperature, inputs.outside.temperature);
    let svg = plan_chart::svg(&PlanChart {
        courses: &courses,
        hours,
        band: (wanted.band.0.get(), wanted.band.1.get()),
        wet: guards::humidity_wet_at(wanted.target.temperature, surface),
        room: &room.name,
        finding,
        mark: studio.decimal,
    });
    let number = |capacity: f64| studio.number(capacity, 0);
    ChartView {
        svg,
        caption: format!(
            "Unbroken: moisture capacity {} (likely). Dashed: {} (a quick room). Dotted: {} (a slow room). Tinted: what is wanted. \
             A device stops when the target is reached.",
            number(capacity.best),
            number(capacity.low),
            number(capacity.high)
        ),
        rows: plan_chart::rows(&courses, hours)
            .into_iter()
            .map(|row| (row.hours.to_string(), row.values.map(|value| studio.number(value, 0))))
            .collect(),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "at most thirty days")]
fn micros(span: Hours) -> i64 {
    (span.get() * HOUR as f64) as i64
}

/// The next time the clock shows this after `now`; none for what is no time of day.
fn next_clock(zone: &Zone, now: Instant, clock: &str) -> Option<Instant> {
    let time: jiff::civil::Time = format!("{clock}:00").parse().ok()?;
    let wall = zone.wall(now);
    let on =
        |day: jiff::civil::Date| Some(Instant::from_timestamp(zone.inner().to_timestamp(day.to_datetime(time)).ok()?));
    on(wall.date()).filter(|at| *at > now).or_else(|| on(wall.date().tomorrow().ok()?))
}

/// "today at 18:30", "tomorrow at 09:00", "Fri 20 Feb at 09:00".
fn clock_of(zone: &Zone, at: Instant, now: Instant) -> String {
    let (day, today) = (zone.day(at), zone.day(now));
    let clock = zone.clock(at);
    if day == today {
        format!("today at {clock}")
    } else if Some(day) == today.tomorrow().ok() {
        format!("tomorrow at {clock}")
    } else {
        format!("{} at {clock}", zone.date(at, now))
    }
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
    let changes = studio.number(room.air_changes_per_hour, 2);
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
        ("Volume".to_owned(), format!("{}\u{a0}m³", studio.number(room.volume_m3, 0))),
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
    if let Some(grams) = device.grams_per_hour {
        parts.push(format!("{}\u{a0}g an hour", studio.number(grams, 0)));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_opening_is_the_next_time_the_clock_shows_it() {
        let zone = Zone::named("Europe/Copenhagen").unwrap();
        let at = |text: &str| Instant::from_timestamp(text.parse().unwrap());
        let now = at("2026-02-18T09:12:00Z");
        assert_eq!(next_clock(&zone, now, "09:00"), Some(at("2026-02-19T08:00:00Z")));
        assert_eq!(next_clock(&zone, now, "10:30"), Some(at("2026-02-18T09:30:00Z")));
        // The night the clocks go forward is an hour shorter.
        assert_eq!(next_clock(&zone, at("2026-03-28T20:00:00Z"), "09:00"), Some(at("2026-03-29T07:00:00Z")));
        assert_eq!(next_clock(&zone, now, "nine"), None);
        assert_eq!(clock_of(&zone, at("2026-02-19T08:00:00Z"), now), "tomorrow at 09:00");
    }

    #[test]
    fn a_wanted_humidity_is_one_number_or_a_band() {
        let read = |typed: &str| {
            let mut notes = Notes::default();
            let band = band_of(&mut notes, typed).map(|(low, high)| (low.get(), high.get()));
            (band, notes.all().len())
        };
        assert_eq!(read("45"), (Some((45.0, 45.0)), 0));
        assert_eq!(read(" 40,5 – 55 "), (Some((40.5, 55.0)), 0));
        assert_eq!(read(""), (None, 0));
        for wrong in ["60-40", "5", "40-60-80", "dry", "-40", "99"] {
            assert_eq!(read(wrong), (None, 1), "{wrong}");
        }
    }
}
