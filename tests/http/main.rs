//! The house over HTTP and its database, on SQLite and on PostgreSQL: who may open which door, forms that count once,
//! the store, people, rooms, the API, headers and the base path.

#![allow(clippy::unwrap_used, reason = "a test stops at the first thing that is not as it must be")]

mod api;
mod base_path;
mod browser;
mod databases;
mod doors;
mod forms;
mod headers;
mod house;
mod html;
mod imports;
mod matrix;
mod people;
mod push;
mod random;
mod rooms;
mod store;
mod studio;
