//! The doubts, drawn: each of 1021 fixed points is one way things may be. No random numbers, so the same question
//! always has the same answer, and an option is compared with the same ways things may be as what it would replace.

use crate::adhesives::set_time::{
    Openness, PICK_UP_DOUBT, Parameter, Posterior, Row, SESSION_SD, Scatter, dryness, pick_up_shift, row,
};
use crate::adhesives::{Conditions, PickUp};
use crate::artists::hands::{Hands, Nig};
use crate::base::stats::gamma::{AtScore, QuantileTable};
use crate::base::stats::lattice::{self, POINTS};
use crate::base::stats::openness::{OPENNESS_POINTS, ln_openness, openness_cell, openness_step};

use super::question::RoomNow;

/// Coordinates of the point set, the most telling first.
mod dim {
    pub(super) const HANDS_MEAN: usize = 0;
    pub(super) const LINE: usize = 1;
    pub(super) const HUMIDITY_EXPONENT: usize = 2;
    pub(super) const HUMIDITY: usize = 3;
    pub(super) const OPENNESS: usize = 4;
    pub(super) const HANDS_SPREAD: usize = 5;
    pub(super) const SITTING: usize = 6;
    pub(super) const SCATTER: usize = 7;
    pub(super) const PICK_UP: usize = 8;
    pub(super) const TEMPERATURE_FACTOR: usize = 9;
    pub(super) const TEMPERATURE: usize = 10;
    pub(super) const TRAVEL_MEAN: usize = 11;
    pub(super) const TRAVEL_SPREAD: usize = 12;
}

/// Where doubt comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Doubt {
    /// How quick the hands are.
    Hands,
    /// How quick the adhesive is: label, tests, sitting, scatter.
    Adhesive,
    /// How strongly humidity acts.
    HumidityExponent,
    /// What the instrument read.
    Instrument,
    /// How long a bead stays open.
    Openness,
}

impl Doubt {
    /// All, in the order in which ties are broken.
    pub const ALL: [Self; 5] = [Self::Hands, Self::Adhesive, Self::HumidityExponent, Self::Instrument, Self::Openness];
}

/// Standard normals of a coordinate, or all 0 when its source of doubt is held at its mean.
fn scores(dim: usize, held: bool) -> &'static [f64] {
    static MIDDLE: [f64; POINTS] = [0.0; POINTS];
    if held { &MIDDLE } else { lattice::normal(dim) }
}

/// The air in each draw.
#[derive(Debug, Clone)]
pub(crate) struct AirDraws {
    /// ln(50/H).
    pub(crate) dry: Vec<f64>,
    /// (22 − T)/10.
    pub(crate) cool: Vec<f64>,
}

impl AirDraws {
    pub(crate) fn of(room: &RoomNow, held: Option<Doubt>) -> Self {
        let held = held == Some(Doubt::Instrument);
        let (h, u_h) = (room.air.humidity.get(), room.doubt.humidity.get());
        let (t, u_t) = (room.air.temperature.get(), room.doubt.temperature.get());
        Self {
            dry: scores(dim::HUMIDITY, held).iter().map(|z| dryness(h + z * u_h)).collect(),
            cool: scores(dim::TEMPERATURE, held).iter().map(|z| (22.0 - t - z * u_t) / 10.0).collect(),
        }
    }
}

/// The adhesive in each draw: ln of the median set time is `rest + n·dry + q·cool`.
#[derive(Debug, Clone)]
pub(crate) struct AdhesiveDraws {
    pub(crate) rest: Vec<f64>,
    pub(crate) humidity_exponent: Vec<f64>,
    pub(crate) temperature_factor: Vec<f64>,
    pub(crate) sigma: Vec<f64>,
}

impl AdhesiveDraws {
    /// A bottle, with the error of a new sitting.
    pub(crate) fn of_bottle(bottle: &Posterior, at: &Conditions, held: Option<Doubt>) -> Self {
        // Held at its mean, the scatter is one: its place on the grid must not move the means that go with it.
        let held_scatter = (held == Some(Doubt::Adhesive)).then(|| Scatter::mixed(bottle.scatters()));
        let scatters = held_scatter.as_ref().map_or(bottle.scatters(), std::slice::from_ref);
        let mut draws = Self::of(scatters, at, held);
        let sitting = scores(dim::SITTING, held == Some(Doubt::Adhesive));
        for (rest, z) in draws.rest.iter_mut().zip(sitting) {
            *rest += SESSION_SD * z;
        }
        draws
    }

