//! How long a bottle takes to set, here and now: a straight line in the logarithm of the time, with priors from the
//! label, corrected by the studio's own bench tests.
//!
//! ln t = θ + n·ln(50/H) + q·(22 − T)/10 + b·bead + Σ liquids + a·days/10 + sitting + scatter
//!
//! The form and its priors are a *stated assumption*: no published table of set time against humidity was found, only
//! directions and ranges (`docs/science.md` lists each with its source or "common practice"). Pure: no clock, no
//! storage, no random numbers.

mod design;
mod honest;
mod open_time;
mod posterior;
mod predict;
mod prior;
mod sums;
mod test_next;
#[cfg(test)]
mod tests;

pub(crate) use design::dryness;
pub use design::{PARAMETERS, Parameter, Row, row};
pub use honest::{HeldOut, Honesty, leave_one_session_out};
pub use open_time::{OpenTest, Openness, PICK_UP_DOUBT, pick_up_shift};
pub use posterior::{Posterior, Scatter};
pub use predict::{Learned, Times, times};
pub use prior::{BOTTLE_SD, Climate, Label, Prior, SESSION_SD};
pub use sums::{ProductSums, SCATTER_POINTS, SetTest, Sums, TestPiece, of_one_piece, scatter_at, scatter_prior};
pub use test_next::{NextTest, TestNext, test_next};
