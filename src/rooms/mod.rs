//! Rooms and their air. Knows physics and readings. Knows no artist, no adhesive, no price; never ranks anything.

pub mod air;
pub mod instrument;
pub mod logger_file;
pub mod plausible;
pub mod push;
pub mod written;
