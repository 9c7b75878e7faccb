//! The book: services, hours, appointments. Knows who works where and when, and what must not overlap. Knows no adhesive, no
//! card, no price.

pub mod slots;
pub mod wall;
