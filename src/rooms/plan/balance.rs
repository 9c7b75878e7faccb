//! The moisture balance of one room: in closed form where the source is constant, in steps of a minute where it is not.

use super::{Air, PlanDevice};
use crate::base::units::{AirChanges, Celsius, CubicMetres, GramsPerM3, RelHumidity};
use crate::rooms::air;

/// What takes longer than thirty days is called never.
pub const LONGEST_HOURS: f64 = 720.0;

/// Vapour densities nearer than this, g/m³, are one: what is left of rounding.
pub(super) const SAME: f64 = 1e-9;

/// How the take of a dehumidifier falls with the vapour pressure of its air, against that of its rating. Derived from two published
/// pairs of ratings: 60 L a day at 35 °C/100 %RH against about 20 at 20 °C/70 %, and a unit's 26.7 °C/60 % rating against two thirds
/// of it at 18.3 °C/60 %. Two pairs are thin evidence.
pub const TAKE_EXPONENT: f64 = 0.84;

/// Grams of vapour per cubic metre for one pascal at one kelvin, as in [`air`].
const VAPOUR_DENSITY_FACTOR: f64 = 2.16679;

/// Gives water, or takes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moves {
    /// A humidifier: the same grams an hour in any air.
    Gives,
    /// A dehumidifier: its rate holds at this vapour pressure, Pa, and falls with it by [`TAKE_EXPONENT`].
    TakesAt(f64),
    /// Any dehumidifier; used to ask for the kind alone.
    Takes,
}

impl Moves {
    /// Whether both give or both take.
    #[must_use]
    pub const fn is_like(self, other: Self) -> bool {
        matches!(self, Self::Gives) == matches!(other, Self::Gives)
    }

    /// A dehumidifier rated in this air.
    #[must_use]
    pub fn takes_rated_at(temperature: Celsius, humidity: RelHumidity) -> Self {
        Self::TakesAt(air::vapour_pressure(temperature, humidity).get())
    }
}

/// M·V·dC/dt = G + n·V·(C_out − C): C in g/m³, V in m³, n an hour, G in g an hour, M a number.
///
/// ```
/// use stillroom::base::units::{AirChanges, CubicMetres};
/// use stillroom::rooms::plan::balance::Balance;
///
/// let room = Balance {
///     volume: CubicMetres::new(30.0)?,
///     air_changes: AirChanges::new(0.5)?,
///     capacity: 10.0,
///     outside: 1.83,
/// };
/// // 250 g an hour lead to 1.83 + 250/15 = 18.5 g/m³ in the end, and 11 g/m³ are there after 16 hours.
/// assert!((room.plateau(250.0) - 18.5).abs() < 0.01);
/// assert!((room.hours_to(1.83, 11.0, 250.0).unwrap() - 16.0).abs() < 0.1);
/// # Ok::<(), stillroom::base::units::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// V.
    pub volume: CubicMetres,
    /// n.
    pub air_changes: AirChanges,
    /// M, at least 1.
    pub capacity: f64,
    /// C_out, g/m³.
    pub outside: f64,
}

impl Balance {
    /// C∞ = C_out + G/(n·V), g/m³, for a constant source in g an hour. Below 0 for a constant take that no real device has.
    #[must_use]
    pub fn plateau(&self, source: f64) -> f64 {
        self.outside + source / (self.air_changes.get() * self.volume.get())
    }

    /// τ = M/n, hours.
    #[must_use]
    pub fn tau(&self) -> f64 {
        self.capacity / self.air_changes.get()
    }

    /// C(t) = C∞ + (C₀ − C∞)·e^(−t/τ), g/m³ after some hours with a constant source.
    #[must_use]
    pub fn after(&self, from: f64, hours: f64, source: f64) -> f64 {
        let end = self.plateau(source);
        end + (from - end) * (-hours / self.tau()).exp()
    }

    /// Hours from one vapour density to another with a constant source; none when it is never reached.
    #[must_use]
    pub fn hours_to(&self, from: f64, to: f64, source: f64) -> Option<f64> {
        if (to - from).abs() < SAME {
            return Some(0.0);
        }
        let end = self.plateau(source);
        let left = (to - end) / (from - end);
        (left.is_finite() && left > 0.0 && left < 1.0).then(|| -self.tau() * left.ln())
    }
}

/// Water taken in g an hour, negative, or given, positive, at a vapour density and temperature.
fn source(devices: &[PlanDevice], minute: usize, density: f64, kelvin: f64) -> f64 {
    let running = devices.iter().filter(|device| runs(device, minute));
    running
        .map(|device| match device.moves {
            Moves::Gives => device.rate.get(),
            Moves::TakesAt(rated) => {
                let pressure = (density * kelvin / VAPOUR_DENSITY_FACTOR).max(0.0);
                -device.rate.get() * (pressure / rated).powf(TAKE_EXPONENT)
            }
            Moves::Takes => -device.rate.get(),
        })
        .sum()
}

