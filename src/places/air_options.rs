//! How long a change of air takes in this room, in words: from the room's own plan.

use crate::adhesives::Air;
use crate::advice::options::Offer;
use crate::base::units::Celsius;
use crate::rooms::plan::guards::{Guard, humidity_wet_at};
use crate::rooms::plan::{self, PlanInputs, Reach};
use crate::web::studio::Studio;

/// When a change of air works.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum When {
    /// After so many hours, best guess, and the words for it: "1 h 20" and "50 min–2 h 40".
    In(f64, String, String),
    /// Not to be had here, and why.
    Never(String),
    /// Nobody knows: the air outside or here is not known.
    NotKnown,
}

fn condenses(surface: f64, highest: f64, studio: &Studio) -> When {
    When::Never(format!(
        "water would settle on the coldest surface, {}\u{a0}{}: not above {}\u{a0}%RH",
        studio.number(studio.scale(surface), 1),
        studio.temperature_unit(),
        studio.number(highest.floor(), 0)
    ))
}

/// When this offer's air is reached; `None` for an offer that changes no air. `surface`: the room's coldest surface as
/// measured; it holds the guard where nothing else is known.
pub(super) fn when(
    offer: &Offer,
    inputs: Option<&PlanInputs>,
    surface: Option<Celsius>,
    studio: &Studio,
) -> Option<When> {
    let Air { temperature, humidity } = offer.air()?;
    let Some(inputs) = inputs else {
        let wet = surface.map(|surface| (surface.get(), humidity_wet_at(temperature, surface.get())));
        return Some(match wet {
            Some((surface, highest)) if highest <= humidity.get() => condenses(surface, highest, studio),
            _ => When::NotKnown,
        });
    };
    Some(match plan::reach(inputs, plan::Air { temperature, humidity }) {
        Reach::Reached { low, best, high } => {
            let (low, high) = (low.get(), high.map(crate::base::units::Hours::get));
            let range = match high {
                Some(high) => format!("{}–{}", hours(low), hours(high)),
                None => format!("{} or much longer", hours(low)),
            };
            When::In(best.get(), hours(best.get()), range)
        }
        Reach::Never { nearest } => When::Never(format!(
            "this room’s devices do not reach it in this outside air; {}\u{a0}%RH is the nearest",
            studio.number(nearest, 0)
        )),
        Reach::Refused(Guard::Condenses { surface, highest, .. }) => condenses(surface, highest, studio),
        Reach::Refused(Guard::TooCold) => When::Never("it is too cold for a client lying still".to_owned()),
    })
}

/// "now", "50 min", "1 h 20", "6 h", "2 days".
pub(super) fn hours(hours: f64) -> String {
    let minutes = (hours * 60.0 / 5.0).round() * 5.0;
    match minutes {
        m if m < 5.0 => "now".to_owned(),
        m if m < 60.0 => format!("{m:.0}\u{a0}min"),
        m if m < 180.0 => {
            let (whole, left) = ((m / 60.0).floor(), m % 60.0);
            if left < 1.0 { format!("{whole:.0}\u{a0}h") } else { format!("{whole:.0}\u{a0}h\u{a0}{left:02.0}") }
        }
        m if m < 36.0 * 60.0 => format!("{:.0}\u{a0}h", m / 60.0),
        m => format!("{:.0}\u{a0}days", m / 60.0 / 24.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_said_as_finely_as_they_are_known() {
        for (value, said) in [
            (0.01, "now"),
            (0.8, "50~min"),
            (1.0, "1~h"),
            (1.33, "1~h~20"),
            (2.0, "2~h"),
            (6.2, "6~h"),
            (50.0, "2~days"),
        ] {
            assert_eq!(hours(value).replace('\u{a0}', "~"), said);
        }
    }
}
