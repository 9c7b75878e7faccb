//! The house over HTTP and its database, on SQLite and on PostgreSQL: who may open which door, forms that count once,
//! the store, people, rooms, the API, headers and the base path.
//!
//! Begin at `house.rs` (a house for each test), `studio.rs` (what it is furnished with) and `doors.rs` (every door, and
//! what each actor must meet there).

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it must be")]

mod advice;
mod advice_shown;
mod api;
mod arrival;
mod base_path;
mod book;
mod book_clients;
mod browser;
mod calendar;
mod cards;
mod clearance;
mod clients;
mod clients_handed;
mod clients_leaks;
mod clients_photos;
mod clients_rights;
mod clients_sealed;
mod databases;
mod doors;
mod forms;
mod growth;
mod hands;
mod headers;
mod house;
#[path = "../photos/hostile.rs"]
mod hostile;
mod html;
mod imports;
mod in_use;
mod learning;
mod live;
mod matrix;
mod mistakes;
mod offline;
mod older;
mod people;
mod plan;
mod push;
mod random;
mod rooms;
mod schema;
mod shelf;
mod sign_in;
mod stood;
mod store;
mod studio;
mod tablet;
mod tokens;
mod truth;
mod upgrade;
mod whereabouts;
