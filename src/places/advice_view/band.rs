//! The working band of the chosen bottle, with what the room allows and the air to aim at.

use super::Around;
use crate::advice::draw::band_chart::{self, GuardLine, Map, Reading, Spot};
use crate::advice::for_work::ForWork;
use crate::advice::judge::{Question, Subject};
use crate::base::units::{Celsius, RelHumidity};
use crate::places::advice_asked::Read;
use crate::places::air_options::When;
use crate::rooms::asked::wet_line;

/// The working band.
pub(in crate::places) struct BandView {
    pub(in crate::places) bottle: String,
    pub(in crate::places) drawn: band_chart::Drawn,
    pub(in crate::places) guarded: bool,
}

pub(super) fn band(
    q: &Question<'_>,
    work: &ForWork,
    when: &[Option<When>],
    read: &Read,
    around: &Around<'_>,
) -> Option<BandView> {
    let (Subject::Bottle(b), Some(band)) = (work.judged.base, work.band.as_ref()) else { return None };
    let spot = |(temperature, humidity): (Celsius, RelHumidity)| Spot { temperature, humidity };
    let wet: Vec<Spot> = wet(read).into_iter().map(spot).collect();
    let words = format!("{} wet past here", read.room.coldest_surface);
    let words = if words.chars().count() > 26 { "wet past here".to_owned() } else { words };
    let guards: Vec<GuardLine<'_>> =
        if wet.is_empty() { Vec::new() } else { vec![GuardLine { words: &words, points: &wet }] };
    let trail: Vec<Spot> = around.trail.iter().copied().map(spot).collect();
    let drawn = band_chart::draw(&Map {
        id: "band-map",
        bottle: &q.bottles[b].name,
        band,
        reading: read.air.as_ref().map(|air| Reading {
            spot: Spot { temperature: air.measured.temperature, humidity: air.measured.humidity.humidity },
            doubt: air.measured.doubt,
        }),
        trail: &trail,
        guards: &guards,
        aim: aim(work, when),
        fahrenheit: around.studio.fahrenheit,
        mark: around.studio.decimal,
    });
    Some(BandView { bottle: q.bottles[b].name.clone(), drawn, guarded: !wet.is_empty() })
}

/// The air to aim at: that of the soonest change of air that can be had.
fn aim(work: &ForWork, when: &[Option<When>]) -> Option<Spot> {
    let (offer, _) = work.options.offers.iter().zip(when).find(|(_, when)| matches!(when, Some(When::In(..))))?;
    let air = offer.air()?;
    Some(Spot { temperature: air.temperature, humidity: air.humidity })
}

/// Where the coldest surface gets wet: by the room's plan, or by the surface's own temperature where the plan lacks the
/// air outside.
fn wet(read: &Read) -> Vec<(Celsius, RelHumidity)> {
    if let Some(plan) = &read.plan {
        return wet_line(|room| plan.surface.celsius(room, plan.outside.temperature));
    }
    read.room.surface.map(|surface| wet_line(|_| surface.get())).unwrap_or_default()
}
