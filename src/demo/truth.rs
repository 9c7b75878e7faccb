//! What is true in the invented studio: how its people's hands move and how its adhesives set. Everything its pages show was
//! drawn from these numbers by the chance below, so that what the pages conclude can be held against them. Every name and
//! number here is made up.

use crate::adhesives::{Air, Bead, Family, Liquid, Liquids, PickUp};
use crate::artists::Technique;
use crate::base::stats::normal;
use crate::base::units::Seconds;

use super::air::DemoRoom;

/// The hands of one artist in one technique, as they truly are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueHands {
    /// Whose.
    pub artist: &'static str,
    /// In which technique.
    pub technique: Technique,
    /// How many fine extensions a fan has, where there are fans.
    pub fan: Option<u8>,
    /// Median seconds from pick-up to contact.
    pub travel_s: f64,
    /// Median seconds from contact until no longer moved.
    pub settle_s: f64,
    /// Log spread of both within a sitting.
    pub spread: f64,
    /// By how much a hundredth of the settle shrinks from one session to the next: somebody who learns.
    pub learns: f64,
    /// Placements in a usual set.
    pub per_set: u32,
    /// Sessions timed.
    pub sessions: u32,
    /// Placements in each.
    pub placements: u32,
}

/// Log spread between two sittings of the same hands.
pub const SITTING_SPREAD: f64 = 0.06;

const fn hands(
    artist: &'static str,
    technique: Technique,
    fan: Option<u8>,
    numbers: [f64; 3],
    per_set: u32,
) -> TrueHands {
    let [travel_s, settle_s, spread] = numbers;
    TrueHands { artist, technique, fan, travel_s, settle_s, spread, learns: 0.0, per_set, sessions: 3, placements: 20 }
}

/// Six artists of different speed. Tilde is the quickest; Marlo is learning and gets quicker; Juna has not been timed yet
/// in hybrid, so that page begins with the starting guess.
pub const HANDS: [TrueHands; 9] = [
    hands("Ines Okafor", Technique::Volume, Some(4), [2.4, 0.95, 0.26], 240),
    hands("Ines Okafor", Technique::Classic, None, [2.0, 0.70, 0.24], 180),
    hands("Tilde Brandt", Technique::Classic, None, [1.5, 0.42, 0.22], 190),
    TrueHands { learns: 5.0, sessions: 5, ..hands("Marlo Vance", Technique::Hybrid, None, [3.4, 1.90, 0.34], 150) },
    hands("Oona Pell", Technique::Volume, Some(3), [2.2, 0.80, 0.25], 230),
    hands("Oona Pell", Technique::Classic, None, [2.1, 0.75, 0.25], 170),
    hands("Wren Castell", Technique::Mega, Some(10), [3.0, 1.30, 0.30], 260),
    TrueHands { sessions: 1, placements: 12, ..hands("Juna Eide", Technique::Classic, None, [2.6, 1.10, 0.30], 160) },
    TrueHands { sessions: 0, placements: 0, ..hands("Juna Eide", Technique::Hybrid, None, [2.9, 1.35, 0.32], 160) },
];

/// An adhesive as it truly is. Set time = `reference_s` · (50/%RH)^`humidity` · exp(`cool`·(22 − °C)/10) · exp(`bead`·step) ·
/// liquids · exp(`age`·days open/10) · the bottle's own factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueProduct {
    /// Its name.
    pub name: &'static str,
    /// Label in seconds: a window, one figure twice, or none.
    pub label_s: Option<(f64, f64)>,
    /// The maker's window: °C from, to, %RH from, to.
    pub climate: Option<[f64; 4]>,
    /// Seconds at 22 °C, 50 %RH, medium bead, no liquid, freshly opened.
    pub reference_s: f64,
    /// Humidity exponent.
    pub humidity: f64,
    /// ln of the factor for 10 °C cooler.
    pub cool: f64,
    /// ln of the factor of one step of bead.
    pub bead: f64,
    /// ln of the factor of an alcohol primer.
    pub primer: f64,
    /// ln of the factor of ten days open.
    pub age: f64,
    /// Log scatter between repeats.
    pub scatter: f64,
    /// Open time ÷ set time.
    pub openness: f64,
    /// Days it keeps once opened.
    pub opened_life: u32,
    /// Its monomer family.
    pub family: Family,
    /// Whether its maker allows an accelerator on natural lashes.
    pub accelerator: Option<bool>,
}

