//! The grid on which the openness κ = open time ÷ set time is kept. κ is not known exactly: what is learned of it, and
//! the hands time h = settle + travel/κ, are worked out at these points and interpolated between them.

/// Points of the grid.
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

/// The cell of the grid that ln κ lies in, and how far along it, 0…1; held at the ends of the grid.
#[inline]
#[must_use]
pub fn openness_cell(ln_kappa: f64) -> (usize, f64) {
    let last = OPENNESS_POINTS - 1;
    let place = ((ln_kappa - ln_openness(0)) / openness_step()).clamp(0.0, last as f64);
    let cell = (place as usize).min(last - 1);
    (cell, place - cell as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_and_the_way_along_it_lead_back_to_where_they_came_from() {
        for ln_kappa in [0.2, 0.9, OPENNESS_MIDDLE, 2.0, 2.58] {
            let (cell, along) = openness_cell(ln_kappa);
            assert!((ln_openness(cell) + along * openness_step() - ln_kappa).abs() < 1e-12);
        }
    }

    #[test]
    fn beyond_the_grid_its_ends_hold() {
        assert_eq!(openness_cell(-3.0), (0, 0.0));
        assert_eq!(openness_cell(9.0), (OPENNESS_POINTS - 2, 1.0));
    }
}
