//! The words inside the map, each where it is true and free.

use super::picture::at;
use super::{FOOT, LEFT, Map, RIGHT, TOP, x, y};
use crate::advice::band::{Band, BandRow, HUMIDITIES, Suitability, TEMPERATURES, humidity_at, temperature_at};
use crate::advice::draw::Ink;
use crate::advice::draw::labels::{self, BASE, Place, Taken};

/// The words inside the map, each where it is true and free.
pub(super) fn words(svg: &mut Ink, map: &Map<'_>, rows: &[BandRow], guards: &[(f64, f64)], taken: &mut Taken) {
    let frame = Place { left: LEFT + 3.0, top: TOP + 2.0, right: RIGHT - 2.0, foot: FOOT - 3.0 };
    let mut put = |svg: &mut Ink, words: &str, wishes: &[(f64, f64)], right: &dyn Fn(&Place) -> bool| {
        if let Some(place) = taken.find(words, &frame, wishes, right) {
            svg.text("halo", (place.left + 2.0, place.top + BASE), "start", words);
        }
    };
    if let Some(reading) = map.reading {
        let (px, py) = at(reading.spot);
        let beside = labels::width("now") + 10.0;
        let wishes = [(px + 10.0, py - 22.0), (px - beside, py - 22.0), (px + 10.0, py + 6.0), (px - beside, py + 6.0)];
        put(svg, "now", &wishes, &|_| true);
    }
    if let Some(spot) = map.aim {
        let (px, py) = at(spot);
        put(svg, "aim", &[(px + 8.0, py - 20.0), (px + 8.0, py + 4.0), (px - 36.0, py - 20.0)], &|_| true);
    }
    for (guard, (px, py)) in map.guards.iter().zip(guards) {
        if px.is_finite() {
            let wide = labels::width(guard.words);
            put(
                svg,
                guard.words,
                &[(px + 6.0, py - 8.0), (RIGHT - wide - 4.0, py - 8.0), (px - wide - 6.0, py - 8.0)],
                &|_| true,
            );
        }
    }
    for (words, kind) in [
        ("likely suits", Suitability::Likely),
        ("too slow", Suitability::TooSlow),
        ("too quick", Suitability::TooQuick),
        ("may suit", Suitability::May),
    ] {
        let Some(middle) = middle_of(map.band, kind) else { continue };
        let half = labels::width(words) / 2.0;
        let wish = (middle.0 - half, middle.1 - 8.0);
        put(svg, words, &[wish], &|place| {
            let centre = (f64::midpoint(place.left, place.right), f64::midpoint(place.top, place.foot));
            kind_at(map.band, centre) == kind
        });
    }
    debug_assert_eq!(rows.len(), TEMPERATURES);
}

/// The middle of the cells of a kind, in pixels.
fn middle_of(band: &Band, kind: Suitability) -> Option<(f64, f64)> {
    let (mut n, mut sum) = (0.0, (0.0, 0.0));
    for i in 0..TEMPERATURES {
        for j in (0..HUMIDITIES).filter(|j| band.at(i, *j).suitability == kind) {
            n += 1.0;
            sum.0 += x().at(humidity_at(j));
            sum.1 += y().at(temperature_at(i));
        }
    }
    (n > 0.0).then(|| (sum.0 / n, sum.1 / n))
}

/// How the air under a pixel stands.
pub(super) fn kind_at(band: &Band, (px, py): (f64, f64)) -> Suitability {
    let humidity = (px - LEFT) / (RIGHT - LEFT) * (HUMIDITIES - 1) as f64;
    let temperature = (FOOT - py) / (FOOT - TOP) * (TEMPERATURES - 1) as f64;
    let cell = |at: f64, last: usize| (at.round().max(0.0) as usize).min(last);
    band.at(cell(temperature, TEMPERATURES - 1), cell(humidity, HUMIDITIES - 1)).suitability
}
