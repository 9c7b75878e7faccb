//! The working band: over which temperatures and humidities a bottle suits these hands.

use crate::base::stats::lattice::POINTS;
use crate::base::units::{Celsius, RelHumidity};

use super::judge::{HandsTables, Question, Stand, Subject, Verdict};
use super::strip::edges;

/// Temperatures of the map: 15–30 °C, every degree.
pub const TEMPERATURES: usize = 16;
/// Humidities of the map: 20–80 %RH, every 2 %.
pub const HUMIDITIES: usize = 31;
/// From this share of the draws on, air *likely suits*.
pub const LIKELY: f64 = 0.5;
/// From this share on it *may suit*.
pub const MAY: f64 = 0.2;

/// How air on the map stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suitability {
    /// In at least half the draws.
    Likely,
    /// In at least one draw in five.
    May,
    /// In fewer, and mostly because it sets before the hands are done.
    TooQuick,
    /// In fewer, and mostly because it must be held too long.
    TooSlow,
}

/// One point of the map.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Share of the draws in which the bottle suits.
    pub share: f64,
    /// The word for it.
    pub suitability: Suitability,
}

/// Where the humidity suits at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandRow {
    /// The temperature.
    pub temperature: Celsius,
    /// Driest and dampest %RH that likely suit, smooth between the map's points; `None` when none does.
    pub likely: Option<(RelHumidity, RelHumidity)>,
    /// The same for what may suit.
    pub may: Option<(RelHumidity, RelHumidity)>,
}

/// The map of one bottle and one pair of hands. The instrument's doubt is left out: it belongs to the reading's mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    cells: Vec<Cell>,
    /// The room's verdict, for the reading's mark.
    pub reading: Verdict,
}

/// Temperature of row `i` of the map, °C.
#[must_use]
pub fn temperature_at(i: usize) -> f64 {
    15.0 + i as f64
}

/// Humidity of column `j` of the map, %RH.
#[must_use]
pub fn humidity_at(j: usize) -> f64 {
    20.0 + 2.0 * j as f64
}

/// Draws the map of the bottle at place `bottle` of the question's shelf. `reading` is its verdict now.
#[must_use]
pub fn working_band(q: &Question<'_>, bottle: usize, reading: Verdict) -> Band {
    working_band_by(q, bottle, reading, &HandsTables::of(q.hands))
}

/// As [`working_band`], by tables of these hands already made.
pub(crate) fn working_band_by(q: &Question<'_>, bottle: usize, reading: Verdict, tables: &HandsTables) -> Band {
    let stand = Stand::of(q, tables, Subject::Bottle(bottle), q.work.bead, q.work.liquids, None);
    let (low, high) = edges(&stand.hands, &stand.adhesive.sigma, q.limits, q.work.placements_per_set);
    let adhesive = &stand.adhesive;
    let dry: [f64; HUMIDITIES] = std::array::from_fn(|j| crate::adhesives::set_time::dryness(humidity_at(j)));
    let mut cells = Vec::with_capacity(TEMPERATURES * HUMIDITIES);
    for i in 0..TEMPERATURES {
        let cool = (22.0 - temperature_at(i)) / 10.0;
        let (mut quick, mut slow) = ([0_u32; HUMIDITIES], [0_u32; HUMIDITIES]);
        let mut suit = [0_u32; HUMIDITIES];
        for d in 0..POINTS {
            let here = adhesive.rest[d] + adhesive.temperature_factor[d] * cool;
            let n = adhesive.humidity_exponent[d];
            for j in 0..HUMIDITIES {
                let m = here + n * dry[j];
                let (early, late) = (u32::from(m < low[d]), u32::from(m > high[d]));
                quick[j] += early;
                slow[j] += late;
                suit[j] += (1 - early) * (1 - late);
            }
        }
        cells.extend((0..HUMIDITIES).map(|j| cell(suit[j], quick[j], slow[j])));
    }
    Band { cells, reading }
}

fn cell(suit: u32, quick: u32, slow: u32) -> Cell {
    let share = f64::from(suit) / POINTS as f64;
    let suitability = match share {
        s if s >= LIKELY => Suitability::Likely,
        s if s >= MAY => Suitability::May,
        _ if quick >= slow => Suitability::TooQuick,
        _ => Suitability::TooSlow,
    };
    Cell { share, suitability }
}

impl Band {
    /// The point at row `i` (temperature) and column `j` (humidity).
    #[must_use]
    pub fn at(&self, i: usize, j: usize) -> Cell {
        self.cells[i * HUMIDITIES + j]
    }

    /// Every row with the humidities that suit: the map as a table, and the points of its smooth edges.
    #[must_use]
    pub fn rows(&self) -> Vec<BandRow> {
        (0..TEMPERATURES)
            .map(|i| BandRow {
                temperature: Celsius::clamped(temperature_at(i)),
                likely: self.edges(i, LIKELY),
                may: self.edges(i, MAY),
            })
            .collect()
    }

    /// Driest and dampest humidity of row `i` at which the share reaches `level`, between points by straight lines.
    fn edges(&self, i: usize, level: f64) -> Option<(RelHumidity, RelHumidity)> {
        let share = |j: usize| self.at(i, j).share;
        let first = (0..HUMIDITIES).find(|j| share(*j) >= level)?;
        let last = (0..HUMIDITIES).rfind(|j| share(*j) >= level)?;
        let between = |inside: usize, outside: usize| {
            let part = (share(inside) - level) / (share(inside) - share(outside)).max(1e-12);
            humidity_at(inside) + part * (humidity_at(outside) - humidity_at(inside))
        };
        let low = if first == 0 { humidity_at(0) } else { between(first, first - 1) };
        let high = if last + 1 == HUMIDITIES { humidity_at(last) } else { between(last, last + 1) };
        Some((RelHumidity::clamped(low), RelHumidity::clamped(high)))
    }
}
