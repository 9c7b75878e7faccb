//! A target worked out for the plan page: what becomes of it, when to switch on, the numbers and the picture. Pure.

use super::plan::balance::Moves;
use super::plan::guards::{self, Surface};
use super::plan::{self, Air, PlanInputs, Reach, devices_for};
use super::plan_chart::{self, PlanChart};
use super::plan_page::PlanAsked;
use super::plan_words as words;
use super::settings::RoomSettings;
use super::{DeviceKind, Room};
use crate::base::number::typed_decimal;
use crate::base::time::{HOUR, Instant};
use crate::base::units::{Celsius, GramsPerHour, Hours, RelHumidity};
use crate::base::zone::Zone;
use crate::web::checks::{Notes, note_fields, number_field, text_field};
use crate::web::form::FieldView;
use crate::web::studio::Studio;

/// One of at most four numbers.
pub(super) struct Figure {
    pub(super) label: &'static str,
    pub(super) value: String,
    pub(super) unit: String,
    pub(super) against: String,
}

pub(super) struct ChartView {
    pub(super) svg: String,
    pub(super) caption: String,
    pub(super) rows: Vec<(String, [String; 3])>,
}

/// What was worked out for a target.
pub(super) struct Worked {
    pub(super) mark: &'static str,
    pub(super) lead: String,
    pub(super) switch_on: String,
    pub(super) figures: Vec<Figure>,
    pub(super) warnings: Vec<(&'static str, String)>,
    pub(super) chart: Option<ChartView>,
    pub(super) left_out: Vec<String>,
}

/// The target as asked for, and the fields to ask for another.
pub(super) struct Wanted {
    pub(super) target: Air,
    pub(super) band: (RelHumidity, RelHumidity),
    pub(super) fields: Vec<FieldView>,
}

impl Wanted {
    pub(super) fn of(asked: &PlanAsked, inputs: Option<&PlanInputs>, settings: &RoomSettings, studio: &Studio) -> Self {
        let typed = |name: &str| asked.get(name).map(String::as_str).unwrap_or_default();
        let (humidity, temperature) = (typed("humidity"), typed("temperature"));
        let mut notes = Notes::said_with(studio.decimal);
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

/// Works a target out: sentence, hour, numbers, warnings, picture, what was left out.
pub(super) fn work_out(
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
            let verb = if devices_for(inputs, target).is_empty() { "begin" } else { "switch on" };
            if before(slowest) > now && high.is_some() {
                let (by, late) = (day(before(slowest)), day(before(*best)));
                let late = if by == late { String::new() } else { format!("; {late} would do in a room as expected") };
                return format!("To be there when the studio opens {opens_words}: {verb} {by} at the latest{late}.");
            }
            let there = day(now.plus(micros(*best)));
            let in_time = if now.plus(micros(*best)) <= opens { "in time for" } else { "after" };
            let verb = if verb == "begin" { "Begun" } else { "Switched on" };
            format!("{verb} now, it is there about {there}, {in_time} the opening {opens_words} in a room as expected.")
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
        let watts = plan::watts_of_evaporation(GramsPerHour::clamped(given));
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
