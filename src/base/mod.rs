//! What every part may use and what knows no part: units, ids, who acts, instants and zone,
//! problems with their words, statistics, charts' scales. No SQL, no web, no clock of its own.

pub mod chart;
pub mod stats;
pub mod units;