/// Six products. Heath is slower than its label says and Sedge quicker: labels of different makers are not comparable.
pub const PRODUCTS: [TrueProduct; 6] = [
    TrueProduct {
        name: "Slate",
        label_s: Some((0.5, 1.0)),
        climate: Some([20.0, 24.0, 40.0, 60.0]),
        reference_s: 0.72,
        humidity: 1.10,
        cool: 0.42,
        bead: 0.28,
        primer: -0.25,
        age: 0.04,
        scatter: 0.14,
        openness: 3.6,
        opened_life: 28,
        family: Family::Ethyl,
        accelerator: Some(false),
    },
    TrueProduct {
        name: "Heath",
        label_s: Some((1.0, 2.0)),
        climate: Some([19.0, 25.0, 35.0, 60.0]),
        reference_s: 1.75,
        humidity: 0.95,
        cool: 0.36,
        bead: 0.31,
        primer: -0.20,
        age: 0.06,
        scatter: 0.12,
        openness: 4.4,
        opened_life: 28,
        family: Family::Ethyl,
        accelerator: Some(false),
    },
    TrueProduct {
        name: "Dune",
        label_s: Some((2.0, 3.0)),
        climate: Some([18.0, 26.0, 30.0, 65.0]),
        reference_s: 2.3,
        humidity: 1.05,
        cool: 0.45,
        bead: 0.33,
        primer: -0.24,
        age: 0.05,
        scatter: 0.16,
        openness: 4.1,
        opened_life: 42,
        family: Family::Methoxyethyl,
        accelerator: None,
    },
    TrueProduct {
        name: "Fen",
        label_s: Some((3.0, 5.0)),
        climate: None,
        reference_s: 3.9,
        humidity: 0.85,
        cool: 0.40,
        bead: 0.30,
        primer: -0.18,
        age: 0.05,
        scatter: 0.18,
        openness: 4.6,
        opened_life: 42,
        family: Family::ButylOctyl,
        accelerator: Some(true),
    },
    TrueProduct {
        name: "Sedge",
        label_s: Some((0.5, 0.5)),
        climate: Some([20.0, 25.0, 45.0, 65.0]),
        reference_s: 0.40,
        humidity: 1.15,
        cool: 0.48,
        bead: 0.27,
        primer: -0.28,
        age: 0.03,
        scatter: 0.15,
        openness: 3.2,
        opened_life: 28,
        family: Family::Ethyl,
        accelerator: Some(false),
    },
    TrueProduct {
        name: "Loam",
        label_s: None,
        climate: None,
        reference_s: 1.2,
        humidity: 1.0,
        cool: 0.38,
        bead: 0.30,
        primer: -0.22,
        age: 0.07,
        scatter: 0.15,
        openness: 4.0,
        opened_life: 42,
        family: Family::NotStated,
        accelerator: None,
    },
];

/// A bottle of the invented studio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueBottle {
    /// Of which product.
    pub product: &'static str,
    /// Its lot.
    pub lot: &'static str,
    /// Where it stands.
    pub room: Option<DemoRoom>,
    /// Days ago it was opened; none: still closed.
    pub opened_days: Option<i64>,
    /// Days until the date printed on it.
    pub expires_in: i64,
    /// ln of its own factor.
    pub own: f64,
    /// Sittings of bench tests, six tests each.
    pub sittings: u32,
    /// In use at a bed today.
    pub in_use: bool,
}

const fn bottle(
    product: &'static str,
    lot: &'static str,
    room: DemoRoom,
    opened: i64,
    own: f64,
    sittings: u32,
) -> TrueBottle {
    let room = Some(room);
    TrueBottle { product, lot, room, opened_days: Some(opened), expires_in: 150, own, sittings, in_use: false }
}

