//! Stillroom: rooms, hands and adhesives of an eyelash-extension studio, put together into advice.
//!
//! The rooms of this house, in the order in which they may know each other: each may use those
//! above it, never one below (`tests/house/main.rs` reads the `use crate::` lines and fails on a wrong arrow).

/// Adhesives: classes, bottles, bench tests, set time.
pub mod adhesives;
/// Hands and adhesive together: which class, which bottle, what to change. Knows no client.
pub mod advice;
/// Artists' hands: travel and settle.
pub mod artists;
/// Knows no part: units, ids, who acts, instants and zone, problems, statistics, charts' scales.
pub mod base;
/// Every option: flag = environment = file.
pub mod config;
/// The invented studio, seeded through the parts' own functions.
pub mod demo;
/// Sign-in, roles, tokens, the studio's settings.
pub mod people;
/// Pages that show several parts. Composes; no SQL.
pub mod places;
/// Rooms, air readings, instruments.
pub mod rooms;
/// The database: connect, migrate, read, write, audit chain.
pub mod store;
/// The browser: sessions, guards, forms that survive a double click, headers, page frame, assets.
pub mod web;
