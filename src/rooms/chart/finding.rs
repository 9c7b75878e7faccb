//! The one sentence a chart is there for, and how to read it.

use super::window::HOUR;
use super::{Air, Window, Wording};
use crate::base::text::capital;
use crate::rooms::instrument::LIKELY;
use crate::rooms::written::Quantity;

/// What the readings were: range, and how long outside the band; then the last one.
pub(super) fn sentence(window: &Window, air: &Air<'_>, wording: &Wording<'_>) -> String {
    let subject = capital(air.quantity.word());
    let low = air.kept.iter().map(|(_, value)| *value).reduce(f64::min);
    let high = air.kept.iter().map(|(_, value)| *value).reduce(f64::max);
    let (Some(low), Some(high)) = (low, high) else {
        return format!("No readings of {} here{}.", air.quantity.word(), set_aside(air));
    };
    let range = format!("from {} to {}", wording.number(air.quantity, low), wording.with_unit(air.quantity, high));
    let first = match air.band {
        None => format!("{subject} ran {range}{}.", set_aside(air)),
        Some(band) => against_band(&subject, &range, band, air, wording),
    };
    match last(window, air, wording) {
        Some(last) => format!("{first} {last}"),
        None => first,
    }
}

fn against_band(subject: &str, range: &str, band: (f64, f64), air: &Air<'_>, wording: &Wording<'_>) -> String {
    let number = |value| wording.number(air.quantity, value);
    let named = format!("the band of {}–{}", number(band.0), wording.with_unit(air.quantity, band.1));
    let Time { below, above, all } = time_outside(band, air);
    let aside = set_aside(air);
    // A lone reading stands for no time, and is yet where it is.
    let outside = air.kept.iter().filter(|(_, value)| !(band.0..=band.1).contains(value)).count();
    if below == 0 && above == 0 && outside > 0 {
        format!("{subject} was outside {named} at {outside} of {} readings, and ran {range}{aside}.", air.kept.len())
    } else if below == 0 && above == 0 {
        format!("{subject} stayed inside {named}, {range}{aside}.")
    } else {
        let (side, time) = if below >= above { ("below", below) } else { ("above", above) };
        let time = if time == all {
            "all the time".to_owned()
        } else if length(time) == length(all) {
            "nearly all the time".to_owned()
        } else {
            format!("for {} of {}", length(time), length(all))
        };
        format!("{subject} was {side} {named} {time}, and ran {range}{aside}.")
    }
}

fn set_aside(air: &Air<'_>) -> String {
    match air.set_aside.len() {
        0 => String::new(),
        1 => "; one reading is set aside".to_owned(),
        n => format!("; {n} readings are set aside"),
    }
}

fn last(window: &Window, air: &Air<'_>, wording: &Wording<'_>) -> Option<String> {
    let (at, value) = *air.kept.last()?;
    let likely = air.last_doubt.map(|doubt| {
        let end = |times: f64| match air.quantity {
            Quantity::Humidity => (value + times * doubt).clamp(0.0, 100.0),
            Quantity::Temperature => value + times * doubt,
        };
        format!(
            ", likely {}–{}",
            wording.number(air.quantity, end(-LIKELY)),
            wording.with_unit(air.quantity, end(LIKELY))
        )
    });
    let value = wording.with_unit(air.quantity, value);
    Some(format!("Last, {}: {value}{}.", window.moment(at), likely.unwrap_or_default()))
}

struct Time {
    below: i64,
    above: i64,
    all: i64,
}

/// A reading stands until the next one, or for as long as readings are joined; the last one stands for nothing.
fn time_outside((low, high): (f64, f64), air: &Air<'_>) -> Time {
    let mut time = Time { below: 0, above: 0, all: 0 };
    for pair in air.kept.windows(2) {
        let stands = pair[1].0 - pair[0].0;
        if !(0..=air.joined_within).contains(&stands) {
            continue;
        }
        time.all += stands;
        time.below += if pair[0].1 < low { stands } else { 0 };
        time.above += if pair[0].1 > high { stands } else { 0 };
    }
    time
}

/// "40 min" under two hours, else "9 h".
fn length(us: i64) -> String {
    let minutes = us / (HOUR / 60);
    if minutes < 120 { format!("{minutes}\u{a0}min") } else { format!("{}\u{a0}h", (minutes + 30) / 60) }
}

/// How to read the picture: only what is in it.
pub(super) fn caption(window: &Window, air: &Air<'_>) -> String {
    let mut sentences = Vec::new();
    if air.band.is_some() {
        sentences.push("Tinted: the studio’s band.".to_owned());
    }
    if broken(air) {
        sentences.push("The line breaks where readings are missing.".to_owned());
    }
    if !air.set_aside.is_empty() {
        sentences.push("Open squares: readings set aside.".to_owned());
    }
    if !air.device_on.is_empty() {
        sentences.push("Bar at the foot: the device was on.".to_owned());
    }
    if !air.kept.is_empty() {
        sentences.push(match air.last_doubt {
            Some(_) => "Disc: the last reading, with what is likely, 8 times in 10.".to_owned(),
            None => "Disc: the last reading.".to_owned(),
        });
    }
    sentences.extend(window.odd_days());
    sentences.join(" ")
}

fn broken(air: &Air<'_>) -> bool {
    air.kept.windows(2).any(|pair| pair[1].0 - pair[0].0 > air.joined_within)
}