    /// What air, bead and liquids do to an adhesive of a class; no sitting.
    pub(crate) fn of_class(any_adhesive: &Scatter, at: &Conditions, held: Option<Doubt>) -> Self {
        Self::of(std::slice::from_ref(any_adhesive), at, held)
    }

    fn of(scatters: &[Scatter], at: &Conditions, held: Option<Doubt>) -> Self {
        let (unit_n, unit_q, others) = split(&row(at));
        let roots: Vec<Root> = scatters.iter().map(|s| Root::of(s, &unit_n, &unit_q, &others)).collect();
        let which = which_scatter(scatters);
        let held_n = (held == Some(Doubt::HumidityExponent)).then(|| Scatter::mixed(scatters).mean.dot(&unit_n));
        let for_n = lattice::normal(dim::HUMIDITY_EXPONENT);
        let for_q = scores(dim::TEMPERATURE_FACTOR, held == Some(Doubt::Adhesive));
        let for_rest = scores(dim::LINE, held == Some(Doubt::Adhesive));
        let mut draws = Self {
            rest: Vec::with_capacity(POINTS),
            humidity_exponent: Vec::with_capacity(POINTS),
            temperature_factor: Vec::with_capacity(POINTS),
            sigma: Vec::with_capacity(POINTS),
        };
        for (i, rank) in lattice::rank(dim::SCATTER).iter().enumerate() {
            let k = which[*rank];
            let root = &roots[k];
            let z_n = held_n.map_or(for_n[i], |n| (n - root.mean[0]) / root.n);
            let (z_q, z_r) = (for_q[i], for_rest[i]);
            draws.humidity_exponent.push(root.mean[0] + root.n * z_n);
            draws.temperature_factor.push(root.mean[1] + root.q[0] * z_n + root.q[1] * z_q);
            draws.rest.push(root.mean[2] + root.rest[0] * z_n + root.rest[1] * z_q + root.rest[2] * z_r);
            draws.sigma.push(scatters[k].sigma);
        }
        draws
    }

    /// ln of the median set time in each draw.
    pub(crate) fn ln_set_time(&self, air: &AirDraws) -> Vec<f64> {
        (0..POINTS)
            .map(|i| self.rest[i] + self.humidity_exponent[i] * air.dry[i] + self.temperature_factor[i] * air.cool[i])
            .collect()
    }
}

/// The rows that pick the humidity exponent, the temperature factor, and everything else.
fn split(whole: &Row) -> (Row, Row, Row) {
    let (mut unit_n, mut unit_q, mut others) = (Row::zeros(), Row::zeros(), *whole);
    unit_n[Parameter::Humidity.place()] = 1.0;
    unit_q[Parameter::Temperature.place()] = 1.0;
    others[Parameter::Humidity.place()] = 0.0;
    others[Parameter::Temperature.place()] = 0.0;
    (unit_n, unit_q, others)
}

/// Triangular root of the covariance of (humidity exponent, temperature factor, the rest) at one scatter.
struct Root {
    mean: [f64; 3],
    n: f64,
    q: [f64; 2],
    rest: [f64; 3],
}

impl Root {
    fn of(s: &Scatter, unit_n: &Row, unit_q: &Row, others: &Row) -> Self {
        let mean = [s.mean.dot(unit_n), s.mean.dot(unit_q), s.mean.dot(others)];
        let n = s.variance_of(unit_n).max(1e-18).sqrt();
        let q0 = s.covariance_of(unit_n, unit_q) / n;
        let q1 = (s.variance_of(unit_q) - q0 * q0).max(1e-18).sqrt();
        let r0 = s.covariance_of(unit_n, others) / n;
        let r1 = (s.covariance_of(unit_q, others) - q0 * r0) / q1;
        let r2 = (s.variance_of(others) - r0 * r0 - r1 * r1).max(0.0).sqrt();
        Self { mean, n, q: [q0, q1], rest: [r0, r1, r2] }
    }
}

/// Which scatter each of the ranks of the coordinate falls on, in proportion to the weights.
fn which_scatter(scatters: &[Scatter]) -> Vec<usize> {
    let mut which = Vec::with_capacity(POINTS);
    let (mut k, mut below) = (0, scatters[0].weight);
    for rank in 0..POINTS {
        let u = (rank as f64 + 0.5) / POINTS as f64;
        while u > below && k + 1 < scatters.len() {
            k += 1;
            below += scatters[k].weight;
        }
        which.push(k);
    }
    which
}

