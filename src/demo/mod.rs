//! The invented studio, seeded through the parts' own functions.

pub mod air;
