//! How quick a pair of hands is: learned from timed placements, kept as a short summary, reported with its doubt.
//!
//! A placement has a *travel* x (pick-up to contact) and a *settle* s (contact until no longer moved). The logarithms
//! are taken as normal. Pure: no clock, no storage.

mod nig;
mod report;
mod sitting;
mod sittings;
mod summary;
mod timing;

pub use nig::Nig;
pub use report::{KeptReport, Known, Quantity, Report, Trend, USUAL_OPENNESS};
pub use sitting::{KeptSitting, SittingSpread};
pub use sittings::Sittings;
pub use summary::{Hands, UNTIMED_SETTLE_S, UNTIMED_TRAVEL_S};
pub use timing::{FrameTime, TAPPING_S, Timing, from_frames, may_include_waiting, spread_without_tapping};
