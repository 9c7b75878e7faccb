//! The grid that hands and adhesives share: openness, κ = open time ÷ set time, in equal steps of its logarithm. The hands
//! time depends on it, and so does whether a bead sets in the air; neither side need know the other for that.

/// Points of the openness grid: open time ÷ set time, κ.
pub const OPENNESS_POINTS: usize = 41;
/// Middle of the grid in ln κ.
pub const OPENNESS_MIDDLE: f64 = 1.386_294_361_119_890_6; // ln 4
/// The grid reaches this far in ln κ on each side.
pub const OPENNESS_REACH: f64 = 1.2;

/// ln κ of grid point `i` (0…40).
#[must_use]
pub fn ln_openness(i: usize) -> f64 {
    OPENNESS_MIDDLE - OPENNESS_REACH + i as f64 * openness_step()
}

/// Distance of two neighbours on the grid, in ln κ.
#[must_use]
pub const fn openness_step() -> f64 {
    2.0 * OPENNESS_REACH / (OPENNESS_POINTS - 1) as f64
}

/// The cell of the openness grid that ln κ lies in, and how far along it, 0…1; held at the ends of the grid.
#[inline]
#[must_use]
pub fn openness_cell(ln_kappa: f64) -> (usize, f64) {
    let last = OPENNESS_POINTS - 1;
    let place = ((ln_kappa - ln_openness(0)) / openness_step()).clamp(0.0, last as f64);
    let cell = (place as usize).min(last - 1);
    (cell, place - cell as f64)
}
