//! Stillroom: rooms, hands and adhesives of an eyelash-extension studio, put together into advice.
//!
//! The rooms of this house, in the order in which they may know each other: each may use those
//! above it, never one below (`tests/house` reads the `crate::` paths and fails on a wrong arrow).

/// Knows no part: units, ids, who acts, instants and zone, problems, statistics, charts' scales.
pub mod base;
/// Every option: flag = environment = file.
pub mod config;
/// The database: connect, migrate, read, write, audit chain.
pub mod store;
/// The browser: sessions, guards, forms that survive a double click, headers, page frame, assets.
pub mod web;
/// Sign-in, roles, tokens, the first-aid card.
pub mod people;
/// Rooms, air readings, instruments.
pub mod rooms;
/// Artists' hands: travel and settle.
pub mod artists;
/// Adhesives: classes, bottles, bench tests, set time.
pub mod adhesives;
/// Hands and adhesive together: which class, which bottle, what to change. Knows no client.
pub mod advice;
/// Clients: who they are, what they said of their health, what they consented to. Knows no adhesive and no appointment.
pub mod clients;
/// Who may be treated when: patch tests, rules, reactions, lots and stops.
pub mod clearance;
/// Services, hours, appointments: no overlap of an artist or a bed, ever.
pub mod book;
/// Treatment cards and counts: what was done, beside what was advised.
pub mod cards;
/// A client's own rights over her record: her file, restriction, erasure; the list of what each part keeps of her.
pub mod privacy;
/// Pages that show several parts. Composes; no SQL.
pub mod places;
/// What runs by the clock.
pub mod jobs;
/// The invented studio, seeded through the parts' own functions.
pub mod demo;
/// The command line.
pub mod cli;
