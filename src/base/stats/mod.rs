//! Statistics that more than one part needs: the normal curve and its mixtures, the gamma quantile, a fixed point set
//! in place of random numbers, the grid of openness, sample quantiles, a test of normality.
//!
//! Everything here is a function of its arguments. Nothing draws a random number, so that the same studio sees the
//! same figure twice, and a figure can be checked by hand.

pub mod gamma;
pub mod lattice;
pub mod mixture;
pub mod normal;
pub mod openness;
pub mod sample;
pub mod shapiro_francia;
pub mod student;
