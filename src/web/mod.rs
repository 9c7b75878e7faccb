//! (being built)

/// Cautions and the first-aid card.
pub mod cautions;
/// Fields of a form as a page shows them.
pub mod form;
/// What every page shows around its matter.
pub mod frame;
/// The keypad: what each key does to what is typed.
pub mod keypad;
