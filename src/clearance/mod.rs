//! Who may be treated when: patch tests, the rules of clearance and their judgement, reactions, lots, stops. Knows clients and
//! adhesives. Knows no artist's seconds and no price; never relaxes a hold.

pub mod facts;
pub mod judge;
#[cfg(test)]
mod judge_tests;
pub mod rules;

pub use facts::{ClientFacts, PlannedProduct};
pub use judge::{Clearance, clearance};
pub use rules::Rules;
