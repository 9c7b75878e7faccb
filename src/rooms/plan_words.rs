//! The room plan in words: hours, what becomes of a target, what was left out and why.

use super::plan::balance::Moves;
use super::plan::fit::{Fit, LEAST_CHANGE, LEAST_HOURS, LEAST_READINGS, Unfit};
use super::plan::guards::{COLDEST_ROOM_C, Guard, Warning};
use super::plan::{Air, PlanInputs, Reach, devices_for, is_rise};
use super::{DeviceKind, Room};
use crate::base::units::{Celsius, Hours};
use crate::web::studio::Studio;

/// A span in words: "at once", "40 min", "2.5 h", "14 h", "2.5 days".
pub(super) fn hours(span: Hours, studio: &Studio) -> String {
    let (value, unit) = rounded(span.get(), studio);
    if unit.is_empty() { value } else { format!("{value}\u{a0}{unit}") }
}

/// As number and unit.
pub(super) fn rounded(span: f64, studio: &Studio) -> (String, &'static str) {
    match span {
        h if h * 60.0 < 2.5 => ("at once".to_owned(), ""),
        h if h < 1.2 => (studio.number((h * 12.0).round() * 5.0, 0), "min"),
        h if h < 9.75 => (studio.number((h * 2.0).round() / 2.0, usize::from((h * 2.0).round() % 2.0 > 0.5)), "h"),
        h if h < 47.5 => (studio.number(h, 0), "h"),
        h => (studio.number((h / 12.0).round() / 2.0, usize::from((h / 12.0).round() % 2.0 > 0.5)), "days"),
    }
}

/// "3–12 h", or "3 h to never".
pub(super) fn span(low: Hours, high: Option<Hours>, studio: &Studio) -> String {
    let Some(high) = high else { return format!("{} to never", hours(low, studio)) };
    let ((a, low_unit), (b, high_unit)) = (rounded(low.get(), studio), rounded(high.get(), studio));
    match (low_unit == high_unit, a == b) {
        (true, true) => hours(high, studio),
        (true, false) => format!("{a}–{b}\u{a0}{high_unit}"),
        _ => format!("{} to {}", hours(low, studio), hours(high, studio)),
    }
}

/// How sure a range of hours is, in the words of every page, by the ratio of its ends.
pub(super) fn sureness(low: f64, high: f64, fitted: bool) -> &'static str {
    match high / low.max(1e-9) {
        _ if !fitted => "starting guess",
        ratio if ratio <= 1.35 => "well known",
        ratio if ratio <= 1.7 => "fairly sure",
        ratio if ratio <= 2.5 => "rough",
        _ => "starting guess",
    }
}

pub(super) fn percent(value: f64, studio: &Studio) -> String {
    format!("{}\u{a0}%RH", studio.number(value, 0))
}

pub(super) fn degrees(celsius: f64, studio: &Studio) -> String {
    format!("{}\u{a0}{}", studio.number(studio.scale(celsius), 1), studio.temperature_unit())
}

/// "40 %RH at 21.0 °C".
pub(super) fn air(of: Air, studio: &Studio) -> String {
    format!("{} at {}", percent(of.humidity.get(), studio), degrees(of.temperature.get(), studio))
}

/// Mark and sentence of what becomes of a target.
pub(super) fn lead(
    room: &Room,
    inputs: &PlanInputs,
    target: Air,
    reach: &Reach,
    studio: &Studio,
) -> (&'static str, String) {
    let (name, wanted) = (&room.name, air(target, studio));
    match reach {
        Reach::Reached { best, .. } if best.get() < 1e-9 => {
            let to_stay = match needed(inputs, target) {
                grams if grams >= 1.0 => {
                    format!("To stay there it takes about {}\u{a0}g an hour.", studio.number(grams, 0))
                }
                _ => "Nothing needs to be switched on.".to_owned(),
            };
            ("fit", format!("{name} is there now: {wanted}. {to_stay}"))
        }
        Reach::Reached { low, best, high } => {
            let (best, range) = (hours(*best, studio), span(*low, *high, studio));
            let about = if best == range { best } else { format!("{best}, likely {range}") };
            let by = match devices_for(inputs, target).is_empty() {
                true => "by its air change and its heating alone",
                false => "with what stands here",
            };
            (if high.is_some() { "fit" } else { "near" }, format!("{name} reaches {wanted} in {about}, {by}."))
        }
        Reach::Never { nearest } => {
            let end = if target.humidity.get() > *nearest { "at most" } else { "at least" };
            let reached = percent(*nearest, studio);
            ("stop", format!("{name} never reaches {wanted} with what stands here: {end} {reached}, however long."))
        }
        Reach::Refused(guard) => ("stop", refusal(room, target, guard, studio)),
    }
}

fn refusal(room: &Room, target: Air, guard: &Guard, studio: &Studio) -> String {
    match guard {
        Guard::TooCold => {
            format!("Not planned: under {} it is too cold for a client lying still.", degrees(COLDEST_ROOM_C, studio))
        }
        Guard::Condenses { surface, dew, highest } => {
            let below = if *highest > 5.0 {
                format!(" Below {} it stays dry.", percent(highest.floor(), studio))
            } else {
                String::new()
            };
            format!(
                "Not planned: at {} water settles on the {}. It is at {}, the dew point would be {}.{below}",
                air(target, studio),
                room.coldest_surface,
                degrees(*surface, studio),
                degrees(*dew, studio),
            )
        }
    }
}