/// ln of open time ÷ set time in each draw, pick-up included.
pub(crate) fn openness_draws(openness: &Openness, pick_up: Option<PickUp>, held: Option<Doubt>) -> Vec<f64> {
    let shift = pick_up_shift(pick_up);
    if held == Some(Doubt::Openness) {
        let mean: f64 = openness.weights().iter().enumerate().map(|(i, w)| w * ln_openness(i)).sum();
        return vec![mean + shift; POINTS];
    }
    let by_rank = by_rank(openness.weights());
    let spread = if pick_up.is_some() { PICK_UP_DOUBT } else { 0.0 };
    lattice::rank(dim::OPENNESS)
        .iter()
        .zip(lattice::normal(dim::PICK_UP))
        .map(|(rank, z)| by_rank[*rank] + shift + spread * z)
        .collect()
}

/// ln κ at each rank of the coordinate, every grid point spread evenly over its cell.
fn by_rank(weights: &[f64]) -> Vec<f64> {
    let mut values = Vec::with_capacity(POINTS);
    let (mut k, mut below) = (0, 0.0);
    for rank in 0..POINTS {
        let u = (rank as f64 + 0.5) / POINTS as f64;
        while u > below + weights[k] && k + 1 < OPENNESS_POINTS {
            below += weights[k];
            k += 1;
        }
        let inside = if weights[k] > 0.0 { ((u - below) / weights[k]).clamp(0.0, 1.0) } else { 0.5 };
        values.push(ln_openness(k) + openness_step() * (inside - 0.5));
    }
    values
}

/// What belongs to one pair of hands and serves every adhesive.
#[derive(Debug, Clone)]
pub(crate) struct HandsTables {
    /// The hands time at each point of the openness grid.
    grid: Vec<GridPoint>,
    /// Gamma quantiles at the spread's score of each draw; empty when the hands are held at their means.
    spreads: Vec<AtScore>,
    /// Mean and variance of the log travel in each draw: the same for every adhesive.
    travel: Vec<(f64, f64)>,
}

/// A fit of the hands time with the place of its shape in the gamma table.
#[derive(Debug, Clone, Copy)]
struct GridPoint {
    fit: Nig,
    place: f64,
}

impl HandsTables {
    /// The hands with all their doubt. Costs hundreds of quantiles: made once for everything that is asked about the same hands.
    pub(crate) fn of(hands: &Hands) -> Self {
        let shapes = || hands.hands_time().iter().map(Nig::shape);
        let table = QuantileTable::new(shapes().fold(f64::INFINITY, f64::min), shapes().fold(0.0, f64::max));
        let grid =
            hands.hands_time().iter().map(|fit| GridPoint { fit: *fit, place: table.place_of(fit.shape()) }).collect();
        let spreads = lattice::normal(dim::HANDS_SPREAD).iter().map(|z| table.at_score(*z)).collect();
        let (fit, shape) = (&hands.travel, hands.travel.shape());
        let table = QuantileTable::new(shape, shape);
        let travel = lattice::normal(dim::TRAVEL_MEAN)
            .iter()
            .zip(lattice::normal(dim::TRAVEL_SPREAD))
            .map(|(mean, spread)| {
                let variance = fit.scale / table.at(shape, *spread);
                (fit.mean + (variance / fit.worth()).sqrt() * mean, variance)
            })
            .collect();
        Self { grid, spreads, travel }
    }

    /// The hands held at their means: no quantile is asked for.
    pub(crate) fn held(hands: &Hands) -> Self {
        let grid = hands.hands_time().iter().map(|fit| GridPoint { fit: *fit, place: 0.0 }).collect();
        let travel = vec![(hands.travel.mean, hands.travel.spread().powi(2)); POINTS];
        Self { grid, spreads: Vec::new(), travel }
    }

    /// The hands in each draw, for an adhesive with these ln κ.
    pub(crate) fn with_openness(&self, ln_kappa: Vec<f64>) -> HandsDraws<'_> {
        let means = lattice::normal(dim::HANDS_MEAN);
        let hands_time = ln_kappa
            .iter()
            .enumerate()
            .map(|(i, ln_kappa)| {
                let (cell, f) = openness_cell(*ln_kappa);
                let (a, b) = (&self.grid[cell], &self.grid[cell + 1]);
                let fit = a.fit.towards(&b.fit, f);
                let Some(spread) = self.spreads.get(i) else { return (fit.mean, fit.spread().powi(2)) };
                let variance = fit.scale / spread.of(fit.shape(), a.place + f * (b.place - a.place));
                (fit.mean + (variance / fit.worth()).sqrt() * means[i], variance)
            })
            .collect();
        HandsDraws { hands_time, travel: &self.travel, ln_kappa }
    }
}

