//! What every part may use and what knows no part: units, ids, who acts, instants and zone,
//! problems with their words, statistics, charts' scales. No SQL, no web, no clock of its own.

pub mod actor;
pub mod chart;
pub mod ids;
pub mod number;
pub mod older;
pub mod problem;
pub mod stats;
pub mod text;
pub mod time;
pub mod units;
pub mod zone;