/// Twelve bottles: one that has been open too long, one about to lapse, one past its date, one still closed.
pub const BOTTLES: [TrueBottle; 12] = [
    TrueBottle { in_use: true, ..bottle("Heath", "H-417", DemoRoom::Gable, 24, 0.05, 4) },
    bottle("Slate", "S-417", DemoRoom::Gable, 9, -0.06, 2),
    bottle("Dune", "D-211", DemoRoom::Gable, 12, 0.02, 2),
    bottle("Sedge", "E-055", DemoRoom::Gable, 3, 0.0, 0),
    TrueBottle { in_use: true, ..bottle("Heath", "H-431", DemoRoom::Lantern, 6, -0.08, 2) },
    bottle("Slate", "S-402", DemoRoom::Lantern, 29, 0.10, 1),
    bottle("Dune", "D-207", DemoRoom::Lantern, 20, -0.03, 3),
    TrueBottle { in_use: true, ..bottle("Fen", "F-118", DemoRoom::Cellar, 16, 0.04, 3) },
    bottle("Slate", "S-420", DemoRoom::Cellar, 2, 0.01, 1),
    bottle("Heath", "H-433", DemoRoom::Cellar, 4, 0.07, 1),
    TrueBottle { expires_in: -3, ..bottle("Loam", "L-009", DemoRoom::Cellar, 30, 0.0, 0) },
    TrueBottle { opened_days: None, ..bottle("Fen", "F-121", DemoRoom::Gable, 0, 0.0, 0) },
];

/// The product of this name.
///
/// # Panics
/// Never for the names in [`BOTTLES`]: a test asks for each.
#[must_use]
pub fn product(name: &str) -> TrueProduct {
    PRODUCTS.into_iter().find(|product| product.name == name).unwrap_or(PRODUCTS[0])
}

impl TrueBottle {
    /// Its median set time in this air, with this bead and these liquids (of liquids only an alcohol primer does anything in
    /// this studio), so many days after it was opened.
    #[must_use]
    pub fn set_time(&self, air: &Air, bead: Bead, liquids: Liquids, days_open: f64) -> Seconds {
        let its = product(self.product);
        let dry = its.humidity * (50.0 / air.humidity.get()).ln();
        let cool = its.cool * (22.0 - air.temperature.get()) / 10.0;
        let primer = if liquids.has(Liquid::AlcoholPrimer) { its.primer } else { 0.0 };
        let ln =
            its.reference_s.ln() + dry + cool + its.bead * f64::from(bead.step()) + primer + its.age * days_open / 10.0;
        Seconds::clamped((ln + self.own).exp())
    }
}

/// Placements of one session: travel and settle in seconds, to the hundredth.
#[must_use]
pub fn placements(hands: &TrueHands, session: u32) -> Vec<(f64, f64)> {
    let mut chance = Chance::of(&[hands.artist, hands.technique.word()], u64::from(session));
    let sitting = SITTING_SPREAD * chance.normal();
    let learned = (1.0 - hands.learns / 100.0).powi(session as i32);
    (0..hands.placements)
        .map(|_| {
            let travel = hands.travel_s * (sitting + hands.spread * chance.normal()).exp();
            let settle = hands.settle_s * learned * (sitting + hands.spread * chance.normal()).exp();
            (hundredth(travel), hundredth(settle))
        })
        .collect()
}

/// One bench test of a sitting, as the studio made it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Benched {
    /// Nudged every fifth of a second until it no longer moved.
    Set {
        /// First nudge that moved nothing, seconds.
        set_s: f64,
        /// The bead.
        bead: Bead,
        /// Whether the lash had been primed with alcohol.
        primed: bool,
    },
    /// Placed after a wait.
    Open {
        /// Seconds it waited.
        delay_s: f64,
        /// Whether it held.
        held: bool,
        /// How the bead sat.
        pick_up: PickUp,
    },
}

/// Seconds between two nudges.
pub const NUDGE_S: f64 = 0.2;
/// Log error that all tests of one sitting share.
const SITTING_ERROR: f64 = 0.08;