/// The hands in each draw.
#[derive(Debug, Clone)]
pub(crate) struct HandsDraws<'a> {
    /// Mean and variance of the log hands time.
    pub(crate) hands_time: Vec<(f64, f64)>,
    /// Mean and variance of the log travel.
    pub(crate) travel: &'a [(f64, f64)],
    /// ln κ.
    pub(crate) ln_kappa: Vec<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::set_time::{Label, Prior, SetTest, Sums, TestPiece};
    use crate::adhesives::{Air, AirDoubt, Bead, Liquids};
    use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};

    fn at(humidity: f64) -> Conditions {
        let air = Air { temperature: Celsius::clamped(21.0), humidity: RelHumidity::clamped(humidity) };
        Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 0.0 }
    }

    /// Tests far from the label and from each other, so that the means depend on the scatter a good deal.
    fn torn() -> Posterior {
        let tests: Vec<SetTest> = [(1, 4.1, 30.0), (1, 9.5, 32.0), (2, 3.2, 58.0), (2, 6.9, 60.0), (3, 2.1, 45.0)]
            .into_iter()
            .map(|(session, set, humidity)| SetTest {
                session,
                set: Seconds::clamped(set),
                nudge_every: None,
                piece: TestPiece::PracticeLash,
                conditions: at(humidity),
            })
            .collect();
        let label = Label::window(Seconds::clamped(1.0), Seconds::clamped(2.0), None);
        Posterior::of(&Prior::from_label(label.as_ref()), &Sums::of(&tests))
    }

    fn reach(values: &[f64]) -> f64 {
        let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(*x), b.max(*x)));
        high - low
    }

    #[test]
    fn with_the_adhesive_held_nothing_is_left_to_move_it_but_the_humidity_exponent() {
        let bottle = torn();
        let means: Vec<f64> = bottle.scatters().iter().map(|s| s.mean[Parameter::Reference.place()]).collect();
        assert!(reach(&means) > 0.1, "the scatter tells in the means: {means:?}");
        let draws = AdhesiveDraws::of_bottle(&bottle, &at(35.0), Some(Doubt::Adhesive));
        assert!(reach(&draws.sigma) < 1e-12);
        // What is known of n tells about the rest, along one line; nothing may stand off it.
        let scores = lattice::normal(dim::HUMIDITY_EXPONENT);
        let slope = |v: &[f64]| (v[1] - v[0]) / (scores[1] - scores[0]);
        for part in [&draws.rest, &draws.humidity_exponent, &draws.temperature_factor] {
            let off: Vec<f64> = part.iter().zip(scores).map(|(x, z)| x - slope(part) * z).collect();
            assert!(reach(&off) < 1e-6, "{}", reach(&off));
        }
        assert!(reach(&draws.humidity_exponent) > 0.5, "the exponent stays in doubt");
        // And its mean is the mean that was learned.
        let (learned, _) = bottle.parameter(Parameter::Humidity);
        let mean = draws.humidity_exponent.iter().sum::<f64>() / POINTS as f64;
        assert!((mean - learned).abs() < 1e-3, "{mean} {learned}");
    }

    #[test]
    fn with_the_humidity_exponent_held_every_draw_has_the_mean_that_was_learned() {
        let bottle = torn();
        let draws = AdhesiveDraws::of_bottle(&bottle, &at(35.0), Some(Doubt::HumidityExponent));
        let (learned, _) = bottle.parameter(Parameter::Humidity);
        assert!(draws.humidity_exponent.iter().all(|n| (n - learned).abs() < 1e-9));
        assert!(reach(&draws.rest) > 0.1, "the rest stays in doubt");
    }

    #[test]
    fn with_the_instrument_held_every_draw_has_the_air_that_was_read() {
        let doubt = AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(4.0) };
        let room = RoomNow { air: at(35.0).air, doubt };
        let held = AirDraws::of(&room, Some(Doubt::Instrument));
        assert!(reach(&held.dry) < 1e-12 && reach(&held.cool) < 1e-12);
        assert!(reach(&AirDraws::of(&room, None).dry) > 0.1);
    }
}
