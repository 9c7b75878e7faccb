//! A timing session in words: on the artist's page and on its own.

use super::hands::{KeptSitting, may_include_waiting};
use super::words::bare;
use super::{Session, Source};
use crate::base::text::count;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::web::House;
use crate::web::studio::Studio;

/// A session as a row.
pub(super) struct SessionRow {
    /// "Tue 3 Nov 10:12".
    pub(super) when: String,
    pub(super) href: String,
    /// "30 placements by taps; settle half by 1.1 s".
    pub(super) what: String,
    /// Air, room's bottle, or dry.
    pub(super) with: String,
    /// Set where the settle may contain waiting.
    pub(super) waiting: bool,
    pub(super) struck: bool,
    /// Where the form that strikes it out, or takes that back, is sent.
    pub(super) strike: String,
}

/// The words of a session.
pub(super) fn session_row(
    house: &House,
    session: &Session,
    sitting: &KeptSitting,
    studio: &Studio,
    now: Instant,
) -> SessionRow {
    let median = sitting.median();
    let mut what = format!("{} {}", count(sitting.counted as usize, "placement"), by(session.source));
    if let Some(median) = median {
        what.push_str(&format!("; half settle by {}\u{a0}s", bare(median, studio.decimal)));
    }
    if sitting.struck > 0 {
        what.push_str(&format!("; {} struck out", sitting.struck));
    }
    let href = house.url(&format!("/hands/{}/sessions/{}", session.artist, session.id));
    let act = if session.struck.is_some() { "take-back" } else { "strike" };
    SessionRow {
        when: studio.zone.date_and_clock(session.at, now),
        what,
        with: with(session, studio),
        waiting: waiting(session, median),
        struck: session.struck.is_some(),
        strike: format!("{href}/{act}"),
        href,
    }
}

/// Whether the bottle was slower than the hands, so that settling may contain waiting.
pub(super) fn waiting(session: &Session, settle: Option<Seconds>) -> bool {
    let predicted = session.bottle.as_ref().and_then(|bottle| bottle.predicted_set);
    predicted.zip(settle).is_some_and(|(predicted, settle)| may_include_waiting(predicted, settle))
}

/// "by taps", "from a video", "typed in", "from rows".
pub(super) const fn by(source: Source) -> &'static str {
    match source {
        Source::Taps => "by taps",
        Source::Video => "from a video",
        Source::Typed => "typed in",
        Source::Rows => "from rows",
    }
}

/// "dry", "with Heath, predicted 2.1 s", and the air.
pub(super) fn with(session: &Session, studio: &Studio) -> String {
    let bottle = match (&session.bottle, session.dry) {
        (Some(bottle), _) => match bottle.predicted_set {
            Some(set) => format!("with {}, predicted to set in {}\u{a0}s", bottle.name, bare(set, studio.decimal)),
            None => format!("with {}", bottle.name),
        },
        (None, true) => "dry".to_owned(),
        (None, false) => "adhesive not named".to_owned(),
    };
    let air = session.air.map(|air| {
        let humidity = air.humidity.map(|humidity| format!(", {}\u{a0}%RH", studio.number(humidity.get(), 0)));
        format!(
            "{}\u{a0}{}{}",
            studio.temperature(air.temperature),
            studio.temperature_unit(),
            humidity.unwrap_or_default()
        )
    });
    match air {
        Some(air) => format!("{bottle}; {air}"),
        None => format!("{bottle}; air not known"),
    }
}