/// Six tests: the first sitting of a bottle leaves it untouched, the second changes the bead, the third adds a primer, the
/// fourth asks for the open time.
#[must_use]
pub fn bench(bottle: &TrueBottle, sitting: u32, air: &Air, days_open: f64) -> Vec<Benched> {
    let mut chance = Chance::of(&[bottle.product, bottle.lot], u64::from(sitting));
    let its = product(bottle.product);
    let shared = SITTING_ERROR * chance.normal();
    (0..6)
        .map(|n| {
            let (bead, primed) = match (sitting, n) {
                (1, 2..=3) => (Bead::Thin, false),
                (1, 4..=5) => (Bead::Full, false),
                (2, 3..=5) => (Bead::Medium, true),
                _ => (Bead::Medium, false),
            };
            let liquids = if primed { Liquids::NONE.with(Liquid::AlcoholPrimer) } else { Liquids::NONE };
            let true_s =
                bottle.set_time(air, bead, liquids, days_open).get() * (shared + its.scatter * chance.normal()).exp();
            if sitting == 3 && n >= 2 {
                let delay_s = hundredth(true_s * its.openness * [0.6, 0.9, 1.1, 1.5][n as usize - 2]);
                let open_s = true_s * its.openness * (0.25 * chance.normal()).exp();
                return Benched::Open { delay_s, held: open_s > delay_s, pick_up: PickUp::Ball };
            }
            let nudges = (true_s / NUDGE_S).ceil().max(1.0);
            Benched::Set { set_s: hundredth(nudges * NUDGE_S), bead, primed }
        })
        .collect()
}

fn hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// Chance that is the same on every machine: splitmix64, begun from words and a number.
struct Chance(u64);

impl Chance {
    fn of(words: &[&str], number: u64) -> Self {
        let bytes = words.iter().flat_map(|word| word.bytes());
        // The offset and prime of FNV-1a, so that every letter counts.
        let seed =
            bytes.fold(0xcbf2_9ce4_8422_2325_u64, |seed, byte| (seed ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3));
        Self(seed ^ number.wrapping_mul(0x9e37_79b9_7f4a_7c15))
    }

    /// Between 0 and 1, never either.
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (((z ^ (z >> 31)) >> 12) as f64 + 0.5) / (1u64 << 52) as f64
    }

    fn normal(&mut self) -> f64 {
        normal::quantile(self.unit())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::units::{Celsius, RelHumidity};

    fn reference() -> Air {
        Air { temperature: Celsius::new(22.0).unwrap(), humidity: RelHumidity::new(50.0).unwrap() }
    }

    #[test]
    fn every_bottle_is_of_a_product_of_the_list_and_lots_differ() {
        for bottle in BOTTLES {
            assert_eq!(product(bottle.product).name, bottle.product);
        }
        let mut lots = BOTTLES.map(|bottle| bottle.lot);
        lots.sort_unstable();
        assert!(lots.windows(2).all(|pair| pair[0] != pair[1]));
    }

    #[test]
    fn chance_repeats_itself_and_scatters_as_said() {
        let hands = TrueHands { placements: 4000, ..HANDS[0] };
        let drawn = placements(&hands, 1);
        assert_eq!(drawn, placements(&hands, 1));
        let logs: Vec<f64> = drawn.iter().map(|(_, settle)| settle.ln()).collect();
        let mean = logs.iter().sum::<f64>() / 4000.0;
        let spread = (logs.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 3999.0).sqrt();
        assert!((spread - hands.spread).abs() < 0.01, "{spread}");
        assert!((mean - hands.settle_s.ln()).abs() < 3.0 * SITTING_SPREAD, "{mean}");
    }

    #[test]
    fn at_the_reference_a_fresh_bottle_sets_in_its_reference_time() {
        let slate = TrueBottle { own: 0.0, ..BOTTLES[1] };
        let set = slate.set_time(&reference(), Bead::Medium, Liquids::NONE, 0.0);
        assert!((set.get() - 0.72).abs() < 1e-9);
    }

    #[test]
    fn the_fourth_sitting_asks_for_the_open_time() {
        let opened = bench(&BOTTLES[0], 3, &reference(), 10.0);
        assert_eq!(opened.iter().filter(|test| matches!(test, Benched::Open { .. })).count(), 4);
        assert!(
            bench(&BOTTLES[0], 0, &reference(), 1.0)
                .iter()
                .all(|test| matches!(test, Benched::Set { bead: Bead::Medium, primed: false, .. }))
        );
    }
}