/// A warning with its mark.
pub(super) fn warning(room: &Room, warning: &Warning, studio: &Studio) -> (&'static str, String) {
    match warning {
        Warning::DampSurface { at_surface, surface } => (
            "stop",
            format!(
                "The {}, at {}, would stand at {}: mould grows where that lasts. Aim lower, or warm that surface.",
                room.coldest_surface,
                degrees(*surface, studio),
                percent(*at_surface, studio),
            ),
        ),
        Warning::DampRoom => (
            "near",
            format!("Above {} in the room, walls and textiles stay damp. Not for days on end.", percent(60.0, studio)),
        ),
    }
}

/// What would be needed, where the devices are not enough: grams an hour to hold the target, from the balance at rest.
pub(super) fn needed(inputs: &PlanInputs, target: Air) -> f64 {
    inputs.air_changes.get() * inputs.volume.get() * (target.density() - inputs.outside.density())
}

/// What was considered and left out, with the reason.
pub(super) fn left_out(
    inputs: &PlanInputs,
    target: Air,
    devices: &[(String, DeviceKind)],
    measured: bool,
) -> Vec<String> {
    let mut left_out = Vec::new();
    let rising = devices_for(inputs, target).iter().any(|device| device.moves == Moves::Gives);
    for (name, kind) in devices {
        let off = match kind {
            DeviceKind::Humidifier => !is_rise(inputs.now, target),
            DeviceKind::Dehumidifier => is_rise(inputs.now, target),
            DeviceKind::Heater | DeviceKind::Cooler => false,
        };
        if off {
            left_out.push(format!("{name}: stays off, it would work against this."));
        }
        if matches!(kind, DeviceKind::Heater | DeviceKind::Cooler) {
            left_out.push(format!("{name}: counts through the degrees an hour of this room, not by itself."));
        }
    }
    if devices.is_empty() {
        left_out.push("Devices: none is entered for this room.".to_owned());
    }
    let air_change = if measured {
        "the air change is measured, and not to be lowered"
    } else {
        "it is what keeps vapour low at the bed"
    };
    left_out.push(format!("Less airing, less extraction, closed windows: never; {air_change}."));
    left_out.push("People in the room: they add water while they are there, which is not counted.".to_owned());
    if rising {
        left_out.push("Wet cloths, pots on a heater: no rate is known for them.".to_owned());
    }
    left_out
}

/// What a fit says.
pub(super) fn fitted(fit: &Fit, readings: usize, when: &str, studio: &Studio) -> String {
    let capacity = format!(
        "moisture capacity {}, likely {}–{}",
        studio.number(fit.capacity.best, 1),
        studio.number(fit.capacity.low, 1),
        studio.number(fit.capacity.high, 1)
    );
    let changes = studio.number(fit.air_changes.get(), 2);
    if fit.tells_air_change {
        format!("Fitted from {readings} readings of {when}: air change {changes} an hour, {capacity}.")
    } else {
        format!(
            "Fitted from {readings} readings of {when}: {capacity}, with the air change of {changes} an hour that stands. With every device off, readings do not tell the air change."
        )
    }
}

/// Why nothing could be fitted.
pub(super) fn unfit(why: &Unfit, studio: &Studio) -> String {
    match why {
        Unfit::TooFew(found) => format!("{found} readings lie in this stretch; {LEAST_READINGS} are needed."),
        Unfit::TooShort(hours) => format!(
            "The readings span {}\u{a0}h; {}\u{a0}h are needed.",
            studio.number(*hours, 1),
            studio.number(LEAST_HOURS, 0)
        ),
        Unfit::TooLittleChange(change) => format!(
            "The water in the air changed by {}\u{a0}g/m³ only; {} are needed to tell anything.",
            studio.number(*change, 1),
            studio.number(LEAST_CHANGE, 1)
        ),
        Unfit::NotOneCurve => {
            "The readings do not follow one curve: something was switched or opened, or people came in.".to_owned()
        }
        Unfit::TooStraight => "The curve is too straight to tell where it leads. A longer stretch would.".to_owned(),
        Unfit::Impossible => {
            "The readings lead where the air outside and these devices cannot: was something else on or open?"
                .to_owned()
        }
    }
}

/// A temperature of the plan on the studio's scale, for a field.
pub(super) fn typed_degrees(celsius: Celsius, studio: &Studio) -> String {
    studio.temperature(celsius)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_said_as_one_says_them() {
        let said = |span: f64| hours(Hours::clamped(span), &Studio::default()).replace('\u{a0}', "~");
        for (span, expected) in [
            (0.0, "at once"),
            (0.66, "40~min"),
            (1.3, "1.5~h"),
            (2.9, "3~h"),
            (14.4, "14~h"),
            (49.0, "2~days"),
            (60.0, "2.5~days"),
        ] {
            assert_eq!(said(span), expected, "{span}");
        }
        let range = |low, high: Option<f64>| {
            span(Hours::clamped(low), high.map(Hours::clamped), &Studio::default()).replace('\u{a0}', "~")
        };
        assert_eq!(range(3.0, Some(12.2)), "3–12~h");
        assert_eq!(range(0.5, Some(2.0)), "30~min to 2~h");
        assert_eq!(range(6.0, None), "6~h to never");
        assert_eq!(range(6.1, Some(6.2)), "6~h");
    }

    #[test]
    fn an_estimate_is_a_starting_guess_however_narrow() {
        assert_eq!(sureness(5.0, 6.0, false), "starting guess");
        assert_eq!(sureness(5.0, 6.0, true), "well known");
        assert_eq!(sureness(5.0, 11.0, true), "rough");
    }
}
