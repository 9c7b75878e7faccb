//! A fixed set of points that fills a many-sided box evenly, used where others would draw random numbers.
//!
//! A rank-1 lattice: coordinate j of point i is the fractional part of i·zⱼ/1021, plus half a cell. Each coordinate alone takes
//! every one of 1021 equal cells exactly once, so that means of smooth quantities come out far closer than with as
//! many random draws, and the same inputs always give the same answer. The multipliers were found by the search in
//! `tests/fixtures/lattice.py`.

use std::sync::LazyLock;

use super::normal;

/// How many points there are.
pub const POINTS: usize = 1021;
/// How many coordinates each has.
pub const DIMS: usize = 14;

const MULTIPLIERS: [usize; DIMS] = [1, 374, 220, 421, 449, 482, 193, 72, 134, 238, 258, 208, 162, 384];

/// Coordinate `dim` (below [`DIMS`]) of every point, each strictly between 0 and 1.
#[must_use]
pub fn uniform(dim: usize) -> &'static [f64] {
    &UNIFORM[dim]
}

/// The same coordinate turned into a standard normal.
#[must_use]
pub fn normal(dim: usize) -> &'static [f64] {
    &NORMAL[dim]
}

/// Place of every point in the order of coordinate `dim`, 0…1020.
#[must_use]
pub fn rank(dim: usize) -> &'static [usize] {
    &RANK[dim]
}

static RANK: LazyLock<Vec<Vec<usize>>> =
    LazyLock::new(|| MULTIPLIERS.iter().map(|z| (0..POINTS).map(|i| i * z % POINTS).collect()).collect());

static UNIFORM: LazyLock<Vec<Vec<f64>>> = LazyLock::new(|| {
    MULTIPLIERS.iter().map(|z| (0..POINTS).map(|i| ((i * z % POINTS) as f64 + 0.5) / POINTS as f64).collect()).collect()
});

static NORMAL: LazyLock<Vec<Vec<f64>>> =
    LazyLock::new(|| UNIFORM.iter().map(|u| u.iter().map(|&u| normal::quantile(u)).collect()).collect());

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_coordinate_visits_every_cell_once() {
        for dim in 0..DIMS {
            let mut cells: Vec<usize> = uniform(dim).iter().map(|u| (u * POINTS as f64) as usize).collect();
            cells.sort_unstable();
            assert!(cells.iter().enumerate().all(|(i, &c)| i == c), "coordinate {dim}");
        }
    }

    #[test]
    fn no_two_coordinates_go_together() {
        for a in 0..DIMS {
            for b in 0..a {
                let products = normal(a).iter().zip(normal(b)).map(|(x, y)| x * y).sum::<f64>() / POINTS as f64;
                assert!(products.abs() < 0.08, "coordinates {a} and {b}: {products}");
            }
        }
    }

    #[test]
    fn a_smooth_function_of_twelve_coordinates_is_averaged_to_a_hundredth() {
        // The mean of exp(0.2·Σz) over twelve standard normals is exp(12·0.04/2).
        let mean =
            (0..POINTS).map(|i| (0..12).map(|d| 0.2 * normal(d)[i]).sum::<f64>().exp()).sum::<f64>() / POINTS as f64;
        assert!((mean / 0.24_f64.exp() - 1.0).abs() < 1e-2, "{mean}");
    }
}