#[expect(clippy::cast_precision_loss, reason = "minutes of thirty days are small numbers")]
fn runs(device: &PlanDevice, minute: usize) -> bool {
    device.hours_a_day >= 24.0 || ((minute % MINUTES_A_DAY) as f64) < device.hours_a_day * 60.0
}

const MINUTES_A_DAY: usize = 24 * 60;
const MINUTES_AT_MOST: usize = 30 * MINUTES_A_DAY;
/// When a whole day changes the air by less than this, g/m³, it has come to rest.
const AT_REST: f64 = 1e-4;

/// How a room's air moves from now, minute by minute.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Vapour density at each full minute from now, g/m³.
    densities: Vec<f64>,
    from: Celsius,
    planned: Celsius,
    warming_hours: f64,
    target: f64,
    /// The minute at which the target is first reached.
    reached: Option<usize>,
}

impl Course {
    /// Runs until the target was reached and two days have passed, the air has come to rest, or thirty days are over. Runge–Kutta of
    /// the fourth order with steps of one minute; the devices stop at the target and start again when the air leaves it.
    #[must_use]
    pub fn run(balance: &Balance, devices: &[PlanDevice], (now, target): (Air, Air), warming_hours: f64) -> Self {
        let (from, to) = (now.density(), target.density());
        let rising = to >= from - SAME;
        let mut course = Self {
            densities: vec![from],
            from: now.temperature,
            planned: target.temperature,
            warming_hours,
            target: to,
            reached: ((to - from).abs() < SAME).then_some(0),
        };
        // A device that works towards the target is stopped there; air that drifts past it by itself is not.
        let held = !devices.is_empty() && if rising { balance.outside <= to } else { balance.outside >= to };
        let mut density = from;
        for minute in 0..MINUTES_AT_MOST {
            let next = step(balance, devices, minute, density, course.kelvin(minute));
            let passed = if rising { next >= to } else { next <= to };
            density = if passed && held { to } else { next };
            if passed && course.reached.is_none() {
                course.reached = Some(minute + 1);
            }
            course.densities.push(density);
            if course.is_over(minute + 1) {
                break;
            }
        }
        course
    }

    fn is_over(&self, minute: usize) -> bool {
        if self.reached.is_some_and(|reached| minute >= reached.max(2 * MINUTES_A_DAY)) {
            return true;
        }
        let a_day_ago = minute.checked_sub(MINUTES_A_DAY).map(|before| self.densities[before]);
        minute.is_multiple_of(MINUTES_A_DAY)
            && minute >= 2 * MINUTES_A_DAY
            && a_day_ago.is_some_and(|before| (before - self.densities[minute]).abs() < AT_REST)
    }

    /// Hours until the target, or the vapour density nearest to it.
    ///
    /// # Errors
    /// The nearest g/m³ when it was never reached.
    pub fn hours_to_target(&self) -> Result<f64, f64> {
        match self.reached {
            #[expect(clippy::cast_precision_loss, reason = "minutes of thirty days are small numbers")]
            Some(minute) => Ok(minute as f64 / 60.0),
            None => {
                let off = |density: &f64| (density - self.target).abs();
                let nearest = self.densities.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)));
                Err(nearest.unwrap_or(self.target))
            }
        }
    }

    /// Vapour density after some hours, g/m³; the last one known beyond the end.
    #[must_use]
    pub fn density_after(&self, hours: f64) -> f64 {
        self.densities[self.minute(hours).min(self.densities.len() - 1)]
    }

    /// %RH after some hours, with the temperature on its way to what is planned; at most 100.
    #[must_use]
    pub fn humidity_after(&self, hours: f64) -> f64 {
        let temperature = Celsius::clamped(self.kelvin(self.minute(hours)) - 273.15);
        air::humidity_holding(GramsPerM3::clamped(self.density_after(hours)), temperature).min(100.0)
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "hours of a course are small and not negative"
    )]
    fn minute(&self, hours: f64) -> usize {
        (hours.clamp(0.0, LONGEST_HOURS) * 60.0).round() as usize
    }

    #[expect(clippy::cast_precision_loss, reason = "minutes of thirty days are small numbers")]
    fn kelvin(&self, minute: usize) -> f64 {
        let share = if self.warming_hours > 0.0 { (minute as f64 / 60.0 / self.warming_hours).min(1.0) } else { 1.0 };
        self.from.kelvin() + share * (self.planned.get() - self.from.get())
    }
}

fn step(balance: &Balance, devices: &[PlanDevice], minute: usize, density: f64, kelvin: f64) -> f64 {
    let (n, volume) = (balance.air_changes.get(), balance.volume.get());
    let slope = |density: f64| {
        let given = source(devices, minute, density, kelvin);
        (given / volume + n * (balance.outside - density)) / balance.capacity
    };
    let h = 1.0 / 60.0;
    let first = slope(density);
    let second = slope(density + first * h / 2.0);
    let third = slope(density + second * h / 2.0);
    let fourth = slope(density + third * h);
    (density + h / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)).max(0.0)
}
